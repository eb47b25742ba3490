"""One number as people write it: decimal comma or point, thousands marks, fractions; and which reading is meant."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator, Sequence
from decimal import Decimal

from diag.errors import AmbiguousError, DiagError, UnitError, UsageError
from diag.text import one_line
from diag.unit_table import Quantity, Unit

MOST_FIGURES = 18
NUMBER = r"(?:[0-9]++(?:[.,][0-9]++|['\u00a0\u202f][0-9]{3}(?![0-9]))*+|[.,][0-9]++)"
"""A number with its marks: "18.5", "1.234,5", "79'074", ".5"."""

_HALVES = "\u00bd\u00bc\u00be\u215b\u215c\u215d\u215e"
IN_PROSE = (rf"[1-9][0-9]{{0,2}}(?:[ ]000)+(?![0-9])"
            rf"|{NUMBER}(?:[ -]?[{_HALVES}]|[ -][1-9]{{1,2}}/(?:2|4|8|16)(?![0-9/]))?")
"""A number within a sentence, a fraction of an inch behind it."""
_COARSE = frozenset({"rpm", "rev/s", "psi", "Pa", "count", "seeds/min", "seeds/ac", "seeds/ha", "seeds/lb", "seeds/kg"})
"""Units that nobody reads to three decimals: "4,200 rpm" is a thousands mark (estimate)."""
_SPACES = "'\u00a0\u202f"


class _Fold(dict[int, str]):
    """Figures of any script to ASCII, one-character fractions spelt out, primes and dashes made plain."""

    def __missing__(self, code: int) -> str:
        sign = chr(code)
        self[code] = str(unicodedata.decimal(sign)) if sign.isdecimal() else sign
        return self[code]


_FOLD = _Fold({ord(c): to for c, to in (
    ("\u00bd", " 1/2"), ("\u00bc", " 1/4"), ("\u00be", " 3/4"), ("\u215b", " 1/8"), ("\u215c", " 3/8"),
    ("\u215d", " 5/8"), ("\u215e", " 7/8"), ("\u2044", "/"), ("\u2212", "-"), ("\u2013", "-"), ("\u2014", "-"),
    ("\u2032", "'"), ("\u2019", "'"), ("\u2033", '"'), ("\u201d", '"'), ("\u201c", '"'))})


def fold(text: str) -> str:
    """Return text with figures, fractions, dashes and primes in their plain form; lines stay lines."""
    return text.translate(_FOLD).replace("''", '"')


def whole(text: str, where: str = "", least: int = 0, most: int = 100_000) -> int:
    """Return a whole number as typed. Raises UsageError naming `where` for anything else, however long."""
    said = fold(text[:MOST_FIGURES + 2].strip())
    if re.fullmatch("[0-9]{1,12}", said) and least <= int(said) <= most:
        return int(said)
    raise UsageError(f'"{one_line(text, limit=40)}" is no whole number from {least} to {most}.', where,
                     f"Type {least} to {most}.")


def number_in(text: str, most: int) -> int | None:
    """Return the number of a list typed by its number, 1 to `most`; None for anything else."""
    try:
        return whole(text, least=1, most=most)
    except DiagError:
        return None


def fraction(text: str) -> Decimal:
    """Return "3/4" as an exact decimal. Raises UnitError where there is none."""
    above, below = (int(n[:MOST_FIGURES]) for n in text.split("/"))
    rest = below
    for prime in (2, 5):
        while rest and rest % prime == 0:
            rest //= prime
    if below == 0:
        raise UnitError(f'"{above}/{below}" is not a fraction.', remedy="Write it like 6 1/2.")
    if rest != 1 or below > 1000:
        raise UnitError(f'"{above}/{below}" has no exact decimal.', remedy="Write a decimal, such as 0.333.")
    return Decimal(above) / Decimal(below)


def readings(figures: str) -> tuple[str | None, str | None]:
    """Return the figures read with a decimal mark and read with thousands marks, None where that cannot be.

    "32,000" -> ("32.000", "32000"); "1.234,5" -> ("1234.5", None); "6.5" -> ("6.5", None).
    Raises UnitError when they are no number or too long.
    """
    bare = re.sub(f"[{_SPACES}]", "", figures)
    found = _both(bare, spaced=bare != figures)
    if found == (None, None):
        raise UnitError(f'"{figures[:40]}" is not a number.', remedy="Use one decimal mark: 18.5 or 18,5.")
    if sum(c.isdigit() for c in bare) > MOST_FIGURES:
        raise UnitError(f'"{figures[:12]}..." has more than {MOST_FIGURES} figures.', remedy="Round it.")
    return found


def numbers_in(text: str) -> Iterator[tuple[str, int, int]]:
    """Yield the numbers of an `IN_PROSE` text as plain decimals with their place; a list comes apart at its commas.

    Among words a comma before three figures marks thousands ("34,000 population").
    """
    if text.endswith(" 000"):
        yield text.replace(" ", ""), 0, len(text)
        return
    figures, part = re.match(rf"({NUMBER})(.*)", text).groups()  # type: ignore[union-attr]
    at = 0
    parts = [figures] if is_number(figures) else re.split("[,.]", figures)
    for piece in filter(None, parts):
        at = text.index(piece, at)
        decimal, thousands = readings(piece[:MOST_FIGURES])
        read = (thousands if thousands and "," in piece else decimal or thousands) or piece
        last = piece is parts[-1]
        share = fraction(fold(part).strip(" -")) if part and last else Decimal(0)
        yield (f"{Decimal(read) + share:f}" if share else read), at, len(text) if last else at + len(piece)
        at += len(piece)


def plain(text: str) -> str:
    """Return a number without a unit as a plain decimal. Raises UnitError where a comma may be a thousands mark."""
    if "," not in text:
        return text
    sign, bare = ("-", text[1:]) if text.startswith("-") else ("", text)
    decimal, thousands = readings(bare)
    if decimal and thousands:
        raise AmbiguousError(f"{text} may mean {thousands} or {decimal}.", "", f"Write {thousands} or {decimal}.")
    return sign + (decimal or thousands or "")


def _both(bare: str, *, spaced: bool) -> tuple[str | None, str | None]:
    marks = [c for c in bare if c in ",."]
    if not marks:
        return bare, None
    last = marks[-1]
    whole_part, _, tail = bare.rpartition(last)
    if len(set(marks)) == 2:
        other = "," if last == "." else "."
        good = bare.count(last) == 1 and _grouped(whole_part, other)
        return (f"{whole_part.replace(other, '')}.{tail}" if good else None), None
    decimal = f"{whole_part or '0'}.{tail}" if len(marks) == 1 else None
    return decimal, bare.replace(last, "") if _grouped(bare, last) and not spaced else None


def _grouped(figures: str, mark: str) -> bool:
    first, *rest = figures.split(mark)
    return 1 <= len(first) <= 3 and not first.startswith("0") and all(len(g) == 3 for g in rest)


def is_number(figures: str) -> bool:
    """Tell whether figures and marks can be one number."""
    try:
        readings(figures)
    except UnitError:
        return False
    return True


def settled(typed: str, wanted: Sequence[Quantity], unit: Unit, times: int = 1) -> str:
    """Return figures with the decimal mark settled: "32,000" -> "32000" or "32.000", by what is usual.

    `wanted`: what may be measured, `times`: 1000 after "k". Raises UnitError where both would be usual.
    """
    decimal, thousands = readings(typed)
    if decimal is None or thousands is None:
        return decimal or thousands or ""
    fits = [t for t in (decimal, thousands) if any(
        q.usual[0] <= float(t) * times * unit.factor + unit.offset <= q.usual[1] for q in wanted)]
    if "." in typed and (decimal in fits or not fits):
        return decimal
    if "," in typed and len(fits) == 1:
        return fits[0]
    if "," in typed and fits and unit.name in _COARSE:
        return thousands
    raise AmbiguousError(f'"{typed}" may mean {decimal} or {thousands} {unit.name}.',
                         remedy=f"Type {thousands} or {decimal.rstrip('0').rstrip('.')}.")
