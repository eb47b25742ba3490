"""The first screen: one line for what they say, which begins a call; below it the calls, due first."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import TYPE_CHECKING, ClassVar

from textual import on, work
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static, TextArea
from textual.worker import get_current_worker

from diag.ask.form import Form
from diag.ask.profiles import Draft, machine_body
from diag.ask.taking import Taking, faults
from diag.errors import DiagError
from diag.hear.complaint import MOST_REASONED
from diag.tui.act import Act, bindings
from diag.tui.safe import Part, lines, say
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.machine import MachineScreen
from diag.tui.screens.page import Page
from diag.tui.screens.text import MenuScreen
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.heard import Chip, HeardPanel
from diag.tui.widgets.lines import WordsField
from diag.tui.widgets.lists import CallsList, PickList
from diag.tui.working import guarded

if TYPE_CHECKING:
    from diag.hear.complaint import Match
    from diag.knowledge.base import Knowledge
    from diag.store.open import CallSummary

KINDS = {"phone": "by phone", "site": "on site", "message": "from a message (voice-mail, text)"}
OTHER = {"demo": "Demonstration calls (invented)", "practice": "Practise on an invented fault", "settings": "Settings"}
HEADS = {"due": "Due now", "open": "In work", "waiting": "Waiting", "closed": "Closed"}
TEACHING = (
    "Type what they say: a call begins with the first letter.",
    "One question at a time. A number or an arrow chooses, Enter records.",
    "Ctrl+Z takes the last act back. F2 comes back here; nothing is lost.",
    "Down: the list below. F1: what to do first, on every screen.",
)
MOST = 200
MATCH_AFTER = 0.15
"""Seconds of quiet before the words are matched."""
READING = "The knowledge is still being read; what it sounds like stands here in a moment."
FRESH = "new"
"""The name under which the half-taken call keeps its drafts."""


class StartScreen(Page[None]):
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

    def __init__(self) -> None:
        super().__init__()
        self.kind = ""
        self._match: Match | None = None
        self._asked = 0
        self._parked = False
        """True when the half-taken call was left for the list."""
        self._warned = False
        self._more: tuple[str, ...] = ()
        """Symptoms taken from the whole list."""
        self._typed: dict[str, str] = {}
        """What the card holds."""
        self._profile = Draft()
        self._said: dict[str, bool] = {}
        """What a person took or dropped, by chip."""

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
        self._face()

    @property
    def words(self) -> WordsField:
        """What they say."""
        return self.query_one("#words", WordsField)

    @property
    def heard(self) -> HeardPanel:
        """What was made of it."""
        return self.query_one("#heard", HeardPanel)

    @property
    def hearing(self) -> bool:
        """True while a call is being taken."""
        return bool(self.words.text.strip()) and not self._parked

    def stage(self) -> str:
        return "hear" if self.hearing else ""

    def moment(self) -> tuple[str, ...]:
        if self.hearing:
            return ("card", "find", "channel", "leave", "help")
        return ("find", "channel", "help", "quit")

    # --- drawing ----------------------------------------------------------------------------------

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.tell("")
        self.show_calls()
        if self.query_one("#calls").has_focus and not self._parked:
            self.words.focus()

    def start_ready(self) -> None:
        """Store or knowledge came: take up what was half typed, show the calls."""
        kept = self.diag.drafts.load(FRESH)
        if not self.words.text and kept.get("words"):
            self.kind = kept.get("kind", "")
            self._typed = {k.removeprefix("card:"): v for k, v in kept.items() if k.startswith("card:")}
            self.words.text = kept["words"]
            self.words.move_cursor(self.words.document.end)
        self._first_question()
        self.show_calls()
        self._try_out()

    def _first_question(self) -> None:
        knowledge = self._knowledge
        if knowledge is not None and knowledge.flags and self.heard.driving is None:
            flag = next(iter(knowledge.flags.values()))
            self.heard.driving = Chip(flag.name, flag.label, False, flag.asks or flag.label)

    def _face(self) -> None:
        """Show the calls, or what was heard."""
        hearing = self.hearing
        self.query_one("#page").display = hearing
        calls = self.query_one("#calls", PickList)
        calls.display = not hearing
        self.query_one("#teach").display = not hearing
        if self.focused is (calls if hearing else self.heard):  # what is not shown any more keeps no focus
            (self.words if hearing else calls).focus()
        ring = self.query_one("#ring", Static)
        ring.display = not hearing
        ring.update(say((f"  {self._new_call()}", "bold")))
        self.show_bar()
        self.keys()

    def _new_call(self) -> str:
        kind = self.kind or self.diag.chosen.get("channel", "phone")
        machine = self._profile.personal.get("label", "") or self._typed.get("label", "")
        return " · ".join(p for p in (f"New call {KINDS[kind]}", self._typed.get("customer", ""), machine) if p)

    def show_bar(self) -> None:
        self.TITLE_TEXT = self._new_call() if self.hearing else StartScreen.TITLE_TEXT
        super().show_bar()

    def show_calls(self) -> None:
        """Draw the list; calls come as soon as the store is open."""
        host = self.diag
        stored = self._stored()
        rows: list[tuple[str | None, Content | str]] = []
        if self._parked and self.words.text.strip():
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
        self._face()

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

    # --- hearing ----------------------------------------------------------------------------------

    @on(TextArea.Changed, "#words")
    def _typing(self) -> None:
        self._parked = False
        self.tell("")
        self.diag.drafts.save(FRESH, "words", self.words.text)
        self._face()
        self._asked += 1
        number = self._asked
        self.later(MATCH_AFTER, lambda: self._try_out() if number == self._asked else None)

    @property
    def _knowledge(self) -> Knowledge | None:
        return self.diag.engine.knowledge if self.diag.engine else None

    def _try_out(self) -> None:
        knowledge = self._knowledge
        if knowledge is not None and self.words.text.strip():
            self._find(knowledge, self.words.text, self._asked)

    @work(thread=True, exclusive=True, group="match", description="match", exit_on_error=False)
    def _find(self, knowledge: Knowledge, words: str, number: int) -> None:
        """Match the words; an older result is dropped."""
        from diag.ask.intake import read_words

        with guarded(self, "Matching the words"):
            found = read_words(knowledge, words)
            if not get_current_worker().is_cancelled and number == self._asked:
                self.from_thread(self._show_match, knowledge, found)

    def _show_match(self, knowledge: Knowledge, found: Match) -> None:
        from diag.ask.intake import fact_words

        self._match = found
        candidates = [
            Chip(p.symptom, knowledge.symptoms[p.symptom].label, self._said.get(p.symptom, p.ticked),
                 ("thought, not seen: " if p.believed else "") + p.reason, said=p.symptom in self._said)
            for p in found.proposals[:MOST_REASONED] if p.ticked or not found.none
        ]
        candidates += [Chip(s, knowledge.symptoms[s].label, self._said.get(s, True), "taken from the list", said=True)
                       for s in self._more if s not in {c.key for c in candidates}]
        candidates.sort(key=lambda c: c.key not in self._more)
        facts = [Chip(f.said + f.kind, fact_words(knowledge, f), self._said.get(f.said + f.kind, f.ticked))
                 for f in found.facts]
        danger = f"FIRST: {found.danger[0].value}. Put that right before anything else." if found.danger else ""
        said = danger or f"That sounds like {found.none}. F3 shows the whole list; or go on without."
        self.heard.show(candidates, facts, said if danger or (found.none and not self._more) else "")

    @on(HeardPanel.Changed)
    def _chips(self, event: HeardPanel.Changed) -> None:
        self.tell(event.told)
        for chip in (*self.heard.candidates, *self.heard.facts):
            if chip.said or chip.key in self._said or chip.taken != self._before(chip.key):
                self._said[chip.key] = chip.taken

    def _before(self, key: str) -> bool:
        match = self._match
        if match is None:
            return False
        return key in match.ticked or any(f.said + f.kind == key and f.ticked for f in match.facts)

    @on(WordsField.Submitted, "#words")
    def _words_done(self) -> None:
        if self.hearing:
            self.heard.focus()

    @on(HeardPanel.Words)
    def _to_words(self) -> None:
        self.words.focus()

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
        if self.hearing:
            self.heard.focus()
            return
        self.action_to_list()

    # --- the card ---------------------------------------------------------------------------------

    def action_card(self) -> None:
        """What is known before the first question; all of it may stay empty."""
        from diag.ask.taking import card_form

        def keep(values: Mapping[str, str]) -> None:
            self._typed = dict(values)
            for name, text in values.items():
                self.diag.drafts.save(FRESH, f"card:{name}", text)

        kind = self.kind or self.diag.chosen.get("channel", "phone")
        form: Form = card_form(self._typed, keep, message=kind == "message")
        self.app.push_screen(FormScreen(None, form), lambda _: self._face())

    def action_machine(self) -> None:
        self.app.push_screen(MachineScreen(), self._use)

    def _use(self, draft: Draft | None) -> None:
        if draft is not None:
            self._profile = draft
            self._face()

    def action_channel(self) -> None:
        """The next of: by phone, on site, from a message."""
        names = list(KINDS)
        now = self.kind or self.diag.chosen.get("channel", "phone")
        self.kind = names[(names.index(now) + 1) % len(names)]
        self.diag.drafts.save(FRESH, "kind", self.kind)
        self._face()

    # --- going on ---------------------------------------------------------------------------------

    def taking(self) -> Taking:
        """Return what was heard and not dropped."""
        match, kind = self._match, self.kind or self.diag.chosen.get("channel", "phone")
        proposed = {p.symptom for p in match.proposals} if match else set()
        taken = {c.key for c in self.heard.facts if c.taken}
        driving = self.heard.driving
        rows = self._typed.get("machine_rows", "")
        label = self._typed.get("label", "")
        return Taking(
            channel="site" if kind == "site" else "phone",
            words=self.words.text,
            accepted=tuple((c.key, "matched" if c.key in proposed else "chosen")
                           for c in self.heard.candidates if c.taken),
            denied=match.said_not if match else (),
            facts=tuple(f for f in (match.facts if match else ()) if f.said + f.kind in taken),
            typed={k: v for k, v in self._typed.items() if k not in ("machine_rows", "label")},
            flags=(driving.key,) if driving is not None and driving.taken else (),
            machine={**machine_body(self._profile), **({"rows": int(rows)} if rows.isdigit() else {})},
            whose={**self._profile.personal, **({"label": label} if label else {})},
            relayed=(self._typed.get("spoke", "") or "not said") if kind == "message" else "",
        )

    @on(HeardPanel.Go)
    def action_go(self) -> None:
        self.after_typing(self._go)

    def _go(self) -> None:
        """Open the call and go to its first question."""
        knowledge = self._knowledge
        if not self.hearing:
            self.tell("Type what they say first.")
            return
        if knowledge is None:
            self.tell(self.diag.trouble or READING, "bad" if self.diag.trouble else "")
            return
        taking = self.taking()
        wrong = faults(knowledge, taking, self.diag.now())
        if wrong:
            name, text = next(iter(wrong.items()))
            self.tell(f"{name.replace('_', ' ')}: {text} (F5 opens the card)", "bad")
            return
        if not taking.accepted and self.heard.candidates and not self._warned:
            self._warned = True
            self.heard.focus()
            self.tell("Nothing is taken of what it sounds like: a digit takes it, Enter once more goes on without.")
            return
        told = self.diag.take_call(taking, self._profile)
        if told:
            self.tell(told, "bad")
            return
        self._clear()

    def _clear(self) -> None:
        older = self.diag.drafts.load(FRESH).get("older", "")
        self.diag.drafts.drop(FRESH)
        self.diag.drafts.save(FRESH, "older", older)
        self.words.text = ""
        self._typed, self._profile, self._said, self._more = {}, Draft(), {}, ()
        self._match, self._warned, self.kind = None, False, ""
        self.heard.driving = None
        self.heard.show((), ())
        self._first_question()

    # --- the list -----------------------------------------------------------------------------------

    @on(Input.Changed, "#search")
    def _searched(self) -> None:
        self.show_calls()

    @on(Input.Submitted, "#search")
    def _search_done(self) -> None:
        self.action_to_list()

    def action_to_list(self) -> None:
        """From the words of a search to the first call found."""
        calls = self.query_one("#calls", PickList)
        calls.focus()
        calls.action_first()

    @on(OptionList.OptionSelected, "#calls")
    def _picked(self) -> None:
        picked = self.query_one("#calls", PickList).picked
        if picked == "go_on":
            self._parked = False
            self._face()
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
        knowledge = self._knowledge
        if self.hearing and knowledge is not None:
            rows = [(s.id, s.label) for s in knowledge.symptoms.values()]
            self.app.push_screen(MenuScreen(None, "All symptoms", rows), self._add_symptom)
            return
        search = self.query_one("#search")
        search.display = True
        search.focus()

    def _add_symptom(self, picked: str | None) -> None:
        if picked:
            self._more = (*self._more, picked)
            self._said[picked] = True
            self._try_out()
            self.heard.focus()

    def action_settings(self) -> None:
        self.diag.run_named("settings")

    def action_leave(self) -> None:
        """Leave the words for the list; they stay."""
        search = self.query_one("#search", LineField)
        if search.display:
            search.value = ""
            search.display = False
        self._parked = bool(self.words.text.strip())
        self.show_calls()
        calls = self.query_one("#calls")
        (self.words if calls.has_focus or not calls.display else calls).focus()


def _teaching(texts: Iterable[str]) -> list[list[Part]]:
    return [[("   " + text, "$quiet")] for text in texts]
