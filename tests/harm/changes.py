"""One byte changed: in a stored row, in the file of a store, in an export. It is told, or nothing is told otherwise.

Never a traceback, and another call is never hidden.
"""

from __future__ import annotations

import contextlib
import random
import shutil
import sqlite3
from collections.abc import Callable
from functools import cache
from pathlib import Path

from harm.base import engine, folder
from harm.commands import talk
from harm.watch import FailedError, run_command

from diag.call.desk import Desk
from diag.errors import DiagError
from diag.record.fold import fold
from diag.store.open import open_store
from diag.store.sqlstore import Store

_TABLES = ("event", "sealed", "call", "profile", "setting")


@cache
def _kept() -> tuple[bytes, dict[str, tuple[object, ...]]]:
    """Return a store of two calls as bytes, and what it tells of each."""
    with folder() as home, open_store(home / "calls.db", random=random.Random(1).randbytes) as store:
        desk = Desk(engine(), store, store.desk_id(), random=random.Random(2).randbytes)
        for customer in ("Alder Flat", "Birch Tamble"):
            call = desk.new_call("site", customer=customer)
            call.set_machine({"rows": 8, "axes": {}}, label="north planter")
            call.set_complaint("row 7 is thin since Monday", [(next(iter(engine().knowledge.symptoms)), "chosen")])
            call.answer(call.offers()[0].check, outcome=next(iter(
                engine().knowledge.questions[call.offers()[0].check].outcomes)))
            call.record("note", {}, {"text": "a note of some length, to have bytes to change"})
        store.save_profile({"rows": 8}, {"owner": "Alder Flat", "label": "north planter"})
        store.set_setting("screens", {"units": "us", "channel": "site"})
        return (home / "calls.db").read_bytes(), {call: _told(store, call) for call in store.call_ids()}


def _told(store: Store, call: str) -> tuple[object, ...]:
    """Return all that a store tells of a call."""
    events, sealed = store.events(call), store.sealed(call)
    line = next(c for c in store.calls() if c.call == call)
    found = {word: [c.call for c in store.calls(50, word)] for word in ("thin", "Alder", "Birch", "north", "note")}
    return events, sealed, fold(events, sealed), line, sorted(found.items())


def _use(place: Path, calls: dict[str, tuple[object, ...]], touched: str | None) -> None:
    """Look at a changed store in every way; what is untouched tells what it told."""
    run_command(["--store", str(place), "calls", "list"])
    for call in calls:
        run_command(["--store", str(place), "calls", "show", call])
    run_command(["--store", str(place), "calls", "search", "thin"])
    with open_store(place) as store:
        listed = {c.call for c in store.calls()}
        for call in calls:
            if call == touched:
                continue
            if call not in listed:
                raise FailedError(f"a call that was not touched is hidden; shown: {listed}")
            if _told(store, call)[:4] != calls[call][:4] or store.verify(call).flaws:
                raise FailedError("a call that was not touched tells something else")
        with contextlib.suppress(DiagError):
            talk(Desk(engine(), store, store.desk_id()), ["1", "trail", "quit"])
        with contextlib.suppress(DiagError):
            store.profiles()
            store.repair()
        if saved := store.export_saved(place.parent / "saved.json"):
            with open_store(place.parent / "saved.db") as other:
                other.import_file(place.parent / "saved.json")
                if any(other.verify(call).flaws for call in saved):
                    raise FailedError("what was saved of a damaged call does not verify")


def change_row(rng: random.Random) -> str:
    """Change one byte of one column of one row; verifying tells, or all is told as before."""
    kept, calls = _kept()
    with folder() as home:
        place = home / "calls.db"
        place.write_bytes(kept)
        table, row, column, touched = _change(rng, place)
        where = f"{table}.{column} of row {row}"
        try:
            with open_store(place) as store:
                flaws = [f for c in calls for f in store.verify(c).flaws] if touched in (*calls, None) else ["moved"]
                if not flaws and table in ("event", "sealed", "call") and any(
                        _told(store, c) != told for c, told in calls.items()):
                    raise FailedError(f"{where}: tells something else, and verifying finds nothing")
            _use(place, calls, touched)
        except DiagError as refused:
            if table in ("profile", "setting") and "newer program" not in str(refused):
                raise FailedError(f"{where}: {refused}") from None
        except Exception as error:
            error.add_note(where)
            raise
    return ""


