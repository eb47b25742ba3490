"""A field of one line; the one of several lines is in `lines`, which costs more to load."""

from __future__ import annotations

from textual import events
from textual.widgets import Input

from diag.text import one_line


class LineField(Input):
    """One line. A pasted list keeps all its lines, joined by blanks."""

    def __init__(self, value: str = "", *, placeholder: str = "", id: str | None = None) -> None:  # noqa: A002
        super().__init__(value, placeholder=placeholder, id=id, compact=True, select_on_focus=False)
        self.cursor_blink = False

    def _on_paste(self, event: events.Paste) -> None:
        """Put the whole paste in, cleaned and on one line."""
        self.insert_text_at_cursor(one_line(event.text))
        event.stop()
        event.prevent_default()
