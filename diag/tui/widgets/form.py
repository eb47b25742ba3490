"""Rows of a form: a label, a field, and what is wrong with it beside the field."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.widget import Widget
from textual.widgets import Static

from diag.tui.safe import say


class Row(Vertical):
    """A labelled field; `name` is what it is called in the program."""

    def __init__(self, name: str, label: str, field: Widget, hint: str = "") -> None:
        super().__init__(classes="row")
        self.key, self.label, self.field, self.hint = name, label, field, hint

    def compose(self) -> ComposeResult:
        with Horizontal(classes="row-line"):
            yield Static(say(self.label), classes="row-label")
            yield self.field
        yield Static(say(self.hint), classes="row-hint")

    def on_mount(self) -> None:
        self.query_one(".row-hint").display = bool(self.hint)

    def hinted(self, hint: str) -> None:
        """Show another hint."""
        self.hint = hint
        self.wrong("")

    def wrong(self, text: str) -> None:
        """Show what is wrong, or the hint again when nothing is."""
        hint = self.query_one(".row-hint", Static)
        hint.set_class(bool(text), "bad")
        hint.update(say(text or self.hint))
        hint.display = bool(text or self.hint)
