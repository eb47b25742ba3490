"""Help: what can be done on the screen below, from the same table that the keys come from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from diag.tui.act import Act, bindings, key_name
from diag.tui.safe import Part, lines
from diag.tui.screens.page import Page

HURT = "Somebody hurt or in danger: F12."
FIELDS = (
    ("Up, Down", "choose an answer, go along a list"),
    ("Enter", "records what is read back, or takes the line that was chosen"),
    ("Tab", "to the next field of a form, Shift+Tab back"),
    ("Space", "ticks a line of a form"),
    ("Ctrl+S", "done: records a form, saves"),
    ("Ctrl+J", "a new line in a field of several lines"),
    ("Esc", "back to the screen before; what is half typed is kept"),
)


class HelpScreen(Page[None]):
    """What can be done, with the keys."""

    TITLE_TEXT = "Help"
    ACTS: ClassVar[tuple[Act, ...]] = (Act("back", "Back", "Back to the screen before.", "escape", shown=True),)
    BINDINGS = bindings(ACTS)

    def __init__(self, acts: Sequence[Act], first: str) -> None:
        super().__init__()
        self._acts, self._first_of_all = acts, first

    def body(self) -> Iterable[Widget]:
        rows: list[list[Part]] = [[(f"Do this first: {self._first_of_all} {HURT}", "bold $bright")], [""]]
        rows += [[(f"{key_name(a.key):<8}", "bold"), f" {a.name}: {a.tells}"] for a in self._acts if a.key]
        rows.append([("In fields and lists", "bold")])
        rows += [[(f"{key:<8}", "bold"), f" {tells}"] for key, tells in FIELDS]
        rows += [[("Under Ctrl+P, by a word of it", "bold")]] if any(not a.key for a in self._acts) else []
        rows += [[f"         {a.name}: {a.tells}"] for a in self._acts if not a.key]
        with VerticalScroll(id="page"):
            yield Static(lines(rows))

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#page").focus()

    def action_back(self) -> None:
        self.app.pop_screen()
