"""Whether stored calls are as they were made, and what of a damaged store can be made anew or saved."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Sequence
from typing import Any

from sqlalchemy import Connection, select, update

from diag.errors import RecordError
from diag.record.graph import (
    Event,
    RecordFlaw,
    Sealed,
    erased_targets,
    flaws_of,
    heads,
    keep_sealed,
    order,
    show_call_id,
    verify,
)
from diag.record.ids import is_call_id
from diag.record.kinds import Signed
from diag.store import signing
from diag.store import tables as t
from diag.store.kept import Profile, Repairs, Verified
from diag.store.stored import events_where, insert_new, loaded, read_event, sealed_of
from diag.store.summary import summarise
from diag.text import count

DAMAGED_LABEL = "(damaged profile)"


def row_of(connection: Connection, call: str) -> dict[str, Any]:
    """Return the row of a call as its events give it. Raises RecordError when they cannot be read."""
    events = events_where(connection, t.events.c.call == call)
    if not events:
        raise RecordError("No event of it is found.", show_call_id(call), "See what can be saved: diag calls repair.")
    changed = max(e.at for e in events)
    summary, search = summarise(events, sealed_of(connection, call))
    told = json.dumps(summary.as_json(), ensure_ascii=False)
    return {"changed": changed, "events": len(events), "due": summary.due, "summary": told, "search": search}


def profile_of(row: Any) -> Profile:
    """Return a stored profile; one that is damaged has nothing but a label that says so."""
    body, personal = loaded(row.body), loaded(row.personal)
    if isinstance(body, dict) and isinstance(personal, dict) and all(isinstance(v, str) for v in personal.values()):
        return Profile(row.id, body, personal)
    return Profile(row.id, {}, {"label": DAMAGED_LABEL})


# ------------------------------------------------------------------------------------------- verifying


def verified(connection: Connection, call: str, head: str | None) -> Verified:
    """Check one call: its chain, its texts, the columns beside them, its line in the list, the head given."""
    rows = connection.execute(select(t.events).where(t.events.c.call == call)).all()
    line = connection.execute(select(t.calls).where(t.calls.c.id == call)).one_or_none()
    if not rows and line is None:
        raise RecordError(f"There is no call {show_call_id(call)} here.", "", "List the calls.")
    flaws: list[RecordFlaw] = []
    events: list[Event] = []
    for row in rows:
        event = read_event(row.id, row.form)
        if event is None:
            flaws.append(RecordFlaw(call, 0, "", str(row.id),
                                    what=f"The event stored as {row.arrival} cannot be read."))
            continue
        events.append(event)
        flaws += [_flaw(event, f"The column {name} beside it was changed.") for name, there, true in (
            ("call", row.call, event.call), ("kind", row.kind, event.kind), ("v", row.v, event.v)) if there != true]
    arrivals = sorted(str(r.arrival) for r in rows)
    if arrivals != sorted(map(str, range(1, len(rows) + 1))):
        flaws.append(RecordFlaw(call, 0, "", event="",
                                what="The numbers of arrival were changed, or events were taken out."))
    sealed = sealed_of(connection, call)
    flaws += verify(events, sealed)
    flaws += _line_flaws(connection, call, line, broken=bool(flaws))
    remarks = [*_missing(events, sealed), *_branches(events)]
    bad = {f.event for f in flaws}
    for event in (e for e in order(events) if e.known and e.kind == Signed.KIND and e.id not in bad):
        fit, key = signing.fits(event), signing.fingerprint(event.body["key"])
        if fit is False:
            flaws.append(_flaw(event, f"The signature is not that of key {key} over what stands before it."))
        else:
            told = "" if fit else " That was not tried: install diag with the extra sign."
            remarks.append(f"Event {event.n} signs all that it follows from, with key {key}.{told}")
    if head is not None:
        flaws, remarks = _against(events, head, flaws, remarks)
    return Verified(call, tuple(flaws), tuple(remarks), tuple(e.id for e in heads(events)))


def _flaw(event: Event, what: str) -> RecordFlaw:
    return RecordFlaw(event.call, event.n, event.kind, event.id, what=what)


def _line_flaws(connection: Connection, call: str, line: Any, *, broken: bool) -> Iterator[RecordFlaw]:
    """Yield what does not fit the events in the row of the call, which lists and searches read."""
    if line is None:
        yield RecordFlaw(call, 0, "", event="", what="Its line in the list is missing.")
    elif not broken:
        try:
            given = row_of(connection, call)
        except RecordError as e:
            yield RecordFlaw(call, 0, "", event="", what=e.what)
            return
        for name, true in given.items():
            there = getattr(line, name)
            if (_lasting(there) != _lasting(true)) if name == "summary" else there != true:
                yield RecordFlaw(call, 0, "", event="",
                                 what=f"Its line in the list ({name}) is not what the events give.")


def _lasting(summary: Any) -> Any:
    """Return a stored summary without what stands in columns of its own and moves on with every event."""
    data = loaded(summary)
    return {k: v for k, v in data.items() if k not in ("changed", "events")} if isinstance(data, dict) else None


def _missing(events: Sequence[Event], sealed: Iterable[Sealed]) -> Iterator[str]:
    gone, there = erased_targets(events), {(s.event, s.field) for s in sealed}
    lacking = [f"{e.n} ({e.kind}: {name})" for e in events for name in e.sealed if (e.id, name) not in {*gone, *there}]
    if lacking:
        some = ", ".join(lacking[:8]) + (", ..." if len(lacking) > 8 else "")
        yield f"{count(len(lacking), 'text')} not here, never handed over or deleted without a word: event {some}."
    if gone:
        yield f"{count(len(gone), 'text')} erased, as the record says."


def _branches(events: Sequence[Event]) -> Iterator[str]:
    known = order(events)
    for event in known:
        after = [e for e in known if event.id in e.parents]
        if len(after) > 1:
            told = ", ".join(f"event {e.n} ({e.kind}, desk {e.desk})" for e in after)
            yield f"Branches after event {event.n}: {told}. Each was typed without the other."
    if len(newest := heads(known)) > 1:
        yield "Several newest events: " + ", ".join(f"event {e.n} ({e.kind}) {e.id[:16]}" for e in newest) + "."


def _against(events: Sequence[Event], head: str, flaws: list[RecordFlaw],
             remarks: list[str]) -> tuple[list[RecordFlaw], list[str]]:
    """Add what the record is to a head that is known from elsewhere: absent, or not the end of everything."""
    wanted = head.strip().lower()
    found = [e for e in events if e.id.startswith(wanted)] if len(wanted) >= 12 else []
    if not found:
        what = "The given head is not in it: newest events were cut off, or the record was written anew."
        return [*flaws, RecordFlaw(events[0].call if events else "", 0, "", wanted, what=what)], remarks
    by_id = {e.id: e for e in events}
    before, ahead = set(), [found[0].id]
    while ahead:
        event = by_id.get(ahead.pop())
        if event is not None and event.id not in before:
            before.add(event.id)
            ahead += event.parents
    others = [e for e in order(events) if e.id not in before]
    if others:
        told = ", ".join(f"{e.n} ({e.kind})" for e in others[:8]) + (", ..." if len(others) > 8 else "")
        remarks = [*remarks, f"That head does not speak for {count(len(others), 'event')}: {told}."]
    return flaws, remarks


# ------------------------------------------------------------------------------------------- repairing


def repaired(connection: Connection) -> Repairs:
    """Make anew what is derived from events, and say what cannot be read."""
    rebuilt, lost = [], []
    events = connection.execute(select(t.events)).all()
    by_call: dict[str, list[Any]] = {}
    for row in events:
        by_call.setdefault(row.call, []).append(row)
    there = {r.id: r for r in connection.execute(select(t.calls)).all()}
    for call in sorted({*by_call, *there}, key=str):
        shown = show_call_id(str(call))  # one changed byte makes a number of an id
        if not isinstance(call, str) or not is_call_id(call) or call not in by_call:
            lost.append(f"call {shown}: no event of it is here")
            continue
        whole, beyond = savable(by_call[call])
        if beyond:
            lost.append(f"call {shown}: {count(beyond, 'event')} cannot be read or rest on one that cannot; "
                        f"{count(len(whole), 'event')} can be saved")
            continue
        if call not in there:
            insert_new(connection, t.calls, [{"id": call, "changed": "", "events": 0, "due": "", "summary": "{}",
                                              "search": ""}])
        try:
            true = row_of(connection, call)
        except RecordError as e:
            lost.append(f"call {shown}: {e.what[:1].lower()}{e.what[1:].rstrip('.')}")
            continue
        if call not in there or any(_line_flaws(connection, call, there[call], broken=False)):
            connection.execute(update(t.calls).where(t.calls.c.id == call).values(true))
            rebuilt.append(f"call {shown}: its line in the list")
    lost += [f"machine profile {p.id}: it cannot be read" for p in map(
        profile_of, connection.execute(select(t.profiles)).all()) if p.personal.get("label") == DAMAGED_LABEL]
    return Repairs(len(by_call), tuple(rebuilt), tuple(lost))


def saved(connection: Connection) -> dict[str, tuple[list[Event], list[Sealed]]]:
    """Return what is whole of every call that is damaged: events and the texts that fit them, by call."""
    by_call: dict[str, list[Any]] = {}
    for row in connection.execute(select(t.events)).all():
        by_call.setdefault(row.call, []).append(row)
    found = {}
    for call, rows in sorted(by_call.items(), key=str):
        events, beyond = savable(rows)
        if beyond and events:
            kept, known = sealed_of(connection, call), {e.id: e for e in events}
            found[call] = events, [s for s in keep_sealed(events, kept)
                                   if not any(True for _ in flaws_of(known[s.event], [s], known))]
    return found


def savable(rows: Iterable[Any]) -> tuple[list[Event], int]:
    """Return the events that are whole and rest on whole ones only, and how many are not."""
    stored = list(rows)
    read = [e for r in stored if (e := read_event(r.id, r.form)) is not None]
    kept: dict[str, Event] = {}
    for event in order(read):
        if not any(True for _ in flaws_of(event, (), kept)):
            kept[event.id] = event
    return list(kept.values()), len(stored) - len(kept)
