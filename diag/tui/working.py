"""Work off the screen's thread that fails is told on the screen, never lost and never the end of the program."""

from __future__ import annotations

import logging
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from textual.widget import Widget

LOG = logging.getLogger(__name__)


@contextmanager
def guarded(widget: Widget, what: str) -> Iterator[None]:
    """Run the body of a thread worker; a failure goes to the log and, while the screen is there, to its line."""
    try:
        yield
    except Exception as error:
        LOG.exception("%s failed", what)
        with suppress(RuntimeError):  # the program has ended meanwhile
            widget.app.call_from_thread(_tell, widget, f"{what} failed: {type(error).__name__}: {error}.")


def _tell(widget: Widget, text: str) -> None:
    from diag.tui.screens.page import Page

    if widget.is_attached and isinstance(widget.screen, Page):
        widget.screen.tell(f"{text} What was recorded stands.", "bad")
