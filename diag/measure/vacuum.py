"""Water columns, gauges, orifices, and the reasoning over rows. All SI: Pa, m, K, kg/m3, m3/s."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from diag.errors import MeasureError
from diag.measure.spacing import median
from diag.units import GRAVITY, IN_H2O

COLUMN_READING_ERROR = 0.125 * IN_H2O
"""Two menisci read to 1/16 inch each, Pa."""

STUDY_VACUUM: Mapping[str, float] = {
    "corn": 4000.0, "cotton": 3000.0, "soybean": 3000.0, "watermelon": 3000.0, "melon": 2500.0,
    "cucumber": 2500.0, "sugar beet": 2000.0, "onion": 1500.0,
}
"""Best vacuum (Pa) found on one meter: Karayel, Barut & Ozmerzi 2004, Biosystems Engineering 87(4)."""


def water_density(temperature: float) -> float:
    """Return the density (kg/m3) of water at a temperature (K). Tanaka et al. 2001, from memory."""
    t = temperature - 273.15
    if not 0 <= t <= 60:
        raise MeasureError(f"Water at {t:.0f} C is no use in a column.", remedy="Give 0 to 60 C.")
    return 999.974950 * (1 - (t - 3.983035) ** 2 * (t + 301.797) / (522528.9 * (t + 69.34881)))


def column_vacuum(height: float, temperature: float = 293.15, density: float | None = None,
                  tilt: float = 0.0) -> float:
    """Return the vacuum (Pa) shown by the height (m) between the two levels of a U-shaped tube.

    `density`: of the fluid (kg/m3) when it is not water; `tilt`: angle (rad) from plumb when the height was
    read along the tube.
    """
    fluid = water_density(temperature) if density is None else density
    return fluid * GRAVITY * height * math.cos(tilt)


def class_error(span: float, accuracy: float) -> float:
    """Return the error a gauge may have: its class (share of span) times its span (Pa)."""
    return span * accuracy


def gauge_limit(span: float, accuracy: float) -> float:
    """Return by how much a good gauge may differ (Pa) from a corrected water column."""
    return class_error(span, accuracy) + COLUMN_READING_ERROR


def book_vacuum(crop: str) -> float | None:
    """Return the laboratory optimum (Pa) of one study for a crop, None where it was not tested."""
    return STUDY_VACUUM.get(crop.strip().casefold())


# ------------------------------------------------------------------------------------- over the rows


@dataclass(frozen=True)
class Walk:
    """Readings per row with drift over the walk taken out.

    `values`: by row. `drift`: last reading of the first row minus its first (None when it was not read
    again). `spread_out`: whether it was taken out.
    """

    values: Mapping[int, float]
    drift: float | None
    spread_out: bool


def walk(rows: Sequence[int], values: Sequence[float], limit: float | None = None) -> Walk:
    """Return one value per row; a first row read again at the end shows and takes out the drift.

    The drift is spread evenly over the walk unless it exceeds `limit`; then the values stay as read.
    Raises MeasureError when another row stands twice.
    """
    again = len(rows) > 2 and rows[0] == rows[-1]
    seen = rows[:-1] if again else rows
    if len(set(seen)) != len(seen):
        twice = next(r for i, r in enumerate(seen) if r in seen[:i])
        raise MeasureError(f"Row {twice} stands twice.", f"row {twice}",
                           "Only the first row may be read again, at the end of the walk.")
    if not again:
        return Walk(dict(zip(rows, values, strict=True)), None, False)
    drift = values[-1] - values[0]
    take_out = drift != 0 and (limit is None or abs(drift) <= limit)
    part = drift / (len(rows) - 1) if take_out else 0.0
    level = {r: v - part * i for i, (r, v) in enumerate(zip(seen, values, strict=False))}
    return Walk(level, drift, take_out)


@dataclass(frozen=True)
class RowMap:
    """What stands out in a map of rows. `low`, `high`: rows; `section`: low section, "" when none."""

    pattern: str
    low: tuple[int, ...]
    high: tuple[int, ...]
    section: str


def row_map(values: Mapping[int, float], low: float, high: float, sections: Mapping[str, Sequence[int]],
            reference: float | None = None, all_low: float | None = None,
            section_low: float | None = None) -> RowMap:
    """Return the pattern of a map of rows.

    `low`, `high`: distance from the median at which a row counts as low or high. `all_low`: distance of
    the median below the reference at which all rows are low (above it: all high). `section_low`: distance
    of a section's median below the rest; without it `low` is used. Raises MeasureError without rows.
    """
    if not values:
        raise MeasureError("No row was read.", remedy="Read at least two rows.")
    named = {n: [values[r] for r in rows if r in values] for n, rows in sections.items()}
    gap, section = section_gap(values, sections)
    wanted = low if section_low is None else section_low
    rest = [v for n, group in named.items() if n != section for v in group]
    # A section is low when all of it is: rows that read like the rest make it a step or single low rows.
    whole = bool(section) and max(named[section]) <= median(rest) - wanted / 2
    if whole and gap >= wanted and len(named[section]) > 1:
        members = tuple(sorted(set(sections[section]) & set(values)))
        own = median(named[section])
        # A row that lies farther below its section than the section below the rest is what stands out.
        worse = tuple(r for r in members if own - values[r] >= max(low, gap))
        if worse and len(worse) < len(members):
            pattern = _pattern(worse, (), own, None, all_low=None)
            return RowMap(pattern, worse, (), section="")
        return RowMap("section_low", members, (), section=section)
    middle = median(list(values.values()))
    base, highs_count = _base(values, low, high, reference, all_low=all_low)
    lows = tuple(r for r in sorted(values) if values[r] <= base - low and values[r] < base)
    highs = tuple(r for r in sorted(values) if values[r] >= base + high and values[r] > base) if highs_count else ()
    return RowMap(_pattern(lows, highs, middle, reference, all_low=all_low), lows, highs, section="")


def _base(values: Mapping[int, float], low: float, high: float, reference: float | None,
          all_low: float | None) -> tuple[float, bool]:
    """Return what rows are odd against, and whether a row above it is odd at all.

    As a rule the rows beside it. Where as many rows lie off as not, they cannot say which are the odd ones: the
    reference does. Where the middle row itself is low, a row that reads as it should is not high; a row below the
    others leaks whatever the others read.
    """
    middle = median(list(values.values()))
    if reference is None:
        return middle, True
    off = sum(v <= middle - low or v >= middle + high for v in values.values())
    if 2 * off >= len(values) and abs(reference - middle) < max(low, high, all_low or 0.0):
        return reference, True
    all_are_low = all_low is not None and middle <= reference - all_low
    return middle, not all_are_low or max(values.values()) >= reference + high


def _pattern(low: Sequence[int], high: Sequence[int], middle: float, reference: float | None,
             all_low: float | None) -> str:
    if low:
        return "one_low" if len(low) == 1 else "some_low"
    if high:
        return "one_high" if len(high) == 1 else "some_high"
    if reference is not None and all_low is not None and abs(reference - middle) >= all_low:
        return "all_low" if middle < reference else "all_high"
    return "even"


def section_gap(values: Mapping[int, float], sections: Mapping[str, Sequence[int]]) -> tuple[float, str]:
    """Return by how much the median of the lowest section lies below that of all other rows, and its name.

    (0, "") when fewer than two sections were read.
    """
    groups = {n: [values[r] for r in rows if r in values] for n, rows in sections.items()}
    groups = {n: g for n, g in groups.items() if g}
    if len(groups) < 2:
        return 0.0, ""
    lowest = min(groups, key=lambda n: (median(groups[n]), n))
    return median([v for n, g in groups.items() if n != lowest for v in g]) - median(groups[lowest]), lowest


def section_falls(values: Mapping[int, float], sections: Mapping[str, Sequence[int]]) -> dict[str, float]:
    """Return per section the fall from its first to its last row by a straight line (plus: last lower)."""
    groups = sections or {"all": sorted(values)}
    return {name: -line([values[r] for r in rows if r in values])[1] for name, rows in groups.items()}


def line(values: Sequence[float], at: Sequence[float] | None = None) -> tuple[float, float]:
    """Return (value at the first point, change from first to last) of the straight line through values."""
    if len(values) < 2:
        return (values[0] if values else 0.0), 0.0
    x = list(at) if at is not None else [float(i) for i in range(len(values))]
    mx, my = math.fsum(x) / len(x), math.fsum(values) / len(values)
    sxx = math.fsum((a - mx) ** 2 for a in x)
    slope = math.fsum((a - mx) * (b - my) for a, b in zip(x, values, strict=True)) / sxx if sxx > 0 else 0.0
    return my + slope * (x[0] - mx), slope * (x[-1] - x[0])


def others(values: Mapping[int, float], healthy: Mapping[int, float], not_these: Sequence[int],
           limit: float) -> str:
    """Return whether the rows that are not low read lower, the same or higher than when healthy.

    A leak lowers everyone; a restriction lowers what lies beyond it and raises the rest. "unknown" without
    healthy values of two such rows.
    """
    changes = [values[r] - healthy[r] for r in values if r in healthy and r not in not_these]
    if len(changes) < 2:
        return "unknown"
    change = median(changes)
    return "same" if abs(change) < limit else "lower" if change < 0 else "higher"


def step_in(values: Sequence[float]) -> tuple[int, float, float]:
    """Return (place, height, left over) of the best single step down along the values.

    `place`: values before the step; `height`: mean before minus mean after; `left over`: SD around the two
    means. (0, 0, 0) with fewer than four values.
    """
    best = (0, 0.0, 0.0)
    least = math.inf
    for cut in range(2, len(values) - 1):
        a, b = values[:cut], values[cut:]
        ma, mb = math.fsum(a) / len(a), math.fsum(b) / len(b)
        left = math.fsum((v - ma) ** 2 for v in a) + math.fsum((v - mb) ** 2 for v in b)
        if left < least:
            least, best = left, (cut, ma - mb, math.sqrt(left / len(values)))
    return best
