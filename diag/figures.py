"""Numbers as people type them: decimal comma or point, thousands marks, fractions, feet and inches.

Only figures are handled here; which reading is meant can depend on the unit and is settled in `diag.units`.
"""

from __future__ import annotations

import re
from decimal import Decimal

from diag.errors import UnitError

MOST_FIGURES = 18

_VULGAR = {"\u00bd": "1/2", "\u00bc": "1/4", "\u00be": "3/4",
           "\u215b": "1/8", "\u215c": "3/8", "\u215d": "5/8", "\u215e": "7/8"}
_FRACTION = r"\d+\s*[/\u2044]\s*\d+"
_NUMBER = r"\d[\d.,]*(?:[ \u00a0\u202f']\d{3}(?!\d))*(?:[.,]\d+)?"
AMOUNT = re.compile(
    rf"\s*(?P<sign>[-+\u2212]?)\s*(?:(?P<whole>{_NUMBER})(?:\s+|-)(?P<frac>{_FRACTION})"
    rf"|(?P<only>{_FRACTION})|(?P<plain>{_NUMBER}))\s*(?P<unit>.*)\Z",
    re.DOTALL,
)
"""A sign, a number and/or a fraction, and the rest, which is the unit."""

FEET = re.compile(
    r"\s*(?P<feet>\d+)\s*(?:ft\.?|feet|foot|['\u2032\u2019](?!'))\s*[-,]?\s*(?P<rest>\d.*)\Z",
    re.IGNORECASE | re.DOTALL,
)
"""Whole feet followed by something that may be inches."""

INCHES = re.compile(r"\s*(?:in\.?|inch|inches|\"|''|\u2033|\u201d)?\s*\Z", re.IGNORECASE)

MORE_THAN_ONE = re.compile(r"(?:[-\u2013:;,+]|to\b|or\b|and\b)?\s*[-+]?\d")
"""The beginning of a second number where a unit was expected."""


def spread_fractions(text: str) -> str:
    """Return text with one-character fractions spelt out: "6\u00bd" -> "6 1/2"."""
    return "".join(f" {_VULGAR[c]}" if c in _VULGAR else c for c in text)


def fraction(text: str, *, proper: bool) -> Decimal:
    """Return "3/4" as an exact decimal. Raises UnitError where there is none or, if `proper`, from one up."""
    above, below = (int(n[:MOST_FIGURES]) for n in re.split(r"\s*[/\u2044]\s*", text))
    if below == 0 or (proper and above >= below):
        raise UnitError(f'"{above}/{below}" is not a fraction of one.', remedy="Write it like 6 1/2.")
    rest = below
    for prime in (2, 5):
        while rest % prime == 0:
            rest //= prime
    if rest != 1 or below > 1000:
        raise UnitError(f'"{above}/{below}" has no exact decimal.', remedy="Write a decimal, such as 0.333.")
    return Decimal(above) / Decimal(below)


def readings(figures: str) -> tuple[str | None, str | None]:
    """Return the figures read with a decimal mark and read with thousands marks, None where that cannot be.

    "32,000" -> ("32.000", "32000"); "1.234,5" -> ("1234.5", None); "6.5" -> ("6.5", None).
    Raises UnitError when they are no number or too long.
    """
    bare = re.sub(r"[ \u00a0\u202f']", "", figures)
    found = _both(bare, spaced=bare != figures)
    if found == (None, None):
        raise UnitError(f'"{figures[:40]}" is not a number.', remedy="Use one decimal mark: 18.5 or 18,5.")
    if sum(c.isdigit() for c in bare) > MOST_FIGURES:
        raise UnitError(f'"{figures[:12]}..." has more than {MOST_FIGURES} figures.', remedy="Round it.")
    return found


def _both(bare: str, *, spaced: bool) -> tuple[str | None, str | None]:
    marks = [c for c in bare if c in ",."]
    if not marks:
        return bare, None
    last = marks[-1]
    if len(set(marks)) == 2:
        other = "," if last == "." else "."
        whole, _, tail = bare.rpartition(last)
        good = tail and bare.count(last) == 1 and _grouped(whole, other)
        return (f"{whole.replace(other, '')}.{tail}" if good else None), None
    whole, _, tail = bare.rpartition(last)
    decimal = f"{whole}.{tail}" if len(marks) == 1 and tail else None
    return decimal, bare.replace(last, "") if _grouped(bare, last) and not spaced else None


def _grouped(figures: str, mark: str) -> bool:
    first, *rest = figures.split(mark)
    return 1 <= len(first) <= 3 and not first.startswith("0") and all(len(g) == 3 for g in rest)
