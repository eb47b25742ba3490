"""Simulated calls drawn from the knowledge itself, worked through the real CallDesk.

Faults by frequency and machine, symptoms by likelihood, answers by the outcome tables with the observers'
error rates, some answers unsure. The same seed gives the same calls.
"""

from __future__ import annotations

import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime

from diag.call.desk import CallDesk, Desk
from diag.knowledge.base import Knowledge
from diag.reason.axes import fit
from diag.reason.feasible import check_minutes, usual_error
from diag.reason.judge import Engine
from diag.reason.judgement import Judgement
from diag.reason.tables import Tables

UNSURE = {"phone": 0.10, "site": 0.03}
"""Share of answers that are "not sure" (estimate)."""
MOST_SYMPTOMS = 3
MOST_CHECKS = 40
START = datetime(2026, 5, 4, 6, 0, 0, tzinfo=UTC)


@dataclass(frozen=True)
class Fault:
    """What is wrong in a simulated call, and on which machine."""

    causes: tuple[str, ...]
    axes: Mapping[str, str]
    symptoms: tuple[str, ...]


@dataclass(frozen=True)
class Played:
    """How one simulated call went."""

    fault: Fault
    ranking: tuple[str, ...]
    top_probability: float
    checks: int
    minutes: float
    """Minutes of checks on site, desk minutes by phone."""
    to_mended: float
    decision: str

    @property
    def place(self) -> int:
        """Place of the true cause in the ranking (best of several), from 1; 999 when absent."""
        places = [self.ranking.index(c) + 1 for c in self.fault.causes if c in self.ranking]
        return min(places, default=999)


def draw_fault(tables: Tables, rng: random.Random, two_share: float = 0.0) -> Fault:
    """Draw a machine, one or two causes it can have, and the symptoms it is complained of with."""
    knowledge = tables.knowledge
    while True:
        axes = {name: _pick(rng, {v.name: v.share for v in axis.values}) for name, axis in knowledge.axes.items()}
        weights = {
            c: cause.per_mille * fit(cause.applies, axes, knowledge) for c, cause in knowledge.causes.items()
        }
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


