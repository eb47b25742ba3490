"""Which answer of a list words mean: all words said begin words of it, or it shares clearly more with them."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping

from diag.knowledge.words import Lexicon

FINE = frozenset({"fine", "ok", "okay", "good", "normal", "alright", "right"})
"""Words for what is as it should be."""
LIKE = 0.7
"""What another word for the same thing is worth."""
LEAST, CLEAR = 0.4, 0.75
"""What an answer must share with the words, and the most the next best may share of that."""
STEM = 4
"""Letters from which one word that begins another counts as the same."""
_WORDS = re.compile(r"[a-z0-9]+")
_ENDS = re.compile(r"(?<=[a-z]{3})(?:ies|es|s|ed|ing)$")


def begins(said: str, texts: Iterable[str]) -> bool:
    """Tell whether every word said begins a word of one of the texts."""
    words = _WORDS.findall(said)
    return bool(words) and any(
        all(any(h.startswith(w) for h in _WORDS.findall(text.lower())) for w in words) for text in texts
    )


def meant(lexicon: Lexicon, said: str, answers: Mapping[str, str], asked: str = "") -> list[str]:
    """Return the keys of the answers that words mean: one where it is clear, several where it is not, [] for none.

    `answers`: words by key; `asked`: the question, whose own words tell nothing where no answer has them too.
    """
    ear = _Ear(lexicon, asked, " ".join(answers.values()))
    heard = ear.words(said)
    told = {key: ear.words(text) for key, text in answers.items()}
    shared = {key: _shared(ear, heard, words, told.values()) for key, words in told.items()}
    best = max(shared.values(), default=0.0)
    if best < LEAST:
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
