"""A fact in a caller's words: what it is, the words, and what it may be accepted as."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from diag.knowledge.words import Offers

Slot = Literal["answer", "measured", "axis", "situation", "machine", "reading", "told", "done_before"]


@dataclass(frozen=True, slots=True)
class Candidate:
    """One thing a fact may be accepted as: answer (check, outcome), axis or situation (field, value) and so on.

    `reading` and `told` (what it means) have no field of the call: they are kept in the caller's words.
    `measured` is the reading that a check asks for: "left 9 inH2O, right 16 inH2O".
    """

    slot: Slot
    name: str
    value: str


@dataclass(frozen=True, slots=True)
class FactFound:
    """A fact in the caller's words; `doubt` says why a value may not be as told."""

    kind: str
    value: str
    said: str
    offers: tuple[Candidate, ...]
    doubt: str = ""
    ticked: bool = False
    """So sure that an untouched intake takes it over."""


def offers_of(entry: Offers, words: str = "") -> tuple[Candidate, ...]:
    """Return the ticks of an entry; `words` are the caller's, for entries that keep them."""
    found = [Candidate("answer", check, outcome) for check, outcome in entry.answers.items()]
    found += [Candidate("axis", axis, value) for axis, value in entry.axes.items()]
    found += [Candidate("situation", field, words or value) for field, value in entry.situation.items()]
    if entry.done_before:
        found.append(Candidate("done_before", entry.done_before, words))
    return tuple(found)
