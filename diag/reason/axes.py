"""How far an entry applies to this machine, given which axes are known."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

from diag.knowledge.base import Knowledge
from diag.knowledge.machines import Applies, Way, narrowed
from diag.reason.case import UNKNOWN


def fit(applies: Applies, known: Mapping[str, str], knowledge: Knowledge) -> float:
    """Return the share (0 to 1) of machines like this one that the entry applies to.

    Known axes give 0 or 1; an unknown axis gives the share of machines with a fitting value. Ways that overlap
    count once (inclusion and exclusion).
    """
    total, sign = 0.0, 1.0
    for size in range(1, len(applies.ways) + 1):
        for some in combinations(applies.ways, size):
            way = narrowed(*some)
            total += sign * _share(way, known, knowledge) if way is not None else 0.0
        sign = -sign
    return total


def _share(way: Way, known: Mapping[str, str], knowledge: Knowledge) -> float:
    result = 1.0
    for axis, values in way.items():
        value = known.get(axis, UNKNOWN)
        if value == UNKNOWN:
            result *= sum(v.share for v in knowledge.axes[axis].values if v.name in values)
        elif value not in values:
            return 0.0
    return result


def open_axes(applies: Applies, known: Mapping[str, str]) -> tuple[str, ...]:
    """Return the axes that must be asked before it is certain that the entry applies."""
    names = dict.fromkeys(axis for way in applies.ways for axis in way)
    return tuple(a for a in names if known.get(a, UNKNOWN) == UNKNOWN)
