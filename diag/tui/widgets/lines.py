"""A field of several lines: Enter records."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.message import Message
from textual.widgets import TextArea


class LinesField(TextArea):
    """Several lines: Enter records, Ctrl+J begins a new line, Tab goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "submit", "Record", show=False, priority=True),
        Binding("ctrl+j", "newline", "New line", show=False),
    ]

    class Submitted(Message):
        """Enter was pressed."""

        def __init__(self, field: LinesField) -> None:
            super().__init__()
            self.field = field
            self.value = field.text

        @property
        def control(self) -> LinesField:
            return self.field

    def __init__(self, value: str = "", *, placeholder: str = "", id: str | None = None) -> None:  # noqa: A002
        super().__init__(
            value, id=id, compact=True, placeholder=placeholder, highlight_cursor_line=False, tab_behavior="focus",
            soft_wrap=True,
        )  # fmt: skip
        self.cursor_blink = False

    def action_submit(self) -> None:
        """Record."""
        self.post_message(self.Submitted(self))

    def action_newline(self) -> None:
        """Begin a new line."""
        self.insert("\n")
