"""What was heard in the caller's words: candidates with one key each, facts as chips that can be dropped."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import ClassVar

from textual import events
from textual.binding import Binding, BindingType
from textual.content import Content
from textual.message import Message
from textual.widget import Widget

from diag.tui.safe import Part, fit, lines

LETTERS = "abcdefghijklmnopqrstuvwxyz"
MOST = 9


@dataclass(frozen=True)
class Chip:
    """One thing heard; `taken`: it goes into the call."""

    key: str
    words: str
    taken: bool
    because: str = ""
    said: bool = False
    """True when a person took or dropped it; what hearing alone ticked, a digit takes for good."""


class HeardPanel(Widget, can_focus=True):
    """Digits take or drop a candidate, letters a fact, + all facts, 0: he is driving; Enter goes on."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "go", "To the first question", show=False),
        Binding("up,backspace,shift+tab", "words", "Back to the words", show=False),
    ]

    class Go(Message):
        """Enter was pressed."""

    class Words(Message):
        """Back to the words."""

    class Changed(Message):
        """A chip was taken or dropped; `told` says which."""

        def __init__(self, told: str) -> None:
            super().__init__()
            self.told = told

    def __init__(self, *, id: str | None = None) -> None:  # noqa: A002
        super().__init__(id=id)
        self.candidates: tuple[Chip, ...] = ()
        self.facts: tuple[Chip, ...] = ()
        self.driving: Chip | None = None
        """The question asked before all others."""
        self.said = ""
        """What is to be said about the words when nothing was made of them."""

    def show(self, candidates: Sequence[Chip], facts: Sequence[Chip], said: str = "") -> None:
        """Show what was heard; what a person took or dropped stays so."""
        self.candidates, self.facts = tuple(candidates[:MOST]), tuple(facts[:len(LETTERS)])
        self.said = said
        self.refresh(layout=True)

    def render(self) -> Content:
        width = max(40, self.size.width)
        enter: Part = ("  Enter", "bold $accent")
        rows: list[list[Part]] = [[enter, " when that is all they say; then digits, letters and + choose"]]
        if self.has_focus:
            rows = [[enter, " to the first question   ", ("Up", "bold $accent"), " back to the words"]]
        if self.driving is not None:
            mark = ("[0]" if self.driving.taken else " 0 ", "bold $accent")
            rows += [[("  Ask first  ", "bold $warning"), f'"{self.driving.because}"  ', mark, " yes"], [""]]
        if self.said:
            rows += [["  ", (self.said, "$warning")]]
        if self.facts:
            told = "    only [ ] goes along; " + ("a letter takes or drops one, + takes all" if self.has_focus
                                                  else "after Enter + takes all")
            rows.append([("  Heard", "bold $secondary"), (told, "$quiet")])
            rows += [*self._chips(width), [""]]
        if self.candidates:
            told = "    a digit takes one, once more drops it" if self.has_focus else ""
            rows.append([("  It sounds like", "bold $secondary"), (told, "$quiet")])
            room = min(46, max(len(c.words) for c in self.candidates))
            for n, chip in enumerate(self.candidates, 1):
                sign = f"[{n}]" if chip.taken else f" {n} "
                words = fit(chip.words, max(20, width - 10)).ljust(room)
                left = width - len(words) - 12
                rows.append([(f"   {sign} ", "bold $accent"), (words, "bold" if chip.taken else ""),
                             ("  " + _that_fits(chip.because, left), "$quiet")])
        return lines(rows)

    def _chips(self, width: int) -> list[list[Part]]:
        rows: list[list[Part]] = [["  "]]
        used = 2
        for letter, chip in zip(LETTERS, self.facts, strict=False):
            words = fit(chip.words, width - 10)
            if used + len(words) + 8 > width:
                rows.append(["  "])
                used = 2
            sign = f"[{letter}]" if chip.taken else f" {letter} "
            rows[-1] += [(sign, "bold $accent"), " ", (words, "bold" if chip.taken else "$quiet"), "  "]
            used += len(words) + 6
        return rows

    def on_key(self, event: events.Key) -> None:
        char = event.character or ""
        if char.isdigit() and char.isascii():
            told = self._digit(int(char))
        elif char == "+":
            self.facts = tuple(replace(c, taken=True) for c in self.facts)
            told = "All that was heard goes along." if self.facts else ""
        elif len(char) == 1 and char in LETTERS:
            told = self._letter(LETTERS.index(char))
        else:
            return
        event.stop()
        self.refresh(layout=True)
        self.post_message(self.Changed(told))

    def _digit(self, digit: int) -> str:
        """Take or drop a candidate, 0: he is driving; return what was done."""
        if digit == 0 and self.driving is not None:
            self.driving = replace(self.driving, taken=not self.driving.taken)
            return _told(self.driving)
        if not 1 <= digit <= len(self.candidates):
            return f"There is no {digit} in the list."
        chosen = self.candidates[digit - 1]
        taken = not chosen.taken or not chosen.said
        now = replace(chosen, taken=taken, said=True)
        self.candidates = (*self.candidates[: digit - 1], now, *self.candidates[digit:])
        return _told(self.candidates[digit - 1])

    def _letter(self, at: int) -> str:
        """Take or drop a fact; return what was done."""
        if at >= len(self.facts):
            return f"There is no {LETTERS[at]} here. Up: back to the words."
        self.facts = _flipped(self.facts, at)
        return _told(self.facts[at])

    def on_focus(self) -> None:
        self.refresh(layout=True)

    def on_blur(self) -> None:
        self.refresh(layout=True)

    def action_go(self) -> None:
        """Go on."""
        self.post_message(self.Go())

    def action_words(self) -> None:
        """Back to the words."""
        self.post_message(self.Words())


def _that_fits(because: str, width: int) -> str:
    """Return a reason whole, else the words it rests on, else nothing."""
    return next((text for text in (because, because.partition(": ")[0]) if len(text) <= width), "")


def _told(chip: Chip) -> str:
    return f"{'Taken' if chip.taken else 'Dropped'}: {chip.words}"


def _flipped(chips: tuple[Chip, ...], at: int) -> tuple[Chip, ...]:
    return (*chips[:at], replace(chips[at], taken=not chips[at].taken), *chips[at + 1:])
