"""The desk: recording, changing, undoing, repairing, proving, threads, and the case it hands to the engine."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.call.case_of import read_case, row_pattern
from diag.call.desk import CallDesk, Desk
from diag.errors import RecordError, StoreError
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.store.open import open_store

CLOCK = datetime(2026, 5, 4, 6, 40, tzinfo=UTC)


class Dice:
    """Bytes that differ and repeat from run to run."""

    def __init__(self) -> None:
        self.n = 0

    def __call__(self, size: int) -> bytes:
        self.n += 1
        return self.n.to_bytes(8, "big").rjust(size, b"\0")[-size:]


@pytest.fixture(scope="module")
def engine(small: Knowledge) -> Engine:
    """One engine for all calls here."""
    return Engine(small)


@pytest.fixture
def call(engine: Engine) -> CallDesk:
    """A call on site with a complaint."""
    opened = Desk(engine, None, "desk0000000000aa", lambda: CLOCK, Dice()).new_call("site", customer="Alder Flat")
    opened.set_machine({"axes": {"fill": "bulk", "drive": "electric"}, "rows": 8})
    opened.set_complaint("thin stand", [("thin", "chosen")])
    return opened


def fingerprint(call: CallDesk) -> str:
    """Return everything shown of a call, for "same input, same bytes"."""
    j = call.think().judgement
    return repr(([(r.cause, r.probability, r.belief) for r in j.ranking], j.plan.offers, j.findings))


def top(call: CallDesk) -> tuple[str, float]:
    """Return the first cause and its probability."""
    first = call.think().judgement.ranking[0]
    return first.cause, first.probability


def test_undo_and_redo_are_exact(call: CallDesk) -> None:
    """Undo gives back the belief before the answer, redo the one after it."""
    before = fingerprint(call)
    call.answer("plain", outcome="blue")
    after = fingerprint(call)
    assert call.undo()
    assert fingerprint(call) == before
    assert call.redo()
    assert fingerprint(call) == after


def test_a_changed_answer_counts_once(call: CallDesk) -> None:
    """Changing red to blue believes what blue alone would."""
    wrong = call.answer("plain", outcome="red")
    call.change_answer(wrong.id, outcome="blue")
    changed = fingerprint(call)
    call.undo()
    call.undo()
    call.answer("plain", outcome="blue")
    assert fingerprint(call) == changed


def test_same_observer_replaces_other_observers_add(call: CallDesk) -> None:
    """Two reports by one observer are one report; a second observer's is another."""
    call.answer("plain", outcome="blue", observer="caller")
    once = top(call)
    call.answer("plain", outcome="blue", observer="caller")
    assert top(call) == once
    call.answer("plain", outcome="blue", observer="technician")
    assert dict([top(call)])["beta"] > dict([once])["beta"]


def test_unknown_check_or_outcome_is_refused_and_nothing_recorded(call: CallDesk) -> None:
    """A wrong id names the remedy and leaves the record as it was."""
    events = call.events
    with pytest.raises(RecordError, match="no check"):
        call.answer("nothing_like_it", outcome="red")
    with pytest.raises(RecordError, match="no outcome"):
        call.answer("plain", outcome="green")
    assert call.events == events


def test_repair_proof_close(call: CallDesk) -> None:
    """After a repair the desk wants a proof; after an accepted proof it offers to close."""
    call.answer("plain", outcome="blue")
    repair = call.repair(["beta"], words="mended")
    assert call.think().judgement.action == "prove"
    after = call.answer("plain", outcome="ok")
    call.proof(repair.id, "accepted", [after.id])
    assert call.think().judgement.action == "close"
    call.close("mended")
    assert call.state.closed is not None
    assert [j.why for j in call.state.judged] == ["proof", "close"]


def test_a_proof_that_fails_leads_on(call: CallDesk) -> None:
    """Not accepted: the repaired cause stays possible a little, the others take over."""
    call.answer("plain", outcome="blue")
    repair = call.repair(["beta"])
    still = call.answer("plain", outcome="red")
    call.proof(repair.id, "not_accepted", [still.id])
    j = call.think().judgement
    assert j.action in ("check", "repair")
    assert j.ranking[0].cause == "alpha"


def test_what_if_records_nothing(call: CallDesk) -> None:
    """Trying an outcome leaves events and belief alone."""
    before = (call.events, fingerprint(call))
    assert call.what_if("plain", "red").ranking[0].cause == "alpha"
    assert (call.events, fingerprint(call)) == before


def test_thoughts_that_come_late_are_dropped(call: CallDesk) -> None:
    """A judgement asked for before an answer is not taken after it."""
    early = call.think_later()
    call.answer("plain", outcome="blue")
    late = call.think_later()
    assert not call.accept(early.result())
    assert call.accept(late.result())
    call.shut()


@pytest.mark.parametrize(
    ("rows", "pattern"),
    [
        (None, "unknown"), ([3], "one"), ([3, 4], "adjacent"), ([1, 2, 3, 4], "section"), ("all", "all"),
        ([1, 2, 3, 4, 5, 6, 7, 8], "all"), ([1, 2, 3, 5, 6, 7, 8], "all_but_one"), ([1, 3, 5], "alternate"),
        ([1, 4, 8], "some"), ([5, 6], "section"),
    ],
)
def test_row_patterns(engine: Engine, rows: object, pattern: str) -> None:
    """The pattern of the rows in trouble on eight rows with a named section 5 to 6."""
    call = Desk(engine, random=Dice()).new_call("site")
    call.set_machine({"rows": 8, "sections": [{"name": "pair", "rows": [5, 6]}]})
    if rows is not None:
        call.set_situation({"rows": rows})
    assert row_pattern(call.state) == pattern


