"""What the engine reasons about: the facts of one call, without any event, screen or clock."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

UNKNOWN = "unknown"


@dataclass(frozen=True)
class Instance:
    """One check on one set of rows in one epoch, with all reports on it.

    `likelihood`: for each outcome of the check, the chance of the reports if that outcome were true
    (all 1 for "not sure"). `outcome` is the one shown; None when unsure or not feasible here.
    """

    check: str
    rows: str
    epoch: int
    outcome: str | None
    likelihood: tuple[float, ...]
    events: tuple[str, ...] = ()
    row_numbers: tuple[int, ...] | None = None
    """None = the whole machine or the whole trouble."""
    given: bool = True
    """False for "not sure" and "cannot here"."""
    results: Mapping[str, float | str] = field(default_factory=dict)
    """Results of the analysis (SI or words), for rules."""
    control: bool = False
    """True for a look at sound rows beside the trouble: recorded and shown, but no evidence."""
    refused: bool = False
    """True for "can't do that here": its stand-ins come first."""


@dataclass(frozen=True)
class RepairDone:
    """A repair that ends an epoch: cause -> chance that it was cured by it if it was there."""

    causes: Mapping[str, float]


@dataclass(frozen=True)
class Case:
    """Everything known in a call."""

    channel: str = "site"
    axes: Mapping[str, str] = field(default_factory=dict)
    symptoms: tuple[str, ...] = ()
    denied: tuple[str, ...] = ()
    instances: tuple[Instance, ...] = ()
    repairs: tuple[RepairDone, ...] = ()
    trouble_rows: tuple[int, ...] | None = None
    row_pattern: str = UNKNOWN
    changes: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    figures: Mapping[str, float] = field(default_factory=dict)
    """Numbers about the call itself: desk_minutes, answers, narrowed_nothing ..."""
    prepared: frozenset[str] = frozenset()
    """Preparations in force: fan running, meter open ..."""
    not_here: frozenset[str] = frozenset()
    """Tools that are not at hand."""
    machine_rows: int | None = None
    """Rows of the planter; None = not known."""
    drive_out: float | None = None
    """Minutes of the drive to this customer; None = the general setting."""

    to_prove: tuple[str, ...] = ()
    """Causes repaired and not yet proved."""
    proved: bool = False
    """True when the last repair's proof was accepted."""

    @property
    def epoch(self) -> int:
        """Epoch that answers given now belong to."""
        return len(self.repairs)

    @property
    def repaired_in_vain(self) -> frozenset[str]:
        """Causes repaired in this call whose proof was not accepted."""
        if self.proved:
            return frozenset()
        return frozenset(c for repair in self.repairs for c in repair.causes).difference(self.to_prove)
