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

FIELDS = (
    ("Tab", "to the next field, Shift+Tab back"),
    ("Enter", "records what was typed, or takes the line"),
    ("1 to 9", "goes to a line of a list; ticks it where there are nine lines at most"),
    ("Space", "ticks a line"),
    ("F", "in a form of one look: all the rest looked at and fine"),
    ("Ctrl+J", "a new line in a field of several lines"),
    ("Esc", "back to the screen before"),
)


class HelpScreen(Page[None]):
    """What can be done, with the keys."""

    TITLE_TEXT = "Help"
    ACTS: ClassVar[tuple[Act, ...]] = (Act("back", "Back", "Back to the screen before.", "escape", shown=True),)
    BINDINGS = bindings(ACTS)

    def __init__(self, acts: Sequence[Act]) -> None:
        super().__init__()
        self._acts = acts

    def body(self) -> Iterable[Widget]:
        rows: list[list[Part]] = []
        for act in self._acts:
            rows.append([(f"{key_name(act.key) if act.key else 'Ctrl+P':<8}", "bold"), f" {act.name}: {act.tells}"])
        rows.append([("In fields and lists", "bold")])
        rows += [[(f"{key:<8}", "bold"), f" {tells}"] for key, tells in FIELDS]
        rows.append(["What has no key of its own stands under Ctrl+P: type a word of it."])
        with VerticalScroll(id="page"):
            yield Static(lines(rows))

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#page").focus()

    def action_back(self) -> None:
        self.app.pop_screen()
