"""Queries of the store: events and sealed values out of their tables, and the id of this desk."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path

from sqlalchemy import ColumnElement, Connection, Table, and_, delete, insert, select, true

from diag.errors import RecordError, StoreError
from diag.record.graph import Event, Sealed, new_desk_id, order, references
from diag.record.ids import is_call_id
from diag.store import tables as t
from diag.store.summary import folded

_OWN_SETTINGS = ("schema", "desk")
_CHUNK = 500  # values in one IN list


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
    return list(dict.fromkeys([*event.parents, *(named for _, named, _ in references(event))]))


def events_where(connection: Connection, *where: ColumnElement[bool]) -> list[Event]:
    """Return events in reading order; one whose stored form is broken is named."""
    rows = connection.execute(select(t.events.c.id, t.events.c.form, t.events.c.arrival).where(*where)).all()
    found = []
    for row in rows:
        try:
            found.append(Event.from_json({**json.loads(row.form), "id": row.id}))
        except (ValueError, TypeError, RecordError):
            raise RecordError("A stored event cannot be read.", f"event {row.id[:12]}, stored as {row.arrival}",
                              "Restore the newest backup.") from None
    return order(found)


def events_named(connection: Connection, call: str, ids: Sequence[str]) -> list[Event]:
    """Return the events of a call with these ids, as far as they are there."""
    found: list[Event] = []
    for i in range(0, len(ids), _CHUNK):
        found += events_where(connection, t.events.c.call == call, t.events.c.id.in_(ids[i : i + _CHUNK]))
    return found


def sealed_of(connection: Connection, call: str) -> list[Sealed]:
    """Return the sealed values of a call that are there."""
    rows = connection.execute(select(t.sealed).where(t.sealed.c.call == call)).all()
    return sorted((Sealed(r.event, r.field, bytes(r.salt), r.value) for r in rows),
                  key=lambda s: (s.event, s.field))


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


def user_file() -> Path:
    """Return where this installation keeps its desk id when it shares a database."""
    from platformdirs import user_data_dir

    return Path(user_data_dir("diag", appauthor=False)) / "desk"


def desk_of(path: Path, random: Callable[[int], bytes]) -> str:
    """Return the desk id in a file, making it when missing."""
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if not path.exists():
            path.write_text(new_desk_id(random) + "\n", encoding="utf-8")
        found = path.read_text(encoding="utf-8").strip()
    except (OSError, UnicodeDecodeError) as e:
        reason = getattr(e, "strerror", None) or type(e).__name__
        raise StoreError(f"The id of this desk cannot be kept: {reason}.", str(path), "Check the folder.") from None
    if not is_call_id(found):
        raise StoreError("This file does not hold the id of a desk.", str(path), "Delete it; a new one is made.")
    return found
