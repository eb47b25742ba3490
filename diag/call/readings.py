"""From an answer as stored to outcome weights: computed anew from the raw reading each time.

Only raw readings are stored. A measured check names its analysis; the results are compared with limits of
the knowledge (outranked by the machine's own book value), each outcome taking the share of the result's
distribution that falls to it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise, product
from typing import Any

from diag.analyses.catalogue import CONTEXT, Analysed, Context, Reading, Result, analyse_all
from diag.analyses.model import ContextValue
from diag.analyses.weights import weight_below
from diag.errors import DiagError, MeasureError, UnitError
from diag.figures import AGAIN
from diag.figures.rows import expand, row_of
from diag.knowledge.base import Knowledge
from diag.knowledge.condition import When
from diag.knowledge.limits import limits_for
from diag.knowledge.model import Check
from diag.knowledge.vocabulary import Bound, InlineLimit, Limit
from diag.reason.axes import fit
from diag.record.kinds import Answer
from diag.record.state import State
from diag.units import Measured

HEALTHY = "healthy"
"""First part of the name of a reading kept from when the machine was right."""


@dataclass(frozen=True)
class Evaluated:
    """What an answer means: outcome weights in the order of the check's outcomes, or why there are none."""

    outcome: str | None
    weights: tuple[float, ...]
    analysed: Analysed | None = None
    results: Mapping[str, float | str] = field(default_factory=dict)
    reason: str = ""
    """Why there is no outcome: too few values, a missing setting, an impossible value."""
    basis: str = ""
    """What the reading was compared with: "book", "generic" or ""."""


def evaluate(knowledge: Knowledge, check: Check, answer: Answer, state: State) -> Evaluated:
    """Return the outcome weights of an answer; a reading that cannot carry a verdict gives none."""
    outcomes = tuple(check.outcomes)
    flat = tuple(1.0 for _ in outcomes)
    if answer.status != "given":
        return Evaluated(None, flat, reason=answer.status.replace("_", " "))
    if answer.outcome is not None:
        if answer.outcome not in check.outcomes:
            return Evaluated(None, flat, reason=f"the outcome {answer.outcome} is no longer known")
        return Evaluated(answer.outcome, tuple(1.0 if o == answer.outcome else 0.0 for o in outcomes))
    if not check.measured or not check.compute:
        return Evaluated(None, flat, reason="no outcome was given")
    try:
        reading = reading_of(check, answer)
        given = context(knowledge, check, state)
        missing = [CONTEXT[name].meaning for name in check.needs if name not in given]
        if missing:
            return Evaluated(None, flat, reason=f"not known: {', '.join(missing)}")
        analysed = analyse_all(check.compute, reading, given)
    except DiagError as error:
        return Evaluated(None, flat, reason=f"{error.what} {error.remedy}".strip())
    results = {name: r.value for name, r in analysed.results.items()}
    if not analysed.enough:
        return Evaluated(None, flat, analysed, results, reason=analysed.reason)
    limits = _Limits(knowledge, state)
    weights = outcome_weights(check, analysed, limits)
    best = max(range(len(outcomes)), key=lambda i: (round(weights[i], 9), -i))
    return Evaluated(outcomes[best], weights, analysed, results, reason="", basis=limits.basis())


# --- what was read --------------------------------------------------------------------------------


def reading_of(check: Check, answer: Answer) -> Reading:
    """Return the raw values in SI. Raises UnitError for a unit that does not fit."""
    kind = check.takes.kind
    if answer.log is not None:
        points = answer.log["points"]
        times = tuple(_si(t, answer.log["time_unit"]) for t, _ in points)
        return Reading(kind, numbers=tuple(_si(v, answer.log["unit"]) for _, v in points), times=times)
    series = answer.spacings or answer.positions
    if series is not None:
        name = "spacings" if answer.spacings is not None else "positions"
        return Reading(name, numbers=tuple(_si(v, series["unit"]) for v in series["values"]))
    if answer.values is not None:
        return _values(check, answer.values)
    return _single(kind, answer.value)


def _si(value: str, unit: str) -> float:
    return Measured(value, unit).si()


def _number(value: Any) -> float:
    if isinstance(value, Mapping) and "count" in value:
        raise MeasureError(f"{value['count']} of {value['of']} is a count.", "", "A value with its unit is asked for.")
    return float(value) if isinstance(value, int) else _si(value["value"], value["unit"])


