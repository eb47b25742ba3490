"""What is asked first, and next, in calls that everybody in the trade has had: read as a veteran would."""

from __future__ import annotations

from typing import Any

import pytest

from diag.ask.reply import reply
from diag.ask.turn import turn
from diag.call.desk import CallDesk, Desk
from diag.call.looks import members
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine

COUNTS = {"dug_thousandth", "dug_50_spacings", "dug_fifty_called", "seed_used_acres", "rpm_calc", "pattern_length"}


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """One engine for all calls here."""
    return Engine(whole, counter=True)


def call_of(engine: Engine, symptom: str, channel: str = "phone", axes: dict[str, str] | None = None,
            **situation: Any) -> CallDesk:
    """Return a call on a sixteen-row planter as its intake leaves it."""
    call = Desk(engine).new_call(channel)
    call.set_machine({"axes": axes or {}, "rows": 16})
    call.set_situation({"flags": [], **situation})
    call.set_complaint("", [(symptom, "chosen")])
    return call


def folded(engine: Engine, channel: str = "phone") -> CallDesk:
    """Four rows of an electric drive are dead since the planter was folded."""
    return call_of(engine, "screen_rows_lost", channel, {"drive": "electric"}, rows=[5, 6, 7, 8], changes=["folded"],
                   crop="soybean")


def first_checks(call: CallDesk, most: int) -> list[str]:
    """Return the first checks that are asked while every answer is "not sure"."""
    asked = []
    while len(asked) < most and call.think().judgement.action == "check":
        asked.append(call.offers()[0].check)
        call.answer(asked[-1], status="unsure")
    return asked


def test_nobody_drives_before_what_the_caller_can_look_at(engine: Engine) -> None:
    """Rows dead since folding: the cable at the fold is looked at by the caller before anybody drives."""
    asked = first_checks(folded(engine), 4)
    assert "harness_fold_look" == asked[0]
    assert len(asked) >= 2


def test_nobody_drives_without_knowing_for_what(engine: Engine) -> None:
    """Dead rows and no cause that leads: short questions narrow it down before anybody drives."""
    call = call_of(engine, "row_dead_real", axes={"drive": "electric"}, changes=["folded"], crop="soybean")
    call.answer("q_row_pattern", outcome="adjacent")
    assert max(r.probability for r in call.think().judgement.ranking) < 0.4
    judged = call.think().judgement
    assert "check" == judged.action
    assert judged.plan.offers[0].minutes <= 6


def test_rows_that_plant_nothing_are_not_counted(engine: Engine) -> None:
    """No count of seeds or spaces, no question that the complaint answers, among all that is open for dead rows."""
    open_now = folded(engine).think().judgement.plan.open
    told = {"display_itself", "first_rows_to_drop", "q_when_began.washed_or_rain", "q_row_pattern"}
    assert set() == open_now & (COUNTS | told)
    thin = call_of(engine, "pop_low_all").think().judgement.plan.open
    assert COUNTS - {"rpm_calc"} <= thin


def test_a_fault_that_was_found_is_mended_before_more_is_asked(engine: Engine) -> None:
    """The cable found cut: by phone the drive says what it is for, on site the repair comes; nothing more is asked."""
    for channel, action in (("phone", "drive_out"), ("site", "repair")):
        call = folded(engine, channel)
        call.answer("harness_fold_look", outcome="damaged")
        plan = call.think().judgement.plan
        assert (channel, action, "harness_pinched") == (channel, plan.action, plan.repair)
    assert "Drive out to mend this: Harness pinched" in _asked_words(folded(engine))


def _asked_words(call: CallDesk) -> str:
    call.answer("harness_fold_look", outcome="damaged")
    return turn(call).asks


def test_worse_when_faster_is_a_slow_strip_and_then_a_try(engine: Engine) -> None:
    """Only when driving faster: a slow strip comes next; it was good: go slower, which can be put back."""
    call = call_of(engine, "worse_with_speed", rows="all", speed={"value": "7", "unit": "mph"})
    call.answer("q_time_pattern", outcome="speed")
    assert "slow_pass_compare" == call.offers()[0].check
    assert "vac_lower_step" not in call.think().judgement.plan.open
    call.answer("slow_pass_compare", outcome="cured_slow")
    plan = call.think().judgement.plan
    assert (True, "speed_too_fast") == (plan.action in ("try", "repair"), plan.repair)


