"""The state of a call as a fold over its events."""

from __future__ import annotations

import random
from dataclasses import fields, replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record.making import Desk, clock, desks

from diag.call.case_of import read_case
from diag.errors import RecordError
from diag.knowledge.base import Knowledge
from diag.reason.tables import Tables
from diag.record.body import Body
from diag.record.fold import fold, sealed_view
from diag.record.graph import Event, erase, event_id, merge
from diag.record.kinds import KINDS, Machine, Note, PhotoTaken, Situation
from diag.record.state import NotPutBack, State
from diag.record.transcript import read_transcript
from diag.record.undo import live_events, redo_targets, undo_targets

INH2O = "inH2O"


def measured(value: str, unit: str = INH2O) -> dict[str, str]:
    """A measured value as stored."""
    return {"value": value, "unit": unit}


def a_desk() -> Desk:
    """A desk with an opened call."""
    desk = Desk()
    desk.open()
    return desk


def outcomes(desk: Desk) -> list[tuple[str, str | None]]:
    """The live answers in short."""
    return [(a.check, a.outcome) for a in desk.state.answers]


HISTORY = {"timeline", "trail"}
"""What tells of withdrawn events too."""


def meaning(state: State) -> dict[str, Any]:
    """The state without its history and without the positions of its events."""

    def bare(value: Any) -> Any:
        if isinstance(value, tuple):
            return tuple(bare(v) for v in value)
        if isinstance(value, Body):
            return value.placed(replace(value._in_call, number=0, n=0))
        return {k: bare(v) for k, v in value.items()} if isinstance(value, dict) else value

    return {f.name: bare(getattr(state, f.name)) for f in fields(State) if f.name not in HISTORY}


# ------------------------------------------------------------------------------------ the whole state


def test_machine_and_situation_grow_event_by_event() -> None:
    """Axes and book values add up, other fields keep their last word; rows come as values."""
    desk = a_desk()
    desk.add("machine", axes={"meter": "flat", "drive": "unknown"}, rows=12, book={"vacuum": measured("20")},
             sections=[{"name": "left wing", "rows": [1, 2, 3]}])
    desk.add("machine", axes={"drive": "chain"}, row_width=measured("30", "in"), book={"drag": "firm"})
    desk.add("situation", crop="corn", rows=[7, 8], changes=["new_seed"], flags=["alone"])
    desk.add("situation", rows="all", speed=measured("5", "mph"))
    state = desk.state

    assert {"meter": "flat", "drive": "chain"} == state.machine.axes
    assert {"vacuum": measured("20"), "drag": "firm"} == state.machine.book
    machine = state.machine
    assert (12, measured("30", "in"), None) == (machine.rows, machine.row_width, machine.holes)
    assert {"left wing": (1, 2, 3)} == state.machine.sections
    assert ("corn", "all", ("new_seed",), ("alone",)) == (
        state.situation.crop, state.situation.rows, state.situation.changes, state.situation.flags)
    assert measured("5", "mph") == state.situation.speed


def test_symptoms_have_a_last_word() -> None:
    """A symptom accepted first and denied later is denied; how it was accepted is kept."""
    desk = a_desk()
    desk.add("complaint", accepted=[{"id": "gaps", "how": "matched"}, {"id": "pairs", "how": "chosen"}],
             denied=["late"])
    desk.add("complaint", accepted=[{"id": "late", "how": "chosen"}], denied=["pairs"])
    state = desk.state

    assert (("gaps", "matched"), ("late", "chosen")) == state.accepted
    assert ("pairs",) == state.denied


def test_channel_counts_from_when_it_is_said() -> None:
    """An answer has its own channel or that of the call at the time."""
    desk = a_desk()
    for action in (lambda: desk.answer("a"), lambda: desk.add("channel", channel="site"),
                   lambda: desk.answer("b"), lambda: desk.answer("c", channel="phone")):
        action()
    state = desk.state

    assert "site" == state.channel
    assert ["phone", "site", "phone"] == [a.channel for a in state.answers]