def _counted(place: str, value: Any) -> tuple[int, int]:
    if isinstance(value, Mapping) and "count" not in value:
        raise MeasureError(f"{place}: {value['value']} {value['unit']} is no count.", "", "Counts are asked for.")
    return (value["count"], value["of"]) if isinstance(value, Mapping) else (value, 0)


def _single(kind: str, value: Any) -> Reading:
    if isinstance(value, Mapping) and "count" in value:
        return Reading(kind, k=value["count"], n=value["of"])
    if kind == "count" and isinstance(value, int):
        return Reading(kind, k=value)
    if value is None:
        raise UnitError("No value was given.", "", "Type the reading with its unit.")
    return Reading(kind, numbers=(_number(value),))


def _values(check: Check, values: Mapping[str, Any]) -> Reading:
    kind = check.takes.kind
    asked = {label: number for number, label in enumerate(check.takes.labels)}
    keys = sorted(values, key=lambda k: (asked.get(k, len(asked)), _place(k)))
    if kind == "counts":
        return Reading(kind, counts={k: _counted(k, values[k]) for k in keys})
    numbers = tuple(_number(values[k]) for k in keys)
    if check.takes.per == "row":
        first = next((row for k in keys if (row := row_of(k))), 1)
        return Reading(kind, numbers=numbers, rows=tuple(first if k == AGAIN else _row(k) for k in keys))
    labelled = not all(row_of(k) for k in keys)
    return Reading(kind, numbers=numbers, labels=tuple(keys) if labelled else ())


def _place(key: str) -> tuple[int, int, str]:
    return (1, 0, key) if key == AGAIN else (0, row_of(key) or 0, key)


def _row(place: str) -> int:
    row = row_of(place)
    if row is None:
        raise MeasureError(f'"{place}" is no row.', "", "Values are asked for row by row.")
    return row


# --- what it is compared with -----------------------------------------------------------------------


def context(knowledge: Knowledge, check: Check, state: State) -> Context:
    """Return the settings and machine figures the analyses may use, SI or words."""
    found: dict[str, ContextValue] = dict(_machine(state))
    if check.takes.quantity:
        found["quantity"] = check.takes.quantity
    crop, delivery = state.situation.crop, state.machine.axes.get("delivery")
    if crop:
        found["crop"] = crop
    if isinstance(delivery, str) and delivery != "unknown":
        found["delivery"] = "belt" if delivery.endswith("belt") else "tube"
    for name, value in state.machine.book.items():
        if isinstance(value, Mapping):
            found.setdefault(name, _si(value["value"], value["unit"]))
            entry = knowledge.book.get(name)
            if "book" in check.needs and entry and entry.quantity == check.takes.quantity:
                found.setdefault("book", found[name])
    found.update(_healthy(check, state))
    if "vacuum" in found:
        found.setdefault("vacuum_set", found["vacuum"])
    if "fan_speed" in found:
        found.setdefault("fan_speed_set", found["fan_speed"])
    limits = _Limits(knowledge, state)
    for limit in limits_for(knowledge.limits.values(), check.takes.quantity):
        found[limit.context or ""] = limits.value(limit)
    return found


def _healthy(check: Check, state: State) -> Iterable[tuple[str, ContextValue]]:
    """Yield the same readings of this machine when it was right: one value, or a value by row."""
    name = f"{HEALTHY}.{check.id}"
    by_row = {}
    for key, value in state.machine.book.items():
        if not isinstance(value, Mapping):
            continue
        if key == name:
            yield "healthy", _si(value["value"], value["unit"])
        elif key.startswith(f"{name}."):
            by_row[int(key.rpartition(".")[2])] = _si(value["value"], value["unit"])
    if by_row:
        yield "healthy_rows", by_row


def _machine(state: State) -> Iterable[tuple[str, ContextValue]]:
    machine, situation = state.machine, state.situation
    if machine.rows:
        yield "rows", float(machine.rows)
    if machine.holes:
        yield "holes", float(machine.holes)
    width = _stored(machine.row_width)
    if width:
        yield "row_width", width
    speed = _stored(situation.speed)
    if speed:
        yield "speed", speed
    if machine.sections:
        parts = {n: expand(r, machine.rows) for n, r in machine.sections.items() if r != "all"}
        yield "sections", parts
    target = situation.target
    if target:
        dimension = Measured(target["value"], target["unit"]).quantity
        value = _stored(target) or 0.0
        if dimension == "length":
            yield "target_spacing", value
        elif value > 0:
            yield "target_rate", value
            if width:
                yield "target_spacing", 1.0 / (value * width)


