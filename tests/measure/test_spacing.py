"""Spacing: indices, sum rule, population split, placement share and the verdict on a run."""

from __future__ import annotations

import itertools
import math
import random

import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from measure.simulated_meter import Meter

from diag.analyses.catalogue import Analysed, Reading, analyse
from diag.errors import MeasureError
from diag.measure import spacing as sp
from diag.measure.passes import account

RUNS = st.lists(st.floats(0.01, 6.0), min_size=8, max_size=60)


def judged(run: list[float], target: float | None = 1.0, **more: float) -> Analysed:
    """Return the analysis of a run against a target."""
    context = ({"target_spacing": target} if target else {}) | more
    return analyse("spacing", Reading("spacings", tuple(run)), context)


def test_values_on_a_limit_belong_to_the_lower_class() -> None:
    """Exactly half a target is a multiple, exactly one and a half is single, whatever the unit."""
    for unit in (1.0, 0.0254, 25.4, 1 / 3):
        assert sp.Classes(1, 1, 1, 1, 0) == sp.classes([0.5 * unit, 1.5 * unit, 2.5 * unit, 3.5 * unit], unit)


@given(RUNS, st.floats(0.001, 1000))
def test_unit_does_not_matter(run: list[float], unit: float) -> None:
    """Turning all lengths into another unit changes no count and no share."""
    assume(all(abs(s / limit - 1) > 1e-6 for s in run for limit in sp.CLASS_LIMITS))
    scaled = [s * unit for s in run]

    assert sp.classes(run, 1.0) == sp.classes(scaled, unit)
    assert sp.between_share(run, 1.0) == pytest.approx(sp.between_share(scaled, unit), abs=1e-9)


@given(RUNS, st.randoms(use_true_random=False))
def test_order_does_not_matter_for_indices(run: list[float], rng: random.Random) -> None:
    """Indices, mean and spread do not depend on the order of the spacings."""
    other = list(run)
    rng.shuffle(other)

    assert sp.classes(run, 1.0) == sp.classes(other, 1.0)
    assert sp.sd(run) == pytest.approx(sp.sd(other))


@given(RUNS, RUNS)
def test_counts_add_up_over_two_runs(first: list[float], second: list[float]) -> None:
    """Counting two runs together gives the sum of their counts."""
    a, b, both = (sp.classes(r, 1.0) for r in (first, second, first + second))

    assert both == sp.Classes(*(x + y for x, y in zip(vars(a).values(), vars(b).values(), strict=True)))


@given(RUNS)
def test_index_forms_keep_their_identities(run: list[float]) -> None:
    """Over spacings the three indices make one; over positions singles, multiples and missing make all."""
    c = sp.classes(run, 1.0)

    assert c.spacings == c.multiples + c.singles + c.misses
    assert c.positions == (c.spacings - 2 * c.multiples) + c.multiples + c.missing


@given(st.integers(2, 30), st.integers(0, 40), st.floats(0.02, 0.5))
def test_a_displaced_seed_is_neither_double_nor_skip(before: int, after: int, late: float) -> None:
    """One seed late by more than half a target: one pair out of place, nothing extra, nothing missing."""
    run = [1.0] * before + [2.0 - late, late] + [1.0] * after
    rule = account(run, 1.0)

    assert (1, 0, 0) == (rule.displaced, rule.doubles, rule.skips)


@given(st.integers(1, 20), st.floats(0.02, 0.4))
def test_an_extra_seed_is_a_double(before: int, close: float) -> None:
    """Two seeds where one belongs make one true double."""
    run = [1.0] * before + [close, 1.0 - close] + [1.0] * 5
    rule = account(run, 1.0)

    assert (0, 1, 0) == (rule.displaced, rule.doubles, rule.skips)


def test_simulated_rates_come_back() -> None:
    """Skip share 5 % and double share 3 % give the indices that theory gives, within sampling."""
    run = Meter(skip=0.05, double=0.03, jitter=0.02).spacings(2000, seed=5)
    c = sp.classes(run, 1.0)

    seeds = 1 - 0.05 + 0.03
    assert 1 / seeds == pytest.approx(sp.mean(run), abs=0.005)
    assert [0.03 / seeds, 0.95**2 / seeds, 0.05 * 0.95 / seeds] == pytest.approx(
        [c.multiples / c.spacings, c.singles / c.spacings, c.misses / c.spacings], abs=0.004)


@pytest.mark.parametrize(("jitter", "drift", "share"), [(0.08, 0.0, 1.0), (0.0, 0.08, 0.0)])
def test_lag1_tells_placement_from_interval_noise(jitter: float, drift: float, share: float) -> None:
    """Jitter of position is placement; independent noise of the interval is not."""
    rng = random.Random(4)
    places, at = [], 0.0
    for _ in range(4000):
        at += 1 + rng.gauss(0, drift)
        places.append(at + rng.gauss(0, jitter))
    run = [b - a for a, b in itertools.pairwise(places)]

    assert share == pytest.approx(judged(run).number("placement_share"), abs=0.06)


def test_population_splits_into_drive_and_singulation() -> None:
    """Five per cent too wide and two per cent skipped: each factor shows its own part."""
    run = Meter(skip=0.02, jitter=0.03, stretch=1.05).spacings(200, seed=8)
    found = judged(run)

    assert 1 / 1.05 == pytest.approx(found.number("drive_factor"), abs=0.004)
    assert 0.98 == pytest.approx(found.number("singulation_factor"), abs=0.006)
    assert found.number("population_factor") == pytest.approx(
        found.number("drive_factor") * found.number("singulation_factor"))