def test_every_other_kind_finds_its_place() -> None:
    """Cautions, notes, photos, what was done before, judgements, repairs and proofs are all there."""
    desk = a_desk()
    desk.add("caution", caution="fan", check="gauge", shown_to="caller", acknowledged="key")
    desk.add("caution", caution="seed", acknowledged="none")
    note, photo = desk.add("note", text="x"), desk.add("photo", sha256="a" * 64, file_name="p.jpg")
    desk.add("done_before", what="seals", rows=[7], order=1, effect="no_change", old_part="gone", said="y")
    answer = desk.answer("gauge", None, value=measured("11"), method="water_column", rows=[7])
    repair = desk.add("repair", kind="repair", causes=["seal"], minutes=15,
                      parts=[{"item": "seal", "qty": 2}])
    after = desk.answer("gauge", None, value=measured("18"), method="water_column", rows=[7])
    proof = desk.add("proof", target=repair.id, answers=[after.id], verdict="accepted",
                     risks={"alpha": "0.05"})
    judged = desk.add("judged", why="proof", ranking=[{"cause": "seal", "probability": "0.9312"}])
    state = desk.state

    assert [("fan", "gauge", "caller", "key"), ("seed", None, None, "none")] == [
        (c.caution, c.check, c.shown_to, c.acknowledged) for c in state.cautions]
    assert ([note.id], [photo.id]) == ([n.event for n in state.of(Note)], [p.event for p in state.of(PhotoTaken)])
    assert ["seals"] == [d.what for d in state.done_before]
    assert [("seal",), ("accepted", {"alpha": "0.05"})] == [
        state.repairs[0].causes, (state.proofs[0].verdict, state.proofs[0].risks)]
    assert [(answer.id, None, 0), (after.id, repair.id, 1)] == [
        (a.event, a.proves, a.epoch) for a in state.answers]
    assert (proof.id, judged.id) == (state.proofs[0].event, state.judged[0].event)
    assert list(range(1, 12)) == [s.number for s in state.trail]


def test_waiting_and_closing() -> None:
    """A wait holds until the next one, the line again, or the end; one after the end is the follow-up."""
    desk = a_desk()
    desk.add("waiting", **{"for": "part", "until": clock(600), "text": "seal on Thursday"})
    assert ("part", clock(600)) == ((w := desk.state.waiting) and w.reason, desk.state.due)
    desk.add("waiting", **{"for": "none"})
    assert desk.state.waiting is None
    desk.add("waiting", **{"for": "caller"})
    desk.add("closed", result="mended_by_phone")
    state = desk.state
    assert (None, "mended_by_phone") == (state.waiting, state.closed and state.closed.result)
    desk.add("waiting", **{"for": "proof", "acres": "80"})
    assert ("proof", "80") == ((w := desk.state.waiting) and w.reason, w and w.acres)
    desk.add("reopened")
    assert (None, None) == ((state := fold(desk.events)).closed, state.waiting)


def test_a_call_that_was_never_opened() -> None:
    """Events without an opening are refused, not guessed at."""
    with pytest.raises(RecordError, match="never opened") as caught:
        fold([])
    assert ("", "Import the whole call again.") == (caught.value.where, caught.value.remedy)


def test_unknown_kinds_are_kept_and_forbid_writing() -> None:
    """What a newer program wrote is in the trail, moves nothing and makes the call read-only."""
    desk = a_desk()
    event = desk.answer()
    envelope = {**event.envelope(), "kind": "flight", "body": {"outcome": "no"}}
    newer = Event.from_json({**envelope, "id": event_id(envelope)})
    state = fold([desk.events[0], newer])

    assert ((), (newer.id,), False) == (state.answers, state.unknown, state.writable)
    assert [("opened", True), ("newer", False)] == [(s.kind, s.known) for s in state.trail]


def test_sealed_values_are_joined_apart() -> None:
    """Texts are found by event and field, but not after erasing, nor where they were never handed over."""
    desk = a_desk()
    event = desk.add("complaint", words="gaps", accepted=[])
    other = desk.answer(said="dug")
    assert {event.id: {"words": "gaps"}, other.id: {"said": "dug"}} == sealed_view(desk.events, desk.sealed)
    desk.add("erased", **erase(desk.events, [(event.id, "words")]))
    assert {other.id: {"said": "dug"}} == sealed_view(desk.events, desk.sealed)
    assert {} == sealed_view(desk.events, [])


# ------------------------------------------------------------------------- withdrawing, undo and redo


