"""The tables of a store and the connection to it; errors of the database told in the project's form."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import (
    Column,
    Connection,
    Engine,
    ForeignKey,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
    create_engine,
    event,
    inspect,
    make_url,
    select,
    text,
)
from sqlalchemy.engine import URL
from sqlalchemy.exc import ArgumentError, DBAPIError, NoSuchModuleError, SQLAlchemyError
from sqlalchemy.pool import NullPool

from diag.errors import StoreError
from diag.text import one_line

SCHEMA = 1
BUSY_SECONDS = 5

metadata = MetaData()

calls = Table(
    "call", metadata,
    Column("id", String(10), primary_key=True),
    Column("changed", String(20), nullable=False),
    Column("events", Integer, nullable=False),
    Column("due", String(20), nullable=False),
    Column("summary", Text, nullable=False),
    Column("search", Text, nullable=False),
)
events = Table(
    "event", metadata,
    Column("id", String(64), primary_key=True),
    Column("call", String(10), ForeignKey("call.id"), nullable=False),
    Column("arrival", Integer, nullable=False),
    Column("v", Integer, nullable=False),
    Column("kind", String(100), nullable=False),
    Column("form", Text, nullable=False),
    UniqueConstraint("call", "arrival"),
)
sealed = Table(
    "sealed", metadata,
    Column("event", String(64), ForeignKey("event.id"), primary_key=True),
    Column("field", String(100), primary_key=True),
    Column("call", String(10), ForeignKey("call.id"), nullable=False, index=True),
    Column("salt", LargeBinary, nullable=False),
    Column("value", Text, nullable=False),
)
profiles = Table(
    "profile", metadata,
    Column("id", String(40), primary_key=True),
    Column("body", Text, nullable=False),
    Column("personal", Text, nullable=False),
)
settings = Table(
    "setting", metadata,
    Column("key", String(100), primary_key=True),
    Column("value", Text, nullable=False),
)


def connect(place: str | Path) -> tuple[Engine, str]:
    """Return an engine for a path or URL with its tables made, and the place as it may be shown."""
    url = _url(place)
    shown = url.database or "" if _is_sqlite(url) else url.render_as_string(hide_password=True)
    if _is_sqlite(url):
        _make_folder(Path(url.database or ""), shown)
    with told(shown):
        engine = _sqlite(url) if _is_sqlite(url) else _postgres(url)
        try:
            _prepare(engine, shown)
        except BaseException:
            engine.dispose()
            raise
    return engine, shown


def _url(place: str | Path) -> URL:
    if "://" not in str(place):
        return URL.create("sqlite", database=str(Path(place).expanduser()))
    shown = one_line(str(place), limit=80)
    try:
        url = make_url(str(place))
    except (ArgumentError, ValueError):
        raise StoreError("This is not a database URL.", shown, _FORMS) from None
    if url.drivername in ("postgresql", "postgres"):
        return url.set(drivername="postgresql+psycopg")
    if url.drivername not in ("sqlite", "postgresql+psycopg"):
        raise StoreError(f"Calls cannot be kept in {one_line(url.drivername, limit=20)}.",
                         url.render_as_string(hide_password=True), _FORMS)
    if _is_sqlite(url) and not url.database:
        raise StoreError("A store in memory would lose every call.", shown, _FORMS)
    return url


_FORMS = "Give a file path, or postgresql://user@host/database."


def _is_sqlite(url: URL) -> bool:
    return url.drivername == "sqlite"


def _make_folder(path: Path, shown: str) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        reason = e.strerror or type(e).__name__
        raise StoreError(f"The folder of the store cannot be made: {reason}.", shown, _ELSEWHERE) from None


def _sqlite(url: URL) -> Engine:
    """An engine without a pool: no handle stays open that would hold the file or outlive its thread."""
    engine = create_engine(url, poolclass=NullPool, connect_args={"timeout": BUSY_SECONDS})

    @event.listens_for(engine, "connect")
    def _settle(connection: Any, _: Any) -> None:
        connection.isolation_level = None  # transactions begin below, not where the driver thinks fit
        for pragma in ("journal_mode=DELETE", "synchronous=EXTRA", "foreign_keys=ON", "secure_delete=ON"):
            connection.execute(f"PRAGMA {pragma}")

    @event.listens_for(engine, "begin")
    def _begin(connection: Connection) -> None:
        write = connection.get_execution_options().get("write", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if write else "BEGIN")

    return engine


def _postgres(url: URL) -> Engine:
    return create_engine(url, pool_pre_ping=True, pool_size=2, connect_args={"connect_timeout": BUSY_SECONDS})


@contextmanager
def writing(engine: Engine, shown: str) -> Iterator[Connection]:
    """One transaction that writes."""
    with told(shown), engine.connect().execution_options(write=True) as connection, connection.begin():
        yield connection


@contextmanager
def reading(engine: Engine, shown: str) -> Iterator[Connection]:
    """One transaction that reads: all of it sees the same moment."""
    with told(shown), engine.connect() as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            connection.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY"))
        yield connection


def _prepare(engine: Engine, shown: str) -> None:
    """Make the tables of a new store; refuse what is not ours or newer than this program."""
    with engine.connect().execution_options(write=True) as connection, connection.begin():
        if connection.dialect.name == "postgresql":
            connection.execute(text("SELECT pg_advisory_xact_lock(20417)"))  # one desk makes them
        there = set(inspect(connection).get_table_names())
        if not there >= set(metadata.tables):
            if there and connection.dialect.name == "sqlite":
                raise StoreError("This database belongs to something else.", shown, _ELSEWHERE)
            metadata.create_all(connection)
            connection.execute(settings.insert().values(key="schema", value=str(SCHEMA)))
        schema = connection.scalar(select(settings.c.value).where(settings.c.key == "schema")) or ""
    if schema != str(SCHEMA):
        raise StoreError("This store was made by a newer program.", shown, "Update this program.")


# ------------------------------------------------------------------------------------------- errors

_ELSEWHERE = "Name another file with --store."
_REASONS = (
    ("unable to open database", "The store cannot be opened: its folder is missing or may not be written.",
     _ELSEWHERE),
    ("readonly database", "The store may only be read, not written.",
     "Change its rights, or name another with --store."),
    ("not a database", "This file is not a store of calls.", _ELSEWHERE),
    ("malformed", "The store is damaged.", "Open the newest backup with --store, and keep the damaged file."),
    ("is locked", "Another program holds the store; nothing was recorded.",
     "Close the other window, then try again."),
    ("disk is full", "The disk is full; nothing was recorded.", "Make room, then answer again."),
    ("disk i/o error", "The disk does not take or give the data; nothing was recorded.",
     "Check the drive or stick."),
    ("password authentication", "The database refuses this user or password.",
     "Check user and password in the URL."),
    ("does not exist", "There is no such database or user.", "Make it first, or check the URL."),
    ("connection", "The database cannot be reached.", "Check the address, the network and that it is running."),
)
"""A sign in the database's own words, what it means, and what to do."""


@contextmanager
def told(shown: str) -> Iterator[None]:
    """Turn errors of the database into StoreError with place and remedy."""
    try:
        yield
    except (ImportError, NoSuchModuleError):
        remedy = "Install diag with the extra postgres."
        raise StoreError("PostgreSQL needs one more package.", shown, remedy) from None
    except SQLAlchemyError as e:
        raise _error(e, shown) from None


def _error(error: SQLAlchemyError, shown: str) -> StoreError:
    cause = error.orig if isinstance(error, DBAPIError) and error.orig is not None else error
    said = one_line(str(cause), limit=200)
    for sign, what, remedy in _REASONS:
        if sign in said.casefold():
            return StoreError(what, shown, remedy)
    return StoreError(f"The store does not do it: {said}.", shown, "Try again; if it stays, restore a backup.")
