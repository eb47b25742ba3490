"""What repairs cost: each is an experiment, with the check that proves it, and in vain it costs more.

All in minutes, by cause in the order of the tables.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from diag.knowledge.base import Knowledge
from diag.reason.case import Case
from diag.reason.feasible import check_minutes
from diag.reason.tables import Array, Flags, Tables

NO_PROOF_HERE = 15.0
"""Minutes of a proof where none of the checks named for it can be made in this channel (estimate)."""


@dataclass(frozen=True)
class Prices:
    """The costs that a plan weighs in one channel."""

    repair: Array
    """Repair with its proof."""
    in_vain: Array
    """What is lost besides when it was not that cause."""
    works: Array
    doable: Flags
    """Repairs that can be made in this channel and were not made in vain in this call."""
    leave: float
    """Handing the call on; by phone the drive."""
    found: Array
    """Repair with proof on site, once it is found there."""
    found_unknown: float
    """The same where no known cause is at fault."""
    known: Array
    """Minutes from here when the cause is known to be this one."""
    known_unknown: float


def prices(case: Case, tables: Tables) -> Prices:
    """Return what things cost in the channel of a case."""
    settings = tables.knowledge.settings
    case = replace(case, prepared=frozenset())
    on_site = tables.repair_minutes + proof_minutes(replace(case, channel="site"), tables)
    if case.channel == "site":
        doable = np.ones(len(on_site), dtype=np.bool_)
        leave, here, away = settings.hand_over, on_site, on_site
    else:
        doable = tables.grower_can
        leave = case.drive_out if case.drive_out is not None else settings.drive_out
        here = tables.repair_minutes + proof_minutes(case, tables)
        away = leave + on_site
    doable = doable & np.array([c not in case.repaired_in_vain for c in tables.causes], dtype=np.bool_)
    back = np.where(tables.reversible, tables.repair_minutes, 0.0)
    in_vain = np.maximum(tables.if_wrong, back)
    unknown = settings.hand_over
    return Prices(
        here, in_vain, tables.works, doable, leave=leave, found=on_site, found_unknown=unknown,
        known=np.where(doable, here, away),
        known_unknown=unknown if case.channel == "site" else leave + unknown,
    )


def proof_minutes(case: Case, tables: Tables) -> Array:
    """Return, by cause, the minutes of the cheapest check that proves its repair in the channel of the case."""
    knowledge = tables.knowledge
    cheapest = {name: _cheapest(knowledge, name, case, tables) for name in knowledge.verifications}
    return np.array([_of(cheapest, knowledge.causes[c].repair.verify) for c in tables.causes], dtype=np.float64)


def _of(cheapest: Mapping[str, float], verification: str | None) -> float:
    return cheapest.get(verification or "", NO_PROOF_HERE)


def _cheapest(knowledge: Knowledge, verification: str, case: Case, tables: Tables) -> float:
    checks = (knowledge.checks[c] for c in knowledge.verifications[verification].checks if c in knowledge.checks)
    minutes = [m for check in checks if (m := check_minutes(check, case, tables)) is not None]
    return min(minutes, default=NO_PROOF_HERE)
