"""The first screen: one line for what they say, which begins a call; below it the calls, due first."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import on
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static, TextArea

from diag.errors import DiagError
from diag.tui.act import Act, bindings
from diag.tui.safe import Part, lines, say
from diag.tui.screens.hearing import FRESH, HearingScreen
from diag.tui.screens.text import MenuScreen
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.heard import HeardPanel
from diag.tui.widgets.lines import WordsField
from diag.tui.widgets.lists import CallsList, PickList

if TYPE_CHECKING:
    from diag.store.open import CallSummary

OTHER = {"demo": "Demonstration calls (invented)", "practice": "Practise on an invented fault", "settings": "Settings"}
HEADS = {"due": "Due now", "open": "In work", "waiting": "Waiting", "closed": "Closed"}
TEACHING = (
    "Type what they say: a call begins with the first letter.",
    "One question at a time. A number or an arrow chooses, Enter records.",
    "Ctrl+Z takes the last act back. F2 comes back here; nothing is lost.",
    "Down: the list below. F1: what to do first, on every screen.",
)
MOST = 200


class StartScreen(HearingScreen):
    """Calls, and the one that is being taken."""

    TITLE_TEXT = "diag · fault diagnosis for vacuum row-crop planters"
    DO_FIRST = (
        "type what they say. Enter goes to what was made of it: a digit takes or drops a trouble, a letter a fact; "
        "Enter once more asks the first question. A call that is there already: Down, and Enter on its line."
    )
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("find", "Find", "Search calls by any word; while words are typed, the whole list of symptoms.", "f3"),
        Act("card", "Card", "Customer, machine, lot, target: what is known before the first question.", "f5"),
        Act("channel", "Phone, site ..", "The new call: by phone, on site, from a message.", "f8"),
        Act("machine", "Machine", "Pick, copy, make or change a machine profile."),
        Act("settings", "Settings", "Colours, units, the channel new calls start with."),
        Act("go", "To the question", "Open the call and ask the first question.", "ctrl+s", first=True),
        Act("leave", "To the calls", "To the calls below; the words stay.", "escape"),
        Act("to_list", "To what was found", "From the words of a search to the first call found.", "down"),
    )
    BINDINGS = bindings(ACTS)

    def body(self) -> Iterable[Widget]:
        yield Static(id="ring")
        with Horizontal(id="entry"):
            yield Static(say((" > ", "bold $accent")), id="prompt")
            yield WordsField(id="words", placeholder="What do they say?")
        yield Static(id="teach")
        with VerticalScroll(id="page", can_focus=False):
            yield HeardPanel(id="heard")
        yield LineField(placeholder="Find a call: any words", id="search")
        yield CallsList(id="calls", numbered=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#search").display = False
        self.words.focus()
        self.face()

    def stage(self) -> str:
        return "hear" if self.hearing else ""

    def moment(self) -> tuple[str, ...]:
        if self.hearing:
            return ("card", "find", "channel", "leave", "help")
        return ("find", "channel", "help", "quit")

    @on(TextArea.Changed, "#words")
    def _typing(self) -> None:
        self.parked = False
        self.tell("")
        self.diag.drafts.save(FRESH, "words", self.words.text)
        self.face()
        self.heard_more()

    # --- drawing ----------------------------------------------------------------------------------

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.tell("")
        self.show_calls()
        if self.query_one("#calls").has_focus and not self.parked:
            self.words.focus()

    def start_ready(self) -> None:
        """Store or knowledge came: take up what was half typed, show the calls."""
        kept = self.diag.drafts.load(FRESH)
        if not self.words.text and kept.get("words"):
            self.kind = kept.get("kind", "")
            self.card = {k.removeprefix("card:"): v for k, v in kept.items() if k.startswith("card:")}
            self.words.text = kept["words"]
            self.words.move_cursor(self.words.document.end)
        self.first_question()
        self.show_calls()
        self.try_out()

    def face(self) -> None:
        """Show the calls, or what was heard."""
        hearing = self.hearing
        self.query_one("#page").display = hearing
        if hearing:
            self._end_search()
        calls = self.query_one("#calls", PickList)
        calls.display = not hearing
        self.query_one("#teach").display = not hearing
        if self.focused is (calls if hearing else self.heard):  # what is not shown any more keeps no focus
            (self.words if hearing else calls).focus()
        ring = self.query_one("#ring", Static)
        ring.display = not hearing
        ring.update(say((f"  {self.new_call()}", "bold")))
        self.show_bar()
        self.keys()

    def show_bar(self) -> None:
        self.TITLE_TEXT = self.new_call() if self.hearing else StartScreen.TITLE_TEXT
        super().show_bar()

    def show_calls(self) -> None:
        """Draw the list; calls come as soon as the store is open."""
        host = self.diag
        stored = self._stored()
        rows: list[tuple[str | None, Content | str]] = []
        if self.parked and self.words.text.strip():
            rows.append(("go_on", say(("Half taken: ", "bold $warning"), self.words.text[:60])))
        older = host.drafts.load(FRESH).get("older", "")
        if older:
            rows.append(("older", say(("Half taken before: ", "bold $warning"), older[:60])))
        rows += stored if host.store is not None else [(None, host.trouble or "Opening the calls ...")]
        rows += [(None, ""), *OTHER.items()]
        box = self.query_one("#calls", PickList)
        box.fill(rows, keep=box.picked)
        empty = not any(key for key, _ in stored)
        self.query_one("#teach", Static).update(lines(_teaching(TEACHING if empty else TEACHING[:1])))
        self.face()

    def _stored(self) -> list[tuple[str | None, Content | str]]:
        from diag.store.listing import listed

        host = self.diag
        search = self.query_one("#search", LineField).value
        try:
            calls: list[CallSummary] = host.store.calls(MOST, search or None) if host.store else []
        except DiagError as error:
            return [(None, f"The calls cannot be read: {error}")]
        rows: list[tuple[str | None, Content | str]] = []
        state = ""
        for call in listed(calls, host.now(), host.labels()):
            if call.state != state:
                state = call.state
                rows.append((None, lines([[(HEADS[state], "bold $secondary")]])))
            first: list[Part] = [call.who + "  ", (call.told, "bold" if state == "due" else "$quiet")]
            rows.append((call.call, lines([first, [("     " + call.about, "$quiet")]])))
        if not rows and search:
            rows.append((None, "No call fits."))
        return rows

    # --- the list -----------------------------------------------------------------------------------

    @on(CallsList.Typed)
    def _typed_in_list(self, event: CallsList.Typed) -> None:
        """A call begins with the first letter, wherever it was typed."""
        self.words.focus()
        self.words.insert(event.character)

    @on(CallsList.Up)
    def _up_to_words(self) -> None:
        self.words.focus()

    @on(WordsField.Down)
    def _to_list(self) -> None:
        self.action_to_list()

    @on(Input.Changed, "#search")
    def _searched(self) -> None:
        self.show_calls()

    @on(Input.Submitted, "#search")
    def _search_done(self) -> None:
        self.action_to_list()

    def action_to_list(self) -> None:
        """From the words of a search to the first call found; while a call is taken, to what was heard."""
        if self.hearing:
            self.heard.focus()
            return
        calls = self.query_one("#calls", PickList)
        calls.focus()
        calls.action_first()

    @on(OptionList.OptionSelected, "#calls")
    def _picked(self) -> None:
        picked = self.query_one("#calls", PickList).picked
        if picked == "go_on":
            self.parked = False
            self.face()
            self.words.focus()
        elif picked == "older":
            self._take_older()
        elif picked in OTHER:
            self.diag.run_named(picked or "")
        elif picked is not None:
            wrong = self.diag.open_call(picked)
            if wrong:
                self.tell(wrong, "bad")

    def _take_older(self) -> None:
        """Go on with the words that were put by; those that stand in the field are put by instead."""
        kept, now = self.diag.drafts.load(FRESH).get("older", ""), self.words.text.strip()
        self.diag.drafts.save(FRESH, "older", now)
        self.words.text = kept
        self.words.move_cursor(self.words.document.end)
        self.words.focus()

    def action_find(self) -> None:
        """Search the calls; while a call is taken, the whole list of symptoms."""
        knowledge = self.knowledge
        if self.hearing and knowledge is not None:
            rows = [(s.id, s.label) for s in knowledge.symptoms.values()]
            self.app.push_screen(MenuScreen(None, "All symptoms", rows), self.add_symptom)
            return
        search = self.query_one("#search")
        search.display = True
        search.focus()

    def action_settings(self) -> None:
        self.diag.run_named("settings")

    def action_leave(self) -> None:
        """Leave the words for the list; they stay."""
        self._end_search()
        self.parked = bool(self.words.text.strip())
        self.show_calls()
        calls = self.query_one("#calls")
        (self.words if calls.has_focus or not calls.display else calls).focus()

    def _end_search(self) -> None:
        """Put the words of a search away; all calls are listed again."""
        search = self.query_one("#search", LineField)
        if search.display:
            search.value = ""
            search.display = False


def _teaching(texts: Iterable[str]) -> list[list[Part]]:
    return [[("   " + text, "$quiet")] for text in texts]
