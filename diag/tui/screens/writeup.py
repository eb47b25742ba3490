"""The write-up as it stands, and what is missing in it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import work
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import Static

from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK
from diag.tui.work import Work


class WriteUpScreen(Page[None]):
    """A preview; what is missing stands first."""

    TITLE_TEXT = "Write-up"
    ACTS: ClassVar[tuple[Act, ...]] = (BACK,)
    BINDINGS = bindings(ACTS)

    def __init__(self, call: Work) -> None:
        super().__init__(call)
        self.work: Work = call

    def body(self) -> Iterable[Widget]:
        with VerticalScroll(id="page"):
            yield Static(say("Writing ..."), id="text")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#page").focus()
        self._write(max(60, self.app.size.width - 4))

    @work(thread=True, exclusive=True, group="writeup", exit_on_error=False)
    def _write(self, width: int) -> None:
        """Write off the screen's thread."""
        try:
            from diag.writeup.render import render_text
            from diag.writeup.story import tell
        except ImportError:
            text = "The write-up is not part of this installation."
        else:
            text = render_text(tell(self.work.call), width=width)
        self.app.call_from_thread(self.query_one("#text", Static).update, say(text))

    def action_back(self) -> None:
        self.dismiss(None)
