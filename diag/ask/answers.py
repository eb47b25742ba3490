"""One parser per kind of answer: from what is typed to what is recorded.

choice      a number of the list, the outcome's id or its words
yes_no      y, yes, n, no
several     asked as a form of ticks, each item an answer of its own
number      18.5 inH2O
numbers     by row "7: 18.5, 8: 18, 9: -" or "from 5: 18.5 18 - 17.5 inH2O"; by point "31 33 29"
spacings    6.5 7 6.25 12.5 in        positions   0 6.5 13.25 26 in
count       17 of 20, 17/20 or 17     counts      slow 3/100, normal 9/100
log         every 10 s: 18 18.2 17.9 inH2O, or 0 18, 10 18.2, ... inH2O
text        anything
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from itertools import pairwise
from typing import Any

from diag import figures
from diag.call.desk import CallDesk
from diag.errors import DiagError, MeasureError, UnitError, UsageError
from diag.figures import Asked
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.record.state import State
from diag.text import clean, one_line
from diag.units import QUANTITIES, UNITS, Measured, is_usual

Body = dict[str, Any]
EXAMPLES: Mapping[str, tuple[float, float, float]] = {
    "air_pressure": (5, 5.5, 4), "count": (30, 28, 31), "current": (2.1, 2, 6.8), "depth": (2, 1.75, 2.25),
    "disc_speed": (40, 41, 39), "fan_speed": (4500, 4600, 4400), "flow": (3, 2.5, 4), "leak_flow": (2, 0, 5),
    "length": (4, 4.5, 3), "oil_pressure": (60, 55, 65), "percent": (99, 98, 92), "position": (0, 6.5, 13.25),
    "pressure": (35, 36, 34), "rate": (32000, 31000, 33000), "resistance": (1.2, 1.1, 1.3), "rotation": (540, 535, 545),
    "row_width": (30, 29.5, 30.5), "sample_mass": (250, 240, 260), "size": (0.5, 0.25, 0.75), "spacing": (6.5, 7, 6.25),
    "speed": (5, 5.2, 4.8), "temperature": (150, 140, 160), "torque": (1.2, 1.1, 2.8), "vacuum": (18.5, 18, 17.5),
    "voltage": (12.4, 12.3, 11.6),
}
"""Figures to show how a reading is typed, in the unit that it has in inches and pounds; no limits of anything."""
CALLED = {"good", "close", "gap"}
"""Labels of spacings called out one by one."""


def unit_hint(check: Check, system: str = "us") -> str:
    """Return the unit a value is shown in ("" when there is none)."""
    quantity = QUANTITIES.get(check.takes.quantity or "")
    if quantity is None:
        return ""
    return quantity.us if system == "us" else quantity.metric


def gauge_unit(knowledge: Knowledge, state: State, check: Check, system: str) -> str | None:
    """Return the unit meant where none is typed: of the call's last reading of its kind, the book's, the settings'."""
    wanted = check.takes.quantity
    if wanted is None:
        return None
    for answer in reversed(state.answers):
        asked = knowledge.questions.get(answer.check)
        if asked is not None and asked.takes.quantity == wanted:
            found = next(_units((answer.value, answer.spacings, answer.positions, answer.log,
                                 *(answer.values or {}).values())), None)
            if found:
                return found
    entries = knowledge.book
    book = [v for name, v in state.machine.book.items() if name in entries and entries[name].quantity == wanted]
    return next(_units(book), None) or unit_hint(check, system) or None


def _units(values: Iterable[object]) -> Iterator[str]:
    return (str(v["unit"]) for v in values if isinstance(v, Mapping) and v.get("unit") in UNITS)


def take_answer(call: CallDesk, check: Check, text: str, system: str = "us") -> Body:
    """Return what was typed in a call as it is recorded. Raises UnitError or UsageError."""
    unit = gauge_unit(call.engine.knowledge, call.state, check, system)
    return parse_answer(check, text, unit=unit, rows=call.state.machine.rows)


def parse_answer(check: Check, text: str, *, unit: str | None = None, rows: int | None = None) -> Body:
    """Return the reading or outcome to record. Raises UnitError or UsageError with place and remedy.

    `unit`: the unit of the gauge or tape, used where none is typed. `rows`: rows of the machine.
    """
    said = clean(text).strip()
    if not said:
        raise UsageError("Nothing was typed.", check.asks, "Answer, or say not sure.")
    kind = check.takes.kind
    if kind in ("choice", "yes_no"):
        return {"outcome": choose(check, said)}
    parsers = {"number": _values, "numbers": _values, "spacings": _values, "positions": _values, "log": _log}
    try:
        if kind == "count":
            return {"value": figures.count(said)}
        if kind == "counts":
            return {"values": _tally(check, said) or figures.counts(said, check.takes.labels)}
        return parsers[kind](check, said, unit, rows) if kind in parsers else {"said": said}
    except DiagError as error:
        raise type(error)(error.what, error.where or check.asks, error.remedy) from None


def choose(check: Check, said: str) -> str:
    """Return the outcome meant by a number, an id or words."""
    names = list(check.outcomes)
    tidy = one_line(said).lower()
    if check.takes.kind == "yes_no":
        word = {"y": "yes", "yes": "yes", "1": "yes", "n": "no", "no": "no", "2": "no"}.get(tidy)
        if word:
            return word
    number = figures.number_in(tidy, len(names))
    if number is not None:
        return names[number - 1]
    exact = [n for n in names if tidy in (n, n.replace("_", " "), check.outcomes[n].says.lower())]
    near = exact or [n for n in names if n.startswith(tidy.replace(" ", "_"))]
    near = near or [n for n in names if check.outcomes[n].says.lower().startswith(tidy)]
    if len(near) == 1:
        return near[0]
    listed = "; ".join(f"{i} {check.outcomes[n].says}" for i, n in enumerate(names, 1))
    raise UsageError(f"{said[:40]!r} is not one of the answers.", check.asks, f"Type a number: {listed}.")


