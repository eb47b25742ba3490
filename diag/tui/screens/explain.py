"""Looking: why this check, how each belief came about, what if, which rules fired, charts, knowledge entries."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual import on, work
from textual.containers import VerticalScroll
from textual.widget import Widget
from textual.widgets import OptionList, Static
from textual.worker import get_current_worker

from diag.say.explaining import Topic, entry_text, told, topics
from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK, TextScreen
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work
from diag.tui.working import guarded

SLOW = "Working it out ..."


class ExplainScreen(Page[None]):
    """Topics above (or left), the one under the cursor told below (or right)."""

    TITLE_TEXT = "Why"
    DO_FIRST = "go along the lines with the arrows: what each is about stands beside or below; Esc goes back."
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("entry", "Knowledge entry", "The entry of the knowledge behind this topic.", "e", shown=True),
        Act("page_up", "Page up", "Scroll the text up.", "pageup", first=True),
        Act("page_down", "Page down", "Scroll the text down.", "pagedown", first=True),
        BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, call: Work, check: str | None, first: str = "") -> None:
        super().__init__(call)
        self.work: Work = call
        self._check, self._first = check, first
        self._topics: list[Topic] = []
        self._asked = 0

    def body(self) -> Iterable[Widget]:
        yield PickList(id="topics", numbered=False)
        with VerticalScroll(id="told", can_focus=False):
            yield Static(id="text")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#topics").border_title = say("Look into")
        self.query_one("#told").border_title = say("Told")
        self.show_call()
        self.query_one("#topics").focus()

    def show_call(self) -> None:
        if not self.work.ready:
            return
        self._topics = topics(self.work.call, self._check)
        box = self.query_one("#topics", PickList)
        box.fill([(t.key, t.title) for t in self._topics], keep=self._first or box.picked or self._topics[0].key)

    @on(OptionList.OptionHighlighted)
    def _moved(self) -> None:
        self._tell_picked()

    def on_resize(self) -> None:
        super().on_resize()
        self._tell_picked()

    def _tell_picked(self) -> None:
        picked = self.query_one("#topics", PickList).picked
        if picked is None:
            return
        self._asked += 1
        if picked.startswith("if:"):
            self.query_one("#text", Static).update(say(SLOW))
        width = max(40, self.query_one("#told").scrollable_content_region.width)
        self._work_out(picked, width, self._asked)

    @work(thread=True, exclusive=True, group="explain", description="explain", exit_on_error=False)
    def _work_out(self, key: str, width: int, number: int) -> None:
        """Tell a topic off the screen's thread; what came too late is dropped."""
        with guarded(self, "Telling it"):
            text = told(self.work.call, key, width)
            if not get_current_worker().is_cancelled and number == self._asked:
                self.from_thread(self._show, text)

    def _show(self, text: str) -> None:
        self.query_one("#text", Static).update(say(text))
        self.query_one("#told", VerticalScroll).scroll_home(animate=False)

    @on(OptionList.OptionSelected)
    def _enter(self) -> None:
        self.action_entry()

    def action_entry(self) -> None:
        picked = self.query_one("#topics", PickList).picked
        topic = next((t for t in self._topics if t.key == picked), None)
        if topic is None or topic.entry is None:
            self.tell("No single entry stands behind this.")
            return
        kind, key = topic.entry
        self.app.push_screen(TextScreen(self.work, key, entry_text(self.work.call, kind, key)))

    def action_page_up(self) -> None:
        self.query_one("#told", VerticalScroll).scroll_page_up(animate=False)

    def action_page_down(self) -> None:
        self.query_one("#told", VerticalScroll).scroll_page_down(animate=False)
