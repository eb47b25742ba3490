"""Where calls are kept: one SQLite file, or a PostgreSQL database shared by several desks.

Every event is on disk before it is acknowledged. What was read never depends on the order in which
events arrived, so several desks may add to one call at the same time.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from diag.store.kept import Profile
from diag.store.summary import CallSummary

if TYPE_CHECKING:
    from diag.store.sqlstore import Store

__all__ = ["CallSummary", "Profile", "Store", "open_store"]


def open_store(place: str | Path, *, random: Callable[[int], bytes] | None = None, desk_file: Path | None = None,
               patience: float | None = None) -> Store:
    """Return the store at a file path or a database URL. Opening changes nothing; the first write makes what lacks.

    `random` is the source of new ids, secrets.token_bytes when None. `desk_file` keeps the id of this
    installation when the database is shared, and what is to be sent there lies beside it; the user's data folder
    when None. `patience`: seconds to wait for another program or a server. Raises StoreError.
    """
    import secrets

    from diag.store.database import PATIENCE, is_server
    from diag.store.shared import SharedStore
    from diag.store.sqlstore import Store

    kind = SharedStore if is_server(place) else Store
    return kind(place, random or secrets.token_bytes, desk_file, PATIENCE if patience is None else patience)


def __getattr__(name: str) -> Any:
    """Give `Store` without importing the database library before it is needed."""
    if name == "Store":
        from diag.store.sqlstore import Store

        return Store
    raise AttributeError(name)

