"""Everything recorded, in order: change an answer, take a step back, move an answer to the right call."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any, ClassVar

from textual import on
from textual.screen import Screen
from textual.widget import Widget
from textual.widgets import OptionList

from diag.ask.correcting import answer_of, can_be_withdrawn, change_turn, move_answer, told_turn
from diag.record.graph import show_call_id
from diag.say import present
from diag.tui.act import Act, bindings
from diag.tui.screens.asking import AskingScreen
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK, MenuScreen
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work


class TrailScreen(Page[None]):
    """The trail; Enter on a line says what can be done with it."""

    TITLE_TEXT = "Recorded"
    DO_FIRST = "go to what is to be changed or taken back; Enter opens it, Esc goes back to the question."
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
        self.tell(self.work.undo())

    def action_redo(self) -> None:
        self.tell(self.work.redo())


class ChangeScreen(AskingScreen, inherit_bindings=False):
    """One earlier answer, asked again."""

    TITLE_TEXT = "Change"
    ACTS: ClassVar[tuple[Act, ...]] = (*AskingScreen.ACTS, BACK)
    BINDINGS = [*Screen.BINDINGS, *bindings(ACTS)]  # noqa: RUF012

    def __init__(self, work: Work, event: str) -> None:
        super().__init__(work)
        self.change = event

    def show_call(self) -> None:
        if not self.work.ready:
            return
        turn = change_turn(self.work.call, self.change or "")
        if turn is None:
            self.tell("It no longer stands, or its check is no longer known: take it back instead.", "bad")
            return
        self.ask(turn)

    def recorded(self) -> None:
        self.dismiss(None)

    def moment(self) -> tuple[str, ...]:
        return ("back", "help")


class ToldScreen(ChangeScreen, inherit_bindings=False):
    """A result that was found by its words: read back, held against machine and state, recorded by 1 and Enter."""

    TITLE_TEXT = "Told"

    def __init__(self, work: Work, check: str, outcome: str) -> None:
        super().__init__(work, "")
        self.change = None
        self._check, self._outcome = check, outcome

    def beside(self) -> dict[str, Any]:
        return {"observer": "caller"} if self.work.call.state.channel == "phone" else {}

    def show_call(self) -> None:
        if self.work.ready:
            self.ask(told_turn(self.work.call, self._check, self._outcome))
