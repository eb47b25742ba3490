"""Rows of a simulated machine, written from the physics of the drop: what is not there is not found, what is there is.

The full counts are those of `rhythm_rates.py`; here only as many rows as a run of tests can bear.
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from analyses.drop_meter import BAD_TUBE, ORDINARY_TUBE, PLAIN, Row
from analyses.rhythm_rates import FAULTLESS, FAULTS, false_rate, power

from diag.analyses.catalogue import Analysed, Reading, analyse
from diag.measure.passes import account, own_pitch, passes

TARGET = PLAIN.pitch


@pytest.mark.parametrize("kind", list(FAULTLESS))
def test_rhythm_finds_little_where_nothing_is(kind: str) -> None:
    """One row in a hundred at most; in 120 rows three or more would come by accident in one of eight such tests."""
    share, names = false_rate(kind, 120)
    assert share <= 3 / 120, names


@pytest.mark.parametrize(("fault", "least"), [*zip(FAULTS, (0.9, 0.9, 0.95, 0.95, 0.7), strict=True)])
def test_rhythm_finds_a_fault_in_four_turns(fault: str, least: float) -> None:
    """In most of 40 rows; the measured shares are .99, .97, 1, 1 and .85."""
    assert power(fault, 40) >= least


def judged(row: Row, seeds: int, seed: int) -> Analysed:
    """Return the spacing analysis of so many seeds of a row, against the pitch it should have."""
    places = row.places(1.2 * seeds / row.holes + 1, seed)[:seeds]
    return analyse("spacing", Reading("positions", tuple(places)), {"target_spacing": TARGET})


@pytest.mark.parametrize("factor", [0.75, 4 / 3], ids=["thick", "thin"])
def test_evenly_off_is_neither_doubles_nor_skips(factor: float) -> None:
    """A disc of 40 for 30 holes, or the other way round: the drive factor tells it, no seed is extra or gone."""
    for seed in range(10):
        found = judged(replace(PLAIN, pitch=factor * TARGET, skips=0.0, doubles=0.0), 101, seed)
        assert factor == pytest.approx(1 / found.number("drive_factor"), rel=0.03)
        assert found.number("true_doubles") <= 0.01
        assert found.number("true_skips") <= 0.01
        assert f"{'closer' if factor < 1 else 'wider'} than the target" in found.words


@pytest.mark.parametrize(("row", "seeds"), [(ORDINARY_TUBE, 301), (BAD_TUBE, 301)], ids=["ordinary", "bad"])
def test_scatter_of_a_tube_is_taken_off(row: Row, seeds: int) -> None:
    """A good meter over any tube: at most one row in ten shows more than 4 % real doubles, or real skips."""
    rows = [judged(row, seeds, seed) for seed in range(20)]
    for name in ("true_doubles", "true_skips"):
        assert sum(found.number(name) > 0.04 for found in rows) <= 2, name


def test_real_faults_are_not_taken_off() -> None:
    """One seed in ten missing, one in ten too many, over an ordinary tube: both come back within three points."""
    for name, row in (("true_skips", replace(ORDINARY_TUBE, skips=0.1)),
                      ("true_doubles", replace(ORDINARY_TUBE, doubles=0.1))):
        found = [judged(row, 301, seed).number(name) for seed in range(10)]
        assert 0.1 == pytest.approx(sum(found) / len(found), abs=0.03), name


def test_passes_follow_a_drive_that_wanders() -> None:
    """Ten percent faster and slower over 30 seeds: every seed keeps its pass."""
    row = replace(PLAIN, skips=0.0, doubles=0.0, wave=0.1, wave_passes=30.0)
    run = row.spacings(6, seed=3)
    assert list(range(len(run) + 1)) == passes(run, own_pitch(run, TARGET))[0]


def test_an_account_of_nothing_missing() -> None:
    """A row without skips, doubles or scatter is neither short nor long of seeds."""
    found = account([1.0] * 40, 1.0)
    assert (0, 0, 0, 41) == (found.displaced, found.doubles, found.skips, found.passes)
