"""What each number in a text is told for (a row, a vacuum, a count ...), from the words around it.

Labels come from what the hands say is told; a linear model over the words near the number learns them. The features
are the same for training and for use.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence

from diag.hear.features import key, of_leads, times
from diag.hear.said_words import Word

Leads = Mapping[str, float]
"""What a text is likely about: symptoms with their chances."""
NOTHING = ""
"""Class of a number that tells nothing asked for."""
ROW, OTHER_ROW, MACHINE_ROWS = "row", "other_row", "machine_rows"
RIGHT_ROW = "right_row"
"""What the rules take a number for that names a row with nothing wrong."""
_BEFORE, _AFTER = 4, 4
_WINDOW, _OPENING = 25, 120
_JOINS = (",", "and", "&", "or", "to", "-", "/", "then", "+")
_SIZES = (1.5, 2.5, 4.5, 8.5, 12.5, 16.5, 24.5, 36.5, 60.5, 100.5, 200, 1000, 10_000, 60_000)


def places(words: Sequence[Word]) -> list[int]:
    """Return where the numbers stand."""
    return [at for at, word in enumerate(words) if word.value is not None]


def around(words: Sequence[Word], read: Mapping[int, str], leads: Leads) -> dict[int, dict[int, float]]:
    """Count by place what is near each number: words before and after by place, those of its clause and sentence, size.

    `read`: what the rules of `said_rows` and `said_figures` take the numbers for, by place. Only words near a number
    and at the beginning of the text are looked at, so that a long text takes no longer for each number.
    """
    opening = {f"text {w.stem}" for w in words[:_OPENING] if w.value is None}
    rows = _Rows(words, read)
    return {at: _near(words, at, read) | {key(n): 1.0 for n in opening | rows.beside(at)} | _about(words, at, leads)
            for at in places(words)}


def _near(words: Sequence[Word], at: int, read: Mapping[int, str]) -> dict[int, float]:
    word = words[at]
    size, form = _size(word), _form(word)
    found = {f"size {size}", f"form {form}", f"size {size} {form}"}
    found |= _by_place(words, at, size)
    head, tail = run(words, at, -1), run(words, at, 1)
    for name, there in (("head", head), ("tail", tail)):
        beside = 0 <= there < len(words) and words[there].sentence == word.sentence
        found.add(f"{name} {words[there].stem if beside else '|'}")
    found.add(f"run {min(4, tail - head)}")
    for place in range(max(0, at - _WINDOW), min(len(words), at + _WINDOW)):
        found |= _beside(words[place], word, place == at, read.get(place, ""))
    return {key(name): 1.0 for name in found}


def _form(word: Word) -> str:
    """Tell how a number is written."""
    return "part" if (word.value or 0.0) % 1 else "word" if word.end - word.start > len(word.text) else "figures"


class _Rows:
    """The rows that the rules found in a text: a row beside the first one, or told once, is one to compare with."""

    def __init__(self, words: Sequence[Word], read: Mapping[int, str]) -> None:
        self._words = words
        self._places = {at for at, kind in read.items() if kind in (ROW, RIGHT_ROW)}
        self._from = min(self._places, default=-1)
        self._values = {words[at].value or 0.0 for at in self._places}
        self._times = Counter(w.value for w in words if w.value is not None)

    def beside(self, at: int) -> set[str]:
        """Return how a number stands to the rows named."""
        value = self._words[at].value or 0.0
        first, place = "none", "none"
        if self._from >= 0:
            away = abs(value - (self._words[self._from].value or 0.0))
            first = "same" if not away else "next" if away == 1 else "other"
            place = "first" if at == self._from else "after" if at > self._from else "before"
        times, length = min(3, self._times[value]), min(3, run(self._words, at, 1) - run(self._words, at, -1))
        told = (
            f"first {first}", f"first {first} {place}", f"times {times}", f"times {times} {first}",
            f"of {min(3, len(self._values))} {first}", f"known {value in self._values}",
            f"next {not self._values.isdisjoint((value - 1, value + 1))}", f"numbers {min(6, self._times.total())}",
            f"run {length} {first}",
        )
        return {f"rows {what} {at in self._places}" for what in told}


def _about(words: Sequence[Word], at: int, leads: Leads) -> dict[int, float]:
    """Count what the text is likely about beside the number's size, form and neighbours, likelier symptoms more."""
    beside = ["|", "|"]
    for place, there in enumerate((at - 1, at + 1)):
        if 0 <= there < len(words) and words[there].sentence == words[at].sentence:
            beside[place] = words[there].stem
    found = of_leads(leads)
    for symptom, chance in leads.items():
        told = (f"size {_size(words[at])}", _form(words[at]), f"{beside[0]} _", f"_ {beside[1]}")
        found |= {key(f"about {symptom} {what}"): times(chance) for what in told}
    return found


def _by_place(words: Sequence[Word], at: int, size: int) -> set[str]:
    """Return the words before and after by place, single and in pairs."""
    word, by_step = words[at], {}
    for step in (*range(-_BEFORE, 0), *range(1, _AFTER + 1)):
        there = at + step
        if not 0 <= there < len(words) or words[there].sentence != word.sentence:
            by_step[step] = "|"
            continue
        token = "#" if words[there].value is not None else words[there].stem
        by_step[step] = token + ("" if words[there].clause == word.clause else ",")
    found = {f"{step} {token}" for step, token in by_step.items()}
    found |= {f"{'before' if step < 0 else 'after'} {token}" for step, token in by_step.items() if abs(step) <= 3}
    before, after = by_step[-1], by_step[1]
    pairs = {f"{by_step[-2]} {before} _", f"_ {after} {by_step[2]}", f"{before} _ {after}"}
    return found | pairs | {f"{before} {size}", f"{after} {size}"}


def _beside(other: Word, word: Word, itself: bool, read: str) -> set[str]:
    """Return what another word near the number adds, or what the rules take the number itself for."""
    same = other.sentence == word.sentence
    if itself:
        return {f"rule {read}"} if read else set()
    found = {f"text rule {read}"} | ({f"sentence rule {read}"} if same else set()) if read else set()
    if other.value is not None:
        return found | {f"with {_size(other)}"} if same else found
    if same:
        found.add(f"sentence {other.stem}")
    if other.clause == word.clause:
        found.add(f"clause {other.stem}")
    return found


def _size(word: Word) -> int:
    return sum((word.value or 0.0) > limit for limit in _SIZES)


def run(words: Sequence[Word], at: int, step: int) -> int:
    """Return the first place before (-1) or after (1) a number that belongs to no list of numbers."""
    there = at + step
    while 0 <= there < len(words) and abs(there - at) < _WINDOW and words[there].sentence == words[at].sentence:
        if words[there].value is None and words[there].text not in _JOINS:
            break
        there += step
    return there
