"""What a call begins with, before any answer: shares of causes, possible worlds, the complaint."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from diag.reason.axes import fit
from diag.reason.case import Case, Instance
from diag.reason.evidence import single_likelihood
from diag.reason.tables import Array, Index, Tables, log_safe
from diag.reason.worlds import ALL_PAIRS_UP_TO, Space, Worlds

MOST_KEPT = 16
"""Machines and complaints whose beginning is kept for the next judgement."""
HEAVIEST_SINGLES, BEST_EXPLAINING = 150, 12


@dataclass(frozen=True)
class Beginning:
    """Log weights before any answer."""

    space: Space
    pi: Array
    """By cause: its share on this machine."""
    symptoms: Worlds
    start: Worlds
    """Prior and symptoms."""


class Beginnings:
    """The beginnings of calls; one stays the same until the machine or the complaint is told otherwise."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self._machines: dict[tuple[frozenset[tuple[str, str]], bytes], tuple[Array, Index]] = {}
        self._kept: dict[tuple[object, ...], Beginning] = {}

    def of(self, case: Case) -> Beginning:
        """Return the beginning of a case."""
        tables = self._tables
        machine = frozenset(case.axes.items()), tables.frequency.tobytes()  # a trial leaves causes out for a while
        if machine not in self._machines:
            if len(self._machines) >= MOST_KEPT:
                self._machines.clear()
            pi = cause_shares(tables, case.axes)
            self._machines[machine] = pi, np.flatnonzero(pi > 0)
        pi, possible = self._machines[machine]
        pairs = possible if len(pi) <= ALL_PAIRS_UP_TO else self._heaviest(case, machine, pi)
        return self._begun(case, machine, pi, pairs)

    def _begun(self, case: Case, machine: object, pi: Array, pairs: Index) -> Beginning:
        key = (machine, case.symptoms, case.denied, pairs.tobytes())
        if key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            space = Space(len(pi), pairs)
            symptoms = symptom_worlds(self._tables, case.symptoms, case.denied, pi, space=space)
            self._kept[key] = Beginning(space, pi, symptoms, prior(self._tables, pi, space).plus(symptoms))
        return self._kept[key]

    def _heaviest(self, case: Case, machine: object, pi: Array) -> Index:
        """Return the causes whose pairs are worlds in a very large knowledge: the heaviest."""
        one = self._begun(case, machine, pi, np.array([], dtype=np.intp)).start.one
        for instance in case.instances:
            if instance.given and instance.epoch == case.epoch:
                table = self._tables.check(instance.check)
                one = one + log_safe(single_likelihood(table, np.array(instance.likelihood))[1])
        return heaviest_pairs(self._tables, one, case.instances)


def cause_shares(tables: Tables, axes: Mapping[str, str]) -> Array:
    """Return pi: the share of each cause on a machine with these axes; sums to 1."""
    knowledge = tables.knowledge
    fits = np.array([fit(knowledge.causes[c].applies, axes, knowledge) for c in tables.causes])
    weights: Array = tables.frequency * fits
    return weights / max(float(weights.sum()), 1e-300)


def prior(tables: Tables, pi: Array, space: Space) -> Worlds:
    """Return the log prior: clear 0, unknown, singles pi, pairs s pi pi plus the leads_to chains.

    Where only some causes are paired, the rest of the pair prior is "strong cause + bystander": it looks like
    the strong cause alone and is added to it.
    """
    settings = tables.knowledge.settings
    one = pi.copy()
    can_pair = np.where(tables.alone, 0.0, pi)
    two = can_pair[space.first] * can_pair[space.second]
    two[tables.never_with[space.first, space.second]] = 0.0
    share = settings.pair_share
    mass = _pair_mass(tables, can_pair)
    scale = share / (1.0 - share) * float(pi.sum()) / mass if mass > 0 else 0.0
    two *= scale
    root, mechanism, chance = tables.leads_to
    places = space.places(root, mechanism)
    can = (places >= 0) & (pi[mechanism] > 0)
    np.add.at(two, places[can], (chance * pi[root])[can])
    np.subtract.at(one, root[can], (chance * pi[root])[can])
    if len(space.pairs) < len(pi):
        inside = np.zeros(len(pi), dtype=np.bool_)
        inside[space.pairs] = True
        outside = float(can_pair[~inside].sum())
        one += scale * can_pair * np.where(inside, outside, (outside - can_pair) / 2.0)
    log_one, log_two = (log_safe(np.maximum(values, 0.0)) for values in (one, two))
    return Worlds.of(space, -math.inf, math.log(settings.unknown), one=log_one, two=log_two)


def _pair_mass(tables: Tables, can_pair: Array) -> float:
    """Return the sum of pi_a pi_c over all pairs that make sense."""
    squares = float((can_pair * can_pair).sum())
    never = sum(can_pair[a] * can_pair[c] for a, c in tables.never_pairs)
    return (float(can_pair.sum()) ** 2 - squares) / 2.0 - float(never)


def heaviest_pairs(tables: Tables, one: Array, instances: Sequence[Instance]) -> Index:
    """Return the causes to be paired when there are too many: the heaviest, and those that explain an answer best.

    `one`: log weights of the one-fault worlds now.
    """
    chosen = set(np.argsort(-one.round(9), kind="stable")[:HEAVIEST_SINGLES].tolist())
    for instance in instances:
        table = tables.check(instance.check)
        if not instance.given or instance.outcome is None or table.outcomes.index(instance.outcome) == table.normal:
            continue
        explained = table.shares[table.index(instance.outcome)] * (one > -math.inf)
        chosen |= set(np.argsort(-explained, kind="stable")[:BEST_EXPLAINING].tolist())
    return np.array(sorted(chosen), dtype=np.intp)


def symptom_worlds(
    tables: Tables, symptoms: Sequence[str], denied: Sequence[str], pi: Array, *, space: Space
) -> Worlds:
    """Return log likelihoods of named and denied symptoms: noisy-OR with a leak over each world's causes.

    An unknown cause is taken to bring a symptom as often as the causes of this machine do on average; with the
    leak alone, one symptom would all but exclude "none of the known causes".
    """
    settings = tables.knowledge.settings
    none = 1.0 - settings.symptom_leak
    summed = np.zeros(2 + space.n + len(space.first))
    for names, error, named in ((symptoms, 0.0, True), (denied, settings.denied_error, False)):
        for name in dict.fromkeys(names):
            links = tables.links(name)
            one = none * (1.0 - links)
            unknown = none * (1.0 - float((pi * links).sum()))
            absent = np.concatenate((np.array([none, unknown]), one, one[space.first] * one[space.second] / none))
            summed += log_safe(1.0 - absent if named else (1.0 - error) * absent + error * (1.0 - absent))
    return Worlds(space, summed)
