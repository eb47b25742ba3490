"""Counts as they are typed: "17 of 20", "17/20", "17"; by name or in the order asked; and readings over time."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import replace

from diag.errors import DiagError, UsageError
from diag.figures.asked import Asked
from diag.figures.places import named
from diag.figures.scan import Scanner, Token, not_understood
from diag.figures.values import read
from diag.text import one_line
from diag.units import Measured

Count = int | dict[str, int]
"""A whole number, or {"count": k, "of": n}."""

_EVERY = re.compile(r"\s*(?:every|each)\s+(?P<step>[^:=]{1,40})[:=](?P<rest>.*)", re.IGNORECASE | re.DOTALL)
_OF = re.compile(r"of|out", re.IGNORECASE)


def count(text: str) -> Count:
    """Return one count. Raises UsageError."""
    scanner = Scanner(text, counted=True)
    entries = _joined(scanner.entries())
    if len(entries) != 1 or entries[0].kind != "value":
        raise _no_count(text)
    return _count(entries[0])


def k_of_n(text: str) -> dict[str, int] | None:
    """Return "17 of 20" or "17/20" as it is stored, None for anything else."""
    try:
        found = count(text)
    except DiagError:
        return None
    return None if isinstance(found, int) else found


def counts(text: str, labels: Sequence[str]) -> dict[str, Count]:
    """Return a count for every label, typed by name or in order. Raises UsageError naming what is missing."""
    scanner = Scanner(text, labels, counted=True)
    entries = _joined(scanner.entries())
    if any(e.kind in ("label", "is") for e in entries):
        found = {label: _count(e) for label, e in named(scanner.text, entries, labels) if e.kind == "value"}
    else:
        found = dict(zip(labels, map(_count, _values(scanner.text, entries)), strict=False))
    missing = [label.replace("_", " ") for label in labels if label not in found]
    if missing:
        example = ", ".join(f"{label.replace('_', ' ')} 3/100" for label in labels)
        raise UsageError(f"Missing: {', '.join(missing)}.", "", f"Write {example}.")
    return {label: found[label] for label in labels}


def _values(text: str, entries: Sequence[Token]) -> list[Token]:
    for i, entry in enumerate(entries):
        if entry.kind not in ("value", "break"):
            raise not_understood(text, entry, entries[i - 1] if i else None)
    return [e for e in entries if e.kind == "value"]


def _joined(entries: Sequence[Token]) -> list[Token]:
    """Join "17 of 20" and "17 out of 20" as a fraction is."""
    made: list[Token] = []
    for entry in entries:
        words = 0
        while words < len(made) and made[-1 - words].kind == "word" and _OF.fullmatch(made[-1 - words].text):
            words += 1
        first = made[-1 - words] if words < len(made) else None
        if entry.unit is not None and entry.unit.name == "count":
            entry = replace(entry, unit=None)
        if words and first is not None and first.bare is not None and entry.bare is not None:
            del made[-1 - words :]
            made.append(replace(entry, figures="", part=f"{first.figures}/{entry.figures}", start=first.start))
        else:
            made.append(entry)
    return made


def _count(entry: Token) -> Count:
    k, _, n = entry.part.partition("/")
    if entry.bare is not None:
        return entry.bare
    wanted = not (entry.figures or entry.negative or entry.unit) and len(k) <= 9 and len(n) <= 9
    if not wanted:
        raise _no_count(entry.text)
    return {"count": int(k), "of": int(n)}


def _no_count(text: str) -> UsageError:
    return UsageError(f'"{one_line(text, limit=40)}" is not a count.', "", 'Write "17 of 20" or "17".')


def log(text: str, asked: Asked) -> tuple[str, list[tuple[str, Measured]]]:
    """Return the unit of time and (time, value) of readings over time: "every 10 s: 18 18.2", "0 18, 10 18.2".

    Raises UnitError or UsageError.
    """
    every = _EVERY.fullmatch(text)
    if every:
        step = read(every["step"], Asked("time")).sure().values["1"]
        values = read(every["rest"], replace(asked, kind="list")).sure().values
        return step.unit, [(f"{step.number * i:g}", v) for i, v in enumerate(values.values())]
    return _timed(text, asked)


def _timed(text: str, asked: Asked) -> tuple[str, list[tuple[str, Measured]]]:
    """Read pairs of time and value; both may carry their unit, s where the time has none."""
    scanner = Scanner(text)
    entries = [e for e in scanner.entries() if e.kind != "is"]
    values = _values(scanner.text, [e for e in entries if e.kind != "unit"])
    if len(values) % 2:
        raise UsageError("A time or a value is missing.", "", "Write time and value in turn: 0 18, 10 18.2 inH2O.")
    time = read(_cut(scanner.text, values[::2]), Asked("time", "s", "list")).sure().values
    alone = " ".join(e.text for e in entries if e.kind == "unit")
    told = read(f"{_cut(scanner.text, values[1::2])} {alone}", replace(asked, kind="list")).sure().values
    if len(time) != len(told):
        raise UsageError("Times and values do not pair.", "", "Write time and value in turn: 0 18, 10 18.2 inH2O.")
    if len({t.unit for t in time.values()}) > 1:
        raise UsageError("Times are given in several units.", "", "Give them all in s, or all in min.")
    return next(iter(time.values())).unit, list(zip((t.value for t in time.values()), told.values(), strict=True))


def _cut(text: str, values: Iterable[Token]) -> str:
    return "; ".join(text[e.start : e.end] for e in values)
