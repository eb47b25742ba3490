"""A database that several desks share, with a queue here.

What is recorded is kept on this machine first and sent by the same id, so a server or line that is down refuses
nothing, and nothing comes there twice. Calls that were opened here are copied here; a thread of its own sends what is
not sent yet and fetches what other desks added.
"""

from __future__ import annotations

import contextlib
import hashlib
import threading
from collections.abc import Callable, Iterable, Mapping, Sequence
from datetime import datetime
from pathlib import Path
from time import monotonic
from typing import Any, TypeVar

from sqlalchemy import Column, Connection, MetaData, String, Table, delete, func, inspect, select

from diag.errors import AwayError, DiagError, RecordError, StoreError
from diag.record.graph import Event, Sealed, find_call_id
from diag.store import tables as t
from diag.store.database import PATIENCE
from diag.store.identity import DeskFile, user_folder
from diag.store.kept import Incoming, Profile, Repairs, Verified
from diag.store.sqlstore import Store
from diag.store.stored import by_call, by_event, events_named, insert_new
from diag.store.summary import CallSummary

EVERY = 2.0
"""Seconds between two looks at what other desks added."""
_AT_ONCE = 200  # events sent in one transaction
_queue = MetaData()
_unsent = Table("unsent", _queue, Column("event", String(64), primary_key=True), Column("call", String(10)))
_Got = TypeVar("_Got")


