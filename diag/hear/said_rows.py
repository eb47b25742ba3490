"""Rows in the caller's words: those in trouble, those told to be right, and how many the planter has."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from diag.hear.said import Said
from diag.hear.said_words import Word

MOST_ROWS = 96
LOOSE_ROWS = 48  # highest row number taken from "on 9"
_SMALLEST_MACHINE = 4
_ALL_OF_THEM = 6  # from this many on "all eight" are the rows of the planter
_RANGE = ("-", "to", "through", "until")
_LIST = ("and", "&", "+", "or", "nor")
_SIGNS = ("#", "number")  # between a word for rows and its numbers
_AGAIN = ("row", "rows", "#", "number")  # words between two rows of a list
_APART = frozenset(":()")  # between two numbers of which one alone is a row: "row 2: 34"
_ORDINAL = ("st", "nd", "rd", "th")
_OF_ALL = frozenset(("for", "the", "of", "them", "row", "rows", "one"))
_ALL = ("all", "every", "everything", "everyone", "everybody")
_BUT = ("but", "except", "besides", "bar")
_BEFORE_ROWS = ("on", "in", "at", "the", "it", "is", "also")  # words between "not" and the rows that it denies
_WAS, _TURNS = ("was", "were"), ("then", "until", "now", "before")  # "row 7 was fine, then it quit"
_OF = ("on", "in", "with", "at", "about", "of")
_NEAR = 2  # words between rows and what tells that they are right: "row 7 runs just fine"


@dataclass(frozen=True, slots=True)
class Span:
    """One row or one range of rows, with the place of its words."""

    low: int
    high: int
    first: int
    last: int


@dataclass(frozen=True)
class Rows:
    """Rows named by number, and the place of their words."""

    spans: tuple[Span, ...]
    first: int
    last: int
    but: bool = False
    """All rows but these."""
    right: bool = False
    """Told as rows that nothing is wrong with, or that it is not."""

    @cached_property
    def numbers(self) -> tuple[int, ...]:
        """The row numbers, sorted."""
        return tuple(sorted({n for s in self.spans for n in range(s.low, s.high + 1)}))

    @property
    def value(self) -> str:
        """The rows as one types them."""
        return f"all but {as_ranges(self.numbers)}" if self.but else as_ranges(self.numbers)

    @property
    def pattern(self) -> str:
        """What the rows amount to."""
        alone = pattern_of(self.numbers)
        return alone if not self.but else "all_but_one" if alone == "one" else "some"


@dataclass(frozen=True, slots=True)
class MachineRows:
    """How many rows the planter has, and the place of the words."""

    value: int
    first: int
    last: int


def pattern_of(numbers: Sequence[int]) -> str:
    """Return what sorted row numbers amount to: one, adjacent, some."""
    side = len(numbers) > 1 and numbers[-1] - numbers[0] == len(numbers) - 1
    return "one" if len(numbers) == 1 else "adjacent" if side else "some"


def as_ranges(numbers: Sequence[int]) -> str:
    """Return sorted row numbers as one types them: 3, 7-9."""
    runs: list[list[int]] = []
    for number in numbers:
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    return ", ".join(str(r[0]) if len(r) == 1 else f"{r[0]}-{r[-1]}" for r in runs)


def rows(said: Said) -> list[Rows]:
    """Return the rows named by number: "row 7", "rows 3 to 5", "skips on 2", "third row", "all but 4"."""
    return list(_lists(said, lambda at: _headed(said, at)))


def bare_rows(said: Said, named: Sequence[Rows]) -> list[Rows]:
    """Return lists of numbers that may be rows without being called so: "14 flatlined", "nine through twelve"."""
    taken = {at for r in named for at in range(r.first, r.last)}
    return list(_lists(said, lambda at: ([], at) if at in taken else _numbers(said, at, MOST_ROWS, first_sure=False)))


def machine_rows(said: Said, named: Sequence[Rows]) -> list[MachineRows]:
    """Return the size of the planter where it is named: "16-row", "all twelve rows", "12 rows" alone, "row 5 of 16".

    `named`: the rows named by number.
    """
    found = list(_rows_of(said, named))
    for at, word in enumerate(said.words):
        number = _whole(word)
        if number is None or not _SMALLEST_MACHINE <= number <= MOST_ROWS or at + 1 >= len(said.words):
            continue
        dash = said.words[at + 1].text == "-"
        after = said.words[at + 1 + dash].text if at + 1 + dash < len(said.words) else ""
        before = said.words[at - 1].text if at and said.words[at - 1].pause == word.pause else ""
        listed = before in said.lexicon.row_words or before in _RANGE or before in _LIST
        all_of_them = before == "all" and number >= _ALL_OF_THEM and after not in said.lexicon.counts_else
        alone = after == "rows" and _said_alone(said, at, at + 2 + dash)
        if (after == "row" and not listed) or (before == "all" and after == "rows") or all_of_them or alone:
            found.append(MachineRows(number, at, at + 1 + (dash + 1 if after in ("row", "rows") else 0)))
    return found


def _rows_of(said: Said, named: Sequence[Rows]) -> Iterator[MachineRows]:
    """Yield the 16 of "rows 5 to 8 of 16"."""
    words = said.words
    for rows_named in named:
        at = rows_named.last + 1
        if at < len(words) and words[at - 1].text == "of" and words[at].sentence == words[at - 1].sentence:
            number = _whole(words[at])
            most = max(rows_named.numbers)
            if number is not None and max(most, _SMALLEST_MACHINE) <= number <= MOST_ROWS and not _counts_else(
                said, at, sure=False
            ):
                yield MachineRows(number, at, at + 1)


def _said_alone(said: Said, first: int, last: int) -> bool:
    """Tell whether these words stand for themselves between two pauses, beside other words: "corn, 12 rows, 5 mph"."""
    words = said.words
    before = first and words[first - 1].pause == words[first].pause
    after = last < len(words) and words[last].pause == words[first].pause
    return not before and not after and last - first < len(words)


def _lists(said: Said, read: Callable[[int], tuple[list[Span], int]]) -> Iterator[Rows]:
    at = 0
    while at < len(said.words):
        spans, last = read(at)
        if spans:
            yield _as_rows(said, tuple(spans), at, last)
        at = last if spans else at + 1


def _headed(said: Said, at: int) -> tuple[list[Span], int]:
    """Return the rows listed after a word for rows that stands here, and where they end."""
    words, lexicon = said.words, said.lexicon
    word = words[at]
    if ordinal := _ordinal(said, at):
        return [ordinal], ordinal.last
    before = words[at - 1].text if at else ""
    if word.text in lexicon.row_words:
        if word.text in _SIGNS and before in lexicon.row_words:
            return [], at  # the word before has looked past this one already
        start = at + 1
        while start < len(words) and words[start].text in _SIGNS:
            start += 1
        return _numbers(said, start, MOST_ROWS, first_sure=True)
    if word.text in lexicon.loose_row_words and before not in lexicon.loose_row_words[word.text]:
        return _numbers(said, at + 1, LOOSE_ROWS, first_sure=False)
    return [], at


def _ordinal(said: Said, at: int) -> Span | None:
    """Return the row of "third row" or "7th unit"."""
    words, word = said.words, said.words[at]
    number, after = said.lexicon.ordinals.get(word.text), at + 1
    if number is None and after < len(words) and words[after].text in _ORDINAL:
        number, after = _whole(word), after + 1
    if number is None or after >= len(words) or (at and words[at - 1].text in ("every", "each")):
        return None
    return Span(number, number, at, after + 1) if words[after].text in ("row", "unit", "box", "hopper") else None


def _numbers(said: Said, at: int, most: int, *, first_sure: bool) -> tuple[list[Span], int]:
    """Return the row numbers listed from word `at` on, and where the list ends."""
    words = said.words
    found: list[Span] = []
    end = at
    while at < len(words) and words[at].sentence == words[end - 1 if found else at].sentence:
        low = _row_at(said, at, most, sure=first_sure and not found)
        if low is None or (found and not _APART.isdisjoint(said.text[words[end - 1].end : words[at].start])):
            break
        high, first, end = low, at, at + 1
        if at + 2 < len(words) and words[at + 1].text in _RANGE:
            upper = _row_at(said, at + 2, most, sure=False)
            if upper is None or upper <= low:
                return [*found, Span(low, low, first, end)], end
            high, end = upper, at + 3
        found.append(Span(low, high, first, end))
        at = end
        while at < len(words) and (words[at].text in _LIST or _again(words, end, at)):
            at += 1
    return found, end


def _again(words: Sequence[Word], end: int, at: int) -> bool:
    """Tell whether a word for rows goes on with the list that ends here: "row 4 and row 5", not "not row 7, row 8"."""
    return words[at].text in _AGAIN and words[at].pause == words[end - 1].pause


def _row_at(said: Said, at: int, most: int, *, sure: bool) -> int | None:
    number = _whole(said.words[at])
    return number if number is not None and 1 <= number <= most and not _counts_else(said, at, sure=sure) else None


def _counts_else(said: Said, at: int, *, sure: bool) -> bool:
    """Tell whether the number here counts something else ("5 mph"), not a row; `sure`: a word for rows heads it."""
    if at + 1 >= len(said.words) or said.words[at + 1].sentence != said.words[at].sentence:
        return False
    after = said.words[at + 1].text
    if sure and (after in said.lexicon.things or (len(after) <= 2 and after.isalpha())):
        return False
    return after in said.lexicon.counts_else


def _as_rows(said: Said, spans: tuple[Span, ...], first: int, last: int) -> Rows:
    but, right = _all_but(said.words, first), _told_right(said, first, last)
    return Rows(spans, first, last, but=but and not right, right=right and not but)


def _all_but(words: Sequence[Word], first: int) -> bool:
    """Tell whether "all but" or "everything except" stands before; "all green but row 7" is no such thing."""
    before = [w.text for w in words[max(0, first - 6) : first] if w.text not in _OF_ALL]
    return before[-1:] != [] and before[-1] in _BUT and before[-2:-1] != [] and before[-2] in _ALL


def _told_right(said: Said, first: int, last: int) -> bool:
    """Tell whether rows are named as those it is not ("not rows 3 to 6"), or as fine ("rows 1 to 4 are fine")."""
    before = [w for w in said.words[max(0, first - 4) : first] if w.clause == said.words[first].clause]
    told = [w.text for w in before if w.text not in _BEFORE_ROWS]
    return told[-1:] in (["not"], ["neither"], ["nor"]) or _right_before(said, first) or _right_after(said, last)


def _right_before(said: Said, first: int) -> bool:
    """Tell whether rows follow what nothing is wrong with: "nothing wrong with row 4"."""
    place = said.counted_from(first)
    hit = said.right_until.get(place) or said.right_until.get(place - 1)  # "on" counts, "with" does not
    if hit is None or said.counted[hit.first].part != said.words[first].part:
        return False
    end = said.counted[hit.last - 1].end
    between = {w.text for w in said.words[max(0, first - _NEAR) : first] if w.start >= end}
    return not between.isdisjoint(_OF)


def _right_after(said: Said, last: int) -> bool:
    """Tell whether closely after these words, and up to the end of their part, comes that nothing is wrong."""
    words, counted = said.words, said.counted
    place = said.counted_from(last)
    hit = next((h for at in range(place, place + _NEAR + 1) if (h := said.right_at.get(at))), None)
    if hit is None or counted[hit.first].part != words[last - 1].part:
        return False
    if hit.last < len(counted) and counted[hit.last].part == counted[hit.first].part:
        return False  # "fine for a while"
    end = counted[hit.last - 1].end
    between = {w.text for w in words[last : last + 3 * _NEAR] if w.start < counted[hit.first].start}
    after = next((w.text for w in words[last : last + 6 * _NEAR] if w.start >= end), "")
    talk = said.lexicon.talk
    return between.isdisjoint((*talk.negators, *_WAS)) and after not in _TURNS


def _whole(word: Word) -> int | None:
    value = word.value
    return int(value) if value is not None and value == int(value) and value < 1e6 else None
