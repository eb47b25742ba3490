"""Everything recorded, in order: change an answer, take a step back, move an answer to the right call."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import on
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import OptionList, Static

from diag.ask.correcting import answer_of, can_be_withdrawn, change_turn, move_answer
from diag.errors import DiagError
from diag.record.graph import show_call_id
from diag.say import present
from diag.tui.act import Act, bindings
from diag.tui.safe import Part, lines, say
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK, MenuScreen
from diag.tui.widgets.answer import AnswerBox
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work


class TrailScreen(Page[None]):
    """The trail; Enter on a line says what can be done with it."""

    TITLE_TEXT = "Recorded"
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("undo", "Undo", "Take back the last step.", "ctrl+z", shown=True),
        Act("redo", "Redo", "Do again what was taken back.", "ctrl+y"),
        BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work, event: str | None = None) -> None:
        super().__init__(work)
        self.work: Work = work
        self._event = event

    def body(self) -> Iterable[Widget]:
        yield PickList(id="steps", numbered=False)

    def on_mount(self) -> None:
        super().on_mount()
        self.show_call()
        self.query_one("#steps").focus()

    def show_call(self) -> None:
        if not self.work.ready:
            return
        trail = present.trail_lines(self.work.call)
        box = self.query_one("#steps", PickList)
        box.fill([(event, text) for event, text in trail], keep=self._event or box.picked)
        if self._event is None and box.highlighted == 0:
            box.highlighted = len(trail) - 1
        self._event = None

    @on(OptionList.OptionSelected)
    def _picked(self) -> None:
        event = self.query_one("#steps", PickList).picked
        call = self.work.call
        if event is None:
            return
        rows: list[tuple[str | None, str]] = []
        if answer_of(call, event) is not None:
            rows.append(("change", "Change the answer"))
        if can_be_withdrawn(call, event):
            rows.append(("withdraw", "Take it back"))
        if answer_of(call, event) is not None:
            others = [w for w in self.diag.works.values() if w is not self.work]
            rows += [(f"move:{w.call.call}", f"Move it to call {show_call_id(w.call.call)}: {present.header(w.call)}")
                     for w in others]
        if not rows:
            self.tell("This stands; it can't be taken back.")
            return
        self.app.push_screen(MenuScreen(self.work, "What to do with it", rows), lambda k: self._do(k, event))

    def _do(self, picked: str | None, event: str) -> None:
        if picked == "change":
            self.app.push_screen(ChangeScreen(self.work, event))
        elif picked == "withdraw":
            self._told(self.work.do(lambda call: call.withdraw(event)), "Taken back. Ctrl+Z takes that back again.")
        elif picked:
            self._move(self.diag.works[picked.removeprefix("move:")], event)

    def _move(self, target: Work, event: str) -> None:
        wrong = self.work.do(lambda call: move_answer(call, target.call, event))
        target.judge()
        self._told(wrong, f"Moved to call {show_call_id(target.call.call)}; both calls note it.")

    def _told(self, wrong: str, done: str) -> None:
        self.tell(wrong or done, "bad" if wrong else "")

    def action_undo(self) -> None:
        self._step("undo")

    def action_redo(self) -> None:
        self._step("redo")

    def _step(self, name: str) -> None:
        done: list[bool] = []
        wrong = self.work.do(lambda call: done.append(getattr(call, name)()))
        self._told(wrong, "Done." if done and done[0] else "There is nothing to take back or do again.")

    def action_back(self) -> None:
        self.dismiss(None)


class ChangeScreen(Page[None]):
    """One earlier answer, asked again."""

    TITLE_TEXT = "Change"
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("unsure", "Not sure", "Asked, and nobody is sure.", "f7", shown=True),
        BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work, event: str) -> None:
        super().__init__(work)
        self.work: Work = work
        self._event = event

    def body(self) -> Iterable[Widget]:
        with VerticalScroll(id="check", can_focus=False):
            yield Static(id="check-text")
        yield AnswerBox(id="answer")

    def on_mount(self) -> None:
        super().on_mount()
        try:
            turn = change_turn(self.work.call, self._event)
        except DiagError as error:
            self.tell(str(error), "bad")
            return
        if turn is None:
            self.tell("This check is no longer known: it can be taken back, not changed.", "bad")
            return
        self.query_one("#check").border_title = say(turn.title)
        rows: list[list[Part]] = [[(f"{part}: ", "bold"), text] for part, text in turn.lines]
        self.query_one("#check-text", Static).update(lines(rows))
        box = self.query_one("#answer", AnswerBox)
        box.change = self._event
        box.show(self.work, turn)

    def on_answer_box_recorded(self, message: AnswerBox.Recorded) -> None:
        """The changed answer was recorded, or not taken."""
        if message.wrong:
            self.tell(message.wrong, "bad")
        else:
            self.dismiss(None)

    def action_unsure(self) -> None:
        self.query_one("#answer", AnswerBox).refuse("unsure")

    def action_back(self) -> None:
        self.dismiss(None)
