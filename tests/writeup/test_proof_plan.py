"""The plan of a proof: which check, which rows, how many seeds, and what the numbers since the repair say."""

from __future__ import annotations

import pytest
from writeup import alder_flat
from writeup.alder_flat import EVEN, LOW, Case

from diag.call.case_of import BACK
from diag.errors import UsageError
from diag.measure.proof import sequential
from diag.reason.judge import Engine
from diag.writeup.proof_plan import proof_plan


def mended(engine: Engine, cause: str = "seal_worn", show: bool = True) -> Case:
    """A call with a seal renewed in row 7."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    if show:
        case.vacuum("before", LOW)
    case.named["repair"] = case.call.repair([cause], rows=[7])
    return case


def test_the_method_that_showed_the_fault_comes_first(engine: Engine) -> None:
    """The row map showed it, so the row map is to be read again; without a reading the best proof is offered."""
    plan = proof_plan(mended(engine).call)
    assert ("Vacuum at the meters, not at the fan", True) == (plan.asks, plan.same_method)
    other = proof_plan(mended(engine, show=False).call)
    best = engine.knowledge.questions[engine.knowledge.verifications["row_meter"].checks[0]]
    assert (best.asks.rstrip("."), False) == (other.asks, other.same_method)


def test_the_control_is_the_nearest_good_row(engine: Engine) -> None:
    """Row 7 mended, row 6 beside it; where 6 is in trouble too, row 5 or 8."""
    assert ((7,), 6) == (lambda p: (p.rows, p.control))(proof_plan(mended(engine).call))
    case = mended(engine)
    case.call.set_situation({"rows": [6, 7]})
    assert 8 == proof_plan(case.call).control


def test_no_control_where_the_proof_needs_none(engine: Engine) -> None:
    """A gauge is proved against water, not against another row."""
    assert proof_plan(mended(engine, "gauge_wrong").call).control is None


def test_three_steps_with_seeds_and_minutes(engine: Engine) -> None:
    """Roll, file and claim: more seeds, more row and more minutes each, and what each leaves open."""
    plan = proof_plan(mended(engine).call)
    assert ["roll", "file", "claim"] == [s.name for s in plan.steps]
    assert [100, 300, 500] == [s.seeds for s in plan.steps]
    minutes = [s.minutes for s in plan.steps]
    assert sorted(minutes) == minutes
    assert all(s.cannot_show and not s.reached for s in plan.steps)


def test_300_seeds_in_30_inch_rows_at_32000_are_163_feet(engine: Engine) -> None:
    """300 spacings at 32,000 seeds/ac in 30 in rows are 163 ft of row (arithmetic: 6.53 in each)."""
    case = mended(engine)
    case.call.set_situation({"target": {"value": "32000", "unit": "seeds/ac"}})
    length = {s.name: s.length for s in proof_plan(case.call).steps}["file"]
    assert length is not None
    assert 163 == round(length / 0.3048)


def test_not_yet_without_a_reading(engine: Engine) -> None:
    """Nothing measured since the repair: not yet, and says so."""
    plan = proof_plan(mended(engine).call)
    assert "not_yet" == plan.verdict
    assert "measured since the repair" in plan.why


def test_accepted_when_the_proving_check_passes(engine: Engine) -> None:
    """All rows alike again, the control unmoved: accepted, resting on that answer."""
    case = mended(engine)
    case.vacuum("after", EVEN)
    plan = proof_plan(case.call)
    assert ("accepted", "") == (plan.verdict, plan.better)


def test_the_reading_with_the_old_part_back_proves_nothing(engine: Engine) -> None:
    """Bad again with the old seal is the reversal, not the proof."""
    case = mended(engine)
    case.vacuum("after", EVEN)
    case.vacuum("back", LOW, method=BACK)
    assert "accepted" == proof_plan(case.call).verdict


def test_not_accepted_and_better_leads_on(engine: Engine) -> None:
    """From 12 to 16 inH2O with the others at 20: better, but not right; a second fault may be there."""
    case = mended(engine)
    case.vacuum("after", {**EVEN, 7: 16})
    plan = proof_plan(case.call)
    assert "not_accepted" == plan.verdict
    assert "not right" in plan.better


def test_no_change_leads_on_too(engine: Engine) -> None:
    """Still 12: the repair may have been in vain."""
    case = mended(engine)
    case.vacuum("after", LOW)
    assert "in vain" in proof_plan(case.call).better


def test_a_control_that_moved_too_proves_nothing(engine: Engine) -> None:
    """When the good rows rise as the mended one does, something else was changed: not proved by this."""
    case = mended(engine)
    case.vacuum("after", dict.fromkeys(EVEN, 30))
    plan = proof_plan(case.call)
    assert "not_yet" == plan.verdict
    assert "control row moved" in plan.why


def test_counting_may_stop_early(engine: Engine) -> None:
    """Dug spacings count toward the steps; the early-stopping test stands where the published form puts it."""
    case = mended(engine, show=False)
    for _ in range(2):
        case.call.answer("dug_50_spacings", spacings={"unit": "in", "values": ["6.1"] * 60}, observer="instrument",
                         rows=(7,), method=f"run {_}")
    plan = proof_plan(case.call)
    assert sequential(0, 120, 0.01, 0.06) == plan.state
    assert [True, False, False] == [s.reached for s in plan.steps]
    assert "accepted" == plan.verdict


def test_too_few_seeds_are_not_yet(engine: Engine) -> None:
    """Sixty good spacings are less than the least step asks for."""
    case = mended(engine, show=False)
    dug = {"unit": "in", "values": ["6.1"] * 60}
    case.call.answer("dug_50_spacings", spacings=dug, observer="instrument", rows=(7,))
    plan = proof_plan(case.call)
    assert "not_yet" == plan.verdict
    assert "100 are the least" in plan.why


def test_no_repair_no_plan(engine: Engine) -> None:
    """There is nothing to prove before a repair, nor after an interim measure."""
    case = alder_flat.opened(engine)
    with pytest.raises(UsageError, match="no repair"):
        proof_plan(case.call)
    case.call.repair(["seal_worn"], kind="interim")
    with pytest.raises(UsageError, match="no repair"):
        proof_plan(case.call)


def test_every_repair_has_a_plan(engine: Engine) -> None:
    """For each kind of repair in the knowledge there is a check to prove it with."""
    for cause in {c.repair.verify: c.id for c in engine.knowledge.causes.values()}.values():
        case = alder_flat.opened(engine)
        alder_flat.machine(case)
        case.call.repair([cause], rows=[7])
        plan = proof_plan(case.call)
        assert plan.asks
        assert plan.accept
