"""What is held to be so in a call: the frozen values that a fold over its events gives.

Readings stay as they were typed ({value, unit}, {count, of}, ...). Text and personal data are not here:
join them by event id with `diag.record.fold.sealed_view`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from diag.figures.rows import Rows
from diag.record.body import Body, InCall
from diag.record.kinds import (
    Answer,
    CautionShown,
    Closed,
    DoneBefore,
    Judged,
    Machine,
    Opened,
    ProofVerdict,
    Repaired,
    Situation,
    Stored,
    Swap,
    Waiting,
)

_Kind = TypeVar("_Kind", bound=Body)


@dataclass(frozen=True)
class NotPutBack:
    """A temporary change that still stands."""

    events: tuple[str, ...]
    """The changes that led here, first to last."""
    name: str
    """The setting or part."""
    rows: Rows | None
    before: Any
    """What it was before the first of them (None: nobody said)."""
    now: Any


NEWER = "newer"
"""Kind of every step that a newer program recorded."""


@dataclass(frozen=True)
class TrailStep(InCall):
    """One event of the trail, withdrawn or not."""

    happened: str | None = None
    kind: str = ""
    body: Stored = None  # type: ignore[assignment]
    """What it says, free labels put back as far as they are here; {} for what a newer program recorded."""
    live: bool = True
    withdrawn_by: str | None = None

    @property
    def known(self) -> bool:
        """False for an event of a newer program: whatever its kind is called, nothing is read from it here."""
        return self.kind != NEWER


@dataclass(frozen=True)
class State:
    """A call, as its live events say it is."""

    call: str
    channel: str
    held: Mapping[type[Body], tuple[Body, ...]]
    """What all live events say by their kind, in reading order; withdrawals are history."""
    machine: Machine
    situation: Situation
    accepted: tuple[tuple[str, str], ...]
    """(symptom, chosen or matched), in the order first named."""
    denied: tuple[str, ...]
    pieces: Mapping[str, Mapping[int, Any]]
    """Pieces that now sit in another row: piece -> {row: home row or "spare"}."""
    not_put_back: tuple[NotPutBack, ...]
    standing: Mapping[str, tuple[NotPutBack, ...]]
    """Answer -> what stood changed for a test when it was given."""
    waiting: Waiting | None
    closed: Closed | None
    epoch: int
    """How many repairs cut the call's time so far."""
    timeline: tuple[str, ...]
    """Event ids in the order in which things happened."""
    trail: tuple[TrailStep, ...]
    unknown: tuple[str, ...]
    """Events of a newer program: kept, shown, not interpreted."""

    def of(self, kind: type[_Kind]) -> tuple[_Kind, ...]:
        """Return what the live events of a kind say, in reading order."""
        return self.held.get(kind, ())  # type: ignore[return-value]

    @property
    def opened(self) -> Opened:
        """How the call was opened: program, knowledge, follows, practice."""
        return self.of(Opened)[0]

    @property
    def answers(self) -> tuple[Answer, ...]:
        """Live answers."""
        return self.of(Answer)

    @property
    def done_before(self) -> tuple[DoneBefore, ...]:
        """What was done before the call."""
        return self.of(DoneBefore)

    @property
    def swaps(self) -> tuple[Swap, ...]:
        """Pieces exchanged."""
        return self.of(Swap)

    @property
    def repairs(self) -> tuple[Repaired, ...]:
        """Repairs and interim measures."""
        return self.of(Repaired)

    @property
    def proofs(self) -> tuple[ProofVerdict, ...]:
        """Verdicts on repairs."""
        return self.of(ProofVerdict)

    @property
    def cautions(self) -> tuple[CautionShown, ...]:
        """Cautions that were shown."""
        return self.of(CautionShown)

    @property
    def judged(self) -> tuple[Judged, ...]:
        """What was believed at closes, proofs and write-ups."""
        return self.of(Judged)

    @property
    def writable(self) -> bool:
        """False when the call holds events that this program does not understand."""
        return not self.unknown

    @property
    def due(self) -> str | None:
        """Until when the call waits, if a time was said."""
        return self.waiting.until if self.waiting else None
