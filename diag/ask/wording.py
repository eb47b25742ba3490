"""Which answer of a list words mean: all words said begin words of it, or it shares clearly more with them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping, Sequence

from diag.knowledge.words import Lexicon

FINE = frozenset({"fine", "ok", "okay", "good", "normal", "alright", "right"})
"""Words for what is as it should be."""
LIKE = 0.7
"""What another word for the same thing is worth."""
SURE, PERHAPS, CLEAR = 0.65, 0.3, 0.75
"""What an answer must share with the words to be taken, and to be named as what may be meant; the most the next best
may share of that. Blind replies: of those taken nine in ten are right, of those named half."""
BEGINNING = 3
"""Letters that must be typed of a word; "y" is no yard."""
STEM = 4
"""Letters from which one word that begins another counts as the same."""
_WORDS = re.compile(r"[a-z0-9]+")
_ENDS = re.compile(r"(?<=[a-z]{3})(?:ies|es|s|ed|ing)$")


def begins(said: str, texts: Iterable[str]) -> bool:
    """Tell whether every word said is one of a text, or begins one with letters enough."""
    words = _WORDS.findall(said)
    return bool(words) and any(
        all(any(h == w or (len(w) >= BEGINNING and h.startswith(w)) for h in _WORDS.findall(text.lower()))
            for w in words)
        for text in texts
    )


def meant(
    lexicon: Lexicon, said: str, answers: Mapping[str, Sequence[str]], asked: str = "", least: float = SURE
) -> list[str]:
    """Return the keys of the answers that words mean: one where it is clear, several where it is not, [] for none.

    `answers`: ways to say it by key; `asked`: the question, whose own words tell nothing where no answer has them too.
    """
    ear = _Ear(lexicon, asked, " ".join(way for ways in answers.values() for way in ways))
    heard = ear.words(said)
    told = {key: [ear.words(part) for way in ways for part in _parts(way)] for key, ways in answers.items()}
    same = [key for key, ways in told.items() if heard and heard in ways]
    if len(same) == 1:
        return same
    every = [frozenset().union(*ways) for ways in told.values()]
    shared = {key: max(_shared(ear, heard, way, every) for way in ways) for key, ways in told.items()}
    best = max(shared.values(), default=0.0)
    if best < least:
        return []
    return [key for key, score in shared.items() if score >= CLEAR * best]


def is_fine(lexicon: Lexicon, said: str) -> bool:
    """Tell whether words say no more than that all is as it should be."""
    words = _Ear(lexicon).words(said)
    left = words - {"look", "all"}
    return bool(left) and left <= FINE


def says_no_more(lexicon: Lexicon, said: str) -> bool:
    """Tell whether words after a yes or a no add nothing to it: "they do", "they do not"."""
    return _Ear(lexicon).words(said) <= {"no"}


def _parts(way: str) -> list[str]:
    """Return a way to say it, and what it joins by "or": each alone says it too."""
    parts = re.split(r",? or ", way)
    return [way] if len(parts) == 1 else [way, *(p for part in parts for p in part.split(", "))]


class _Ear:
    """Words cut down to what they mean."""

    def __init__(self, lexicon: Lexicon, asked: str = "", told: str = "") -> None:
        self._skipped = {*lexicon.skipped, *_WORDS.findall(" ".join(lexicon.talk.joins))}
        self._turns = set(lexicon.talk.negators)
        self._groups = [frozenset(map(_stem, group)) for group in lexicon.sets.values()]
        self._asked = _stems(asked) - _stems(told)

    def words(self, text: str) -> frozenset[str]:
        """Return the words of a text that tell something, each by its stem, all that deny as "no"."""
        found = _WORDS.findall(text.lower().replace("n't", " not"))
        kept = ("no" if w in self._turns else _stem(w) for w in found if w not in self._skipped)
        return frozenset(w for w in kept if w not in self._asked)

    def alike(self, one: str, other: str) -> float:
        """Return 1 for the same word, less for another word for the same thing, 0 else."""
        if one == other or (min(len(one), len(other)) >= STEM and (one.startswith(other) or other.startswith(one))):
            return 1.0
        return LIKE if any(one in g and other in g for g in self._groups) else 0.0


def _stem(word: str) -> str:
    return _ENDS.sub("", word)


def _stems(text: str) -> set[str]:
    return {_stem(w) for w in _WORDS.findall(text.lower())}


def _shared(ear: _Ear, heard: frozenset[str], told: frozenset[str], all_told: Iterable[frozenset[str]]) -> float:
    """Return how much two sets of words share, 0 to 1; what stands in few answers weighs most."""
    every = list(all_told)

    def weight(word: str) -> float:
        return math.log(1 + len(every) / (0.5 + sum(word in words for words in every)))

    if not heard or not told or ("no" in heard) != ("no" in told):
        return 0.0
    found = {w: max((weight(t) * ear.alike(w, t), weight(t)) for t in told) for w in heard}
    of_said = sum(got for got, _ in found.values())
    said = sum(full for _, full in found.values())
    of_told = sum(weight(t) * max(ear.alike(w, t) for w in heard) for t in told)
    return 0.5 * (of_said / said + of_told / sum(map(weight, told)))
