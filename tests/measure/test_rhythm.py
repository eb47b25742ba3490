"""Rhythm: a simulated meter with an injected fault must be found, and nothing where there is none."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from measure.simulated_meter import Meter

from diag.analyses.catalogue import Analysed, Reading, analyse
from diag.errors import MeasureError
from diag.measure import rhythm as rh

NOISE = {"skip": 0.01, "double": 0.01, "jitter": 0.0765}
"""1 % random skips and doubles, scatter 0.5 in at 6.534 in."""

FAULTS = {
    "plugged": Meter(plugged=frozenset([7]), **NOISE),
    "late": Meter(late={7: 0.35}, **NOISE),
    "double": Meter(doubling=frozenset([7]), **NOISE),
}


def heard(meter: Meter, turns: float, seed: int, **context: float) -> Analysed:
    """Return the rhythm analysis of a simulated run."""
    given_ = {"target_spacing": 1.0, "holes": float(meter.holes)} | context
    return analyse("rhythm", Reading("spacings", tuple(meter.spacings(turns, seed))), given_)


@pytest.mark.parametrize(("turns", "rate"), [(3, 0.38), (5, 0.64), (6, 0.70), (10, 0.87), (20, 0.99)])
def test_autocorrelation_finds_a_plugged_hole_at_the_published_rate(turns: int, rate: float) -> None:
    """At lag H - 1 a plugged hole passes the band about as often as derived over 400 runs (spread 5 points)."""
    hits = 0
    for seed in range(400):
        run = FAULTS["plugged"].spacings(turns, seed)
        hits += rh.autocorrelation(run, [39])[0] > rh.correlation_band(len(run))

    assert rate == pytest.approx(hits / 400, abs=0.05)


def test_autocorrelation_gives_few_false_alarms() -> None:
    """Without a fault lag H - 1 passes the band in about 2 % of runs."""
    sound = Meter(**NOISE)
    runs = [sound.spacings(10, seed) for seed in range(300)]
    alarms = sum(rh.autocorrelation(r, [39])[0] > rh.correlation_band(len(r)) for r in runs)

    assert alarms / 300 < 0.05


@pytest.mark.parametrize("kind", sorted(FAULTS))
@pytest.mark.parametrize("turns", [4, 6, 10])
def test_folding_finds_the_fault_and_its_hole(kind: str, turns: int) -> None:
    """From four turns on folding names the kind, the hole and the disc in nearly every run."""
    found = [heard(FAULTS[kind], turns, seed) for seed in range(40)]
    right = [f for f in found if (f.word("pattern"), f.word("kind"), f.word("part")) == ("one_hole", kind, "disc")]

    assert len(right) >= 38
    assert 38 <= [f.number("hole") for f in right].count(8.0)


def test_a_sound_meter_has_no_rhythm() -> None:
    """Random skips, doubles and jitter are called a rhythm in at most 2 of 100 runs."""
    sound = Meter(**NOISE)
    called = [heard(sound, 8, seed).word("pattern") for seed in range(100)]

    assert called.count("none") >= 98


def test_too_few_turns_are_said_with_the_number_needed() -> None:
    """Two disc turns cannot tell, and the answer says how many spacings more would."""
    found = heard(Meter(**NOISE), 2, seed=1)

    assert not found.enough
    assert "too_few" == found.word("pattern")
    assert found.needed is not None
    assert found.needed >= 40
    assert "are needed" in found.reason


@pytest.mark.parametrize("seed", range(5))
def test_a_drive_wave_names_the_part_of_its_travel(seed: int) -> None:
    """A wave of 13.774 spacings is the wheel of 90 in travel, not the disc."""
    wave = Meter(wave=0.08, wave_period=13.774, jitter=0.0765)
    found = heard(wave, 10, seed, wheel_circumference=13.774)

    assert ("smooth", "wave", "wheel") == (found.word("pattern"), found.word("kind"), found.word("part"))
    assert 13.774 == pytest.approx(found.number("period"), rel=0.04)


def test_wave_stands_out_of_its_neighbours() -> None:
    """8 % amplitude at 400 spacings: the wave holds a large share and no chance makes it."""
    run = Meter(wave=0.08, wave_period=13.774, jitter=0.0765 / 2**0.5).spacings(10, seed=1)
    periods, shares = rh.periodogram(run)
    best = max(range(len(shares)), key=lambda i: shares[i])

    assert 13.8 == pytest.approx(periods[best], abs=0.25)
    assert shares[best] > 0.2
    assert rh.wave_chances(shares)[best] < 1e-6


def test_a_wave_that_fits_no_part_stays_unnamed() -> None:
    """Without the wheel in the profile the wave is told, the part is not guessed."""
    wave = Meter(wave=0.08, wave_period=13.774, jitter=0.05)

    assert "none" == heard(wave, 10, seed=2).word("part")


def test_a_rate_error_does_not_smear_the_fold() -> None:
    """With the row 6 % wider than set the plugged hole is still found."""
    wide = Meter(plugged=frozenset([7]), stretch=1.06, **NOISE)

    assert "plugged" == heard(wide, 8, seed=3).word("kind")


@given(st.integers(8, 80), st.integers(0, 79), st.integers(4, 9))
def test_a_clean_plugged_hole_is_always_found(holes: int, hole: int, turns: int) -> None:
    """Without noise any plugged hole of any disc is found from four turns on, at its place."""
    meter = Meter(holes=holes, plugged=frozenset([hole % holes]))
    found = heard(meter, turns, seed=0)
    first_seed = 1 if hole % holes == 0 else 0

    assert "plugged" == found.word("kind")
    assert (hole % holes - first_seed) % holes + 1 == found.number("hole")


DISTANCES = [
    ((21.8, 43.5, 21.7), {}, "disc", True),
    ((7.5, 15.1, 7.4, 22.5), {"wheel_circumference": 7.5}, "wheel", True),
    ((3.0, 11.0, 17.5, 5.1), {}, "none", True),
    ((21.8,), {}, "disc", False),
]


@pytest.mark.parametrize(("feet", "more", "part", "enough"), DISTANCES)
def test_distances_between_gaps_name_the_part(feet: tuple[float, ...], more: dict[str, float], part: str,
                                              enough: bool) -> None:
    """Whole multiples of a part's travel within one seed name it; one distance alone stays open."""
    found = analyse("gap_period", Reading("numbers", feet), {"target_spacing": 6.534 / 12, "holes": 40.0} | more)

    assert part == found.word("part")
    assert enough == found.enough


