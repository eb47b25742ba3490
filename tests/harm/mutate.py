"""Inputs out of good ones: pieces taken out, doubled, swapped, repeated, and odd things put in."""

from __future__ import annotations

import random
from collections.abc import Sequence

ODD = (
    "\x1b[31m", "\x1b]0;x\x07", "\u202e", "\u2066", "\u200b", "\ufeff", "\0", "\x85", "\x9b", "\ud800", "\r", "\u2028",
    "²", "½", "٣", "１８", "𝟘", "é", "😀", "ﬀ", "ß", "İ", "9" * 5000, "1" * 4301, "-0", "1e309", "1e-400", "nan", "inf",
    "0x10", "1_000", "1/0", "0/0", "[" * 300, "{" * 60, "(" * 200, '"', "'", "`", "\\", "%s", "{0}", "${HOME}",
    "~nosuch/x", "../../etc", "-", "--", "=", ";", ",", ":", "|", ">", "&a", "*a",
    "!!python/object:os.system", "<b>", "=1+1", " ", "\t", "\n",
    "\n\n", "", "x" * 3000, "a," * 2000, "1 " * 2000, "row " * 500, "null", "true", "no",
)


def changed(rng: random.Random, seeds: Sequence[bytes], words: Sequence[str], most: int = 200_000) -> bytes:
    """Return one of the seeds, changed in one to six places."""
    data = bytearray(rng.choice(seeds))
    for _ in range(rng.choice((1, 1, 2, 3, 6))):
        _CHANGES[rng.randrange(len(_CHANGES))](rng, data, seeds, words)
    return bytes(data[:most])


def _span(rng: random.Random, data: bytearray) -> tuple[int, int]:
    start = rng.randint(0, len(data))
    return start, min(len(data), start + rng.choice((1, 2, 5, 20, 200)))


def _put(rng: random.Random, data: bytearray, seeds: Sequence[bytes], words: Sequence[str]) -> None:
    start, end = _span(rng, data)
    word = rng.choice(words or ODD) if rng.random() < 0.5 else rng.choice(ODD)
    data[start : end if rng.random() < 0.5 else start] = word.encode("utf-8", "surrogatepass")


def _take(rng: random.Random, data: bytearray, seeds: Sequence[bytes], words: Sequence[str]) -> None:
    start, end = _span(rng, data)
    del data[start:end]


def _double(rng: random.Random, data: bytearray, seeds: Sequence[bytes], words: Sequence[str]) -> None:
    start, end = _span(rng, data)
    data[end:end] = data[start:end] * rng.choice((1, 1, 2, 50))


def _byte(rng: random.Random, data: bytearray, seeds: Sequence[bytes], words: Sequence[str]) -> None:
    if data:
        data[rng.randrange(len(data))] = rng.randrange(256)


def _swap(rng: random.Random, data: bytearray, seeds: Sequence[bytes], words: Sequence[str]) -> None:
    start, end = _span(rng, data)
    piece = bytes(data[start:end])
    del data[start:end]
    at = rng.randint(0, len(data))
    data[at:at] = piece


def _join(rng: random.Random, data: bytearray, seeds: Sequence[bytes], words: Sequence[str]) -> None:
    other = rng.choice(seeds)
    start = rng.randint(0, len(other))
    at = rng.randint(0, len(data))
    data[at:at] = other[start : start + rng.choice((5, 40, 400))]


def _line(rng: random.Random, data: bytearray, seeds: Sequence[bytes], words: Sequence[str]) -> None:
    lines = bytes(data).split(b"\n")
    lines.insert(rng.randint(0, len(lines)), lines.pop(rng.randrange(len(lines))))
    data[:] = b"\n".join(lines)


_CHANGES = (_put, _put, _put, _take, _double, _byte, _swap, _join, _line)