def test_minutes_count_lists_once_and_preparation_once(engine: Engine) -> None:
    """Two items of one list cost its minute once; the second look under an open cover costs its own share."""
    call = Desk(engine, random=Dice()).new_call("site")
    call.answer("what_changed.seed", outcome="yes")
    call.answer("what_changed.bolt", outcome="no")
    call.answer("open_one", outcome="ok")
    call.answer("open_two", outcome="ok")
    assert call.minutes()["checks"] == 1 + 8 + 1


def test_ids_that_are_no_longer_known_move_nothing(engine: Engine, call: CallDesk) -> None:
    """An old call that names a check this knowledge dropped opens, says so, and believes as without it."""
    before = fingerprint(call)
    body = {"check": "dropped_check", "observer": "technician", "status": "given", "outcome": "bad", "channel": "site"}
    call.record("answer", body)
    read = read_case(call.state, engine.tables)
    assert read.no_longer_known == ("dropped_check",)
    assert fingerprint(call) == before


def test_everything_is_in_the_store_before_it_is_judged(engine: Engine, tmp_path: Path) -> None:
    """A second opening of the store finds every event, and the same belief."""
    store = open_store(tmp_path / "calls.db")
    call = Desk(engine, store, store.desk_id(), lambda: CLOCK, Dice()).new_call("phone", customer="Alder Flat")
    call.set_complaint("thin", [("thin", "chosen")])
    call.answer("plain", outcome="blue")
    expected = fingerprint(call)
    store.close()
    again = Desk(engine, open_store(tmp_path / "calls.db")).open_call(call.call)
    assert fingerprint(again) == expected
    assert again.text_of("opened", "customer") == "Alder Flat"


def test_two_desks_on_one_call_learn_of_each_other(engine: Engine, tmp_path: Path) -> None:
    """What one desk adds the other takes in when asked, and before it records: the call stays one line of events."""
    with open_store(tmp_path / "calls.db") as store:
        here, there = (Desk(engine, store, name, lambda: CLOCK, Dice()) for name in ("DESK00000A", "DESK00000B"))
        mine = here.new_call("phone", customer="Alder Flat")
        theirs = there.open_call(mine.call)
        mine.answer("plain", outcome="red", said="it is red")
        assert (True, False) == (theirs.catch_up(), theirs.catch_up())
        assert ("red", "it is red") == (theirs.state.answers[0].outcome, theirs.text_of("answer", "said"))
        theirs.answer("plain", outcome="blue")
        mine.record("note", {}, {"text": "after that"})

    assert [len(e.parents) for e in mine.events] == [0, 1, 1, 1]
    assert mine.events[:3] == theirs.events


def test_a_store_that_fails_loses_nothing(engine: Engine, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """When the disk refuses, the error is told and the call stays as it was before the answer."""
    store = open_store(tmp_path / "calls.db")
    call = Desk(engine, store, store.desk_id(), lambda: CLOCK, Dice()).new_call("site")

    def refuse(*_: object) -> None:
        raise StoreError("The disk is full.", "calls.db", "Make room.")

    monkeypatch.setattr(store, "append", refuse)
    before = (call.events, fingerprint(call))
    with pytest.raises(StoreError, match="disk is full"):
        call.answer("plain", outcome="blue")
    assert (call.events, fingerprint(call)) == before


ANSWERS = [("plain", "red"), ("plain", "blue"), ("plain", "ok"), ("split", "upper"), ("split", "lower"),
           ("open_one", "bad"), ("open_two", "ok"), ("motor_amps", "ok")]


@given(st.lists(st.one_of(st.sampled_from(ANSWERS), st.sampled_from(["undo", "redo", "unsure"])), max_size=8))
def test_replay_of_any_history_believes_the_same(engine: Engine, steps: list[object]) -> None:
    """Whatever was done, folding the events again gives the same belief to the byte."""
    desk = Desk(engine, None, "desk0000000000aa", lambda: CLOCK, Dice())
    call = desk.new_call("site")
    call.set_complaint("thin", [("thin", "chosen")])
    for step in steps:
        if step == "undo":
            call.undo()
        elif step == "redo":
            call.redo()
        elif step == "unsure":
            call.answer("split", status="unsure")
        else:
            check, outcome = step  # type: ignore[misc]
            call.answer(check, outcome=outcome)
    assert fingerprint(desk.replayed(call.call, reversed(call.events), call.sealed)) == fingerprint(call)


def test_a_sound_row_beside_the_trouble_is_a_control(engine: Engine, call: CallDesk) -> None:
    """With trouble on row 3, what row 4 shows is no evidence, unless a piece of row 3 sits there."""
    call.set_situation({"rows": [3]})
    before = fingerprint(call)
    call.answer("plain", outcome="ok", rows=(4,))
    assert fingerprint(call) == before
    assert "plain" in [o.check for o in engine.judge(call.think_case(), most=20).plan.offers]
    call.record("swap", {"piece": "meter", "from_row": 3, "to_row": 4})
    call.answer("plain", outcome="red", rows=(4,))
    assert fingerprint(call) != before


def test_a_withdrawal_of_a_newer_program_is_no_step_of_this_one(engine: Engine, call: CallDesk) -> None:
    """What a newer program withdrew, in whatever form, is neither read nor redone here."""
    newer = replace(call.events[-1], v=99, kind="withdrawn", body={"of": "another form"}, id="f" * 64)
    assert () == call.desk.replayed(call.call, [*call.events, newer], ()).redo()
