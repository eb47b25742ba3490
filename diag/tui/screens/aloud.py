"""Figures read aloud: one line for the next figure, each read back, refused at once where it cannot be."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import on
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Input, Static

from diag.ask import aloud as reading
from diag.ask.aloud import can_be_read_aloud
from diag.errors import DiagError
from diag.knowledge.model import Check
from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK
from diag.tui.widgets.fields import LineField
from diag.tui.work import Work

__all__ = ["AloudScreen", "can_be_read_aloud"]


class AloudScreen(Page[str]):
    """Gives the answer as text, "" when left."""

    TITLE_TEXT = "Read aloud"
    DO_FIRST = "type each figure as it is called out, and Enter; say back what stands here. Ctrl+S takes them all."
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("use", "Use", "Put what was read into the answer.", "ctrl+s", shown=True, first=True),
        Act("one_back", "One back", "Take the last figure off again.", "ctrl+z", shown=True, first=True),
        Act("other_way", "Other way", "Start from the last row and walk back.", "ctrl+t"),
        BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work, check: Check) -> None:
        super().__init__(work)
        self.work: Work = work
        self._check = check
        self._aloud = reading.begin(check, 1, work.call.state.machine.rows)

    def body(self) -> Iterable[Widget]:
        yield Static(id="head")
        yield LineField(id="figure")
        with VerticalScroll(id="told", can_focus=False):
            yield Static(id="text")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#told").border_title = say("Read back")
        self.query_one("#figure").focus()
        self._draw()

    def _draw(self) -> None:
        unit = f", in {self._aloud.unit}" if self._aloud.unit else ", the first one with its unit"
        dash = "; a dash: not read; row 5: go on there" if self._aloud.kind == "rows" else ""
        head = f"{self._check.asks}\n{self._aloud.prompt}{unit}{dash}. Enter on an empty line: done."
        self.query_one("#head", Static).update(say(head))
        back = reading.read_back_last(self._aloud)
        self.query_one("#text", Static).update(say("\n".join(t for t in (back, reading.text(self._aloud)) if t)))

    @on(Input.Submitted)
    def _figure(self, event: Input.Submitted) -> None:
        if not event.value.strip():
            self.action_use()
            return
        try:
            self._aloud = reading.take(self._aloud, event.value)
        except DiagError as error:
            self.tell(f"{error.what} {error.remedy}", "bad")
            return
        self.tell("")
        event.input.clear()
        self._draw()

    def action_use(self) -> None:
        self.dismiss(reading.text(self._aloud) if self._aloud.read else "")

    def action_one_back(self) -> None:
        self._aloud = reading.back(self._aloud)
        self._draw()

    def action_other_way(self) -> None:
        rows = self.work.call.state.machine.rows
        if self._aloud.read or not rows:
            self.tell("The direction is chosen before the first row, on a machine whose rows are known.")
            return
        start, last = (rows, 1) if self._aloud.step == 1 else (1, rows)
        self._aloud = reading.begin(self._check, start, last)
        self._draw()

    def action_back(self) -> None:
        self.dismiss("")
