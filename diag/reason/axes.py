"""How far an entry applies to this machine, given which axes are known."""

from __future__ import annotations

from collections.abc import Mapping

from diag.knowledge.base import Knowledge
from diag.knowledge.vocabulary import Applies
from diag.reason.case import UNKNOWN


def fit(applies: Applies, known: Mapping[str, str], knowledge: Knowledge) -> float:
    """Return the share (0 to 1) of machines like this one that the entry applies to.

    Known axes give 0 or 1; an unknown axis gives the share of machines with a fitting value.
    """
    result = 1.0
    for axis, values in applies.axes.items():
        result *= _one(axis, values, known, knowledge)
    if applies.any:
        misses = 1.0
        for alternative in applies.any:
            chance = 1.0
            for axis, values in alternative.items():
                chance *= _one(axis, values, known, knowledge)
            misses *= 1.0 - chance
        result *= 1.0 - misses
    return result


def _one(axis: str, values: tuple[str, ...], known: Mapping[str, str], knowledge: Knowledge) -> float:
    value = known.get(axis, UNKNOWN)
    if value != UNKNOWN:
        return 1.0 if value in values else 0.0
    return sum(v.share for v in knowledge.axes[axis].values if v.name in values)


def open_axes(applies: Applies, known: Mapping[str, str]) -> tuple[str, ...]:
    """Return the axes that must be asked before it is certain that the entry applies."""
    names = [*applies.axes, *(axis for alternative in applies.any for axis in alternative)]
    return tuple(dict.fromkeys(a for a in names if known.get(a, UNKNOWN) == UNKNOWN))
