"""One key at any moment: what happened, and what to do now. The diagnosis stops until the danger is over."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import on
from textual.widget import Widget
from textual.widgets import OptionList, Static

from diag.tui.act import Act, bindings
from diag.tui.safe import lines
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work

FIRST = "Machine off, key out, people away. Call the emergency number first; the planter can wait."


class EmergencyScreen(Page[None]):
    """The list of what may have happened, with what to do; Enter notes it in the call, which then stands still."""

    TITLE_TEXT = "EMERGENCY"
    DO_FIRST = "do what stands there, now; Esc goes back when nobody is in danger any more."
    ACTS: ClassVar[tuple[Act, ...]] = (BACK,)
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work | None) -> None:
        super().__init__(work)
        self._call = work

    def body(self) -> Iterable[Widget]:
        yield Static(lines([[""], [("  " + FIRST, "bold $error")], [""]]), id="first")
        yield PickList(id="menu")

    def on_mount(self) -> None:
        super().on_mount()
        engine = self.diag.engine
        if engine is not None:
            cautions = [c for c in engine.knowledge.cautions.values() if c.stops and c.flags]
            flags = engine.knowledge.flags
            rows = [(c.flags[0], lines([[(flags[c.flags[0]].label, "bold")], [c.text]])) for c in cautions]
            self.query_one("#menu", PickList).fill(rows)
        self.query_one("#menu").focus()
        if self._call is not None:
            self.tell("A number and Enter note it in this call and stop the diagnosis. Esc: it was nothing.")

    @on(OptionList.OptionSelected)
    def _picked(self) -> None:
        picked = self.query_one("#menu", PickList).picked
        if picked is None or self._call is None:
            return
        held = self._call.call.state.situation.flags
        wrong = self._call.do(lambda call: call.set_situation({"flags": list(dict.fromkeys([*held, picked]))}))
        if wrong:
            self.tell(wrong, "bad")
        else:
            self.dismiss(None)
