"""Help: what can be done on the screen below, from the same table that the keys come from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from diag.text import wrap
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


HEAD = 10
"""Columns of a key before what it does."""


def _hung(key: str, text: str, width: int) -> list[list[Part]]:
    """Return a key and what it does; what runs over stands under its text."""
    first, *more = wrap(text, max(30, width)).splitlines()
    rest: list[list[Part]] = [[" " * HEAD, line] for line in more]
    return [[(key.ljust(HEAD), "bold"), first], *rest]


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
        told = [(key_name(a.key), f"{a.name}: {a.tells}") for a in self._acts if a.key]
        rest = [("", f"{a.name}: {a.tells}") for a in self._acts if not a.key]
        for head, part in (("", told), ("In fields and lists", FIELDS), ("Under Ctrl+P, by a word of it", rest)):
            rows += [[""], [(head, "bold $secondary")]] if head and part else []
            rows += [line for key, text in part for line in _hung(key, text, self.app.size.width - HEAD - 4)]
        with VerticalScroll(id="page"):
            yield Static(lines(rows))

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#page").focus()

    def action_back(self) -> None:
        self.app.pop_screen()
