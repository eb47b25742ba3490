"""Queries of the store: events and sealed values out of their tables, and the id of this desk."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    Table,
    and_,
    bindparam,
    case,
    delete,
    func,
    insert,
    or_,
    select,
    true,
    type_coerce,
    update,
)
from sqlalchemy.dialects.postgresql import insert as postgres_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert
from sqlalchemy.types import NullType

from diag.errors import RecordError
from diag.record.graph import KINDS, VERSION, Event, Sealed, order, references
from diag.record.ids import is_call_id
from diag.store import tables as t
from diag.store.summary import folded

_OWN_SETTINGS = ("schema", "desk")
_CHUNK = 500  # values in one IN list

# What every recording asks is made once: building a statement costs as much as running it.
_OF_CALL = t.events.c.call == bindparam("call")
_HERE = t.events.c.id.in_(bindparam("ids", expanding=True))
_NAMED = select(t.events.c.id, t.events.c.form, t.events.c.arrival).where(_OF_CALL, _HERE)
_STANDING = select(t.events.c.id, t.events.c.form, t.events.c.arrival, t.events.c.v, t.events.c.kind).where(
    _OF_CALL, or_(_HERE, t.events.c.v > VERSION, t.events.c.kind.not_in(list(KINDS))))
_IDS = select(t.events.c.id).where(_OF_CALL)
_ARRIVED = select(func.max(t.events.c.arrival), func.count()).where(_OF_CALL)
_HELD = select(t.calls.c.id).where(t.calls.c.id == bindparam("call")).with_for_update()
_COUNTED = update(t.calls).where(t.calls.c.id == bindparam("row")).values(
    events=select(func.count()).where(t.events.c.call == bindparam("row")).scalar_subquery(),
    changed=case((t.calls.c.changed < bindparam("newest"), bindparam("newest")), else_=t.calls.c.changed))


def by_event(sealed: Iterable[Sealed]) -> dict[str, list[Sealed]]:
    """Return sealed values by the id of their event."""
    found: dict[str, list[Sealed]] = {}
    for value in sealed:
        found.setdefault(value.event, []).append(value)
    return found


def by_call(events: Iterable[Event]) -> dict[str, list[Event]]:
    """Return events by their call."""
    found: dict[str, list[Event]] = {}
    for event in events:
        found.setdefault(event.call, []).append(event)
    return found


def named_by(event: Event) -> list[str]:
    """Return the ids of the events that an event rests on: its parents and what it refers to."""
    named = [id_ for _, id_, _ in references(event)] if event.known else []
    return list(dict.fromkeys([*event.parents, *named]))


def events_where(connection: Connection, *where: ColumnElement[bool]) -> list[Event]:
    """Return events in reading order; one whose stored form is broken is named."""
    return _read(connection.execute(select(t.events.c.id, t.events.c.form, t.events.c.arrival).where(*where)))


def _read(rows: Iterable[Any]) -> list[Event]:
    found = []
    for row in rows:
        event = read_event(row.id, row.form)
        if event is None:
            raise RecordError("A stored event cannot be read.", f"event {str(row.id)[:12]}, stored as {row.arrival}",
                              "See what can be saved: diag calls repair.")
        found.append(event)
    return order(found)


def read_event(id_: Any, form: Any) -> Event | None:
    """Return the event of a stored form, None for one that is damaged."""
    try:
        return Event.from_json({**json.loads(form), "id": id_})
    except (ValueError, TypeError, RecursionError, RecordError):
        return None


def events_named(connection: Connection, call: str, ids: Sequence[str]) -> list[Event]:
    """Return the events of a call with these ids, as far as they are there."""
    found: list[Event] = []
    for i in range(0, len(ids), _CHUNK):
        found += _read(connection.execute(_NAMED, {"call": call, "ids": ids[i : i + _CHUNK]}))
    return found


def ids_of(connection: Connection, call: str) -> list[str]:
    """Return the ids of all events of a call."""
    return list(connection.scalars(_IDS, {"call": call}))


def standing(connection: Connection, event: Event) -> tuple[bool, bool, dict[str, Event]]:
    """Return whether an event is there, whether its call holds events of a newer program, and what it rests on."""
    named = named_by(event)
    rows = connection.execute(_STANDING, {"call": event.call, "ids": [event.id, *named]}).all()
    newer = any(not isinstance(r.v, int) or r.v > VERSION or r.kind not in KINDS for r in rows)
    there = any(r.id == event.id for r in rows)
    return there, newer, {e.id: e for e in _read(r for r in rows if r.id in named)}


def hold(connection: Connection, call: str) -> bool:
    """Hold the row of a call until the end of the transaction; False when there is none."""
    return connection.execute(_HELD, {"call": call}).one_or_none() is not None


def count_on(connection: Connection, call: str, newest: str) -> None:
    """Count the events of a call anew, and move the time of its last change on."""
    connection.execute(_COUNTED, {"row": call, "newest": newest})


def sealed_of(connection: Connection, call: str) -> list[Sealed]:
    """Return the sealed values of a call that are there."""
    salt = type_coerce(t.sealed.c.salt, NullType).label("salt")  # as it stands, also where it is damaged
    wanted = select(t.sealed.c.event, t.sealed.c.field, salt, t.sealed.c.value).where(t.sealed.c.call == call)
    rows = connection.execute(wanted).all()
    found = [Sealed(str(r.event), str(r.field), _bytes(r.salt), str(r.value)) for r in rows]
    return sorted(found, key=lambda s: (s.event, s.field))


def _bytes(stored: Any) -> bytes:
    """Return a salt; a damaged one is empty, and its text fits no seal."""
    return bytes(stored) if isinstance(stored, bytes | memoryview) else b""


def arrived(connection: Connection, call: str) -> tuple[list[int], int]:
    """Return ([number of the last event of a call that arrived], to be counted on, and how many events it has)."""
    last, there = connection.execute(_ARRIVED, {"call": call}).one()
    if last is not None and not isinstance(last, int):  # one is damaged
        every = connection.scalars(select(t.events.c.arrival).where(_OF_CALL), {"call": call}).all()
        last = max((a for a in every if isinstance(a, int)), default=0)
    return [last or 0], there


def insert_new(connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
    """Insert rows, leaving those whose key is there as they are."""
    if rows:
        form = postgres_insert if connection.dialect.name == "postgresql" else sqlite_insert
        connection.execute(form(table).on_conflict_do_nothing(), rows)


def loaded(form: Any) -> Any:
    """Return the data of a stored JSON text, None for one that is damaged."""
    try:
        return json.loads(form)
    except (ValueError, TypeError, RecursionError):
        return None


def delete_sealed(connection: Connection, targets: Iterable[tuple[str, str]]) -> None:
    """Delete the sealed values of these (event id, field) pairs."""
    for event, field in sorted(targets):
        where = and_(t.sealed.c.event == event, t.sealed.c.field == field)
        connection.execute(delete(t.sealed).where(where))


def matches(search: str | None) -> ColumnElement[bool]:
    """Return the condition that every word of a search occurs in a call."""
    words = folded(search or "").split()
    plain = [w.replace("-", "") if is_call_id(w.replace("-", "").upper()) else w for w in words]
    return and_(true(), *(t.calls.c.search.contains(word, autoescape=True) for word in plain))


def copy_rows(table: Table, source: Connection, target: Connection) -> None:
    """Copy the rows of a table, but not what belongs to this store alone."""
    wanted = select(table)
    if table is t.settings:
        wanted = wanted.where(table.c.key.not_in(_OWN_SETTINGS))
    for part in source.execution_options(stream_results=True).execute(wanted).mappings().partitions(1000):
        target.execute(insert(table), [dict(row) for row in part])


def free_key(key: str) -> str:
    """Return the key of a setting that the store does not keep itself."""
    if key in _OWN_SETTINGS:
        raise ValueError(f"the store keeps the setting {key} itself")
    return key
