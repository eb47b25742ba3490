"""The file or server behind a store: connected, looked at, made at the first write; its errors in the project's form.

Opening and reading change nothing. A store that is not there yet reads as an empty one.
"""

from __future__ import annotations

import os
import re
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from time import monotonic
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, make_url, select, text
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.pool import NullPool, StaticPool

from diag.errors import AwayError, StoreError
from diag.figures import number_in
from diag.files import reason_of
from diag.store import tables as t
from diag.text import one_line

PATIENCE = 5.0
"""Seconds to wait for another program that holds the file, and for a server to answer."""

_FORMS = "Give a file path, or postgresql://user@host/database."
_ELSEWHERE = "Name another file with --store."


class Database:
    """Where the tables of one store are."""

    def __init__(self, place: str | Path, patience: float = PATIENCE) -> None:
        url = _url(place)
        self.shown = masked(url)
        self.shared = url.drivername != "sqlite"
        self.path = None if self.shared else Path(url.database or "").absolute()
        with told(self.shown):
            self._engine = _postgres(url, patience) if self.path is None else _sqlite(self.path, patience)
        self._empty: Engine | None = None
        self._made = False
        try:
            self._look()
        except BaseException:
            self.close()
            raise

    def close(self) -> None:
        """Let go of file or server."""
        self._engine.dispose()

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """One transaction that reads: all of it sees the same moment."""
        engine = self._engine if self._look() else self._nothing()
        with told(self.shown), engine.connect() as connection, connection.begin():
            if connection.dialect.name == "postgresql":
                connection.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY"))
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One transaction that writes; the first one makes the tables."""
        with told(self.shown):
            if not self._look():
                self._make()
            with self._engine.connect().execution_options(write=True) as connection, connection.begin():
                yield connection

    def _look(self) -> bool:
        """Tell whether the tables are there; refuse what is not ours, newer, or gone since."""
        if self.path is not None and not self._file():
            if self._made:
                raise StoreError("The store is no longer there: its file was moved or deleted.", self.shown,
                                 "Put the file back, or restore the newest backup.")
            return False
        if self._made:
            return True
        with told(self.shown), self._engine.connect() as connection, connection.begin():
            there = set(inspect(connection).get_table_names())
            if there >= set(t.metadata.tables):
                stored = connection.scalar(select(t.settings.c.value).where(t.settings.c.key == "schema"))
                if (newest := number_in(str(stored), 10**6)) is not None and newest > t.SCHEMA:
                    raise StoreError("This store was made by a newer program.", self.shown, "Update this program.")
                self._made = True
            elif there and self.path is not None:
                raise StoreError("This database belongs to something else.", self.shown, _ELSEWHERE)
        return self._made

    def _file(self) -> bool:
        """Tell whether there is a file with something in it."""
        try:
            return self.path is not None and self.path.exists() and (self.path.is_dir() or self.path.stat().st_size > 0)
        except (OSError, ValueError) as e:
            raise StoreError(f"The store cannot be opened: {reason_of(e)}.", self.shown, _ELSEWHERE) from None

    def _make(self) -> None:
        if self.path is not None:
            try:
                self.path.parent.mkdir(parents=True, exist_ok=True)
                os.close(os.open(self.path, os.O_CREAT | os.O_RDWR, 0o600))  # nobody else may read it
            except (OSError, ValueError) as e:
                raise StoreError(f"The store cannot be made: {reason_of(e)}.", self.shown, _ELSEWHERE) from None
        with self._engine.connect().execution_options(write=True) as connection, connection.begin():
            if self.path is None:
                connection.execute(text("SELECT pg_advisory_xact_lock(20417)"))  # one desk makes them
            if not set(inspect(connection).get_table_names()) >= set(t.metadata.tables):
                t.metadata.create_all(connection)
                connection.execute(t.settings.insert().values(key="schema", value=str(t.SCHEMA)))
        self._made = True

    def _nothing(self) -> Engine:
        """Return an empty store in memory, to read from while there is no other."""
        if self._empty is None:
            self._empty = create_engine("sqlite://", poolclass=StaticPool, connect_args={"check_same_thread": False})
            t.metadata.create_all(self._empty)
        return self._empty


# ---------------------------------------------------------------------------------------- addresses


def _url(place: str | Path) -> URL:
    if "://" not in str(place):
        try:
            path = Path(place).expanduser().absolute()
        except (RuntimeError, OSError):
            raise StoreError("There is no such user's folder.", one_line(str(place), limit=80), _ELSEWHERE) from None
        if not str(place).strip() or not path.name:
            raise StoreError("That is no file.", one_line(str(place), limit=80), _ELSEWHERE)
        return URL.create("sqlite", database=str(path))
    shown = _without_secrets(one_line(str(place), limit=400))
    try:
        url = make_url(str(place))
    except (ArgumentError, ValueError):
        raise StoreError("This is not a database URL.", shown, _FORMS) from None
    if url.drivername in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("sqlite", "postgresql+psycopg"):
        raise StoreError(f"Calls cannot be kept in {one_line(url.drivername, limit=20)}.", shown, _FORMS)
    if url.drivername == "sqlite" and not url.database:
        raise StoreError("A store in memory would lose every call.", shown, _FORMS)
    return url


def is_server(place: str | Path) -> bool:
    """Tell whether a place is a database on a server."""
    return "://" in str(place) and not str(place).startswith("sqlite:")


def masked(url: URL) -> str:
    """Return a place as it may be shown: no password, wherever it stands."""
    if url.drivername == "sqlite":
        return url.database or ""
    return _without_secrets(url.render_as_string(hide_password=True))


def _without_secrets(said: str) -> str:
    said = re.sub(r"(//[^/?#:@]*):[^/?#]*@", r"\1:***@", said)
    return re.sub(r"([?&][^=&]*pass[^=&]*)=[^&]*", r"\1=***", said, flags=re.IGNORECASE)


# -------------------------------------------------------------------------------------- connections

_PRAGMAS = "PRAGMA journal_mode=DELETE; PRAGMA synchronous=EXTRA; PRAGMA foreign_keys=ON; PRAGMA secure_delete=ON"


def _sqlite(path: Path, patience: float) -> Engine:
    """An engine without a pool: no handle stays open that would hold the file or outlive its thread."""

    def connected() -> sqlite3.Connection:
        uri = f"{path.as_uri()}?mode=rw"  # never makes a file by being opened
        return sqlite3.connect(uri, uri=True, timeout=patience)

    engine = create_engine("sqlite://", poolclass=NullPool, creator=connected)

    @event.listens_for(engine, "connect")
    def _settle(connection: Any, _: Any) -> None:
        connection.text_factory = lambda raw: raw.decode("utf-8", "replace")  # a damaged text is seen, not raised
        connection.isolation_level = None  # transactions begin below, not where the driver thinks fit
        connection.executescript(_PRAGMAS)

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        write = connection.get_execution_options().get("write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


def _postgres(url: URL, patience: float) -> Engine:
    """An engine whose server answers within the limit or counts as away."""
    limit = int(patience * 1000)
    given = url.query.get("options", "")
    own = given if isinstance(given, str) else " ".join(given)
    options = f"{own} -c statement_timeout={limit} -c lock_timeout={limit}"
    engine = create_engine(
        url.difference_update_query(["options"]), pool_pre_ping=True, pool_size=2, pool_timeout=patience,
        connect_args={"connect_timeout": max(1, int(patience)), "options": options.strip(), "keepalives_idle": 5,
                      "keepalives_interval": 2, "keepalives_count": 2, "tcp_user_timeout": limit})

    @event.listens_for(engine, "do_connect")
    def _connect(dialect: Any, record: Any, args: Any, params: Any) -> Any:
        return _limited(patience).connect(*args, **params)

    return engine


def _limited(patience: float) -> Any:
    """Return a connection class that gives up on a server that keeps the line open and says nothing."""
    import psycopg

    class Limited(psycopg.Connection[Any]):
        def wait(self, gen: Any, *args: Any, **options: Any) -> Any:
            return super().wait(self._until(gen, monotonic() + patience), *args, **options)

        def _until(self, gen: Any, deadline: float) -> Any:
            try:
                waits = next(gen)
                while True:
                    ready = yield waits
                    if monotonic() > deadline:
                        self.pgconn.finish()
                        raise psycopg.OperationalError("connection given up: no answer in time")
                    waits = gen.send(ready)
            except StopIteration as done:
                return done.value

    return Limited


# ------------------------------------------------------------------------------------------- errors

_REASONS = (
    ("unable to open database", "The store cannot be opened: its folder is missing or may not be read.", _ELSEWHERE),
    ("readonly database", "The store may only be read, not written.",
     "Change its rights, or name another with --store."),
    ("not a database", "This file is not a store of calls.", _ELSEWHERE),
    ("malformed", "The store is damaged.", "See what can be saved: diag calls repair. Keep the damaged file."),
    ("no such table", "The store is damaged: its tables are gone.", "Put the file back, or restore the newest backup."),
    ("is locked", "Another program holds the store; nothing was recorded.",
     "Close the other window, then try again."),
    ("disk is full", "The disk is full; nothing was recorded.", "Make room, then answer again."),
    ("disk i/o error", "The disk does not take or give the data; nothing was recorded.",
     "Check the drive or stick."),
    ("password authentication", "The database refuses this user or password.",
     "Check user and password in the URL."),
    ("does not exist", "There is no such database or user.", "Make it first, or check the URL."),
)
"""A sign in the database's own words, what it means, and what to do."""
_AWAY = ("statement timeout", "lock timeout", "connection", "server closed", "starting up", "shutting down",
         "resolve host", "translate host", "timed out", "timeout expired", "network is unreachable", "queuepool limit")
"""Signs that the server is away or does not answer in time."""


@contextmanager
def told(shown: str) -> Iterator[None]:
    """Turn errors of the database into StoreError with place and remedy."""
    try:
        yield
    except (ImportError, NoSuchModuleError):
        remedy = "Install diag with the extra postgres."
        raise StoreError("PostgreSQL needs one more package.", shown, remedy) from None
    except (SQLAlchemyError, sqlite3.Error) as e:
        raise _error(e, shown) from None
    except UnicodeDecodeError:  # the driver quotes names of the file that are no text any more
        raise _error(sqlite3.DatabaseError("malformed"), shown) from None


def _error(error: Exception, shown: str) -> StoreError:
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    said = _without_secrets(one_line(str(cause), limit=200))
    for sign, what, remedy in _REASONS:
        if sign in said.casefold():
            return StoreError(what, shown, remedy)
    if any(sign in said.casefold() for sign in _AWAY):
        return AwayError("The database cannot be reached, or does not answer in time.", shown,
                         "Check the address, the network and that it is running.")
    return StoreError(f"The store does not do it: {said}.", shown, "Try again; if it stays, restore a backup.")
