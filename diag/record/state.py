"""What is held to be so in a call: the frozen values that a fold over its events gives.

Readings stay as they were typed ({value, unit}, {count, of}, ...). Text and personal data are not here:
join them by event id with `diag.record.fold.sealed_view`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from diag.record.rows import Rows

Stored = Mapping[str, Any]
"""A reading or setting as stored."""


@dataclass(frozen=True)
class Machine:
    """The machine profile as far as it is known in this call."""

    axes: Mapping[str, Any] = field(default_factory=dict)
    """Axis -> value, list of values, or "unknown"."""
    rows: int | None = None
    row_width: Stored | None = None
    holes: int | None = None
    sections: Mapping[str, Rows] = field(default_factory=dict)
    book: Mapping[str, Any] = field(default_factory=dict)
    """Quantity -> value of the operator's manual."""


@dataclass(frozen=True)
class Situation:
    """What is planted and since when there is trouble."""

    crop: str | None = None
    seed_lot_code: str | None = None
    target: Stored | None = None
    speed: Stored | None = None
    since: str | None = None
    changes: tuple[str, ...] = ()
    rows: Rows | None = None
    """The rows in trouble; None while nobody said."""
    rhythm: str | None = None
    flags: tuple[str, ...] = ()
    without: tuple[str, ...] = ()
    """Tools that are not at hand."""


@dataclass(frozen=True)
class Entry:
    """What every live event of the call has in common."""

    event: str
    number: int
    """Position in reading order, counted from 1."""
    n: int
    by: str
    desk: str
    at: str
    happened: str | None
    epoch: int
    """How many repairs came before it."""


@dataclass(frozen=True)
class Answer(Entry):
    """A live answer to a check."""

    check: str
    rows: Rows | None
    pieces: Mapping[str, Mapping[int, Any]]
    """Pieces that do not sit in their own row: piece -> {row: home row or "spare"}, for these rows."""
    channel: str
    observer: str
    status: str
    outcome: str | None
    value: Stored | int | None
    values: Mapping[str, Any] | None
    spacings: Mapping[str, Any] | None
    positions: Mapping[str, Any] | None
    log: Mapping[str, Any] | None
    method: str | None
    replaces: str | None
    """The withdrawn answer that this one corrects."""
    proves: str | None
    """The repair whose proof it belongs to."""


@dataclass(frozen=True)
class DoneBefore(Entry):
    """Something done before the call."""

    body: Stored


@dataclass(frozen=True)
class Swap(Entry):
    """Two rows exchanged a piece (or a row and the shelf)."""

    piece: str
    from_row: Any
    to_row: Any


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


@dataclass(frozen=True)
class Waiting(Entry):
    """What the call waits for."""

    reason: str
    until: str | None
    acres: str | None


@dataclass(frozen=True)
class Repair(Entry):
    """A repair or an interim measure."""

    causes: tuple[str, ...]
    kind: str
    rows: Rows | None
    parts: tuple[Mapping[str, Any], ...]
    settings: tuple[Mapping[str, Any], ...]
    minutes: int | None
    done_by: str | None


@dataclass(frozen=True)
class Proof(Entry):
    """The verdict on a repair."""

    target: str
    answers: tuple[str, ...]
    verdict: str
    test: str | None
    risks: Mapping[str, str]


@dataclass(frozen=True)
class Shown(Entry):
    """A caution that was shown, and how it was acknowledged."""

    caution: str
    check: str | None
    shown_to: str | None
    acknowledged: str


@dataclass(frozen=True)
class Judged(Entry):
    """What was believed at a close, a proof or a write-up."""

    why: str
    body: Stored


@dataclass(frozen=True)
class Closed(Entry):
    """How the call ended."""

    result: str


@dataclass(frozen=True)
class Step(Entry):
    """One event of the trail, withdrawn or not."""

    kind: str
    body: Stored
    known: bool
    live: bool
    withdrawn_by: str | None
    replaces: str | None


@dataclass(frozen=True)
class State:
    """A call, as its live events say it is."""

    call: str
    channel: str
    opened: Stored
    """Body of `opened`: program, knowledge {version, digest}, follows, practice."""
    machine: Machine
    situation: Situation
    accepted: tuple[tuple[str, str], ...]
    """(symptom, chosen or matched), in the order first named."""
    denied: tuple[str, ...]
    done_before: tuple[DoneBefore, ...]
    answers: tuple[Answer, ...]
    """Live answers in reading order."""
    swaps: tuple[Swap, ...]
    pieces: Mapping[str, Mapping[int, Any]]
    """Pieces that now sit in another row: piece -> {row: home row or "spare"}."""
    not_put_back: tuple[NotPutBack, ...]
    waiting: Waiting | None
    repairs: tuple[Repair, ...]
    proofs: tuple[Proof, ...]
    notes: tuple[str, ...]
    """Event ids of live notes."""
    photos: tuple[str, ...]
    cautions: tuple[Shown, ...]
    judged: tuple[Judged, ...]
    closed: Closed | None
    epoch: int
    """How many repairs cut the call's time so far."""
    epochs: Mapping[str, int]
    """Event id -> epoch, for every event."""
    timeline: tuple[str, ...]
    """Event ids in the order in which things happened."""
    trail: tuple[Step, ...]
    unknown: tuple[str, ...]
    """Events of a newer program: kept, shown, not interpreted."""

    @property
    def writable(self) -> bool:
        """False when the call holds events that this program does not understand."""
        return not self.unknown

    @property
    def acknowledged(self) -> frozenset[str]:
        """Cautions acknowledged at least once."""
        return frozenset(c.caution for c in self.cautions if c.acknowledged != "none")

    @property
    def due(self) -> str | None:
        """Until when the call waits, if a time was said."""
        return self.waiting.until if self.waiting else None
