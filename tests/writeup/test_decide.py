"""Keep planting or stop: acres per hour, the range of cost, and what it allows to say."""

from __future__ import annotations

import pytest
from writeup import alder_flat
from writeup.alder_flat import Case

from diag.call.desk import Desk
from diag.measure.economics import compensation
from diag.reason.judge import Engine
from diag.units import ACRE, Measured
from diag.writeup.decide import Given, decide, decision_text


def corn(engine: Engine, speed: str = "7", rows: object = None) -> Case:
    """A 12-row machine at 30 in in corn."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.call.set_situation({"speed": {"value": speed, "unit": "mph"}, "rows": rows or [7]})
    return case


def test_acres_per_hour_of_the_three_ways(engine: Engine) -> None:
    """12 rows at 30 in: 25.5 ac/h at 7 mph, 18.2 at 5 mph before turning (common practice)."""
    ways = decide(corn(engine).call, Given(slower=Measured("5", "mph").si())).ways
    assert ["keep going", "go slower", "stop and mend, then go on"] == [w.name for w in ways]
    assert (25.5, 18.2) == (round(ways[0].acres_per_hour or 0, 1), round(ways[1].acres_per_hour or 0, 1))


def test_hours_for_the_acres_left_and_acres_by_then(engine: Engine) -> None:
    """90 acres at 25.45 ac/h take 3.5 h; in 2 h 51 acres; after an hour's mending one hour is left for 25."""
    given = Given(acres_left=90, hours_left=2, hours_to_mend=1)
    keep, _, stop = decide(corn(engine).call, given).ways
    assert (3.54, 50.9) == (round(keep.hours or 0, 2), round(keep.acres_by_then or 0, 1))
    assert (4.54, 25.5) == (round(stop.hours or 0, 2), round(stop.acres_by_then or 0, 1))


def test_skips_cost_by_the_share_of_the_rows(engine: Engine) -> None:
    """10 % skips in one row of twelve at 200 bu/ac: the study's loss in that row, a twelfth over the planter."""
    decision = decide(corn(engine).call, Given(skips=0.10, doubles=0.0, crop_yield=200))
    made_up, _ = compensation(34000 / ACRE)
    (loss,) = decision.losses
    assert pytest.approx(0.10 * 200 / 12) == loss.high
    assert pytest.approx(0.10 * (1 - made_up * 0.9) * 200 / 12) == loss.low


def test_spacing_shows_every_study(engine: Engine) -> None:
    """Spacings that spread bring the range from no effect to the steepest slope, with each study named."""
    case = corn(engine, rows="all")
    values = ["3.6", "8.7"] * 25
    case.call.answer("dug_50_spacings", spacings={"unit": "in", "values": values}, observer="instrument")
    decision = decide(case.call)
    spread = next(x for x in decision.losses if "spread" in x.what)
    assert (0.0, True) == (spread.low, spread.high > 0)
    assert 4 == len(spread.studies)
    assert any("Carlson" in s for s in spread.studies)
    assert spread.events == (case.call.events[-1].id,)


def test_no_yield_no_cost_of_skips(engine: Engine) -> None:
    """Without the user's own yield nothing is put in its place."""
    assert () == decide(corn(engine).call, Given(skips=0.1)).losses


def test_other_crops_are_silent(engine: Engine) -> None:
    """The studies are corn: in beans only acres per hour are told, and why."""
    case = corn(engine)
    case.call.set_situation({"crop": "soybean"})
    decision = decide(case.call, Given(skips=0.1, crop_yield=50))
    assert () == decision.losses
    assert "The studies read are of corn; for soybean they say nothing" in decision.says[0]
    assert "bu/ac" not in decision_text(decision)


RANGE = [(0.01, "Stop: even the low end costs more"), (1e6, "costs less than you say stopping does"),
         (8500, "does not decide it")]


@pytest.mark.parametrize(("delay", "says"), RANGE, ids=["cheap delay", "dear delay", "between"])
def test_what_the_range_allows_to_say(engine: Engine, delay: float, says: str) -> None:
    """Below the low end it says stop, above the dearest study go on, between them that the range does not decide."""
    given = Given(skips=0.1, crop_yield=200, acres_left=500, hours_to_mend=1, delay_per_hour=delay)
    assert says in decide(corn(engine, rows="all").call, given).advice


