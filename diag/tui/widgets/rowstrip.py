"""The rows of the planter as a strip: arrows go along, Space marks."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.content import Content
from textual.message import Message
from textual.reactive import reactive
from textual.widget import Widget

from diag.figures.rows import Rows, show_rows
from diag.tui.safe import Part, say


class RowStrip(Widget, can_focus=True):
    """Row 1 is the left one, seen from the seat. Marked rows stand in brackets."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("left", "go(-1)", "Left", show=False),
        Binding("right", "go(1)", "Right", show=False),
        Binding("space,enter", "mark", "Mark", show=False),
        Binding("a", "all", "All", show=False),
    ]

    class Changed(Message):
        """Rows were marked; `text` is how they can be typed."""

        def __init__(self, strip: RowStrip, text: str) -> None:
            super().__init__()
            self.strip, self.text = strip, text

        @property
        def control(self) -> RowStrip:
            return self.strip

    count: reactive[int] = reactive(0, layout=True)
    marked: reactive[frozenset[int]] = reactive(frozenset)
    at: reactive[int] = reactive(1)

    def show(self, count: int, rows: Rows | None) -> None:
        """Show so many rows with these marked."""
        self.count = count
        self.display = count > 0
        every = frozenset(range(1, count + 1))
        self.marked = frozenset() if rows is None else every if isinstance(rows, str) else frozenset(rows) & every
        self.at = min(max(1, self.at), max(1, count))

    def render(self) -> Content:
        parts: list[Part] = []
        for row in range(1, self.count + 1):
            text = f"[{row}]" if row in self.marked else f" {row} "
            here = row == self.at and self.has_focus
            parts.append((text, "bold reverse" if here else "bold" if row in self.marked else ""))
        return say(*parts)

    def on_focus(self) -> None:
        self.refresh()

    def on_blur(self) -> None:
        self.refresh()

    def action_go(self, step: int) -> None:
        """Go along the rows."""
        self.at = min(max(1, self.at + step), max(1, self.count))

    def action_mark(self) -> None:
        """Mark the row, or take the mark off."""
        self._mark(self.marked ^ {self.at})

    def action_all(self) -> None:
        """Mark all rows, or none."""
        every = frozenset(range(1, self.count + 1))
        self._mark(frozenset() if self.marked == every else every)

    def _mark(self, marked: frozenset[int]) -> None:
        self.marked = marked
        rows = tuple(sorted(marked))
        text = "all" if rows and len(rows) == self.count else show_rows(rows) if rows else ""
        self.post_message(self.Changed(self, text))
