"""Simulated calls drawn from the knowledge itself, or from a world unlike it, worked through the real CallDesk.

Faults by frequency and machine, symptoms by likelihood, answers by the outcome tables with the observers'
error rates, some answers unsure. The same seed gives the same calls.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime

import numpy as np

from diag.call.desk import CallDesk, Desk
from diag.knowledge.base import Knowledge
from diag.reason.axes import fit
from diag.reason.feasible import usual_error
from diag.reason.judge import Engine
from diag.reason.tables import Tables
from diag.trial.follow import Answered

UNSURE = {"phone": 0.10, "site": 0.03}
"""Share of answers that are "not sure" (estimate)."""
MOST_SYMPTOMS = 3
AS_KNOWN = "as_known"
WORLDS = (AS_KNOWN, "marks", "frequencies", "wrong_answers", "faint", "foreign")
"""As the knowledge says; chances off by up to twice, frequencies by up to three times; 5 % of answers wrong; half of
the faults half as plain; a fault that the knowledge lacks."""
MARKS_OFF, FREQUENCIES_OFF, WRONG_ANSWERS, FAINT_SHARE = 2.0, 3.0, 0.05, 0.5
START = datetime(2026, 5, 4, 6, 0, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Fault:
    """What is wrong in a simulated call, and on which machine."""

    causes: tuple[str, ...]
    axes: Mapping[str, str]
    symptoms: tuple[str, ...]


def draw_fault(tables: Tables, rng: random.Random, two_share: float = 0.0, world: str = AS_KNOWN) -> Fault:
    """Draw a machine, one or two causes it can have, and the symptoms it is complained of with."""
    knowledge = tables.knowledge
    while True:
        axes = {name: _pick(rng, {v.name: v.share for v in axis.values}) for name, axis in knowledge.axes.items()}
        weights = {
            c: cause.per_mille * fit(cause.applies, axes, knowledge) for c, cause in knowledge.causes.items()
        }
        if world == "frequencies":
            weights = {c: w * FREQUENCIES_OFF ** random.Random(c).uniform(-1, 1) for c, w in weights.items()}
        causes = [_pick(rng, weights)]
        if rng.random() < two_share and not knowledge.causes[causes[0]].no_fault:
            causes += _second(knowledge, causes[0], weights, rng)
        symptoms = _symptoms(tables, causes, rng)
        if symptoms:
            return Fault(tuple(causes), axes, symptoms)


def _second(knowledge: Knowledge, first: str, weights: Mapping[str, float], rng: random.Random) -> list[str]:
    never = set(knowledge.causes[first].never_with) | {first}
    others = {
        c: w
        for c, w in weights.items()
        if w > 0 and c not in never and not knowledge.causes[c].no_fault and first not in knowledge.causes[c].never_with
    }
    return [_pick(rng, others)] if others else []


def _pick(rng: random.Random, weights: Mapping[str, float]) -> str:
    return rng.choices(list(weights), list(weights.values()))[0]


def _symptoms(tables: Tables, causes: Sequence[str], rng: random.Random) -> tuple[str, ...]:
    knowledge = tables.knowledge
    named = []
    for symptom in knowledge.symptoms:
        missed = 1.0
        for cause in causes:
            word = knowledge.causes[cause].symptoms.get(symptom)
            if word:
                missed *= 1.0 - knowledge.likelihoods[word].chance
        if rng.random() < 1.0 - missed:
            named.append((missed, rng.random(), symptom))
    return tuple(s for _, _, s in sorted(named)[:MOST_SYMPTOMS])


class SimulatedMachine:
    """A machine with a drawn fault, in a world that may differ from the knowledge."""

    def __init__(self, tables: Tables, fault: Fault, rng: random.Random, world: str = AS_KNOWN) -> None:
        self._tables, self.fault, self._rng, self._world = tables, fault, rng, world
        self._faint = world == "faint" and rng.random() < FAINT_SHARE

    def answer(self, check: str, channel: str) -> Answered:
        """Return what is told at a check: sometimes nothing, with the errors of whoever answers."""
        if self._rng.random() < UNSURE[channel]:
            return Answered(None, "unsure")
        return Answered(self.said(check, channel), "given")

    def said(self, check: str, channel: str) -> str:
        """Return the outcome that is told when somebody is sure."""
        table = self._tables.check(check)
        outcome = self._rng.choices(table.outcomes, self.shares(check))[0]
        error = usual_error(self._tables.knowledge.questions[check], channel, self._tables)
        error += WRONG_ANSWERS if self._world == "wrong_answers" else 0.0
        others = [o for o in table.outcomes if o != outcome]
        return self._rng.choice(others) if others and self._rng.random() < error else outcome

    def mended_by(self, cause: str) -> bool:
        """Return whether it is (one of) what is wrong."""
        return cause in self.fault.causes

    def shares(self, check: str) -> list[float]:
        """Return P(outcome) on this machine: the belief's own pair rule, changed as the world is."""
        seen = outcome_shares_of(self._tables, check, self.fault.causes)
        base = [float(b) for b in self._tables.check(check).base]
        if self._faint:
            return [(s + b) / 2 for s, b in zip(seen, base, strict=True)]
        if self._world == "marks":
            chance = random.Random(f"{check}:{self.fault.causes}")
            ratios = [s / b * MARKS_OFF ** chance.uniform(-1, 1) for s, b in zip(seen, base, strict=True)]
            return [r * b for r, b in zip(ratios, base, strict=True)]
        return seen


