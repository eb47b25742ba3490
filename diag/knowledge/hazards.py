"""Which hazards a check meets: its own, those of its machine states, and all that come along with them."""

from __future__ import annotations

from collections.abc import Iterable

from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check


def with_wants(knowledge: Knowledge, hazards: Iterable[str]) -> tuple[str, ...]:
    """Return hazards with all that come along with them, each once."""
    found: dict[str, None] = {}
    waiting = list(hazards)
    while waiting:
        name = waiting.pop(0)
        if name not in found:
            found[name] = None
            hazard = knowledge.hazards.get(name)
            waiting += hazard.wants if hazard else ()
    return tuple(found)


def hazards_of_check(knowledge: Knowledge, check: Check) -> tuple[str, ...]:
    """Return the hazards written in a check and those that the machine states of its steps bring."""
    brought = (h for step in check.steps for h in knowledge.states[step.state].brings)
    return tuple(dict.fromkeys((*check.all_hazards, *brought)))
