"""One judgement of a call: rules, belief, what to do next, and what does not hang together."""

from __future__ import annotations

import math
import threading
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from diag.knowledge.base import Knowledge
from diag.knowledge.model import Rule
from diag.reason.axes import fit
from diag.reason.beginning import Beginnings
from diag.reason.case import Case, Instance
from diag.reason.counting import FactSet
from diag.reason.evidence import Evidence, top_up_worlds
from diag.reason.feasible import check_minutes
from diag.reason.judgement import (
    LIKELY,
    OPEN,
    SET_ASIDE,
    UNLIKELY,
    Conflict,
    Found,
    Judgement,
    Ranked,
    Remark,
)
from diag.reason.misfit import CONFLICT_BITS, conflicts_in, unexplained_bits
from diag.reason.next_check import Plan, Planner, Wishes
from diag.reason.proof_check import proof_check
from diag.reason.rules import Firing, RuleBase
from diag.reason.tables import Array, Tables
from diag.reason.worlds import EpochEvidence, Posterior, Space, forward, posterior

LIKELY_FROM, OPEN_FROM, SET_ASIDE_BELOW = 0.50, 0.05, 0.01
AGAINST_NEEDED = math.log(20.0)
FOREIGN_BITS = 2.0
"""Bits left unexplained from which a call is like nothing in the book although a cause is likely (1 where none is)."""


