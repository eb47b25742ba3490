"""The line every answer is typed in. A key that was pressed before the question was drawn acts on nothing."""

from __future__ import annotations

import math
from typing import ClassVar

from textual import events
from textual._time import get_time
from textual.binding import Binding, BindingType
from textual.message import Message

from diag.tui.widgets.fields import LineField

HINT = "a number, an arrow, or words; Enter records"
HARMLESS = frozenset({"ctrl+q", "ctrl+c"})


class AnswerLine(LineField):
    """One line; arrows choose among the answers, Enter records."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down", "choose(1)", "Next answer", show=False),
        Binding("up", "choose(-1)", "Answer before", show=False),
    ]

    class Choose(Message):
        """An arrow was pressed."""

        def __init__(self, step: int) -> None:
            super().__init__()
            self.step = step

    class Early(Message):
        """Something was pressed before the question stood."""

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self._drawn = math.inf

    @property
    def waiting(self) -> bool:
        """True while the question is not drawn."""
        return self._drawn == math.inf

    def wait(self) -> None:
        """Take nothing until the next question is drawn."""
        self.placeholder = "..."
        self._drawn = math.inf

    def drawn(self, hint: str = HINT) -> None:
        """The question is on the screen: what is pressed from now on counts. `hint`: what the line takes."""
        self.placeholder = hint
        self._drawn = get_time()

    async def on_event(self, event: events.Event) -> None:
        if isinstance(event, events.Key | events.Paste) and event.time <= self._drawn:
            key = event.key if isinstance(event, events.Key) else ""
            if key not in HARMLESS:
                event.stop()
                event.prevent_default()
                self.post_message(self.Early())
                return
        if isinstance(event, events.Key) and event.key == "enter":
            event.stop()  # here, not by way of the application: later keys would come first
            event.prevent_default()
            await self.action_submit()
            return
        await super().on_event(event)

    async def action_submit(self) -> None:
        """Enter closes the line: what is pressed before the desk has taken it belongs to no question."""
        self._drawn = math.inf
        await super().action_submit()

    def action_choose(self, step: int) -> None:
        """Choose the next answer of the list."""
        self.post_message(self.Choose(step))
