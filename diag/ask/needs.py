"""What a check's reading cannot be judged without, asked once when it first matters, and where it is kept."""

from __future__ import annotations

from dataclasses import dataclass

from diag import figures
from diag.analyses.context import CONTEXT
from diag.ask.intake import situation_field
from diag.call.desk import CallDesk
from diag.call.readings import context
from diag.knowledge.model import Check
from diag.record.graph import Event
from diag.text import one_line
from diag.units import QUANTITIES

SITUATION = {"target_rate": "target", "target_spacing": "target", "speed": "speed", "crop": "crop"}
COUNTED = ("rows", "holes")


@dataclass(frozen=True)
class Need:
    """One value that is missing: its context name, what it is, and the quantity it is given in ("" = a word)."""

    name: str
    asks: str
    quantity: str


def missing(call: CallDesk, check: Check) -> tuple[Need, ...]:
    """Return what the check needs and the call does not hold yet."""
    if not check.needs:
        return ()
    known = context(call.engine.knowledge, check, call.state)
    needs = []
    for name in check.needs:
        if name in known:
            continue
        given = CONTEXT.get(name)
        quantity = given.quantity if given else ""
        quantity = check.takes.quantity or "" if quantity == "reading" else quantity
        needs.append(Need(name, given.meaning if given else name.replace("_", " "), quantity))
    return tuple(needs)


def give(call: CallDesk, need: Need, text: str) -> Event:
    """Record a missing value as typed. Raises UnitError or UsageError with place and remedy."""
    said = one_line(text)
    if need.name in SITUATION:
        return call.set_situation(situation_field(call, SITUATION[need.name], said))
    if need.name in COUNTED:
        return call.set_machine({need.name: figures.whole(said, need.asks, 1, 1000)})
    value: dict[str, str] | str = said
    if need.quantity in QUANTITIES:
        default = QUANTITIES[need.quantity].us if QUANTITIES[need.quantity].dimension == "count" else None
        value = figures.measured(said, need.quantity, default_unit=default).as_json()
    if need.name == "row_width":
        return call.set_machine({"row_width": value})
    return call.set_machine({"book": {need.name: value}})
