"""How well answers hang together: which one fits the others least, and whether any known cause explains them all.

Both compare the answers together with each of them alone. Where one cause explains them, together they are likelier
than one by one; where none does, less.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np

from diag.reason.case import Instance
from diag.reason.evidence import Evidence
from diag.reason.judgement import Conflict
from diag.reason.worlds import EpochEvidence, Worlds

CONFLICT_BITS = 1.0


def conflicts_in(
    looks: Mapping[str, Worlds], instances: Sequence[Instance], before: Worlds, looked: Worlds, *, evidence: Evidence
) -> tuple[Conflict, ...]:
    """Return the answer that fits the others of one epoch least, with the bits by which they contradict.

    `before`: log weights at the start of the epoch; `looked`: with all its looks.
    """
    if len(looks) < 2:
        return ()
    base = before.total
    together = looked.total - base
    alone = {name: evidence.alone(before, w) - base for name, w in looks.items()}
    bits = (sum(alone.values()) - together) / math.log(2)
    if bits <= CONFLICT_BITS:
        return ()
    surprises = {name: (_less(looked, w) - looked.total) / math.log(2) for name, w in looks.items()}
    name = min(surprises, key=lambda n: (-round(surprises[n], 6), n))
    culprit = next(i for i in instances if evidence.look_of(i) == name and i.given)
    events = tuple(e for i in instances if evidence.look_of(i) == name for e in i.events)
    return (Conflict(culprit.check, events, round(bits, 2)),)


def unexplained_bits(start: Worlds, epochs: Sequence[EpochEvidence], now: Worlds) -> float:
    """Return how much likelier the whole call is when every look has a cause of its own than by the known worlds.

    Above 0 an unknown cause that shows whatever the causes of this complaint show explains it better. All epochs
    count, so a repair in vain does. `start`: before any answer; `now`: with all of them, repairs between.
    """
    by_cause = np.exp(start.one - start.one.max())
    by_cause /= by_cause.sum()
    alone = sum(math.log(float(by_cause @ np.exp(look.one))) for e in epochs for look in e.looks.values())
    return (alone - now.total + start.total) / math.log(2)


def _less(whole: Worlds, part: Worlds) -> float:
    """Return the log of the summed weights without one look (its logs are finite, so they can be taken off)."""
    return whole.with_scale(float((whole.scaled / part.scaled).sum())) - part.top
