"""The words that can be typed at any question; the help is made from them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from diag.ask.turn import Turn

FIRST = """Do this first: answer the question by a number of its list, or in words; ? is not sure, x can't be done here.
Whatever was recorded is said back; undo takes it back. Words that do more, at any question:"""
WIDE = 20


@dataclass(frozen=True)
class Command:
    """One word of the dialogue, what may follow it, what it does."""

    name: str
    takes: str
    tells: str
    do: Callable[[str, Turn | None], None]


def help_text(words: Sequence[Command]) -> str:
    """Return the help."""
    lines = [f"  {(w.name + ' ' + w.takes).strip():<{WIDE}}{w.tells}" for w in words]
    return "\n".join([FIRST, *lines])
