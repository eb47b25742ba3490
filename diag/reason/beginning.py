"""What a call begins with, before any answer: shares of causes, possible worlds, the complaint."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from diag.reason.case import Case
from diag.reason.tables import Array, Index, Tables, log_safe
from diag.reason.worlds import (
    ALL_PAIRS_UP_TO,
    Worlds,
    cause_shares,
    heaviest_pairs,
    prior,
    single_likelihood,
    symptom_worlds,
)

MOST_KEPT = 16
"""Machines and complaints whose beginning is kept for the next judgement."""


@dataclass(frozen=True)
class Beginning:
    """Log weights before any answer."""

    pi: Array
    """By cause: its share on this machine."""
    pairs: Index
    """Causes whose pairs are worlds."""
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
        pairs = possible if len(pi) <= ALL_PAIRS_UP_TO else self._heaviest(case, pi)
        key = (machine, case.symptoms, case.denied, pairs.tobytes())
        if key not in self._kept:
            if len(self._kept) >= MOST_KEPT:
                self._kept.clear()
            symptoms = symptom_worlds(tables, case.symptoms, case.denied, pi, pairs=pairs)
            self._kept[key] = Beginning(pi, pairs, symptoms, prior(tables, pi, pairs).plus(symptoms))
        return self._kept[key]

    def _heaviest(self, case: Case, pi: Array) -> Index:
        """Return the causes whose pairs are worlds in a very large knowledge: the heaviest."""
        none = np.array([], dtype=np.intp)
        told = symptom_worlds(self._tables, case.symptoms, case.denied, pi, pairs=none)
        one = prior(self._tables, pi, none).plus(told).one
        for instance in case.instances:
            if instance.given and instance.epoch == case.epoch:
                table = self._tables.check(instance.check)
                one = one + log_safe(single_likelihood(table, np.array(instance.likelihood))[1])
        return heaviest_pairs(self._tables, one, case.instances)
