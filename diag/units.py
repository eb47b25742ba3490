"""The units of the trade, read and shown; the number is kept as it was typed.

The tables stand in `diag.unit_table`. Everything that a person types as a number with a unit is read here,
everything shown goes out here; in between every value is SI.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal

from diag import figures
from diag.errors import UnitError
from diag.unit_table import (
    ACRE,
    ATMOSPHERE,
    FOOT,
    GALLON,
    GRAVITY,
    HECTARE,
    IN_H2O,
    INCH,
    POUND,
    PSI,
    QUANTITIES,
    UNITS,
    Quantity,
    Unit,
)

__all__ = [
    "ACRE", "ATMOSPHERE", "FOOT", "GALLON", "GRAVITY", "HECTARE", "INCH", "IN_H2O", "POUND", "PSI",
    "QUANTITIES", "UNITS", "Measured", "Quantity", "System", "Unit", "check_possible", "convert",
    "feet_inches", "find_unit", "parse", "quantity_named", "show", "suspicion", "unit_named",
]

System = Literal["us", "metric"]


def _tight(text: str) -> str:
    """Fold away what people spell in different ways: spaces, points, curly quotes, raised figures."""
    for said, meant in (("\u2033", '"'), ("\u201d", '"'), ("\u201c", '"'), ("''", '"'), ("\u2032", "'"),
                        ("\u2019", "'"), ("\u2082", "2"), ("\u00b2", "2"), ("\u00b3", "3"), ("^", ""),
                        ("\u2126", "\u03a9"), ("\u2109", "\u00b0F"), ("\u2103", "\u00b0C")):
        text = text.replace(said, meant)
    return re.sub(r"[\s.\u00b7_]+", "", text)


def _spellings() -> tuple[dict[str, Unit], dict[str, Unit]]:
    """Every spelling as written, and in small letters where that leaves only one unit."""
    exact: dict[str, Unit] = {}
    folded: dict[str, Unit | None] = {}
    for unit in UNITS.values():
        for name in (unit.name, *unit.aliases):
            exact.setdefault(_tight(name), unit)
            low = _tight(name).casefold()
            folded[low] = unit if folded.get(low, unit) is unit else None
    return exact, {k: u for k, u in folded.items() if u is not None}


_EXACT, _FOLDED = _spellings()


def _lookup(text: str) -> Unit | None:
    tight = _tight(text)
    return _EXACT.get(tight) or _FOLDED.get(tight.casefold())


def find_unit(text: str) -> Unit:
    """Return the unit meant by any of its spellings ("in. w.c.", "kph", "/acre").

    Raises UnitError with the nearest known spellings when there is none.
    """
    unit = _lookup(text)
    if unit is not None:
        return unit
    import difflib

    near = difflib.get_close_matches(text.strip()[:40], list(UNITS), n=3, cutoff=0.5)
    hint = f"Did you mean {' or '.join(near)}?" if near else "Units are written like inH2O, in, cm, seeds/ac."
    raise UnitError(f'"{text.strip()[:40]}" is not a known unit.', remedy=hint)


def unit_named(name: str) -> Unit:
    """Return the unit with exactly this canonical name, as it stands in stored values. Raises UnitError."""
    if name not in UNITS:
        known = _lookup(name)
        raise UnitError(f'"{name[:40]}" is not a unit name.',
                        remedy=f"Write {known.name}." if known else "See the list of units.")
    return UNITS[name]


def quantity_named(name: str) -> Quantity:
    """Return the quantity of this name. Raises UnitError."""
    if name not in QUANTITIES:
        raise UnitError(f'"{name[:40]}" is not a known quantity.', remedy=f"Known: {', '.join(QUANTITIES)}.")
    return QUANTITIES[name]


_DECIMAL = re.compile(r"-?\d+(?:\.\d+)?\Z")


@dataclass(frozen=True)
class Measured:
    """A measured value as it was said: the decimal as typed (comma to point), the canonical unit."""

    value: str
    unit: str

    def __post_init__(self) -> None:
        if not _DECIMAL.match(self.value) or len(self.value) > 40:
            raise UnitError(f'"{self.value[:40]}" is not a plain decimal number.',
                            remedy="Write figures with at most one point, such as 18.5.")
        unit_named(self.unit)

    @property
    def number(self) -> float:
        """The number in its own unit."""
        return float(self.value)

    @property
    def quantity(self) -> str:
        """Dimension of the unit ("pressure" for inH2O)."""
        return UNITS[self.unit].quantity

    def si(self) -> float:
        """The value in SI."""
        unit = UNITS[self.unit]
        return self.number * unit.factor + unit.offset

    def to(self, unit: str) -> float:
        """The value in another unit of the same dimension. Raises UnitError."""
        return convert(self.number, self.unit, unit)

    def as_json(self) -> dict[str, str]:
        """The form in which it is stored."""
        return {"value": self.value, "unit": self.unit}

    @classmethod
    def from_json(cls, data: object) -> Measured:
        """Read the stored form. Raises UnitError on any other shape."""
        if not isinstance(data, Mapping) or set(data) != {"value", "unit"}:
            raise UnitError("A measured value needs exactly value and unit.",
                            remedy='Write {value: "18.5", unit: inH2O}.')
        value, unit = data["value"], data["unit"]
        if not isinstance(value, str) or not isinstance(unit, str):
            raise UnitError("value and unit of a measured value must be text.",
                            remedy='Put the number in quotes: {value: "18.5", unit: inH2O}.')
        return cls(value, unit)

    def __str__(self) -> str:
        label = UNITS[self.unit].label
        return f"{self.value} {label}" if label else self.value


def convert(value: float, from_unit: str, to_unit: str) -> float:
    """Return `value` of one unit in another of the same dimension. Raises UnitError naming both units."""
    a, b = find_unit(from_unit), find_unit(to_unit)
    if a.quantity != b.quantity:
        raise UnitError(f"{a.name} is a unit of {_words(a.quantity)}, {b.name} one of {_words(b.quantity)}.",
                        remedy=f"{a.name} can be turned into {_units_of(a.quantity)}.")
    return value if a is b else (value * a.factor + a.offset - b.offset) / b.factor


def _words(dimension: str) -> str:
    return QUANTITIES[dimension].label


def _units_of(dimension: str, most: int = 8) -> str:
    return ", ".join([u.name for u in UNITS.values() if u.quantity == dimension][:most])


# ------------------------------------------------------------------------------------------- reading

def parse(text: str, quantity: str, *, default_unit: str | None = None) -> Measured:
    """Return what was typed as a value of `quantity`.

    Takes "18,5 inH2O", "32k/ac", "32,000 seeds/ac", "6 1/2 in", "5 ft 3 1/2 in", 17' 5". One comma before
    exactly three figures may be a thousands mark or a decimal comma: the reading that is usual for the
    quantity is taken, and where both are usual the text is refused. `default_unit` is used when none
    is typed. Raises UnitError: no number, no unit anywhere, another dimension (both units named), an
    impossible size (with what was likely meant).
    """
    want = quantity_named(quantity)
    text = figures.spread_fractions(text)
    if not text.strip():
        raise UnitError(f"No {want.label} was given.", remedy=f"Type a number, such as {_example(want)}.")
    measured = _feet_and_inches(text) if want.dimension == "length" else None
    measured = measured or _amount(text, want, default_unit)
    check_possible(measured, quantity)
    return measured


def _example(want: Quantity) -> str:
    number = {"seeds/ac": "32000", "inH2O": "18.5", "in": "6.5", "mph": "5", "rpm": "40"}.get(want.us, "12")
    return f"{number} {want.us}".strip()


def _feet_and_inches(text: str) -> Measured | None:
    """Return feet and inches as inches (an exact decimal), or None when it is no such text."""
    found = figures.FEET.match(text)
    part = figures.AMOUNT.match(found["rest"]) if found else None
    if found is None or part is None or not figures.INCHES.match(part["unit"]):
        return None
    inches = _number(part, QUANTITIES["spacing"], UNITS["in"])
    if inches >= 12:
        raise UnitError(f'"{text.strip()[:40]}" has 12 inches or more beside the feet.',
                        remedy="Give the whole length in inches, or carry 12 inches over as a foot.")
    return Measured(f"{Decimal(found['feet']) * 12 + inches:f}", "in")


def _amount(text: str, want: Quantity, default_unit: str | None) -> Measured:
    found = figures.AMOUNT.match(text)
    if found is None:
        raise UnitError(f'"{text.strip()[:40]}" does not begin with a number.',
                        remedy=f"Type a number and a unit, such as {_example(want)}.")
    unit, times = _typed_unit(found["unit"].strip().rstrip(".,;"), want, default_unit)
    number = _number(found, want, unit, times)
    if times != 1:
        number = Decimal(f"{(number * times).normalize():f}")
    return Measured(f"{-number if found['sign'] in ('-', _MINUS) else number:f}", unit.name)


_MINUS = "\u2212"
_THOUSAND = re.compile(r"(?:k|thousand)(?![a-z])\s*(?P<rest>.*)\Z", re.IGNORECASE | re.DOTALL)


def _typed_unit(said: str, want: Quantity, default_unit: str | None) -> tuple[Unit, int]:
    """Return the unit and a multiplier, 1000 where "k" or "thousand" stands before the unit."""
    if re.match(r"[eE][-+]?\d", said):
        raise UnitError("Numbers with an exponent are not taken.", remedy="Write the figures out.")
    if figures.MORE_THAN_ONE.match(said):
        raise UnitError("This is more than one number.", remedy="Give one number and its unit.")
    times = 1
    thousand = _THOUSAND.match(said) if want.dimension in ("rate", "count", "seeds_per_mass") else None
    if thousand:
        times, said = 1000, thousand["rest"]
    if not said:
        return _default(want, default_unit), times
    unit = find_unit(said)
    if unit.quantity != want.dimension:
        raise _wrong_dimension(unit, want)
    return unit, times


def _default(want: Quantity, default_unit: str | None) -> Unit:
    if default_unit is None:
        if want.dimension == "count":
            return UNITS["count"]
        raise UnitError(f"The {want.label} has no unit.",
                        remedy=f"Add the unit printed on the gauge, such as {want.us} or {want.metric}.")
    unit = find_unit(default_unit)
    if unit.quantity != want.dimension:
        raise _wrong_dimension(unit, want)
    return unit


def _wrong_dimension(unit: Unit, want: Quantity) -> UnitError:
    if unit.name == "in" and want.us == "inH2O":
        cure = "Inches of water are written inH2O."
    else:
        cure = f"Give it in {' or '.join(dict.fromkeys((want.us, want.metric)))}."
    what = f"{unit.name} is a unit of {_words(unit.quantity)}, but {want.label} is measured in {want.us}."
    return UnitError(what, remedy=cure)


def _number(found: re.Match[str], want: Quantity, unit: Unit, times: int = 1) -> Decimal:
    """Return the number of a match as an exact decimal, without its sign."""
    if found["plain"]:
        return Decimal(_settle(found["plain"], want, unit, times))
    if found["only"]:
        return figures.fraction(found["only"], proper=False)
    return Decimal(_settle(found["whole"], want, unit, times)) + figures.fraction(found["frac"], proper=True)


def _settle(typed: str, want: Quantity, unit: Unit, times: int) -> str:
    """Return figures with the decimal mark settled: "32,000" -> "32000" or "32.000" by what is usual."""
    decimal, thousands = figures.readings(typed)
    if decimal is None or thousands is None:
        return decimal or thousands or ""
    low, high = want.usual
    fits = [t for t in (decimal, thousands) if low <= float(t) * times * unit.factor + unit.offset <= high]
    if "." in typed and (decimal in fits or not fits):
        return decimal
    if "," in typed and len(fits) == 1:
        return fits[0]
    raise UnitError(f'"{typed}" may mean {decimal} or {thousands} {unit.name}.',
                    remedy=f"Type {thousands} or {decimal.rstrip('0').rstrip('.')}.")


# ----------------------------------------------------------------------------------- possible, usual


def check_possible(measured: Measured, quantity: str | None = None) -> None:
    """Refuse a value that cannot be, naming what was likely meant.

    `quantity` says what is measured where the unit alone does not ("vacuum" rather than "pressure").
    Raises UnitError.
    """
    want = quantity_named(quantity or measured.quantity)
    if UNITS[measured.unit].quantity != want.dimension:
        raise _wrong_dimension(UNITS[measured.unit], want)
    si = measured.si()
    if want.lowest <= si <= want.highest:
        return
    high = si > want.highest
    limit = want.highest if high else want.lowest
    shown = _round(convert(limit, want.si, measured.unit))
    label = UNITS[measured.unit].label
    if want.name == "vacuum" and not high:
        raise UnitError(f"{measured} would be a pressure, not a vacuum.",
                        remedy=f"Write a vacuum without the minus: {measured.value.lstrip('-')} {label}.")
    what = f"{measured} is {'above' if high else 'below'} what a {want.label} can be ({shown} {label})."
    if want.name == "vacuum":
        what = f"{measured} cannot be a vacuum: the whole atmosphere is {shown} {label}."
    raise UnitError(what.replace(" )", ")"), remedy=_likely(measured, want) or _CHECK)


def suspicion(measured: Measured, quantity: str | None = None) -> str:
    """Return one sentence when a possible value is so unusual that the unit may be wrong, else ""."""
    want = quantity_named(quantity or measured.quantity)
    si = measured.si()
    if want.usual[0] <= si <= want.usual[1] or si == 0:
        return ""
    likely = _likely(measured, want)
    return f"{measured} is unusual for {want.label}. {likely or _CHECK}"


_CHECK = "Check the figure and its unit."


def _likely(measured: Measured, want: Quantity) -> str:
    """Name what was likely meant: figures once called psi and then converted, or another unit."""
    if want.us == "inH2O" and measured.unit != "psi":
        psi = convert(measured.number, measured.unit, "psi")
        if _usual(psi * IN_H2O, want):
            return f"That is {psi:.3g} psi; {psi:.3g} inH2O, misprinted as psi, is likely meant."
    for name in _likely_units(want):
        unit = UNITS[name]
        if name != measured.unit and _usual(measured.number * unit.factor + unit.offset, want):
            return f"{measured.value} {unit.label} is likely meant: look at the print on the gauge or tape."
    return ""


def _likely_units(want: Quantity) -> Iterable[str]:
    first = (want.us, want.metric)
    return (*first, *(u.name for u in UNITS.values() if u.quantity == want.dimension and u.name not in first))


def _usual(si: float, want: Quantity) -> bool:
    return max(want.usual[0], 1e-12) <= si <= want.usual[1]


# ------------------------------------------------------------------------------------------- showing


def show(si_value: float, quantity: str, system: System, digits: int = 3) -> str:
    """Return an SI value in the user's units, with `digits` significant figures ("18.5 inH2O").

    The text can be read again by `parse`. US style groups thousands by commas, metric style not at all.
    """
    want = quantity_named(quantity)
    unit = UNITS[want.us if system == "us" else want.metric]
    number = (si_value - unit.offset) / unit.factor
    text = _round(number, digits)
    if system == "us" and abs(number) >= 10_000 and "." not in text:
        text = f"{int(text):,}"
    if unit.label == "%":
        return f"{text} %"
    return f"{text} {unit.label}".rstrip()


def _round(number: float, digits: int = 3) -> str:
    """Return a plain decimal with so many significant figures, never an exponent, never -0."""
    if number == 0 or not math.isfinite(number):
        return "0" if number == 0 else str(number)
    places = digits - 1 - math.floor(math.log10(abs(number)))
    rounded = round(number, places)
    text = f"{rounded:.{max(places, 0)}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    return "0" if text == "-0" else text


def feet_inches(metres: float) -> str:
    """Return a length as the nearest whole inch in feet and inches ("17 ft 5 in")."""
    feet, inches = divmod(round(metres / INCH), 12)
    return f"{feet} ft {inches} in" if inches else f"{feet} ft"
