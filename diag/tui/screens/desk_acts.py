"""What can be done at the desk, each with its key: forms, screens above the desk, undo."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any, ClassVar

from textual.containers import VerticalScroll

from diag.ask import forms_call, forms_mend
from diag.ask.form import Form
from diag.ask.fromfile import can_come_from_file
from diag.ask.homework import card, short_card
from diag.ask.profiles import Draft, of_call, use_profile
from diag.ask.turn import Turn
from diag.ask.turn import turn as turn_of
from diag.call.desk import CallDesk
from diag.call.healthy import keep_healthy
from diag.errors import DiagError
from diag.say.explaining import entry_text, told
from diag.tui.act import Act
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
from diag.tui.work import Work

MEND = {
    "repair": "Record a repair", "interim": "Go on for now (a way, not a repair)",
    "proof": "Proof: verdict on a repair", "change": "A setting or part was changed", "swap": "Swapped between rows",
    "close": "Close the call", "reopen": "Open the call again", "follow_up": "Follow-up after a repair",
    "plan": "How to prove it: row, seeds, minutes", "decide": "Keep planting, go slower or stop",
    "stock": "Parts: here, elsewhere, due, none",
}
FORMS: Mapping[str, Callable[[CallDesk], Form | None]] = {
    "note": forms_call.note_form, "waiting": forms_call.waiting_form, "situation": forms_call.situation_form,
    "tools": forms_call.tools_form,
    "done_before": forms_call.done_before_form, "change": forms_call.change_form, "swap": forms_call.swap_form,
    "photo": forms_call.photo_form, "repair": forms_mend.repair_form, "interim": forms_mend.interim_form,
    "proof": forms_mend.proof_form, "close": forms_mend.close_form, "follow_up": forms_mend.follow_up_form,
}
BUSY = "The call is being judged: once more in a second."


class DeskActs(Page[None]):
    """The acts of the desk; the desk itself draws."""

    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("search", "Other check", "Take any check, or tell something that was not asked.", "f3", shown=True),
        Act("explain", "Why", "Why this check, why this belief, what would happen if.", "f4", shown=True),
        Act("app.calls", "Calls", "Park this call as it is, half-typed text too, and take another.", "f2", shown=True),
        Act("form", "One form, or in words", "All checks of a look in one form; a reading in words.", "f5"),
        Act("trail", "Change", "Change or take back anything recorded.", "f6"),
        Act("unsure", "Not sure", "Asked, and nobody is sure: it moves nothing.", "f7"),
        Act("cannot", "Can't do that here", "It cannot be done here; what to do instead comes first.", "f8"),
        Act("mend", "Repair and proof", "Record a repair, a way to go on, the proof; close the call.", "f9"),
        Act("writeup", "Write-up", "The write-up as it stands, and what is missing.", "f10"),
        Act("undo", "Undo", "Take back the last step.", "ctrl+z"),
        Act("redo", "Redo", "Do again what was taken back.", "ctrl+y"),
        Act("other(0)", "Second offer", "Take the second offer instead.", "ctrl+t"),
        Act("other(1)", "Third offer", "Take the third offer instead.", "ctrl+g"),
        Act("details", "Rows, who, when", "For the next answer: which rows, who saw it, when it was.", "ctrl+r"),
        Act("aloud", "Read aloud", "Take figures read aloud one by one, each read back.", "ctrl+l"),
        Act("from_file", "From a file", "Spacings, positions or a value per row from a CSV file."),
        Act("batch('Homework')", "Homework", "Up to three checks for one walk, as a short message.", "ctrl+o"),
        Act("open('note')", "Note", "Write a note, for the house.", "ctrl+n"),
        Act("page(-1)", "Page up", "Scroll the check up.", "pageup", first=True),
        Act("page(1)", "Page down", "Scroll the check down.", "pagedown", first=True),
        Act("channel", "Phone or on site", "Go on on site, or by phone again."),
        Act("open('waiting')", "Wait", "Park the call: what is waited for, until when."),
        Act("machine", "Machine", "The machine of this call: pick, copy, make or change a profile."),
        Act("open('situation')", "Crop, rows, speed", "Rows, crop, seed lot, target, speed, what changed, take care."),
        Act("open('tools')", "Not at hand", "Tools that are missing here: their checks are left out."),
        Act("open('done_before')", "Done before the call", "What was done before: order, values, effect, old part."),
        Act("open('change')", "A setting was changed", "A setting or part changed for a test or for good."),
        Act("open('swap')", "Swapped between rows", "A piece that two rows exchanged."),
        Act("open('photo')", "Photo", "Note a photo: its file and what it shows."),
        Act("batch('Field sheet')", "Field sheet", "One page with checks, cautions and blanks, to take along."),
        Act("catch_up", "Catch up", "What was done, typed in your own order, without a question after each line."),
        Act("hand_over", "Hand over", "The one-page card of this call, and a version for a text message."),
        Act("open('follow_up')", "Follow-up", "What came of the call-back after the repair."),
        Act("healthy", "Keep as healthy", "Keep the readings with the machine as what is healthy there."),
        Act("retry", "Judge again", "Have the call judged again, after a failure."),
    )

    def __init__(self, work: Work) -> None:
        super().__init__(work)
        self.work: Work = work
        self._turn: Turn | None = None
        """What is asked now."""
        self._failure_told = False

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
            self.tell(BUSY)
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

    def action_batch(self, kind: str) -> None:
        """Several checks for one walk: homework by phone, or a field sheet."""
        if not self.work.ready:
            self.tell(BUSY)
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

    def action_from_file(self) -> None:
        turn = self._turn
        if turn is None or turn.check is None or turn.kind != "check" or not can_come_from_file(turn.check):
            self.tell("Spacings, positions and values per row can come from a file.")
            return
        self.fill(forms_call.file_form(turn.check, self.work.details.get("rows"), self._read))

    def _read(self, text: str | None) -> None:
        if text:
            self.query_one("#answer", AnswerBox).fill_in(text)

    def action_open(self, name: str) -> None:
        """Open a form by its name; a repair and a close say what can only be had now."""
        make = FORMS[name]
        if name in ("repair", "close"):
            from diag.writeup.mending import with_losses

            self.try_form(lambda call: with_losses(form, call) if (form := make(call)) else None)
            return
        self.try_form(make, "No way to go on for now is known against the leading causes.")

    def action_channel(self) -> None:
        if self.work.call.state.channel == "phone":
            self.try_form(forms_call.arrival_form)
        else:
            self.record(self.work.do(lambda call: call.switch_channel("phone")))

    def action_mend(self) -> None:
        self.app.push_screen(MenuScreen(self.work, "Repair and proof", list(MEND.items())), self._mend)

    def _mend(self, picked: str | None) -> None:
        if picked in ("plan", "decide", "stock"):
            self._from_writeup(picked)
            return
        if picked == "reopen":
            self.record(self.work.do(lambda call: call.record("reopened", {})))
        elif picked:
            self.action_open(picked)

    def _from_writeup(self, picked: str) -> None:
        """How a repair is to be proved; whether to keep planting; where the parts are."""
        from diag.writeup.mending import decide_form, stock_form
        from diag.writeup.proof_plan import plan_text, proof_plan

        def show(text: str) -> None:
            self.app.call_later(self.app.push_screen, TextScreen(self.work, "Keep planting or stop", text))

        if picked == "decide":
            self.try_form(lambda call: decide_form(call, show))
            return
        if picked == "stock":
            self.try_form(stock_form, "No part is on the load list.")
            return
        try:
            self.app.push_screen(TextScreen(self.work, "Proof", plan_text(proof_plan(self.work.call))))
        except DiagError as error:
            self.tell(str(error))

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
            self.tell(BUSY)
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
        self.app.push_screen(WriteUpScreen(self.work), self._jump)

    def _jump(self, check: str | None) -> None:
        """Take the check that mends what the write-up lacks."""
        if check:
            self.work.taken = check
            self.show_call()

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

    def action_other(self, place: int) -> None:
        """Take another of the offers."""
        others = turn_of(self.work.call, self.work.taken).others if self.work.ready else ()
        if len(others) > place:
            self.work.taken = others[place]
            self.show_call()

    def action_page(self, step: int) -> None:
        """Scroll the check."""
        box = self.query_one("#check", VerticalScroll)
        (box.scroll_page_up if step < 0 else box.scroll_page_down)(animate=False)

    def action_retry(self) -> None:
        self.work.judge()
