"""Figures told where none are asked for: the readings of this machine that they fit, best first."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from diag.ask.answers import parse_answer, take_answer
from diag.ask.intake import situation_field
from diag.ask.preview import verdict_of
from diag.ask.turn import Turn
from diag.call.desk import CallDesk
from diag.errors import DiagError
from diag.figures import reading_words
from diag.knowledge.model import Check
from diag.say import present
from diag.say.steps import body_words
from diag.unit_table import QUANTITIES
from diag.units import Measured, is_usual

MOST = 5
"""Most readings worth choosing from."""
CARD: Mapping[str, str] = {"speed": "Ground speed, on the card", "target": "Seeds wanted, on the card"}
"""Fields of the card that hold a figure."""
SERIES = "every"
"""The word by which readings one after the other in time are told from readings by row."""


@dataclass(frozen=True)
class Fitting:
    """Where figures would be recorded, as what, what they would mean there, and how it is recorded."""

    where: str
    read: str
    means: tuple[str, ...]
    record: Callable[[CallDesk], object]

    @property
    def line(self) -> str:
        """Where the figures would be recorded, and as what."""
        return f"{self.where}: {self.read}"


def fitting(call: CallDesk, turn: Turn, said: str, units: str, details: Mapping[str, Any]) -> list[Fitting]:
    """Return what figures fit, best first: of the same look, then offered now, then the quickest.

    Figures without a unit are tried only at readings of the same look and those offered now: else they could be
    anything. `details`: rows, observer, when, recorded with a reading.
    """
    look = turn.check.look if turn.check is not None else None
    offered = {o.check for o in call.offers()}
    found = []
    for key, check in call.engine.knowledge.questions.items():
        if not check.measured or not present.applies(call, key):
            continue
        same = look is not None and check.look == look
        body = _read(call, check, said, units if same or key in offered else None)
        if body is not None:
            place = (not same, key not in offered, not _in_its_unit(check, body), check.minutes.on_site(1) or 0.0, key)
            found.append((place, _at(call, check, body, details)))
    of_look = [fit for place, fit in found if not place[0]]
    if len(of_look) == 1:
        return of_look
    return [*_on_card(call, said), *(fit for _, fit in sorted(found, key=lambda f: f[0]))][:MOST]


def _at(call: CallDesk, check: Check, body: Mapping[str, Any], details: Mapping[str, Any]) -> Fitting:
    means = verdict_of(call.engine.knowledge, call.state, check, body)
    return Fitting(check.asks, reading_words(body), means, lambda call: call.answer(check.id, **body, **details))


def _on_card(call: CallDesk, said: str) -> Iterator[Fitting]:
    """Yield the fields of the card that a figure with its unit fits."""
    for name, where in CARD.items():
        try:
            body = situation_field(call, name, said)
        except DiagError:
            continue
        if name == "target" and Measured.from_json(body[name]).quantity == "length":
            continue  # a length may be anything
        read = body_words(call, body)
        yield Fitting(where, read, (), lambda call, body=body: call.set_situation(body))  # type: ignore[misc]


def _read(call: CallDesk, check: Check, said: str, units: str | None) -> Mapping[str, Any] | None:
    """Return what would be recorded; None where the figures do not fit, or are of no size that is usual there.

    `units`: of the settings, for figures without a unit; None where they need theirs.
    """
    takes = check.takes
    unnamed = takes.quantity is None or QUANTITIES[takes.quantity].dimension == "count"
    if (units is None and unnamed) or (takes.kind == "log" and SERIES not in said.lower()):
        return None
    rows = call.state.machine.rows
    try:
        body = take_answer(call, check, said, units) if units else parse_answer(check, said, rows=rows)
    except DiagError:
        return None
    usual = takes.quantity is None or all(is_usual(value, takes.quantity) for value in _values(body))
    return body if usual else None


def _values(body: Mapping[str, Any]) -> list[Measured]:
    found = (body.get("value"), *(body.get("values") or {}).values())
    return [Measured.from_json(v) for v in found if isinstance(v, Mapping) and "unit" in v]


def _in_its_unit(check: Check, body: Mapping[str, Any]) -> bool:
    """Tell whether the figures have the unit that this reading is usually taken in."""
    quantity = QUANTITIES.get(check.takes.quantity or "")
    return quantity is not None and {v.unit for v in _values(body)} <= {quantity.us, quantity.metric}