def test_withdrawn_and_brought_back() -> None:
    """A withdrawal takes an event out; withdrawing the withdrawal brings it back, and so on."""
    desk = a_desk()
    answer = desk.answer()
    last, seen = answer.id, [outcomes(desk)]
    for _ in range(3):
        last = desk.add("withdrawn", target=last).id
        seen.append(outcomes(desk))

    assert [[("dug", "yes")], [], [("dug", "yes")], []] == seen
    step = next(s for s in desk.state.trail if s.event == answer.id)
    assert (False, True) == (step.live, step.withdrawn_by is not None)


def test_two_withdrawals_of_one_event() -> None:
    """When two desks withdraw the same answer, taking one back is not enough."""
    phone, truck = Desk("PHONE00000"), Desk("TRUCK00000")
    phone.open()
    answer = phone.answer()
    truck.receive(phone)
    mine, _ = phone.add("withdrawn", target=answer.id), truck.add("withdrawn", target=answer.id)
    phone.receive(truck)
    phone.add("withdrawn", target=mine.id)

    assert [] == outcomes(phone)


def test_changed_answer_knows_what_it_replaces() -> None:
    """Each correction points to the answer before it."""
    desk = a_desk()
    first = desk.answer("dug", "yes")
    second = desk.change(first, "no")
    third = desk.change(second, "maybe")
    state = desk.state

    assert [(third.id, second.id)] == [(a.event, a.replaces) for a in state.answers]
    assert [None, second.id] == [s.replaces for s in state.trail if s.event in (first.id, third.id)]


def test_undo_and_redo_step_by_step() -> None:
    """Undo goes back one own step at a time, redo forward again; a new step ends what could be redone."""
    desk = a_desk()
    desk.answer("a"), desk.answer("b"), desk.answer("c")
    seen = []
    for action in (desk.undo, desk.undo, desk.redo, desk.redo, desk.redo, desk.undo):
        seen.append((action(), "".join(check for check, _ in outcomes(desk))))
    desk.answer("d")

    assert [(True, "ab"), (True, "a"), (True, "ab"), (True, "abc"), (False, "abc"), (True, "ab")] == seen
    assert not desk.redo()
    assert [True, True, True, False] == [bool(desk.undo()) for _ in range(4)]
    assert [] == outcomes(desk)


@pytest.mark.parametrize("later", [False, True])
def test_undo_of_a_changed_answer_brings_the_old_one_back(later: bool) -> None:
    """A change is one step, whether the answer was the last one or an earlier one."""
    desk = a_desk()
    first = desk.answer("dug", "yes")
    if later:
        desk.answer("gauge", "low")
    before = meaning(fold(desk.events))
    desk.change(first, "no")
    changed = meaning(fold(desk.events))
    desk.undo()
    assert before == meaning(fold(desk.events))
    desk.redo()
    assert changed == meaning(fold(desk.events))
    desk.undo()
    desk.undo()
    assert outcomes(desk) == ([("dug", "yes")] if later else [])


def test_undo_takes_only_own_events() -> None:
    """What another desk typed stays; what cannot be withdrawn is passed over."""
    phone, truck = Desk("PHONE00000"), Desk("TRUCK00000")
    phone.open()
    phone.answer("mine")
    phone.add("caution", caution="fan", acknowledged="key")
    truck.receive(phone)
    truck.answer("theirs")
    phone.receive(truck)

    assert phone.undo()
    assert [("theirs", "yes")] == outcomes(phone)
    assert not phone.undo()
    assert ((), ()) == (undo_targets(phone.events, "NOBODY"), redo_targets(phone.events, "NOBODY"))


_steps = st.lists(
    st.tuples(st.sampled_from(["new", "change", "undo", "redo", "withdraw"]), st.integers(0, 9)), max_size=16
)


@given(_steps)
def test_undo_and_redo_against_a_stack_of_snapshots(steps: list[tuple[str, int]]) -> None:
    """Whatever is typed, undo gives back exactly the state before the step, and redo the state after it."""
    desk = a_desk()
    past, future = [], []
    for i, (name, which) in enumerate(steps):
        here = meaning(fold(desk.events))
        answers = [e for e in live_events(desk.events) if e.kind == "answer"]
        if name == "undo" and desk.undo():
            future.append(here)
            assert past.pop() == meaning(fold(desk.events))
        elif name == "redo" and desk.redo():
            past.append(here)
            assert future.pop() == meaning(fold(desk.events))
        elif name == "new" or (name == "change" and answers):
            desk.answer(f"c{i}") if name == "new" else desk.change(answers[which % len(answers)], f"o{i}")
            past, future = [*past, here], []
        elif name == "withdraw" and len(answers) > 1:
            desk.withdraw(answers[which % (len(answers) - 1)].id)
            past, future = [*past, here], []


