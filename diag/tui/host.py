"""What screens may ask of the application: they know this, never the application itself."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import TYPE_CHECKING, Any, Protocol

from diag.tui.act import Act
from diag.tui.work import Office, Work

if TYPE_CHECKING:
    from diag.ask.taking import Taking
    from diag.call.desk import CallDesk, Desk
    from diag.reason.judge import Engine
    from diag.store.drafts import Drafts
    from diag.store.open import Store


class Host(Protocol):
    """The application, as screens see it."""

    store: Store | None
    engine: Engine | None
    trouble: str
    """Why the store or the knowledge cannot be used, "" when they can."""
    waits: str
    """What is kept here and waits to be sent, in words; "" for nothing."""
    works: dict[str, Work]
    """Calls in work, by id."""
    chosen: dict[str, str]
    """What the user chose in the settings."""
    drafts: Drafts

    @property
    def office(self) -> Office:
        """The application, as a call in work needs it."""

    @property
    def units(self) -> str:
        """The units values are shown in: us or metric."""

    @property
    def desk(self) -> Desk | None:
        """The desk, as soon as store and engine are there. Raises StoreError."""

    def now(self) -> datetime:
        """Return the time here, in the zone of this machine."""

    def labels(self) -> Mapping[str, str]:
        """Return words for ids of causes and symptoms, as soon as the knowledge is read."""

    def choose(self, **chosen: str) -> str:
        """Keep what the user chose; return "" or what was wrong."""

    def acts(self, screen: Any) -> list[Act]:
        """Return all that can be done on a screen, its own acts first."""

    def take_call(self, taking: Taking, fitted: Any = None) -> str:
        """Open a call with what was heard and put it on the desk; return "" or what was wrong."""

    def open_call(self, call: str) -> str:
        """Open a stored call; return "" or what was wrong."""

    def once_read(self, do: Callable[[], object]) -> None:
        """Have something done as soon as store and knowledge are read, and say so."""

    def start_work(self, call: CallDesk) -> Work:
        """Put a call on the desk."""

    def run_named(self, name: str) -> None:
        """Open what is not a call: settings, demonstration calls, practice."""
