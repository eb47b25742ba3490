"""The shipped knowledge against the never-ask-a-caller list, by named cases and by rule.

The list rests on: NIOSH publication 2004-101 on 29 CFR 1928.57 (stop, disconnect, wait for all movement to stop;
no riders; everyone clear), HSE (UK) safe maintenance, Univ. of Maine Bulletin 2316 (free-wheeling parts),
FReSH Community of Practice 2012 (oil under pressure), NASD operator safety with planting equipment.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

import pytest

from diag.knowledge.base import Knowledge
from diag.knowledge.lint.safety import BESIDE, BLOWING, FITTINGS, HANDS, MOUTH, RAISED, asks
from diag.knowledge.model import Check, Step
from diag.reason.cautions import cautions_of_check


def running(knowledge: Knowledge, step: Step) -> bool:
    """Whether fan, meters or planter may move in this step."""
    state = knowledge.states[step.state]
    return state.fan or state.moving


def texts(knowledge: Knowledge) -> Iterator[tuple[str, str]]:
    """Yield (id, text) of everything that somebody may be told to do."""
    for key, check in knowledge.checks.items():
        yield from ((key, step.do) for step in check.steps)
        yield from ((key, text) for text in (check.phone, check.why) if text)
        yield from ((key, s.do) for s in check.stand_ins if s.do)
        for outcome in (*check.outcomes.values(), *check.items.values()):
            yield from ((key, text) for text in (outcome.advise, outcome.says) if text)
    for key, cause in knowledge.causes.items():
        yield key, cause.repair.do
        yield key, cause.prevention
        if cause.interim:
            yield from ((key, text) for text in (cause.interim.do, cause.interim.watch))
    for key, rule in knowledge.rules.items():
        yield from ((key, text) for text in (rule.then.warns, rule.then.advises) if text)


def spoken(check: Check) -> str:
    """Everything a check tells somebody to do, in one piece."""
    return " ".join([check.phone or "", *(step.do for step in check.steps)])


# --- the named cases ----------------------------------------------------------------------------

STOP_BETWEEN = ("vac_block_row", "vac_tape_manifold", "vac_block_branch", "gauge_vs_manometer", "seed_leak_watch")
"""Things fitted with the fan stopped and read with it running: cork, tape, blanks, water column, sheet."""

STOPPED_ONLY = ("vac_hose_walk", "drag_compare", "fan_outlet_look", "cover_latch", "seal_seat", "hub_play")
"""Hands on hoses, meters, outlet and cover: only with everything stopped."""

TECHNICIAN_ONLY = ("coupler_push", "case_drain_flow", "outlet_look", "impeller_look", "bulk_hose_shake")
"""Oil couplers and drain, under a raised row, inside the fan: never by phone."""


@pytest.mark.parametrize("key", STOP_BETWEEN)
def test_fitted_stopped_and_read_running(whole: Knowledge, key: str) -> None:
    """No palm or cork on a hose, no tape round a joint, no tray under a row while the fan runs."""
    check = whole.checks[key]
    states = [running(whole, step) for step in check.steps]
    assert True in states
    assert False in states[states.index(True) :]
    assert [] == [step.do for step in check.steps if running(whole, step) and asks(HANDS, step.do)]


@pytest.mark.parametrize("key", STOPPED_ONLY)
def test_hands_only_when_stopped(whole: Knowledge, key: str) -> None:
    """Hoses are tugged, meters turned by hand, the outlet looked into and the cover felt with all stopped."""
    check = whole.checks[key]
    assert [] == [step.state for step in check.steps if running(whole, step)]


@pytest.mark.parametrize("key", TECHNICIAN_ONLY)
def test_never_by_phone(whole: Knowledge, key: str) -> None:
    """Some checks no caller is ever asked for."""
    check = whole.checks[key]
    assert (None, "technician") == (check.phone, check.who)


def test_wing_is_not_moved_while_hoses_are_felt(whole: Knowledge) -> None:
    """The hose walk does not fold a wing, and no check folds one while hands are at it."""
    assert "fold_unfold" not in whole.checks["vac_hose_walk"].all_hazards
    for check in whole.checks.values():
        for step in check.steps:
            if "fold_unfold" in step.hazards:
                assert not asks(HANDS, step.do)


def test_no_meter_is_turned_by_hand_under_a_running_fan(whole: Knowledge) -> None:
    """Turning a meter by hand stands in a dead state wherever it is asked."""
    turned = re.compile(r"\bturn\w*\b[^.]*\bby hand\b", re.IGNORECASE)
    found = [(k, s.state) for k, c in whole.checks.items() for s in c.steps if asks(turned, s.do)]
    assert found
    assert [] == [(k, state) for k, state in found if whole.states[state].fan or whole.states[state].moving]


def test_nobody_walks_beside_a_crawling_planter(whole: Knowledge) -> None:
    """Whether a meter turns is read off chalk marks after a stop, not beside the moving row."""
    watch = whole.checks["meter_turn_watch"]
    assert {"parked_safe", "moving_slowly"} == {step.state for step in watch.steps}
    for key, check in whole.checks.items():
        for step in check.steps:
            if whole.states[step.state].moving:
                assert (key, "") == (key, asks(BESIDE, step.do))


def test_no_mouth_on_a_line(whole: Knowledge) -> None:
    """Lines may hold seed-treatment dust: nobody blows or sucks on one."""
    assert [] == [(key, text) for key, text in texts(whole) if asks(MOUTH, text)]


def test_nothing_is_blown_out(whole: Knowledge) -> None:
    """No check, repair, advice or prevention blows out meters, fans, hoppers or lines."""
    assert [] == [(key, text) for key, text in texts(whole) if asks(BLOWING, text)]
    assert "Use a vacuum cleaner with a fine filter" in whole.cautions["no_compressed_air"].text
    assert not any("compressed_air" in check.all_hazards for check in whole.checks.values())


def test_oil_is_never_opened_by_phone(whole: Knowledge) -> None:
    """Couplers, case drain and fittings: neither the words nor the hazards of a phone check open them."""
    for key, check in whole.checks.items():
        if check.phone:
            assert (key, "") == (key, asks(FITTINGS, spoken(check)))
            assert not {"hydraulic_open", "couplers", "hydraulic_holds_weight"} & set(check.all_hazards)


def test_nobody_goes_under_a_raised_row_by_phone(whole: Knowledge) -> None:
    """Looking up an outlet means locks, stands and a technician."""
    for key, check in whole.checks.items():
        if asks(RAISED, spoken(check)):
            assert (key, None) == (key, check.phone)
            assert "under_machine" in check.all_hazards


# --- by rule ------------------------------------------------------------------------------------


def test_hands_on_hazards_only_in_dead_states(whole: Knowledge) -> None:
    """Hands in the meter, at the fan or at oil lines: parked safe, on the bench, or in a planted field."""
    for key, check in whole.checks.items():
        for step in check.steps:
            for name in (*check.hazards, *step.hazards):
                if whole.hazards[name].hands_on:
                    assert (key, name, True) == (key, name, whole.states[step.state].hands_on)


def test_running_states_carry_their_cautions(whole: Knowledge) -> None:
    """A step with the fan running or the planter moving has a hazard that brings a caution, phone or not."""
    told = {h for caution in whole.cautions.values() for h in caution.hazards}
    for key, check in whole.checks.items():
        if any(running(whole, step) for step in check.steps):
            assert (key, True) == (key, bool(set(check.all_hazards) & told))


def test_meters_under_power_have_people_named(whole: Knowledge) -> None:
    """Turning meters by power always brings the caution about other people with it."""
    assert "bystanders" in whole.hazards["meter_turned_by_power"].wants
    for key, check in whole.checks.items():
        states = {step.state for step in check.steps}
        if "meter_turned_parked" in states:
            assert (key, True) == (key, "meter_turned_by_power" in check.all_hazards)


def test_the_events_that_end_a_diagnosis(whole: Knowledge) -> None:
    """Somebody hurt, oil through the skin, ammonia on a person, a line touched, driving, doubt: stop at once."""
    stopping = {f for caution in whole.cautions.values() if caution.stops for f in caution.flags}
    assert {"injured", "oil_through_skin", "nh3_on_person", "line_contact", "driving", "unsure"} == stopping


def test_the_seed_tag_keeps_its_own_word(whole: Knowledge) -> None:
    """The tag's signal word is quoted as the tag's and never merged with ours."""
    caution = whole.cautions["seed_tag_own_word"]
    assert "Tag says" in caution.text
    assert any("seed label" in authority for authority in caution.defers_to)


def test_somebody_else_has_the_last_word(whole: Knowledge) -> None:
    """Deferrals to manual, seed label, local rules and licensed work are all made somewhere."""
    authorities = " ".join(a for caution in whole.cautions.values() for a in caution.defers_to)
    for authority in ("operator's manual", "seed label", "local rules", "licensed work"):
        assert authority in authorities


def test_every_flag_brings_a_caution(whole: Knowledge) -> None:
    """What is said about the situation is never without effect on what is shown."""
    assert [] == [f for f in whole.flags if not any(f in c.flags for c in whole.cautions.values())]


def test_cautions_can_be_read_aloud(whole: Knowledge) -> None:
    """No sentence of a caution is longer than two lines of fifteen words."""
    for key, caution in whole.cautions.items():
        for sentence in re.split(r"(?<=[.:])\s+", caution.text):
            assert (key, True) == (key, len(sentence.split()) <= 30)


def test_four_questions_come_with_the_first_hands_on_step_by_phone(whole: Knowledge) -> None:
    """A hazard that a caller may meet with his hands brings the four-question gate, on the phone only."""
    for key, hazard in whole.hazards.items():
        if hazard.hands_on and not hazard.never_phone:
            assert (key, True) == (key, "phone_guided" in hazard.wants)
    gate = whole.cautions["four_answers_first"]
    assert ("phone", ("phone_guided",)) == (gate.channel, gate.hazards)
    assert 4 == gate.text.count("?")


def test_the_four_question_gate_comes_before_every_hands_on_step_by_phone(whole: Knowledge) -> None:
    """Whatever a caller does at the parked machine, the gate is shown first; on site it is not."""
    gate = next(c.id for c in whole.cautions.values() if "phone_guided" in c.hazards)
    touching = {"parked_safe", "bench"}
    hands_on = [c for c in whole.checks.values() if c.phone and touching & {s.state for s in c.steps}]
    assert len(hands_on) > 50
    for check in hands_on:
        assert gate in {c.id for c in cautions_of_check(whole, check, "phone")}, check.id
        assert gate not in {c.id for c in cautions_of_check(whole, check, "site")}


def test_a_running_fan_brings_its_driveline_where_it_may_have_one(whole: Knowledge) -> None:
    """A fan on the tractor shaft turns a driveline: told there and where the machine is not known, not on oil fans."""
    running = [c for c in whole.checks.values() if "fan_running" in c.all_hazards]
    assert len(running) > 10
    lines = {c.id for c in whole.cautions.values() if "pto" in c.hazards}
    for check in running:
        for machine, told in (({"fan": "pto_fan"}, True), ({}, True), ({"fan": "hydraulic_fan"}, False)):
            found = {c.id for c in cautions_of_check(whole, check, "phone", machine=machine)}
            assert (check.id, machine, told) == (check.id, machine, lines <= found)


def test_a_broken_frame_keeps_hands_off_the_rows(whole: Knowledge) -> None:
    """With the frame in doubt nothing is offered that puts somebody beside or below a row unit."""
    blocked = {b for r in whole.rules.values() for b in r.then.blocks if r.when.flag == "structure_broken"}
    near = {"row_unit_pinch", "under_machine", "sharp_discs", "chain_drive"}
    assert set() == {c.id for c in whole.checks.values() if near & set(c.all_hazards)} - blocked
