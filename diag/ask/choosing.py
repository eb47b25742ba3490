"""Which of the choices offered a typed line picks: by number, by its words or others for it, by a yes or a no."""

from __future__ import annotations

import re

from diag.ask.turn import Turn
from diag.ask.wording import PERHAPS, SURE, begins, is_fine, meant, says_no_more
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.text import one_line

YES, NO = ("y", "yes", "yeah", "yep"), ("n", "no", "nope")
NUMBERS = re.compile(r"\d{1,3}(?:[ ,]+\d{1,3})*")
_OF_ROWS = re.compile(r"\b(?:all|rows?|the)\s+\d{1,2}(?:\s*(?:,|-|and|to|or)\s*\d{1,2})*\b")
"""Figures that only name rows: "swapped with row 4"."""


def numbered(turn: Turn, said: str) -> list[str]:
    """Return the choices whose numbers were typed, [] where one of them is none."""
    keys = [c.key for c in turn.choices]
    numbers = [int(n) for n in re.split(r"[ ,]+", said) if n.isdigit()]
    return [keys[n - 1] for n in numbers] if all(1 <= n <= len(keys) for n in numbers) else []


def yes_or_no(knowledge: Knowledge, check: Check, low: str) -> list[str]:
    """Return the outcomes that a plain yes or no ("yes, they do") means to the question, [] where it means none."""
    first = re.split(r"[ ,.]", low, maxsplit=1)[0]
    for name, words, means in (("yes", YES, check.yes), ("no", NO, check.no)):
        if first in words and says_no_more(knowledge.lexicon, low.removeprefix(first)):
            return list(means) or ([name] if name in check.outcomes else [])
    return []


def chosen(knowledge: Knowledge, turn: Turn, said: str) -> list[str]:
    """Return the choices that a number or words mean: several where the words leave it open, [] for none."""
    low = one_line(said).lower()
    if re.fullmatch(r"\d{1,3}", low):
        return numbered(turn, low)
    told = _told(knowledge, turn)
    exact = [key for key, ways in told.items() if low == key or low in ways]
    if exact or low in YES + NO:
        bare = "yes" if low in YES else "no"
        return exact or [key for key in told if key == bare]
    begun = {c.key for c in turn.choices if begins(low, (c.key.replace("_", " "), c.words))}
    like = set(_guessed(knowledge, turn, low))
    return [key for key in told if key in (begun & like or begun | like)]


def perhaps(knowledge: Knowledge, turn: Turn, said: str) -> list[str]:
    """Return the choices that words may mean that are not clear enough to be taken, two at most."""
    found = _by_likeness(knowledge, turn, one_line(said).lower(), PERHAPS)
    return found if len(found) <= 2 else []


def _guessed(knowledge: Knowledge, turn: Turn, low: str) -> list[str]:
    """Return the choices that words of the caller's own mean most likely; they are read back before Enter."""
    check = turn.check if turn.kind == "check" else None
    if check is not None and is_fine(knowledge.lexicon, low):
        return [name for name, outcome in check.outcomes.items() if outcome.normal]
    return _by_likeness(knowledge, turn, low, SURE)


def _by_likeness(knowledge: Knowledge, turn: Turn, low: str, least: float) -> list[str]:
    check = turn.check if turn.kind == "check" else None
    said = _OF_ROWS.sub(" ", low)
    if any(c.isdigit() for c in said):
        return []
    asked = f"{turn.asks} {check.asks}" if check is not None else turn.asks
    return meant(knowledge.lexicon, said, _told(knowledge, turn), asked, least=least)


def _told(knowledge: Knowledge, turn: Turn) -> dict[str, tuple[str, ...]]:
    """Return the ways to say each choice, by key, in small letters."""
    check = turn.check if turn.kind == "check" else None
    others = knowledge.answers[check.id].ways if check is not None and check.id in knowledge.answers else {}
    return {c.key: (c.words.lower(), *others.get(c.key, ())) for c in turn.choices}