def outcome_shares_of(tables: Tables, check: str, causes: Sequence[str]) -> list[float]:
    """Return P(outcome | one or two causes present): the same pair rule as the belief uses."""
    table = tables.check(check)
    columns = [[float(x) for x in table.shares[:, tables.position[c]]] for c in causes]
    if len(columns) == 1:
        return columns[0]
    a, c = columns
    n = table.normal
    if n is None:
        flags = [bool(table.marked[tables.position[cause]]) for cause in causes]
        used = [col for col, flag in zip(columns, flags, strict=True) if flag] or [[float(b) for b in table.base]]
        return [sum(col[o] for col in used) / len(used) for o in range(len(a))]
    normal = a[n] * c[n] / max(a[n], c[n], float(table.base[n]))
    rest = sum(a[o] + c[o] for o in range(len(a)) if o != n)
    return [normal if o == n else (1 - normal) * (a[o] + c[o]) / rest for o in range(len(a))]


class Simulation:
    """Takes simulated calls on one engine."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.desk = Desk(engine, None, "trial00000000000", lambda: START, random=lambda n: bytes(n))

    def call(self, fault: Fault, channel: str) -> CallDesk:
        """Return a call with the fault's machine and complaint taken."""
        call = self.desk.new_call(channel)
        machine = {a: v for a, v in fault.axes.items() if a != "crop"}
        call.set_machine({"axes": machine, "rows": 12})
        call.set_situation({"crop": fault.axes.get("crop")})
        call.set_complaint("", [(s, "chosen") for s in fault.symptoms])
        return call

    @contextmanager
    def without(self, cause: str) -> Iterator[None]:
        """Let the engine not know a cause for a while: it is in no prior."""
        tables = self.engine.tables
        for check in tables.knowledge.questions:
            tables.check(check)  # what an unknown cause shows is an average over all, kept with the table
        kept = tables.frequency
        tables.frequency = kept * (np.arange(len(kept)) != tables.position[cause])
        try:
            yield
        finally:
            tables.frequency = kept

    def by_chart(self, call: CallDesk, machine: SimulatedMachine, most: int) -> int:
        """Work a fixed order: opening questions, the symptom's first checks, all others as written.

        Return the number of checks made until a cause may be named.
        """
        asked = 0
        for check in self._chart(machine.fault):
            if asked == most or call.think().judgement.may_be_named:
                break
            if self.feasible(call, check):
                asked += 1
                answer = machine.answer(check, call.state.channel)
                call.answer(check, outcome=answer.outcome, status="unsure" if answer.outcome is None else "given")
        return asked

    def feasible(self, call: CallDesk, check: str) -> bool:
        """Return whether a check is open, fits the machine and can be done in this channel."""
        return check in self.engine.planner.feasible.now(call.think_case())[0]

    def _chart(self, fault: Fault) -> Iterator[str]:
        questions = self.engine.knowledge.questions
        yield from (k for k, c in questions.items() if c.opening)
        for symptom in fault.symptoms:
            for check in self.engine.knowledge.symptoms[symptom].first_checks:
                yield from (k for k in questions if k.partition(".")[0] == check)
        yield from questions
