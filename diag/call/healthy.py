"""Healthy readings: what this machine showed when it was right, kept with its profile as a reference.

They stand among the book values as `healthy.CHECK` or `healthy.CHECK.ROW`, with the unit they were read in; a
later reading of the same check is compared with them before any book or generic value.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from diag.call.by_row import values_by_row
from diag.call.desk import CallDesk
from diag.call.proof import proofs_of
from diag.call.readings import HEALTHY
from diag.errors import UsageError
from diag.knowledge.model import Check
from diag.record.graph import Event
from diag.record.kinds import Answer


def healthy_readings(call: CallDesk) -> dict[str, Any]:
    """Return {name: measured value} of the readings taken since the last repair whose proof was accepted."""
    state = call.state
    proved = proofs_of(call)
    since = [r.epoch + 1 for r in state.repairs if r.event in proved and proved[r.event].stands]
    if not since:
        return {}
    found: dict[str, Any] = {}
    for answer in state.answers:
        if answer.epoch >= since[-1] and answer.status == "given":
            found.update(_values(answer, call.engine.knowledge.questions.get(answer.check)))
    return found


def _values(answer: Answer, check: Check | None) -> Iterator[tuple[str, Any]]:
    name = f"{HEALTHY}.{answer.check}"
    if isinstance(answer.value, Mapping) and "unit" in answer.value:
        yield name, dict(answer.value)
    for row, value in values_by_row(answer, check).items():
        if isinstance(value, Mapping) and "unit" in value:
            yield f"{name}.{row}", dict(value)


def keep_healthy(call: CallDesk) -> Event:
    """Record the healthy readings with the machine. Raises UsageError when there are none yet."""
    readings = healthy_readings(call)
    if not readings:
        remedy = "Measure again after the repair and accept its proof first."
        raise UsageError("There are no readings of the machine as it should be yet.", "healthy readings", remedy)
    return call.set_machine({"book": readings})
