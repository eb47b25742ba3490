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

FIRST = (
    "Do this first: answer the question in the middle. Type the number of an answer, or its words, or figures;",
    "below the line stands what was understood; Enter records it. Nothing is recorded without Enter.",
    "Wrong? Ctrl+Z takes the last act back, whole. ? is not sure, x can't be done here.",
    "Somebody hurt or in danger: F12.",
)
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

    def __init__(self, acts: Sequence[Act]) -> None:
        super().__init__()
        self._acts = acts

    def body(self) -> Iterable[Widget]:
        rows: list[list[Part]] = [[(line, "bold $bright")] for line in FIRST]
        rows.append([""])
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
