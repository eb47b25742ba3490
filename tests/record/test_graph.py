"""Events: ids, seals, order, merging, verification, erasing."""

from __future__ import annotations

import hashlib
import json
import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record.making import CALL, Desk, desks

from diag.errors import RecordError, UsageError
from diag.record.graph import (
    KINDS,
    VERSION,
    Event,
    Sealed,
    canonical,
    check,
    erase,
    erased_targets,
    event_id,
    find_call_id,
    heads,
    keep_sealed,
    make_event,
    merge,
    new_call_id,
    order,
    seal,
    show_call_id,
    stamp,
    verify,
)

# ---------------------------------------------------------------------------------------- canonical


def test_canonical_form_by_hand() -> None:
    """Sorted keys, no spaces, UTF-8, composed letters."""
    value = {"b": [1, True, None], "a": "e\u0301 \u00bd", "B": -3}

    assert '{"B":-3,"a":"é ½","b":[1,true,null]}'.encode() == canonical(value)


@pytest.mark.parametrize(
    "value", [1.5, float("nan"), Decimal("1"), b"x", {1, 2}, {1: "x"}, object(), "\ud800"]
)
def test_canonical_refuses(value: object) -> None:
    """Floats and what is not JSON never come into a record, however deep."""
    with pytest.raises(RecordError):
        canonical({"x": [value]})


def test_keys_that_become_equal_are_refused() -> None:
    """Two keys that differ only in how a letter is composed cannot both be kept."""
    with pytest.raises(RecordError):
        canonical({"e\u0301": 1, "\u00e9": 2})


_json = st.recursive(
    st.none() | st.booleans() | st.integers() | st.text(max_size=6),
    lambda x: st.lists(x, max_size=3) | st.dictionaries(st.text("abé", max_size=3), x, max_size=3),
    max_leaves=8,
)


@given(_json)
def test_canonical_is_one_form(value: Any) -> None:
    """Reading the canonical form back and writing it again changes nothing; key order does not matter."""
    form = canonical(value)

    assert form == canonical(json.loads(form))
    if isinstance(value, dict):
        assert form == canonical(dict(reversed(value.items())))


