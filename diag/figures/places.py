"""Where values belong: behind the name of a place, or to rows counted up or down from a row that is named."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from diag.errors import AmbiguousError, UsageError
from diag.figures.scan import Token, not_understood
from diag.text import one_line

Placed = list[tuple[str, Token]]
"""Place, and the entry that stands there: a value, or the mark that it was not read."""

_FILLERS = ("is", "was", "reads", "at", "and", "#", "the")
ROW_WORDS, FROM_WORDS, _BACK = ("row", "rows", "no", "nr"), ("from", "start", "starting"), ("down", "back", "backwards")
_DIRECTIONS = (*_BACK, "up", "on")


def groups(entries: Sequence[Token]) -> list[list[Token]]:
    """Return the values between the strongest marks there are: lines, else semicolons, else commas."""
    marks = {e.text for e in entries if e.kind == "break"}
    mark = next((m for m in "\n;," if m in marks), "")
    groups: list[list[Token]] = [[]]
    for entry in entries:
        if entry.kind in ("value", "none"):
            groups[-1].append(entry)
        elif entry.kind == "break" and entry.text == mark and groups[-1]:
            groups.append([])
    return groups


def named(text: str, entries: Sequence[Token], labels: Sequence[str]) -> Iterator[tuple[str, Token]]:
    """Yield values that stand behind their names. Raises UsageError for a name or value too many."""
    by_words = {label.replace("_", " "): label for label in labels}
    label, before, given = None, None, set()
    for entry in entries:
        if entry.kind == "label":
            label = by_words[entry.text.replace("_", " ").casefold()]
        elif entry.kind in ("value", "none"):
            if label is None or label in given:
                raise UsageError(f"{one_line(entry.text, limit=30)!r} belongs to no name.", "",
                                 f"Give: {', '.join(by_words)}.")
            given.add(label)
            yield label, entry
        elif entry.kind == "word" and entry.text.casefold() not in _FILLERS:
            if before is not None and before.kind == "value":
                raise not_understood(text, entry, before)
            raise UsageError(f"{one_line(entry.text, limit=30)!r} is not asked for.", "",
                             f"Give: {', '.join(by_words)}.")
        elif entry.kind in ("dash", "sign"):
            raise not_understood(text, entry, before)
        before = entry


class RowRun:
    """Places given by rows: a key names the row of the values behind it, in order up or down."""

    def __init__(self, text: str, entries: Sequence[Token]) -> None:
        self._text, self._entries = text, entries
        self._found: Placed = []
        self._at = 0
        self._next: int | None = None
        self._last: int | None = None
        self._step = 1
        self._single = self._filled = self._from = False

    def placed(self) -> Placed:
        """Return the values with their rows. Raises UsageError or UnitError where a row is missing or double."""
        while self._at < len(self._entries):
            self._take(self._entries[self._at])
        self._end_of_run()
        seen: set[str] = set()
        for place, _ in self._found:
            if place in seen:
                raise UsageError("A row stands there twice.", "",
                                 "Give each row once; the first row read again is `again: 18`.")
            seen.add(place)
        return self._found

    def _word(self, ahead: int) -> str:
        at = self._at + ahead
        entry = self._entries[at] if at < len(self._entries) else None
        return entry.text.casefold() if entry is not None and entry.kind not in ("value", "unit", "break") else ""

    def _bare(self, ahead: int) -> int | None:
        at = self._at + ahead
        return self._entries[at].bare if at < len(self._entries) else None

    def _take(self, entry: Token) -> None:
        word = entry.text.casefold()
        if entry.kind in ("value", "none"):
            if entry.bare is not None and self._is_key():
                self._key(single=False)
                return
            self._give(entry)
        elif word in FROM_WORDS or word in ROW_WORDS:
            self._from = self._from or word in FROM_WORDS
            nearby = 1
            while nearby < 3 and self._word(nearby) in (*ROW_WORDS, "#", "at"):
                nearby += 1
            if self._bare(nearby) is not None:
                self._at += nearby
                self._key(single=not self._from)
                return
            raise not_understood(self._text, entry, None)
        elif entry.kind == "break":
            self._open_group()
        elif entry.kind not in ("unit", "is") and word not in _FILLERS:
            raise not_understood(self._text, entry, self._entries[self._at - 1] if self._at else None)
        self._at += 1

    def _is_key(self) -> bool:
        """Tell whether the number here is a row: a colon, a direction or a span with a colon follows."""
        if self._word(1) in (":", "=") or (self._word(1) in _DIRECTIONS and self._word(2) in (":", "=")):
            return True
        return self._word(1) in ("-", "to", "through") and self._bare(2) is not None and self._word(3) in (":", "=")

    def _key(self, *, single: bool) -> None:
        """Take a row, or the first and last row of a span, with direction and colon."""
        self._end_of_run()
        first = self._bare(0)
        self._at += 1
        last = self._bare(1) if self._word(0) in ("-", "to", "through") else None
        if last is not None:
            self._at += 2
        self._next, self._last, self._step = first, last, -1 if last is not None and last < (first or 0) else 1
        if self._word(0) in _DIRECTIONS:
            self._step = -1 if self._word(0) in _BACK else 1
            self._at, single = self._at + 1, False
        if self._word(0) in (":", "="):
            self._at, single = self._at + 1, False
        self._single, self._filled = single and last is None, False

    def _end_of_run(self) -> None:
        """Refuse a span of rows that got more or fewer values than it has rows, and a row without a value."""
        if self._last is not None and self._next is not None and self._next != self._last + self._step:
            raise UsageError("The span of rows and its values do not match.", "",
                             "Give one value for each of these rows, - for not read.")
        if self._next is not None and not self._filled:
            raise UsageError(f"Row {self._next} has no value.", "", f"Write {self._next}: 18, or {self._next}: -.")
        self._next, self._last, self._from = None, None, False

    def _give(self, entry: Token) -> None:
        if self._next is None or (self._single and self._filled):
            raise UsageError(f"{one_line(entry.text, limit=30)!r} belongs to no row.", "",
                             "Write row 6 18.2, row 7 11; or from 6: 18.2 11 18.")
        self._found.append((str(self._next), entry))
        self._next, self._filled = self._next + self._step, True

    def _open_group(self) -> None:
        """At a comma, a semicolon or a line: two values may be the next row and its value."""
        group: list[Token] = []
        for entry in self._entries[self._at + 1 : self._at + 5]:
            if entry.kind not in ("value", "none"):
                group = group if entry.kind == "break" else []
                break
            group.append(entry)
        row = group[0].bare if len(group) == 2 else None
        if row is None or self._next is None or self._from or self._last is not None:
            return
        if self._single and self._filled:
            self._at += 1
            self._key(single=True)
            self._at -= 1
        elif self._filled and row > self._next - self._step:
            raise AmbiguousError(f'"{group[0].text} {group[1].text}" may be a row and its value, or two values.', "",
                                 f"Write {row}: {group[1].text}, or from {self._next}: for values in order.")
