"""What is half typed, kept beside the store until it is recorded: never an event, never in an export.

A small SQLite file of its own, readable by its owner only. Changes are gathered and written by `flush`, so that
typing never waits for the disk; what was flushed survives the end of the program, however it ends.
"""

from __future__ import annotations

import logging
import os
import sqlite3
from collections.abc import Iterator, MutableMapping
from contextlib import closing
from pathlib import Path
from threading import Lock

LOG = logging.getLogger(__name__)


class Drafts:
    """Half-typed text by call and field; in memory only where no file can be written."""

    def __init__(self, place: Path | None = None) -> None:
        self._place = place
        self._held: dict[tuple[str, str], str] = {}
        self._changed: dict[tuple[str, str], str | None] = {}
        self._lock = Lock()
        if place is not None and place.exists():
            try:
                with closing(sqlite3.connect(place)) as file:
                    self._held = {(c, n): t for c, n, t in file.execute("SELECT call, name, text FROM draft")}
            except sqlite3.Error as error:
                LOG.warning("drafts not read: %s", error)

    def save(self, call: str, name: str, text: str) -> None:
        """Keep the text of a field; "" drops it."""
        with self._lock:
            key = (call, name)
            if self._held.get(key, "") == text:
                return
            if text:
                self._held[key] = text
            else:
                self._held.pop(key, None)
            self._changed[key] = text or None

    def load(self, call: str) -> dict[str, str]:
        """Return {field: text} of a call."""
        with self._lock:
            return {n: t for (c, n), t in self._held.items() if c == call}

    def calls(self) -> list[str]:
        """Return the calls that have something half typed."""
        with self._lock:
            return list(dict.fromkeys(c for c, _ in self._held))

    def drop(self, call: str) -> None:
        """Forget all that is half typed of a call."""
        for name in self.load(call):
            self.save(call, name, "")

    def of(self, call: str) -> MutableMapping[str, str]:
        """Return the fields of one call as a mapping that is kept."""
        return _OfCall(self, call)

    def flush(self) -> str:
        """Write what changed; return "" or why it cannot be written (it is kept and tried again)."""
        with self._lock:
            changed, self._changed = self._changed, {}
        if not changed or self._place is None:
            return ""
        try:
            self._write(self._place, changed)
        except (sqlite3.Error, OSError) as error:
            LOG.warning("drafts not written: %s", error)
            with self._lock:
                self._changed = {**changed, **self._changed}
            return f"What is half typed cannot be kept on disk now ({error})."
        return ""

    def _write(self, place: Path, changed: dict[tuple[str, str], str | None]) -> None:
        if not place.exists():
            os.close(os.open(place, os.O_CREAT | os.O_WRONLY, 0o600))
        with closing(sqlite3.connect(place, timeout=1.0)) as file, file:
            file.execute("PRAGMA secure_delete=ON")
            file.execute("CREATE TABLE IF NOT EXISTS draft (call TEXT, name TEXT, text TEXT, PRIMARY KEY (call, name))")
            file.executemany("DELETE FROM draft WHERE call = ? AND name = ?", list(changed))
            kept = [(c, n, t) for (c, n), t in changed.items() if t is not None]
            file.executemany("INSERT INTO draft VALUES (?, ?, ?)", kept)


class _OfCall(MutableMapping[str, str]):
    """The drafts of one call."""

    def __init__(self, drafts: Drafts, call: str) -> None:
        self._drafts, self._call = drafts, call

    def __getitem__(self, name: str) -> str:
        return self._drafts.load(self._call)[name]

    def __setitem__(self, name: str, text: str) -> None:
        self._drafts.save(self._call, name, text)

    def __delitem__(self, name: str) -> None:
        if name not in self._drafts.load(self._call):
            raise KeyError(name)
        self._drafts.save(self._call, name, "")

    def __iter__(self) -> Iterator[str]:
        return iter(self._drafts.load(self._call))

    def __len__(self) -> int:
        return len(self._drafts.load(self._call))


def place_beside(store: str | Path) -> Path | None:
    """Return where drafts of a store are kept: beside its file; in the user's data folder for a shared database."""
    if "://" not in str(store):
        return Path(store).expanduser().with_name(Path(store).name + ".drafts")
    from platformdirs import user_data_path

    return user_data_path("diag", appauthor=False) / "shared.drafts"
