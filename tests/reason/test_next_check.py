"""The next check: what is feasible, what it costs, what rules want, and what is done next."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from reason.helpers import said

from diag.call.desk import Desk
from diag.call.looks import members
from diag.knowledge.base import Knowledge
from diag.reason.case import Case, Instance, RepairDone
from diag.reason.feasible import check_minutes, usual_observer
from diag.reason.judge import Engine

AXES = {"fill": "bulk", "drive": "electric"}


@pytest.fixture
def engine(small: Knowledge) -> Engine:
    """An engine on the small knowledge."""
    return Engine(small)


def offered(engine: Engine, case: Case, **how: object) -> list[str]:
    """Return the ids offered, best first."""
    return [o.check for o in engine.judge(case, most=20, **how).plan.offers]  # type: ignore[arg-type]


def test_by_phone_only_checks_with_a_wording(engine: Engine) -> None:
    """Checks without phone wording are not offered by phone."""
    assert set(offered(engine, Case(channel="phone", axes=AXES))) == {
        "plain", "split", "what_changed.seed", "what_changed.bolt",
    }


def test_a_check_the_machine_cannot_have_is_not_offered(engine: Engine) -> None:
    """motor_amps needs an electric drive; with the drive unknown it is offered and says what to ask first."""
    assert "motor_amps" not in offered(engine, Case(axes={"drive": "chain"}))
    plan = engine.judge(Case(axes={"fill": "box"}), most=20).plan
    amps = next(o for o in plan.offers if o.check == "motor_amps")
    assert amps.axes_to_ask == ("drive",)


def test_asked_and_unsure_checks_are_not_offered_again(engine: Engine, small: Knowledge) -> None:
    """An answer, or "not sure", takes the check off the offers, after a repair too."""
    case = Case(axes=AXES, instances=(said(small, "plain", "ok"), said(small, "split", None)))
    assert not {"plain", "split"} & set(offered(engine, case))
    after = Case(axes=AXES, instances=case.instances, repairs=(RepairDone({"beta": 0.95}),))
    assert not {"plain", "split"} & set(offered(engine, after))


def test_rules_put_first(engine: Engine) -> None:
    """r_not wants `plain` first as long as nothing deciding was seen."""
    plan = engine.judge(Case(axes=AXES, symptoms=("thin",))).plan
    assert (plan.offers[0].check, plan.offers[0].first) == ("plain", True)


def test_preparation_makes_the_next_check_cheaper(engine: Engine, small: Knowledge) -> None:
    """With the meter open the second check under the cover costs 7 - 6 minutes."""
    check = small.questions["open_two"]
    assert check_minutes(check, Case(), engine.tables) == 7.0
    assert check_minutes(check, Case(prepared=frozenset({"meter_open"})), engine.tables) == 1.0


def test_by_phone_the_growers_minutes_count_while_the_planter_stands(engine: Engine, small: Knowledge) -> None:
    """plain is looked at parked: 2 desk + 4 grower minutes; were it told while he plants on: 2 + 0.25 x 4."""
    parked = small.questions["plain"]
    planting = parked.model_copy(update={"steps": small.questions["split"].steps})
    assert check_minutes(parked, Case(channel="phone"), engine.tables) == 6.0
    assert check_minutes(planting, Case(channel="phone"), engine.tables) == 3.0


def test_looks_are_offered_with_their_mates(engine: Engine) -> None:
    """A check under the cover brings the other one there into its form, until that was answered."""
    call = Desk(engine).new_call("site")
    assert members(call, "open_one") == ["open_one", "open_two"]
    call.answer("open_two", outcome="ok")
    assert members(call, "open_one") == ["open_one"]


def test_sure_enough_means_repair(engine: Engine, small: Knowledge) -> None:
    """When one cause carries the belief the repair is the next action, not another check."""
    case = Case(axes=AXES, symptoms=("thin",), instances=(said(small, "plain", "red"), said(small, "open_one", "bad")))
    j = engine.judge(case)
    assert (j.action, j.plan.repair, j.may_be_named) == ("repair", "alpha", True)


def test_a_cause_that_may_be_named_is_mended_before_more_is_asked(engine: Engine, small: Knowledge) -> None:
    """At .91 a check would still save minutes; the repair and its proof tell the same."""
    case = Case(axes=AXES, symptoms=("thin",), instances=(said(small, "plain", "red"), said(small, "split", "lower")))
    j = engine.judge(case)
    assert (j.action, j.plan.repair, j.may_be_named) == ("repair", "alpha", True)
    assert j.plan.offers[0].saves_minutes > 0


def test_by_phone_a_technicians_repair_means_driving_out(engine: Engine, small: Knowledge) -> None:
    """alpha is mended by a technician: by phone the same certainty means drive out, and to mend what."""
    seen = tuple(replace(said(small, "plain", "red"), rows=str(row)) for row in range(3))
    j = engine.judge(Case(channel="phone", axes=AXES, symptoms=("thin",), instances=seen))
    assert (j.ranking[0].cause, j.action, j.plan.repair) == ("alpha", "drive_out", "alpha")


def test_by_phone_a_cheap_likely_repair_comes_before_driving_out(engine: Engine, small: Knowledge) -> None:
    """beta is mended by a grower in ten minutes: worth trying before ninety minutes on the road."""
    seen = (said(small, "plain", "blue"), said(small, "split", "upper"))
    j = engine.judge(Case(channel="phone", axes=AXES, symptoms=("thin",), instances=seen))
    assert (j.action, j.plan.repair) == ("repair", "beta")


def test_naming_is_belief_alone(engine: Engine, small: Knowledge) -> None:
    """With nothing left to ask a cause is named only when it is believed: otherwise the call is handed on."""
    everything = tuple(said(small, c, None) for c in small.questions)
    j = engine.judge(Case(axes=AXES, instances=everything))
    assert (j.plan.open, j.may_be_named, j.action) == (frozenset(), False, "hand_over")


def test_refused_check_brings_its_stand_in_first(whole: Knowledge) -> None:
    """"Can't do that here" puts the stand-in first."""
    engine = Engine(whole)
    key = next(
        k for k, c in whole.questions.items()
        if c.takes.kind != "several" and any(s.check and whole.checks[s.check].minutes.site for s in c.stand_ins)
    )
    stand_ins = {s.check for s in whole.questions[key].stand_ins if s.check}
    flat = (1.0,) * len(whole.questions[key].outcomes)
    refused = Instance(key, "all", 0, None, flat, given=False, refused=True)
    offers = engine.judge(Case(instances=(refused,)), most=30).plan.offers
    firsts = {o.check for o in offers if o.first}
    assert firsts & stand_ins or not any(s in {o.check for o in offers} for s in stand_ins)


def test_without_the_tool_the_check_is_not_offered(whole: Knowledge) -> None:
    """A tool that is not at hand takes every check that needs it off the offers, by phone and on site."""
    engine = Engine(whole)
    tool = next(t for c in whole.checks.values() if c.minutes.site for t in c.tools)
    needs = {k for k, c in whole.questions.items() if tool in c.tools}
    offers = {o.check for o in engine.judge(Case(symptoms=("skips_high",)), most=500).plan.offers}
    case = Case(symptoms=("skips_high",), not_here=frozenset({tool}))
    less = {o.check for o in engine.judge(case, most=500).plan.offers}
    assert offers & needs
    assert less == offers - needs


def test_observers(small: Knowledge) -> None:
    """On site the technician; by phone guided, or a caller who dug or only talked."""
    assert usual_observer(small.questions["plain"], "site") == "technician"
    assert usual_observer(small.questions["plain"], "phone") == "guided"
    assert usual_observer(small.questions["split"], "phone") == "caller"


def test_what_only_a_stand_shows_waits_for_a_complaint_about_the_stand(whole: Knowledge) -> None:
    """On planting day nobody is sent to look at plants; when the stand is complained of it goes before the furrow."""
    engine = Engine(whole)
    seen = {key: c.when_seen for key, c in whole.questions.items()}
    planting = engine.planner.feasible.now(Case(symptoms=("skips_high",)))[0]
    stand = engine.planner.feasible.now(Case(symptoms=("gaps_after_emergence",)))[0]
    looked = Case(symptoms=("gaps_after_emergence",), instances=(said(whole, "row_line_look", None),))

    assert "emerged" not in {seen[k] for k in planting}
    assert ("emerged" in {seen[k] for k in stand}, "open_furrow" in {seen[k] for k in stand}) == (True, False)
    assert "open_furrow" in {seen[k] for k in engine.planner.feasible.now(looked)[0]}


def test_checks_belong_to_complaints_and_are_not_asked_when_told(whole: Knowledge) -> None:
    """A check bound to complaints is offered with one of them only; one that another answer holds is not asked."""
    engine = Engine(whole)
    bound = [(key, c) for key, c in whole.questions.items() if c.belongs_to and c.minutes.site]
    told = [(key, c) for key, c in whole.questions.items() if c.told_by and c.minutes.site]
    assert bound
    for key, check in bound:
        other = next(s for s in whole.symptoms if s not in check.belongs_to)
        assert key not in engine.planner.feasible.now(Case(symptoms=(other,)))[0]
    assert told
    for key, by in [(key, by) for key, check in told for by in check.told_by]:
        asked = engine.planner.feasible.now(_telling(whole, by, yes=False))[0]
        assert key not in engine.planner.feasible.now(_telling(whole, by, yes=True))[0]
        assert (key in asked) == (by in whole.symptoms or by not in whole.questions)


def _telling(k: Knowledge, by: str, yes: bool) -> Case:
    """A case that holds what tells a check (a symptom, a check made, something of a list), or not."""
    if by in k.symptoms:
        return Case(symptoms=(by,) if yes else (next(s for s in k.symptoms if s != by),))
    item = next((key for key in k.questions if key.startswith(f"{by}.")), by)
    return Case(instances=(said(k, item, None if item == by else "yes" if yes else "no"),))


def test_after_a_repair_the_check_that_showed_the_fault_comes_first(engine: Engine, small: Knowledge) -> None:
    """plain showed red, so it proves the repair; what was told is not asked again; after the proof only to close."""
    seen = (said(small, "plain", "red"), said(small, "split", "upper"), said(small, "open_one", "bad"))
    mended = Case(axes=AXES, symptoms=("thin",), instances=seen, repairs=(RepairDone({"alpha": 0.95}),),
                  to_prove=("alpha",))
    first = engine.judge(mended)
    proved = replace(mended, to_prove=(), proved=True, instances=(*seen, said(small, "plain", "ok", epoch=1)))

    assert ("prove", True) == (first.action, first.plan.offers[0].first)
    assert first.plan.offers[0].check in ("plain", "open_one")
    assert "split" not in offered(engine, mended)
    assert ("close", ()) == ((last := engine.judge(proved)).action, last.plan.offers)


def test_a_repair_below_likely_is_only_tried_when_it_can_be_undone(whole: Knowledge) -> None:
    """Whatever the complaint: with nothing left to ask, advice is likely, reversible, or to leave."""
    engine = Engine(whole)
    asked = tuple(said(whole, key, None) for key in whole.questions)
    for symptom in whole.symptoms:
        for channel in ("phone", "site"):
            j = engine.judge(Case(channel=channel, symptoms=(symptom,), instances=asked))
            believed = j.of(j.plan.repair) if j.plan.repair else None
            if j.action == "repair":
                assert believed is not None
                assert believed.probability >= 0.5
            elif j.action == "try":
                assert whole.causes[j.plan.repair or ""].repair.reversible
            else:
                assert j.action in ("drive_out", "hand_over")


def test_what_does_not_hang_together_is_measured_again_before_leaving(engine: Engine, small: Knowledge) -> None:
    """With nothing left to ask and answers in conflict the one that fits least is taken once more, and only once."""
    rest = tuple(said(small, c, None) for c in small.questions if c not in ("plain", "open_one"))
    case = Case(axes=AXES, instances=(said(small, "plain", "ok"), said(small, "open_one", "bad"), *rest))
    j = engine.judge(case)
    again = replace(case, instances=tuple(replace(i, events=("a", "b")) for i in case.instances))

    assert j.conflicts
    assert ("measure_again", j.conflicts[0].check) == (j.action, j.plan.again)
    assert "hand_over" == engine.judge(again).action


@pytest.mark.parametrize("seed", range(3))
def test_answers_that_fit_no_cause_leave_a_next_step(whole: Knowledge, seed: int) -> None:
    """A hundred answers drawn blindly leave nearly all belief with the unknown; there is still something to do."""
    rng = random.Random(seed)
    checks = [k for k in whole.questions if "." not in k][:100]
    told = tuple(said(whole, key, rng.choice(list(whole.questions[key].outcomes))) for key in checks)
    judgement = Engine(whole).judge(Case(channel="site", symptoms=("skips_high",), instances=told))
    assert judgement.belief.unknown > 0.99
    assert judgement.plan.action in ("check", "measure_again", "hand_over")
