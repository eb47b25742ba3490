"""Planter rows as people type them and as they are stored.

Rows are counted 1..N from the left as seen from the seat looking forward. Typed, in any mix with
commas: `7`, `3, 7-9`, `3 7 9`, `all`, `all but 4`, `left wing` (a section of the machine profile), `left half`,
`outside rows`, `every 2nd` (2, 4, 6, ...), `every 2nd from 1` (1, 3, 5, ...). Stored: a sorted list of whole
numbers, or "all" for the whole machine, also when the number of rows is unknown.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Final, Literal

from diag.errors import UsageError
from diag.figures.asked import MOST_ROWS, check_row
from diag.text import one_line, row_runs

Rows = tuple[int, ...] | Literal["all"]
StoredRows = list[int] | Literal["all"]
Sections = Mapping[str, StoredRows | Rows]

ALL: Final[Literal["all"]] = "all"

_NUMBER = re.compile(r"(?:rows? )?([0-9]{1,9})")
_RANGE = re.compile(r"(?:rows? )?([0-9]{1,9}) ?(?:-|to|through) ?([0-9]{1,9})")
_EVERY = re.compile(r"every ([0-9]{1,4})(?:st|nd|rd|th)(?: row)?(?: from (?:row )?([0-9]{1,9}))?")
_ENDS = re.compile(r"(?:both |the )?(?:two )?(?:outside|outer|outermost|end) (?:rows?|ones)|both ends")
_HALF = re.compile(r"(left|right)(?:-hand)? half")
_ALL_WORDS = ("all", "all rows", "all of them", "every row", "every one", "the whole planter")
_LEAD = re.compile(r"^(?:(?:it is|it's|its|just|only|on|number) )+")
_BLANKS = re.compile(r"(?<=[0-9]) (?=[0-9])")
_EVERY_WORDS = {"every other": "every 2nd", "every other row": "every 2nd", "every second": "every 2nd",
                "every third": "every 3rd"}
_FORMS = "Write 7, or 3, 7-9, or all, all but 4, every 2nd."


def parse_rows(text: str, count: int | None = None, sections: Sections | None = None,
               where: str = "") -> Rows:
    """Return typed rows as a sorted tuple, or "all".

    `count` is the number of rows of the machine (None: unknown), `sections` maps names of the profile
    to stored rows. Raises UsageError naming the machine's number of rows and `where`, the place.
    """
    said = _tidy(text)
    head, _, rest = said.partition(" but ")
    if head in _ALL_WORDS:
        if not rest:
            return ALL
        every = range(1, _known(count, said, where) + 1)
        left_out = set(_Reader(count, sections, where).read(rest))
        return _stored([r for r in every if r not in left_out], count, said, where)
    return _stored(_Reader(count, sections, where).read(said), count, said, where)


def show_rows(rows: Rows | StoredRows) -> str:
    """Return rows the way they can be typed again: "all" or "3, 7-9"."""
    return ALL if isinstance(rows, str) else row_runs(rows)


def expand(rows: Rows | StoredRows, count: int | None) -> tuple[int, ...]:
    """Return the single rows; "all" needs the machine's number of rows. Raises UsageError without it."""
    if isinstance(rows, str):
        return tuple(range(1, _known(count, ALL, "") + 1))
    return tuple(rows)


def to_stored(rows: Rows) -> StoredRows:
    """Return the stored form."""
    return ALL if isinstance(rows, str) else list(rows)


def from_stored(rows: StoredRows | Sequence[int]) -> Rows:
    """Return the stored form as a value that does not change."""
    return ALL if isinstance(rows, str) else tuple(rows)


def is_stored(value: object) -> bool:
    """Tell whether a value is the stored form: "all", or whole numbers from 1, sorted, none twice."""
    if value == ALL and isinstance(value, str):
        return True
    if not isinstance(value, list) or not value or len(value) > MOST_ROWS:
        return False
    whole = all(type(r) is int and 1 <= r <= MOST_ROWS for r in value)
    return whole and value == sorted(set(value))


def row_of(place: str) -> int | None:
    """Return the row of a reading's place: 7 for "7" and for "7 first"; None for a place without a number."""
    head = place.partition(" ")[0]
    return int(head) if re.fullmatch("[1-9][0-9]{0,2}", head) else None


class _Reader:
    """Reads a list of rows for one machine."""

    def __init__(self, count: int | None, sections: Sections | None, where: str) -> None:
        self._count = count
        self._where = where
        self._sections = {_tidy(name): rows for name, rows in (sections or {}).items()}

    def read(self, said: str) -> list[int]:
        if said in self._sections:  # a section's name may itself hold a comma or "and"
            return list(expand(self._sections[said], self._count))
        parts = [p.strip() for p in re.split(r",| and |;", said)]
        return [row for part in parts for row in self._part(part, said)]

    def _part(self, part: str, said: str) -> Iterator[int]:
        if part in self._sections:
            yield from expand(self._sections[part], self._count)
        elif found := _NUMBER.fullmatch(part):
            yield check_row(int(found[1]), self._count, self._where)
        elif found := _RANGE.fullmatch(part):
            yield from self._range(int(found[1]), int(found[2]), part)
        elif _ENDS.fullmatch(part):
            yield from (1, _known(self._count, part, self._where))
        elif found := _HALF.fullmatch(part):
            count = _known(self._count, part, self._where)
            yield from range(1, count // 2 + 1) if found[1] == "left" else range((count + 1) // 2 + 1, count + 1)
        elif found := _EVERY.fullmatch(_EVERY_WORDS.get(part, part)):
            yield from self._every(int(found[1]), int(found[2] or found[1]), part)
        else:
            raise UsageError(f"{_quote(part or said)} is not a row.", self._where, self._remedy())

    def _range(self, first: int, last: int, part: str) -> range:
        if first > last:
            raise UsageError(f"{_quote(part)} runs backwards.", self._where, f"Write {last}-{first}.")
        check_row(first, self._count, self._where)
        check_row(last, self._count, self._where)
        return range(first, last + 1)

    def _every(self, step: int, first: int, part: str) -> range:
        count = _known(self._count, part, self._where)
        if step < 1:
            raise UsageError(f"{_quote(part)} takes no row.", self._where, _FORMS)
        check_row(first, count, self._where)
        return range(first, count + 1, step)

    def _remedy(self) -> str:
        names = ", ".join(self._sections)
        return f"{_FORMS} Sections of this machine: {names}." if names else _FORMS


def _stored(rows: list[int], count: int | None, said: str, where: str) -> Rows:
    kept = tuple(sorted(set(rows)))
    if not kept:
        raise UsageError(f"{_quote(said)} leaves no row.", where, _FORMS)
    return ALL if count is not None and len(kept) == count else kept


def _known(count: int | None, said: str, where: str) -> int:
    if count is None:
        raise UsageError(
            f"{_quote(said)} needs the number of rows, which is not known yet.", where,
            "Enter the machine's rows first, or name the rows one by one.",
        )
    return count


def _tidy(text: str) -> str:
    """Fold what people spell in different ways: case, spaces, dashes, "except" for "but"."""
    tight = re.sub(r" ?[-\u2013\u2014\u2212] ?", "-", one_line(text, limit=400)).casefold()
    bare = _BLANKS.sub(", ", _LEAD.sub("", tight))
    return bare.replace(" except ", " but ").replace("all, but", "all but")


def _quote(text: str) -> str:
    return f'"{one_line(text, limit=60)}"'
