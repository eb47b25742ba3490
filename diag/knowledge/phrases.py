"""Phrases over words, and the stems they are made of.

A phrase is a short pattern over words, read left to right:

    gap              the word in any ending (gaps, gapping); articles and other `skipped` words never count
    miss/skip/blank  any of these
    SEED             any word of the lexicon's set SEED
    NUM              a number, in figures or in words; NUM<97 and NUM>97 a number below or above
    =planting        this spelling only
    (still)          may be missing
    ..  ....         up to 3, up to 7 other words; at the end: what follows, to the end of the clause
    VAC & low        both in any order, close together in one part of the sentence

The words of one phrase stand in one sentence; only a gap may pass over a comma.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

NUMBER = "NUM"
NEAR, FAR = 3, 7  # words that `..` and `....` may pass over
_NUMBER_SLOT = re.compile(r"NUM(?:<(?P<below>\d+)|>(?P<above>\d+))?")
_ANY_NUMBER = 1e18
_VOWELS = "aeiouy"
_SHORTEST_STEM = 3
_KEPT = {"rates": "rate", "rate": "rate", "evening": "evening", "evenings": "evening", "rats": "rats", "rat": "rats"}
"""Words that would fall together with others of another meaning."""
_ENDINGS = (("ies", "y"), ("ied", "y"), ("ing", ""), ("ed", ""), ("es", ""), ("s", ""), ("e", ""))


@dataclass(frozen=True, slots=True)
class Slot:
    """One place of a phrase: a choice of words, a number, or a gap of up to so many words."""

    words: frozenset[str] = frozenset()
    exact: frozenset[str] = frozenset()
    number: tuple[float, float] | None = None  # above the first and below the second
    optional: bool = False
    gap: int = 0

    def starts(self) -> Iterable[str]:
        """The index keys under which a phrase beginning with this slot is kept."""
        return [*self.words, *(f"={w}" for w in self.exact), *([NUMBER] if self.number else [])]


@dataclass(frozen=True, slots=True)
class Phrase:
    """A phrase ready for matching, with the name of the concept it stands for."""

    owner: str
    text: str
    slots: tuple[Slot, ...]
    others: tuple[tuple[Slot, ...], ...]  # further words in any order
    takes: frozenset[str]  # stems of all words it names
    needs: tuple[frozenset[str], ...]  # beside its first word, one of each must be in the sentence

    @property
    def whole(self) -> bool:
        """Whether its words stand side by side."""
        return not self.others and not any(s.gap for s in self.slots)


def read_phrase(
    owner: str, phrase: str, sets: Mapping[str, Sequence[str]], skipped: frozenset[str]
) -> Phrase:
    """Return the phrase ready for matching; raise ValueError telling what is wrong with it."""
    parts = tuple(_slots(part, sets, skipped) for part in phrase.split(" & "))
    if len(parts) > 1 and any(s.gap or s.optional for slots in parts for s in slots):
        raise ValueError("words in any order (&) take no gap and nothing optional")
    needed = sum(not s.optional for slots in parts for s in slots)
    if needed == 1 and (dropped := [w for w in phrase.split() if w in skipped]):
        raise ValueError(f'only one word is left of it, as "{dropped[0]}" never counts')
    named = [(s, s.words | {stem(w) for w in s.exact}) for slots in parts for s in slots]
    needs = tuple(stems for s, stems in named[1:] if stems and not s.optional and not s.number)
    takes: frozenset[str] = frozenset().union(*(stems for _, stems in named))
    return Phrase(owner, phrase, parts[0], parts[1:], takes=takes, needs=needs)


def _slots(text: str, sets: Mapping[str, Sequence[str]], skipped: frozenset[str]) -> tuple[Slot, ...]:
    slots = tuple(s for word in text.split() if (s := _slot(word, sets, skipped)) is not None)
    if not any(s.words or s.exact or s.number for s in slots if not s.optional):
        raise ValueError("has no word to look for (only skipped or optional ones)")
    if slots[0].gap or slots[0].optional:
        raise ValueError("must begin with a word")
    return slots


def _slot(word: str, sets: Mapping[str, Sequence[str]], skipped: frozenset[str]) -> Slot | None:
    """Return one place of a phrase, None for a word that never counts."""
    if set(word) == {"."}:
        return Slot(gap=NEAR if word == ".." else FAR)
    exact: set[str] = set()
    stems: set[str] = set()
    number: tuple[float, float] | None = None
    for part in word.strip("()").split("/"):
        if found := _NUMBER_SLOT.fullmatch(part):
            number = (float(found["above"] or -_ANY_NUMBER), float(found["below"] or _ANY_NUMBER))
        elif part.startswith("="):
            exact.add(part[1:])
        elif part.isupper():
            if part not in sets:
                raise ValueError(f"no such set of words: {part}")
            stems |= {stem(w) for w in sets[part]}
        elif not part:
            raise ValueError("an empty alternative")
        elif part not in skipped:
            stems.add(stem(part))
    if not (exact or stems or number):
        return None
    return Slot(frozenset(stems), frozenset(exact), number, word.startswith("("))


@lru_cache(maxsize=20_000)
def stem(word: str) -> str:
    """Return the word without its common English endings, so that skips, skipped and skipping are one."""
    word = word.lower()
    if word in _KEPT:
        return _KEPT[word]
    for ending, instead in _ENDINGS:
        rest = word.removesuffix(ending) + instead
        if word.endswith(ending) and _may_stand(rest, ending):
            return _undouble(rest) if ending in ("ing", "ed") else _without_e(rest) if ending == "s" else rest
    return word


def _may_stand(rest: str, ending: str) -> bool:
    if len(rest) < _SHORTEST_STEM or not any(c in _VOWELS for c in rest):
        return False
    return not (ending == "ed" and rest.endswith("e")) and not (ending == "s" and rest.endswith("s"))


def _undouble(rest: str) -> str:
    doubled = len(rest) > _SHORTEST_STEM and rest[-1] == rest[-2] and rest[-1] not in "lsz"
    return rest[:-1] if doubled else rest


def _without_e(rest: str) -> str:
    return rest[:-1] if rest.endswith("e") and len(rest) > _SHORTEST_STEM else rest
