"""The answer: recorded when Enter is pressed, worked out while one types."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from textual import on, work
from textual.message import Message
from textual.widgets import Input, OptionList, TextArea
from textual.worker import get_current_worker

from diag.ask.answers import take_answer
from diag.ask.needs import give
from diag.ask.preview import preview
from diag.call.looks import record_form
from diag.tui.widgets.answer_fields import ENDS, NOT_KNOWN, AnswerFields
from diag.tui.widgets.lines import LinesField
from diag.tui.widgets.lists import PickList, Ticks
from diag.tui.working import guarded

if TYPE_CHECKING:
    from diag.ask.turn import Turn
    from diag.call.desk import CallDesk

PREVIEW_AFTER = 0.12
"""Seconds of quiet before a typed reading is worked out."""


class AnswerBox(AnswerFields):
    """Holds one field at a time; what is half typed is kept with the call."""

    class Recorded(Message):
        """Something was recorded (`wrong` empty) or not taken; `then` is the check to ask next, if any."""

        def __init__(self, wrong: str = "", then: str | None = None) -> None:
            super().__init__()
            self.wrong, self.then = wrong, then

    class Chosen(Message):
        """Something was chosen that is no answer: the name of an act."""

        def __init__(self, act: str) -> None:
            super().__init__()
            self.act = act

    # --- typing -----------------------------------------------------------------------------------

    @on(Input.Changed)
    def _line_changed(self, event: Input.Changed) -> None:
        event.stop()
        if self._turn is not None and self._turn.kind in ("check", "need") and self.query_one("#line").display:
            self._keep(event.value)
            if self._turn.kind == "check":
                self._try_out(event.value)

    @on(TextArea.Changed)
    def _lines_changed(self, event: TextArea.Changed) -> None:
        event.stop()
        if self._turn is not None and self._turn.kind == "check" and self.query_one("#lines").display:
            self._keep(event.text_area.text)
            self._try_out(event.text_area.text)

    @on(Ticks.Changed)
    def _ticks_changed(self, event: Ticks.Changed) -> None:
        event.stop()
        if self._turn is not None and self._turn.kind == "form":
            self._keep("|".join(f"{t.key}={t.state}" for t in event.ticks.ticks if t.state))

    def _try_out(self, text: str) -> None:
        self._tried += 1
        number = self._tried
        self.set_timer(PREVIEW_AFTER, lambda: self._work_out(text, number) if number == self._tried else None)

    @work(thread=True, exclusive=True, group="preview", description="preview", exit_on_error=False)
    def _work_out(self, text: str, number: int) -> None:
        """Work a typed reading out; an older result is dropped."""
        with guarded(self, "Working out the reading"):
            turn = self._turn
            if turn is None or turn.check is None or self._work is None:
                return
            call = self._work.call
            found = preview(call.engine.knowledge, call.state, turn.check, text, self._work.app.units)
            if not get_current_worker().is_cancelled and number == self._tried:
                self.app.call_from_thread(self._preview, found)

    # --- recording --------------------------------------------------------------------------------

    @on(OptionList.OptionSelected)
    def _picked(self, event: OptionList.OptionSelected) -> None:
        event.stop()
        turn = self._turn
        if turn is None or self._waiting:
            return
        if turn.kind == "form":
            self._record_form(turn)
            return
        if turn.kind == "flags":
            ticked = list(self.query_one("#ticks", Ticks).ticked())
            self._record(lambda call: call.set_situation({"flags": ticked}), then=turn.key)
            return
        picked = self.query_one("#pick", PickList).picked
        if picked is not None and turn.kind in ENDS:
            self.post_message(self.Chosen(picked))
        if picked is None or turn.check is None:
            return
        if turn.kind == "caution":
            self._gate(turn, picked == "yes", "key")
        elif turn.kind == "axis":
            self._axis(turn, picked)
        elif self.practice is not None:
            take, key = self.practice, turn.key or turn.check.id
            self._record(lambda call: take(key))
        else:
            check = turn.check.id
            self._record(lambda call: self._give(call, check, outcome=picked))

    @on(Input.Submitted)
    def _line_done(self, event: Input.Submitted) -> None:
        event.stop()
        turn = self._turn
        if turn is None or self._waiting:
            return
        if turn.kind == "caution":
            if event.value.strip().upper() == "DANGER":
                self._gate(turn, True, "typed")
            else:
                self.post_message(self.Recorded("Type the word DANGER to go on, or F8: it can't be done here."))
            return
        if turn.need is not None:
            need, check = turn.need, turn.key
            self._record(lambda call: give(call, need, event.value), then=check)
            return
        self._record_text(event.value)

    @on(LinesField.Submitted)
    def _lines_done(self, event: LinesField.Submitted) -> None:
        event.stop()
        if self._turn is not None and not self._waiting:
            self._record_text(event.value)

    def _record_text(self, text: str) -> None:
        check = self._turn.check if self._turn else None
        if check is None:
            return
        assert self._work is not None
        system = self._work.app.units
        self._record(lambda call: self._give(call, check.id, **take_answer(call, check, text, system)))

    @property
    def _details(self) -> dict[str, Any]:
        """Rows, who saw it, when: what was said beside the answer."""
        return dict(self._work.details) if self._work is not None else {}

    def _give(self, call: CallDesk, check: str, **answer: Any) -> None:
        """Record an answer, or change the earlier one."""
        if self.change is not None:
            call.change_answer(self.change, **answer, **self._details)
        else:
            call.answer(check, **answer, **self._details)

    def _record_form(self, turn: Turn) -> None:
        states = {t.key: t.state for t in self.query_one("#ticks", Ticks).ticks}
        ticked = {n.check: n.outcome for n in turn.form if states.get(f"{n.check}/{n.outcome}") == "x"}
        fine = {
            n.check: n.fine for n in turn.form
            if n.fine is not None and n.check not in ticked and states.get(f"{n.check}/{n.outcome}") == "-"
        }
        if not ticked and not fine:
            self.post_message(
                self.Recorded("Nothing is ticked. F: all looked at and fine. F7: not sure. F8: can't do that here.")
            )
            return
        self._record(lambda call: record_form(call, ticked, fine, self._details))

    def _gate(self, turn: Turn, yes: bool, how: str) -> None:
        check = turn.check
        if not yes:
            self.refuse("cannot_here")
            return

        def acknowledge(call: CallDesk) -> None:
            for caution, _ in turn.cautions:
                call.acknowledge(caution.id, check.id if check else None, how)

        self._record(acknowledge, then=check.id if check else None, keep=True)

    def _axis(self, turn: Turn, value: str) -> None:
        axis = turn.axis or ""
        told = "unknown" if value == NOT_KNOWN else value

        def record(call: CallDesk) -> None:
            if axis == "crop" and told != "unknown":
                call.set_situation({"crop": told})
            else:
                call.set_machine({"axes": {axis: told}})

        self._record(record, then=turn.offer.check if turn.offer else None)

    def refuse(self, status: str) -> None:
        """Record that the check was asked and gave nothing: unsure, or cannot_here."""
        turn = self._turn
        if turn is None or turn.check is None or self._waiting:
            return
        if turn.kind == "axis":
            self._axis(turn, NOT_KNOWN)
            return
        if turn.kind == "flags":
            self.post_message(self.Recorded("First this: Enter with nothing ticked is an answer too."))
            return
        if turn.need is not None and self._work is not None and status == "unsure":
            self._work.not_known.add(turn.need.name)
            self.post_message(self.Recorded(then=turn.key))
            return
        keys = list(dict.fromkeys(n.check for n in turn.form)) or [turn.check.id]

        def record(call: CallDesk) -> None:
            for key in keys:
                self._give(call, key, status=status)

        self._record(record)

    def _record(self, change: Callable[[CallDesk], object], then: str | None = None, *, keep: bool = False) -> None:
        assert self._work is not None
        key = self._key()
        self._waiting = True
        wrong = self._work.do(change)
        self._waiting = not wrong
        if not wrong and not keep:
            self._work.drafts.pop(key, None)
            self._work.details = {}
        self.post_message(self.Recorded(wrong, then))
