"""The catalogue: every analysis runs, gives only declared results, and its results weigh against limits."""

from __future__ import annotations

import contextlib
import subprocess
import sys

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.analyses.catalogue import (
    CATALOGUE,
    CONTEXT,
    KINDS,
    Reading,
    Result,
    analyse,
    weight_below,
)
from diag.analyses.model import PURE
from diag.analyses.report import as_json, text
from diag.errors import DiagError, MeasureError
from diag.units import IN_H2O, QUANTITIES

AC = 4046.8564224
PLANTER = {
    "target_rate": 32000 / AC, "row_width": 0.762, "holes": 40.0, "turns": 3.0, "speed": 2.2352, "minutes": 120.0,
    "sample_size": 100.0, "tag_seeds_per_mass": 3500.0, "fan_open": 4800.0, "fan_speed_set": 66.0, "pitches": 24.0,
    "pitch": 0.0127, "sections": {"left": tuple(range(1, 7)), "right": tuple(range(7, 13))},
    "vacuum_set": 4500.0, "row_low_below_median": IN_H2O,
    "gauge_span": 7500.0, "gauge_class": 0.02, "reading_error": 40.0, "chart_slip": 0.04, "depth_set": 0.05,
    "healthy_rows": {1: 5000.0, 2: 5000.0, 3: 5010.0}, "row_low_ratio": 0.9, "wire_area": 8e-6, "wire_length": 9.0,
    "load_current": 20.0, "drift_limit": 200.0, "wheel_circumference": 2.286, "proof_margin": 0.03, "book": 12.0,
}

