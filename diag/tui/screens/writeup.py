"""The write-up as it stands, and what is missing in it: Enter on a line goes to the field that mends it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual import on, work
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, Static

from diag.errors import DiagError
from diag.tui.act import Act, bindings
from diag.tui.safe import say
from diag.tui.screens.forms import FormScreen
from diag.tui.screens.page import Page
from diag.tui.screens.text import BACK, TextScreen
from diag.tui.widgets.lists import PickList
from diag.tui.work import Work
from diag.tui.working import guarded

if TYPE_CHECKING:
    from diag.writeup.completeness import Missing


class WriteUpScreen(Page[str]):
    """What is missing stands first, the preview below it; gives the check to be taken, or ""."""

    TITLE_TEXT = "Write-up"
    DO_FIRST = (
        "see what is missing; Enter on a line of it opens the field that mends it. Ctrl+S saves the write-up; PgUp and "
        "PgDn scroll the preview."
    )
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("save", "Save", "Save the write-up as PDF, Markdown, text or JSON.", "ctrl+s", shown=True, first=True),
        Act("copy", "Copy", "Copy the short form, to paste it into a form's field.", "c"),
        Act("reader", "Other reader", "For the house, for the customer, for a claim.", "r", shown=True),
        Act("load", "What to load", "Drive out or not, and what to load on the truck.", "l", shown=True),
        Act("page_up", "Page up", "Scroll the preview up.", "pageup", first=True),
        Act("page_down", "Page down", "Scroll the preview down.", "pagedown", first=True),
        BACK,
    )
    BINDINGS = bindings(ACTS)

    def __init__(self, call: Work, *, load: bool = False) -> None:
        super().__init__(call)
        self.work: Work = call
        self._load_first = load
        self._reader = ""
        self._missing: tuple[Missing, ...] = ()

    def body(self) -> Iterable[Widget]:
        yield PickList(id="topics")
        with VerticalScroll(id="told", can_focus=False):
            yield Static(say("Writing ..."), id="text")

    def on_mount(self) -> None:
        from diag.writeup.page.audience import SERVICE

        super().on_mount()
        self._reader = self._reader or SERVICE
        self.query_one("#topics").border_title = say("Missing")
        self.query_one("#topics").focus()
        self.show_call()
        if self._load_first:
            self.action_load()

    def show_call(self) -> None:
        if self.work.ready and self._reader:
            self._write(self._reader, max(56, self.app.size.width - 4))

    def on_resize(self) -> None:
        super().on_resize()
        self.show_call()

    @work(thread=True, exclusive=True, group="writeup", description="writeup", exit_on_error=False)
    def _write(self, reader: str, width: int) -> None:
        """Write off the screen's thread."""
        with guarded(self, "Writing"):
            from diag.writeup.completeness import missing
            from diag.writeup.page.render import render_text
            from diag.writeup.saving import ordered

            call = self.work.call
            try:
                order = ordered(call, reader)
                found, text = missing(call, reader), render_text(order.story, width, reader, order.ready)
            except DiagError as error:
                found, text = (), str(error)
            self.from_thread(self._show, found, text)

    def _show(self, found: tuple[Missing, ...], text: str) -> None:
        from diag.writeup.mending import READERS, missing_line

        self._missing = found
        rows: list[tuple[str | None, Content | str]] = [(m.rule, missing_line(m)) for m in found]
        self.query_one("#topics", PickList).fill(rows or [(None, "Nothing is missing.")])
        self.query_one("#told").border_title = say(f"Preview {READERS[self._reader]}")
        self.query_one("#text", Static).update(say(text))

    @on(OptionList.OptionSelected)
    def _jump(self) -> None:
        from diag.writeup.mending import missing_form

        picked = self.query_one("#topics", PickList).picked
        m = next((m for m in self._missing if m.rule == picked), None)
        if m is None:
            return
        known = [c for c in m.checks if c in self.work.call.engine.knowledge.questions]
        if known and not m.details and not m.lost:
            self.dismiss(known[0])
        else:
            self.app.push_screen(FormScreen(self.work, missing_form(self.work.call, m)))

    def action_reader(self) -> None:
        from diag.writeup.page.audience import AUDIENCES

        self._reader = AUDIENCES[(AUDIENCES.index(self._reader) + 1) % len(AUDIENCES)]
        self.show_call()

    def action_save(self) -> None:
        from diag.writeup.mending import save_form

        self.app.push_screen(FormScreen(self.work, save_form(self.work.call, self._reader, self.tell)))

    def action_copy(self) -> None:
        self._copies(self._reader)

    @work(thread=True, exclusive=True, group="copy", description="copy", exit_on_error=False)
    def _copies(self, reader: str) -> None:
        """Write the short form off the screen's thread; the system or else the terminal lets it be pasted."""
        with guarded(self, "Copying"):
            from diag.writeup.saving import clipboard, ordered, short_text

            copies = clipboard()
            try:
                text = short_text(ordered(self.work.call, reader))
                if copies:
                    copies(text)
            except DiagError as error:
                self.from_thread(self.tell, str(error))
                return
            if copies is None:
                self.app.call_from_thread(self.app.copy_to_clipboard, text)
            self.from_thread(self.tell, f"Copied the short form{'' if copies else ', where the terminal allows it'}.")

    def action_load(self) -> None:
        self.tell("Working it out ...")
        self._loads(max(56, self.app.size.width - 4))

    @work(thread=True, exclusive=True, group="load", description="load", exit_on_error=False)
    def _loads(self, width: int) -> None:
        """Work out the drive-out and the load off the screen's thread."""
        with guarded(self, "Working out the load"):
            from diag.writeup.drive_out import drive_out_view, drive_text
            from diag.writeup.load_list import load_list
            from diag.writeup.load_page import load_text

            try:
                call = self.work.call
                text = drive_text(drive_out_view(call), width) + "\n" + load_text(load_list(call), width)
            except DiagError as error:
                text = str(error)
            self.from_thread(self._show_load, text)

    def _show_load(self, text: str) -> None:
        self.tell("")
        back = (lambda _: self.dismiss("")) if self._load_first else None  # what was opened by itself closes by itself
        self.app.push_screen(TextScreen(self.work, "Drive out, load", text), back)

    def action_page_up(self) -> None:
        self.query_one("#told", VerticalScroll).scroll_page_up(animate=False)

    def action_page_down(self) -> None:
        self.query_one("#told", VerticalScroll).scroll_page_down(animate=False)

    def action_back(self) -> None:
        self.dismiss("")
