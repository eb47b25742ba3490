"""Vacuum over the rows: patterns from a modelled machine, drift over the walk, healthy readings, gauge, log."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from measure import vacuum_network as net

from diag.analyses.catalogue import Analysed, Reading, analyse
from diag.errors import MeasureError
from diag.measure import vacuum as vac
from diag.units import IN_H2O

SOUND = net.healthy()
SECTIONS = {"sections": {"left": tuple(range(1, 7)), "right": tuple(range(7, 13))}}


def by_row(solved: net.Solved) -> dict[int, float]:
    """Return the rows of a solved machine, counted 1 to 12 from the left wing's tee."""
    return {i + 1: v for i, v in enumerate(v for wing in solved.rows for v in wing)}


HEALTHY = {"healthy_rows": by_row(net.solve(SOUND))}
LIMITS = {"row_low_below_median": IN_H2O, "row_high_above_median": IN_H2O, "all_low_below_reference": IN_H2O}


def leak(row: int, area: float) -> list[list[float]]:
    """Return a machine whose meter of one row leaks (mm2)."""
    areas = net.healthy()
    areas[(row - 1) // 6][(row - 1) % 6] = area * 1e-6
    return areas


def mapped(values: dict[int, float], **more: float | str) -> Analysed:
    """Return the row map of readings per row."""
    return analyse("vacuum_row_map", Reading("numbers", tuple(values.values()), tuple(values)),
                   SECTIONS | HEALTHY | LIMITS | more)


MACHINES = [
    ("sound", SOUND, net.Plumbing(), "even", "same"),
    ("fan at 90 %", SOUND, net.Plumbing(p0=7500 * 0.81), "all_low", "lower"),
    ("trunk torn", SOUND, net.Plumbing(trunk_leak=304.34e-6), "all_low", "lower"),
    ("all seals worn", net.healthy(leak=60e-6), net.Plumbing(), "all_low", "lower"),
    ("one seal missing", leak(9, 195), net.Plumbing(), "one_low", "lower"),
    ("one hose kinked", SOUND, net.Plumbing(branch={(1, 2): 20.0}), "one_low", "same"),
    ("one hose off", leak(9, 703.1), net.Plumbing(), "one_low", "lower"),
    ("right lead collapsed", SOUND, net.Plumbing(main={(1, 0): 20.0}), "section_low", "higher"),
    ("right wing torn at the tee", SOUND, net.Plumbing(node_leak={(1, 0): 304.34e-6}), "section_low", "lower"),
    ("right wing torn at its end", SOUND, net.Plumbing(node_leak={(1, 5): 304.34e-6}), "section_low", "lower"),
    ("plugged between rows 9 and 10", SOUND, net.Plumbing(main={(1, 3): 400.0}), "step", "same"),
]


@pytest.mark.parametrize(("name", "areas", "pipes", "pattern", "others"), MACHINES, ids=[m[0] for m in MACHINES])
def test_a_fault_of_the_model_shows_its_pattern(name: str, areas: list[list[float]], pipes: net.Plumbing,
                                                pattern: str, others: str) -> None:
    """The map of a modelled fault gives the pattern of the table, and the sign of the golden rule."""
    found = mapped(by_row(net.solve(areas, pipes)))

    assert (pattern, others) == (found.word("pattern"), found.word("others"))


def test_a_leak_and_a_restriction_differ_in_sign() -> None:
    """Of two low right wings the torn one lowers the left too, the collapsed one raises it."""
    left = [mapped(by_row(net.solve(SOUND, p))).word("others") for p in (
        net.Plumbing(node_leak={(1, 0): 304.34e-6}), net.Plumbing(main={(1, 0): 20.0}))]

    assert ["lower", "higher"] == left


def test_a_slow_fan_lowers_all_by_one_factor_a_general_leak_does_not() -> None:
    """Fan at 90 %: every row 0.81 of its healthy value; worn seals: the far rows lose more."""
    slow = mapped(by_row(net.solve(SOUND, net.Plumbing(p0=7500 * 0.81))))
    worn = mapped(by_row(net.solve(net.healthy(leak=80e-6))))

    assert 0.81 == pytest.approx(slow.number("factor"), abs=1e-6)
    assert slow.number("factor_spread") < 1e-6 < 0.005 < worn.number("factor_spread")


def test_steady_fall_along_a_wing() -> None:
    """Readings that fall evenly along one row of hoses are told as a fall."""
    values = {r: 5000.0 - 120.0 * r for r in range(1, 13)}

    assert "falling" == mapped(values, sections={"all": tuple(range(1, 13))}, healthy_rows={}).word("pattern")


@given(st.lists(st.floats(4000, 6000), min_size=4, max_size=16), st.floats(-150, 150))
def test_drift_is_taken_out_evenly(values: list[float], drift: float) -> None:
    """Readings that drift while one walks come back as if all were read at once."""
    n = len(values)
    read = [v + drift * i / n for i, v in enumerate(values)] + [values[0] + drift]
    walk = vac.walk([*range(1, n + 1), 1], read)

    assert values == pytest.approx(list(walk.values.values()), abs=1e-6)
    assert drift == pytest.approx(walk.drift, abs=1e-9)


def test_drift_beyond_its_limit_is_refused_and_said() -> None:
    """A small change of the first row is spread out; a large one gives no verdict, and the reason is told."""
    rows = (*range(1, 7), 1)
    read = Reading("numbers", (5000.0, 4900.0, 4800.0, 4700.0, 4600.0, 4500.0, 4400.0), rows)
    small, large = (analyse("vacuum_row_map", read, LIMITS | {"drift_limit": v}) for v in (700.0, 100.0))

    assert 1.0 == small.number("drift_spread")
    assert "even" == small.word("pattern")
    assert not large.enough
    assert "more than can be spread out" in large.reason


def test_no_second_reading_of_the_first_row_is_said() -> None:
    """Without the first row read again the note says that drift cannot show."""
    assert any("was not read again" in n for n in mapped(by_row(net.solve(SOUND))).notes)


def test_only_the_first_row_may_come_twice() -> None:
    """Another row read twice is refused, naming it."""
    with pytest.raises(MeasureError, match="Row 2 stands twice"):
        analyse("vacuum_row_map", Reading("numbers", (1.0, 2.0, 3.0, 2.0), (1, 2, 3, 2)), LIMITS)


@given(st.dictionaries(st.integers(1, 24), st.floats(1000, 8000), min_size=3, max_size=24), st.integers(-9, 9))
def test_scale_does_not_change_the_pattern(values: dict[int, float], power: int) -> None:
    """Another pressure unit (a power of two, which rounds nothing) changes neither pattern nor rows."""
    scaled = {r: v * 2.0**power for r, v in values.items()}

    assert vac.row_map(values, 250.0, 250.0, {}) == vac.row_map(scaled, 250.0 * 2.0**power, 250.0 * 2.0**power, {})


@given(st.permutations(range(1, 9)))
def test_order_of_walking_does_not_matter_without_drift(order: list[int]) -> None:
    """Rows read in any order give the same map."""
    values = {r: 5000.0 + (r == 5) * -900.0 + r for r in order}
    found = analyse("vacuum_row_map", Reading("numbers", tuple(values.values()), tuple(order)), LIMITS)

    assert ("one_low", 5.0) == (found.word("pattern"), found.number("lowest_row"))


def test_reading_error_leaves_a_row_near_the_limit_open() -> None:
    """A row just beyond the limit is low with a weight, not for certain; far beyond it is certain."""
    near = dict.fromkeys(range(1, 9), 5000.0) | {4: 5000.0 - IN_H2O - 10}
    far = near | {4: 3000.0}
    weights = [analyse("vacuum_row_map", Reading("numbers", tuple(v.values()), tuple(v)),
                       LIMITS | {"reading_error": 60.0}).results["pattern"].chances for v in (near, far)]

    assert 0.4 < weights[0]["one_low"] < 0.8
    assert 1.0 == pytest.approx(weights[1]["one_low"])


def test_without_limits_the_scatter_of_the_rows_judges() -> None:
    """With no limit given a row far outside the scatter is low, and the note says how it was judged."""
    values = (5000.0, 5010.0, 4990.0, 5005.0, 4000.0, 5000.0)
    found = analyse("vacuum_row_map", Reading("numbers", values), {})

    assert "one_low" == found.word("pattern")
    assert any("No limit was given" in n for n in found.notes)


def test_healthy_values_outrank_the_book_and_the_verdict_says_which() -> None:
    """A healthy reading of this machine comes before the book, the book before a generic value."""
    context: dict[str, float | str] = {"generic": 1.0, "book": 2.0, "healthy": 4.0}
    told = []
    for name in ("healthy", "book", "generic"):
        found = analyse("single", Reading("number", (3.0,)), context)
        told.append((found.word("reference"), found.number("to_reference")))
        del context[name]

    assert [("healthy", 0.75), ("book", 1.5), ("generic", 3.0)] == told
    assert "none" == analyse("single", Reading("number", (3.0,)), {}).word("reference")


LOGS = [
    ("steady", [4500 + 20 * (-1) ** i for i in range(13)]),
    ("cycling", [4500 + 300 * math.sin(i * 1.3) for i in range(24)]),
    ("steps", [4700] * 6 + [4100] * 7),
    ("slow_fall", [4800 - 60 * i for i in range(13)]),
    ("slow_rise", [4100 + 60 * i for i in range(13)]),
]


@pytest.mark.parametrize(("pattern", "values"), LOGS, ids=[p for p, _ in LOGS])
def test_log_pattern(pattern: str, values: list[float]) -> None:
    """A log is steady, cycling, in steps, or slowly falling or rising."""
    found = analyse("vacuum_log", Reading("log", tuple(map(float, values)), times=tuple(
        10.0 * i for i in range(len(values)))), {"swing_limit": IN_H2O, "fall_limit": IN_H2O})

    assert pattern == found.word("pattern")


def test_cycle_time_comes_out() -> None:
    """A cycle of 48 s read every 10 s is found within a reading."""
    values = tuple(4500 + 300 * math.sin(2 * math.pi * 10 * i / 48) for i in range(30))
    found = analyse("vacuum_log", Reading("log", values, times=tuple(10.0 * i for i in range(30))),
                    {"swing_limit": IN_H2O})

    assert 48 == pytest.approx(found.number("period"), abs=4)


def test_capping_names_the_leaking_row() -> None:
    """Capped one by one on the modelled machine, the leaking row raises the fan reading most."""
    areas = leak(9, 195)
    fan = []
    for row in range(1, 13):
        one = [list(w) for w in areas]
        one[(row - 1) // 6][(row - 1) % 6] = 0.0
        fan.append(net.solve(one).fan)
    found = analyse("block_test", Reading("numbers", tuple(fan), tuple(range(1, 13))),
                    {"fan_open": net.solve(areas).fan})

    assert 9.0 == found.number("which")
    assert 4.0 == pytest.approx(found.number("rise_ratio"), abs=0.3)


def test_gauge_is_good_or_not_by_its_class() -> None:
    """A class 2 gauge of 30 in may differ by 0.725 in from the corrected column."""
    context = {"gauge_span": 30 * IN_H2O, "gauge_class": 0.02, "fluid_temperature": 303.15}
    verdicts = [analyse("gauge_check", Reading("numbers", (20 * IN_H2O, h * IN_H2O)), context).number("within")
                for h in (19.6, 19.2)]

    assert [1.0, 0.0] == verdicts


def test_antifreeze_and_tilt_are_corrected() -> None:
    """Half glycol reads 6.5 % low in height, a tilted column reads high."""
    plain, glycol, tilted = (
        analyse("gauge_check", Reading("numbers", (5000.0, 5000.0)), c).number("column")
        for c in ({}, {"fluid_density": 1064.93}, {"tilt": math.radians(10)})
    )

    assert 1064.93 / 998.207 == pytest.approx(glycol / plain, rel=1e-4)
    assert math.cos(math.radians(10)) == pytest.approx(tilted / plain)


@given(st.lists(st.lists(st.floats(0, 900e-6), min_size=1, max_size=8), min_size=1, max_size=3))
def test_network_keeps_its_laws(areas: list[list[float]]) -> None:
    """Vacuum falls from the fan outwards, never rises along a wing's nodes, and scales with fan pressure."""
    solved = net.solve(areas)
    doubled = net.solve(areas, net.Plumbing(p0=15_000.0))

    assert all(0 <= v <= solved.fan + 1e-9 for wing in solved.rows for v in wing)
    assert 2 * solved.fan == pytest.approx(doubled.fan)


@given(st.integers(1, 12), st.floats(60, 700))
def test_a_leak_lowers_everyone(row: int, area: float) -> None:
    """The golden rule holds in the model for a leak at any row."""
    before, after = by_row(net.solve(SOUND)), by_row(net.solve(leak(row, area)))

    assert all(after[r] < before[r] for r in before)


@given(st.integers(0, 1), st.integers(0, 5), st.floats(2, 300))
def test_a_restriction_raises_the_other_wing(wing: int, place: int, factor: float) -> None:
    """The golden rule holds in the model for a restriction anywhere in a wing's main."""
    before, after = net.solve(SOUND), net.solve(SOUND, net.Plumbing(main={(wing, place): factor}))

    assert all(a > b for a, b in zip(after.rows[1 - wing], before.rows[1 - wing], strict=True))
    assert after.rows[wing][5] < before.rows[wing][5]


GENERIC = {"row_low_below_median": IN_H2O, "row_high_above_median": IN_H2O, "section_low_below_rest": 1.5 * IN_H2O,
           "all_low_below_reference": 2 * IN_H2O}
"""Row limits as the shipped knowledge has them (common practice)."""

MAPS = [
    ("all low", (13.9, 13.9, 14, 13.8, 13.9, 13.9), "all_low", "All rows low and alike"),
    ("all high", (22, 22, 22.1, 21.9, 22, 22), "all_high", "All rows high and alike"),
    ("every second", (18, 15, 18, 15, 18, 15, 18, 15), "some_low", "Rows 2, 4, 6, 8 low"),
    ("climbing", (15, 15.4, 15.8, 16.2, 16.6, 17, 17.4, 17.8), "falling", "falls steadily from row 8 to row 1"),
    ("one as it should", (15, 15, 15, 18, 15, 15, 15, 15), "all_low", "All rows but row 4 low"),
    ("one low, one high", (18, 18, 14, 18, 18, 21, 18, 18), "one_low", "Row 3 low: 14 inH2O, 4 inH2O below"),
    ("one low, one high", (18, 18, 14, 18, 18, 21, 18, 18), "one_low", "row 6 high: 21 inH2O, 3 inH2O above"),
    ("leaks under too much", (24, 24, 18, 24, 24, 24, 18.2, 24), "some_low", "the others high: the middle row has 24"),
    ("even", (18, 18.2, 17.9, 18, 18.1, 18), "even", "Even: 6 rows within 0.3 inH2O"),
]


@pytest.mark.parametrize(("name", "inches", "pattern", "words"), MAPS)
def test_a_map_is_judged_against_what_was_set(name: str, inches: tuple[float, ...], pattern: str, words: str) -> None:
    """At 18 inH2O wanted: every odd row is named, and how all rows lie together."""
    values = tuple(v * IN_H2O for v in inches)
    found = analyse("vacuum_row_map", Reading("numbers", values), {**GENERIC, "vacuum_set": 18 * IN_H2O})
    assert pattern == found.word("pattern")
    assert words in found.words


def test_a_map_without_a_set_value_is_judged_by_what_is_usual() -> None:
    """Nothing set, no book: rows alike at 9 inH2O are below what such discs take; at 19 nothing is said."""
    usual = {**GENERIC, "usual_low": 16 * IN_H2O, "usual_high": 22 * IN_H2O}
    low, right = (analyse("vacuum_row_map", Reading("numbers", (v * IN_H2O,) * 6), usual) for v in (9, 19))
    assert ("all_low", "generic") == (low.word("pattern"), low.word("reference"))
    assert "usual for such discs" in low.words
    assert ("even", "none") == (right.word("pattern"), right.word("reference"))


def test_a_fan_beyond_its_plate_is_said() -> None:
    """4,785 of 4,500 rpm: said aloud, deferring to the manual; 4,450 passes without a word."""
    fast, right = (analyse("fan_speed", Reading("number", (rpm / 60,)), {"fan_speed_set": 75.0})
                   for rpm in (4785, 4450))
    assert any("beyond its rated speed" in note and "operator's manual" in note for note in fast.notes)
    assert () == right.notes


def test_a_row_and_a_good_neighbour_are_enough() -> None:
    """Two rows: the lower is held against the other; alike they are even, or low together where it is known."""
    limits = LIMITS | {"reading_error": 0.1 * IN_H2O}
    for gap in (7.2, 1.5):
        two = {7: (18.2 - gap) * IN_H2O, 6: 18.2 * IN_H2O}
        low = analyse("vacuum_row_map", Reading("numbers", tuple(two.values()), tuple(two)), limits)
        assert ("one_low", 7.0) == (low.word("pattern"), low.number("lowest_row"))
        assert low.number("deficit") == pytest.approx(gap * IN_H2O)
    for set_, pattern in ((18.0, "even"), (20.0, "all_low")):
        alike = Reading("numbers", (18.2 * IN_H2O, 18.0 * IN_H2O), (6, 7))
        found = analyse("vacuum_row_map", alike, limits | {"vacuum_set": set_ * IN_H2O})
        assert pattern == found.word("pattern")