def test_id_is_the_hash_of_the_ten_fields() -> None:
    """The id is SHA-256 over exactly the envelope, computed here with the standard library alone."""
    event = Desk().open(customer="Alder Flat")
    envelope = {k: v for k, v in event.as_json().items() if k != "id"}

    assert {"v", "call", "parents", "n", "at", "desk", "by", "kind", "body", "sealed"} == set(envelope)
    text = json.dumps(envelope, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    assert hashlib.sha256(text.encode()).hexdigest() == event.id == event_id(envelope)


def test_seal_by_hand() -> None:
    """A seal is SHA-256 over the salt and the canonical value."""
    salt = bytes(range(16))

    assert hashlib.sha256(salt + b'"Alder Flat"').hexdigest() == seal("Alder Flat", salt)


# --------------------------------------------------------------------------------------------- making


def test_first_and_next_event() -> None:
    """The opening has no parents and n 1; each event follows all heads; what is None is left out."""
    desk = Desk()
    first = desk.open(follows=None, customer="Alder Flat", contact="")
    second = desk.answer(rows=[7])

    assert ((), 1, {"customer"}) == (first.parents, first.n, set(first.sealed))
    assert "follows" not in first.body
    assert ((first.id,), 2, VERSION) == (second.parents, second.n, second.v)
    assert [(first.id, "customer", "Alder Flat")] == [(s.event, s.field, s.value) for s in desk.sealed]
    assert b"Alder Flat" not in canonical([e.as_json() for e in desk.events])


def test_sealed_text_is_cleaned() -> None:
    """What is sealed passes the same door as all text."""
    desk = Desk()
    desk.open(customer="A\x1b[31mlder\r\nFlat")

    assert "A[31mlder\nFlat" == desk.sealed[0].value


GIVEN = {"check": "dug", "observer": "technician", "status": "given"}


@pytest.mark.parametrize(
    ("kind", "body", "said"),
    [
        ("answer", {"check": "dug", "observer": "technician"}, "status"),
        ("answer", {**GIVEN, "status": "sure"}, "one of given"),
        ("answer", {**GIVEN, "check": "Dug!"}, "small letters"),
        ("answer", {**GIVEN, "speed": 5}, "not a field"),
        ("answer", {**GIVEN, "rows": [3, 1]}, "sorted list"),
        ("answer", {**GIVEN, "value": "18.5"}, "measured"),
        ("answer", {**GIVEN, "value": {"value": "1e3", "unit": "in"}}, "measured"),
        ("answer", {**GIVEN, "values": {"7": {"value": 18, "unit": "in"}}}, "answer.values.7"),
        ("answer", {**GIVEN, "status": "unsure", "outcome": "yes"}, "unsure"),
        ("answer", {**GIVEN, "outcome": "yes",
                    "value": {"count": 3, "of": 20}}, "one of them"),
        ("answer", {**GIVEN, "value": {"count": 21, "of": 20}}, "count"),
        ("swap", {"piece": "meter", "from_row": 0, "to_row": 6}, "row number"),
        ("change", {"after": "up"}, "either setting or part"),
        ("closed", {"result": "gone"}, "mended_by_phone"),
        ("machine", {"rows": 12.0}, "cannot hold a float"),
        ("machine", {"rows": True}, "whole number"),
        ("situation", {"since": "one line\nand another"}, "one line"),
        ("channel", {"channel": "phone", "happened": "yesterday"}, "time in UTC"),
        ("photo", {"sha256": "abc"}, "SHA-256"),
        ("judged", {"why": "close", "ranking": [{"x": "y" * 300}]}, "long text"),
    ],
)
def test_fields_are_checked(kind: str, body: dict[str, Any], said: str) -> None:
    """A field that is missing, unknown or of the wrong kind is named with the event's place."""
    desk = Desk()
    desk.open()

    with pytest.raises(RecordError, match=said):
        desk.add(kind, **body)
    assert 1 == len(desk.events)


def test_unknown_sealed_field_role_and_kind() -> None:
    """Nothing is sealed under a field that the kind does not have; roles and kinds are closed lists."""
    desk = Desk()
    first = desk.open()
    common = (CALL, [first], "2026-05-04T06:41:00Z", desk.name)

    with pytest.raises(RecordError, match="not a sealed field"):
        make_event(*common, "grower", "complaint", {}, {"customer": "x"}, salts=desk.salts)
    with pytest.raises(RecordError, match="by must be one of"):
        make_event(*common, "Adam", "note")
    with pytest.raises(RecordError, match="cannot be read"):
        make_event(*common, "tool", "note\nbook")


def test_stamp() -> None:
    """Any aware time becomes UTC in whole seconds; one without zone is refused."""
    moment = datetime(2026, 5, 4, 1, 40, 59, 999_999, tzinfo=timezone(-timedelta(hours=5)))

    assert "2026-05-04T06:40:59Z" == stamp(moment)
    with pytest.raises(ValueError, match="zone"):
        stamp(datetime(2026, 5, 4))


def test_json_form_round_trip() -> None:
    """An event read back from its JSON is equal; another form is refused."""
    event = Desk().open(customer="Alder Flat")

    assert event == Event.from_json(json.loads(json.dumps(event.as_json())))
    for broken in ({}, [], {**event.as_json(), "more": 1}, {**event.as_json(), "n": "1"},
                   {**event.as_json(), "call": "short"}):
        with pytest.raises(RecordError, match="not an event"):
            Event.from_json(broken)


# ---------------------------------------------------------------------------------- order and merging


@given(desks(), st.randoms(use_true_random=False))
def test_order_is_the_same_whatever_the_arrival(made: list[Desk], rng: random.Random) -> None:
    """Shuffled events have one order, in which every event stands after its parents."""
    events = merge(made[0].events, merge(made[1].events, made[2].events))
    shuffled = events[:]
    rng.shuffle(shuffled)

    ordered = order(shuffled)
    place = {e.id: i for i, e in enumerate(ordered)}
    assert events == ordered
    assert all(place[p] < place[e.id] for e in ordered for p in e.parents)
    assert _by_readiness(events) == [e.id for e in ordered]


def _by_readiness(events: list[Event]) -> list[str]:
    """The order as the contract words it: parents first, among ready ones the smallest (n, desk, id)."""
    left, done = {e.id: e for e in events}, []
    while left:
        ready = [e for e in left.values() if all(p in done for p in e.parents)]
        done.append(min(ready, key=lambda e: (e.n, e.desk, e.id)).id)
        del left[done[-1]]
    return done


@given(desks())
def test_merge_laws(made: list[Desk]) -> None:
    """Merging is commutative, associative and idempotent, and what comes out is whole."""
    a, b, c = (d.events for d in made)

    assert merge(a, b) == merge(b, a)
    assert merge(merge(a, b), c) == merge(a, merge(b, c))
    assert merge(a, a) == a
    union = merge(merge(a, b), c)
    assert verify(union, [s for d in made for s in d.sealed]) == []


def test_after_a_merge_both_heads_are_parents() -> None:
    """Two continuations stay side by side; the next event follows both."""
    phone, truck = Desk("PHONE00000"), Desk("TRUCK00000")
    phone.open()
    truck.receive(phone)
    a, b, c = phone.answer("dug", "yes"), truck.answer("gauge", "no"), truck.answer("gauge", "yes")
    phone.receive(truck)

    assert [a.id, c.id] == [h.id for h in heads(phone.events)]
    joined = phone.answer("seal", "hard")
    assert ({a.id, c.id}, c.n + 1) == (set(joined.parents), joined.n)
    assert b.n == a.n
    check(phone.events, phone.sealed)


def test_merge_refuses_two_contents_under_one_id() -> None:
    """An altered event does not slip in under a known id."""
    desk = Desk()
    event = desk.open()

    with pytest.raises(RecordError, match="same id"):
        merge([event], [replace(event, by="grower")])


# --------------------------------------------------------------------------------------- verification


def a_call() -> Desk:
    """A short whole call with sealed values."""
    desk = Desk()
    desk.open(customer="Alder Flat")
    desk.add("complaint", words="gaps", accepted=[{"id": "gaps", "how": "chosen"}])
    answer = desk.answer(said="dug it myself")
    repair = desk.add("repair", kind="repair", causes=["seal"])
    desk.add("proof", target=repair.id, answers=[answer.id], verdict="accepted")
    desk.answer("gauge", None, value={"value": "18.5", "unit": "inH2O"})
    return desk


def test_a_whole_call_has_no_flaws() -> None:
    """Nothing is found in a call as it was made, with or without its sealed values."""
    desk = a_call()

    assert [] == verify(desk.events, desk.sealed) == verify(desk.events, [])


def _swapped(events: list[Event], which: int, /, **changed: Any) -> list[Event]:
    return [replace(e, **changed) if i == which else e for i, e in enumerate(events)]


@pytest.mark.parametrize(
    ("alter", "n", "said"),
    [
        (lambda d: _swapped(d, 2, body={**d[2].body, "outcome": "no"}), 3, "changed after it was recorded"),
        (lambda d: _swapped(d, 2, at="2026-05-05T00:00:00Z"), 3, "changed after it was recorded"),
        (lambda d: _swapped(d, 1, sealed={}), 2, "changed after it was recorded"),
        (lambda d: d[:2] + d[3:], 4, "An event before it is missing"),
        (lambda d: d[1:], 2, "An event before it is missing"),
        (lambda d: _swapped(d, 5, n=9), 9, "number does not follow"),
        (lambda d: [*d, replace(d[2], by="grower")], 3, "twice with different content"),
    ],
)
def test_flaws_are_found_where_they_are(alter: Any, n: int, said: str) -> None:
    """What was changed or left out is named by call, n and kind."""
    desk = a_call()
    flaws = verify(alter(desk.events), [])

    assert any(said in f.what and f.n == n for f in flaws)
    with pytest.raises(RecordError, match="call K7Q2M-4TXB9, event "):
        check(alter(desk.events))


def _remade(event: Event, **changed: Any) -> Event:
    """An event forged whole: changed, with an id that fits."""
    envelope = {**event.envelope(), **changed}
    return Event.from_json({**envelope, "id": event_id(envelope)})


@pytest.mark.parametrize(
    ("at", "changed", "said"),
    [
        (5, {"n": 9}, "number does not follow"),
        (5, {"parents": []}, "Only the opening"),
        (5, {"call": "0000000000"}, "another call"),
        (5, {"by": "robot"}, "by must be one of"),
        (5, {"body": {"check": "gauge", "status": "given", "observer": "x", "extra": 1}}, "not a field"),
        (5, {"kind": "opened"}, "Only the opening"),
        (5, {"kind": "withdrawn", "body": {"target": "0" * 64}}, "not there before it"),
        (5, {"kind": "erased", "body": {"targets": [["0" * 64, "words"]]}}, "no such sealed field"),
        (0, {"kind": "note", "body": {}}, "Only the opening"),
    ],
)
def test_forged_events_are_found(at: int, changed: dict[str, Any], said: str) -> None:
    """An event whose id fits is still held against the rules of the chain and of its kind."""
    events = a_call().events
    forged = [_remade(e, **changed) if i == at else e for i, e in enumerate(events)]

    assert any(said in f.what for f in verify(forged, []))


def test_references_must_fit() -> None:
    """A proof proves a repair by answers; the opening, a caution and an erasing cannot be withdrawn."""
    desk = a_call()
    opened, answer = desk.events[0], desk.events[2]
    caution = desk.add("caution", caution="fan", acknowledged="key")
    erased = desk.add("erased", **erase(desk.events))

    def flaws(kind: str, body: dict[str, Any]) -> str:
        event, _ = make_event(CALL, heads(desk.events), "2026-05-04T08:00:00Z", "X", "tool", kind, body)
        return " ".join(f.what for f in verify([*desk.events, event], desk.sealed))

    wrong = {"target": answer.id, "verdict": "accepted"}
    assert "names an event of kind answer, not repair" in flaws("proof", wrong)
    for fixed in (opened, caution, erased):
        assert f"kind {fixed.kind} cannot be withdrawn" in flaws("withdrawn", {"target": fixed.id})
    assert "no such sealed field" in flaws("erased", {"targets": [[answer.id, "words"]]})


def test_altered_sealed_values_are_found() -> None:
    """A sealed value that was changed, made up or belongs nowhere is named; a missing one is allowed."""
    desk = a_call()
    value = desk.sealed[0]
    changed = replace(value, value="Alder Hill")
    resalted = replace(value, salt=bytes(16))
    made_up = Sealed(desk.events[0].id, "contact", bytes(16), "0123")
    nowhere = Sealed("0" * 64, "words", bytes(16), "x")

    for wrong, said in ((changed, "not what was recorded"), (resalted, "not what was recorded"),
                        (made_up, "does not have"), (nowhere, "missing")):
        assert any(said in f.what for f in verify(desk.events, [wrong])), said
    assert [] == verify(desk.events, desk.sealed[1:])


def test_no_events_is_a_flaw() -> None:
    """An empty record is not a whole one."""
    assert ["There are no events."] == [f.what for f in verify([], [])]


@given(desks(6), st.data())
def test_any_changed_byte_is_found(made: list[Desk], data: st.DataObject) -> None:
    """Whatever single character of an event's form is changed: refused as a form, or found as a flaw."""
    desk = made[0]
    at = data.draw(st.integers(0, len(desk.events) - 1))
    form = canonical(desk.events[at].as_json()).decode()
    spot = data.draw(st.integers(0, len(form) - 1))
    other = data.draw(st.sampled_from("0aZ{\""))
    changed = form[:spot] + other + form[spot + 1 :]
    try:
        event = Event.from_json(json.loads(changed))
    except (RecordError, json.JSONDecodeError):
        return

    events = [event if i == at else e for i, e in enumerate(desk.events)]
    assert (changed == form) == (verify(events, []) == [])


# ------------------------------------------------------------------------------------ newer programs


def test_unknown_kinds_and_newer_forms_are_kept_uninterpreted() -> None:
    """An event of a newer program keeps its place in the chain; its body is not looked into."""
    desk = a_call()
    newer = [_remade(desk.events[-1], kind="drone_flight", body={"x": {"y": 1}}),
             _remade(desk.events[-1], v=VERSION + 1, body={"anything": []})]

    for event in newer:
        assert not event.known
        assert event.happened is None
        assert [] == verify([*desk.events[:-1], event], desk.sealed)


# ------------------------------------------------------------------------------------------- erasing


def test_erasing_keeps_the_chain() -> None:
    """Erased values are gone, the hashes stay, and the call is still whole."""
    desk = a_call()
    customer = (desk.events[0].id, "customer")
    desk.add("erased", **erase(desk.events, [customer]))
    kept = keep_sealed(desk.events, desk.sealed)

    assert {customer} == erased_targets(desk.events)
    assert {"gaps", "dug it myself"} == {s.value for s in kept}
    assert [] == verify(desk.events, kept)


def test_erasing_everything_and_twice() -> None:
    """Without targets all sealed fields go; what is erased already is not erased again."""
    desk = a_call()
    body = erase(desk.events)

    assert {s.field for s in desk.sealed} == {name for _, name in body["targets"]}
    desk.add("erased", **body)
    assert [] == keep_sealed(desk.events, desk.sealed)
    assert {"targets": []} == erase(desk.events)
    with pytest.raises(RecordError, match="no sealed field"):
        erase(desk.events, [(desk.events[0].id, "words")])


@given(desks(8), st.data())
def test_erased_values_never_come_back(made: list[Desk], data: st.DataObject) -> None:
    """Whichever side erased, after any merge the values are gone on both."""
    before = made[0].sealed[:]
    every = [(s.event, s.field) for s in made[0].sealed]
    targets = data.draw(st.lists(st.sampled_from(every), min_size=1, unique=True))
    made[0].add("erased", **erase(made[0].events, targets))
    union = merge(made[1].events, made[0].events)

    kept = {(s.event, s.field) for s in keep_sealed(union, [*made[1].sealed, *before])}
    assert not kept & set(targets)
    assert kept == {(s.event, s.field) for s in keep_sealed(union, [*before, *made[1].sealed])}


# ----------------------------------------------------------------------------------------------- ids


def test_call_ids() -> None:
    """Ten characters of Crockford base 32 from fifty bits, shown in two halves."""
    assert "0000000000" == new_call_id(lambda n: bytes(n))
    assert "ZZZZZZZZZZ" == new_call_id(lambda n: b"\xff" * n)
    assert "K7Q2M-4TXB9" == show_call_id(CALL)
    made = {new_call_id(random.Random(i).randbytes) for i in range(200)}
    assert 200 == len(made)
    assert all(not set("ILOU") & set(m) for m in made)


@pytest.mark.parametrize("typed", ["K7Q2M-4TXB9", "k7q2m4txb9", "k7q2", " K7Q2M ", "K7Q2M-4"])
def test_find_a_call_by_its_beginning(typed: str) -> None:
    """Case, hyphen and blanks do not matter; a beginning is enough."""
    assert CALL == find_call_id(typed, [CALL, "K8AAAAAAAA", "0000000000"])


def test_find_a_call_refusals() -> None:
    """No call, several calls, nothing typed: said plainly. O is read as 0, I and L as 1."""
    ids = [CALL, "K8AAAAAAAA", "01AAAAAAAA"]

    assert "01AAAAAAAA" == find_call_id("ol", ids)
    for typed, said in (("K", "fits 2 calls"), ("X", "no call"), ("", "no call"), ("K7%", "no call")):
        with pytest.raises(UsageError, match=said):
            find_call_id(typed, ids)


def test_every_kind_says_what_it_takes() -> None:
    """The kinds are those of the contract; only five can never be withdrawn."""
    assert {"opened", "machine", "situation", "complaint", "done_before", "answer", "withdrawn", "channel",
            "caution", "swap", "change", "waiting", "repair", "proof", "note", "photo", "judged", "closed",
            "reopened", "erased", "signed"} == set(KINDS)
    assert {"opened", "judged", "caution", "erased", "signed"} == {k for k, v in KINDS.items() if not v.WITHDRAWABLE}


def test_utc_is_used_everywhere() -> None:
    """The test clock itself is in UTC."""
    assert UTC == datetime.fromisoformat(Desk().open().at).tzinfo
