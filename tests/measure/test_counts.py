"""Counts, stands, sensors, proof and cost."""

from __future__ import annotations

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.analyses.catalogue import Analysed, Reading, analyse
from diag.errors import MeasureError
from diag.measure import counting, economics, proof, stand
from diag.units import ACRE, FOOT, INCH

AC = ACRE
CORN = {"target_rate": 32000 / AC, "row_width": 30 * INCH}


def counted(**counts: tuple[int, int]) -> Reading:
    """Return a reading of labelled counts."""
    return Reading("counts", counts=counts)


# ------------------------------------------------------------------------------------------ counting


@given(st.integers(1, 400), st.data())
def test_intervals_hold_their_share(n: int, data: st.DataObject) -> None:
    """Intervals contain the seen share, lie within 0 to 1, and the exact one is never narrower at the ends."""
    k = data.draw(st.integers(0, n))
    low, high = counting.wilson(k, n)
    exact = counting.exact_interval(k, n)

    assert 0 <= low <= k / n <= high <= 1
    assert exact[0] <= k / n <= exact[1]
    assert 0.0 == counting.wilson(0, n)[0] == counting.exact_interval(0, n)[0]


@given(st.integers(0, 100), st.integers(1, 100), st.integers(0, 100), st.integers(1, 100))
def test_comparison_has_no_side(k1: int, n1: int, k2: int, n2: int) -> None:
    """Exchanging the two counts changes the sign of the difference and not its chance."""
    k1, k2 = min(k1, n1), min(k2, n2)

    assert counting.fisher(k1, n1, k2, n2) == pytest.approx(counting.fisher(k2, n2, k1, n1))
    assert counting.difference(k1, n1, k2, n2)[0] == pytest.approx(-counting.difference(k2, n2, k1, n1)[0])


@given(st.floats(0.001, 0.5), st.floats(0.01, 0.2))
def test_margin_needed_is_the_smallest(p: float, margin: float) -> None:
    """The count needed for a Wilson margin reaches it, and one less does not."""
    n = counting.needed_for_wilson_margin(p, margin)
    z = counting.normal_ppf(0.975)

    def half(m: int) -> float:
        return z * math.sqrt(p * (1 - p) / m + z * z / (4 * m * m)) / (1 + z * z / m)

    assert half(n) <= margin
    assert n == 1 or half(n - 1) > margin


def test_published_pairs_are_not_told_apart_by_one_test() -> None:
    """Misses 27 and 30 of 320 (published drive comparison): chance 0.68, no difference."""
    assert 0.677 == pytest.approx(counting.two_proportion(27, 320, 30, 320), abs=0.001)
    assert counting.fisher(27, 320, 30, 320) > 0.5


def test_holm_guards_many_rows() -> None:
    """Of twenty equal rows the smallest chance of 0.02 does not stand; 0.001 does."""
    rest = [0.3 + 0.03 * i for i in range(19)]

    assert not any(counting.holm([0.02, *rest]))
    assert [True, *[False] * 19] == counting.holm([0.001, *rest])
    assert 0.64 == pytest.approx(counting.of_many(0.05, 20), abs=0.01)


@pytest.mark.parametrize(("k", "n"), [(5, 3), (-1, 3), (0, 0)])
def test_no_share_without_a_count(k: int, n: int) -> None:
    """k beyond n, negative k, and none looked at are refused."""
    for function in (counting.wilson, counting.exact_interval, counting.share_error):
        with pytest.raises(MeasureError):
            function(k, n)


# -------------------------------------------------------------------------------------------- counts


def test_speed_and_step_are_told_from_accident() -> None:
    """14 against 4 bad of 100 is a gain of slowing down; 5 against 4 is not, and says how many more."""
    better = analyse("speed_compare", counted(slow=(4, 100), normal=(14, 100)), {})
    same = analyse("speed_compare", counted(slow=(4, 100), normal=(7, 100)), {})

    assert "Better slow" in better.words
    assert "no difference" in same.words
    assert same.needed is not None


def test_step_names_what_moved() -> None:
    """Skips fall, doubles stay."""
    found = analyse("step_test", counted(skips_before=(20, 300), skips_after=(5, 300), doubles_before=(3, 300),
                                         doubles_after=(4, 300)), {})

    assert found.words.startswith("Skips down")
    assert "doubles unchanged" in found.words


