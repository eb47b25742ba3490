"""Whether entries bound to machine axes can meet on one machine."""

from __future__ import annotations

from itertools import product

from diag.knowledge.machines import Applies, narrowed


def can_meet(*bound: Applies) -> bool:
    """Return whether some machine fits all of these."""
    return any(narrowed(*ways) is not None for ways in product(*(applies.ways for applies in bound)))
