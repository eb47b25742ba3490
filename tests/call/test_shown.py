"""Shown words: computed from tests and values only; what may be called confirmed, ruled out, possible."""

from __future__ import annotations

import pytest
from writeup import alder_flat
from writeup.alder_flat import EVEN, LOW, MOVED, Case, shown_word

from diag.call.case_of import BACK
from diag.call.shown import Bench, outcomes_of, shown_words
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """One engine on the whole knowledge."""
    return Engine(whole, counter=True)


def on_site(engine: Engine) -> Case:
    """A call on site with machine, rows and complaint."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.call.set_complaint(alder_flat.WORDS, [("skips_high", "chosen")])
    return case


def mended(case: Case) -> str:
    """Record the new seal."""
    return case.call.repair(["seal_worn"], rows=[7], parts=[{"item": "vacuum seal", "qty": 1}]).id


def test_nothing_tested_is_not_tested(engine: Engine) -> None:
    """Without an answer no cause has a word, whatever is believed."""
    case = on_site(engine)
    assert {} == shown_words(case.call)
    assert "not_tested" == shown_word(case.call, "seal_worn")


def test_old_part_back_confirms(engine: Engine) -> None:
    """Bad before, good with the new part, bad with the old one back: confirmed, even before a verdict."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    mended(case)
    case.vacuum("after", EVEN)
    assert "probable" == shown_word(case.call, "seal_worn")
    case.vacuum("back", LOW, method=BACK)
    assert "confirmed" == shown_word(case.call, "seal_worn")
    assert tuple(case.named[n].id for n in ("before", "after", "back")) == Bench(case.call).reversal("seal_worn")


def test_old_setting_back_by_a_recorded_change_confirms(engine: Engine) -> None:
    """A temporary change that puts the old part back marks the reading by itself, without a word about the method."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    mended(case)
    case.vacuum("after", EVEN)
    case.call.record("change", {"part": "vacuum seal", "rows": [7], "before": "new", "after": "old", "temporary": True})
    case.vacuum("back", LOW)
    case.call.record("change", {"part": "vacuum seal", "rows": [7], "before": "old", "after": "new", "temporary": True})
    assert "confirmed" == shown_word(case.call, "seal_worn")


def test_another_change_is_no_reversal(engine: Engine) -> None:
    """A fault that returns while something else is changed for a test shows nothing about the part."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    mended(case)
    case.vacuum("after", EVEN)
    case.call.record("change", {"setting": "speed", "before": "5 mph", "after": "7 mph", "temporary": True})
    case.vacuum("back", LOW)
    assert "confirmed" != shown_word(case.call, "seal_worn")


def test_a_swap_shows_the_piece_not_a_part_in_it(engine: Engine) -> None:
    """When the fault moves with the whole meter, every cause inside it fits as well: none is confirmed by that."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    case.call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    case.vacuum("moved", MOVED)
    assert () != Bench(case.call).reversal("seal_worn")
    words = shown_words(case.call)
    assert "confirmed" not in words.values()
    assert "possible" == words["seal_worn"]


def test_a_swap_and_an_accepted_repair_are_one_reversal_short(engine: Engine) -> None:
    """The meter was shown by the swap, the seal by its repair alone: confirmed only once the old seal was back."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    case.call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    case.vacuum("moved", MOVED)
    case.call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    repair = mended(case)
    after = case.vacuum("after", EVEN)
    case.call.proof(repair, "accepted", [after.id])
    assert "probable" == shown_word(case.call, "seal_worn")
    case.vacuum("back", LOW, method=BACK)
    assert "confirmed" == shown_word(case.call, "seal_worn")


def test_rows_that_do_not_change_places_are_no_move(engine: Engine) -> None:
    """A swap after which the same row is still bad moved nothing."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    case.call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    case.vacuum("stays", LOW)
    assert () == Bench(case.call).reversal("seal_worn")


def test_a_good_reading_after_the_repair_alone_confirms_nothing(engine: Engine) -> None:
    """Mended and accepted without the old part back: one reversal short, so probable (rule R18 of the worked story)."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    repair = mended(case)
    after = case.vacuum("after", EVEN)
    assert "probable" == shown_word(case.call, "seal_worn")
    case.call.proof(repair, "accepted", [after.id])
    assert "probable" == shown_word(case.call, "seal_worn")