def test_irregular_distances_are_not_regular() -> None:
    """Distances that share no length are not called regular."""
    found = analyse("gap_period", Reading("numbers", (3.0, 11.0, 17.5, 5.1)), {"target_spacing": 0.5445,
                                                                                 "holes": 40.0})

    assert 0.0 == found.number("regular")


def test_empty_holes_that_repeat() -> None:
    """Hole 7 empty in each of three turns repeats; scattered empties do not."""
    same = analyse("empty_holes", Reading("numbers", (7, 7, 7, 12)), {"holes": 40.0, "turns": 3.0})
    loose = analyse("empty_holes", Reading("numbers", (3, 17, 22, 31, 38)), {"holes": 40.0, "turns": 3.0})
    none = analyse("empty_holes", Reading("numbers", ()), {"holes": 40.0, "turns": 3.0})

    assert [1.0, 0.0, 0.0] == [f.number("repeating") for f in (same, loose, none)]
    assert 7.0 == same.number("worst_hole")
    assert 0.0 == none.number("empty_share")


@pytest.mark.parametrize(("numbers", "context"), [
    ((41,), {"holes": 40.0, "turns": 3.0}), ((7, 7, 7, 7), {"holes": 40.0, "turns": 3.0}),
    ((0,), {"holes": 40.0, "turns": 3.0}), ((1,), {"holes": 1.0, "turns": 3.0}),
])
def test_impossible_holes_are_refused(numbers: tuple[int, ...], context: dict[str, float]) -> None:
    """Hole numbers beyond the disc, more empties than turns, a disc of one hole."""
    with pytest.raises(MeasureError) as caught:
        analyse("empty_holes", Reading("numbers", numbers), context)

    assert caught.value.remedy


def test_part_is_unclear_when_two_fit() -> None:
    """Two parts of like travel are not told apart by a guess."""
    assert "unclear" == rh.part_of(7.5, 0.5, {"wheel": 7.4, "shaft": 7.7, "disc": 21.8})
    assert "none" == rh.part_of(12.0, 0.5, {"wheel": 7.4, "disc": 21.8})