@pytest.mark.parametrize(("bad", "place", "clear"), [
    ((30, 12, 6, 9, 20), "inside", True), ((6, 12, 20, 30), "first", True), ((30, 20, 12, 6), "last", True),
    ((10, 9, 11, 10), "inside", False),
])
def test_sweep_finds_the_low_point(bad: tuple[int, ...], place: str, clear: bool) -> None:
    """The best of several settings lies inside or at an end, or there is no clear one."""
    reading = Reading("counts", counts={str(14 + 2 * i): (k, 300) for i, k in enumerate(bad)})
    found = analyse("sweep", reading, {})

    assert place == found.word("place")
    assert clear == (found.number("chance") <= 0.05)


@pytest.mark.parametrize(("screen", "told"), [(300, "reads right"), (285, "reads low"), (318, "reads high")])
def test_sensor_against_hand(screen: int, told: str) -> None:
    """A screen within counting error of 300 seeds reads right, beyond it low or high."""
    assert told in analyse("sensor_compare", Reading("count", k=screen, n=300), {}).words


def test_few_seeds_judge_no_sensor() -> None:
    """Fifty seeds are too few, and the answer says how many more."""
    found = analyse("sensor_compare", Reading("count", k=48, n=50), {})

    assert (False, 250) == (found.enough, found.needed)


def test_worst_of_many_rows_gets_a_wider_band() -> None:
    """The worst row of 24 is judged by a wider band than a row chosen beforehand."""
    alone, picked = (analyse("share", Reading("count", k=6, n=100), c) for c in ({}, {"rows_looked_at": 24.0}))

    assert picked.number("lower") < alone.number("lower")
    assert picked.number("upper") > alone.number("upper")


# --------------------------------------------------------------------------------------------- stand


@given(st.integers(1, 60), st.floats(0.3, 1.2))
def test_thousandth_acre_count_is_thousands_per_acre(count: int, width: float) -> None:
    """A count in 1/1000 acre of row times a thousand is the rate per acre, at any row width."""
    found = analyse("stand_count", Reading("count", k=count), {"row_width": width})

    assert count * 1000 == pytest.approx(found.number("rate") * AC)


def test_metric_thousandth() -> None:
    """1/1000 hectare at 0.75 m rows is 13.33 m."""
    found = analyse("stand_count", Reading("count", k=80), {"row_width": 0.75, "per": "hectare"})

    assert 80_000 == pytest.approx(found.number("rate") * 10_000)


def test_equal_rows_are_seldom_called_apart() -> None:
    """Among 24 equal rows chance makes at least one stand out in about one test in twenty, not in most."""
    rng = random.Random(6)
    called = 0
    for _ in range(200):
        rows = {r: float(sum(rng.random() > 0.05 for _ in range(100)) + rng.choice((-1, 0, 0, 1)) / 2)
                for r in range(1, 25)}
        called += bool(stand.compare_rows(rows).apart)

    assert called / 200 < 0.09


def test_a_poor_row_is_named() -> None:
    """One row at 24 among rows of 31 is named; its pattern follows the limits given."""
    reading = Reading("numbers", (32.0, 31.0, 30.0, 33.0, 24.0, 32.0), (1, 2, 3, 4, 5, 6))
    found = analyse("stand_count", reading, CORN | {"row_low_ratio": 0.9})

    assert "Row 5 differs" in found.words
    assert "one_low" == found.word("rows_pattern")


def test_bags_against_acres() -> None:
    """Ten units of 32,000 on nine acres are 11 % more than wanted."""
    found = analyse("seed_use", Reading("numbers", (320_000.0, 9 * AC), labels=("used", "area")), CORN)

    assert 10 / 9 == pytest.approx(found.number("to_target"))
    assert "11 % more" in found.words


def test_unequal_places_are_refused() -> None:
    """Rows counted at unequal numbers of places cannot be compared."""
    with pytest.raises(MeasureError, match="unequal"):
        analyse("stand_count", Reading("numbers", (30.0, 31.0, 29.0), (1, 1, 2)), CORN)


# --------------------------------------------------------------------------------------------- proof


