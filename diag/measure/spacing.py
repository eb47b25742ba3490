"""Seed spacing: the published indices and what can be read from a run of spacings.

Spacings and the target are lengths in one unit, whichever (metres inside the program); shares are 0 to 1.
Class limits and indices: Kachman & Smith 1995 as reported by Iowa State University Extension ("Plant
uniformity measurements") and Bracy & Parish; the form over intended positions: ISO 7256-1 annex style (from
memory). The rest is derived from these definitions.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

from diag.errors import MeasureError
from diag.measure.counting import normal_cdf

CLASS_LIMITS = (0.5, 1.5, 2.5, 3.5)
"""Upper limits of the first four classes in targets; a value on a limit belongs to the lower class."""

CP3_HALF_WIDTH = 0.015
"""Half of the 3 cm window of CP3, metres."""


@dataclass(frozen=True)
class Classes:
    """Counts of spacings: multiples, singles, single skips, double skips, longer skips."""

    multiples: int
    singles: int
    skips1: int
    skips2: int
    skips3: int

    @property
    def spacings(self) -> int:
        """All spacings, the denominator of the first index form."""
        return self.multiples + self.singles + self.misses

    @property
    def misses(self) -> int:
        """Spacings above 1.5 targets; a long gap counts once."""
        return self.skips1 + self.skips2 + self.skips3

    @property
    def positions(self) -> int:
        """Intended seed positions, the denominator of the second index form."""
        return self.singles + 2 * self.skips1 + 3 * self.skips2 + 4 * self.skips3

    @property
    def missing(self) -> int:
        """Seeds missing at intended positions; a gap above 3.5 targets is booked as three."""
        return self.skips1 + 2 * self.skips2 + 3 * self.skips3


def spacings_of(positions: Sequence[float]) -> list[float]:
    """Return the spacings between tape positions. Raises MeasureError where a position does not rise."""
    for i in range(1, len(positions)):
        if positions[i] < positions[i - 1]:
            raise MeasureError(f"Position {i + 1} is smaller than the one before it.",
                               remedy="Read the tape from one end and give every position in order.")
    return [b - a for a, b in itertools.pairwise(positions)]


def checked(spacings: Sequence[float], target: float) -> None:
    """Refuse spacings that are none. Raises MeasureError: none, negative, not finite, target not above 0."""
    if not spacings:
        raise MeasureError("There are no spacings.", remedy="Give at least one.")
    if not (math.isfinite(target) and target > 0):
        raise MeasureError("The target spacing must be above zero.", remedy="Give the target or the rate.")
    if not all(math.isfinite(s) and s >= 0 for s in spacings):
        raise MeasureError("A spacing is negative or no number.", remedy="Correct or leave out that value.")


def classes(spacings: Sequence[float], target: float) -> Classes:
    """Return the five class counts. Raises MeasureError."""
    checked(spacings, target)
    n = [0, 0, 0, 0, 0]
    limits = [limit * target for limit in CLASS_LIMITS]
    # A value typed as exactly half the target must not fall over the limit by a rounding of the last bit.
    slack = 1e-9 * target
    for s in spacings:
        n[sum(s > limit + slack for limit in limits)] += 1
    return Classes(*n)


def singles(spacings: Sequence[float], target: float) -> list[float]:
    """Return the spacings from above 0.5 to 1.5 targets."""
    slack = 1e-9 * target
    return [s for s in spacings if 0.5 * target + slack < s <= 1.5 * target + slack]


def mean(values: Sequence[float]) -> float:
    """Return the mean of at least one value."""
    return math.fsum(values) / len(values)


def sd(values: Sequence[float]) -> float:
    """Return the sample standard deviation (n - 1); 0 for a single value."""
    if len(values) < 2:
        return 0.0
    m = mean(values)
    return math.sqrt(math.fsum((v - m) ** 2 for v in values) / (len(values) - 1))


def median(values: Sequence[float]) -> float:
    """Return the median of at least one value."""
    ordered, half = sorted(values), len(values) // 2
    return ordered[half] if len(values) % 2 else (ordered[half - 1] + ordered[half]) / 2


def _groups(spacings: Sequence[float], target: float) -> list[list[float]]:
    groups: list[list[float]] = [[], [], [], [], []]
    slack = 1e-9 * target
    for s in spacings:
        groups[sum(s > limit * target + slack for limit in CLASS_LIMITS)].append(s)
    return groups


def between_share(spacings: Sequence[float], target: float) -> float:
    """Return the share of the sum of squares that lies between the classes: skips and doubles.

    The rest lies within them: placement and drive. 0 when all spacings are equal.
    """
    overall = mean(spacings)
    total = math.fsum((s - overall) ** 2 for s in spacings)
    between = math.fsum(len(g) * (mean(g) - overall) ** 2 for g in _groups(spacings, target) if g)
    return min(1.0, between / total) if total > 0 else 0.0


def lag1(spacings: Sequence[float], target: float) -> tuple[float, int] | None:
    """Return the correlation of one single spacing with the next single one, and the number of such pairs.

    -0.5: pure placement scatter; 0: unrelated; above 0: slow drift of the drive. None with fewer than
    three pairs or no spread.
    """
    ones = singles(spacings, target)
    if len(ones) < 4:
        return None
    m, slack = mean(ones), 1e-9 * target
    dev = [s - m if 0.5 * target + slack < s <= 1.5 * target + slack else None for s in spacings]
    products = [a * b for a, b in itertools.pairwise(dev) if a is not None and b is not None]
    spread = math.fsum(d * d for d in dev if d is not None) / len(ones)
    if len(products) < 3 or spread <= (1e-12 * target) ** 2:
        return None
    return mean(products) / spread, len(products)


def placement_share(r1: float) -> float:
    """Return the share of the spread of singles that is placement, from their lag-1 correlation."""
    return min(1.0, max(0.0, -2 * r1))


def estimated_target(spacings: Sequence[float]) -> float:
    """Return a target estimated from the spacings: the fullest 0.1 class, refined by the median around it.

    A fault in the rate itself cannot show against it. Raises MeasureError when there is nothing to go by.
    """
    above = [s for s in spacings if s > 0]
    if len(above) < 5:
        raise MeasureError("Too few spacings to estimate the target.", remedy="Give the target or the rate.")
    width = 0.1 * median(above)
    heaps: dict[int, int] = {}
    for s in above:
        heaps[int(s / width)] = heaps.get(int(s / width), 0) + 1

    def weight(c: int) -> int:
        return heaps.get(c - 1, 0) + 2 * heaps.get(c, 0) + heaps.get(c + 1, 0)

    guess = (max(sorted(heaps), key=weight) + 0.5) * width
    return median(singles(above, guess) or above)


def population_factors(spacings: Sequence[float], target: float) -> tuple[float, float, float]:
    """Return population over target, split in drive factor and singulation factor (their product)."""
    ones = singles(spacings, target)
    population = target / mean(spacings)
    drive = target / median(ones) if ones else population
    return population, drive, population / drive


# ------------------------------------------------------------------------- what theory says to expect


def normal_scatter(cv: float, mean_over_target: float = 1.0) -> tuple[float, float, float]:
    """Return (multiples, quality of feed, misses) that normal scatter alone gives a perfect meter."""
    s = cv * mean_over_target
    if s <= 0:
        return 0.0, 1.0, 0.0
    low = normal_cdf((0.5 - mean_over_target) / s)
    high = normal_cdf((mean_over_target - 1.5) / s)
    return low, 1 - low - high, high


def emergence_sd(target: float, emergence: float) -> float:
    """Return the SD of plant spacing when perfectly dropped seed emerges with this share."""
    return target * math.sqrt(1 - emergence) / emergence