# --------------------------------------------------------------------------------------------- epochs


def test_repairs_cut_time() -> None:
    """Answers before a repair speak of the machine as it was; an interim measure cuts nothing."""
    desk = a_desk()
    desk.answer("a")
    desk.add("repair", kind="interim", causes=["seal"])
    desk.answer("b")
    desk.add("repair", kind="repair", causes=["seal"])
    desk.answer("c")
    desk.add("repair", kind="repair", causes=["tube"])
    state = desk.state

    assert [("a", 0), ("b", 0), ("c", 1)] == [(a.check, a.epoch) for a in state.answers]
    assert ([0, 0, 1], 2) == ([r.epoch for r in state.repairs], state.epoch)


def test_a_proof_moves_an_answer_behind_its_repair_and_never_back() -> None:
    """Told too early it belongs after the repair that it proves; what came after a second repair stays there."""
    desk = a_desk()
    early = desk.answer("early")
    first = desk.add("repair", kind="repair", causes=["seal"])
    desk.add("repair", kind="repair", causes=["tube"])
    late = desk.answer("late")
    desk.add("proof", target=first.id, answers=[early.id, late.id], verdict="accepted")

    assert [("early", 1), ("late", 2)] == [(a.check, a.epoch) for a in desk.state.answers]


def test_a_withdrawn_repair_cuts_nothing() -> None:
    """When the repair is undone, the answers after it are of one time with those before."""
    desk = a_desk()
    repair = desk.add("repair", kind="repair", causes=["seal"])
    desk.answer("a")
    desk.withdraw(repair.id)

    assert [(0, 0)] == [(a.epoch, desk.state.epoch) for a in desk.state.answers]


def test_happened_decides_before_and_after_a_repair() -> None:
    """What was typed in the truck afterwards goes to the time at which it happened."""
    desk = a_desk()
    desk.add("repair", kind="repair", causes=["seal"], at=60)
    desk.answer("before", happened=clock(50), at=70)
    desk.answer("after", happened=clock(65), at=71)
    desk.answer("now", at=72)
    state = desk.state

    assert [("before", 0), ("after", 1), ("now", 1)] == [(a.check, a.epoch) for a in state.answers]
    assert ["opened", "before", "repair", "after", "now"] == [
        e.body.get("check", e.kind) for i in state.timeline for e in desk.events if e.id == i]


def test_a_repair_typed_afterwards() -> None:
    """A repair typed in the evening cuts time where it happened, also for answers typed on the spot."""
    desk = a_desk()
    desk.answer("before", at=20)
    desk.answer("after", at=40)
    desk.add("repair", kind="repair", causes=["seal"], happened=clock(30), at=90)

    assert [("before", 0), ("after", 1)] == [(a.check, a.epoch) for a in desk.state.answers]


def test_a_clock_set_back_changes_no_order() -> None:
    """Between events without `happened` only the reading order counts, whatever the clocks say."""
    desk = a_desk()
    desk.answer("before", at=500)
    desk.add("repair", kind="repair", causes=["seal"], at=20)
    desk.answer("after", at=10)

    assert [("before", 0), ("after", 1)] == [(a.check, a.epoch) for a in desk.state.answers]


def test_a_correction_stays_in_its_time() -> None:
    """Changing an answer from before a repair does not make it a reading of the mended machine."""
    desk = a_desk()
    first = desk.answer("dug", "yes")
    desk.add("repair", kind="repair", causes=["seal"])
    second = desk.change(first, "no")
    assert [("no", 0)] == [(a.outcome, a.epoch) for a in desk.state.answers]

    desk.change(second, "maybe")
    assert [("maybe", 0)] == [(a.outcome, a.epoch) for a in desk.state.answers]
    desk.answer("dug", "never")
    assert [0, 1] == [a.epoch for a in desk.state.answers]


