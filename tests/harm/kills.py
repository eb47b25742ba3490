"""Programs killed at any moment: what was acknowledged is there whole, and the store opens.

A child of this process does the work, so that a kill costs no start; it is killed by SIGKILL like any program.
"""

from __future__ import annotations

import contextlib
import os
import random
import re
import secrets
import select
import signal
import sqlite3
import sys
import time
import warnings
from collections.abc import Callable
from pathlib import Path
from types import ModuleType

from harm.base import SMALL, engine, folder
from harm.watch import FailedError

from diag.call.desk import Desk
from diag.store.open import open_store

SILENT = 20.0
"""Seconds without a sign after which the other side counts as stuck."""
_CLEAR = re.compile(rb"\x1b\[[0-9;?<=>]*[A-Za-z]|\x1b[()][A-Z0-9]|\x1b[=>]")


def _child(work: Callable[[], object], pty: ModuleType | None = None) -> tuple[int, int, int]:
    """Run work in a child; return its number, where it reads from and what it writes to."""
    read, typed, told, write = *os.pipe(), *os.pipe()
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # of forking beside other threads: the child starts none of theirs
        pid, terminal = (os.fork(), 0) if pty is None else pty.fork()
    if pid:
        os.close(read)
        os.close(write)
        if pty is None:
            return pid, typed, told
        os.close(typed)
        os.close(told)
        return pid, terminal, terminal
    if pty is None:
        os.dup2(read, 0)
        os.dup2(write, 1)
    os.closerange(3, 60)
    sys.stdin, sys.stdout, sys.stderr = sys.__stdin__, sys.__stdout__, sys.__stderr__ = (  # type: ignore[misc]
        os.fdopen(0, "r"), os.fdopen(1, "w"), os.fdopen(2, "w"))
    with contextlib.suppress(BaseException):
        work()
    os._exit(0)


def _kill(pid: int, *ends: int) -> bytes:
    """Kill a child and return what it had still written."""
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    left = b""
    with contextlib.suppress(OSError):
        while data := os.read(ends[-1], 65536):
            left += data
    for end in set(ends):
        os.close(end)
    return left


def _read_until(end: int, mark: bytes, seen: bytes = b"") -> bytes:
    """Read until something was written. Raises FailedError when the other side falls silent, or ends, without it."""
    while mark not in seen:
        if not select.select([end], [], [], SILENT)[0]:
            raise FailedError(f"{mark!r} did not come; seen: {seen[-600:]!r}")
        try:
            data = os.read(end, 65536)
        except OSError:
            data = b""
        if not data:
            raise FailedError(f"ended before {mark!r}; seen: {seen[-600:]!r}")
        seen += data
    return seen


def _whole(place: Path, notes: list[str], answers: int = 0) -> None:
    """Check that a store opens, verifies, and holds every note acknowledged, word for word, and so many answers."""
    with open_store(place) as store:
        (call,) = store.call_ids()
        if flaws := store.verify(call).flaws:
            raise FailedError(f"does not verify: {flaws}")
        there = [s.value for s in store.sealed(call) if s.field == "text"]
        if lost := [n for n in notes if n not in there]:
            raise FailedError(f"acknowledged and not there: {lost}; there: {there[-3:]}")
        if sum(e.kind == "answer" for e in store.events(call)) < answers or len(store.calls()) != 1:
            raise FailedError("fewer answers than were acknowledged")
    with contextlib.closing(sqlite3.connect(place)) as raw:
        if raw.execute("PRAGMA integrity_check").fetchone() != ("ok",):
            raise FailedError("the file is damaged")


def _begun(place: Path) -> str:
    """Begin a call in a new store and return its id."""
    with open_store(place) as store:
        call = Desk(engine(), store, store.desk_id()).new_call("site", customer="Alder Flat")
        call.set_complaint("row 7 is thin", [(next(iter(engine().knowledge.symptoms)), "chosen")])
        return call.call


def kill_store(rng: random.Random) -> str:
    """Kill a program that writes answer after answer."""
    with folder() as home:
        call = _begun(home / "calls.db")

        def work() -> None:
            with open_store(home / "calls.db", random=secrets.token_bytes) as store:
                opened = Desk(engine(), store, store.desk_id()).open_call(call)
                for i in range(10_000):
                    opened.record("note", {}, {"text": f"note {i}"})
                    os.write(1, f"note {i}\n".encode())

        pid, typed, told = _child(work)
        seen = _read_until(told, b"note 0\n")
        time.sleep(rng.random() * 0.03)
        seen += _kill(pid, typed, told)
        _whole(home / "calls.db", seen.decode().split("\n")[:-1])
    return ""


def kill_dialogue(rng: random.Random) -> str:
    """Kill the line dialogue while notes and answers are typed."""
    from diag.plain import run_plain

    with folder() as home:
        call = _begun(home / "calls.db")

        def work() -> None:
            with open_store(home / "calls.db", random=secrets.token_bytes) as store:
                run_plain(Desk(engine(), store, store.desk_id()), call=call,
                          write=lambda said: print(said, flush=True))

        pid, typed, told = _child(work)
        seen = _read_until(told, b"> ")
        for sent in range(rng.randint(1, 4)):
            os.write(typed, f"note this is note {sent} of this call\n".encode())
            if rng.random() < 0.7:
                seen = _read_until(told, f"note {sent} of this call".encode(), seen)
        time.sleep(rng.random() * 0.02)
        said = (seen + _kill(pid, typed, told)).decode()
        kept = re.findall(r"Recorded: note: (this is note \d+ of this call)\.", " ".join(said.split()))
        _whole(home / "calls.db", kept)
    return ""


def kill_screens(rng: random.Random) -> str:
    """Kill the screens while answers are typed."""
    import pty

    from diag.cli import main

    with folder() as home:
        place = home / "calls.db"
        size = {"TERM": "xterm-256color", "COLUMNS": "80", "LINES": "24"}

        def work() -> None:
            os.environ.update(size, HOME=str(home), XDG_STATE_HOME=str(home), XDG_DATA_HOME=str(home))
            main(["--store", str(place), "--no-mouse", "--knowledge", str(SMALL)])

        pid, end, _ = _child(work, pty)
        try:
            seen = b""
            for keys, shown in ((b"", b"Practise"), (b"\x1b[19~", b"on site"), (b"it is thin", b"It sounds like"),
                                (b"\r", b"to the first question"), (b"1\r", b"Enter records")):
                os.write(end, keys)
                seen = _read_until(end, shown, seen[-4:])
            answers = rng.randrange(2)
            for keys, shown in ((b"5", b"= "), (b"\r", b"Enter records"), (b"1", b"= "),
                                (b"\r", b"takes it back"))[: 4 * answers]:
                os.write(end, keys)
                seen = _read_until(end, shown, seen[-4:])
            os.write(end, b"1\r" * rng.randrange(3))
            time.sleep(rng.random() * 0.2)
        finally:
            _kill(pid, end)
        _whole(place, [], answers)
    return ""


SORTS: dict[str, Callable[[random.Random], str]] = {
    "store": kill_store, "dialogue": kill_dialogue, "screens": kill_screens,
}
