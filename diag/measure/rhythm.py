"""Does the trouble repeat? Folding by hole, autocorrelation, periodogram and the field tape rule.

Lags are in delivered spacings. One turn of the disc always has the same length on the ground (holes x
target), but a plugged hole repeats every H - 1 spacings, a late one every H, a doubling one every H + 1.
Derived; no published use on planters is known.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from diag.errors import MeasureError
from diag.measure.counting import binomial_cdf, normal_cdf
from diag.measure.spacing import mean, median, sd, singles

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


def wave_chances(shares: Sequence[float], window: int = 25) -> list[float]:
    """Return for each wave the chance that scatter makes some wave stand out so far from its neighbours.

    Scatter of placement is not white in spacings (a late seed lengthens one and shortens the next), so a
    wave is held against the mean of those beside it (two on each side left out): with scatter alone the
    ratio to K such neighbours exceeds r with chance (1 + r / K) ** -K.
    """
    sums = [0.0, *itertools.accumulate(shares)]
    m = len(shares)
    found = []
    for k, share in enumerate(shares):
        outer = (max(0, k - window), min(m, k + window + 1))
        inner = (max(0, k - 2), min(m, k + 3))
        beside = outer[1] - outer[0] - (inner[1] - inner[0])
        level = sums[outer[1]] - sums[outer[0]] - (sums[inner[1]] - sums[inner[0]])
        if beside < 4 or level <= 0:
            found.append(1.0)
            continue
        found.append(min(1.0, m * math.exp(-beside * math.log1p(share / level))))
    return found


# ------------------------------------------------------------------------------------------- folding


@dataclass(frozen=True)
class Fold:
    """Seeds sorted by the hole that carried them, hole 0 the one of the first seed.

    `passes`, `seeds`: per hole. `shift`: median displacement per hole (length), 0 where no seed. `shift_sd`: SD
    of single displacements, hole means taken out. `turns`: disc turns covered. `spacing`: spacing found.
    """

    passes: tuple[int, ...]
    seeds: tuple[int, ...]
    shift: tuple[float, ...]
    shift_sd: float
    turns: float
    spacing: float

    @property
    def occupancy(self) -> list[float]:
        """Seeds per pass of each hole."""
        return [s / p if p else 1.0 for s, p in zip(self.seeds, self.passes, strict=True)]


def fold(spacings: Sequence[float], target: float, holes: int) -> Fold:
    """Return the fold of a run over the holes of a disc.

    The count of passes is carried along the row with the spacing the singles show, and slow drift is
    followed, so that neither a rate error nor a stretch of drive drift smears the holes together.
    Raises MeasureError: fewer than two holes, no spacings.
    """
    if holes < 2:
        raise MeasureError("A disc has at least two holes.", remedy="Correct the number of holes.")
    if not spacings:
        raise MeasureError("There are no spacings.", remedy="Give at least one.")
    ones = singles(spacings, target)
    pitch = median(ones) if ones else target
    for _ in range(2):
        pitch = _slope(spacings, _passes(spacings, pitch)) or pitch
    index = _passes(spacings, pitch)
    off = _level(_displaced(spacings, index, pitch), holes)
    passes, seeds = [0] * holes, [0] * holes
    for k in range(index[-1] + 1):
        passes[k % holes] += 1
    offs: list[list[float]] = [[] for _ in range(holes)]
    last = -1
    for k, residual in zip(index, off, strict=True):
        seeds[k % holes] += 1
        if k != last:
            offs[k % holes].append(residual)
        last = k
    shift = [median(o) if o else 0.0 for o in offs]
    several = [(o, mean(o)) for o in offs if len(o) > 1]
    left = [r - middle for o, middle in several for r in o]
    # Each hole mean costs one degree of freedom.
    free = len(left) - len(several)
    scatter = math.sqrt(math.fsum(r * r for r in left) / free) if free > 0 else 0.0
    return Fold(tuple(passes), tuple(seeds), tuple(shift), scatter, (index[-1] + 1) / holes, pitch)


def _passes(spacings: Sequence[float], pitch: float, follow: float = 0.08) -> list[int]:
    """Return the hole pass of each seed; the expected place follows the seeds by a small part."""
    index, ahead = [0], 0.0
    for s in spacings:
        ahead += s
        step = max(0, round(ahead / pitch))
        index.append(index[-1] + step)
        ahead -= step * pitch
        ahead -= follow * ahead if step else 0.0
    return index


def _slope(spacings: Sequence[float], index: Sequence[int]) -> float:
    """Return the spacing of passes by a straight line through the seeds; 0 when all are on one pass.

    A spacing taken from the singles alone is a little off, and that adds up along the row.
    """
    places = list(itertools.accumulate(spacings, initial=0.0))
    middle, centre = mean(index), mean(places)
    spread = math.fsum((k - middle) ** 2 for k in index)
    together = math.fsum((k - middle) * (p - centre) for k, p in zip(index, places, strict=True))
    return together / spread if spread else 0.0


def _displaced(spacings: Sequence[float], index: Sequence[int], pitch: float) -> list[float]:
    """Return how far each seed lies from an even row through the first one."""
    places = itertools.accumulate(spacings, initial=0.0)
    return [place - k * pitch for place, k in zip(places, index, strict=True)]


def _level(values: Sequence[float], window: int) -> list[float]:
    """Return values minus their mean over `window` neighbours on both sides, so that slow drift falls out."""
    sums = list(itertools.accumulate(values, initial=0.0))
    n, half = len(values), window // 2 + 1
    spans = ((max(0, i - half), min(n, i + half + 1)) for i in range(n))
    return [v - (sums[b] - sums[a]) / (b - a) for v, (a, b) in zip(values, spans, strict=True)]


@dataclass(frozen=True)
class HoleFault:
    """A hole that stands out: `kind` plugged, late or double; `chance` that some hole does so by accident."""

    kind: str
    hole: int
    value: float
    chance: float


def standing_out(folded: Fold, holes: int) -> list[HoleFault]:
    """Return the most striking hole of each kind, most striking first.

    Chances are for the most striking of all holes and three kinds (Bonferroni).
    """
    pairs = list(zip(folded.passes, folded.seeds, strict=True))
    total, filled = sum(folded.passes), sum(min(s, p) for p, s in pairs)
    extra = sum(max(0, s - p) for p, s in pairs)
    found = []
    for hole, (p, s) in enumerate(pairs):
        if p < 2:
            continue
        gone, more = max(0, p - s), max(0, s - p)
        rest = max(1, total - p)
        found.append(HoleFault("plugged", hole, s / p, _tail(gone, p, (total - filled - gone + 0.5) / rest)))
        found.append(HoleFault("double", hole, s / p, _tail(more, p, (extra - more + 0.5) / rest)))
        if folded.shift_sd > 0:
            z = abs(folded.shift[hole]) * math.sqrt(p) / (1.2533 * folded.shift_sd)
            found.append(HoleFault("late", hole, folded.shift[hole], 2 * normal_cdf(-z)))
    best = [min((f for f in found if f.kind == kind), key=lambda f: (f.chance, f.hole), default=None)
            for kind in LAG_OF]
    scaled = [HoleFault(f.kind, f.hole, f.value, min(1.0, f.chance * holes * 3)) for f in best if f]
    return sorted(scaled, key=lambda f: f.chance)


def wavy(folded: Fold, hole: int) -> float:
    """Return how alike the shifts of neighbouring holes are, one hole left out: correlation at lag 1.

    A single late hole leaves its neighbours alone; a drive wave carries them along.
    """
    others = [0.0 if h == hole else s for h, s in enumerate(folded.shift)]
    total = math.fsum(s * s for s in others)
    pairs = zip(others, others[1:] + others[:1], strict=True)
    return math.fsum(a * b for a, b in pairs) / total if total > 0 else 0.0


def _tail(k: int, n: int, p: float) -> float:
    """Return the chance of at least k events in n."""
    return 1.0 - binomial_cdf(k - 1, n, min(p, 1.0)) if k else 1.0


def turns_needed(holes: int, empty_share: float, risk: float = 0.05) -> int:
    """Return the disc turns after which a hole that is always empty cannot be an accident; at least 3."""
    q = min(max(empty_share, 0.01), 0.9)
    return max(3, math.ceil(math.log(risk / (3 * holes)) / math.log(q)))


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