def test_proof_answers_belong_to_the_epoch_after() -> None:
    """An answer named by a proof speaks of the mended machine, wherever it was typed."""
    desk = a_desk()
    desk.answer("before")
    early = desk.answer("count", happened=clock(1))
    repair = desk.add("repair", kind="repair", causes=["seal"])
    proof = desk.add("proof", target=repair.id, answers=[early.id], verdict="not_yet")
    assert [("before", 0), ("count", 1)] == [(a.check, a.epoch) for a in desk.state.answers]

    desk.withdraw(proof.id)
    assert [0, 0] == [a.epoch for a in desk.state.answers]


# -------------------------------------------------------------------------- swaps and what was changed


def test_what_sits_where_at_each_answer() -> None:
    """After a swap each row's reading is of the other row's piece, until it is swapped back."""
    desk = a_desk()
    desk.answer("a", rows=[5])
    desk.add("swap", piece="meter", from_row=5, to_row=6)
    desk.answer("b", rows=[6])
    desk.answer("c", rows=[5, 6, 7])
    desk.answer("d", rows=[7])
    desk.answer("e", rows="all")
    desk.answer("f", None, values={"6": measured("18"), "7": measured("18")})
    state = desk.state

    both = {"meter": {5: 6, 6: 5}}
    assert [{}, {"meter": {6: 5}}, both, {}, both, {"meter": {6: 5}}] == [a.pieces for a in state.answers]
    assert both == state.pieces
    desk.add("swap", piece="meter", from_row=6, to_row=5)
    assert {} == desk.state.pieces


def test_swaps_in_a_ring_and_with_the_shelf() -> None:
    """Pieces are followed through several swaps; a spare from the shelf is no row's own piece."""
    desk = a_desk()
    desk.add("swap", piece="meter", from_row=1, to_row=2)
    desk.add("swap", piece="meter", from_row=2, to_row=3)
    desk.add("swap", piece="tube", from_row="spare", to_row=4)
    state = desk.state

    assert {"meter": {1: 2, 2: 3, 3: 1}, "tube": {4: "spare"}} == state.pieces


def test_a_swap_that_happened_earlier() -> None:
    """A swap typed afterwards counts for the readings taken after it happened."""
    desk = a_desk()
    desk.answer("before", rows=[6], at=20)
    desk.answer("after", rows=[6], at=40)
    desk.add("swap", piece="meter", from_row=5, to_row=6, happened=clock(30), at=90)

    assert [{}, {"meter": {6: 5}}] == [a.pieces for a in desk.state.answers]


def test_an_answer_may_name_its_piece() -> None:
    """What the answer itself says sits in the row goes before what the swaps say."""
    desk = a_desk()
    desk.answer("a", rows=[6], piece={"meter": 9})

    assert [{"meter": {6: 9}}] == [a.pieces for a in desk.state.answers]


def test_not_put_back() -> None:
    """A temporary change stands with its first old value until it is put back to it."""
    desk = a_desk()
    one = desk.add("change", setting="vacuum", before=measured("20"), after=measured("18"), temporary=True)
    two = desk.add("change", setting="vacuum", before=measured("18"), after=measured("16"), temporary=True)
    desk.add("change", part="alarm", rows=[14], before="on", after="off", temporary=True)
    state = desk.state
    assert (NotPutBack((one.id, two.id), "vacuum", None, measured("20"), measured("16")),
            "alarm") == (state.not_put_back[0], state.not_put_back[1].name)

    desk.add("change", setting="vacuum", after=measured("20.0"))
    desk.add("change", part="alarm", rows=[15], before="off", after="on")
    assert [("alarm", (14,))] == [(c.name, c.rows) for c in desk.state.not_put_back]


@pytest.mark.parametrize("end", ["lasting", "settles", "repair", "withdrawn"])
def test_ends_of_a_temporary_change(end: str) -> None:
    """It also ends by a lasting change, by one that settles it, by a repair that sets it, or withdrawn."""
    desk = a_desk()
    change = desk.add("change", setting="notch", rows=[3], before="2", after="4", temporary=True)
    if end == "lasting":
        desk.add("change", setting="notch", rows=[3], before="4", after="3")
    elif end == "settles":
        desk.add("change", setting="notch, row 3", after="4", settles=change.id)
    elif end == "repair":
        desk.add("repair", kind="repair", causes=["x"],
                 settings=[{"name": "notch", "rows": [3], "after": "4"}])
    else:
        desk.withdraw(change.id)

    assert () == desk.state.not_put_back


