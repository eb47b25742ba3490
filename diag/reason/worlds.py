"""Belief: a distribution over worlds (nothing wrong, an unknown cause, one fault, two faults).

log weight of a world = log prior + symptoms + looks + rule top-ups, recomputed from all answers.
Repairs cut time into epochs: a forward pass carries the weights from one epoch to the next.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from diag.reason.axes import fit
from diag.reason.case import Case, Instance
from diag.reason.tables import Array, CheckTable, Index, Tables, log_safe, log_sum

ALL_PAIRS_UP_TO = 400
"""Causes up to which every pair is a world of its own."""
HEAVIEST_SINGLES, BEST_EXPLAINING = 150, 12
MOST_REMEMBERED = 300
"""Answers whose likelihoods over all worlds are kept for the next judgement."""


@dataclass(frozen=True)
class Worlds:
    """Log weights, or log likelihoods, over all worlds.

    `one` has one entry per cause (n). `two` has one per unordered pair of the causes in `pairs` (m x m, strictly
    upper triangle used); up to 400 causes these are all.
    """

    clear: float
    unknown: float
    one: Array
    two: Array
    pairs: Index

    def plus(self, other: Worlds, factor: float = 1.0) -> Worlds:
        """Return self + factor * other, entry by entry (-inf stays)."""
        return Worlds(
            self.clear + factor * other.clear,
            self.unknown + factor * other.unknown,
            self.one + factor * other.one,
            self.two + factor * other.two,
            pairs=self.pairs,
        )

    def total(self) -> float:
        """Return the log of the summed weights."""
        pairs = self.two.ravel().take(_upper(len(self.pairs)))
        return log_sum(np.concatenate((np.array([self.clear, self.unknown]), self.one, pairs)))


@lru_cache(maxsize=16)
def _upper(m: int) -> Index:
    """Return the flat places of the strictly upper triangle of m x m: every pair once."""
    return np.flatnonzero(np.triu(np.ones((m, m), dtype=np.bool_), k=1))


def nothing(n: int, pairs: Index) -> Worlds:
    """Return log likelihoods of 0: evidence that says nothing."""
    return Worlds(0.0, 0.0, np.zeros(n), np.zeros((len(pairs), len(pairs))), pairs=pairs)


@dataclass(frozen=True)
class Posterior:
    """What we believe now, in probabilities."""

    clear: float
    unknown: float
    one: Array
    two: Array
    """m x m over `pairs`, strictly upper triangle."""
    pairs: Index
    present: Array
    """By cause: chance that it is present now."""

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
    total = weights.total()
    if total == -math.inf:
        raise ValueError("no world has any weight")
    one = np.exp(weights.one - total)
    two = np.zeros(weights.two.shape)
    upper = _upper(len(weights.pairs))
    two.ravel()[upper] = np.exp(weights.two.ravel().take(upper) - total)
    present = one.copy()
    present[weights.pairs] += two.sum(axis=0) + two.sum(axis=1)
    clear, unknown = math.exp(weights.clear - total), math.exp(weights.unknown - total)
    return Posterior(clear, unknown, one, two, pairs=weights.pairs, present=present)


# --- prior --------------------------------------------------------------------------------------


def cause_shares(tables: Tables, axes: Mapping[str, str]) -> Array:
    """Return pi: the share of each cause on a machine with these axes; sums to 1."""
    knowledge = tables.knowledge
    fits = np.array([fit(knowledge.causes[c].applies, axes, knowledge) for c in tables.causes])
    weights: Array = tables.frequency * fits
    return weights / max(float(weights.sum()), 1e-300)


def prior(tables: Tables, pi: Array, pairs: Index) -> Worlds:
    """Return the log prior: clear 0, unknown, singles pi, pairs s pi pi plus the leads_to chains.

    Where only some causes are paired, the rest of the pair prior is "strong cause + bystander": it looks like
    the strong cause alone and is added to it.
    """
    settings = tables.knowledge.settings
    one = pi.copy()
    can_pair = np.where(tables.alone, 0.0, pi)
    joint = np.triu(can_pair[pairs][:, None] * can_pair[pairs][None, :], k=1)
    joint[tables.never_with[np.ix_(pairs, pairs)]] = 0.0
    share = settings.pair_share
    mass = _pair_mass(tables, can_pair)
    scale = share / (1.0 - share) * float(pi.sum()) / mass if mass > 0 else 0.0
    two = joint * scale
    place = {int(cause): i for i, cause in enumerate(pairs)}
    for root, mechanism, chance in tables.leads_to:
        if pi[root] > 0 and pi[mechanism] > 0 and root in place and mechanism in place:
            low, high = sorted((place[root], place[mechanism]))
            two[low, high] += chance * pi[root]
            one[root] -= chance * pi[root]
    if len(pairs) < len(pi):
        inside = np.zeros(len(pi), dtype=np.bool_)
        inside[pairs] = True
        outside = float(can_pair[~inside].sum())
        one += scale * can_pair * np.where(inside, outside, (outside - can_pair) / 2.0)
    upper = np.triu(np.ones(two.shape, dtype=np.bool_), k=1)
    log_two = np.where(upper, log_safe(np.maximum(two, 0.0)), -math.inf)
    return Worlds(-math.inf, math.log(settings.unknown), log_safe(np.maximum(one, 0.0)), log_two, pairs=pairs)


def _pair_mass(tables: Tables, can_pair: Array) -> float:
    """Return the sum of pi_a pi_c over all pairs that make sense."""
    squares = float((can_pair * can_pair).sum())
    never = sum(can_pair[a] * can_pair[c] for a, c in tables.never_pairs)
    return (float(can_pair.sum()) ** 2 - squares) / 2.0 - float(never)


def heaviest_pairs(tables: Tables, one: Array, instances: Sequence[Instance]) -> Index:
    """Return the causes to be paired when there are too many: the heaviest, and those that explain an answer best.

    `one`: log weights of the one-fault worlds now.
    """
    chosen = set(np.argsort(-one, kind="stable")[:HEAVIEST_SINGLES].tolist())
    for instance in instances:
        table = tables.check(instance.check)
        if not instance.given or instance.outcome is None or table.outcomes.index(instance.outcome) == table.normal:
            continue
        explained = table.shares[table.index(instance.outcome)] * (one > -math.inf)
        chosen |= set(np.argsort(-explained, kind="stable")[:BEST_EXPLAINING].tolist())
    return np.array(sorted(chosen), dtype=np.intp)


def symptom_worlds(
    tables: Tables, symptoms: Sequence[str], denied: Sequence[str], pi: Array, pairs: Index
) -> Worlds:
    """Return log likelihoods of named and denied symptoms: noisy-OR with a leak over each world's causes.

    An unknown cause is taken to bring a symptom as often as the causes of this machine do on average; with the
    leak alone, one symptom would all but exclude "none of the known causes".
    """
    settings = tables.knowledge.settings
    result = nothing(len(tables.causes), pairs)
    for names, error, named in ((symptoms, 0.0, True), (denied, settings.denied_error, False)):
        for name in dict.fromkeys(names):
            links = tables.links(name)
            absent_one = (1.0 - settings.symptom_leak) * (1.0 - links)
            absent_unknown = (1.0 - settings.symptom_leak) * (1.0 - float((pi * links).sum()))
            absent_none = 1.0 - settings.symptom_leak
            absent_two = absent_one[pairs][:, None] * absent_one[pairs][None, :] / absent_none

            def spoken(absent: Array | float, named: bool = named, error: float = error) -> Array:
                absent = np.asarray(absent, dtype=np.float64)
                chance = 1.0 - absent if named else (1.0 - error) * absent + error * (1.0 - absent)
                return log_safe(chance)

            clear, unknown = float(spoken(absent_none)), float(spoken(absent_unknown))
            result = result.plus(Worlds(clear, unknown, spoken(absent_one), spoken(absent_two), pairs=pairs))
    return result


# --- answers ------------------------------------------------------------------------------------


def single_likelihood(table: CheckTable, likelihood: Array) -> tuple[float, Array]:
    """Return (L under the base, L by cause) of an instance."""
    base = float((table.base * likelihood).sum())
    one = (table.shares * likelihood[:, None]).sum(axis=0)
    return base, one


def instance_worlds(table: CheckTable, likelihood: Array, pairs: Index, *, shared: bool = False) -> Worlds:
    """Return log likelihoods of one instance, relative to a machine that is sound there (`clear` is 0).

    `shared`: its rows are a strict part of the trouble's rows, so in a two-fault world either member may
    be the one seen there: the plain mean of the two.
    """
    base, one = single_likelihood(table, likelihood)
    unknown = float((table.unknown * likelihood).sum())
    paired = one[pairs]
    if shared:
        two = (paired[:, None] + paired[None, :]) / 2.0
    elif table.normal is None:
        flags = table.marked[pairs].astype(np.float64)
        number = flags[:, None] + flags[None, :]
        summed = (flags * paired)[:, None] + (flags * paired)[None, :]
        two = np.where(number > 0, summed / np.maximum(number, 1.0), base)
    else:
        two = _noisy_or(table, likelihood, pairs)
    return Worlds(0.0, math.log(unknown / base), log_safe(one / base), log_safe(two / base), pairs=pairs)


def _noisy_or(table: CheckTable, likelihood: Array, pairs: Index) -> Array:
    """Pair {a, c}: P(n) = q_a q_c / max(q_a, q_c, b); the others share the rest as q_a(o) + q_c(o)."""
    n = table.normal
    assert n is not None
    shares = table.shares[:, pairs]
    normal = shares[n]
    others = (shares * likelihood[:, None]).sum(axis=0) - normal * likelihood[n]
    rest = 1.0 - normal
    a, c = normal[:, None], normal[None, :]
    p_normal = a * c / np.maximum(np.maximum(a, c), table.base[n])
    room = rest[:, None] + rest[None, :]
    mixed = np.where(room > 0, (others[:, None] + others[None, :]) / np.maximum(room, 1e-300), 0.0)
    result: Array = p_normal * likelihood[n] + (1.0 - p_normal) * mixed
    return result


def strongest(members: Sequence[Worlds]) -> Worlds:
    """Return, world by world, the strongest member for it plus the strongest against it."""
    if len(members) == 1:
        return members[0]

    def both(values: Sequence[Array]) -> Array:
        stacked = np.stack(values)
        result: Array = np.maximum(stacked.max(axis=0), 0.0) + np.minimum(stacked.min(axis=0), 0.0)
        return result

    unknown = both([np.array(m.unknown) for m in members])
    one, two = both([m.one for m in members]), both([m.two for m in members])
    return Worlds(0.0, float(unknown), one, two, pairs=members[0].pairs)


class Evidence:
    """Log likelihoods of instances and looks, remembered per (check, likelihood): recomputing is cheap."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self._known: dict[tuple[str, tuple[float, ...], bool], Worlds] = {}
        self._looks: dict[tuple[int, ...], tuple[Sequence[Worlds], Worlds]] = {}
        self._alone: dict[tuple[int, int], tuple[Worlds, Worlds, float]] = {}

    def of(self, instance: Instance, trouble: tuple[int, ...] | None, pairs: Index) -> Worlds:
        """Return the log likelihoods of one instance."""
        part = instance.row_numbers is not None and trouble is not None
        shared = bool(part and set(instance.row_numbers or ()) < set(trouble or ()))
        key = (instance.check, instance.likelihood, shared)
        worlds = self._known.get(key)
        if worlds is None or worlds.pairs is not pairs:
            if len(self._known) > MOST_REMEMBERED:
                self._known.clear()
            table = self.tables.check(instance.check)
            worlds = instance_worlds(table, np.array(instance.likelihood), pairs, shared=shared)
            self._known[key] = worlds
        return worlds

    def look_of(self, instance: Instance) -> str:
        """Return the name of the look an instance belongs to (its check when it has none)."""
        return self.tables.knowledge.questions[instance.check].look or instance.check

    def looks(self, instances: Sequence[Instance]) -> dict[str, list[Instance]]:
        """Return given instances of one epoch grouped by look, in order."""
        grouped: dict[str, list[Instance]] = {}
        for instance in instances:
            if instance.given:
                grouped.setdefault(self.look_of(instance), []).append(instance)
        return grouped

    def look(self, instances: Sequence[Instance], trouble: tuple[int, ...] | None, pairs: Index) -> Worlds:
        """Return the log likelihoods of all answers read off one look: fine neighbours neither dilute nor pile up."""
        members = [self.of(i, trouble, pairs) for i in instances]
        key = tuple(map(id, members))  # what is kept holds them, so an id is not given away meanwhile
        if key not in self._looks:
            if len(self._looks) > MOST_REMEMBERED:
                self._looks.clear()
            self._looks[key] = members, strongest(members)
        return self._looks[key][1]

    def alone(self, before: Worlds, look: Worlds) -> float:
        """Return the log of the summed weights after one look alone."""
        key = id(before), id(look)
        if key not in self._alone:
            if len(self._alone) > MOST_REMEMBERED:
                self._alone.clear()
            self._alone[key] = before, look, before.plus(look).total()
        return self._alone[key][2]


