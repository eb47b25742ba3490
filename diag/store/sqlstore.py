"""The store itself: events appended in one transaction each, summaries kept beside them."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, Row, Table, and_, delete, func, or_, select, update
from sqlalchemy.dialects.postgresql import insert as postgres_insert
from sqlalchemy.dialects.sqlite import insert as sqlite_insert

from diag.errors import RecordError, StoreError
from diag.record.body import faults
from diag.record.graph import (
    KINDS,
    VERSION,
    Event,
    RecordFlaw,
    Sealed,
    canonical,
    check,
    erase,
    erased_targets,
    find_call_id,
    flaws_of,
    heads,
    keep_sealed,
    make_event,
    merge,
    new_desk_id,
    order,
    place_of,
    show_call_id,
    verify,
)
from diag.store import tables as t
from diag.store.exchange import read_export, write_export
from diag.store.open import CallSummary, Imported, Profile
from diag.store.stored import (
    by_call,
    by_event,
    copy_rows,
    delete_sealed,
    desk_of,
    events_named,
    events_where,
    free_key,
    matches,
    named_by,
    sealed_of,
    user_file,
)
from diag.store.summary import SHOWN_KINDS, folded, summarise

_NEWER = or_(t.events.c.v > VERSION, t.events.c.kind.not_in(list(KINDS)))


class Store:
    """Calls, profiles and settings in one database. All methods raise StoreError when it fails."""

    def __init__(self, place: str | Path, random: Callable[[int], bytes], desk_file: Path | None = None) -> None:
        self._engine, self.place = t.connect(place)
        self._random = random
        self._desk_file = desk_file

    def close(self) -> None:
        """Let go of the database."""
        self._engine.dispose()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @property
    def _shared(self) -> bool:
        return self._engine.dialect.name != "sqlite"

    def _writing(self) -> AbstractContextManager[Connection]:
        return t.writing(self._engine, self.place)

    def _reading(self) -> AbstractContextManager[Connection]:
        return t.reading(self._engine, self.place)

    # -- appending

    def append(self, event: Event, sealed: Iterable[Sealed] = ()) -> bool:
        """Add one event with its sealed values, durably; False when it is there already.

        Raises RecordError when it does not follow from what is stored, or the call may not be written.
        """
        return self.append_many([event], sealed) == 1

    def append_many(self, events: Iterable[Event], sealed: Iterable[Sealed] = ()) -> int:
        """Add events in reading order, all or none; return how many were new."""
        values = by_event(sealed)
        added = 0
        with self._writing() as connection:
            for mine in by_call(order(events)).values():
                row = self._lock(connection, mine[0])
                if row is None:
                    raise RecordError(f"There is no call {show_call_id(mine[0].call)} here.", place_of(mine[0]),
                                      "Import the whole call first.")
                new: list[Event] = []
                for event in mine:
                    if self._append(connection, event, values.get(event.id, ()), row.events + len(new)):
                        new.append(event)
                self._refresh(connection, row, new, shown=False)
                added += len(new)
        return added

    def _append(self, connection: Connection, event: Event, sealed: Sequence[Sealed], last: int) -> bool:
        """Check one event against what it rests on and insert it after the `last` arrived; False when known."""
        where = and_(t.events.c.call == event.call, or_(t.events.c.id == event.id, _NEWER))
        found = connection.scalars(select(t.events.c.id).where(where)).all()
        if event.id in found:
            return False
        if found or not event.known:
            raise RecordError("This call holds events of a newer program, so nothing can be added here.",
                              place_of(event), "Go on in the newer program, or update this one.")
        before = {e.id: e for e in events_named(connection, event.call, named_by(event))}
        for what in flaws_of(event, sealed, before):
            raise RecordError(what, place_of(event), "Open the call again and repeat the step.")
        self._insert(connection, [event], last)
        self._insert_sealed(connection, event.call, sealed)
        return True

    def _lock(self, connection: Connection, event: Event) -> Row[Any] | None:
        """Return the row of the call, held until the end of the transaction; the opening makes it."""
        if event.kind == "opened" and not event.parents:
            row = {"id": event.call, "changed": event.at, "events": 0, "due": "", "summary": "{}", "search": ""}
            self._ignore(connection, t.calls, [row])
        held = select(t.calls).where(t.calls.c.id == event.call).with_for_update()
        return connection.execute(held).one_or_none()

    def _insert(self, connection: Connection, events: Sequence[Event], last: int) -> None:
        """Insert events after the `last` that arrived, and delete what they erase."""
        self._ignore(connection, t.events, [
            {"id": e.id, "call": e.call, "arrival": last + i, "v": e.v, "kind": e.kind,
             "form": canonical(e.envelope()).decode()} for i, e in enumerate(events, 1)])
        delete_sealed(connection, erased_targets(events))

    def _insert_sealed(self, connection: Connection, call: str, sealed: Iterable[Sealed]) -> None:
        rows = [{"event": s.event, "field": s.field, "call": call, "salt": s.salt, "value": s.value}
                for s in sealed]
        self._ignore(connection, t.sealed, rows)

    def _ignore(self, connection: Connection, table: Table, rows: Sequence[Mapping[str, Any]]) -> None:
        """Insert rows, leaving those whose key is there as they are."""
        if rows:
            form = postgres_insert if self._shared else sqlite_insert
            connection.execute(form(table).on_conflict_do_nothing(), rows)

    def _refresh(self, connection: Connection, row: Row[Any], new: Sequence[Event], *, shown: bool) -> None:
        """Bring the row of a call up to date; `shown`: what a list shows may have changed without new events."""
        call, count = row.id, row.events + len(new)
        changed = max([row.changed, *(e.at for e in new)])
        values: dict[str, Any] = {"changed": changed, "events": count}
        if shown or any(e.kind in SHOWN_KINDS for e in new):
            events = events_where(connection, t.events.c.call == call, t.events.c.kind.in_(SHOWN_KINDS))
            summary, search = summarise(events, sealed_of(connection, call), changed, count)
            told = json.dumps(summary.as_json(), ensure_ascii=False)
            values |= {"due": summary.due, "summary": told, "search": search}
        connection.execute(update(t.calls).where(t.calls.c.id == call).values(values))

    # -- reading

    def events(self, call: str) -> list[Event]:
        """Return the events of a call in reading order.

        Raises RecordError when there is no such call, or an event is not in a form that can be folded.
        """
        found = self._as_stored(call)
        for event in found:
            if event.known and any(True for _ in faults(KINDS[event.kind], event.v, event.body, event.sealed)):
                raise RecordError("A stored event was damaged or changed.", place_of(event),
                                  "Verify the call to see where, and restore the newest backup.")
        return found

    def _as_stored(self, call: str) -> list[Event]:
        with self._reading() as connection:
            found = events_where(connection, t.events.c.call == call)
        if not found:
            raise RecordError(f"There is no call {show_call_id(call)} here.", self.place, "List the calls.")
        return found

    def sealed(self, call: str) -> list[Sealed]:
        """Return the sealed values of a call that are there."""
        with self._reading() as connection:
            return sealed_of(connection, call)

    def calls(self, limit: int = 50, search: str | None = None) -> list[CallSummary]:
        """Return summaries: what is due first, soonest first; then the rest, last changed first.

        `search`: every word of it must occur (any case) in the caller's words, customer, place, machine
        label, notes, lot code, crop, ids of symptoms or causes, or the call's id.
        """
        with self._reading() as connection:
            found = select(t.calls).where(matches(search)).order_by(
                t.calls.c.due == "", t.calls.c.due, t.calls.c.changed.desc(), t.calls.c.id).limit(limit)
            rows = connection.execute(found).all()
        return [CallSummary.from_json({**json.loads(r.summary), "changed": r.changed, "events": r.events})
                for r in rows]

    def count(self, search: str | None = None) -> int:
        """Return how many calls there are, or fit a search."""
        with self._reading() as connection:
            return int(connection.scalar(select(func.count()).select_from(t.calls).where(matches(search))) or 0)

    def call_ids(self) -> list[str]:
        """Return the ids of all calls."""
        with self._reading() as connection:
            return list(connection.scalars(select(t.calls.c.id).order_by(t.calls.c.id)))

    def find(self, prefix: str) -> str:
        """Return the id of the one call that begins so. Raises UsageError otherwise."""
        return find_call_id(prefix, self.call_ids())

    def verify(self, call: str, head: str | None = None) -> list[RecordFlaw]:
        """Return every way in which a stored call is not as it was made."""
        try:
            events = self._as_stored(call)
        except RecordError as e:
            if call not in self.call_ids():
                raise
            return [RecordFlaw(call, 0, "", "", f"{e.what} ({e.where})")]
        return verify(events, self.sealed(call), head)

    # -- going out and coming in

    def export_file(self, calls: Sequence[str], path: Path | str, *, personal: bool = True) -> None:
        """Write calls to a file for another desk, with or without personal data and free text."""
        events = [e for call in calls for e in self.events(call)]
        sealed = [s for call in calls for s in self.sealed(call)] if personal else []
        write_export(Path(path), events, sealed)

    def import_file(self, path: Path | str) -> Imported:
        """Take over the calls of an export, all or none; merge those that are here already.

        Raises RecordError naming call, n and kind when anything in the file is not as it was made.
        """
        events, values = read_export(Path(path))
        calls = by_call(events)
        if missing := {s.event for s in values} - {e.id for e in events}:
            raise RecordError(f"There are {len(missing)} sealed values of events that are missing.", str(path),
                              "Ask for a fresh export from the desk it came from.")
        with self._writing() as connection:
            done = [self._take_over(connection, mine, values) for mine in calls.values()]
        return Imported(tuple(calls), sum(new for new, _ in done), sum(gone for _, gone in done))

    def _take_over(self, connection: Connection, theirs: Sequence[Event],
                   values: Sequence[Sealed]) -> tuple[int, int]:
        """Merge one call; return how many events were new and how many sealed values went."""
        first = order(theirs)[0]
        row = self._lock(connection, first)
        if row is None:
            check(theirs)
            raise RecordError("The call does not begin with its opening.", place_of(first), "Export it whole.")
        mine = events_where(connection, t.events.c.call == first.call)
        union = merge(mine, theirs)
        ids = {e.id for e in theirs}
        brought = [s for s in values if s.event in ids]
        check(union, brought)
        stored = {(s.event, s.field) for s in sealed_of(connection, first.call)}
        known = {e.id for e in mine}
        new = [e for e in union if e.id not in known]
        self._insert(connection, new, row.events)
        self._insert_sealed(connection, first.call, keep_sealed(union, brought))
        gone = erased_targets(union) & stored
        delete_sealed(connection, gone)
        self._refresh(connection, row, new, shown=True)
        return len(new), len(gone)

    def erase(self, call: str, targets: Iterable[tuple[str, str]] | None = None, *, at: str | datetime,
              by: str = "technician") -> Event:
        """Delete sealed values for good, all of a call when `targets` (event id, field) is None.

        The event that says so is kept, so that a desk that merges later deletes them too. Copies already
        handed out, backups and printed pages are outside its reach. Raises RecordError when there is
        nothing to erase.
        """
        events = self.events(call)
        body = erase(events, targets)
        if not body["targets"]:
            raise RecordError("There is nothing left to erase in this call.", self.place, "")
        event, _ = make_event(call, heads(events), at, self.desk_id(), by, "erased", body)
        self.append(event)
        return event

    def backup(self, path: Path | str) -> int:
        """Copy everything into a new SQLite store, opened like any other; return the number of calls.

        The copy gets a desk id of its own when it is used. Raises StoreError when the file exists.
        """
        path = Path(path)
        if path.exists():
            raise StoreError("The backup file exists already.", str(path), "Choose a new name.")
        try:
            with Store(path, self._random) as copy, self._reading() as source, copy._writing() as target:
                for table in t.metadata.sorted_tables:
                    copy_rows(table, source, target)
            return self.count()
        except BaseException:
            path.unlink(missing_ok=True)
            raise

    # -- profiles and settings

    def save_profile(self, body: Mapping[str, Any], personal: Mapping[str, str] | None = None,
                     profile: str | None = None) -> str:
        """Keep a machine profile, replacing the one of that id; return its id.

        What tells of a person (owner, serial, label) goes to `personal`. Numbers in the body are text.
        """
        key = profile or new_desk_id(self._random)
        row = {"body": canonical(body).decode(), "personal": canonical(personal or {}).decode()}
        with self._writing() as connection:
            self._ignore(connection, t.profiles, [{"id": key, **row}])
            connection.execute(update(t.profiles).where(t.profiles.c.id == key).values(row))
        return key

    def profiles(self) -> list[Profile]:
        """Return all machine profiles, by label and id."""
        with self._reading() as connection:
            rows = connection.execute(select(t.profiles)).all()
        found = [Profile(r.id, json.loads(r.body), json.loads(r.personal)) for r in rows]
        return sorted(found, key=lambda p: (folded(p.personal.get("label", "")), p.id))

    def delete_profile(self, profile: str) -> bool:
        """Delete a machine profile with its personal data; False when there is none of that id."""
        with self._writing() as connection:
            gone = connection.execute(delete(t.profiles).where(t.profiles.c.id == profile)).rowcount
        return bool(gone)

    def get_setting(self, key: str, default: Any = None) -> Any:
        """Return a setting."""
        with self._reading() as connection:
            found = connection.scalar(select(t.settings.c.value).where(t.settings.c.key == free_key(key)))
        return default if found is None else json.loads(found)

    def set_setting(self, key: str, value: Any) -> None:
        """Keep a setting: plain data without fractions."""
        row = {"value": canonical(value).decode()}
        with self._writing() as connection:
            self._ignore(connection, t.settings, [{"key": free_key(key), **row}])
            connection.execute(update(t.settings).where(t.settings.c.key == key).values(row))

    def desk_id(self) -> str:
        """Return the id of this installation, made at first use.

        It stands in the store; where several desks share a database, in a file of this one.
        """
        if self._shared:
            return desk_of(self._desk_file or user_file(), self._random)
        with self._writing() as connection:
            self._ignore(connection, t.settings, [{"key": "desk", "value": new_desk_id(self._random)}])
            return str(connection.scalar(select(t.settings.c.value).where(t.settings.c.key == "desk")))
