"""What threads and screens tell the application."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.message import Message

if TYPE_CHECKING:
    from diag.reason.judge import Engine
    from diag.store.open import Store


@dataclass
class StoreReady(Message):
    """The store is open."""

    store: Store


@dataclass
class EngineReady(Message):
    """Knowledge is read and the engine is built."""

    engine: Engine


class Exchanged(Message):
    """Other desks added something, or what waited here was sent."""


@dataclass
class StartFailed(Message):
    """Store or knowledge cannot be used; `what` names it."""

    what: str
    error: Exception