def test_a_planter_that_plants_nothing_is_stopped(engine: Engine) -> None:
    """Every place empty: the whole crop is lost by the low end and the high, and it says stop without any price."""
    decision = decide(corn(engine, speed="5", rows="all").call, Given(skips=1.0, crop_yield=180))
    (loss,) = decision.losses
    assert (pytest.approx(180.0), pytest.approx(180.0)) == (loss.low, loss.high)
    assert decision.advice == "Stop: even the low end is 3273 bu an hour."


def test_uneven_spacing_at_full_number_may_go_on(engine: Engine) -> None:
    """Nothing missing, spacings spread: from no loss at all, so it is mended at the next stop."""
    case = corn(engine, rows="all")
    values = ["3.6", "8.7"] * 25
    case.call.answer("dug_50_spacings", spacings={"unit": "in", "values": values}, observer="instrument")
    assert "from nothing to" in decide(case.call).advice


def test_a_setting_put_back_counts_as_it_was(engine: Engine) -> None:
    """A step test whose step was taken back tells the skips before the step, not those after it."""
    case = corn(engine, rows="all")
    low, high = ({"value": v, "unit": "inH2O"} for v in ("18", "20"))
    case.call.record("change", {"setting": "vacuum", "before": low, "after": high, "temporary": True})
    counted = {"skips_before": (24, 200), "skips_after": (11, 200), "doubles_before": (1, 200),
               "doubles_after": (2, 200)}
    values = {k: {"count": n, "of": of} for k, (n, of) in counted.items()}
    case.call.answer("vac_raise_step", values=values, observer="technician")
    raised = decide(case.call, Given(crop_yield=200)).losses[0].what
    case.call.record("change", {"setting": "vacuum", "before": high, "after": low, "temporary": True})
    back = decide(case.call, Given(crop_yield=200)).losses[0].what
    assert ("5.5 % skips and 1 % doubles", "12 % skips and 0.5 % doubles") == (raised, back)


def test_a_slower_speed_is_named(engine: Engine) -> None:
    """The text says how fast "go slower" is, whether the user named it or not."""
    assert "go slower (5 mph): 18.2 ac/h" in decision_text(decide(corn(engine).call))


def test_two_ways_of_looking_are_not_added(engine: Engine) -> None:
    """Few skips and a spread are the same fault seen twice: both are shown, and that they are not added."""
    case = corn(engine, rows="all")
    values = ["5.0", "7.2"] * 30 + ["12.4"]
    case.call.answer("dug_50_spacings", spacings={"unit": "in", "values": values}, observer="instrument")
    decision = decide(case.call, Given(crop_yield=200))
    assert 2 == len(decision.losses)
    assert any("not added" in s for s in decision.says)


def test_unknown_rows_are_told(engine: Engine) -> None:
    """Without the rows in trouble the figures are for all rows, and it says so."""
    case = alder_flat.opened(engine)
    case.call.set_situation({"crop": "corn", "target": {"value": "34000", "unit": "seeds/ac"}})
    decision = decide(case.call, Given(skips=0.1, crop_yield=200))
    assert any("not known" in s for s in decision.says)


def test_money_is_the_users_own(engine: Engine) -> None:
    """A price brings the range in that money; without one no money is named."""
    given = Given(skips=0.1, crop_yield=200)
    assert "money" not in decision_text(decide(corn(engine).call, given))
    assert "in your money" in decision_text(decide(corn(engine).call, Given(skips=0.1, crop_yield=200, price=4)))


def test_text_fits_and_an_empty_call_is_told(engine: Engine) -> None:
    """Nothing known: three ways without figures, and what would tell a cost."""
    text = decision_text(decide(alder_flat.opened(engine).call))
    assert max(map(len, text.splitlines())) <= 78
    assert "keep going: not known: " in text


def test_what_is_not_known_is_named(engine: Engine) -> None:
    """Of rows, width and speed only what is missing is said, on every line that needs it."""
    call = Desk(engine).new_call("phone")
    call.set_machine({"rows": 8})
    call.set_situation({"speed": {"value": "7", "unit": "mph"}})
    text = decision_text(decide(call, Given()), 200)
    assert text.count("not known: row width") == 3
    assert "rows of the planter" not in text
    call.set_machine({"rows": 8, "row_width": {"value": "30", "unit": "in"}})
    text = decision_text(decide(call, Given()), 200)
    assert text.count("ac/h before turning") == 2
    assert "not known: hours left, or acres left and hours to mend" in text
