"""A text of figures cut into entries: values with what belongs to each, words, and the marks between them.

One pass; every piece is looked at a bounded number of times, so the time grows with the length alone.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from diag.errors import UnitError, UsageError
from diag.figures.numbers import NUMBER, fold
from diag.text import clean, one_line
from diag.unit_table import Unit
from diag.units import find_unit, unit_at

MOST_TYPED = 100_000
"""Longest text of figures that is typed or pasted; more comes as a file."""

Kind = Literal["value", "none", "word", "label", "unit", "is", "break", "dash", "sign"]

_BLANKS = " \t\u00a0\u202f"
_SPACE = re.compile(f"[{_BLANKS}]++")
_FRACTION = re.compile(r"[0-9]++[ ]?/[ ]?[0-9]++(?![.,]?[0-9/])")
_NUMBER = re.compile(NUMBER)
_THOUSAND = re.compile(r"[ ]?(?:k|thousand)(?![^\W\d_])", re.IGNORECASE)
_NONE = re.compile(r"(?:--?|x|\?|n/?a)(?![\w/\"'-])", re.IGNORECASE)
_WORD = re.compile(r"[^\W\d_]++")
_EXPONENT = re.compile(r"[eE][-+]?[0-9]")
_WHOLE = re.compile("[0-9]{1,9}")


@dataclass(slots=True)
class Token:
    """One piece of a text. `figures`, `part` (a fraction), `times`, `unit`: of a value; `text` is as typed."""

    kind: Kind
    text: str
    start: int
    end: int
    figures: str = ""
    part: str = ""
    negative: bool = False
    times: int = 1
    unit: Unit | None = None
    line: int = 1

    @property
    def bare(self) -> int | None:
        """The whole number that stands here and nothing else, None for any other entry."""
        plain = self.kind == "value" and not self.part and not self.negative and self.times == 1 and self.unit is None
        return int(self.figures) if plain and _WHOLE.fullmatch(self.figures) else None


class Scanner:
    """Cuts one text. `thousands`: "32k" is taken; `labels`: names of places; `counted`: rows and seeds are units."""

    def __init__(self, text: str, labels: Sequence[str] = (), *, thousands: bool = False, counted: bool = False,
                 most: int = MOST_TYPED) -> None:
        if len(text) > most:
            raise UsageError(f"That is longer than {most} characters.", "", "Give a part, or a file with a header.")
        self.text = fold(clean(text))
        self._thousands, self._counted = thousands, counted
        names = "|".join(re.escape(n).replace("_", r"[_ ]") for n in sorted(labels, key=len, reverse=True))
        self._labels = re.compile(rf"(?:{names})(?![^\W\d_])", re.IGNORECASE) if names else None
        self._entries: list[Token] = []
        self._over, self._line = False, 1

    def entries(self) -> list[Token]:
        """Return all entries, up to the first sign that nothing can follow. Raises UnitError for an exponent."""
        at, end = 0, len(self.text)
        while at < end and not self._over:
            space = _SPACE.match(self.text, at) if self.text[at] in _BLANKS else None
            at = space.end() if space else self._take(at)
        while self._entries and self._entries[-1].kind == "break":
            self._entries.pop()
        return self._entries

    @property
    def _last(self) -> Token | None:
        return self._entries[-1] if self._entries else None

    def _take(self, at: int) -> int:
        sign = self.text[at]
        if sign not in "+-.,0123456789":
            marks: Kind | None = "break" if sign in ";\n" else "is" if sign in ":=" else None
            end = self._add(marks, at, at + 1) if marks else self._label(at) or self._not_read(at) or self._unit(at)
            word = None if end else _WORD.match(self.text, at)
            return end or self._add("word" if word else "sign", at, word.end() if word else at + 1)
        end = self._number(at) or self._not_read(at)
        if end is not None or (sign == "." and not self.text[at + 1 : at + 2].strip()):
            return end or at + 1
        return self._add("break" if sign == "," else "dash" if sign == "-" else "sign", at, at + 1)

    def _add(self, kind: Kind, start: int, end: int) -> int:
        last = self._last
        self._over = (kind == "sign" and self.text[start] != "#") or (
            kind == "dash" and last is not None and last.kind == "dash")
        self._entries.append(Token(kind, self.text[start:end], start, end, line=self._line))
        self._line += self.text[start] == "\n"
        return end

    def _label(self, at: int) -> int | None:
        found = self._labels.match(self.text, at) if self._labels else None
        return self._add("label", at, found.end()) if found else None

    # --- numbers ----------------------------------------------------------------------------------

    def _number(self, at: int) -> int | None:
        start, last = at, self._last
        apart = last is None or last.end < at or last.kind in ("is", "break")
        signed = self.text[at] in "-+" and apart
        at += signed
        found = _FRACTION.match(self.text, at) or _NUMBER.match(self.text, at)
        if not found:
            return None
        if "/" in found[0]:
            return self._fraction(start, found.end(), re.sub(" ", "", found[0]), signed)
        end, times = found.end(), 1
        if _EXPONENT.match(self.text, end):
            raise UnitError("Numbers with an exponent are not taken.", remedy="Write the figures out.")
        thousand = _THOUSAND.match(self.text, end) if self._thousands else None
        if thousand:
            end, times = thousand.end(), 1000
        self._entries.append(Token("value", self.text[start:end], start, end, figures=found[0], part="",
                                   negative=signed and self.text[start] == "-", times=times, line=self._line))
        return end

    def _fraction(self, start: int, end: int, part: str, signed: bool) -> int:
        """Take a fraction; "6 1/2" and "6-1/2" join it to the whole number before it."""
        joint = self._entries.pop() if self._last and self._last.kind == "dash" and self._last.end == start else None
        last, (above, below) = self._last, (int(n[:18]) for n in part.split("/"))
        touching = joint is None or (last is not None and last.end == joint.start)
        whole = last is not None and touching and not signed and last.bare is not None and above < below
        if last is not None and whole:
            last.text, last.end, last.part = self.text[last.start : end], end, part
            return end
        if joint is not None:
            self._entries.append(joint)
        self._entries.append(Token("value", self.text[start:end], start, end, figures="", part=part,
                                   negative=signed and self.text[start] == "-", line=self._line))
        return end

    def _not_read(self, at: int) -> int | None:
        last = self._last
        found = _NONE.match(self.text, at) if last is None or last.end < at or last.kind in ("is", "break") else None
        return self._add("none", at, found.end()) if found else None

    # --- units ------------------------------------------------------------------------------------

    def _unit(self, at: int) -> int | None:
        found = unit_at(self.text, at)
        if found is None or (found[0].name == "count" and not self._counts(at, found[1])):
            return None
        unit, end = found
        last = self._last
        if last is not None and last.kind == "value" and last.unit is None:
            last.text, last.end, last.unit = self.text[last.start : end], end, unit
        else:
            self._entries.append(Token("unit", self.text[at:end], at, end, unit=unit))
        return end

    def _counts(self, at: int, end: int) -> bool:
        """Tell whether "rows" or "seeds" is the unit of the value before it."""
        after = self.text[end : end + 2].strip()
        return self._counted and self._last is not None and self._last.kind == "value" and not after[:1].isdigit()


def not_understood(text: str, entry: Token, before: Token | None) -> UnitError:
    """Return the error for a piece that is no figure, no unit and no mark."""
    run = re.split(r"[0-9,;:\n]", text[entry.start : entry.start + 60])[0].strip() or entry.text
    if before is not None and before.kind == "value":
        try:
            find_unit(run)
        except UnitError as error:
            return error
    return UnitError(f'"{one_line(run, limit=40)}" is not understood here.', remedy="Type figures and their unit.")