class SharedStore(Store):
    """The copy and queue of this machine, and the server behind it."""

    def __init__(self, url: str | Path, random: Callable[[int], bytes], desk_file: Path | None = None,
                 patience: float = PATIENCE, every: float | None = EVERY) -> None:
        home = desk_file.parent if desk_file else user_folder()
        name = hashlib.sha256(str(url).encode()).hexdigest()[:16]
        super().__init__(home / f"queue-{name}.db", random)
        self._desk_file = DeskFile(desk_file or home / "desk", random)
        self._url, self._patience = url, patience
        self._server: Store | None = None
        self._address = ""
        self._away, self._away_until = False, 0.0
        self._refused = ""
        self._in_work: set[str] = set()
        self._wake, self._closing = threading.Event(), False
        self._tell: Callable[[], None] = lambda: None
        with contextlib.suppress(AwayError):
            self._ask(lambda server: None)
        self._thread: threading.Thread | None = None
        if every is not None:
            self._thread = threading.Thread(target=self._run, args=(every,), name="store", daemon=True)
            self._thread.start()

    # -- the server

    def _ask(self, work: Callable[[Store], _Got]) -> _Got:
        """Ask the server; raise AwayError at once while it was away a moment ago."""
        if monotonic() < self._away_until:
            raise AwayError("The server was away a moment ago.", self.place, "What is recorded is kept here.")
        try:
            if self._server is None:
                found = Store(self._url, self._random, None, self._patience)
                self._server, self._address = found, found.place
            got = work(self._server)
        except AwayError as e:
            self._away, self._address = True, e.where or self._address
            self._away_until = monotonic() + self._patience
            raise
        self._away = False
        return got

    def _here_or_there(self, there: Callable[[Store], _Got], here: Callable[[], _Got]) -> _Got:
        try:
            return self._ask(there)
        except AwayError:
            return here()

    def _run(self, every: float) -> None:
        while not self._closing:
            before = self._standing()
            with contextlib.suppress(DiagError):
                self.exchange()
            if self._standing() != before:
                self._tell()
            self._wake.wait(every)
            self._wake.clear()

    def _standing(self) -> tuple[str, int]:
        """Return what front ends show of the exchange: what waits, and how many events are here."""
        try:
            with self._db.reading() as connection:
                return self.waits, int(connection.scalar(select(func.count()).select_from(t.events)) or 0)
        except DiagError:
            return "", 0

    def watch(self, tell: Callable[[], None]) -> None:
        """Have something called, from a thread of its own, whenever other desks added or what waits was sent."""
        self._tell = tell

    def exchange(self) -> None:
        """Send what is not sent yet and fetch what others added to the calls in work. Raises AwayError."""
        self._send()
        for call in sorted(self._in_work):
            self._fetch(call)

    def _send(self) -> None:
        with self._db.reading() as connection:
            if not inspect(connection).has_table(_unsent.name):
                return
            rows = connection.execute(select(_unsent.c.event, _unsent.c.call, t.events.c.arrival).join(
                t.events, t.events.c.id == _unsent.c.event).order_by(t.events.c.arrival)).all()
        waiting: dict[str, list[str]] = {}
        for row in rows:
            waiting.setdefault(row.call, []).append(row.event)
        refused = ""
        for call, ids in waiting.items():
            try:
                for i in range(0, len(ids), _AT_ONCE):
                    self._send_some(call, ids[i : i + _AT_ONCE])
            except RecordError as e:
                refused = e.what
        self._refused = refused

    def _send_some(self, call: str, ids: Sequence[str]) -> None:
        with self._db.reading() as connection:
            events = events_named(connection, call, ids)
        sealed = by_event(super().sealed(call))
        values = [v for e in events for v in sealed.get(e.id, ())]
        try:
            self._ask(lambda server: server.append_many(events, values))
        except RecordError:  # the server lacks what it rests on, as after a backup was restored there
            whole = super().events(call)
            self._ask(lambda server: server.append_many(whole, [v for vs in sealed.values() for v in vs]))
        with self._db.writing() as connection:
            connection.execute(delete(_unsent).where(_unsent.c.event.in_(list(ids))))

    def _fetch(self, call: str) -> None:
        """Take over the events of a call that are new there. Raises AwayError."""
        with self._db.reading() as connection:
            known = list(connection.scalars(select(t.events.c.id).where(t.events.c.call == call)))
        new, sealed = self._ask(lambda server: server.news(call, known))
        if new:
            with self._db.writing() as connection:
                self._take_over(connection, new, sealed)

    # -- what a store is asked

    @property
    def place(self) -> str:
        """The server, as it may be shown."""
        return self._address

    @property
    def shared(self) -> bool:
        """True: several desks keep their calls there."""
        return True

    @property
    def waits(self) -> str:
        """What is kept here and not yet sent, "kept here, 3 to send"; that the server is away; "" for neither."""
        with self._db.reading() as connection:
            made = inspect(connection).has_table(_unsent.name)
            left = connection.scalar(select(func.count()).select_from(_unsent)) if made else 0
        why = f"; the server refuses: {self._refused}" if self._refused else ""
        return f"kept here, {left} to send{why}" if left else "the server is away" if self._away else ""

    def _appended(self, connection: Connection, new: Sequence[Event]) -> None:
        _queue.create_all(connection)
        insert_new(connection, _unsent, [{"event": e.id, "call": e.call} for e in new])

    def append_many(self, events: Iterable[Event], sealed: Iterable[Sealed] = (), known: int | None = None) -> int:
        """Keep events here, durably, to be sent; return how many were new."""
        mine = list(events)
        added = super().append_many(mine, sealed, known)
        self._in_work |= set(by_call(mine))
        self._wake.set()
        return added

    def events(self, call: str) -> list[Event]:
        """Return the events of a call: what the server has and what is not sent yet."""
        self._in_work.add(call)
        with contextlib.suppress(AwayError):
            self._fetch(call)
        return super().events(call)

    def calls(self, limit: int = 50, search: str | None = None) -> list[CallSummary]:
        """Return summaries as the server has them, with those that are not sent yet; while it is away those here."""
        here = super().calls(limit, search)
        there = self._here_or_there(lambda server: server.calls(limit, search), list[CallSummary])
        newest: dict[str, CallSummary] = {}
        for summary in (*there, *here):
            if summary.call not in newest or summary.events > newest[summary.call].events:
                newest[summary.call] = summary
        found = sorted(newest.values(), key=lambda c: c.call)
        found.sort(key=lambda c: c.changed, reverse=True)
        return sorted(found, key=lambda c: (c.due == "", c.due))[:limit]

    def count(self, search: str | None = None) -> int:
        """Return how many calls there are, or fit a search; while the server is away those here."""
        here = super().count(search)
        return self._here_or_there(lambda server: max(here, server.count(search)), lambda: here)

    def call_ids(self) -> list[str]:
        """Return the ids of all calls, here and there."""
        there = self._here_or_there(lambda server: server.call_ids(), list[str])
        return sorted({*super().call_ids(), *there})

    def find(self, prefix: str) -> str:
        """Return the id of the one call that begins so. Raises UsageError otherwise."""
        return find_call_id(prefix, self.call_ids())

    def verify(self, call: str, head: str | None = None) -> Verified:
        """Check a call as it stands on the server."""
        return self._ask(lambda server: server.verify(call, head))

    def repair(self) -> Repairs:
        """Make anew what is derived on the server."""
        return self._ask(lambda server: server.repair())

    def export_saved(self, path: Path | str) -> list[str]:
        """Write what is whole of damaged calls on the server to a file."""
        return self._ask(lambda server: server.export_saved(path))

    def preview_import(self, path: Path | str) -> list[Incoming]:
        """Return what an import would bring to the server."""
        return self._ask(lambda server: server.preview_import(path))

    def import_file(self, path: Path | str) -> list[Incoming]:
        """Take over the calls of an export on the server."""
        return self._ask(lambda server: server.import_file(path))

    def erase(self, call: str, targets: Iterable[tuple[str, str]] | None = None, *, at: str | datetime,
              by: str = "technician") -> Event:
        """Delete sealed values for good, on the server and here; nothing may wait to be sent."""
        self._send()
        if self.waits:
            raise StoreError(f"First what is kept here must be sent: {self.waits}.", self.place, "Try again online.")
        event = super().erase(call, targets, at=at, by=by)
        self._send()
        return event

    def backup(self, path: Path | str) -> int:
        """Copy everything on the server into a new SQLite store."""
        return self._ask(lambda server: server.backup(path))

    def profiles(self) -> list[Profile]:
        """Return all machine profiles; while the server is away none."""
        return self._here_or_there(lambda server: server.profiles(), list)

    def save_profile(self, body: Mapping[str, Any], personal: Mapping[str, str] | None = None,
                     profile: str | None = None) -> str:
        """Keep a machine profile on the server."""
        return self._ask(lambda server: server.save_profile(body, personal, profile))

    def delete_profile(self, profile: str) -> bool:
        """Delete a machine profile on the server."""
        return self._ask(lambda server: server.delete_profile(profile))

    def photo_folder(self, call: str) -> Path:
        """Return where the kept pictures of a call are: in the user's data folder."""
        return user_folder() / "photos" / call

    def close(self) -> None:
        """Send what can be sent and let go of the server and the file."""
        self._closing = True
        self._wake.set()
        if self._thread is not None:
            self._thread.join(self._patience)
        with contextlib.suppress(DiagError):
            self._send()
        if self._server is not None:
            self._server.close()
        super().close()
