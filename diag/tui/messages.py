"""What threads and screens tell the application."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from textual.message import Message

if TYPE_CHECKING:
    from diag.call.desk import Thought
    from diag.reason.judge import Engine
    from diag.store.open import Store
    from diag.tui.work import Work


@dataclass
class StoreReady(Message):
    """The store is open."""

    store: Store


@dataclass
class EngineReady(Message):
    """Knowledge is read and the engine is built."""

    engine: Engine


@dataclass
class StartFailed(Message):
    """Store or knowledge cannot be used; `what` names it."""

    what: str
    error: Exception


@dataclass
class BeliefReady(Message):
    """A judgement came from the desk's thread; it may be stale."""

    work: Work
    thought: Thought


@dataclass
class JudgeFailed(Message):
    """Judging raised an error; what was recorded stands."""

    work: Work
    error: BaseException
