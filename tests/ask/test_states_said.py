"""What is said of machine states: each in its turn, the one before ended, nothing that the step does not bring."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import pytest

from diag.ask import forms_mend
from diag.ask.reply import reply
from diag.ask.turn import LISTED, Turn, turn
from diag.call.desk import CallDesk, Desk, now
from diag.errors import UsageError
from diag.knowledge.base import Knowledge
from diag.reason.cautions import THEN, cautions_for, cautions_of_check, in_order, spoken_of_check
from diag.reason.judge import Engine


def opened(whole: Knowledge) -> CallDesk:
    """Return a phone call of which the place is asked for."""
    call = Desk(Engine(whole, counter=True)).new_call("phone")
    call.set_situation({"flags": []})
    return call


def said(call: CallDesk, check: str) -> str:
    """Say yes to what is said before a check; return it."""
    asked: Turn = turn(call, check)
    if asked.kind != "say":
        return ""
    found = reply(call, asked, "1")
    assert found.record is not None
    found.record(call)
    return asked.asks


def test_a_later_state_is_said_after_the_first(whole: Knowledge) -> None:
    """A strip is driven, then dug: the engine is not off and the planter moving in one breath."""
    words = in_order(whole, spoken_of_check(whole, whole.checks["slow_pass_compare"]))
    first, then = words.split(THEN)
    assert whole.states["planting"].spoken == first.strip()
    assert then.startswith(whole.states["parked_safe"].spoken or "?")


def test_a_state_ends_the_one_before(whole: Knowledge) -> None:
    """Engine off holds for the next look; after a strip was driven it is said again before hands go on."""
    call = opened(whole)
    stopped = whole.states["parked_safe"].spoken or ""
    assert stopped in said(call, "harness_fold_look")
    call.answer("harness_fold_look", outcome="ok")
    assert stopped not in said(call, "cover_latch")
    call.answer("cover_latch", outcome="ok")
    driven = said(call, "slow_pass_compare")
    assert (whole.states["planting"].spoken or "?") + " " + THEN + stopped in driven
    call.answer("slow_pass_compare", outcome="same")
    assert stopped not in said(call, "seal_feel")
    assert (whole.states["planting"].spoken or "?") in said(call, "cab_rows_bar")
    call.answer("cab_rows_bar", outcome="even")
    assert stopped in said(call, "seal_seat")


def test_less_vacuum_brings_no_bursting_wheel(whole: Knowledge) -> None:
    """A wheel that turns too fast is a danger of more oil; neither it nor a driveline belongs to a step down."""
    for cause, wanted in (("vac_set_low", {"fan_too_fast"}), ("vac_set_high", set())):
        repair = whole.causes[cause].repair
        assert wanted == {c.id for c in cautions_for(whole, repair.hazards, "phone") if c.word == "DANGER"}
    step = cautions_of_check(whole, whole.checks["vac_lower_step"], "phone")
    assert set() == {c.id for c in step if c.word == "DANGER"}


def test_from_the_seat_nobody_is_near_a_driveline(whole: Knowledge) -> None:
    """Where everything is read from the seat, the driveline of the fan is no danger to be typed."""
    seat = [c for c in whole.checks.values() if {s.state for s in c.steps} == {"fan_on_from_seat"}]
    assert len(seat) > 5
    for check in seat:
        told = cautions_of_check(whole, check, "phone", machine={"fan": "pto_fan"})
        assert (check.id, False) == (check.id, "turning_driveline" in {c.id for c in told})


def test_no_repair_before_the_call(whole: Knowledge) -> None:
    """A repair before the call began is refused with the time it began; what was done since is taken."""
    call = opened(whole)
    later = replace(call.desk, clock=lambda: now() + timedelta(minutes=10))
    late = CallDesk(later, call.call, call.events, call.sealed)
    form = forms_mend.repair_form(late, ("harness_pinched",))
    with pytest.raises(UsageError, match="before this call began"):
        form.record(late, {"causes": ("harness_pinched",), "happened": "30 min ago"})
    assert () == late.state.repairs
    form.record(late, {"causes": ("harness_pinched",), "happened": "5 min ago"})
    assert 1 == len(late.state.repairs)


def met(call: CallDesk, check: str, fan: str) -> list[str]:
    """Answer what comes before a check, the fan's drive as given; return the kinds of what was asked."""
    kinds: list[str] = []
    while (asked := turn(call, check, form=False)).kind in ("axis", "place", "say", "danger"):
        kinds.append(asked.kind)
        typed = {"axis": fan if asked.axis == "fan" else "?", "danger": "DANGER"}.get(asked.kind, "1")
        found = reply(call, asked, typed)
        assert found.record is not None
        found.record(call)
    return kinds


@pytest.mark.parametrize(("fan", "danger"), [("hydraulic", False), ("shaft", True), ("?", True)])
def test_a_danger_of_some_machines_asks_for_the_machine_first(whole: Knowledge, fan: str, danger: bool) -> None:
    """What turns the fan is one question; the driveline is typed only where there is one, or nobody knows."""
    call = opened(whole)
    kinds = met(call, "motor_current", fan)
    assert "axis" == kinds[0]
    assert danger == ("danger" in kinds)
    assert "axis" not in met(call, "volt_row", fan)[:1]  # it is asked once


def test_a_check_that_its_own_question_rules_out_is_let_go(whole: Knowledge) -> None:
    """The tank's pressure was taken by hand; a hopper on each row is told: something else is asked."""
    call = opened(whole)
    assert "bulk_pressure_read" == turn(call, "bulk_pressure_read").key
    call.set_machine({"axes": {"fill": "box"}})
    assert "bulk_pressure_read" != turn(call, "bulk_pressure_read").key


def test_a_list_asks_what_applies_and_a_look_what_is_wrong(whole: Knowledge) -> None:
    """In a list of what may be so nothing is wrong or fine, and no number of more looks stands beside it."""
    call = opened(whole)
    lists = {key.partition(".")[0]: key for key in whole.questions if "." in key}
    asked = {name: turn(call, key) for name, key in lists.items() if not met(call, key, "?")}
    assert len(asked) > 1
    for name, one in asked.items():
        assert ("form", LISTED) == (one.kind, one.hint), name
        assert "same look" not in dict(one.beside), name