class Engine:
    """The reasoning over one knowledge base; build once, judge many times (threads take turns)."""

    def __init__(self, knowledge: Knowledge, *, counter: bool = False) -> None:
        self.knowledge = knowledge
        self.tables = Tables(knowledge)
        self.evidence = Evidence(self.tables)
        self.rules = RuleBase(knowledge, counter=counter)
        self.planner = Planner(self.tables)
        self._beginnings = Beginnings(self.tables)
        self._turn = threading.Lock()

    def judge(self, case: Case, *, most: int = 3) -> Judgement:
        """Return the judgement of a case; pure: the same case gives the same judgement."""
        with self._turn:
            return self._judge(case, most)

    def _judge(self, case: Case, most: int) -> Judgement:
        begun = self._beginnings.of(case)
        pi, start = begun.pi, begun.start
        runs = [self._epoch(case, number, begun.space) for number in range(case.epoch + 1)]
        before, looked, now = forward(start, [r.evidence for r in runs], case, self.tables)
        belief = posterior(now)
        last = runs[-1]
        conflicts = conflicts_in(last.evidence.looks, last.instances, before, looked, evidence=self.evidence)
        ranking = self._ranking(belief, pi, last.evidence)
        second = self.rules.run(self.facts(case), _belief_keys(ranking))
        firings = (*last.firings, *second)
        supports = last.supports | self._supports(second, last.supports, last.instances)
        said = tuple(self._said(firings, supports, last.instances))
        plan = self._plan(case, belief, self._wishes(firings, case), self._misfit(case, conflicts), most=most)
        misfit = unexplained_bits(start, [r.evidence for r in runs], now)
        named = self._may_be_named(case, ranking)
        known = named or self._in_the_book(case, belief, ranking, misfit=misfit)
        return Judgement(
            ranking=ranking, belief=belief, faults_known=known, may_be_named=named,
            findings=tuple(self._findings(firings, supports, last.instances)), said=said, firings=firings,
            conflicts=conflicts, plan=plan, action=plan.action,
            pi=pi, epochs=tuple(r.evidence for r in runs), start=start, symptoms=begun.symptoms,
            top_ups=last.top_ups, top_up_rules=last.top_up_rules,
        )

    def trace(self, case: Case, judgement: Judgement) -> tuple[Firing, ...]:
        """Return the rules that fired in a judgement of this case, derived anew by forward chaining.

        Raises RulesError where they are not the rules that the judgement went by.
        """
        with self._turn:
            return self.rules.trace(self.facts(case), _belief_keys(judgement.ranking), judgement.firings)

    def facts(self, case: Case) -> FactSet:
        """Return what the rules may read of a case as it is now; belief comes to it in the second pass."""
        return self._facts(case, case.epoch, [i for i in case.instances if i.epoch == case.epoch])

    # --- one epoch --------------------------------------------------------------------------------

    def _epoch(self, case: Case, number: int, space: Space) -> _Run:
        instances = [i for i in case.instances if i.epoch == number]
        looks = {
            name: self.evidence.look(members, case.trouble_rows, space)
            for name, members in self.evidence.looks(instances).items()
        }
        firings = self.rules.run(self._facts(case, number, instances))
        supports = self._supports(firings, {}, instances)
        top_ups, by_rules = self._top_ups(firings, supports, instances)
        evidence = EpochEvidence(looks, top_up_worlds(top_ups, space))
        return _Run(instances, evidence, firings, supports, top_ups=top_ups, top_up_rules=by_rules)

    def _facts(self, case: Case, epoch: int, instances: Sequence[Instance]) -> FactSet:
        keys = {f"channel:{case.channel}", f"rows:{case.row_pattern}"}
        keys |= {f"axis:{a}={v}" for a, v in case.axes.items()}
        keys |= {f"symptom:{s}" for s in case.symptoms}
        keys |= {f"change:{c}" for c in case.changes}
        keys |= {f"flag:{f}" for f in case.flags}
        keys |= {f"repaired:{c}" for repair in case.repairs[:epoch] for c in repair.causes}
        numbers = {f"call:{name}": (float(value),) for name, value in case.figures.items()}
        for instance in instances:
            if instance.given:
                keys.add(f"answered:{instance.check}")
                keys.add(f"answer:{instance.check}={instance.outcome}")
            for name, value in instance.results.items():
                key = f"reading:{instance.check}:{name}"
                if isinstance(value, str):
                    keys.add(f"{key}={value}")
                else:
                    numbers[key] = (*numbers.get(key, ()), float(value))
        return FactSet(frozenset(keys), numbers)

    def _supports(
        self, firings: Sequence[Firing], known: Mapping[str, frozenset[int]], instances: Sequence[Instance]
    ) -> dict[str, frozenset[int]]:
        """Return rule -> positions of the answers it rests on, through findings too."""
        by_key: dict[str, set[int]] = {}
        for position, instance in enumerate(instances):
            for key in _keys_of(instance):
                by_key.setdefault(key, set()).add(position)
        made_by = {self.knowledge.rules[rule].then.finds: positions for rule, positions in known.items()}
        supports: dict[str, frozenset[int]] = {}
        for firing in firings:
            positions: set[int] = set()
            for key in firing.keys:
                if key.startswith("finding:"):
                    positions |= made_by.get(key.removeprefix("finding:"), frozenset())
                positions |= by_key.get(key, set())
            supports[firing.rule] = frozenset(positions)
            made_by.setdefault(self.knowledge.rules[firing.rule].then.finds, supports[firing.rule])
        return supports

    def _top_ups(
        self, firings: Sequence[Firing], supports: Mapping[str, frozenset[int]], instances: Sequence[Instance]
    ) -> tuple[dict[int, float], dict[int, tuple[str, ...]]]:
        """Return cause -> log top-up, and the rules behind it (contracts: what the answers gave is not given twice)."""
        wanted: dict[int, list[tuple[frozenset[int], float, str]]] = {}
        for firing in firings:
            rule = self.knowledge.rules[firing.rule]
            rests_on = supports[firing.rule]
            if not rests_on:
                continue
            for cause, ratio in self._marks(rule).items():
                given = sum(self._already(instances[p], cause) for p in rests_on)
                missing = math.log(ratio) - given
                t = max(0.0, missing) if ratio > 1 else min(0.0, missing)
                if t:
                    wanted.setdefault(cause, []).append((rests_on, t, rule.id))
        sums = {cause: _disjoint_sum(entries) for cause, entries in wanted.items()}
        return {c: s[0] for c, s in sums.items()}, {c: s[1] for c, s in sums.items()}

    def _marks(self, rule: Rule) -> dict[int, float]:
        named: dict[int, float] = {}
        grouped: dict[int, float] = {}
        for word, targets in rule.then.marks.items():
            ratio = self.knowledge.marks[word].ratio
            for target in targets:
                if target.startswith("@"):
                    for i, cause in enumerate(self.tables.causes):
                        if self.knowledge.causes[cause].subsystem == target[1:]:
                            grouped[i] = ratio
                else:
                    named[self.tables.position[target]] = ratio
        return grouped | named

    def _already(self, instance: Instance, cause: int) -> float:
        if not instance.given or instance.outcome is None:
            return 0.0
        return math.log(self.tables.check(instance.check).ratio(instance.outcome, cause))

    def _may_be_named(self, case: Case, ranking: Sequence[Ranked]) -> bool:
        """Return whether the leading cause is sure enough; a repair in vain takes that away."""
        sure = bool(ranking) and ranking[0].probability >= self.knowledge.settings.claim_repair
        return sure and ranking[0].cause not in case.repaired_in_vain

    def _in_the_book(self, case: Case, belief: Posterior, ranking: Sequence[Ranked], misfit: float) -> bool:
        """Return whether the call looks like any known cause, or like none any more after a repair."""
        if belief.clear >= LIKELY_FROM:
            return True
        likely = bool(ranking) and ranking[0].probability >= LIKELY_FROM
        if likely and ranking[0].cause in case.repaired_in_vain:
            return False
        return belief.unknown < LIKELY_FROM and misfit <= (FOREIGN_BITS if likely else CONFLICT_BITS)

    # --- words ------------------------------------------------------------------------------------

    def _ranking(self, belief: Posterior, pi: Array, now: EpochEvidence) -> tuple[Ranked, ...]:
        """Return the causes that the machine can have, likeliest first, equal ones by id."""
        present = np.minimum(belief.present, 1.0).round(4)
        aside = (present < SET_ASIDE_BELOW) & (_against(len(pi), now) >= AGAINST_NEEDED)
        order = [i for i in np.argsort(-present, kind="stable").tolist() if pi[i] > 0]
        return tuple(
            Ranked(self.tables.causes[i], p, LIKELY if p >= LIKELY_FROM else OPEN if p >= OPEN_FROM else
                   SET_ASIDE if out else UNLIKELY)
            for i, p, out in zip(order, present[order].tolist(), aside[order].tolist(), strict=True)
        )

    def _findings(
        self, firings: Sequence[Firing], supports: Mapping[str, frozenset[int]], instances: Sequence[Instance]
    ) -> Iterable[Found]:
        seen = set()
        for firing in firings:
            finding = self.knowledge.rules[firing.rule].then.finds
            if finding and finding not in seen:
                seen.add(finding)
                rests_on = [instances[p] for p in sorted(supports[firing.rule])]
                rows = sorted({r for i in rests_on for r in i.row_numbers or ()})
                yield Found(finding, firing.rule, tuple(e for i in rests_on for e in i.events), tuple(rows))

    def _said(
        self, firings: Sequence[Firing], supports: Mapping[str, frozenset[int]], instances: Sequence[Instance]
    ) -> Iterable[Remark]:
        for firing in firings:
            events = tuple(e for p in sorted(supports[firing.rule]) for e in instances[p].events)
            then = self.knowledge.rules[firing.rule].then
            spoken = [("warns", then.warns), ("advises", then.advises), ("suggests", then.suggests)]
            spoken += [("asks_again", c) for c in then.asks_again] + [("caution", c) for c in then.cautions]
            for kind, text in spoken:
                if text:
                    yield Remark(firing.rule, kind, text, events)

    def _wishes(self, firings: Sequence[Firing], case: Case) -> Wishes:
        prefers: dict[str, float] = {}
        first, blocked = set(), set()
        for firing in firings:
            then = self.knowledge.rules[firing.rule].then
            for wish in then.prefers:
                prefers[wish.check] = max(prefers.get(wish.check, 0.0), wish.minutes)
                if wish.first:
                    first.add(wish.check)
            blocked |= set(then.blocks)
        for instance in case.instances:
            if instance.refused and instance.epoch == case.epoch:
                stand_ins = self.knowledge.questions[instance.check].stand_ins
                first |= {s.check for s in stand_ins if s.check and not _touched(s.check, case)}
            if instance.given and instance.outcome and instance.epoch == case.epoch:
                outcome = self.knowledge.questions[instance.check].outcomes[instance.outcome]
                first |= {c for c in outcome.then_check if not _touched(c, case)}
        proof = proof_check(case, self.tables)
        if proof:
            first, blocked = {proof}, blocked - {proof}
        again = frozenset({proof} if proof else ())
        return Wishes(prefers, frozenset(first - blocked), frozenset(blocked), again)

    def _plan(self, case: Case, belief: Posterior, wishes: Wishes, misfit: str | None, most: int) -> Plan:
        """Return what to do next: after a repair its proof, after an accepted proof nothing but to close.

        Before a call is left, the answer that fits the others least (`misfit`) is taken once more.
        """
        plan = self.planner.plan(case, belief, wishes, most=most)
        if case.to_prove:
            return replace(plan, action="prove", repair=None)
        if case.proved:
            return replace(plan, action="close", repair=None, offers=())
        leaving = plan.action in ("drive_out", "hand_over")
        return replace(plan, action="measure_again", again=misfit) if leaving and misfit else plan

    def _misfit(self, case: Case, conflicts: Sequence[Conflict]) -> str | None:
        """Return the check in conflict when it was made once, and can be made again here."""
        for conflict in conflicts:
            made = [i for i in case.instances if i.check == conflict.check and i.epoch == case.epoch]
            once = len(made) == 1 and len(made[0].events) == 1
            if once and check_minutes(self.knowledge.questions[conflict.check], case, self.tables) is not None:
                return conflict.check
        return None


