"""Where calls are kept: one SQLite file, or a PostgreSQL database shared by several desks.

Every event is on disk before it is acknowledged. What was read never depends on the order in which
events arrived, so several desks may add to one call at the same time.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag.store.summary import CallSummary

if TYPE_CHECKING:
    from diag.store.sqlstore import Store

__all__ = ["CallSummary", "Imported", "Profile", "Store", "open_store"]


@dataclass(frozen=True)
class Profile:
    """A machine profile; what tells of a person stands apart."""

    id: str
    body: Mapping[str, Any]
    personal: Mapping[str, str]


@dataclass(frozen=True)
class Imported:
    """What an import brought."""

    calls: tuple[str, ...]
    """All calls in the file."""
    events: int
    """Events that were new here."""
    erased: int
    """Sealed values deleted here because the other side had erased them."""


def open_store(place: str | Path, *, random: Callable[[int], bytes] | None = None,
               desk_file: Path | None = None) -> Store:
    """Return the store at a file path or a database URL; a file that is missing is made.

    `random` is the source of new ids, secrets.token_bytes when None. `desk_file` keeps the id of this
    installation when the database is shared; the user's data folder when None. Raises StoreError.
    """
    import secrets

    from diag.store.sqlstore import Store

    return Store(place, random or secrets.token_bytes, desk_file)


def __getattr__(name: str) -> Any:
    """Give `Store` without importing the database library before it is needed."""
    if name == "Store":
        from diag.store.sqlstore import Store

        return Store
    raise AttributeError(name)