def test_a_proof_by_the_caller_alone_does_not_confirm(engine: Engine) -> None:
    """The grower says it is good now: the repair is accepted on his word, the cause stays below confirmed."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    repair = mended(case)
    after = case.call.answer("meter_swap", outcome="gone", observer="caller_did")
    case.call.proof(repair, "accepted", [after.id])
    assert "possible" == shown_word(case.call, "seal_worn")


def test_belief_never_confirms(engine: Engine) -> None:
    """A belief near 90 % by a caller's answers is at most possible."""
    case = alder_flat.opened(engine, "phone")
    alder_flat.machine(case)
    case.call.set_complaint("", [("skips_high", "chosen"), ("vac_low_row", "chosen")])
    position = engine.tables.position["seal_worn"]
    for key, check in engine.knowledge.questions.items():
        table = engine.tables.check(key)
        strong = [o for o in check.outcomes if table.shares[table.index(o), position] >= 0.45]
        if not check.measured and strong and table.ratio(strong[0], position) >= 5:
            case.call.answer(key, outcome=strong[0], observer="caller_did")
    top = case.call.think().judgement.ranking[0]
    assert ("seal_worn", True) == (top.cause, top.probability > 0.85)
    assert set(shown_words(case.call).values()) <= {"possible"}


def test_callers_rule_nothing_out(engine: Engine) -> None:
    """The same answer rules out when a technician gives it, never when a caller does."""
    for observer, ruled in (("technician", True), ("caller_did", False), ("guided", False)):
        case = on_site(engine)
        case.call.answer("meter_swap", outcome="stays", observer=observer, rows=(7,))
        assert ruled == (shown_word(case.call, "seal_worn") == "ruled_out")


def test_it_looked_fine_rules_nothing_out(engine: Engine) -> None:
    """A look whose outcome is the usual one carries no value: it never rules out, however much it speaks against."""
    tables = engine.tables
    looks = [
        (key, name, cause)
        for key, check in engine.knowledge.questions.items() if not check.measured
        for name, o in check.outcomes.items() if o.normal
        for cause in tables.causes if tables.check(key).ratio(name, tables.position[cause]) <= 0.1
    ]
    assert looks
    for key, name, cause in looks[:40]:
        case = alder_flat.opened(engine)
        case.call.answer(key, outcome=name, observer="technician")
        assert "ruled_out" != shown_word(case.call, cause)


def test_all_well_after_the_repair_says_nothing_of_others(engine: Engine) -> None:
    """Once a repair is accepted, a good reading after it does not rule out or support causes nobody touched."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    before = {c: w for c, w in shown_words(case.call).items() if c != "seal_worn"}
    repair = mended(case)
    after = case.vacuum("after", EVEN)
    case.call.proof(repair, "accepted", [after.id])
    assert before == {c: w for c, w in shown_words(case.call).items() if c != "seal_worn"}


def test_repaired_in_vain_is_not_probable(engine: Engine) -> None:
    """Mended, measured again, still bad: the tests that pointed at it no longer carry the word."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    repair = mended(case)
    after = case.vacuum("after", LOW)
    case.call.proof(repair, "not_accepted", [after.id])
    assert "inconclusive" == shown_word(case.call, "seal_worn")


def test_two_that_fit_alike_are_both_possible(engine: Engine) -> None:
    """One row low fits seal, hose, cover and seat alike: each is only possible (NFPA 921 s. 4.5, as quoted)."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    words = shown_words(case.call)
    assert {"possible"} == {words[c] for c in ("seal_worn", "row_hose_leak", "cover_not_latched", "seal_displaced")}


def test_a_call_without_any_value_confirms_nothing(engine: Engine) -> None:
    """A deciding look and a proof without any measured value stay below confirmed."""
    case = on_site(engine)
    case.call.answer("meter_swap", outcome="moves", observer="technician", rows=(7,))
    repair = mended(case)
    again = case.call.answer("meter_swap", outcome="gone", observer="technician", rows=(7,))
    case.call.proof(repair, "accepted", [again.id])
    assert "confirmed" not in shown_words(case.call).values()


def test_a_closed_call_keeps_what_was_judged(engine: Engine) -> None:
    """Outcomes of a closed call are those of its last judgement, whatever later knowledge would make of them."""
    case = on_site(engine)
    first = case.vacuum("before", LOW)
    case.call.judged("close")
    body = case.call.state.judged[-1].model_dump(exclude_unset=True)
    case.call.record("judged", {**body, "outcomes": {first.id: "even"}}, by="tool")
    assert "one_low" == outcomes_of(case.call)[first.id]
    case.call.record("closed", {"result": "mended"})
    assert "even" == outcomes_of(case.call)[first.id]


def test_bearing_tests_are_in_reading_order(engine: Engine) -> None:
    """The answers that speak for or against a cause come as they were given."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    case.call.answer("meter_swap", outcome="moves", observer="technician", rows=(7,))
    assert ["vac_manometer_row", "meter_swap"] == [t.check for t in Bench(case.call).tests("seal_worn") if t.ratio != 1]


