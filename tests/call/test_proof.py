"""The judgement on a repair: which readings count, what they say, what control rows and counts do to it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import pytest
from writeup import alder_flat
from writeup.alder_flat import EVEN, LOW, Case

from diag.call.case_of import BACK
from diag.call.proof import Proved, Sample, proofs_of, together
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """One engine on the whole knowledge."""
    return Engine(whole, counter=True)


@pytest.fixture
def case(engine: Engine) -> Case:
    """A call with machine and trouble in row 7, nothing measured."""
    made = alder_flat.opened(engine)
    alder_flat.machine(made)
    return made


def mend(case: Case, rows: Sequence[int] | None = (7,), cause: str = "seal_worn") -> str:
    """Record a repair; return its event."""
    return case.call.repair([cause], rows=rows).id


def called(case: Case, good: int, close: int, gap: int, rows: Sequence[int] = (7,), **more: str) -> str:
    """Record spacings called out; return the event. It proves a meter: good means good."""
    counts = {"good": good, "close": close, "gap": gap}
    return case.call.answer("dug_fifty_called", values=counts, observer="technician", rows=rows, **more).id


def turned(case: Case, outcome: str, *rows: int, **more: str) -> str:
    """Record one row turned by power while parked; return the event."""
    return case.call.answer("static_meter_turn", outcome=outcome, observer="technician", rows=rows or None, **more).id


def proved(case: Case) -> Proved:
    """Return the judgement on the only repair."""
    (found,) = proofs_of(case.call).values()
    return found


def test_only_readings_that_prove_it_count(case: Case) -> None:
    """What the repair is proved by counts, and what showed the fault; another good answer since then proves nothing."""
    mend(case)
    case.call.answer("fan_rpm", value={"value": "4000", "unit": "rpm"}, observer="instrument")
    assert ("not_yet", ()) == (proved(case).says, proved(case).answers)
    assert proved(case).why.startswith("Nothing that proves it has been measured")
    good = turned(case, "meter_good_static", 7)
    assert ("accepted", (good,)) == (proved(case).says, proved(case).answers)


def test_looking_at_what_was_mended_proves_nothing(case: Case) -> None:
    """A cable found cut and then looked at again is whole; that the rows plant is another thing, and comes next."""
    case.call.answer("harness_fold_look", outcome="damaged", observer="technician")
    mend(case, rows=None, cause="harness_pinched")
    assert "harness_fold_look" != case.call.think().judgement.plan.offers[0].check
    case.call.answer("harness_fold_look", outcome="ok", observer="technician")
    assert ("not_yet", True) == (proved(case).says, "nobody has looked at yet" in proved(case).why)
    case.call.answer("dig_behind_row", outcome="seed_normal", observer="technician")
    assert "accepted" == proved(case).says


def test_a_mended_part_that_looks_bad_again_is_not_accepted(case: Case) -> None:
    """The look proves nothing for the repair, but it can speak against it."""
    case.call.answer("harness_fold_look", outcome="damaged", observer="technician")
    mend(case, rows=None, cause="harness_pinched")
    case.call.answer("harness_fold_look", outcome="damaged", observer="technician")
    assert "not_accepted" == proved(case).says


def test_a_check_that_showed_the_fault_proves_the_repair(case: Case) -> None:
    """Bad before the repair, so good after it counts, although this repair does not name that check."""
    case.call.answer("bench_run", outcome="bad", observer="technician", rows=(7,))
    mend(case, cause="gauge_wrong")
    after = case.call.answer("bench_run", outcome="good", observer="technician", rows=(7,)).id
    assert (after,) == proved(case).answers


def test_the_person_s_verdict_stands_beside_the_readings(case: Case) -> None:
    """Nothing while nobody judged; the last one of several; accepted against the readings is told."""
    repair = mend(case)
    assert ("", False, False) == (proved(case).verdict, proved(case).stands, proved(case).against)
    answer = turned(case, "bad_static", 7)
    for verdict in ("not_yet", "accepted"):
        case.call.record("proof", {"target": repair, "answers": [answer], "verdict": verdict})
    told = proved(case)
    assert ("not_accepted", "accepted") == (told.says, told.verdict)
    assert (True, True, False) == (told.against, told.failed, told.stands)
    assert told.why == "One row turned by power while parked, row 7: " \
                       f"{case.call.engine.knowledge.questions['static_meter_turn'].outcomes['bad_static'].says}."


def test_the_last_reading_of_each_place_decides(case: Case) -> None:
    """Bad at first and good after it was looked at again: accepted."""
    mend(case)
    turned(case, "bad_static", 7)
    turned(case, "meter_good_static", 7)
    assert proved(case).says == "accepted"


def test_what_was_changed_for_a_test_or_put_back_does_not_count(case: Case) -> None:
    """A reading with the old part back is no reading of the repair."""
    mend(case)
    turned(case, "meter_good_static", 7, method=BACK)
    assert ((), "not_yet") == (proved(case).answers, proved(case).says)


def test_another_place_was_mended_than_the_trouble_is_at(case: Case) -> None:
    """Row 3 mended, row 7 in trouble: good readings in row 3 prove nothing."""
    mend(case, rows=[3])
    turned(case, "meter_good_static", 3)
    assert ("not_yet", "It was mended at row 3; the trouble is at row 7.") == (proved(case).says, proved(case).why)


@pytest.mark.parametrize(
    ("read", "missing"), [((6,), "rows 5, 7, 8"), ((6, 7), "rows 5, 8"), ((5, 6, 7), ""), ((), "")]
)
def test_of_many_rows_three_are_measured_again(case: Case, read: tuple[int, ...], missing: str) -> None:
    """Four rows mended: three good ones are enough, a reading of all of them too; else the others are named."""
    case.call.set_situation({"rows": [5, 6, 7, 8]})
    mend(case, rows=[5, 6, 7, 8])
    for rows in [(row,) for row in read] or [()]:
        turned(case, "meter_good_static", *rows)
    told = proved(case)
    assert ("not_yet" if missing else "accepted") == told.says
    assert not missing or told.why == f"Not measured since the repair: {missing}."


# --- control rows ---------------------------------------------------------------------------------------


def test_a_reading_of_good_rows_alone_is_a_control(case: Case) -> None:
    """Row 5 lies beside the repair: its reading proves nothing, and a bad one holds the verdict back."""
    mend(case)
    beside = turned(case, "bad_static", 5)
    assert ((), (beside,), "not_yet") == (proved(case).answers, proved(case).control, proved(case).says)
    turned(case, "meter_good_static", 7)
    told = proved(case)
    assert told.says == "not_yet"
    assert told.why.startswith("The control row is bad as well. One row turned by power while parked, row 5: ")
    turned(case, "meter_good_static", 5)
    assert told.needs_control


def test_a_map_holds_its_own_control(case: Case) -> None:
    """A map of vacuum over rows 4 to 9 is a reading of row 7 and of good rows; over rows in trouble alone it is not."""
    mend(case)
    after = case.vacuum("after", EVEN).id
    assert ((after,), (after,)) == (proved(case).answers, proved(case).control)
    case.call.set_situation({"rows": sorted(EVEN)})
    assert () == proved(case).control


@pytest.mark.parametrize(("now", "says"), [(20, "accepted"), (27, "accepted"), (29, "not_yet"), (30, "not_yet")])
def test_good_rows_that_moved_half_as_much_spoil_the_proof(case: Case, now: int, says: str) -> None:
    """From 28 on every good row rises half as much as row 7, 8 of 16 inH2O: something else was changed too."""
    case.vacuum("before", LOW)
    mend(case)
    case.vacuum("after", dict.fromkeys(EVEN, now))
    told = proved(case)
    assert says == told.says
    assert says == "accepted" or told.why == \
        "The control row moved as much as the repaired one: the repair is not proved by this."


def test_one_good_row_that_did_not_move_is_enough(case: Case) -> None:
    """Some good rows rose with the repaired one, row 4 did not: the repair stands."""
    case.vacuum("before", {**LOW, 4: 27})
    mend(case)
    case.vacuum("after", dict.fromkeys(EVEN, 28))
    assert proved(case).says == "accepted"


# --- counts ---------------------------------------------------------------------------------------------


def test_counts_of_one_check_in_the_same_rows_are_pooled(case: Case) -> None:
    """Two runs in row 7 are one sample; the control row's stand apart; close and gap are bad."""
    mend(case)
    runs = called(case, 58, 1, 1, method="run 1"), called(case, 60, 0, 0, method="run 2")
    beside = called(case, 59, 0, 1, rows=(6,))
    told = proved(case)
    assert (Sample("dug_fifty_called", (7,), 2, 120, events=runs),) == told.after
    assert (Sample("dug_fifty_called", (6,), 1, 60, events=(beside,)),) == told.control_counts
    assert (runs, (beside,)) == (told.answers, told.control)


