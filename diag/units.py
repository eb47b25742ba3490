"""The units of the trade, read and shown; the number is kept as it was typed.

The tables stand in `diag.unit_table`. Everything that a person types as a number with a unit is read by
`diag.figures`, everything shown goes out here; in between every value is SI.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Literal

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
    "feet_inches", "find_unit", "is_usual", "quantity_named", "show", "suspicion", "unit_at", "unit_named",
    "value_words", "wrong_dimension",
]

System = Literal["us", "metric"]


_SAME = str.maketrans({
    "\u2033": '"', "\u201d": '"', "\u201c": '"', "\u2032": "'", "\u2019": "'", "\u2082": "2", "\u00b2": "2",
    "\u00b3": "3", "\u2126": "\u03a9", "\u2109": "\u00b0F", "\u2103": "\u00b0C",
    "^": None, ".": None, "\u00b7": None, "_": None})


def _tight(text: str) -> str:
    """Fold away what people spell in different ways: spaces, points, curly quotes, raised figures."""
    return "".join(text.replace("''", '"').translate(_SAME).split())


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


_PREFIXES = {name.casefold()[:end] for name in _EXACT for end in range(1, len(name) + 1)}


def unit_at(text: str, start: int) -> tuple[Unit, int] | None:
    """Return the unit whose longest spelling begins at `start`, and where it ends; None when none does.

    Blanks and points within a spelling do not matter ("in. w.c."); a figure after a blank belongs to it only
    after "per" ("g per 1000").
    """
    tight, found = "", None
    for at in range(start, len(text)):
        sign = text[at]
        if sign in " \t.\u00b7_" and tight:
            continue
        if sign.isdigit() and text[at - 1].isspace() and not tight.endswith("per"):
            break
        tight += _tight(sign)
        if tight.casefold() not in _PREFIXES:
            break
        if not (sign.isalnum() and text[at + 1 : at + 2].isalnum()):
            unit = _lookup(tight)
            found = (unit, at + 1) if unit else found
    if found and text[found[1] : found[1] + 1] == "." and text[found[1] - 1].isalpha():
        return found[0], found[1] + 1
    return found


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


_DECIMAL = re.compile(r"-?[0-9]+(?:\.[0-9]+)?\Z")


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


def value_words(value: object) -> str:
    """Return a stored reading or setting in words: "18.5 inH2O", "75 \u00b0F", "3 of 20", "loose"; "" for none."""
    if isinstance(value, Mapping) and "count" in value:
        return f"{value['count']} of {value['of']}"
    if isinstance(value, Mapping):
        unit = str(value.get("unit", ""))
        return f"{value.get('value')} {UNITS[unit].label if unit in UNITS else unit}".strip()
    return "" if value is None else str(value)


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


# ----------------------------------------------------------------------------------- possible, usual


def wrong_dimension(unit: Unit, want: Quantity) -> UnitError:
    """Return the error that a unit measures something else."""
    cure = f"Give it in {' or '.join(dict.fromkeys((want.us, want.metric)))}."
    what = f"{unit.name} is a unit of {_words(unit.quantity)}, but {want.label} is measured in {want.us}."
    return UnitError(what, remedy=cure)


def check_possible(measured: Measured, quantity: str | None = None) -> None:
    """Refuse a value that cannot be, naming what was likely meant.

    `quantity` says what is measured where the unit alone does not ("vacuum" rather than "pressure").
    Raises UnitError.
    """
    want = quantity_named(quantity or measured.quantity)
    if UNITS[measured.unit].quantity != want.dimension:
        raise wrong_dimension(UNITS[measured.unit], want)
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


def is_usual(measured: Measured, quantity: str) -> bool:
    """Tell whether a value is of the size people measure."""
    low, high = quantity_named(quantity).usual
    return low <= measured.si() <= high


def suspicion(measured: Measured, quantity: str | None = None) -> str:
    """Return one sentence when a possible value is so unusual that the unit may be wrong, else ""."""
    want = quantity_named(quantity or measured.quantity)
    if is_usual(measured, want.name) or measured.number == 0:
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

    The text can be read again by `diag.figures`. US style groups thousands by commas, metric style not at all.
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