def test_a_swap_confirms_the_piece_and_no_cause_inside_it(engine: Engine) -> None:
    """The fault went with the meter: shown for the meter; of the many causes inside it none is confirmed by that."""
    case = on_site(engine)
    case.call.set_situation({"rows": [3, 7]})
    case.call.set_complaint("Row 7 has holes and pairs.", [("skips_high", "chosen"), ("doubles_high", "chosen")])
    case.vacuum("before", LOW)
    alder_flat.swaps()(case)
    case.vacuum("moved", MOVED)
    alder_flat.meter_moves(case)
    case.call.answer("dug_fifty_called", values={"good": 44, "close": 15, "gap": 1}, observer="technician", rows=(3,))
    bench = Bench(case.call)
    moved = [c for c in bench.knowledge.causes if bench.reversal(c)]
    assert len(moved) > 1
    assert "confirmed" not in set(bench.words().values())


def in_two_rows(engine: Engine) -> Case:
    """A call with trouble in rows 3 and 7, the seal of row 7 mended and measured again."""
    case = on_site(engine)
    case.call.set_situation({"rows": [3, 7]})
    case.vacuum("before", LOW)
    mended(case)
    case.vacuum("after", EVEN)
    return case


def test_a_good_mended_row_acquits_no_other(engine: Engine) -> None:
    """Row 7 whole after its repair says nothing about row 3; row 3 found whole does."""
    case = in_two_rows(engine)
    before = shown_words(case.call)
    counted = {"good": 60, "close": 0, "gap": 0}
    case.call.answer("dug_fifty_called", values=counted, observer="technician", rows=(7,))
    assert before == shown_words(case.call)
    case.call.answer("dug_fifty_called", values=counted, observer="technician", rows=(3,))
    assert before != shown_words(case.call)


def test_what_another_row_reads_says_nothing_of_a_mended_cause(engine: Engine) -> None:
    """Row 3 with close pairs neither speaks for nor against the seal that was mended in row 7."""
    case = in_two_rows(engine)
    before = Bench(case.call).tests("seal_worn")
    case.call.answer("dug_fifty_called", values={"good": 44, "close": 15, "gap": 1}, observer="technician", rows=(3,))
    assert before == Bench(case.call).tests("seal_worn")


def test_a_repair_in_vain_leaves_its_cause_unsettled(engine: Engine) -> None:
    """Worn beside a new one, exchanged, and as bad as before: no longer probable, whatever speaks against it too."""
    case = in_two_rows(engine)
    pairs = {"good": 44, "close": 15, "gap": 1}
    case.call.answer("dug_fifty_called", values=pairs, observer="technician", rows=(3,))
    case.call.answer("sing_compare_new", value={"value": "0.8", "unit": "mm"}, observer="technician", rows=(3,))
    case.call.repair(["sing_worn"], rows=[3], words="New singulator at row 3.")
    case.call.answer("dug_fifty_called", values=pairs, observer="technician", rows=(3,))
    assert "inconclusive" == shown_word(case.call, "sing_worn")


def test_what_nobody_looked_at_is_not_tested(engine: Engine) -> None:
    """A question of the whole field speaks against many causes; none is tested by it. A look at the thing itself is."""
    case = on_site(engine)
    case.call.answer("planter_row_of_gap", outcome="no_row", observer="technician")
    bench = Bench(case.call)
    against = {c for c in bench.knowledge.causes for t in bench.tests(c) if t.ratio < 0.5}
    assert "seal_worn" in against
    assert not bench.aims("planter_row_of_gap", "seal_worn")
    assert "inconclusive" not in set(bench.words().values())
    assert bench.aims("seal_seat", "seal_displaced")
    case.call.answer("seal_seat", outcome="seated", observer="technician", rows=(7,))
    assert "inconclusive" == shown_word(case.call, "seal_displaced")