def test_before_the_repair_the_last_count_of_each_check_stands(case: Case) -> None:
    """Two counts before it: the older is not added, and good rows are left out."""
    called(case, 50, 5, 5, method="run 1")
    last = called(case, 40, 0, 10)
    called(case, 60, 0, 0, rows=(6,))
    mend(case)
    called(case, 100, 0, 0)
    assert (Sample("dug_fifty_called", (7,), 10, 50, events=(last,)),) == proved(case).before


@pytest.mark.parametrize(("seeds", "says"), [(99, "not_yet"), (100, "accepted")])
def test_a_hundred_seeds_are_the_least(case: Case, seeds: int, says: str) -> None:
    """A meter is proved by a hundred seeds or more."""
    mend(case)
    called(case, seeds, 0, 0)
    assert says == proved(case).says
    assert says == "accepted" or proved(case).why == "99 seeds counted; 100 are the least."


def test_a_count_of_so_many_in_so_many_is_a_sample(case: Case) -> None:
    """3 of 300 is what it says."""
    mend(case)
    made = case.call.answer("bench_run", value={"count": 3, "of": 300}, observer="technician", rows=(7,)).id
    assert (Sample("bench_run", (7,), 3, 300, events=(made,)),) == proved(case).after


# --- several repairs --------------------------------------------------------------------------------------