def test_setting_and_estimate_each_carry_their_warning() -> None:
    """Against the setting a wide drive is named; an estimated target says that a rate fault cannot show."""
    run = Meter(jitter=0.05, stretch=1.15).spacings(10, seed=1)

    assert any("wider than the target" in n for n in judged(run).notes)
    blind = judged(run, None)
    assert "estimated" == blind.word("target_source")
    assert any("cannot show" in n for n in blind.notes)
    assert 1.15 == pytest.approx(blind.number("target"), rel=0.02)


def test_rate_and_row_width_give_the_target() -> None:
    """32,000 seeds/ac in 30 inch rows is 6.534 in."""
    found = analyse("spacing", Reading("spacings", (0.166,) * 30), {"target_rate": 32000 / 4046.8564224,
                                                                    "row_width": 0.762})

    assert "rate" == found.word("target_source")
    assert 0.16596 == pytest.approx(found.number("target"), abs=1e-5)


VERDICTS = [
    (Meter(jitter=0.06), "Even"),
    (Meter(jitter=0.06, skip=0.08), "Gaps:"),
    (Meter(jitter=0.06, double=0.08), "Close pairs"),
    (Meter(jitter=0.06, late={3: 0.7, 19: 0.7, 31: 0.7}), "out of place"),
    (Meter(jitter=0.06, skip=0.08, double=0.08), "Gaps and close pairs"),
    (Meter(jitter=0.30), "scatter"),
]


@pytest.mark.parametrize(("meter", "told"), VERDICTS, ids=[v for _, v in VERDICTS])
def test_verdict_names_what_stands_out(meter: Meter, told: str) -> None:
    """The sentence for the desk says gaps, pairs, displaced seeds or scatter, whichever was put in."""
    assert told in judged(meter.spacings(10, seed=11)).words


def test_scatter_alone_is_not_called_gaps() -> None:
    """A perfect meter whose seeds scatter 25 % shows gaps and pairs that the verdict does not blame."""
    rng = random.Random(3)
    run = [max(0.01, rng.gauss(1, 0.25)) for _ in range(400)]

    assert judged(run).number("misses") > 0.01
    assert judged(run).words.startswith("Even")


@pytest.mark.parametrize("count", [5, 19])
def test_few_spacings_say_how_many_more(count: int) -> None:
    """Under twenty spacings there is no verdict, but the number that is missing."""
    found = judged([1.0] * count)

    assert not found.enough
    assert 20 - count == found.needed
    assert str(count) in found.reason


def test_how_many_more_to_decide_about_a_limit() -> None:
    """4 gaps of 40 cannot be told from 5 %; far more gaps can, and then nothing more is needed."""
    doubtful = judged([1.0] * 36 + [2.0] * 4, miss_limit=0.05)
    clear = judged([1.0] * 60 + [2.0] * 20, miss_limit=0.05)

    assert doubtful.needed is not None
    assert 0 < doubtful.needed < 200
    assert clear.needed is None


def test_plants_carry_the_emergence_floor() -> None:
    """Measured plants show at least the spread of the seeds that did not come up."""
    found = judged([1.0] * 30, plants=1.0, emergence=0.95)

    assert math.sqrt(0.05) == pytest.approx(found.number("emergence_floor"))
    assert any("did not come up" in n for n in found.notes)


def test_positions_and_spacings_are_the_same_run() -> None:
    """Tape positions give what their differences give."""
    run = Meter(jitter=0.1, skip=0.05).spacings(5, seed=2)
    places = [0.0]
    for s in run:
        places.append(places[-1] + s)
    by_tape = analyse("spacing", Reading("positions", tuple(places)), {"target_spacing": 1.0})

    assert judged(run).words == by_tape.words


@pytest.mark.parametrize("numbers", [(0.0, 1.0, 0.5), (0.0, float("nan")), (0.0, float("inf"))])
def test_bad_positions_are_refused(numbers: tuple[float, ...]) -> None:
    """Positions must rise and be numbers."""
    with pytest.raises(MeasureError):
        analyse("spacing", Reading("positions", numbers), {"target_spacing": 1.0})


@pytest.mark.parametrize(("run", "target"), [([1.0, -1.0] * 5, 1.0), ([1.0] * 9, 0.0), ([1.0] * 9, -2.0)])
def test_bad_spacings_are_refused(run: list[float], target: float) -> None:
    """Negative spacings and a target that is none are refused with a remedy."""
    with pytest.raises(MeasureError) as caught:
        judged(run, target or None, **({"target_spacing": target} if target <= 0 else {}))

    assert caught.value.remedy


def test_equal_spacings_have_no_spread() -> None:
    """A perfectly even run divides nothing by zero."""
    found = judged([1.0] * 40)

    assert 0.0 == found.number("cv_whole") == found.number("between_share")
    assert "lag1" not in found.results


@given(st.lists(st.floats(0, 100), min_size=5, max_size=40), st.booleans())
def test_any_run_is_analysed_or_refused(run: list[float], known: bool) -> None:
    """Whatever the spacings, the result is an outcome or a MeasureError, and shares stay between 0 and 1."""
    try:
        found = judged(run, 1.0 if known else None)
    except MeasureError:
        return
    for r in found.results.values():
        if r.n:
            assert 0 <= r.k <= r.n


def test_tally_gives_the_shares_of_a_dictated_run() -> None:
    """Good, close and gap called out give the same indices as measured spacings."""
    found = analyse("spacing_tally", Reading("counts", counts={"good": (44, 50), "close": (2, 50), "gap": (4, 50)}), {})

    assert [0.88, 0.04, 0.08, 0.12] == pytest.approx(
        [found.number(n) for n in ("quality_of_feed", "multiples", "misses", "faults")])
    assert not analyse("spacing_tally", Reading("counts", counts={}), {}).enough
