"""Lists for the keyboard: pick one by its number, tick several."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.message import Message
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from diag.tui.safe import say

SPARE = 3
"""Columns a list needs beside its text: one on either side, one for the scroll bar."""


SHORT = 9
"""Most lines of a list in which one figure names a line for good."""


class PickList(OptionList):
    """A list of lines; a number goes to that line, Enter takes it."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("down,j", "cursor_down", "Down", show=False),
        Binding("up,k", "cursor_up", "Up", show=False),
    ]

    def __init__(self, *, id: str | None = None, classes: str | None = None, numbered: bool = True) -> None:  # noqa: A002
        super().__init__(id=id, classes=classes, compact=True, markup=False)
        self._numbered = numbered
        self._rows: Sequence[tuple[str | None, Content | str]] = ()
        self._drawn_for = 0
        self._digits = ""
        """Figures typed so far of the number of a line."""
        self.keys: list[str | None] = []
        """What each line stands for; None for a heading."""

    def fill(self, rows: Sequence[tuple[str | None, Content | str]], keep: str | None = None) -> None:
        """Show lines (key, text or content); the cursor goes to `keep`; else nothing is under it."""
        self._rows = rows
        self.keys = [key for key, _ in rows]
        self._draw_rows()
        self.highlighted = self.keys.index(keep) if keep is not None and keep in self.keys else None

    def _draw_rows(self) -> None:
        """Put the lines in, numbered, what runs over set in under its beginning."""
        self._drawn_for = self.size.width
        self.clear_options()
        number, options = 0, []
        for key, text in self._rows:
            head = ""
            if key is not None and self._numbered:
                number += 1
                head = f"{number:>2} "
            shown = say(text) if isinstance(text, str) else text
            options.append(Option(_hung(head, shown, self.size.width - SPARE), disabled=key is None))
        self.add_options(options)

    def on_resize(self) -> None:
        if self._rows and self.size.width != self._drawn_for:
            at = self.highlighted
            self._draw_rows()
            self.highlighted = at

    @property
    def picked(self) -> str | None:
        """The key of the line under the cursor."""
        at = self.highlighted
        return self.keys[at] if at is not None and at < len(self.keys) else None

    def on_key(self, event: events.Key) -> None:
        digit = event.character if event.character and event.character in "0123456789" else ""
        if self._numbered and digit:
            if self._go_to(self._digits + digit) or self._go_to(digit):
                self.number_hit()
            event.stop()
        else:
            self._digits = ""

    def _go_to(self, number: str) -> bool:
        """Go to a line by its number; False when there is none. Figures typed one after the other make one number."""
        real = [i for i, key in enumerate(self.keys) if key is not None]
        if not 1 <= int(number) <= len(real):
            return False
        self._digits = number if len(real) > SHORT else ""
        self.highlighted = real[int(number) - 1]
        return True

    def number_hit(self) -> None:
        """A number led to a line; plain lists only go there."""


class CallsList(PickList):
    """The calls on the first screen: what is typed there belongs to the words, and Up on the first line leads there."""

    class Typed(Message):
        """A letter or figure was typed."""

        def __init__(self, character: str) -> None:
            super().__init__()
            self.character = character

    class Up(Message):
        """Up was pressed on the first line."""

    def on_key(self, event: events.Key) -> None:
        if event.is_printable and event.character:
            event.stop()
            self.post_message(self.Typed(event.character))

    def action_cursor_up(self) -> None:
        """Go a line up, or out of the list."""
        first = next((i for i, key in enumerate(self.keys) if key is not None), None)
        if self.highlighted in (None, first):
            self.post_message(self.Up())
        else:
            super().action_cursor_up()


def _hung(head: str, shown: Content, width: int) -> Content:
    """Return a line with its head, folded so that what runs over stands under the text."""
    room = width - len(head)
    if room < 10:
        return say(head) + shown
    parts = shown.wrap(room)
    pad = "\n" + " " * (len(head) or 2)
    folded = say(head)
    for i, part in enumerate(parts):
        folded = folded + (say(pad) if i else say("")) + part.rstrip()
    return folded


@dataclass(frozen=True)
class Tick:
    """One line that can be ticked."""

    key: str
    label: str
    state: str = ""
    """ "" not said, "x" ticked, "-" looked at and fine (or said not to be so)."""
    group: str = ""
    """Heading it stands under."""
    only: str = ""
    """Lines of the same name exclude one another."""
    can_be_fine: bool = True
    """False where "looked at and fine" says nothing."""


class Ticks(PickList):
    """Lines to tick with Space, in a list of up to nine also by their number; F means all the rest is fine."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("space", "tick", "Tick", show=False),
        Binding("f", "rest_fine", "The rest is fine", show=False),
    ]

    class Changed(Message):
        """A tick changed."""

        def __init__(self, ticks: Ticks) -> None:
            super().__init__()
            self.ticks = ticks

        @property
        def control(self) -> Ticks:
            return self.ticks

    def __init__(self, *, id: str | None = None, classes: str | None = None, fine: bool = False) -> None:  # noqa: A002
        super().__init__(id=id, classes=classes)
        self._fine = fine
        self.ticks: tuple[Tick, ...] = ()

    def show(self, ticks: Sequence[Tick]) -> None:
        """Show these lines."""
        self.ticks = tuple(ticks)
        self._draw()

    def on_focus(self) -> None:
        """A form's list shows where one stands; ticking is a key of its own."""
        if self.highlighted is None:
            self.action_first()

    def _draw(self) -> None:
        rows: list[tuple[str | None, Content | str]] = []
        group = ""
        for tick in self.ticks:
            if tick.group != group:
                group = tick.group
                rows.append((None, say((group, "bold"))))
            rows.append((tick.key, say(f"[{tick.state or ' '}] {tick.label}")))
        self.fill(rows, keep=self.picked)

    def ticked(self, state: str = "x") -> tuple[str, ...]:
        """Return the keys of lines in a state."""
        return tuple(t.key for t in self.ticks if t.state == state)

    def number_hit(self) -> None:
        if len(self.ticks) <= SHORT:
            now = next((t for t in self.ticks if t.key == self.picked), None)
            if now is not None and now.only:
                self.choose()  # of lines that exclude one another a number only ever chooses
            else:
                self.action_tick()

    def action_tick(self) -> None:
        """Tick the line under the cursor, or take its tick off."""
        here = self.picked
        if here is None:
            return
        now = next(t for t in self.ticks if t.key == here)
        fresh = "" if now.state == "x" else "x"
        self.ticks = tuple(
            replace(t, state=fresh) if t.key == here
            else replace(t, state="") if now.only and fresh and t.only == now.only
            else t
            for t in self.ticks
        )
        self._draw()
        self.post_message(self.Changed(self))

    def choose(self) -> None:
        """Tick the line under the cursor where only one of them can be ticked."""
        now = next((t for t in self.ticks if t.key == self.picked), None)
        if now is not None and now.only and now.state != "x":
            self.action_tick()

    def action_rest_fine(self) -> None:
        """Mark all without a tick as looked at and fine."""
        if not self._fine:
            return
        bad = {t.only for t in self.ticks if t.state == "x" and t.only}
        self.ticks = tuple(
            t if t.state == "x" or t.only in bad or not t.can_be_fine else replace(t, state="-") for t in self.ticks
        )
        self._draw()
        self.post_message(self.Changed(self))
