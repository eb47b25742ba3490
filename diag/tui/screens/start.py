"""The first screen: new calls, and those that are open, due or past."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING, ClassVar

from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList

from diag.errors import DiagError
from diag.tui.act import Act, bindings
from diag.tui.safe import Part, lines
from diag.tui.screens.page import Page
from diag.tui.widgets.fields import LineField
from diag.tui.widgets.lists import PickList

if TYPE_CHECKING:
    from diag.store.open import CallSummary

NEW = {
    "new:phone": "New call by phone", "new:site": "New call on site",
    "new:message": "New call from a message (voice-mail, text)",
    "demo": "Demonstration calls (invented)", "practice": "Practise on an invented fault",
}
HEADS = {"due": "Due now", "open": "In work", "waiting": "Waiting", "closed": "Closed"}
MOST = 200


class StartScreen(Page[None]):
    """Calls, due first."""

    TITLE_TEXT = "diag | fault diagnosis for vacuum row-crop planters"
    ACTS: ClassVar[tuple[Act, ...]] = (
        Act("find", "Find a call", "Search customers, places, machines, words, causes.", "f3", shown=True),
        Act("settings", "Settings", "Colours, units, the channel new calls start with.", "f8", shown=True),
    )
    BINDINGS = bindings(ACTS)
    _chosen = False
    """True once the cursor was put on the kind of call that is usual here."""

    def body(self) -> Iterable[Widget]:
        yield LineField(placeholder="Find a call: any words", id="search")
        yield PickList(id="calls")

    def on_mount(self) -> None:
        super().on_mount()
        self.query_one("#search").display = False
        self.query_one("#calls").focus()
        self.show_calls()

    def on_screen_resume(self) -> None:
        super().on_screen_resume()
        self.show_calls()

    def show_calls(self) -> None:
        """Draw the list; calls come as soon as the store is open."""
        app = self.diag
        rows: list[tuple[str | None, Content | str]] = [*NEW.items()]
        if app.store is None:
            rows.append((None, app.trouble or "Opening the calls ..."))
        else:
            rows += self._stored()
        box = self.query_one("#calls", PickList)
        box.fill(rows, keep=box.picked if self._chosen else f"new:{app.chosen.get('channel', 'phone')}")
        self._chosen = app.store is not None

    def _stored(self) -> list[tuple[str | None, Content | str]]:
        from diag.store.listing import listed

        app = self.diag
        search = self.query_one("#search", LineField).value
        try:
            calls: list[CallSummary] = app.store.calls(MOST, search or None) if app.store else []
        except DiagError as error:
            return [(None, f"The calls cannot be read: {error}")]
        rows: list[tuple[str | None, Content | str]] = []
        state = ""
        for call in listed(calls, app.now(), app.labels()):
            if call.state != state:
                state = call.state
                rows.append((None, lines([[(HEADS[state], "bold")]])))
            first: list[Part] = [call.who + "  ", (call.told, "bold" if state == "due" else "")]
            rows.append((call.call, lines([first, ["     " + call.about]])))
        if not rows:
            rows.append((None, "No call fits." if search else "No calls yet."))
        return rows

    def on_input_changed(self, event: Input.Changed) -> None:
        self.show_calls()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        self.query_one("#calls").focus()

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        picked = self.query_one("#calls", PickList).picked
        if picked is None:
            return
        if picked.startswith("new:"):
            self.diag.new_call(picked.removeprefix("new:"))
        elif picked in ("demo", "practice"):
            self.diag.run_named(picked)
        else:
            self.tell(self.diag.open_call(picked), "bad")

    def action_find(self) -> None:
        search = self.query_one("#search")
        search.display = True
        search.focus()

    def action_settings(self) -> None:
        self.diag.run_named("settings")