@dataclass(frozen=True)
class _Run:
    instances: list[Instance]
    evidence: EpochEvidence
    firings: tuple[Firing, ...]
    supports: dict[str, frozenset[int]]
    top_ups: dict[int, float]
    top_up_rules: dict[int, tuple[str, ...]]


def _touched(check: str, case: Case) -> bool:
    return any(i.check.partition(".")[0] == check and i.epoch == case.epoch for i in case.instances)


def _keys_of(instance: Instance) -> Iterable[str]:
    if instance.given:
        yield f"answered:{instance.check}"
        yield f"answer:{instance.check}={instance.outcome}"
    for name, value in instance.results.items():
        key = f"reading:{instance.check}:{name}"
        yield f"{key}={value}" if isinstance(value, str) else key


def _disjoint_sum(entries: Sequence[tuple[frozenset[int], float, str]]) -> tuple[float, tuple[str, ...]]:
    """Rules that share an answer count once, by the largest |t| (tie: id); disjoint ones add."""
    total, rules, used = 0.0, [], set[int]()
    for rests_on, t, rule in sorted(entries, key=lambda e: (-abs(e[1]), e[2])):
        if not used & rests_on:
            total += t
            rules.append(rule)
        used |= rests_on
    return total, tuple(rules)


def _against(n: int, evidence: EpochEvidence) -> Array:
    """Return, by cause, the summed log weight of the looks that speak against it."""
    looks = [evidence.looks[name].one for name in sorted(evidence.looks)]
    against: Array = np.maximum(-np.stack(looks), 0.0).sum(axis=0) if looks else np.zeros(n)
    return against


def _belief_keys(ranking: Sequence[Ranked]) -> list[str]:
    keys = []
    for r in ranking:
        if r.belief == LIKELY:
            keys += [f"belief:{r.cause}={LIKELY}", f"belief:{r.cause}={OPEN}"]
        elif r.belief == OPEN:
            keys.append(f"belief:{r.cause}={OPEN}")
    return keys


def applicable(engine: Engine, check: str, case: Case) -> bool:
    """Return whether a check makes sense on this machine as far as its axes are known."""
    return fit(engine.knowledge.questions[check].applies, case.axes, engine.knowledge) > 0.0
