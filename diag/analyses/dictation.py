"""Numbers read aloud: tallies by one key each, tape positions that must rise, row values along a walk."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from diag import figures
from diag.analyses.saying import percent
from diag.errors import MeasureError
from diag.measure.counting import wilson
from diag.measure.spacing import median
from diag.text import one_line
from diag.units import UNITS, Measured

KEYS: Mapping[str, str] = {"g": "good", "c": "close", "l": "gap", ".": "good", "-": "gap"}
"""One key for each spacing called out: g good, c close, l (long) gap."""

_DIGITS = {"0": "zero", "1": "one", "2": "two", "3": "three", "4": "four", "5": "five", "6": "six", "7": "seven",
           "8": "eight", "9": "nine"}
_SPOKEN = {"inH2O": "inches of water", "in": "inches", "ft": "feet", "mm": "millimeters", "cm": "centimeters",
           "m": "meters", "kPa": "kilopascals", "mbar": "millibars", "psi": "psi", "V": "volts", "A": "amps",
           "rpm": "turns a minute", "mph": "miles an hour", "km/h": "kilometers an hour", "percent": "percent",
           "seeds/ac": "seeds per acre", "seeds/ha": "seeds per hectare", "count": ""}


@dataclass(frozen=True)
class Tally:
    """Spacings called out one by one as good, close or gap."""

    good: int = 0
    close: int = 0
    gap: int = 0

    @property
    def spacings(self) -> int:
        """How many were called."""
        return self.good + self.close + self.gap

    def add(self, key: str, times: int = 1) -> Tally:
        """Return the tally with one more (minus: one less). Raises MeasureError for another key."""
        name = KEYS.get(key.casefold())
        if name is None:
            raise MeasureError(f'"{one_line(key, limit=10)}" is no key of the tally.', remedy="Press g, c or l.")
        return replace(self, **{name: max(0, getattr(self, name) + times)})

    def running(self) -> str:
        """Return the running count and what it says so far."""
        n = self.spacings
        if n == 0:
            return "nothing counted yet"
        low, high = wilson(self.gap, n)
        return (f"{n} spacings: {self.good} good, {self.close} close, {self.gap} gaps; gaps {percent(self.gap / n)} "
                f"({percent(low).removesuffix(' %')} to {percent(high)})")

    def counts(self) -> dict[str, tuple[int, int]]:
        """Return the tally as labelled counts, the form in which it is stored and analysed."""
        n = self.spacings
        return {"good": (self.good, n), "close": (self.close, n), "gap": (self.gap, n)}


def tally_of(text: str) -> Tally:
    """Return the tally of keys typed in a row, spaces and commas left out ("ggcg lggg")."""
    tally = Tally()
    for place, key in enumerate(text):
        if key.isspace() or key == ",":
            continue
        try:
            tally = tally.add(key)
        except MeasureError as error:
            raise MeasureError(error.what, f"key {place + 1}", error.remedy) from None
    return tally


def next_position(before: Sequence[Measured], text: str, unit: str | None = None) -> Measured:
    """Return the next tape position. Raises DiagError at once where it does not rise."""
    default = unit or (before[-1].unit if before else None)
    found = figures.measured(text, "position", default_unit=default)
    if before and found.si() <= before[-1].si():
        raise MeasureError(f"{found} does not lie beyond {before[-1]}.", f"position {len(before) + 1}",
                           "Ask for that position again.")
    return found


def read_back(measured: Measured) -> str:
    """Return a value as it is read back aloud, figure by figure: "one eight point five inches of water"."""
    spoken = [_DIGITS.get(c, {".": "point", "-": "minus"}.get(c, c)) for c in measured.value]
    unit = _SPOKEN.get(measured.unit, UNITS[measured.unit].label)
    return " ".join([*spoken, unit]).strip()


def read_back_row(row: int, measured: Measured | None) -> str:
    """Return one row read back aloud: "row seven: one eight point five inches of water"."""
    name = " ".join(_DIGITS[c] for c in str(row))
    return f"row {name}: {read_back(measured) if measured else 'not read'}"


def doubtful(values: Sequence[Measured]) -> list[int]:
    """Return the places (from 0) whose value is more than twice or less than half of the middle one.

    For row values, where such a figure was most likely misheard; it is asked for again, never dropped.
    """
    si = [m.si() for m in values]
    middle = median(si) if si else 0.0
    return [i for i, v in enumerate(si) if middle > 0 and not middle / 2 <= v <= 2 * middle]
