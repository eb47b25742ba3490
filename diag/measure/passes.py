"""Which hole pass each seed of a row belongs to: the row followed seed by seed, like a ruler laid along it.

Lengths in one unit, whichever. Derived; no published use on planters is known.
"""

from __future__ import annotations

import itertools
import math
import random
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

from diag.measure.spacing import checked, estimated_target, mean, median, singles

GAINS = (0.05, 0.1, 0.2, 0.35, 0.5)
"""How far the expected place may follow each seed: little where seeds scatter, much where the drive wanders."""
CLEARLY = 0.8
"""Part of the squared misses of the target that the row's own spacing must stay under."""


def own_pitch(spacings: Sequence[float], target: float) -> float:
    """Return the spacing the row itself was planted at, by its single seeds; else the target.

    A row planted evenly at another rate is even at its own spacing. Where that foretells the next seed hardly better
    than the target does, seeds lie too loosely to say. Raises MeasureError for no spacings.
    """
    checked(spacings, target)
    ones = singles(spacings, target)
    if len(ones) < len(spacings) / 2 and sum(s > 0 for s in spacings) >= 5:
        ones = singles(spacings, estimated_target(spacings)) or ones
    pitch = median(ones) if ones else target
    for _ in range(3):
        pitch = median(singles(spacings, pitch) or [pitch])
    own, set_ = (min(_follow(spacings, p, gain)[1] for gain in GAINS) for p in (pitch, target))
    return pitch if own < CLEARLY * set_ else target


def passes(spacings: Sequence[float], pitch: float) -> tuple[list[int], float]:
    """Return the hole pass of each seed (first seed: 0, rising) and the spacing of passes found.

    The expected place follows the seeds as far as predicts them best, so that neither scatter nor a drive that
    speeds up and slows down moves seeds to another pass than theirs.
    """
    index, pitch = _best(spacings, pitch), pitch
    for _ in range(2):
        found = _slope(spacings, index)
        # A line through the seeds cannot be off by more than seeds miscounted; else the start was better.
        pitch = found if 0.8 * pitch < found < 1.25 * pitch else pitch
        index = _best(spacings, pitch)
    return index, pitch


def _best(spacings: Sequence[float], pitch: float) -> list[int]:
    """Return the passes by the smallest gain that foretells nearly as well as the best."""
    tried = [_follow(spacings, pitch, gain) for gain in GAINS]
    best = min(missed for _, missed in tried)
    return next(index for index, missed in tried if missed <= 1.1 * best + 1e-9)


def _follow(spacings: Sequence[float], pitch: float, gain: float) -> tuple[list[int], float]:
    """Return the pass of each seed, and how badly each next seed was foretold (sum of squares, in passes)."""
    index, ahead, missed = [0], 0.0, 0.0
    for s in spacings:
        ahead += s / pitch
        step = max(0, round(ahead))
        index.append(index[-1] + step)
        ahead -= step
        missed += ahead * ahead
        ahead -= gain * ahead if step else 0.0
    return index, missed


def _slope(spacings: Sequence[float], index: Sequence[int]) -> float:
    """Return the spacing of passes by a straight line through the seeds; 0 when all are on one pass.

    A spacing taken from the singles alone is a little off, and that adds up along the row.
    """
    places = list(itertools.accumulate(spacings, initial=0.0))
    middle, centre = mean(index), mean(places)
    spread = math.fsum((k - middle) ** 2 for k in index)
    together = math.fsum((k - middle) * (p - centre) for k, p in zip(index, places, strict=True))
    return together / spread if spread else 0.0


@dataclass(frozen=True)
class Account:
    """Seeds by hole pass: `displaced` lie in the pass beside their own, `doubles` are too many, `skips` missing.

    `passes`: hole passes covered. Counts may be fractions once scatter is taken off.
    """

    displaced: float
    doubles: float
    skips: float
    passes: int


def account(spacings: Sequence[float], pitch: float) -> Account:
    """Return what a run holds: a pass with one seed too many beside one without is a seed out of place, no fault.

    So is every spacing of at most half a pitch that is no double.
    """
    index, _ = passes(spacings, pitch)
    seeds = Counter(index)
    extra = {k: n - 1 for k, n in sorted(seeds.items()) if n > 1}
    filled: set[int] = set()
    # empty passes that the seed beside them belongs to; the others are counted, not listed: a run may be long
    for k in extra:
        for beside in (k - 1, k + 1):
            if extra[k] and 0 <= beside <= index[-1] and beside not in seeds and beside not in filled:
                filled.add(beside)
                extra[k] -= 1
    displaced = len(filled)
    doubles, short = sum(extra.values()), sum(s <= 0.5 * pitch * (1 + 1e-9) for s in spacings)
    skips = index[-1] + 1 - len(seeds) - displaced
    return Account(max(displaced, short - doubles), doubles, skips, index[-1] + 1)


FINE_SCATTER = 0.1
"""Scatter of places (passes) up to which no seed is taken for another pass's."""
SIMULATED = 600
"""Passes planted by a perfect meter to see what scatter alone would be taken for."""


def place_scatter(spacings: Sequence[float], pitch: float) -> float:
    """Return the standard deviation of places (in passes), by the median distance that gaps and pairs hardly move."""
    return 1.4826 * median([abs(s / pitch - 1) for s in spacings]) / math.sqrt(2)


def less_scatter(found: Account, spacings: Sequence[float], pitch: float) -> Account:
    """Return the account less what like scatter makes of a perfect meter, and less two standard deviations of that."""
    spread = place_scatter(spacings, pitch)
    if spread <= FINE_SCATTER:
        return found
    rng = random.Random(11)
    count = min(found.passes, SIMULATED)
    falsely = [account(_scattered(count, spread, rng), 1.0) for _ in range(SIMULATED // count)]
    longer = found.passes / count
    doubles, skips = (longer * mean([getattr(one, name) for one in falsely]) for name in ("doubles", "skips"))
    return Account(found.displaced, max(0.0, found.doubles - doubles - 2 * math.sqrt(doubles)),
                   max(0.0, found.skips - skips - 2 * math.sqrt(skips)), found.passes)


def _scattered(count: int, spread: float, rng: random.Random) -> list[float]:
    places = sorted(k + rng.gauss(0, spread) for k in range(count))
    return [b - a for a, b in itertools.pairwise(places)]
