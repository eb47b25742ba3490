"""What a check's reading cannot be judged without, asked once when it first matters, and where it is kept."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from diag import figures
from diag.analyses.context import CONTEXT
from diag.ask.intake import situation_field
from diag.call.desk import CallDesk
from diag.call.readings import context
from diag.knowledge.model import Check
from diag.record.graph import Event
from diag.say.steps import body_words
from diag.text import one_line
from diag.units import QUANTITIES

SITUATION = {"target_rate": "target", "target_spacing": "target", "speed": "speed", "crop": "crop"}
COUNTED = ("rows", "holes")
COMPARED = ("book", "vacuum_set", "fan_speed_set", "fan_open")
"""Values that a reading is only held against: without them it can still be judged in words."""


@dataclass(frozen=True)
class Need:
    """One value that is missing: its context name, what it is, and the quantity it is given in ("" = a word)."""

    name: str
    asks: str
    quantity: str

    @property
    def computes(self) -> bool:
        """True where nothing can be worked out without it: when it is not known, the check is dropped."""
        return self.name not in COMPARED

    @property
    def spoken(self) -> str:
        """The question for it, in the words to be said."""
        given = CONTEXT.get(self.name)
        return (given.asks if given else "") or f"{self.asks[:1].upper()}{self.asks[1:]}?"


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


def give(call: CallDesk, need: Need, text: str, units: str = "us") -> Event:
    """Record a missing value as typed. Raises UnitError or UsageError with place and remedy."""
    kind, body = _body(call, need, text, units)
    return call.set_situation(body) if kind == "situation" else call.set_machine(body)


def need_words(call: CallDesk, need: Need, text: str, units: str = "us") -> str:
    """Return what a missing value would be taken as. Raises UnitError or UsageError."""
    return body_words(call, _body(call, need, text, units)[1])


def _body(call: CallDesk, need: Need, text: str, units: str) -> tuple[str, dict[str, Any]]:
    said = one_line(text)
    if need.name in SITUATION:
        return "situation", situation_field(call, SITUATION[need.name], said, units=units)
    if need.name in COUNTED:
        return "machine", {need.name: figures.whole(said, need.asks, 1, 1000)}
    value: dict[str, str] | str = said
    if need.quantity in QUANTITIES:
        known = QUANTITIES[need.quantity]
        default = known.us if units == "us" else known.metric
        value = figures.measured(said, need.quantity, default_unit=default).as_json()
    if need.name == "row_width":
        return "machine", {"row_width": value}
    return "machine", {"book": {need.name: value}}
