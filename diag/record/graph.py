"""The events of a call: made, chained by hash, sealed, ordered, merged, verified, erased.

    {v, call, parents: [ids], n, at, desk, by, kind, body, sealed}      id = SHA-256 of its canonical JSON

Events are never changed and never taken away; later ones say what earlier ones no longer hold. `parents`
are all events that had no child when this one was made, `n` is one more than the largest n among them.
The order is (n, desk, id): parents come first, and it is the same on every desk whatever the arrival.
Free text and personal data stand beside the chain as salted, sealed values that can be erased for good.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from diag.errors import RecordError
from diag.record.body import faults, misfits, parted
from diag.record.event import (
    FRESH,
    VERSION,
    Event,
    Sealed,
    canonical,
    event_id,
    hash_of,
    place_in_words,
    place_of,
    plain,
    seal,
)
from diag.record.fields import Path as Place
from diag.record.fields import leaves
from diag.record.ids import Salts, find_call_id, new_call_id, new_desk_id, show_call_id, stamp
from diag.record.kinds import KINDS, MOST_TEXT, ROLES
from diag.text import clean, one_line

__all__ = [
    "KINDS", "VERSION", "Event", "RecordFlaw", "Salts", "Sealed", "canonical", "check", "erase",
    "erased_targets", "event_id", "find_call_id", "flaws_of", "heads", "keep_sealed", "make_event", "merge",
    "new_call_id", "new_desk_id", "order", "place_of", "seal", "show_call_id", "stamp", "verify",
]

_MOST_BYTES = 500_000


def make_event(
    call: str,
    parents: Sequence[Event],
    at: str | datetime,
    desk: str,
    by: str,
    kind: str,
    body: Mapping[str, Any] | None = None,
    sealed_values: Mapping[str, str] | None = None,
    *,
    salts: Salts | None = None,
) -> tuple[Event, tuple[Sealed, ...]]:
    """Return a new event and its sealed values (fields that are None or empty text are left out).

    `parents` are the present heads of the call. Free labels in the body are sealed. Raises RecordError naming the
    field that does not fit.
    """
    n = 1 + max((p.n for p in parents), default=0)
    told = plain({k: v for k, v in (body or {}).items() if v is not None})
    labels: dict[str, str] = {}
    if kind in KINDS:
        for path, what in misfits(KINDS[kind], told):
            raise RecordError(f"{'.'.join(map(str, (kind, *path)))} {what}.", place_in_words(call, n, kind))
        told, labels = parted(KINDS[kind], told)
    cleaned = {name: clean(text) for name, text in {**labels, **(sealed_values or {})}.items() if text}
    values = {name: text for name, text in cleaned.items() if text}
    if values and salts is None:
        raise ValueError("sealed values need a source of salts")
    salted = {name: salts(16) for name in sorted(values)} if salts else {}
    envelope: dict[str, Any] = {
        "v": VERSION,
        "call": call,
        "parents": sorted({p.id for p in parents}),
        "n": n,
        "at": at if isinstance(at, str) else stamp(at),
        "desk": desk,
        "by": by,
        "kind": kind,
        "body": told,
        "sealed": {name: seal(values[name], salt) for name, salt in salted.items()},
    }
    event = Event.from_json({**envelope, "id": event_id(envelope)})
    sealed = tuple(Sealed(event.id, name, salted[name], values[name]) for name in salted)
    wrong = next(flaws_of(event, sealed, {p.id: p for p in parents}, references=False), "")
    if wrong:
        raise RecordError(wrong, place_of(event))
    return event, sealed


# ---------------------------------------------------------------------------------- order and merge


def order(events: Iterable[Event]) -> list[Event]:
    """Return events in reading order, each once: parents first, then by n, desk and id.

    n grows from parent to child, so sorting by n alone already puts parents first.
    """
    return sorted({e.id: e for e in events}.values(), key=lambda e: (e.n, e.desk, e.id))


def heads(events: Iterable[Event]) -> list[Event]:
    """Return the events that have no child yet, in reading order: the parents of the next event."""
    known = order(events)
    parents = {p for e in known for p in e.parents}
    return [e for e in known if e.id not in parents]


def merge(a: Iterable[Event], b: Iterable[Event]) -> list[Event]:
    """Return the union of two continuations of a call in reading order.

    Raises RecordError when the two hold different events under one id.
    """
    union: dict[str, Event] = {}
    for event in (*a, *b):
        if union.setdefault(event.id, event) != event:
            raise RecordError("Two different events have the same id.", place_of(event), FRESH)
    return order(union.values())


def erased_targets(events: Iterable[Event]) -> set[tuple[str, str]]:
    """Return (event id, field) of every sealed value that was erased."""
    erasing = [e for e in events if e.kind == "erased" and e.known]
    return {(target[0], target[1]) for e in erasing for target in e.body["targets"]}


def keep_sealed(events: Iterable[Event], sealed: Iterable[Sealed]) -> list[Sealed]:
    """Return the sealed values that may still be kept: each once, of these events, not erased."""
    known = list(events)
    gone = erased_targets(known)
    fields = {(e.id, name) for e in known for name in e.sealed} - gone
    kept = {(s.event, s.field): s for s in sealed if (s.event, s.field) in fields}
    return [kept[key] for key in sorted(kept)]


def erase(events: Iterable[Event], targets: Iterable[tuple[str, str]] | None = None) -> dict[str, Any]:
    """Return the body of an `erased` event for these (event id, field) pairs, or for all that is sealed.

    Values erased before are left out. Raises RecordError for a target that is not a sealed field.
    """
    known = list(events)
    every = {(e.id, name) for e in known for name in e.sealed}
    wanted = every if targets is None else set(targets)
    if missing := sorted(wanted - every):
        raise RecordError(f"There is no sealed field {one_line(missing[0][1], limit=40)!r} to erase there.",
                          f"event {missing[0][0][:12]}", "Look at the call's events for what can be erased.")
    return {"targets": [list(t) for t in sorted(wanted - erased_targets(known))]}


# ------------------------------------------------------------------------------------- verification


@dataclass(frozen=True)
class RecordFlaw:
    """One way in which a record is not as it was made."""

    call: str
    n: int
    kind: str
    event: str
    what: str

    @property
    def where(self) -> str:
        """The place in words."""
        return place_in_words(self.call, self.n, self.kind)


def flaws_of(
    event: Event,
    sealed: Iterable[Sealed],
    before: Mapping[str, Event],
    *,
    references: bool = True,
) -> Iterator[str]:
    """Yield what is wrong with one event, given its sealed values and the events it rests on.

    `before` must hold its parents and what it refers to; with `references` False only the parents.
    """
    if not _fits_its_id(event):
        yield "Its content does not fit its id: it was changed after it was recorded."
    yield from _chain_flaws(event, before)
    for value in sealed:
        if value.field not in event.sealed:
            yield f"There is a sealed value {one_line(value.field, limit=40)!r} that it does not have."
        elif len(value.salt) != 16 or seal(value.value, value.salt) != event.sealed[value.field]:
            yield f"The sealed value {value.field!r} is not what was recorded."
        elif len(value.value) > MOST_TEXT or clean(value.value) != value.value:
            yield f"The sealed value {value.field!r} is longer than {MOST_TEXT} characters or no clean text."
    if event.known:
        yield from _body_flaws(event, before if references else None)


def _fits_its_id(event: Event) -> bool:
    try:
        return hash_of(event.form) == event.id
    except RecordError:  # a fraction, or another thing that no record holds
        return False


def _chain_flaws(event: Event, before: Mapping[str, Event]) -> Iterator[str]:
    parents = [before[p] for p in event.parents if p in before]
    if len(parents) < len(event.parents):
        yield "An event before it is missing."
    elif event.n != 1 + max((p.n for p in parents), default=0):
        yield "Its number does not follow from the events before it."
    if any(p.call != event.call for p in parents):
        yield "It follows an event of another call."
    if list(event.parents) != sorted(set(event.parents)):
        yield "Its parents are not in order."
    if bool(event.parents) == (event.kind == "opened"):
        yield "Only the opening of a call stands at its beginning, and only there."


def _body_flaws(event: Event, before: Mapping[str, Event] | None) -> Iterator[str]:
    if event.by not in ROLES:
        yield f"by must be one of {', '.join(ROLES)}."
    found = list(faults(KINDS[event.kind], event.v, event.body, event.sealed))
    if not found and len(event.form) > _MOST_BYTES and len(canonical(event.body)) > _MOST_BYTES:
        yield f"Its body is larger than {_MOST_BYTES // 1000} kB."
    for path, what in found:
        yield f"{one_line('.'.join(map(str, (event.kind, *path))))} {what}."
    if before is not None and not found:
        yield from _reference_flaws(event, before)


def _reference_flaws(event: Event, before: Mapping[str, Event]) -> Iterator[str]:
    for path, target_id, kind in references(event):
        target = before.get(target_id)
        if target is None or target.n >= event.n:
            yield f"{path[0]} names an event that is not there before it."
        elif kind not in ("event", target.kind):
            yield f"{path[0]} names an event of kind {target.kind}, not {kind}."
        elif event.kind == "withdrawn" and target.known and not KINDS[target.kind].WITHDRAWABLE:
            yield f"An event of kind {target.kind} cannot be withdrawn."
    for target_id, name in event.body["targets"] if event.kind == "erased" else ():
        if target_id not in before or name not in before[target_id].sealed:
            yield f"It erases {one_line(name, limit=40)!r} of an event that has no such sealed field."


def references(event: Event) -> Iterator[tuple[Place, str, str]]:
    """Yield (place in the body, id, kind or "event") of every event that a known one names."""
    for leaf in leaves(KINDS[event.kind], event.body):
        if leaf.type.is_event:
            yield leaf.path, leaf.value, leaf.type.refers


def verify(events: Iterable[Event], sealed: Iterable[Sealed]) -> list[RecordFlaw]:
    """Return every way in which the events of one call are not as they were made.

    Sealed values may be missing (never handed over, or erased), but not altered. What cannot be seen: newest events
    cut off, an event added beside the others, or everything written anew by somebody who has the file.
    """
    given, values = list(events), list(sealed)
    known = order(given)
    before = {e.id: e for e in known}
    by_event: dict[str, list[Sealed]] = {}
    for value in values:
        by_event.setdefault(value.event, []).append(value)
    flaws = [RecordFlaw(e.call, e.n, e.kind, e.id, what=what)
             for e in known for what in flaws_of(e, by_event.get(e.id, ()), before)]
    return flaws + list(_whole_flaws(given, before, by_event))


def _whole_flaws(given: Sequence[Event], before: Mapping[str, Event], sealed: Mapping[str, Any],
                 ) -> Iterator[RecordFlaw]:
    """Yield flaws that show only when all events are seen together."""
    known = order(given)
    if not known:
        yield RecordFlaw("", 0, "", "", what="There are no events.")
        return
    first = known[0]
    for event in given:
        if before[event.id] != event:
            yield RecordFlaw(event.call, event.n, event.kind, event.id,
                             what="It is there twice with different content.")
    for event in known[1:]:
        if event.call != first.call:
            yield RecordFlaw(event.call, event.n, event.kind, event.id, what="It belongs to another call.")
        elif event.kind == "opened" and not event.parents:
            yield RecordFlaw(event.call, event.n, event.kind, event.id, what="The call is opened a second time.")
    for event_id_ in sorted(set(sealed) - set(before)):
        yield RecordFlaw(first.call, 0, "", event_id_, what="There are sealed values of an event that is missing.")


def check(events: Iterable[Event], sealed: Iterable[Sealed] = ()) -> None:
    """Raise RecordError naming call, n and kind of the first flaw; return nothing when all is whole."""
    for flaw in verify(events, sealed):
        raise RecordError(flaw.what, flaw.where, FRESH)
