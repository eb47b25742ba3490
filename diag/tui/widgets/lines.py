"""A field of several lines: Enter records."""

from __future__ import annotations

from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.message import Message
from textual.widgets import TextArea

from diag.text import clean


class LinesField(TextArea):
    """Several lines: Enter records, Ctrl+J begins a new line, Tab goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [
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
        )
        self.cursor_blink = False

    async def _on_key(self, event: events.Key) -> None:
        """Enter goes on; here, not by way of the application, so that every key before it was taken."""
        if event.key == "enter":
            event.stop()
            event.prevent_default()
            self.action_submit()
            return
        await super()._on_key(event)

    async def _on_paste(self, event: events.Paste) -> None:
        """Put the whole paste in, cleaned: bytes that drive the terminal stay out."""
        event.prevent_default()
        event.stop()
        if not self.read_only:
            done = self.replace(clean(event.text), *self.selection, maintain_selection_offset=False)
            self.move_cursor(done.end_location)

    def action_submit(self) -> None:
        """Record."""
        self.post_message(self.Submitted(self))

    def action_newline(self) -> None:
        """Begin a new line."""
        self.insert("\n")


class WordsField(LinesField):
    """The caller's words: Down on the last line goes on to what stands below."""

    class Down(Message):
        """Down was pressed on the last line."""

    def action_cursor_down(self, select: bool = False) -> None:
        """Go a line down, or out of the field."""
        if self.cursor_at_last_line:
            self.post_message(self.Down())
        else:
            super().action_cursor_down(select)
