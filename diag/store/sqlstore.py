"""The store itself: events appended in one transaction each, summaries kept beside them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, update

from diag.errors import BehindError, RecordError, StoreError
from diag.record.graph import (
    Event,
    Sealed,
    canonical,
    check,
    erase,
    erased_targets,
    flaws_of,
    heads,
    keep_sealed,
    make_event,
    merge,
    new_desk_id,
    order,
    place_of,
    show_call_id,
)
from diag.store import checking, erasing, signing
from diag.store import tables as t
from diag.store.exchange import Export
from diag.store.kept import Erasure, Incoming, Repairs
from diag.store.reading import StoreReader
from diag.store.stored import (
    arrived,
    by_call,
    by_event,
    copy_rows,
    count_on,
    delete_sealed,
    events_where,
    free_key,
    hold,
    insert_new,
    sealed_of,
    standing,
)
from diag.store.summary import LISTED_KINDS

_ENDS = ("closed", "reopened", "withdrawn")


class Store(StoreReader):
    """A store that is written to, one transaction a step. All methods raise StoreError when it fails."""

    # -- appending

    def append(self, event: Event, sealed: Iterable[Sealed] = (), known: int | None = None) -> bool:
        """Add one event with its sealed values, durably; False when it is there already.

        `known`: how many events of the call the writer knows. Raises BehindError when it has more, RecordError when the
        event does not follow from what is stored, or the call may not be written.
        """
        return self.append_many([event], sealed, known) == 1

    def append_many(self, events: Iterable[Event], sealed: Iterable[Sealed] = (), known: int | None = None) -> int:
        """Add events in reading order, all or none; return how many were new."""
        values = by_event(sealed)
        added = 0
        with self._db.writing() as connection:
            for mine in by_call(order(events)).values():
                if not self._lock(connection, mine[0]):
                    raise RecordError(f"There is no call {show_call_id(mine[0].call)} here.", place_of(mine[0]),
                                      "Import the whole call first.")
                last, there = arrived(connection, mine[0].call)
                if known is not None and there > known:
                    raise BehindError("Other desks added to this call.", place_of(mine[0]), "Take that in first.")
                new = [e for e in mine if self._is_new(connection, e, values.get(e.id, ()), last)]
                self._refresh(connection, mine[0].call, new)
                self._appended(connection, new)
                added += len(new)
            self._keep_desk(connection)
        self._desk_kept = True
        return added

    def _appended(self, connection: Connection, new: Sequence[Event]) -> None:
        """Do what belongs to the same transaction as new events typed here."""

    def _is_new(self, connection: Connection, event: Event, sealed: Sequence[Sealed], last: list[int]) -> bool:
        """Check one event against what it rests on and insert it as the next that arrived; False when known."""
        there, newer, before = standing(connection, event)
        if there:
            return False
        if newer or not event.known:
            raise RecordError("This call holds events of a newer program, so nothing can be added here.",
                              place_of(event), "Go on in the newer program, or update this one.")
        for what in flaws_of(event, sealed, before):
            raise RecordError(what, place_of(event), "Open the call again and repeat the step.")
        self._insert(connection, [event], last)
        self._insert_sealed(connection, event.call, sealed)
        return True

    def _lock(self, connection: Connection, event: Event) -> bool:
        """Hold the row of the call until the end of the transaction; the opening makes it. False when there is none."""
        if event.kind == "opened" and not event.parents:
            row = {"id": event.call, "changed": event.at, "events": 0, "due": "", "summary": "{}", "search": ""}
            insert_new(connection, t.calls, [row])
        return hold(connection, event.call)

    def _insert(self, connection: Connection, events: Sequence[Event], last: list[int]) -> None:
        """Insert events after the last that arrived, and delete what they erase."""
        insert_new(connection, t.events, [
            {"id": e.id, "call": e.call, "arrival": last[0] + i, "v": e.v, "kind": e.kind,
             "form": e.form.decode()} for i, e in enumerate(events, 1)])
        last[0] += len(events)
        delete_sealed(connection, erased_targets(events))

    def _insert_sealed(self, connection: Connection, call: str, sealed: Iterable[Sealed]) -> None:
        insert_new(connection, t.sealed, [
            {"event": s.event, "field": s.field, "call": call, "salt": s.salt, "value": s.value} for s in sealed])

    def _refresh(self, connection: Connection, call: str, new: Sequence[Event], *, wholly: bool = False) -> None:
        """Bring the row of a call up to date; `wholly`: what a list shows may have changed without new events."""
        if wholly or any(e.kind in LISTED_KINDS for e in new):
            values = checking.row_of(connection, call)
            connection.execute(update(t.calls).where(t.calls.c.id == call).values(values))
        else:
            count_on(connection, call, max((e.at for e in new), default=""))

    # -- repairing

    def repair(self) -> Repairs:
        """Make anew what is derived (lines of the list, arrival numbers) and return what is beyond that."""
        with self._db.writing() as connection:
            return checking.repaired(connection)

    # -- going out and coming in

    def preview_import(self, path: Path | str) -> list[Incoming]:
        """Return what an import would bring to each call; nothing is changed. Raises RecordError as the import."""
        with Export(Path(path)) as export, self._db.reading() as connection:
            return [self._joined(connection, theirs, values)[0] for theirs, values in export.calls()]

    def import_file(self, path: Path | str) -> list[Incoming]:
        """Take over the calls of an export, all or none; merge those that are here already.

        Raises RecordError naming call, n and kind when anything in the file is not as it was made.
        """
        with Export(Path(path)) as export, self._db.writing() as connection:
            return [self._take_over(connection, theirs, values) for theirs, values in export.calls()]

    def _joined(self, connection: Connection, theirs: Sequence[Event],
                values: Sequence[Sealed]) -> tuple[Incoming, list[Event], list[Event]]:
        """Return what comes, the union of both sides, and the new events."""
        call = theirs[0].call
        mine = events_where(connection, t.events.c.call == call)
        if not mine:
            check(theirs)  # names the place of what is wrong; then it begins with its opening
        union = merge(mine, theirs)
        known = {e.id for e in mine}
        check(union, values)
        new = [e for e in union if e.id not in known]
        stored = {(s.event, s.field) for s in sealed_of(connection, call)}
        ends = tuple(e.kind for e in new if e.kind in _ENDS) if mine else ()
        return Incoming(call, len(new), len(erased_targets(union) & stored), ends), union, new

    def _take_over(self, connection: Connection, theirs: Sequence[Event], values: Sequence[Sealed]) -> Incoming:
        first = order(theirs)[0]
        if not self._lock(connection, first):
            check(theirs)
            raise RecordError("The call does not begin with its opening.", place_of(first), "Export it whole.")
        incoming, union, new = self._joined(connection, theirs, values)
        self._insert(connection, new, arrived(connection, first.call)[0])
        self._insert_sealed(connection, first.call, keep_sealed(union, values))
        delete_sealed(connection, erased_targets(union))
        self._refresh(connection, first.call, new, wholly=True)
        return incoming

    def sign(self, call: str, *, at: str | datetime, by: str = "technician") -> str:
        """Sign everything recorded in a call with this user's key; return the key's fingerprint.

        Raises StoreError where the key cannot be used, RecordError where nothing is new since the last signature.
        """
        newest = heads(self.events(call))
        body = signing.signature(self._keys, call, newest)
        event, _ = make_event(call, newest, at, self.desk_id(), by=by, kind="signed", body=body)
        self.append(event)
        return signing.fingerprint(body["key"])

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
        event, _ = make_event(call, heads(events), at, self.desk_id(), by=by, kind="erased", body=body)
        self.append(event)
        return event

    def erasure(self, call: str) -> Erasure:
        """Return what erasing a call takes away, and what it cannot."""
        events, sealed = self.events(call), self.sealed(call)
        return erasing.erasure(events, sealed, self.profiles(), self.photo_folder(call))

    def erase_all(self, call: str, *, at: str | datetime, by: str = "technician") -> None:
        """Erase all text of a call, its photos, and the machine profiles that tell of the same person."""
        same = erasing.same_machine(self.events(call), self.sealed(call), self.profiles())
        if erase(self.events(call))["targets"]:
            self.erase(call, at=at, by=by)
        for profile in same:
            self.delete_profile(profile.id)
        erasing.delete_photos(self.photo_folder(call))

    def backup(self, path: Path | str) -> int:
        """Copy everything into a new SQLite store, opened like any other; return the number of calls.

        The copy gets a desk id of its own when it is used. Raises StoreError when the file exists.
        """
        path = Path(path)
        if path.exists():
            raise StoreError("The backup file exists already.", str(path), "Choose a new name.")
        try:
            with Store(path, self._random) as copy, self._db.reading() as source, copy._db.writing() as target:
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
        with self._db.writing() as connection:
            insert_new(connection, t.profiles, [{"id": key, **row}])
            connection.execute(update(t.profiles).where(t.profiles.c.id == key).values(row))
        return key

    def delete_profile(self, profile: str) -> bool:
        """Delete a machine profile with its personal data; False when there is none of that id."""
        with self._db.writing() as connection:
            return bool(connection.execute(t.profiles.delete().where(t.profiles.c.id == profile)).rowcount)

    def set_setting(self, key: str, value: Any) -> None:
        """Keep a setting: plain data without fractions."""
        row = {"value": canonical(value).decode()}
        with self._db.writing() as connection:
            insert_new(connection, t.settings, [{"key": free_key(key), **row}])
            connection.execute(update(t.settings).where(t.settings.c.key == key).values(row))

    def _keep_desk(self, connection: Connection) -> None:
        if self._desk_file is not None:
            self._desk_file.keep()
        elif self._new_desk and not self._desk_kept:
            insert_new(connection, t.settings, [{"key": "desk", "value": self._new_desk}])