@given(st.floats(0.002, 0.04), st.floats(2.5, 8.0))
def test_plan_keeps_its_risks(good: float, times: float) -> None:
    """A plan never exceeds the risks it was asked for."""
    p = proof.plan(good, min(0.9, good * times))

    assert p.maker <= 0.05 + 1e-9
    assert p.user <= 0.05 + 1e-9


def test_plan_in_use_accepts_and_refuses_as_promised() -> None:
    """Simulated repairs: good ones pass and bad ones fail at the promised rates."""
    p, rng = proof.plan(0.01, 0.04), random.Random(9)

    def passed(share: float) -> float:
        return sum(sum(rng.random() < share for _ in range(p.n)) <= p.accept for _ in range(400)) / 400

    assert passed(0.01) > 0.92
    assert passed(0.04) < 0.09


def test_sequential_test_stops_early_and_keeps_its_risks() -> None:
    """Stopping early needs fewer seeds than the fixed plan on average, at about the same risks."""
    rng, fixed = random.Random(5), proof.plan(0.01, 0.05)

    def run(share: float) -> tuple[str, int]:
        k = 0
        for n in range(1, 3000):
            k += rng.random() < share
            state = proof.sequential(k, n, 0.01, 0.05)
            if state.verdict != "go_on":
                return state.verdict, n
        return "go_on", 3000

    good, bad = [run(0.01) for _ in range(200)], [run(0.05) for _ in range(200)]

    assert sum(v != "accepted" for v, _ in good) / 200 < 0.09
    assert sum(v != "not_accepted" for v, _ in bad) / 200 < 0.09
    assert sum(n for _, n in good + bad) / 400 < fixed.n


def test_least_more_ends_a_faultless_test() -> None:
    """The seeds said to be missing end the test when all are good, and one fewer does not."""
    state = proof.sequential(1, 60, 0.01, 0.05)

    assert "go_on" == state.verdict
    assert "accepted" == proof.sequential(1, 60 + state.least_more, 0.01, 0.05).verdict
    assert "go_on" == proof.sequential(1, 59 + state.least_more, 0.01, 0.05).verdict


def test_three_steps_grow_in_seeds_and_minutes() -> None:
    """Good enough to roll, for the file, for a claim: each takes more and shows more."""
    roll, file, claim = proof.steps(0.02, 0.166)

    assert (29, 88, 227) == (roll.plan.n, file.plan.n, claim.plan.n)
    assert roll.minutes < file.minutes < claim.minutes < 45
    assert 16 < roll.length / FOOT < 17 or 15 < roll.length / FOOT < 16
    assert "still passes once in" in claim.cannot_show


def test_what_a_count_shows_is_said_in_words() -> None:
    """2 of 100: 0.2 to 7 %, and less than 3 % cannot be told from none."""
    assert "0.24 and 7 %" in proof.shown_by(2, 100)
    assert "so much better by accident" in proof.repaired((15, 300), (3, 300))[1]
    assert "no improvement" in proof.repaired((3, 300), (4, 300))[1]


@pytest.mark.parametrize("bad", [(0.04, 0.01), (0.01, 0.01), (0.01, 1.0)])
def test_senseless_shares_are_refused(bad: tuple[float, float]) -> None:
    """The good share must lie below the bad one."""
    with pytest.raises(MeasureError):
        proof.plan(*bad)
    with pytest.raises(MeasureError):
        proof.sequential(0, 10, *bad)


def test_few_seeds_can_refuse_nothing() -> None:
    """Ten seeds cannot refuse 5 %: there is no plan of that size."""
    assert proof.fixed(10, 0.01, 0.05) is None
    assert (1, 0) == ((proof.fixed(100, 0.01, 0.05) or proof.plan(0.01, 0.05)).accept, 0)


# ---------------------------------------------------------------------------------------------- cost


def bushels(v: float) -> float:
    """Return kg/m2 as bushels of corn per acre."""
    return v / economics.BU_PER_AC


@given(st.floats(0, 0.3))
def test_spacing_cost_is_a_range_from_nothing(spread: float) -> None:
    """Whatever the scatter, the lowest published cost is none and the rule of thumb lies between."""
    found = economics.spacing_cost(spread)

    assert 0.0 == found.low <= found.usual <= found.high


