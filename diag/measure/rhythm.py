"""Does the trouble repeat? Autocorrelation, periodogram and the field tape rule.

Lags are in delivered spacings. One turn of the disc always has the same length on the ground (holes x
target), but a plugged hole repeats every H - 1 spacings, a late one every H, a doubling one every H + 1.
Derived; no published use on planters is known.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

from diag.errors import MeasureError
from diag.measure.spacing import mean, sd

LAG_OF = {"plugged": -1, "late": 0, "double": 1}
"""Lag in spacings, beside the number of holes, at which each fault of one hole repeats."""


def autocorrelation(values: Sequence[float], lags: Sequence[int]) -> list[float]:
    """Return sum of products of deviations at each lag over the total sum of squares.

    Values without spread, and lags as long as the run, give 0. Raises MeasureError with fewer than two.
    """
    import numpy as np

    if len(values) < 2:
        raise MeasureError("A rhythm needs at least two values.", remedy="Measure more spacings.")
    dev = np.asarray(values, dtype=float) - math.fsum(values) / len(values)
    total = float(dev @ dev)
    if total <= 1e-24 * max(1e-300, float(np.max(np.abs(values))) ** 2):
        return [0.0] * len(lags)
    return [float(dev[: len(dev) - k] @ dev[k:]) / total if 0 < k < len(dev) else float(k == 0) for k in lags]


def correlation_band(n: int) -> float:
    """Return the 95 % band around 0 for the correlation of unrelated values."""
    return 1.96 / math.sqrt(n)


def periodogram(values: Sequence[float]) -> tuple[list[float], list[float]]:
    """Return periods (in spacings, longest first) and the share of the spread in each wave (sum 1).

    Right for a smooth drive wave, wrong for a single bad hole. Raises MeasureError with fewer than 8 values.
    """
    import numpy as np

    if len(values) < 8:
        raise MeasureError("A wave needs at least 8 spacings.", remedy="Measure more spacings.")
    data = np.asarray(values, dtype=float)
    power = np.abs(np.fft.rfft(data - data.mean()))[1:] ** 2
    total = float(power.sum())
    shares = power / total if total > 1e-24 * len(data) * float(data @ data) else np.zeros_like(power)
    return [len(data) / k for k in range(1, len(power) + 1)], [float(s) for s in shares]


def wave_chances(shares: Sequence[float], looked_at: int | None = None, window: int = 25) -> list[float]:
    """Return for each wave the chance that scatter makes one of those looked at (all) stand out so far.

    Scatter of placement is not white in spacings (a late seed lengthens one and shortens the next), so a
    wave is held against the mean of those beside it (two on each side left out): with scatter alone the
    ratio to K such neighbours exceeds r with chance (1 + r / K) ** -K.
    """
    sums = [0.0, *itertools.accumulate(shares)]
    m = len(shares)
    tried = looked_at or m
    found = []
    for k, share in enumerate(shares):
        outer = (max(0, k - window), min(m, k + window + 1))
        inner = (max(0, k - 2), min(m, k + 3))
        beside = outer[1] - outer[0] - (inner[1] - inner[0])
        level = sums[outer[1]] - sums[outer[0]] - (sums[inner[1]] - sums[inner[0]])
        if beside < 4 or level <= 0:
            found.append(1.0)
            continue
        found.append(min(1.0, tried * math.exp(-beside * math.log1p(share / level))))
    return found


# ------------------------------------------------------------------------------- distances and parts


def coincidence(holes: float, like_gaps: int, window: int = 1) -> float:
    """Return the chance that random gaps lie whole disc turns apart within +-`window` holes."""
    return min(1.0, (2 * window + 1) / holes) ** max(0, like_gaps - 1)


def fits(distances: Sequence[float], period: float, tolerance: float) -> bool:
    """Return whether every distance is a whole multiple of the period within the tolerance."""
    return all(round(d / period) >= 1 and abs(d - round(d / period) * period) <= tolerance for d in distances)


def common_period(distances: Sequence[float], tolerance: float) -> tuple[float, float, float]:
    """Return (period, standard error, largest misfit) of the length that fits all distances as multiples.

    The longest length that fits within the tolerance wins; without one, the mean distance is given with
    its misfit. Raises MeasureError when a distance is not above zero.
    """
    if not distances or min(distances) <= 0:
        raise MeasureError("Distances between gaps must be above zero.", remedy="Measure from gap to gap.")
    shortest = min(distances)
    for divisor in range(1, 7):
        times = [max(1, round(d * divisor / shortest)) for d in distances]
        period = math.fsum(d * t for d, t in zip(distances, times, strict=True)) / sum(t * t for t in times)
        misfit = max(abs(d - t * period) for d, t in zip(distances, times, strict=True))
        if misfit <= tolerance:
            left = math.sqrt(math.fsum((d - t * period) ** 2 for d, t in zip(distances, times, strict=True))
                             / max(1, len(distances) - 1))
            return period, max(left, tolerance / 3) / math.sqrt(sum(t * t for t in times)), misfit
    period = mean(distances)
    return period, sd(distances) / math.sqrt(len(distances)), max(abs(d - period) for d in distances)


def part_of(period: float, tolerance: float, travel: Mapping[str, float]) -> str:
    """Return the part whose travel per turn equals the period within the tolerance.

    "none" when no part fits, "unclear" when parts with different travel fit.
    """
    close = {p: t for p, t in travel.items() if abs(t - period) <= tolerance}
    if not close:
        return "none"
    if len(close) > 1:
        return "unclear"
    return next(iter(close))


def turn_distance(holes: int, target: float) -> float:
    """Return the travel in one disc turn."""
    return holes * target


