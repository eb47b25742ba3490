"""A text as counted features, the same for training and for use: words, pairs of words, pieces of words.

A feature is a 32-bit number (CRC-32 of its spelling), so no vocabulary is kept; a model keeps the numbers it has a
weight for. Words are taken as stems, numbers as their kind and size, trade words also as the lexicon set they are in.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from functools import lru_cache
from itertools import groupby, pairwise
from math import exp, sqrt
from zlib import crc32

from diag.hear.said_words import Word

_PIECES = (3, 5)  # letters of a piece of a word, word ends counted as letters
_SIZES = ((3.0, ""), (10.0, "few"), (60.0, "tens"), (1000.0, "hundreds"), (float("inf"), "thousands"))

Kinds = Mapping[str, Sequence[str]]
"""Lexicon sets by the stem of their words."""


Instead = Mapping[int, str]
"""By place of a word what it counts as instead of itself: a row, something denied, or "" for nothing at all."""


def of_words(words: Sequence[Word], instead: Instead, kinds: Kinds) -> Counter[int]:
    """Count stems, kinds, and pairs of neighbours with up to one word between, sentence by sentence.

    `kinds`: see `likeness.kinds_of`.
    """
    found: Counter[int] = Counter()
    spoken = (
        (at, w) for at, w in enumerate(words) if (w.text[0].isalnum() or w.text in "%#") and instead.get(at) != ""
    )
    for _, sentence in groupby(spoken, key=lambda pair: pair[1].sentence):
        tokens = [instead.get(at) or _token(word) for at, word in sentence]
        as_kinds = [kinds[t][0] if t in kinds else t for t in tokens]
        found.update(key(t) for t in tokens)
        found.update(key("kind " + k) for t in tokens for k in kinds.get(t, ()))
        for told in {tuple(tokens), tuple(as_kinds)}:
            found.update(key(f"{a} . {b}") for a, b in zip(told, told[2:], strict=False))
        found.update(key(f"{a} {b}") for a, b in pairwise(["<", *tokens, ">"]))
        both = zip(pairwise(as_kinds), pairwise(tokens), strict=True)
        found.update(key(f"{a} {b}") for (a, b), pair in both if (a, b) != pair)
    return found


def of_pieces(words: Sequence[Word], instead: Instead) -> Counter[int]:
    """Count the pieces of words as said, so that endings and misspellings do not part what belongs together."""
    found: Counter[int] = Counter()
    for at, word in enumerate(words):
        if word.value is None and word.text[0].isalpha() and at not in instead:
            found.update(_pieces(word.text))
    return found


def of_leads(leads: Mapping[str, float]) -> dict[int, float]:
    """Count what a text is likely about: each symptom as often as weighs as much as the root of its chance."""
    return {key(f"about {symptom}"): times(chance) for symptom, chance in leads.items()}


def times(chance: float) -> float:
    """Return how often a feature is counted that weighs the root of a chance (weights go by 1 + ln of the count)."""
    return exp(sqrt(chance) - 1)


def _token(word: Word) -> str:
    if word.value is None:
        return word.stem
    if word.value in (1.0, 2.0, 3.0):
        return f"#{word.value:.0f}"
    return "#" + next(name for limit, name in _SIZES if word.value < limit)


@lru_cache(maxsize=50_000)
def key(spelling: str) -> int:
    """Return the number of a feature."""
    return crc32(spelling.encode())


@lru_cache(maxsize=20_000)
def _pieces(word: str) -> tuple[int, ...]:
    return tuple(crc32(piece.encode()) for piece in _cut(f" {word} "))


def _cut(word: str) -> Iterator[str]:
    for length in range(_PIECES[0], _PIECES[1] + 1):
        for start in range(len(word) - length + 1):
            yield word[start : start + length]
