"""Calls from elsewhere: transcripts, exports, exports of another hand; and settings, with what is done with them."""

from __future__ import annotations

import contextlib
import random
import sqlite3
from functools import cache
from pathlib import Path

from harm import foreign
from harm.base import DEMO, ROOT, engine, text
from harm.commands import talk
from harm.watch import FailedError, run_command
from record.making import to_text

from diag.call.desk import CallDesk, Desk
from diag.errors import DiagError
from diag.record.transcript import read_transcript
from diag.store.sqlstore import Store
from diag.writeup.page.formats import FORMATS
from diag.writeup.saving import ordered


def take_transcript(data: bytes, place: Path) -> None:
    """Read a transcript and do with it what replay and write-up do."""
    (place / "x.yaml").write_bytes(data)
    told = read_transcript(place / "x.yaml")
    look_at(Desk(engine(whole=True)).replayed(told.events[0].call, told.events, told.sealed))


def look_at(call: CallDesk) -> None:
    """Judge a call and write it up for every reader in every form."""
    call.think()
    for audience in ("customer", "claim", "service"):
        order = ordered(call, audience, personal=audience != "claim")
        for ending, form in FORMATS.items():
            if ending != ".pdf" or audience == "service":
                form.make(order)


def take_export(data: bytes, place: Path) -> None:
    """Import an export; what came in can be used like any call."""
    (place / "x.json").write_bytes(data)
    with Store(place / "calls.db", random.Random(1).randbytes) as store:
        store.preview_import(place / "x.json")
        store.import_file(place / "x.json")
        desk = Desk(engine(whole=True), store, store.desk_id())
        for call in store.call_ids():
            if flaws := store.verify(call).flaws:
                raise FailedError(f"came in and does not verify: {flaws[0]}")
            opened = desk.open_call(call)
            look_at(opened)
            with contextlib.suppress(DiagError):
                opened.undo()
            store.export_file([call], place / "out.json")
            run_command(["--store", str(place / "calls.db"), "calls", "show", call])
        run_command(["--store", str(place / "calls.db"), "calls", "list"])
        run_command(["--store", str(place / "calls.db"), "calls", "search", "row"])


@cache
def exports() -> list[bytes]:
    """Good exports."""
    return [(ROOT / "tests" / "data" / "golden" / "whole.json").read_bytes(),
            *(to_text(t.events, t.sealed).encode() for t in map(read_transcript, DEMO[:3]))]


def a_hostile_export(rng: random.Random) -> bytes:
    """Return an export whose hashes fit and whose content nobody typed."""
    told = read_transcript(rng.choice(DEMO[:6]))
    return to_text(*foreign.hostile(rng, told.events, told.sealed)).encode("utf-8", "surrogatepass")


def a_newer_export(rng: random.Random) -> bytes:
    """Return an export that a program of a later version could have written."""
    told = read_transcript(rng.choice(DEMO[:2]))
    return to_text(*foreign.newer(rng, told.events, told.sealed)).encode("utf-8", "surrogatepass")


def take_newer_export(data: bytes, place: Path) -> None:
    """Import it and look at it with every command and in the line dialogue."""
    (place / "x.json").write_bytes(data)
    with Store(place / "calls.db", random.Random(1).randbytes) as store:
        store.import_file(place / "x.json")
        (call,) = store.call_ids()
        for words in (["list"], ["show", call], ["verify", call], ["search", "a"]):
            run_command(["--store", str(place / "calls.db"), "calls", *words])
        desk = Desk(engine(whole=True), store, store.desk_id())
        talk(desk, ["trail", "note x", "undo", "write", "quit"], call)
        look_at(desk.open_call(call))


def take_settings(data: bytes, place: Path) -> None:
    """Put text in the place of every setting, then work."""
    with Store(place / "calls.db", random.Random(1).randbytes) as store:
        Desk(engine(), store, store.desk_id()).new_call("site")
        with contextlib.closing(sqlite3.connect(place / "calls.db")) as raw, raw:
            for key in ("screens", "stock", "photo_folder", "schema"):
                raw.execute("INSERT OR REPLACE INTO setting VALUES (?, ?)", (key, text(data).replace("\0", "")))
        talk(Desk(engine(), store, store.desk_id()),
             ["s", "row 7 is thin", "1", "stock", "settings", "", "", "photo", "quit"])
    run_command(["--store", str(place / "calls.db"), "calls", "list"])
