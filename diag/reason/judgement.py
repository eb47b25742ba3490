"""What one judgement of a call says, and its words of belief."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

from diag.reason.next_check import Plan
from diag.reason.rules import Firing
from diag.reason.tables import Array
from diag.reason.worlds import EpochEvidence, Posterior, Worlds

LIKELY, OPEN, UNLIKELY, SET_ASIDE = "likely", "open", "unlikely", "set_aside"


class Ranked(NamedTuple):
    """One cause on the desk."""

    cause: str
    probability: float
    """Chance that it is present now, 4 decimals."""
    belief: str


@dataclass(frozen=True)
class Found:
    """A finding and what it rests on."""

    finding: str
    rule: str
    events: tuple[str, ...]
    rows: tuple[int, ...] = ()


@dataclass(frozen=True)
class Remark:
    """A sentence a rule puts on the desk."""

    rule: str
    kind: str
    """warns | advises | suggests | asks_again | caution"""
    text: str
    events: tuple[str, ...]


@dataclass(frozen=True)
class Conflict:
    """The answer that fits the others least."""

    check: str
    events: tuple[str, ...]
    bits: float
    """Conflict measure of all answers together."""


@dataclass(frozen=True)
class Judgement:
    """Everything the engine says about a call."""

    ranking: tuple[Ranked, ...]
    belief: Posterior
    faults_known: bool
    may_be_named: bool
    findings: tuple[Found, ...]
    said: tuple[Remark, ...]
    firings: tuple[Firing, ...]
    conflicts: tuple[Conflict, ...]
    plan: Plan
    action: str
    """check | repair | try | measure_again | drive_out | hand_over | prove | close"""
    pi: Array
    epochs: tuple[EpochEvidence, ...] = ()
    start: Worlds | None = None
    symptoms: Worlds | None = None
    top_ups: Mapping[int, float] = field(default_factory=dict)
    top_up_rules: Mapping[int, tuple[str, ...]] = field(default_factory=dict)

    def of(self, cause: str) -> Ranked | None:
        """Return a cause's place, or None when the machine cannot have it."""
        return next((r for r in self.ranking if r.cause == cause), None)