def test_a_lasting_change_is_no_open_one() -> None:
    """What was changed for good is not on the list."""
    desk = a_desk()
    desk.add("change", setting="vacuum", before=measured("20"), after=measured("18"))

    assert () == desk.state.not_put_back


# ------------------------------------------------------------------------------------------ properties


def judged_by(state: State) -> dict[str, Any]:
    """All of a state that a judgement may rest on: everything but free labels."""
    machine, situation, names = state.machine, state.situation, {"before", "after", "settings", "parts", "test", "what"}
    return {
        "machine": (machine.axes, machine.rows, machine.row_width, machine.holes, list(machine.sections.values()),
                    {k: v for k, v in machine.book.items() if isinstance(v, dict)}),
        "situation": {n: getattr(situation, n) for n in ("crop", "target", "speed", "changes", "rows", "flags")},
        "standing": {a: [(n.events, n.rows) for n in told] for a, told in state.standing.items()},
        "not_put_back": [(n.events, n.rows) for n in state.not_put_back],
        "told": [(told.event, told.epoch, told.model_dump(exclude={*told.texts(), *names, "setting", "part", "value"}))
                 for kind in (*KINDS.values(),) if kind not in (Machine, Situation) for told in state.of(kind)],
        "answers": [(a.value, a.values, a.pieces) for a in state.answers],
        "rest": (state.channel, state.accepted, state.denied, state.pieces, state.timeline),
    }


@given(desks())
def test_what_is_judged_rests_on_bodies_only(made: list[Desk]) -> None:
    """With sealed values or without, the state is the same but for the words of free labels."""
    for desk in made:
        assert judged_by(desk.state) == judged_by(fold(desk.events))


def test_the_case_rests_on_bodies_only(whole: Knowledge) -> None:
    """Every demo call gives the engine the same case with its sealed values and without."""
    tables = Tables(whole)
    for path in sorted((Path(__file__).parents[2] / "transcripts_demo").glob("*.yaml")):
        made = read_transcript(path)
        full, bare = (read_case(fold(made.events, s), tables).case for s in (made.sealed, ()))
        assert full == bare, path.name


@given(desks(), st.randoms(use_true_random=False))
def test_any_arrival_gives_the_same_state(made: list[Desk], rng: random.Random) -> None:
    """Three desks that exchange all they know hold the same state, in whatever order events came."""
    a, b, c = (d.events for d in made)
    shuffled = [*a, *b, *c]
    rng.shuffle(shuffled)

    assert fold(merge(a, merge(b, c))) == fold(merge(merge(c, a), b)) == fold(shuffled)


@given(desks())
def test_undo_then_redo_is_identity(made: list[Desk]) -> None:
    """On any call, undo followed by redo gives the same state."""
    for desk in made:
        before = meaning(fold(desk.events))
        if desk.undo():
            assert desk.redo()
        assert before == meaning(fold(desk.events))


@given(desks(), st.integers(0, 30))
def test_withdrawing_and_bringing_back_is_identity(made: list[Desk], which: int) -> None:
    """Any event that may be withdrawn can be brought back, and nothing has changed."""
    desk = made[0]
    before = meaning(fold(desk.events))
    live = [e for e in live_events(desk.events) if e.kind not in ("opened", "caution", "judged", "erased")]
    if live:
        desk.add("withdrawn", target=live[which % len(live)].id)
        desk.add("withdrawn", target=desk.events[-1].id)

    assert before == meaning(fold(desk.events))


@given(desks())
def test_a_withdrawn_event_counts_as_never_typed(made: list[Desk]) -> None:
    """The state holds nothing of an event that does not hold."""
    desk = made[0]
    live = {e.id for e in live_events(desk.events)}
    state = desk.state
    told = [*state.answers, *state.swaps, *state.repairs, *state.proofs, *state.cautions, *state.done_before]

    assert {entry.event for entry in told} <= live
    assert {e.id for e in desk.events} - live == {s.event for s in state.trail if not s.live}
