"""What uneven spacing, skips, doubles and lateness cost, always as a range: studies disagree. Corn only.

Yields in kg/m2, lengths in m, rates in plants or seeds per m2, shares 0 to 1. Nothing is promised.
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.errors import MeasureError
from diag.units import ACRE, INCH, UNITS

BU_PER_AC = UNITS["bu/ac"].factor
"""One corn bushel (56 lb) per acre in kg/m2."""

SPACING_FLOOR = 2.0 * INCH
"""SD of plant spacing (m) below which no rule sees a loss."""


@dataclass(frozen=True)
class SpacingRule:
    """One published slope: loss per inch of plant-spacing SD above 2.0 in, bu/ac."""

    per_inch: float
    source: str


SPACING_RULES = (
    SpacingRule(0.0, "Liu et al. 2004, Ontario: no effect; Lauer & Rankin 2004, Wisconsin: rarely any"),
    SpacingRule(2.2, "Purdue, effect of plant spacing variability, 2004, one site-year"),
    SpacingRule(2.5, "Purdue AGRY-91-01, as quoted by University of Wisconsin, corn stand uniformity 2000"),
    SpacingRule(4.0, "Carlson, Doerge & Clay, SSMG-37"),
)
"""From the lowest to the highest; the studies do not agree."""


@dataclass(frozen=True)
class Range:
    """A cost from `low` to `high` (kg/m2) with the usual rule of thumb between, and why it is a range."""

    low: float
    usual: float
    high: float
    why: str


def spacing_loss(spacing_sd: float, per_inch: float) -> float:
    """Return the loss (kg/m2) of one rule for a plant-spacing SD (m)."""
    return max(0.0, spacing_sd - SPACING_FLOOR) / INCH * per_inch * BU_PER_AC


def spacing_cost(spacing_sd: float) -> Range:
    """Return what the published rules make of a plant-spacing SD (m), from nothing to the steepest slope."""
    slopes = [rule.per_inch for rule in SPACING_RULES]
    low, usual, high = (spacing_loss(spacing_sd, slope) for slope in (min(slopes), 2.5, max(slopes)))
    return Range(low, usual, high, "Studies that held the plant number found little; surveys that did not "
                                   "found 2 to 4 bu/ac per inch.")


_LOW_STAND, _HIGH_STAND = 18_000 / ACRE, 30_000 / ACRE


def compensation(stand: float) -> tuple[float, float]:
    """Return (share of a lost plant that its two neighbours make up, net gain of a double in plants).

    Nafziger 1996, J. Prod. Agric. 9(2), at 18,000 and 30,000 plants/ac, two neighbours affected; straight
    line between, held outside. `stand` in plants per m2.
    """
    t = min(1.0, max(0.0, (stand - _LOW_STAND) / (_HIGH_STAND - _LOW_STAND)))
    made_up = 0.47 + t * (0.19 - 0.47)
    low_double, high_double = 0.81 - 2 * 0.02, 0.67 - 2 * 0.12
    return made_up, low_double + t * (high_double - low_double)


def skip_loss(skips: float, doubles: float, stand: float) -> float:
    """Return the yield loss share of skip share and double share at a stand (plants per m2); may be below 0.

    Do not add a rule for SD: that would count the same skips twice. Raises MeasureError.
    """
    if not (0 <= skips <= 1 and 0 <= doubles <= 1):
        raise MeasureError("Skips and doubles are shares from 0 to 1.", remedy="Give them in percent.")
    made_up, gain = compensation(stand)
    return skips * (1 - made_up) - doubles * gain


def missing_loss(gone: float, doubles: float, stand: float) -> tuple[float, float]:
    """Return the lowest and highest yield loss share where a share `gone` of the places holds no plant.

    High: a place without a plant loses its plant's share, in full. Low: its two neighbours make up for it as far as
    they are there themselves, and doubles give what they gave in the study; so an empty row is lost in full either
    way. Stand in plants per m2. Raises MeasureError.
    """
    if not (0 <= gone <= 1 and 0 <= doubles <= 1):
        raise MeasureError("Skips and doubles are shares from 0 to 1.", remedy="Give them in percent.")
    made_up, gain = compensation(stand)
    return gone * (1 - made_up * (1 - gone)) - doubles * gain, gone


def skip_cost(skips: float, doubles: float, stand: float, crop_yield: float) -> Range:
    """Return the cost (kg/m2) of skips and doubles: with neighbours and doubles making up for it, and without."""
    low, high = missing_loss(skips, doubles, stand)
    alone = skip_loss(skips, 0.0, stand)
    return Range(low * crop_yield, alone * crop_yield, high * crop_yield,
                 "High: each missing plant in full. Low: its neighbours and the doubles make up what they did in one "
                 "study. Studies without any loss held the number of plants, so they do not speak of missing ones.")


def seed_wasted(doubles: float, rate: float) -> float:
    """Return the seeds per m2 that doubles cost."""
    return doubles * rate


@dataclass(frozen=True)
class LateRow:
    """One published figure on late emergence: `late` share of plants, `by` what, loss share from-to."""

    late: float
    by: str
    low: float
    high: float
    source: str


_ILLINOIS = "Nafziger et al. 1991 and Carter et al. 1989, as reported by Illinois"
LATE = (
    LateRow(1 / 6, "two leaves", 0.04, 0.04, "Liu et al. 2004, Crop Sci. 44:847-854"),
    LateRow(1 / 6, "four leaves", 0.08, 0.08, "Liu et al. 2004, Crop Sci. 44:847-854"),
    LateRow(0.5, "one leaf", 0.06, 0.06, "University of Minnesota, as quoted in the farm press"),
    LateRow(0.5, "two leaves", 0.17, 0.17, "University of Minnesota, as quoted in the farm press"),
    LateRow(0.5, "1.5 weeks", 0.06, 0.09, _ILLINOIS),
    LateRow(0.25, "3 weeks", 0.10, 0.10, _ILLINOIS),
    LateRow(0.625, "3 weeks", 0.20, 0.22, _ILLINOIS),
)
"""Late plants cost more than uneven spacing. Neighbours do not make up for them."""


def late_cost(by: str) -> tuple[float, float]:
    """Return the lowest and highest published loss share for plants late by `by`. Raises MeasureError."""
    found = [row for row in LATE if row.by == by]
    if not found:
        raise MeasureError(f'No study for plants late by "{by}".',
                           remedy=f"Known: {', '.join(dict.fromkeys(r.by for r in LATE))}.")
    return min(r.low for r in found), max(r.high for r in found)