def _change(rng: random.Random, place: Path) -> tuple[str, int, str, str | None]:
    """Change a byte; return table, row, column, and the call that was touched (None: no call's)."""
    with contextlib.closing(sqlite3.connect(place)) as raw, raw:
        table = rng.choice((*_TABLES, "event", "event", "sealed", "call"))
        row, *_ = rng.choice(raw.execute(f"SELECT rowid FROM {table}").fetchall())
        columns = [c[1] for c in raw.execute(f"PRAGMA table_info({table})")]
        column = rng.choice([c for c in columns if (table, c) != ("setting", "key")])
        (value,) = raw.execute(f"SELECT {column} FROM {table} WHERE rowid = ?", (row,)).fetchone()
        own = "id" if table == "call" else "call"
        touched = None
        if own in columns:
            (touched,) = raw.execute(f"SELECT {own} FROM {table} WHERE rowid = ?", (row,)).fetchone()
        data = bytearray(value if isinstance(value, bytes) else str(value).encode())
        at = rng.randrange(len(data)) if data else 0
        data[at : at + 1] = bytes([rng.choice((rng.randrange(256), ord(rng.choice('0123456789"{}:,aZ ')), 0))])
        kind = {bytes: "BLOB", int: "INTEGER"}.get(type(value), "TEXT")
        changed = bytes(data) if kind == "BLOB" else None
        raw.execute("PRAGMA foreign_keys = OFF")
        with contextlib.suppress(sqlite3.IntegrityError):
            if changed is not None:
                raw.execute(f"UPDATE {table} SET {column} = ? WHERE rowid = ?", (changed, row))
            else:
                raw.execute(f"UPDATE {table} SET {column} = CAST(? AS TEXT) WHERE rowid = ?", (bytes(data), row))
        return table, row, column, touched


def change_file(rng: random.Random) -> str:
    """Change one byte of the file itself; it is told or repaired, never a traceback."""
    kept, calls = _kept()
    with folder() as home:
        data = bytearray(kept)
        data[rng.randrange(len(data))] = rng.randrange(256)
        (home / "calls.db").write_bytes(data)
        looks = [[word, call] for call in calls for word in ("verify", "show")]
        for words in (["list"], ["repair"], ["search", "thin"], *looks):
            run_command(["--store", str(home / "calls.db"), "calls", *words])
        with contextlib.suppress(DiagError), open_store(home / "calls.db") as store:
            talk(Desk(engine(), store, store.desk_id()), ["1", "trail", "note x", "quit"])
    return ""


def change_export(rng: random.Random) -> str:
    """Change one byte of an export; it is refused, or nothing that it tells differs."""
    kept, calls = _kept()
    with folder() as home:
        (home / "calls.db").write_bytes(kept)
        with open_store(home / "calls.db") as store:
            store.export_file(list(calls), home / "x.json")
        data = bytearray((home / "x.json").read_bytes())
        at = rng.randrange(len(data))
        data[at] = rng.choice((rng.randrange(256), ord(rng.choice('0123456789"{}:,aZ '))))
        (home / "x.json").write_bytes(data)
        with open_store(home / "other.db") as other:
            try:
                other.import_file(home / "x.json")
            except DiagError:
                if other.call_ids():
                    raise FailedError("refused, and part of it was taken") from None
                return ""
            for call in other.call_ids():
                if [list(t) for t in _told(other, call)[:2]] != [list(t) for t in calls[call][:2]]:  # type: ignore
                    raise FailedError(f"byte {at} changed: taken, and it tells something else")
    shutil.rmtree(home, ignore_errors=True)
    return ""


SORTS: dict[str, Callable[[random.Random], str]] = {
    "rows": change_row, "exports": change_export, "file": change_file,
}
