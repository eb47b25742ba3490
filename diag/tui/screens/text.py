"""Text to read: a page of lines that scrolls; and a menu of things to do."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import ClassVar

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, Static

from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.page import Page
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work

BACK = Act("back", "Back", "Back to the screen before.", "escape", shown=True)


class TextScreen(Page[None]):
    """Text to read."""

    ACTS: ClassVar[tuple[Act, ...]] = (BACK,)
    BINDINGS = bindings(ACTS)

    def __init__(self, work: Work | None, title: str, text: str | Content) -> None:
        super().__init__(work)
        self.TITLE_TEXT = title
        self._text = text if isinstance(text, Content) else say(text)

    def body(self) -> Iterable[Widget]:
        with VerticalScroll(id="page"):
            yield Static(self._text, id="text")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#page").focus()


class MenuScreen(Page[str]):
    """A numbered menu; gives the key of the line taken, or "" for none."""

    DO_FIRST = "type the number of a line, or go there with the arrows; Enter takes it, Esc goes back."
    ACTS: ClassVar[tuple[Act, ...]] = (BACK,)
    BINDINGS = bindings(ACTS)

    def __init__(
        self, work: Work | None, title: str, rows: Sequence[tuple[str | None, str | Content]], head: str = ""
    ) -> None:
        super().__init__(work)
        self.TITLE_TEXT = title
        self._rows, self._head = rows, head

    def body(self) -> Iterable[Widget]:
        yield Static(say(self._head), id="head")
        yield PickList(id="menu")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#head").display = bool(self._head)
        self.query_one("#menu", PickList).fill(list(self._rows))
        self.query_one("#menu").focus()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        picked = self.query_one("#menu", PickList).picked
        if picked:
            self.dismiss(picked)

    def action_back(self) -> None:
        self.dismiss("")
