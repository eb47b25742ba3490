"""What a store gives back: events, lists of calls, profiles, settings; nothing here writes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any, Self

from sqlalchemy import Connection, func, select

from diag.errors import RecordError, StoreError
from diag.record.body import faults
from diag.record.graph import KINDS, Event, Sealed, find_call_id, new_desk_id, place_of, show_call_id
from diag.store import checking
from diag.store import tables as t
from diag.store.database import PATIENCE, Database
from diag.store.exchange import write_export
from diag.store.identity import DeskFile, user_folder
from diag.store.kept import Profile, Verified
from diag.store.stored import events_named, events_where, free_key, ids_of, loaded, matches, sealed_of
from diag.store.summary import CallSummary, damaged_summary, folded, summarise


class StoreReader:
    """Calls, profiles and settings in one database, as they stand. All methods raise StoreError when it fails."""

    def __init__(self, place: str | Path, random: Callable[[int], bytes], desk_file: Path | None = None,
                 patience: float = PATIENCE) -> None:
        self._db = Database(place, patience)
        self._random = random
        self._desk_file = DeskFile(desk_file or user_folder() / "desk", random) if self._db.shared else None
        self._keys = desk_file.parent if desk_file else user_folder()
        self._new_desk, self._desk_kept = "", False

    @property
    def place(self) -> str:
        """File or address, as it may be shown."""
        return self._db.shown

    @property
    def shared(self) -> bool:
        """True when several desks keep their calls in it."""
        return self._db.shared

    def photo_folder(self, call: str) -> Path:
        """Return where the kept pictures of a call are: beside the store's file, else in the user's data folder."""
        return (self._db.path.parent if self._db.path is not None else user_folder()) / "photos" / call

    @property
    def waits(self) -> str:
        """What is kept here and not yet where it belongs, in words: "" for a store of this machine."""
        return ""

    def watch(self, tell: Callable[[], None]) -> None:
        """Have something called when other desks added: nothing comes by itself to a store of this machine."""

    def close(self) -> None:
        """Let go of the database."""
        self._db.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    # -- reading

    def events(self, call: str) -> list[Event]:
        """Return the events of a call in reading order.

        Raises RecordError when there is no such call, or an event is not in a form that can be folded.
        """
        with self._db.reading() as connection:
            found = events_where(connection, t.events.c.call == call)
        if not found:
            raise RecordError(f"There is no call {show_call_id(call)} here.", self.place, "List the calls.")
        return self._foldable(found)

    def _foldable(self, events: list[Event]) -> list[Event]:
        for event in events:
            if event.known and any(True for _ in faults(KINDS[event.kind], event.v, event.body, event.sealed)):
                raise RecordError("A stored event was damaged or changed.", place_of(event),
                                  "Verify the call to see where; diag calls repair says what can be saved.")
        return events

    def news(self, call: str, known: Iterable[str]) -> tuple[list[Event], list[Sealed]]:
        """Return the events of a call that are not `known` yet, with all its sealed values: what others added."""
        there = set(known)
        with self._db.reading() as connection:
            new = events_named(connection, call, [i for i in ids_of(connection, call) if i not in there])
            return self._foldable(new), sealed_of(connection, call) if new else []

    def sealed(self, call: str) -> list[Sealed]:
        """Return the sealed values of a call that are there."""
        with self._db.reading() as connection:
            return sealed_of(connection, call)

    def calls(self, limit: int = 50, search: str | None = None) -> list[CallSummary]:
        """Return summaries: what is due first, soonest first; then the rest, last changed first.

        `search`: every word of it must occur (any case) in the caller's words, customer, place, machine
        label, notes, lot code, crop, ids of symptoms or causes, or the call's id. A line that is damaged is made
        anew from the events; a call whose events are damaged is shown as that.
        """
        with self._db.reading() as connection:
            found = select(t.calls).where(matches(search)).order_by(
                t.calls.c.due == "", t.calls.c.due, t.calls.c.changed.desc(), t.calls.c.id).limit(limit)
            return [self._summary(connection, r) for r in connection.execute(found).all()]

    def _summary(self, connection: Connection, row: Any) -> CallSummary:
        kept = loaded(row.summary)
        if isinstance(kept, dict) and (kept.get("call"), kept.get("due")) == (row.id, row.due) and (
                found := CallSummary.from_json(kept | {"changed": row.changed, "events": row.events})):
            return found
        try:
            events = self._foldable(events_where(connection, t.events.c.call == row.id))
        except RecordError:
            events = []
        return summarise(events, sealed_of(connection, row.id))[0] if events else damaged_summary(str(row.id))

    def count(self, search: str | None = None) -> int:
        """Return how many calls there are, or fit a search."""
        with self._db.reading() as connection:
            return int(connection.scalar(select(func.count()).select_from(t.calls).where(matches(search))) or 0)

    def call_ids(self) -> list[str]:
        """Return the ids of all calls."""
        with self._db.reading() as connection:
            return list(connection.scalars(select(t.calls.c.id).order_by(t.calls.c.id)))

    def find(self, prefix: str) -> str:
        """Return the id of the one call that begins so. Raises UsageError otherwise."""
        return find_call_id(prefix, self.call_ids())

    def verify(self, call: str, head: str | None = None) -> Verified:
        """Return every way in which a stored call is not as it was made, and what must be known beside."""
        with self._db.reading() as connection:
            return checking.verified(connection, call, head)

    def export_file(self, calls: Sequence[str], path: Path | str, *, personal: bool = True) -> None:
        """Write calls to a file for another desk, with or without personal data and free text."""
        write_export(Path(path), calls, self.events, self.sealed if personal else lambda _: ())

    def export_saved(self, path: Path | str) -> list[str]:
        """Write what is whole of the damaged calls to a file that another store can import; return their ids.

        Nothing is written where nothing can be saved.
        """
        with self._db.reading() as connection:
            found = checking.saved(connection)
        if found:
            write_export(Path(path), list(found), lambda call: found[call][0], lambda call: found[call][1])
        return list(found)

    # -- profiles and settings

    def profiles(self) -> list[Profile]:
        """Return all machine profiles, by label and id; one that is damaged is labelled so."""
        with self._db.reading() as connection:
            rows = connection.execute(select(t.profiles)).all()
        found = [checking.profile_of(r) for r in rows]
        return sorted(found, key=lambda p: (folded(p.personal.get("label", "")), p.id))

    def get_setting(self, key: str, default: Any = None) -> Any:
        """Return a setting; the default where there is none, where it is damaged, or while the store cannot be read."""
        wanted = select(t.settings.c.value).where(t.settings.c.key == free_key(key))
        try:
            with self._db.reading() as connection:
                found = connection.scalar(wanted)
        except StoreError:
            return default
        told = loaded(found)
        return told if found is not None and (default is None or isinstance(told, type(default))) else default

    def desk_id(self) -> str:
        """Return the id of this installation; one that is new is kept together with the first event.

        It stands in the store; where several desks share a database, in a file of this one.
        """
        if self._desk_file is not None:
            return self._desk_file.read()
        if not self._new_desk:
            try:
                with self._db.reading() as connection:
                    kept = connection.scalar(select(t.settings.c.value).where(t.settings.c.key == "desk"))
            except StoreError:
                kept = None  # locked or damaged: whether anything can be recorded shows when it is
            if kept:
                return str(kept)
            self._new_desk = new_desk_id(self._random)
        return self._new_desk