class Simulation:
    """Plays calls on one engine."""

    def __init__(self, engine: Engine) -> None:
        self.engine = engine
        self.desk = Desk(engine, None, "trial00000000000", lambda: START, lambda n: bytes(n))

    def play(self, fault: Fault, channel: str, rng: random.Random, policy: str = "bits") -> Played:
        """Play one call by a policy: bits | minutes | chart | nothing."""
        call, judgement, asked = self.to_decision(fault, channel, rng, policy)
        return self._done(call, fault, judgement, asked, channel)

    def to_decision(
        self, fault: Fault, channel: str, rng: random.Random, policy: str = "bits"
    ) -> tuple[CallDesk, Judgement, int]:
        """Play one call until a cause is named or no check is left; return the call, the last judgement, the checks."""
        call = self.desk.new_call(channel)
        machine = {a: v for a, v in fault.axes.items() if a != "crop"}
        call.set_machine({"axes": machine, "rows": 12})
        call.set_situation({"crop": fault.axes.get("crop")})
        call.set_complaint("", [(s, "chosen") for s in fault.symptoms])
        return (call, *self.go_on(call, fault, channel, rng, policy))

    def go_on(
        self, call: CallDesk, fault: Fault, channel: str, rng: random.Random, policy: str = "bits"
    ) -> tuple[Judgement, int]:
        """Play a call on from where it stands, by phone or on site; return the last judgement and the checks made."""
        chart = iter(self._chart(fault)) if policy == "chart" else None
        asked = 0
        while True:
            judgement = self.judge(call, policy)
            check = self._next(call, judgement, policy, channel, chart)
            if check is None or asked >= MOST_CHECKS:
                return judgement, asked
            self._answer(call, check, fault, channel, rng)
            asked += 1

    def judge(self, call: CallDesk, policy: str) -> Judgement:
        """Judge as the policy chooses its checks."""
        return self.engine.judge(call.think_case(), by="minutes" if policy == "minutes" else "bits", most=1)

    def _next(
        self, call: CallDesk, judgement: Judgement, policy: str, channel: str, chart: Iterator[str] | None
    ) -> str | None:
        if policy == "nothing":
            return None
        if judgement.plan.feasible == 0:
            return None
        if policy == "chart" and chart is not None:
            if judgement.ranking[0].probability >= self.engine.knowledge.settings.claim_repair:
                return None
            return next((c for c in chart if self.feasible(call, c)), None)
        decided = policy == "minutes" and judgement.action != "check"
        return None if decided or judgement.may_be_named else judgement.plan.offers[0].check

    def feasible(self, call: CallDesk, check: str) -> bool:
        """Return whether a check is open, fits the machine and can be done in this channel."""
        case = call.think_case()
        question = self.engine.knowledge.questions[check]
        asked = {i.check for i in case.instances}
        fits = fit(question.applies, case.axes, self.engine.knowledge) > 0
        return check not in asked and fits and check_minutes(question, case, self.engine.tables) is not None

    def _chart(self, fault: Fault) -> Iterator[str]:
        """A fixed order: opening questions, the symptom's first checks, then all others as written."""
        questions = self.engine.knowledge.questions
        yield from (k for k, c in questions.items() if c.opening)
        for symptom in fault.symptoms:
            for check in self.engine.knowledge.symptoms[symptom].first_checks:
                yield from (k for k in questions if k.partition(".")[0] == check)
        yield from questions

    def _answer(self, call: CallDesk, check: str, fault: Fault, channel: str, rng: random.Random) -> None:
        """Answer a check; of a list, everything that is true is named at once."""
        if rng.random() < UNSURE[channel]:
            call.answer(check, status="unsure")
            return
        call.answer(check, outcome=self.said(check, fault, channel, rng))
        whole, _, item = check.partition(".")
        if item:
            open_items = [k for k in self.engine.knowledge.questions if k.startswith(f"{whole}.") and k != check]
            for other in open_items:
                if self.feasible(call, other) and self.said(other, fault, channel, rng) == "yes":
                    call.answer(other, outcome="yes")

    def said(self, check: str, fault: Fault, channel: str, rng: random.Random) -> str:
        """Return the outcome that is told when the fault is present, the observer's errors included."""
        table = self.engine.tables.check(check)
        outcome = rng.choices(table.outcomes, self.shares(check, fault.causes))[0]
        error = usual_error(self.engine.knowledge.questions[check], channel, self.engine.tables)
        others = [o for o in table.outcomes if o != outcome]
        return rng.choice(others) if others and rng.random() < error else outcome

    def shares(self, check: str, causes: Sequence[str]) -> list[float]:
        """Return P(outcome | these causes present): the same pair rule as the belief uses."""
        table = self.engine.tables.check(check)
        columns = [[float(x) for x in table.shares[:, self.engine.tables.position[c]]] for c in causes]
        if len(columns) == 1:
            return columns[0]
        a, c = columns
        n = table.normal
        if n is None:
            flags = [bool(table.marked[self.engine.tables.position[cause]]) for cause in causes]
            used = [col for col, flag in zip(columns, flags, strict=True) if flag] or [[float(b) for b in table.base]]
            return [sum(col[o] for col in used) / len(used) for o in range(len(a))]
        normal = a[n] * c[n] / max(a[n], c[n], float(table.base[n]))
        rest = sum(a[o] + c[o] for o in range(len(a)) if o != n)
        return [normal if o == n else (1 - normal) * (a[o] + c[o]) / rest for o in range(len(a))]

    def _done(self, call: CallDesk, fault: Fault, judgement: Judgement, asked: int, channel: str) -> Played:
        spent = call.minutes()
        ranking = tuple(r.cause for r in judgement.ranking)
        minutes = spent["desk"] if channel == "phone" else spent["checks"]
        total = spent["checks"] + spent["desk"] + spent["grower"]
        return Played(
            fault, ranking, judgement.ranking[0].probability, asked, minutes,
            total + self._mending(fault, ranking), judgement.action,
        )

    def _mending(self, fault: Fault, ranking: Sequence[str]) -> float:
        """Return repair minutes in ranking order until every fault is mended, wrong ones at their price."""
        left, spent = set(fault.causes), 0.0
        for cause in ranking:
            repair = self.engine.knowledge.causes[cause].repair
            spent += repair.minutes + (0.0 if cause in left else repair.if_wrong)
            left.discard(cause)
            if not left:
                break
        return spent