def _asked(check: Check, unit: str | None, rows: int | None) -> Asked:
    """Return what the check's figures are asked as."""
    takes = check.takes
    quantity = takes.quantity or ("spacing" if takes.kind in ("spacings", "positions") else "count")
    if takes.kind == "number":
        return Asked(quantity, unit)
    if takes.per == "row":
        return Asked(quantity, unit, "rows", rows, least=takes.least or 1)
    if takes.labels and takes.kind == "numbers":
        return Asked(quantity, unit, "labels", labels=takes.labels, least=takes.least or 1)
    return Asked(quantity, unit, "list", least=takes.least or 1 if takes.kind == "numbers" else 1)


def _values(check: Check, said: str, unit: str | None, rows: int | None) -> Body:
    asked = _asked(check, unit, rows)
    found = figures.read(said, asked).sure()
    kind, values = check.takes.kind, found.values
    if found.assumed:
        _sure_of_unit(asked.quantity, values.values())
    if kind == "number":
        return {"value": next(iter(values.values())).as_json()}
    if kind == "numbers":
        return {"values": {place: value.as_json() for place, value in values.items()}}
    if len(values) < len(found.items):
        raise UsageError("A dash stands among the values.", check.asks, "Measure that one too, or end before it.")
    series = _series(kind, list(values.values()))
    if len(values) < (check.takes.least or 2):
        told = f"{len(values)} value{'s' * (len(values) != 1)}; at least {check.takes.least or 2} are needed."
        raise UsageError(told, check.asks,
                         "Go on along the row.")
    return {kind: series}


def _sure_of_unit(quantity: str, values: Iterable[Measured]) -> None:
    """Refuse a value without a unit that is unusual in the unit it would be taken in. Raises UnitError."""
    for value in values:
        if value.number and not is_usual(value, quantity):
            raise UnitError(f"No unit was typed, and {value} is unusual.", "", "Type the unit printed on the gauge.")


def _series(kind: str, values: list[Measured]) -> Body:
    unit = values[0].unit
    told = [v.value if v.unit == unit else f"{v.to(unit):.6f}".rstrip("0").rstrip(".") for v in values]
    for i, (a, b) in enumerate(pairwise(told), 2):
        if kind == "positions" and float(b) <= float(a):
            raise UsageError(f"Position {i} ({b}) is not beyond the one before ({a}).", "",
                             "Read the tape on from there again.")
    return {"unit": unit, "values": told}


def _tally(check: Check, said: str) -> dict[str, Any]:
    """Return spacings called out by one key each ("ggcg lggg"), {} when it is something else."""
    from diag.analyses.dictation import tally_of

    if set(check.takes.labels) != CALLED or any(c.isdigit() for c in said):
        return {}
    try:
        counts = tally_of(said).counts()
    except MeasureError as error:
        raise UsageError(error.what, error.where, error.remedy) from None
    return {label: {"count": k, "of": n} for label, (k, n) in counts.items()}


def _log(check: Check, said: str, unit: str | None, rows: int | None) -> Body:
    time_unit, points = figures.log(said, Asked(check.takes.quantity or "count", unit))
    if len(points) < 3:
        raise UsageError("A log needs at least three readings.", check.asks, "Write every 10 s: 18 18.2 17.9 inH2O.")
    series = _series("log", [value for _, value in points])
    return {"log": {"time_unit": time_unit, "unit": series["unit"],
                    "points": [[time, value] for (time, _), value in zip(points, series["values"], strict=True)]}}


def _shown(check: Check, unit: str) -> list[str]:
    """Return figures of the size that the reading has, in the unit shown."""
    quantity = QUANTITIES[check.takes.quantity or "count"]
    found = [Measured(f"{value:g}", quantity.us) for value in EXAMPLES[quantity.name]]
    return [value.value if value.unit == unit or not unit else f"{float(f'{value.to(unit):.2g}'):g}" for value in found]


def _numbers_form(check: Check, unit: str) -> str:
    first, second, third = _shown(check, unit)
    if check.takes.per == "row":
        return f"from 1: {first} {second} - {third} {unit}".rstrip()
    if check.takes.labels:
        named = ", ".join(label.replace("_", " ") for label in check.takes.labels)
        return f"{named}, in this order, e.g. {first} {third} {unit}".rstrip()
    return f"{first} {second} {third} {unit}".rstrip()


def answer_form(check: Check, system: str = "us") -> str:
    """Return one line: how to type the answer."""
    unit = unit_hint(check, system)
    if unit == "count":
        unit = ""
    if check.takes.kind == "numbers":
        return _numbers_form(check, unit)
    if check.takes.kind == "number":
        return f"a number with unit, e.g. {_shown(check, unit)[0]} {unit}".rstrip()
    forms: Mapping[str, str] = {
        "choice": "a number of the list", "yes_no": "y or n", "several": 'numbers of what applies, or "none of them"',
        "spacings": f"6.5 7 6.25 {unit}", "positions": f"0 6.5 13.25 {unit}", "count": "17 of 20",
        "counts": "one key each: g good, c close, l gap" if set(check.takes.labels) == CALLED
        else ", ".join(f"{label.replace('_', ' ')} 3/100" for label in check.takes.labels),
        "log": f"every 10 s: 18 18.2 17.9 {unit}", "text": "anything",
    }
    return forms[check.takes.kind]