ROWS12 = tuple(range(1, 13))
EXAMPLES = {
    "spacing": Reading("spacings", (0.166,) * 50 + (0.33, 0.03, 0.14)),
    "spacing_tally": Reading("counts", counts={"good": (44, 50), "close": (2, 50), "gap": (4, 50)}),
    "rhythm": Reading("spacings", (0.166,) * 130),
    "gap_period": Reading("numbers", (6.64, 13.3, 6.6)),
    "empty_holes": Reading("numbers", (7, 7, 7, 12)),
    "stand_count": Reading("numbers", (32, 31, 30, 33, 24, 32), rows=(1, 2, 3, 4, 5, 6)),
    "seed_use": Reading("numbers", (320_000, 9 * AC), labels=("used", "area")),
    "share": Reading("count", k=5, n=100),
    "two_counts": Reading("counts", counts={"furrow": (9, 200), "bag": (2, 200)}),
    "speed_compare": Reading("counts", counts={"slow": (4, 100), "normal": (14, 100), "seeds_slow": (32, 32),
                                               "seeds_normal": (29, 32)}),
    "step_test": Reading("counts", counts={"skips_before": (20, 300), "skips_after": (5, 300),
                                           "doubles_before": (3, 300), "doubles_after": (5, 300)}),
    "sweep": Reading("counts", counts={"14": (30, 300), "16": (12, 300), "18": (6, 300), "20": (9, 300)}),
    "sensor_compare": Reading("count", k=290, n=300),
    "catch_test": Reading("count", k=385, n=400),
    "leak_rate": Reading("count", k=3),
    "single": Reading("number", (11.0,)),
    "row_compare": Reading("numbers", (10.0, 10.1, 10.0, 25.0, 9.9)),
    "pair": Reading("numbers", (10.0, 11.0)),
    "distances": Reading("numbers", (0.5, 0.6, 2.5)),
    "depth": Reading("numbers", (0.05, 0.051, 0.049, 0.04, 0.02, 0.045), rows=(1, 1, 1, 2, 2, 2)),
    "vacuum_row_map": Reading("numbers", (5000.0,) * 8 + (3900.0,) + (5000.0,) * 3 + (4990.0,), rows=(*ROWS12, 1)),
    "vacuum_reading": Reading("number", (4000.0,)),
    "vacuum_pair": Reading("numbers", (5000.0, 4300.0), labels=("fan", "far")),
    "gauge_check": Reading("numbers", (4980.0, 4800.0), labels=("gauge", "column")),
    "vacuum_log": Reading("log", tuple(4500.0 + 200 * (-1) ** (i // 2) for i in range(12)),
                          times=tuple(10.0 * i for i in range(12))),
    "block_test": Reading("numbers", (5100.0, 5120.0, 5800.0, 5110.0), rows=(1, 2, 3, 4)),
    "fan_speed": Reading("number", (60.0,)),
    "slip": Reading("count", k=37, n=40),
    "meter_speed": Reading("number", (2.2352,)),
    "disc_turns": Reading("number", (0.333,)),
    "chain_wear": Reading("number", (0.3093,)),
    "voltage_drop": Reading("numbers", (13.5, 12.1), labels=("source", "load")),
}


def test_every_analysis_has_an_example() -> None:
    """No analysis of the catalogue goes untried."""
    assert set(CATALOGUE) == set(EXAMPLES)


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_results_are_declared_and_told(name: str) -> None:
    """A run gives only declared results, words only from the list, and a verdict that is one sentence and fits."""
    analysis, done = CATALOGUE[name], analyse(name, EXAMPLES[name], PLANTER)
    specs = analysis.results

    assert set(done.results) <= set(specs)
    assert done.words.endswith(".")
    for key, result in done.results.items():
        if isinstance(result.value, str):
            assert result.value in specs[key].words, key
            assert set(result.chances or {}) <= set(specs[key].words)
        else:
            assert specs[key].quantity != "word"
    shown = text(analysis, done, PLANTER, detail=True)
    assert max(len(line) for line in shown.splitlines()) <= 80
    assert shown.isascii()


@pytest.mark.parametrize("name", sorted(EXAMPLES))
def test_metric_is_told_in_metric(name: str) -> None:
    """Who asked for metric units gets no US unit in any sentence or figure."""
    done = analyse(name, EXAMPLES[name], PLANTER | {"units": "metric"})
    told = str(as_json(CATALOGUE[name], done, {"units": "metric"}))

    assert not any(f" {unit}" in told for unit in ("inH2O", "ft ", "mph", "/ac", "seeds/lb", "seeds/ft"))


def test_every_result_appears_in_some_run() -> None:
    """Each declared result is given by its example or by one of the other tried contexts."""
    missing = {}
    for name, reading in EXAMPLES.items():
        given_ = set(analyse(name, reading, PLANTER).results)
        missing[name] = set(CATALOGUE[name].results) - given_

    assert {} == {n: m for n, m in missing.items() if m - OTHER.get(n, set())}


OTHER = {
    "spacing": {"lag1", "placement_share", "emergence_floor"},
    "rhythm": {"period", "hole", "occupancy", "shift", "chance", "wave_share"},
    "vacuum_log": {"period"},
    "vacuum_row_map": {"factor", "factor_spread"},
}
"""Results that only come in circumstances of their own; the tests of those analyses hold them."""


def test_specs_are_sound() -> None:
    """Quantities exist, units are SI, words have values, context names are in the one list."""
    for analysis in CATALOGUE.values():
        assert set(analysis.takes) <= set(KINDS)
        assert set(analysis.needs) | set(analysis.uses) <= set(CONTEXT), analysis.name
        for spec in analysis.results.values():
            assert spec.quantity in QUANTITIES or spec.quantity in (*PURE, "word", "flag", "reading")
            assert bool(spec.words) == (spec.quantity == "word")
            assert spec.meaning
            if spec.quantity in QUANTITIES:
                assert spec.unit == QUANTITIES[spec.quantity].si


def test_context_quantities_exist() -> None:
    """Every context name has a known quantity and a meaning."""
    other = (*PURE, "word", "flag", "reading", "row_values", "sections")

    assert {} == {g.name: g.quantity for g in CONTEXT.values() if g.quantity not in {*QUANTITIES, *other}}


def test_listing_analyses_loads_no_numpy() -> None:
    """Naming the analyses is fast: numpy is loaded only by a run that needs it."""
    code = "import sys, diag.analyses.catalogue; print('numpy' in sys.modules)"

    assert "False" == subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                                     check=True).stdout.strip()


REFUSED = [
    ("spacings", Reading("spacings", (1.0,)), {}, "no analysis"),
    ("spacing", Reading("number", (1.0,)), {}, "cannot be worked out"),
    ("rhythm", Reading("spacings", (1.0,) * 50), {}, "holes or cells"),
    ("single", Reading("number", (float("nan"),)), {}, "not a number"),
    ("single", Reading("number", ()), {}, "one value"),
    ("row_compare", Reading("numbers", (1.0, 2.0), rows=(1,)), {}, "1 rows"),
    ("row_compare", Reading("numbers", (1.0, 2.0, 3.0), rows=(1, 1, 2)), {}, "twice"),
    ("row_compare", Reading("numbers", (1.0, 2.0, 3.0), rows=(0, 1, 2)), {}, "counted from 1"),
    ("share", Reading("count", k=9, n=5), {}, "not a count"),
    ("share", Reading("count", k=-1, n=5), {}, "negative"),
    ("two_counts", Reading("counts", counts={"a": (1, 2)}), {}, "Two counts"),
    ("two_counts", Reading("counts", counts={"a": (3, 2), "b": (1, 2)}), {}, "not a share"),
    ("speed_compare", Reading("counts", counts={"slow": (1, 20)}), {}, "missing: normal"),
    ("step_test", Reading("counts", counts={}), {}, "No counts"),
    ("pair", Reading("numbers", (1.0,)), {}, "Two readings"),
    ("vacuum_log", Reading("log", (1.0,) * 8, times=(1.0, 0.0, *range(2, 8))), {}, "do not rise"),
    ("sensor_compare", Reading("count", k=5), {}, "hand count"),
    ("slip", Reading("count", k=5, n=0), {}, "Wheel slip"),
    ("gap_period", Reading("numbers", (3.0,)), {"holes": 40.0}, "needs the seed spacing"),
    ("depth", Reading("numbers", ()), {}, "No depth"),
    ("meter_speed", Reading("number", (0.0,)), PLANTER, "above zero"),
    ("stand_count", Reading("numbers", (30.0, -1.0)), PLANTER, "No count"),
    ("single", Reading("number", (1.0,)), {"book": "twelve"}, "must be a number"),
]


@pytest.mark.parametrize(("name", "reading", "context", "told"), REFUSED)
def test_what_cannot_be_analysed_is_refused(name: str, reading: Reading, context: dict[str, float], told: str) -> None:
    """A wrong kind, a missing setting, values that are none: each says what and the remedy."""
    with pytest.raises(MeasureError, match=told) as caught:
        analyse(name, reading, context)

    assert caught.value.remedy


NUMBERS = st.lists(st.floats(allow_nan=True, allow_infinity=True, width=32), max_size=14)


@given(st.sampled_from(sorted(CATALOGUE)), NUMBERS, st.integers(-2, 50), st.integers(-2, 50), st.booleans())
def test_any_reading_gives_an_outcome_or_an_error(name: str, numbers: list[float], k: int, n: int, rows: bool) -> None:
    """No reading whatever gives a traceback."""
    analysis = CATALOGUE[name]
    for kind in analysis.takes:
        reading = Reading(
            kind, tuple(numbers), tuple(range(1, len(numbers) + 1)) if rows else (), k=k, n=n,
            times=tuple(float(i) for i in range(len(numbers))) if kind == "log" else (),
            counts={"first": (k, n), "second": (n, k)},
        )
        with contextlib.suppress(DiagError):
            assert analyse(name, reading, PLANTER).words


# ------------------------------------------------------------------------------------------- weights


def test_an_error_shares_out_around_the_limit() -> None:
    """A value on the limit falls half to each side, one standard error beyond it 84 %."""
    assert 0.5 == weight_below(Result("x", 2.0, 0.3), 2.0)
    assert 0.8413 == pytest.approx(weight_below(Result("x", 1.7, 0.3), 2.0), abs=1e-4)


def test_more_counts_give_sharper_weights() -> None:
    """4 of 200 speaks clearer for a share under 5 % than 1 of 50."""
    few, many = (weight_below(Result("x", 0.02, k=k, n=n), 0.05) for k, n in ((1, 50), (4, 200)))

    assert 0.8 < few < many < 1.0


def test_a_word_has_no_weight_below_a_limit() -> None:
    """What is no number cannot lie below one."""
    open_ = Result("pattern", "even", chances={"even": 0.7, "one_low": 0.3})
    with pytest.raises(MeasureError):
        weight_below(open_, 1.0)
