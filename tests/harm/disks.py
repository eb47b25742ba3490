"""Full disks: what was acknowledged stays, what finds no room is refused, older files stay whole, work goes on.

As root on Linux the disk is a small file system in memory; elsewhere a limit on the size of files.
"""

from __future__ import annotations

import contextlib
import os
import random
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

from harm.base import engine, folder
from harm.calls import look_at
from harm.watch import FailedError, run_command

from diag.call.desk import CallDesk, Desk
from diag.errors import DiagError
from diag.store.open import open_store

SIZE = 700_000


@contextlib.contextmanager
def _disk() -> Iterator[Path]:
    """A small disk of its own."""
    with folder() as home:
        place = home / "disk"
        place.mkdir()
        done = subprocess.run(["mount", "-t", "tmpfs", "-o", f"size={SIZE}", "tmpfs", str(place)], capture_output=True,
                              check=False) if os.name == "posix" and os.geteuid() == 0 else None
        mounted = done is not None and done.returncode == 0
        try:
            yield place
        finally:
            if mounted:
                subprocess.run(["umount", "-l", str(place)], check=True)


@contextlib.contextmanager
def _full(place: Path, left: int) -> Iterator[None]:
    """Leave no more than so many bytes on the disk."""
    if place.is_mount():
        filler = place / "filler"
        free = os.statvfs(place).f_bavail * os.statvfs(place).f_frsize
        filler.write_bytes(b"\0" * max(0, free - left))
        try:
            yield
        finally:
            filler.unlink()
        return
    import resource
    import signal

    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    largest = max((p.stat().st_size for p in place.iterdir() if p.is_file()), default=0)
    resource.setrlimit(resource.RLIMIT_FSIZE, (largest + left, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)


def _notes(rng: random.Random, call: CallDesk, place: Path) -> list[str]:
    """Write notes until one finds no room; return those that were acknowledged."""
    kept: list[str] = []
    with contextlib.suppress(DiagError):
        for i in range(40):
            text = f"note {i} " + "x" * rng.choice((5, 3000, 15_000))
            call.record("note", {}, {"text": text})
            kept.append(text)
    return kept


def _writing(*words: str) -> Callable[[random.Random, CallDesk, Path], list[str]]:
    """Return a command that writes a file."""
    def write(rng: random.Random, call: CallDesk, place: Path) -> list[str]:
        told = [w.format(call=call.call, place=place) for w in words]
        run_command(["--store", str(place / "calls.db"), *told])
        return []

    return write


def _picture(rng: random.Random, call: CallDesk, place: Path) -> list[str]:
    from harm.kinds import a_picture

    from diag.ask import photos

    (place.parent / "x.jpg").write_bytes(a_picture("JPEG", (900, 700)))
    with contextlib.suppress(DiagError):
        photos.take(call, place.parent / "x.jpg", "what it shows")
    return []


def _setting(rng: random.Random, call: CallDesk, place: Path) -> list[str]:
    assert call.desk.store is not None
    with contextlib.suppress(DiagError):
        call.desk.store.set_setting("screens", {"units": "metric", "x": "y" * 9000})
    return []


_WORK = {
    "notes": _notes,
    "export": _writing("calls", "export", "{call}", "-o", "{place}/old.json"),
    "backup": _writing("calls", "backup", "{place}/backup.db"),
    "write-up": _writing("writeup", "{call}", "-o", "{place}/old.pdf", "--replace"),
    "page": _writing("writeup", "{call}", "-o", "{place}/old.html", "--replace"),
    "import": _writing("calls", "import", "{place}/coming.json", "--yes"),
    "erase": _writing("calls", "erase", "{call}", "--yes"),
    "picture": _picture,
    "setting": _setting,
}


def fill_disk(rng: random.Random) -> str:
    """Do something on a disk that is nearly full; then make room and look at everything."""
    name = rng.choice(("notes", "notes", *_WORK))
    with _disk() as place, open_store(place / "calls.db", random=random.Random(1).randbytes) as store:
        desk = Desk(engine(), store, store.desk_id())
        call = desk.new_call("site", customer="Alder Flat")
        call.set_complaint("row 7 is thin", [(next(iter(engine().knowledge.symptoms)), "chosen")])
        call.record("note", {}, {"text": "before"})
        store.export_file([call.call], place / "old.json")
        (place / "coming.json").write_bytes((place / "old.json").read_bytes())
        for ending in ("pdf", "html"):
            (place / f"old.{ending}").write_bytes(b"an older page")
        before = {p.name: p.read_bytes() for p in place.glob("old.*")}
        with _full(place, rng.choice((0, 0, rng.randrange(4096), rng.randrange(120_000)))):
            kept = _WORK[name](rng, call, place)
        _look(place, name, before)
        texts = [] if name == "erase" else ["before", *kept]
        again = desk.open_call(call.call)
        if lost := [t for t in texts if t not in {s.value for s in store.sealed(call.call)}]:
            raise FailedError(f"{name}: acknowledged and lost: {lost}")
        if flaws := store.verify(call.call).flaws:
            raise FailedError(f"{name}: {flaws}")
        again.record("note", {}, {"text": "after"})
        look_at(again)
    return ""


def _look(place: Path, name: str, before: dict[str, bytes]) -> None:
    """Check that older files are whole or replaced whole, and that no half one lies about."""
    for file, data in before.items():
        now = (place / file).read_bytes()
        ends = {"old.pdf": b"%%EOF", "old.html": b"</html>", "old.json": b"]}"}[file]
        if now != data and not now.rstrip().endswith(ends):
            raise FailedError(f"{name}: {file} is neither the older one nor a whole new one")
    known = {*before, "calls.db", "coming.json", "backup.db", "photos"}
    if odd := {p.name for p in place.iterdir()} - known:
        raise FailedError(f"{name}: left behind: {odd}")
    if (place / "backup.db").exists():
        with open_store(place / "backup.db") as copy:
            if len(copy.call_ids()) != 1:
                raise FailedError(f"{name}: half a backup was left")
    for picture in place.glob("photos/*/*"):
        if picture.suffix != ".jpg" or not picture.read_bytes().endswith(b"\xff\xd9"):
            raise FailedError(f"{name}: half a picture was left: {picture.name}")


SORTS: dict[str, Callable[[random.Random], str]] = {"disk": fill_disk}
