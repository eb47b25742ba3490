"""Belief: a distribution over worlds (nothing wrong, an unknown cause, one fault, two faults).

log weight of a world = log prior + symptoms + looks + rule top-ups, recomputed from all answers.
Repairs cut time into epochs: a forward pass carries the weights from one epoch to the next.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from diag.reason.case import Case
from diag.reason.tables import Array, Index, Tables, log_safe

ALL_PAIRS_UP_TO = 400
"""Causes up to which every pair is a world of its own."""


@dataclass(frozen=True, eq=False)
class Space:
    """Which worlds there are, in this order: clear, unknown, one per cause, one per unordered pair of some causes."""

    n: int
    pairs: Index
    """The causes whose pairs are worlds, in order; up to 400 causes all that the machine can have."""

    @cached_property
    def first(self) -> Index:
        """By pair: its first cause."""
        return self.pairs[np.triu_indices(len(self.pairs), k=1)[0]]

    @cached_property
    def second(self) -> Index:
        """By pair: its second cause, the later one."""
        return self.pairs[np.triu_indices(len(self.pairs), k=1)[1]]

    def places(self, a: Index, c: Index) -> Index:
        """Return where pairs of two causes each stand among all pairs, -1 for one that is no world."""
        among = np.full(self.n, -1, dtype=np.intp)
        among[self.pairs] = np.arange(len(self.pairs))
        i, j = np.minimum(among[a], among[c]), np.maximum(among[a], among[c])
        return np.where(i < 0, -1, i * (2 * len(self.pairs) - i - 1) // 2 + j - i - 1)

    def of_pairs(self, two: Array) -> Array:
        """Return, by cause, the sum of what stands by pair."""
        return sums_by(self.first, two, self.n) + sums_by(self.second, two, self.n)


def sums_by(places: Index, values: Array, n: int) -> Array:
    """Return, by place (n of them), the sum of the values that belong there."""
    return np.bincount(places, values, n).astype(np.float64, copy=False)


@dataclass(frozen=True, eq=False)
class Worlds:
    """Log weights, or log likelihoods, over all worlds."""

    space: Space
    log: Array

    @classmethod
    def of(cls, space: Space, clear: float, unknown: float, one: Array, two: Array) -> Worlds:
        """Return worlds of their parts."""
        return cls(space, np.concatenate((np.array([clear, unknown]), one, two)))

    @property
    def clear(self) -> float:
        """Where nothing is wrong."""
        return float(self.log[0])

    @property
    def unknown(self) -> float:
        """Where an unknown cause is at fault."""
        return float(self.log[1])

    @property
    def one(self) -> Array:
        """By cause, where it alone is at fault."""
        return self.log[2 : 2 + self.space.n]

    @property
    def two(self) -> Array:
        """By pair of the space."""
        return self.log[2 + self.space.n :]

    def plus(self, *others: Worlds) -> Worlds:
        """Return the sum with others, world by world (-inf stays)."""
        summed = self.log.copy()
        for other in others:
            summed += other.log
        return Worlds(self.space, summed)

    @cached_property
    def top(self) -> float:
        """The largest of them, 0 where all are -inf."""
        largest = float(self.log.max())
        return largest if largest > -math.inf else 0.0

    @cached_property
    def scaled(self) -> Array:
        """Without the log, the largest brought to 1."""
        values: Array = np.exp(self.log - self.top)
        return values

    @cached_property
    def total(self) -> float:
        """The log of the summed weights."""
        return self.with_scale(float(self.scaled.sum()))

    def with_scale(self, value: float) -> float:
        """Return the log of a value in the scale of `scaled`."""
        return self.top + math.log(value) if value > 0 else -math.inf


@dataclass(frozen=True, eq=False)
class Posterior:
    """What we believe now, in probabilities."""

    space: Space
    clear: float
    unknown: float
    one: Array
    two: Array
    """By pair of the space."""
    present: Array
    """By cause: chance that it is present now."""

    @cached_property
    def likeliest(self) -> list[int]:
        """The causes that can be present, likeliest first, equal ones (to 6 places) by place."""
        order = np.argsort(-self.present.round(6), kind="stable")
        likeliest: list[int] = order[self.present[order] > 0].tolist()
        return likeliest

    @property
    def mass_one(self) -> float:
        """Return the weight of all one-fault worlds."""
        return float(self.one.sum())

    @property
    def mass_two(self) -> float:
        """Return the weight of all two-fault worlds."""
        return float(self.two.sum())


def posterior(weights: Worlds) -> Posterior:
    """Return probabilities of log weights."""
    whole = float(weights.scaled.sum())
    if whole <= 0:
        raise ValueError("no world has any weight")
    space, p = weights.space, weights.scaled / whole
    one, two = p[2 : 2 + space.n], p[2 + space.n :]
    return Posterior(space, float(p[0]), float(p[1]), one, two=two, present=one + space.of_pairs(two))


# --- epochs -------------------------------------------------------------------------------------


def after_repair(weights: Worlds, cured: Mapping[int, float]) -> Worlds:
    """Return log weights after a repair that cures each named cause with its chance."""
    belief, space = posterior(weights), weights.space
    goes = np.zeros(space.n)
    for cause, chance in cured.items():
        goes[cause] = chance
    keeps = 1.0 - goes
    goes_first, goes_second, two = goes[space.first], goes[space.second], belief.two
    one = belief.one * keeps
    one += sums_by(space.second, two * goes_first * (1.0 - goes_second), space.n)
    one += sums_by(space.first, two * goes_second * (1.0 - goes_first), space.n)
    clear = belief.clear + float(belief.one @ goes) + float(two @ (goes_first * goes_second))
    two = two * (1.0 - goes_first) * (1.0 - goes_second)
    return Worlds(space, log_safe(np.concatenate((np.array([clear, belief.unknown]), one, two))))


@dataclass(frozen=True)
class EpochEvidence:
    """What speaks in one epoch: its looks and the rules' top-ups."""

    looks: Mapping[str, Worlds]
    top_ups: Worlds

    def with_looks(self, start: Worlds) -> Worlds:
        """Return start plus all looks of the epoch."""
        return start.plus(*(self.looks[name] for name in sorted(self.looks)))


def forward(
    start: Worlds, epochs: Sequence[EpochEvidence], case: Case, tables: Tables
) -> tuple[Worlds, Worlds, Worlds]:
    """Return log weights at the start of the last epoch, with its looks, and now."""
    before = start
    for number, evidence in enumerate(epochs):
        looked = evidence.with_looks(before)
        now = looked.plus(evidence.top_ups)
        if number < len(case.repairs):
            known = tables.position
            cured = {known[c]: w for c, w in case.repairs[number].causes.items() if c in known}
            before = after_repair(now, cured)
    return before, looked, now