@given(st.floats(0, 0.2), st.floats(0, 0.2), st.floats(3, 9))
def test_doubles_never_cost_yield_in_the_model(skips: float, doubles: float, stand_: float) -> None:
    """Skips cost, doubles give back: the net lies below the cost of skips alone."""
    found = economics.skip_cost(skips, doubles, stand_, 1.3)

    assert found.usual <= found.high + 1e-12


def test_cost_names_its_disagreement() -> None:
    """The range says why it is one, and the steepest slope is the published 4 bu/ac per inch."""
    found = economics.spacing_cost(4.5 * INCH)

    assert [0.0, 6.25, 10.0] == pytest.approx([bushels(v) for v in (found.low, found.usual, found.high)])
    assert "found little" in found.why


def test_late_plants_cost_more_than_spacing() -> None:
    """Published losses by lateness, lowest and highest, and a clear refusal elsewhere."""
    assert (0.04, 0.17) == economics.late_cost("two leaves")
    with pytest.raises(MeasureError, match="3 weeks"):
        economics.late_cost("a month")


def test_result_access(tmp_path: object) -> None:
    """A word is no number."""
    found: Analysed = analyse("share", Reading("count", k=1, n=10), {})
    pattern = analyse("sweep", counted(a=(1, 50), b=(2, 50), c=(3, 50)), {})

    assert 0.1 == found.number("share")
    with pytest.raises(TypeError):
        pattern.number("place")


# --------------------------------------------------------------------------- what cannot be, rows of anything


def test_negative_slip_is_refused_aloud() -> None:
    """44 loaded turns for 40 free ones cannot be; 40.2 for 40 is only how counts are read."""
    wrong = analyse("slip", Reading("numbers", (44.4, 40.0), labels=("loaded", "free")), {})
    close = analyse("slip", Reading("numbers", (40.2, 40.0), labels=("loaded", "free")), {})
    assert not wrong.enough
    assert "cannot be" in wrong.reason
    assert close.enough


def test_impossible_and_large_losses_are_said() -> None:
    """More volts at the load than at the source are refused; half of them lost is said, two percent is not."""
    wrong, large, fine = (analyse("voltage_drop", Reading("numbers", pair, labels=("source", "load")), {})
                          for pair in ((12.0, 12.8), (13.4, 6.7), (13.4, 13.1)))
    assert (False, True, True) == (wrong.enough, large.enough, fine.enough)
    assert "exchanged" in wrong.reason
    assert any("50 % of the voltage is lost" in note for note in large.notes)
    assert () == fine.notes


ROWS = [
    ("torque", (2.0, 2.1, 2.0, 4.6, 2.0), {"row_high_ratio": 2.0, "row_low_ratio": 0.5}, "Row 4 high"),
    ("current", (2.0, 2.1, 3.4, 0.0, 1.9), {"row_high_ratio": 1.5, "row_low_ratio": 0.7}, "row 4 reads nothing"),
    ("voltage", (12.9, 12.8, 12.1, 12.9), {"row_low_below_median": 0.5, "row_high_above_median": 0.5},
     "Row 3 low (12.1 V"),
    ("current", (2.0, 2.1, 2.0, 2.2, 1.9), {"row_high_ratio": 1.5, "row_low_ratio": 0.7}, "Even: no row of 5"),
]


@pytest.mark.parametrize(("quantity", "values", "limits", "words"), ROWS)
def test_rows_of_any_quantity(quantity: str, values: tuple[float, ...], limits: dict[str, float], words: str) -> None:
    """Every odd row is named with its reading in the quantity's own unit."""
    found = analyse("row_compare", Reading("numbers", values), {"quantity": quantity, **limits})
    assert words in found.words


def test_rows_are_held_against_their_own_healthy_values() -> None:
    """A row that always drew twice as much is not odd; the one that rose is."""
    context = {"quantity": "current", "row_high_ratio": 1.3, "row_low_ratio": 0.7,
               "healthy_rows": {1: 2.0, 2: 4.0, 3: 2.0, 4: 2.0}}
    found = analyse("row_compare", Reading("numbers", (2.0, 4.1, 2.0, 3.0)), context)
    assert ("one_high", 4.0) == (found.word("pattern"), found.number("highest_row"))
