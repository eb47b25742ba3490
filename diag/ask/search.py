"""Searching the knowledge by any word of the trade: its own words, those of the lexicon for the same thing, units."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass

from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.text import one_line
from diag.unit_table import QUANTITIES, UNITS

_WORDS = re.compile(r"[a-z0-9/]+")
LEAST_INSIDE = 5
"""Letters of a word that is looked for inside other words too: "amps" is no "clamps"."""
OWN, ALIKE, AKIN = 0, 1, 2
"""How a word is held: as it was typed, by another word for the same thing, or by one of the same field."""


@dataclass(frozen=True)
class _Sought:
    """A word that was typed, and other words for the same thing."""

    word: str
    alike: tuple[str, ...]
    akin: tuple[str, ...]

    def held(self, text: str) -> int | None:
        """Return how a text (see `_text`) holds the word, None when it does not."""
        if f" {self.word}" in text:
            return OWN
        inside = len(self.word) >= LEAST_INSIDE and self.word in text
        if inside or any(f" {other}" in text for other in self.alike):
            return ALIKE
        return AKIN if any(f" {other}" in text for other in self.akin) else None


def _sought(knowledge: Knowledge, text: str) -> list[_Sought]:
    lexicon = knowledge.lexicon
    searched = [(word, *others) for word, others in lexicon.searched.items()]
    found = []
    for typed in one_line(text).lower().split():
        word = lexicon.spellings.get(typed, typed)
        forms = {word, word.removesuffix("s")}
        alike = [*_others(searched, forms), *([] if word == typed else [word])]
        found.append(_Sought(typed, tuple(alike), tuple(_others(lexicon.sets.values(), forms))))
    return found


def _others(groups: Iterable[Iterable[str]], forms: set[str]) -> list[str]:
    """Return the words of the groups that hold one of the forms, short ones left out."""
    found = (w.lower() for group in groups if forms & set(group) for w in group)
    return list(dict.fromkeys(w for w in found if len(w) > 2))


def _text(*parts: str) -> str:
    """Return texts as they are searched: lower case, with a blank before every word."""
    return " " + " ".join(parts).lower().replace("_", " ") + " " + " ".join(_WORDS.findall(" ".join(parts).lower()))


def _rank(sought: list[_Sought], text: str) -> int | None:
    """Return how a text holds all words: the worst of them, None when one is missing."""
    ranks = [s.held(text) for s in sought]
    return None if None in ranks else max((r for r in ranks if r is not None), default=OWN)


def _measured_in(check: Check) -> str:
    """Return what a check measures and its units, in words."""
    quantity = QUANTITIES.get(check.takes.quantity or "")
    if quantity is None:
        return ""
    return " ".join([quantity.label, *(w for u in (quantity.us, quantity.metric)
                                       for w in (u, *(UNITS[u].aliases if u in UNITS else ())))])


def search_checks(knowledge: Knowledge, text: str, most: int = 12) -> list[str]:
    """Return ids of checks (as asked) that fit: every word, or another for the same thing, in what it asks and takes.

    Those that hold the words in their heading come first, then those that hold them side by side.
    """
    sought, found = _sought(knowledge, text), []
    for key, check in knowledge.questions.items():
        head = _text(key, check.asks, check.phone or "", _measured_in(check))
        whole = head + _text(*(o.says for o in check.outcomes.values()))
        rank = _rank(sought, whole)
        if rank is not None:
            headed = _rank(sought, head)
            place = 1 + rank if headed is None else headed  # as typed in the heading, then by a like word or elsewhere
            found.append((place, one_line(text).lower() not in whole, headed is None, len(head), key))
    return [key for *_, key in sorted(found)[:most]]


def search_causes(knowledge: Knowledge, text: str, most: int = 12) -> list[str]:
    """Return ids of causes that fit a search."""
    sought, found = _sought(knowledge, text), []
    for key, cause in knowledge.causes.items():
        hay = _text(key, cause.label, cause.plain or "")
        rank = _rank(sought, hay)
        if rank is not None:
            found.append((rank, len(hay), key))
    return [key for *_, key in sorted(found)[:most]]


def search_symptoms(knowledge: Knowledge, text: str, most: int = 40) -> list[str]:
    """Return ids of symptoms whose label or wordings hold every word ("" lists all)."""
    sought, found = _sought(knowledge, text), []
    for place, (key, s) in enumerate(knowledge.symptoms.items()):
        rank = _rank(sought, _text(key, s.label, *s.wordings))
        if rank is not None:
            found.append((rank, place, key))
    return [key for *_, key in sorted(found)[:most]]


def search_answers(knowledge: Knowledge, text: str, most: int = 12) -> list[tuple[str, str]]:
    """Return (check, outcome) of possible results that hold every word: a fact told without being asked.

    Results whose own words hold more of the search come first; "no" to one item of a list is left out.
    """
    sought, found = _sought(knowledge, text), []
    for key, check in knowledge.questions.items():
        head = _text(key, check.asks)
        for name, outcome in check.outcomes.items():
            says = _text(name, outcome.says)
            rank = None if "." in key and name == "no" else _rank(sought, says + head)
            own = sum(s.held(says) is not None for s in sought)
            if rank is not None and own:
                found.append((rank, -own, len(says) + len(head), key, name))
    return [(key, name) for *_, key, name in sorted(found)[:most]]
