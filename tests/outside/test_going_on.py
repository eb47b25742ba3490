"""What going on costs, against published tables and examples.

Sources as read for the project: Nafziger 1996, J. Prod. Agric. 9(2) (single skips and doubles, 18,000 and 30,000
plants an acre); Purdue AGRY-91-01 as quoted by University of Wisconsin; Purdue, effect of plant spacing variability,
2004; Carlson, Doerge & Clay, SSMG-37; Lauer & Rankin 2004; Liu et al. 2004, Ontario; Novak & Ransom 2018, North
Dakota (ear weight beside a gap). Lines marked derived follow from those figures by arithmetic.
"""

from __future__ import annotations

import pytest

from diag.measure.economics import (
    BU_PER_AC,
    SPACING_RULES,
    compensation,
    missing_loss,
    skip_cost,
    skip_loss,
    spacing_cost,
    spacing_loss,
)
from diag.units import ACRE, INCH

OUNCES_PER_BUSHEL = 16 * 56
NAFZIGER = [(18_000, 8.40, 169, 0.47, 0.77), (30_000, 6.32, 211, 0.19, 0.43)]


@pytest.mark.parametrize(("stand", "ounces", "bushels", "made_up", "gain"), NAFZIGER, ids=["18,000", "30,000"])
def test_single_skips_and_doubles(stand: int, ounces: float, bushels: float, made_up: float, gain: float) -> None:
    """Nafziger 1996: yield from grain a plant; what neighbours make up; a double's gain with its neighbours' loss."""
    assert pytest.approx(bushels, abs=0.7) == stand * ounces / OUNCES_PER_BUSHEL
    assert (pytest.approx(made_up), pytest.approx(gain)) == compensation(stand / ACRE)


def test_three_percent_skips_two_percent_doubles() -> None:
    """Derived from Nafziger 1996: 1.570 % or 3.313 bu/ac at 211; the skips alone 2.430 % or 5.127."""
    stand = 30_000 / ACRE
    assert pytest.approx(0.01570, abs=5e-5) == skip_loss(0.03, 0.02, stand)
    assert pytest.approx(3.313, abs=0.005) == skip_loss(0.03, 0.02, stand) * 211
    assert (pytest.approx(0.0243), pytest.approx(5.127, abs=0.005)) == (
        skip_loss(0.03, 0, stand), skip_loss(0.03, 0, stand) * 211)


@pytest.mark.parametrize(("holes", "share"), [(24, 4.167), (30, 3.333), (40, 2.5), (60, 1.667), (72, 1.389)])
def test_a_dead_hole_costs_its_share_at_most(holes: int, share: float) -> None:
    """Derived: one dead hole of H loses 1/H of the places; the high end of the range is just that."""
    low, high = missing_loss(1 / holes, 0, 30_000 / ACRE)
    assert pytest.approx(share, abs=0.001) == high * 100
    assert 0.81 * high <= low < high


def test_an_empty_row_is_lost_in_full() -> None:
    """Derived: where every place is empty no neighbour is left to make up for it: one row of twelve is 8.33 %."""
    for stand in (18_000, 30_000, 36_000):
        assert (1.0, 1.0) == missing_loss(1.0, 0.0, stand / ACRE)
    cost = skip_cost(1.0, 0.0, 30_000 / ACRE, 180 * BU_PER_AC)
    assert pytest.approx(15.0) == cost.low / BU_PER_AC / 12


def test_a_few_skips_agree_with_the_study_of_single_ones() -> None:
    """With few places empty the low end is Nafziger's own figure: both neighbours are there."""
    assert pytest.approx(skip_loss(0.01, 0.005, 30_000 / ACRE), rel=0.01) == missing_loss(0.01, 0.005, 30_000 / ACRE)[0]


def test_what_neighbours_make_up_fits_another_state() -> None:
    """Novak & Ransom 2018: an ear beside a gap weighed 11 % more; two such neighbours lie between Nafziger's stands."""
    assert compensation(30_000 / ACRE)[0] <= 2 * 0.11 <= compensation(18_000 / ACRE)[0]


@pytest.mark.parametrize(("per_inch", "bushels"), [(0.0, 0.0), (2.2, 5.5), (2.5, 6.25), (4.0, 10.0)])
def test_spacing_rules_at_the_mean_of_354_fields(per_inch: float, bushels: float) -> None:
    """Purdue's survey mean of 4.5 in: 0 by Liu and Lauer & Rankin, 5.5 and 6.25 by Purdue, 10 by SSMG-37."""
    assert pytest.approx(bushels, abs=0.01) == spacing_loss(4.5 * INCH, per_inch) / BU_PER_AC
    assert per_inch in {r.per_inch for r in SPACING_RULES}


@pytest.mark.parametrize("spread", [0.067, 0.10, 0.162])
def test_the_low_end_is_the_study_without_an_effect(spread: float) -> None:
    """Liu et al. 2004, Ontario: from 6.7 to 16.2 cm no significant effect, so the range begins at nothing."""
    assert 0.0 == spacing_cost(spread).low


def test_slope_in_metric() -> None:
    """Derived: 2.5 bu/ac per inch are 61.78 kg/ha per cm."""
    assert pytest.approx(61.78, abs=0.02) == spacing_loss(2 * INCH + 0.01, 2.5) * 10_000