def _stored(value: Mapping[str, Any] | None) -> float | None:
    return _si(value["value"], value["unit"]) if value else None


class _Limits:
    """Limits as they hold for this machine: book value first, then the variant that fits, then the general one."""

    def __init__(self, knowledge: Knowledge, state: State) -> None:
        self._knowledge, self._state = knowledge, state
        self._axes = {k: v for k, v in state.machine.axes.items() if isinstance(v, str)}
        if state.situation.crop:
            self._axes["crop"] = state.situation.crop
        self._used: set[str] = set()

    def bound(self, bound: Bound) -> float:
        """Return the SI value of a bound in an outcome's condition."""
        if isinstance(bound, InlineLimit):
            self._used.add("generic")
            return bound.si
        return self.value(self._knowledge.limits[bound])

    def value(self, limit: Limit) -> float:
        """Return the SI value of a named limit."""
        book = self._state.machine.book.get(limit.book or "")
        if isinstance(book, Mapping):
            self._used.add("book")
            return _si(book["value"], book["unit"])
        self._used.add("generic")
        for variant in limit.variants:
            if fit(variant.applies, self._axes, self._knowledge) == 1.0:
                return variant.si
        return limit.si

    def basis(self) -> str:
        """Return what was compared with: the book, generic values, or nothing."""
        return "book" if self._used == {"book"} else "generic" if self._used else ""


# --- outcomes ---------------------------------------------------------------------------------------


def outcome_weights(check: Check, analysed: Analysed, limits: _Limits) -> tuple[float, ...]:
    """Return the share of the results' distribution that falls to each outcome; they sum to 1.

    Each result is cut at every limit it is compared with; the outcomes are tried in written order in every
    cell. Results are taken as independent.
    """
    tests = [leaf for o in check.outcomes.values() if o.when for leaf in o.when.leaves()]
    bounds: dict[str, set[float]] = {}
    for leaf in tests:
        bounds.setdefault(leaf.result or "", set()).update(limits.bound(bound) for bound in leaf.bounds)
    names = sorted({leaf.result or "" for leaf in tests})
    cells = [_cells(analysed.results.get(name), sorted(bounds.get(name, ()))) for name in names]
    totals = dict.fromkeys(check.outcomes, 0.0)
    for combination in product(*cells):
        values = {name: value for name, (value, _) in zip(names, combination, strict=True)}
        weight = math.prod(share for _, share in combination)
        totals[_first_outcome(check, values, limits)] += weight
    summed = sum(totals.values())
    return tuple(v / summed for v in totals.values())


def _cells(result: Result | None, bounds: Sequence[float]) -> list[tuple[float | str | None, float]]:
    """Return (value, weight) for each piece of a result's distribution."""
    if result is None:
        return [(None, 1.0)]
    if isinstance(result.value, str):
        if result.chances:
            return [(word, share) for word, share in sorted(result.chances.items()) if share > 0]
        return [(result.value, 1.0)]
    exact = not result.error and not (result.k is not None and result.n)
    if exact or not bounds:
        return [(result.value, 1.0)]
    below = [weight_below(result, b) for b in bounds]
    edges = [0.0, *below, 1.0]
    inside = [(a + b) / 2.0 for a, b in pairwise(bounds)]
    nudge = 1e-9 + 1e-6 * max(abs(bounds[0]), abs(bounds[-1]))
    values = [bounds[0] - nudge, *inside, bounds[-1] + nudge]
    return [(v, edges[i + 1] - edges[i]) for i, v in enumerate(values) if edges[i + 1] > edges[i]]


def _first_outcome(check: Check, values: Mapping[str, float | str | None], limits: _Limits) -> str:
    for name, outcome in check.outcomes.items():
        if outcome.otherwise or (outcome.when and outcome.when.holds(lambda leaf: _true(leaf, values, limits))):
            return name
    raise AssertionError("the loader demands an outcome that is always true")


def _true(test: When, values: Mapping[str, float | str | None], limits: _Limits) -> bool:
    """Return whether one result passes its test; a result that is not there passes none."""
    value = values.get(test.result or "")
    if value is None:
        return False
    if test.is_:
        return value in test.is_ if isinstance(value, str) else any((value > 0.5) == (w == "true") for w in test.is_)
    if isinstance(value, str):
        return False
    bounds = [limits.bound(bound) for bound in test.bounds]
    if test.between:
        return bounds[0] <= value <= bounds[1]
    return value < bounds[0] if test.below is not None else value > bounds[0]