def top_up_worlds(top_ups: Mapping[int, float], n: int, pairs: Index) -> Worlds:
    """Return rule top-ups by world: the largest of its members, unmarked members 0."""
    t = np.zeros(n)
    for cause, value in top_ups.items():
        t[cause] = value
    return Worlds(0.0, 0.0, t, np.maximum(t[pairs][:, None], t[pairs][None, :]), pairs=pairs)


# --- epochs -------------------------------------------------------------------------------------


def after_repair(weights: Worlds, cured: Mapping[int, float]) -> Worlds:
    """Return log weights after a repair that cures each named cause with its chance."""
    total = weights.total()
    n = len(weights.one)
    works = np.zeros(n)
    for cause, chance in cured.items():
        works[cause] = chance
    one, two = np.exp(weights.one - total), np.exp(weights.two - total)
    clear, unknown = math.exp(weights.clear - total), math.exp(weights.unknown - total)
    stays = 1.0 - works
    goes, keeps = works[weights.pairs], stays[weights.pairs]
    gone_first = two * (goes[:, None] * keeps[None, :])
    gone_second = two * (keeps[:, None] * goes[None, :])
    gone_both = two * (goes[:, None] * goes[None, :])
    new_one = one * stays
    new_one[weights.pairs] += gone_first.sum(axis=0) + gone_second.sum(axis=1)
    new_clear = clear + float((one * works).sum()) + float(gone_both.sum())
    new_two = two * (keeps[:, None] * keeps[None, :])
    return Worlds(
        math.log(new_clear) if new_clear > 0 else -math.inf,
        math.log(unknown) if unknown > 0 else -math.inf,
        log_safe(new_one),
        log_safe(new_two),
        pairs=weights.pairs,
    )


@dataclass(frozen=True)
class EpochEvidence:
    """What speaks in one epoch: its looks and the rules' top-ups."""

    looks: Mapping[str, Worlds]
    top_ups: Worlds

    def summed(self, start: Worlds) -> Worlds:
        """Return start plus all evidence of the epoch."""
        for name in sorted(self.looks):
            start = start.plus(self.looks[name])
        return start.plus(self.top_ups)


def forward(start: Worlds, epochs: Sequence[EpochEvidence], case: Case, tables: Tables) -> tuple[Worlds, Worlds]:
    """Return (log weights at the start of the last epoch, log weights now)."""
    before = start
    for number, evidence in enumerate(epochs):
        now = evidence.summed(before)
        if number < len(case.repairs):
            known = tables.position
            cured = {known[c]: w for c, w in case.repairs[number].causes.items() if c in known}
            before = after_repair(now, cured)
    return before, now