def test_what_the_speed_makes_is_worked_out_not_asked(engine: Engine) -> None:
    """Speed, rate, width and holes told: the disc speed is an answer; without one of them it is none."""
    call = call_of(engine, "skips_high", rows="all", speed={"value": "7", "unit": "mph"},
                   target={"value": "34000", "unit": "seeds/ac"})
    call.set_machine({"row_width": {"value": "30", "unit": "in"}})
    assert "rpm_calc" in call.think().judgement.plan.open
    call.set_machine({"holes": 30})
    held = {i.check: i.outcome for i in call.think_case().instances}
    assert "inside" == held["rpm_calc"]
    assert "rpm_calc" not in call.think().judgement.plan.open


def test_a_value_nobody_knows_drops_what_is_worked_out_from_it(engine: Engine) -> None:
    """"?" to the rate drops the disc speed: neither row width nor the answers of a number nobody has are asked."""
    call = call_of(engine, "skips_high", rows="all")
    asked = turn(call, "rpm_calc")
    assert "need" == asked.kind
    found = reply(call, asked, "?")
    assert found.record is not None
    found.record(call)
    assert [("rpm_calc", "unsure")] == [(a.check, a.status) for a in call.state.answers]
    assert "rpm_calc" not in call.think().judgement.plan.open


def test_a_lot_told_is_not_asked_for(engine: Engine) -> None:
    """Since the new lot: when it began and whether the lot changed are told."""
    call = call_of(engine, "doubles_high", rows="all", changes=["new_seed"])
    asked = {c.partition(".")[0] for c in call.think().judgement.plan.open}
    assert set() == asked & {"q_seed_lot", "q_when_began", "q_time_pattern"}
    assert "vac_lower_step" == call.offers()[0].check
    assert "check" == call.think().judgement.action


def test_other_discs_and_a_wrong_count_begin_with_the_hole_number(engine: Engine) -> None:
    """The count is wrong since other discs went in: screen against disc comes first."""
    call = call_of(engine, "pop_high_all", rows="all", changes=["disc_changed"])
    assert "cab_hole_count" == call.offers()[0].check


def test_a_form_asks_only_what_belongs_to_the_complaint(engine: Engine) -> None:
    """The row opened for one row that skips: no line about curves, none about full tanks."""
    call = call_of(engine, "pop_low_row", "site", rows=[7])
    with_it = members(call, "furrow_look")
    assert "dig_behind_row" in with_it
    assert set() == set(with_it) & {"curve_dig", "depth_full_empty", "firmer_lift"}


def test_after_a_splice_the_dig_that_showed_the_dead_rows_comes_first(engine: Engine) -> None:
    """The dig was taken by hand: it is made again before the cable is looked at again, and then the verdict is due."""
    call = folded(engine)
    call.answer("dig_behind_row", outcome="no_seed")
    call.answer("harness_fold_look", outcome="damaged")
    call.repair(["harness_pinched"])
    assert "dig_behind_row" == call.offers()[0].check
    call.answer("dig_behind_row", outcome="seed_normal")
    assert turn(call).asks.startswith("Measured, and good")


def test_rows_switched_on_again_are_proved_in_the_ground(engine: Engine) -> None:
    """What lies behind the rows is asked, not flags at the ends; what can't be done here leaves the next proof."""
    call = call_of(engine, "row_dead_real", axes={"drive": "electric"}, rows=[5, 6, 7, 8], crop="soybean")
    call.repair(["row_switched_off"], words="all rows on")
    assert "dig_behind_row" == call.offers()[0].check
    call.answer("timing_flags", status="cannot_here")
    assert "dig_behind_row" == call.offers()[0].check
    call.answer("dig_behind_row", status="cannot_here")
    assert "cab_rows_bar" == call.offers()[0].check
