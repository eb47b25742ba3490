"""Counts of seeds and plants, rates, bags and acres. All SI: m, seeds per m2, kg.

Row length for 1/1000 acre: University of Tennessee, "Checking corn populations". Seeds per foot: Iowa
State Agronomy 212. The rest is derived.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from diag.errors import MeasureError
from diag.measure.counting import chi2_sf, holm, normal_cdf
from diag.measure.spacing import median
from diag.units import ACRE


def thousandth_length(row_width: float, area: float = ACRE) -> float:
    """Return the length of row (m) that is 1/1000 of an acre, or of another area (m2)."""
    if row_width <= 0:
        raise MeasureError("The row width must be above zero.", remedy="Give the row width.")
    return area / 1000 / row_width


def rate_from_count(count: float, length: float, row_width: float) -> float:
    """Return seeds per m2 from a count in a length of row (m)."""
    if length <= 0 or row_width <= 0:
        raise MeasureError("Length and row width must be above zero.", remedy="Give both.")
    return count / (length * row_width)


def count_error(count: float, miss_share: float = 0.05) -> float:
    """Return the standard error of a count of planted seeds: end error of one seed, and skips.

    The two ends of the measured length cut the row at random (up to +-1 seed); skips and doubles add
    the square root of n q (1 - q).
    """
    return math.sqrt(1 / 6 + count * miss_share * (1 - miss_share))


@dataclass(frozen=True)
class RowsCompared:
    """Counts of equal lengths in several rows. `chance`: of such unlike counts in equal rows, all rows
    looked at; `apart`: rows that differ from the rest when all together may be wrong once in twenty."""

    middle: float
    lowest: int
    highest: int
    chance: float
    apart: tuple[int, ...]


def compare_rows(counts: Mapping[int, float], miss_share: float = 0.05) -> RowsCompared:
    """Return how rows with counts over equal lengths compare, guarded for looking at many rows at once.

    Raises MeasureError with fewer than two rows.
    """
    if len(counts) < 2:
        raise MeasureError("Rows can be compared from two on.", remedy="Count another row.")
    rows = sorted(counts)
    pooled = math.fsum(counts.values()) / len(rows)
    variance = max(1e-12, count_error(pooled, miss_share) ** 2)
    apart = math.fsum((counts[r] - pooled) ** 2 for r in rows) / variance
    chances = []
    for r in rows:
        rest = (math.fsum(counts.values()) - counts[r]) / (len(rows) - 1)
        # Counts are whole: half a seed either way is no difference.
        z = max(0.0, abs(counts[r] - rest) - 0.5) / math.sqrt(variance * (1 + 1 / (len(rows) - 1)))
        chances.append(2 * normal_cdf(-z))
    return RowsCompared(
        middle=median(list(counts.values())),
        lowest=min(rows, key=lambda r: (counts[r], r)),
        highest=max(rows, key=lambda r: (counts[r], -r)),
        chance=chi2_sf(apart, len(rows) - 1),
        apart=tuple(r for r, stands in zip(rows, holm(chances), strict=True) if stands),
    )
