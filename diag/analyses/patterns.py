"""Which word describes the values of all rows, and how open that word is given the error of a reading."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from diag.analyses import context as ctx
from diag.analyses.model import Context
from diag.measure.counting import normal_ppf
from diag.measure.spacing import median
from diag.measure.vacuum import RowMap, row_map

_STEPS = 21


@dataclass(frozen=True)
class Limits:
    """Distances from the median at which a row is low or high, and of a section or all rows; SI.

    `judged`: whether they were given; without them they are taken from the scatter of the rows.
    """

    low: float
    high: float
    section: float | None = None
    all_low: float | None = None
    judged: bool = True
    by_ratio: bool = False

    @classmethod
    def distance(cls, context: Context, values: Sequence[float]) -> Limits:
        """Return limits given as distances; without them four times the usual scatter of the rows."""
        low, high = ctx.positive(context, "row_low_below_median"), ctx.positive(context, "row_high_above_median")
        section = ctx.positive(context, "section_low_below_rest")
        every = ctx.positive(context, "all_low_below_reference")
        if low is None and high is None:
            own = 4 * scatter(values)
            return cls(own, own, section or own, every, judged=False)
        return cls(low or high or 0.0, high or low or 0.0, section, every)

    @classmethod
    def ratio(cls, context: Context) -> Limits | None:
        """Return limits given as ratios to the median, None when none is given."""
        low, high = ctx.positive(context, "row_low_ratio"), ctx.positive(context, "row_high_ratio")
        if low is None and high is None:
            return None
        return cls(1 - low if low is not None else 1e9, high - 1 if high is not None else 1e9, by_ratio=True)


def scatter(values: Sequence[float]) -> float:
    """Return the usual distance of a row from the median, as a standard deviation that outliers do not move.

    Never less than 1 % of the median, the fineness to which gauges are read.
    """
    middle = median(values)
    return max(1.4826 * median([abs(v - middle) for v in values]), 0.01 * abs(middle), 1e-9)


def pattern_of(values: Mapping[int, float], limits: Limits, sections: Mapping[str, Sequence[int]],
               reference: float | None = None, reading_error: float = 0.0) -> tuple[str, dict[str, float] | None]:
    """Return the pattern word and, where the error of one reading (SI, or ratio) leaves it open, all weights.

    The weights come from moving the limits over the distribution of a difference of two readings.
    """
    found = map_of(values, limits, sections, reference)
    if reading_error <= 0:
        return found.pattern, None
    chances: dict[str, float] = {}
    for i in range(_STEPS):
        off = normal_ppf((i + 0.5) / _STEPS) * reading_error
        moved = Limits(max(1e-12, limits.low + off), max(1e-12, limits.high + off),
                       _moved(limits.section, off), _moved(limits.all_low, off),
                       judged=limits.judged, by_ratio=limits.by_ratio)
        word = map_of(values, moved, sections, reference).pattern
        chances[word] = chances.get(word, 0.0) + 1 / _STEPS
    best = max(chances, key=lambda w: (chances[w], w == found.pattern, w))
    return best, chances


def _moved(limit: float | None, off: float) -> float | None:
    return None if limit is None else max(1e-12, limit + off)


def map_of(values: Mapping[int, float], limits: Limits, sections: Mapping[str, Sequence[int]],
           reference: float | None = None) -> RowMap:
    """Return the map of the rows under these limits; limits by ratio are taken relative to the median."""
    if limits.by_ratio:
        middle = median(list(values.values())) or 1.0
        values = {r: v / middle for r, v in values.items()}
        reference = reference / middle if reference is not None else None
    return row_map(values, limits.low, limits.high, sections, reference=reference, all_low=limits.all_low,
                   section_low=limits.section)