def test_what_is_measured_between_two_repairs_belongs_to_the_first(case: Case) -> None:
    """Nothing between: both rest on what came after both."""
    first = mend(case)
    turned(case, "bad_static", 7)
    second = mend(case, cause="holes_worn")
    turned(case, "meter_good_static", 7)
    found = proofs_of(case.call)
    assert {first: "not_accepted", second: "accepted"} == {event: told.says for event, told in found.items()}


@pytest.mark.parametrize(
    ("steps", "sets"),
    [
        ({"seal_worn": False, "holes_worn": False}, [{"seal_worn", "holes_worn"}]),
        ({"seal_worn": True, "holes_worn": False}, []),
        ({"seal_worn": False, "holes_worn": False, "disc_warped": False}, [{"seal_worn", "holes_worn", "disc_warped"}]),
        ({"seal_worn": True, "holes_worn": False, "disc_warped": False}, [{"holes_worn", "disc_warped"}]),
    ],
)
def test_repairs_with_nothing_measured_between_are_told_together(
    case: Case, steps: Mapping[str, bool], sets: list[set[str]]
) -> None:
    """What went away then cannot tell one from the other; an interim measure is no repair."""
    for cause, measured in steps.items():
        case.call.repair(["gauge_wrong"], rows=[7], kind="interim")
        mend(case, cause=cause)
        if measured:
            turned(case, "meter_good_static", 7)
    assert sets == [set(group) for group in together(case.call)]


def test_a_row_in_trouble_is_no_control(case: Case) -> None:
    """Row 3, in trouble too, neither speaks against the repair of row 7 nor for it; row 6 does."""
    case.call.set_situation({"rows": [3, 7]})
    repair = mend(case)
    called(case, 120, 0, 0)
    called(case, 44, 15, 1, rows=(3,))
    assert ("accepted", (), ()) == (proved(case).says, proved(case).control, proved(case).control_counts)
    called(case, 44, 15, 1, rows=(6,))
    assert "not_yet" == proofs_of(case.call)[repair].says


def test_a_row_of_another_repair_is_no_control(engine: Engine) -> None:
    """Rows 3 and 7 mended one after the other: each repair is judged by its own rows, before and after."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.call.set_situation({"rows": [3, 7]})
    called(case, 49, 0, 11)
    first = mend(case)
    called(case, 120, 0, 0)
    called(case, 44, 15, 1, rows=(3,))
    second = mend(case, (3,), "sing_worn")
    called(case, 49, 10, 1, rows=(3,))
    judged = proofs_of(case.call)
    assert ("accepted", "not_accepted") == (judged[first].says, judged[second].says)
    assert [11] == [s.bad for s in judged[first].before]
    assert [16] == [s.bad for s in judged[second].before]


def test_another_low_row_of_a_map_does_not_spoil_the_mended_one(case: Case) -> None:
    """Row 7 like its neighbours after its repair is right though row 3, in trouble too, still reads low."""
    case.call.set_situation({"rows": [3, 7]})
    case.vacuum("before", {**LOW, 3: 12})
    mend(case)
    case.vacuum("after", {**EVEN, 3: 12})
    assert "accepted" == proved(case).says
