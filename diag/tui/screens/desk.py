"""The desk: the next check and its answer, the ranked causes, what was recorded so far."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import Any, ClassVar

from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, Static

from diag.call import forms_call, forms_mend, present
from diag.call.desk import CallDesk
from diag.call.explaining import entry_text, told
from diag.call.form import Form
from diag.call.healthy import keep_healthy
from diag.call.homework import card, short_card
from diag.call.profiles import Draft, of_call, use_profile
from diag.call.turn import Turn
from diag.call.turn import turn as turn_of
from diag.errors import DiagError
from diag.tui.act import Act, bindings
from diag.tui.safe import Part, lines, say
from diag.tui.screens.aloud import AloudScreen, can_be_read_aloud
from diag.tui.screens.change import TrailScreen
from diag.tui.screens.explain import ExplainScreen
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.machine import MachineScreen
from diag.tui.screens.page import Page
from diag.tui.screens.search import SearchScreen
from diag.tui.screens.text import MenuScreen, TextScreen
from diag.tui.screens.walk import CatchUpScreen, WalkScreen
from diag.tui.screens.writeup import WriteUpScreen
from diag.tui.widgets.answer import AnswerBox
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work

CAUTION_STYLES = {"DANGER": "bold reverse $error", "WARNING": "bold $error", "CAUTION": "bold $warning"}


MEND = {
    "repair": "Record a repair", "interim": "Go on for now (a way, not a repair)",
    "proof": "Proof: verdict on a repair", "change": "A setting or part was changed", "swap": "Swapped between rows",
    "close": "Close the call", "reopen": "Open the call again", "follow_up": "Follow-up after a repair",
}  # fmt: skip


LEAST_ANSWER = 7
"""Lines the answer always has, its title among them."""


class DeskScreen(Page[None]):
    """One call in work."""

    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("search", "Other check", "Take any check, or tell something that was not asked.", "f3", shown=True),
        Act("explain", "Why", "Why this check, why this belief, what would happen if.", "f4", shown=True),
        Act(
            "form",
            "One form, or in words",
            "All checks of one look in one form; a reading in words, without figures.",
            "f5",
        ),
        Act("trail", "Change", "Change or take back anything recorded.", "f6"),
        Act("unsure", "Not sure", "Asked, and nobody is sure: it moves nothing.", "f7"),
        Act("cannot", "Can't do that here", "It cannot be done here; what to do instead comes first.", "f8"),
        Act("repair", "Repair and proof", "Record a repair, a way to go on, the proof.", "f9"),
        Act("writeup", "Write-up", "The write-up as it stands, and what is missing.", "f10"),
        Act("undo", "Undo", "Take back the last step.", "ctrl+z"),
        Act("redo", "Redo", "Do again what was taken back.", "ctrl+y"),
        Act("page_up", "Page up", "Scroll the check up.", "pageup", first=True),
        Act("page_down", "Page down", "Scroll the check down.", "pagedown", first=True),
        Act("second", "Second offer", "Take the second offer instead.", "ctrl+t"),
        Act("third", "Third offer", "Take the third offer instead.", "ctrl+g"),
        Act("details", "Rows, who, when", "For the next answer: which rows, who saw it, when it was.", "ctrl+r"),
        Act("machine", "Machine", "The machine of this call: pick, copy, make or change a profile."),
        Act("homework", "Homework", "Up to three checks for one walk to the machine, as a short message.", "ctrl+o"),
        Act("sheet", "Field sheet", "One page with checks, cautions and blanks, to take along."),
        Act("catch_up", "Catch up", "Type in what was done, in your own order, without a question after each line."),
        Act("hand_over", "Hand over", "The one-page card of this call, and a version for a text message."),
        Act("aloud", "Read aloud", "Take figures read aloud one by one, each read back.", "ctrl+l"),
        Act("note", "Note", "Write a note, for the house.", "ctrl+n"),
        Act("wait", "Wait", "Park the call: what is waited for, until when."),
        Act("situation", "Crop, rows, speed", "Change rows, crop, seed lot, target, speed, since when, what changed."),
        Act("done_before", "Done before the call", "What was done before the call: order, values, effect, old part."),
        Act("change", "A setting was changed", "A setting or part changed for a test or for good."),
        Act("swap", "Swapped between rows", "A piece that two rows exchanged."),
        Act("photo", "Photo", "Note a photo: its file and what it shows."),
        Act("channel", "Phone or on site", "Go on on site, or by phone again."),
        Act("follow_up", "Follow-up", "What came of the call-back after the repair."),
        Act("healthy", "Keep as healthy", "Keep the readings with the machine as what is healthy there."),
        Act("retry", "Judge again", "Have the call judged again, after a failure."),
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work) -> None:
        super().__init__(work)
        self.work: Work = work
        self._turn: Turn | None = None

    def body(self) -> Iterable[Widget]:
        yield Static(id="warnings")
        with Horizontal(id="columns"):
            with Vertical(id="left"):
                with VerticalScroll(id="check", can_focus=False):
                    yield Static(id="check-text")
                yield AnswerBox(id="answer")
            with Vertical(id="right"):
                yield PickList(id="causes", numbered=False)
                yield PickList(id="trail", numbered=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#causes").border_title = say("Causes")
        self.query_one("#trail").border_title = say("Recorded")
        self.query_one("#check").border_title = say("Next check")
        if self.work.ready:
            self.show_call()
        else:
            self.query_one("#check-text", Static).update(say("Judging the call ..."))
            self.work.judge()

    # --- drawing ----------------------------------------------------------------------------------

    def show_call(self) -> None:
        """Draw the check, the causes and the trail of a fresh judgement."""
        self.show_bar()
        if self.work.failed:
            self.tell(f"Judging failed: {self.work.failed} What was recorded stands. Ctrl+P, Judge again.", "bad")
            return
        if not self.work.ready:
            return
        self._show_warnings()
        self._show_causes()
        self._show_trail()
        self._show_check()

    def _show_warnings(self) -> None:
        told = present.warnings(self.work.call)
        wide = self.has_class("-high")
        shown = told if wide else told[:1]
        rows: list[list[Part]] = [[("! ", "bold $warning"), text] for text in shown]
        if len(told) > len(shown):
            rows[-1].append((f"  (+{len(told) - len(shown)} more: F4)", "bold"))
        box = self.query_one("#warnings", Static)
        box.display = bool(rows)
        box.update(lines(rows))

    def _show_causes(self) -> None:
        found = present.cause_lines(self.work.call, self.work.before)
        rows: list[tuple[str | None, Content | str]] = []
        for c in found:
            style = "bold" if c.belief == "likely" else ""
            told = f"{c.sign} {c.belief:<9} {c.percent:>5} {c.change:<4} "
            rows.append((c.cause, say((told, style), (c.label, style))))
        rows.append((None, say(present.rest_line(self.work.call))))
        self.query_one("#causes", PickList).fill(rows)

    def _show_trail(self) -> None:
        trail = present.trail_lines(self.work.call)
        box = self.query_one("#trail", PickList)
        box.fill([(event, text) for event, text in trail])
        if trail:
            box.highlighted = len(trail) - 1

    def _show_check(self) -> None:
        call, work = self.work.call, self.work
        turn = turn_of(call, work.taken, form=work.form, not_known=work.not_known)
        self._turn = turn
        box, answer = self.query_one("#check", VerticalScroll), self.query_one("#answer", AnswerBox)
        box.border_title = say(turn.title)
        rows: list[list[Part]] = []
        if turn.advice:
            rows.append([("Worth doing now: ", "bold"), turn.advice])
        for caution, text in turn.cautions:
            word, _, rest = text.partition(":")
            rows.append([(word, CAUTION_STYLES.get(caution.word, "bold")), ":" + rest])
        for part, text in turn.lines:
            rows.append([(f"{part}: ", "bold"), text])
        self.query_one("#check-text", Static).update(lines(rows))
        box.scroll_home(animate=False)
        answer.show(self.work, turn)
        self.call_after_refresh(self._share)

    def _share(self) -> None:
        """Give the answer what the check does not need, and never less than it needs to be usable."""
        room = self.query_one("#left").size.height
        wanted = self.query_one("#check-text").size.height + 1
        self.query_one("#answer", AnswerBox).limit(max(min(LEAST_ANSWER, room - 4), room // 2 - 1, room - wanted))

    def on_resize(self) -> None:
        super().on_resize()
        self.call_after_refresh(self._share)

    # --- doing ------------------------------------------------------------------------------------

    def on_answer_box_recorded(self, message: AnswerBox.Recorded) -> None:
        """An answer, an acknowledgement or a refusal was recorded, or was not taken."""
        if message.wrong:
            self.tell(message.wrong, "bad")
        else:
            self.tell("")
            self.work.taken = message.then
            self.query_one("#answer", AnswerBox).in_words = False
            if self.work.ready:
                self.show_call()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        picked = event.option_list.picked if isinstance(event.option_list, PickList) else None
        if event.option_list.id == "causes" and picked:
            self._explain(f"cause:{picked}")
        elif event.option_list.id == "trail":
            self.app.push_screen(TrailScreen(self.work, picked))

    def record(self, wrong: str, done: str = "") -> None:
        """Tell what came of a step."""
        self.tell(wrong or done, "bad" if wrong else "")

    # --- screens above ----------------------------------------------------------------------------

    def fill(self, form: Form | None, nothing: str = "") -> None:
        """Open a form, or say why there is none."""
        if form is None:
            self.tell(nothing)
        else:
            self.app.push_screen(FormScreen(self.work, form))

    def try_form(self, make: Callable[[CallDesk], Form | None], nothing: str = "") -> None:
        """Open a form made from the call as it is now; say what is missing for it."""
        if not self.work.ready:
            self.tell("The call is being judged: once more in a second.")
            return
        try:
            self.fill(make(self.work.call), nothing)
        except DiagError as error:
            self.tell(str(error))

    def action_machine(self) -> None:
        self.app.push_screen(MachineScreen(self.work, of_call(self.work.call)), self._machine)

    def _machine(self, draft: Draft | None) -> None:
        if draft is not None:
            self.record(self.work.do(lambda call: use_profile(call, draft)))

    def action_homework(self) -> None:
        self._batch(WalkScreen.HOMEWORK)

    def action_sheet(self) -> None:
        self._batch(WalkScreen.SHEET)

    def _batch(self, kind: str) -> None:
        if not self.work.ready:
            self.tell("The call is being judged: once more in a second.")
            return
        self.app.push_screen(WalkScreen(self.work, kind))

    def action_catch_up(self) -> None:
        self.app.push_screen(CatchUpScreen(self.work))

    def action_hand_over(self) -> None:
        if self.work.ready:
            text = "\n".join(["As a text message:", short_card(self.work.call), "", card(self.work.call)])
            self.app.push_screen(TextScreen(self.work, "Hand over", text))

    def action_aloud(self) -> None:
        turn = self._turn
        if turn is None or turn.check is None or turn.kind != "check" or not can_be_read_aloud(turn.check):
            self.tell("Reading aloud is for values per row and for tape positions.")
            return
        self.app.push_screen(AloudScreen(self.work, turn.check), self._read)

    def _read(self, text: str | None) -> None:
        if text:
            self.query_one("#answer", AnswerBox).fill_in(text)

    def action_note(self) -> None:
        self.fill(forms_call.note_form(self.work.call))

    def action_wait(self) -> None:
        self.fill(forms_call.waiting_form(self.work.call))

    def action_situation(self) -> None:
        self.fill(forms_call.situation_form(self.work.call))

    def action_done_before(self) -> None:
        self.fill(forms_call.done_before_form(self.work.call))

    def action_change(self) -> None:
        self.fill(forms_call.change_form(self.work.call))

    def action_swap(self) -> None:
        self.fill(forms_call.swap_form(self.work.call))

    def action_photo(self) -> None:
        self.fill(forms_call.photo_form(self.work.call))

    def action_follow_up(self) -> None:
        self.fill(forms_mend.follow_up_form(self.work.call))

    def action_channel(self) -> None:
        if self.work.call.state.channel == "phone":
            self.try_form(forms_call.arrival_form)
        else:
            self.record(self.work.do(lambda call: call.switch_channel("phone")))

    def action_repair(self) -> None:
        self.app.push_screen(MenuScreen(self.work, "Repair and proof", list(MEND.items())), self._mend)

    def _mend(self, picked: str | None) -> None:
        makes: dict[str, Callable[[CallDesk], Form | None]] = {
            "repair": forms_mend.repair_form, "interim": forms_mend.interim_form, "proof": forms_mend.proof_form,
            "change": forms_call.change_form, "swap": forms_call.swap_form, "follow_up": forms_mend.follow_up_form,
            "close": forms_mend.close_form,
        }  # fmt: skip
        if picked == "reopen":
            self.record(self.work.do(lambda call: call.record("reopened", {})))
        elif picked:
            self.try_form(makes[picked], "No way to go on for now is known against the leading causes.")

    def action_details(self) -> None:
        self.fill(forms_call.details_form(self.work.call, self._detail))

    def _detail(self, told: dict[str, Any]) -> None:
        self.work.details = told

    def action_form(self) -> None:
        turn = self._turn
        if turn is not None and turn.check is not None and turn.check.measured:
            box = self.query_one("#answer", AnswerBox)
            box.in_words = not box.in_words
            self.show_call()
            return
        if turn is None or not (turn.mates or turn.form):
            self.tell("This check stands for itself: there is no form.")
            return
        self.work.form = turn.kind != "form"
        self.show_call()

    def action_explain(self) -> None:
        self._explain("")

    def _explain(self, first: str) -> None:
        if not self.work.ready:
            self.tell("The call is being judged: once more in a second.")
            return
        turn = self._turn
        key = self.work.taken or (turn.offer.check if turn and turn.offer else None)
        self.app.push_screen(ExplainScreen(self.work, key, first))

    def action_trail(self) -> None:
        self.app.push_screen(TrailScreen(self.work))

    def action_search(self) -> None:
        self.app.push_screen(SearchScreen(self.work), self._found)

    def _found(self, found: tuple[str, str, str] | None) -> None:
        if found is None:
            return
        kind, key, outcome = found
        if kind == "take":
            self.work.taken = key
            self.show_call()
        elif kind == "tell":
            observer = "caller" if self.work.call.state.channel == "phone" else None
            self.record(self.work.do(lambda call: call.answer(key, outcome=outcome, observer=observer)))
        elif kind == "symptom":
            self.record(self.work.do(lambda call: call.set_complaint("", [(key, "chosen")])))
        elif self.work.ready:
            text = "\n\n".join([told(self.work.call, f"cause:{key}"), entry_text(self.work.call, "causes", key)])
            self.app.push_screen(TextScreen(self.work, "Cause", text))

    def action_writeup(self) -> None:
        self.app.push_screen(WriteUpScreen(self.work))

    def action_healthy(self) -> None:
        self.record(self.work.do(keep_healthy), "Kept with the machine: later readings are compared with these first.")

    def action_undo(self) -> None:
        done: list[bool] = []
        wrong = self.work.do(lambda call: done.append(call.undo()))
        told = "Taken back. Ctrl+Y does it again." if done and done[0] else "There is nothing to take back."
        self.tell(wrong or told, "bad" if wrong else "")

    def action_redo(self) -> None:
        done: list[bool] = []
        wrong = self.work.do(lambda call: done.append(call.redo()))
        self.tell(
            wrong or ("Done again." if done and done[0] else "There is nothing to do again."), "bad" if wrong else ""
        )

    def action_unsure(self) -> None:
        self.query_one("#answer", AnswerBox).refuse("unsure")

    def action_cannot(self) -> None:
        self.query_one("#answer", AnswerBox).refuse("cannot_here")

    def action_second(self) -> None:
        self._take(0)

    def action_third(self) -> None:
        self._take(1)

    def _take(self, place: int) -> None:
        if not self.work.ready:
            return
        others = turn_of(self.work.call, self.work.taken).others
        if len(others) > place:
            self.work.taken = others[place]
            self.show_call()

    def action_page_up(self) -> None:
        self.query_one("#check", VerticalScroll).scroll_page_up(animate=False)

    def action_page_down(self) -> None:
        self.query_one("#check", VerticalScroll).scroll_page_down(animate=False)

    def action_retry(self) -> None:
        self.work.judge()
