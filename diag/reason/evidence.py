"""What answers say of each world: the likelihoods of one answer, of one look, of what rules add."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from diag.reason.case import Instance
from diag.reason.tables import Array, CheckTable, Tables, log_safe
from diag.reason.worlds import Space, Worlds

MOST_REMEMBERED = 300
"""Answers whose likelihoods over all worlds are kept for the next judgement."""


def single_likelihood(table: CheckTable, likelihood: Array) -> tuple[float, Array]:
    """Return (L under the base, L by cause) of an instance."""
    return float(table.base @ likelihood), likelihood @ table.shares


def instance_worlds(table: CheckTable, likelihood: Array, space: Space, *, shared: bool = False) -> Worlds:
    """Return log likelihoods of one instance, relative to a machine that is sound there (`clear` is 0).

    `shared`: its rows are a strict part of the trouble's rows, so in a two-fault world either member may
    be the one seen there: the plain mean of the two.
    """
    base, one = single_likelihood(table, likelihood)
    a, c = one[space.first], one[space.second]
    if shared:
        two = (a + c) / 2.0
    elif table.normal is None:
        told = table.marked.astype(np.float64)
        told_a, told_c = told[space.first], told[space.second]
        number = told_a + told_c
        two = np.where(number > 0, (told_a * a + told_c * c) / np.maximum(number, 1.0), base)
    else:
        two = _noisy_or(table, likelihood, table.normal, space)
    whole = np.concatenate((np.array([base, float(table.unknown @ likelihood)]), one, two))
    return Worlds(space, log_safe(whole / base))


def _noisy_or(table: CheckTable, likelihood: Array, normal: int, space: Space) -> Array:
    """Pair {a, c}: P(n) = q_a q_c / max(q_a, q_c, b); the others share the rest as q_a(o) + q_c(o)."""
    sound = table.shares[normal]
    others, rest = likelihood @ table.shares - sound * likelihood[normal], 1.0 - sound
    a, c = sound[space.first], sound[space.second]
    p_normal = a * c / np.maximum(np.maximum(a, c), table.base[normal])
    room = rest[space.first] + rest[space.second]
    mixed = np.where(room > 0, (others[space.first] + others[space.second]) / np.maximum(room, 1e-300), 0.0)
    result: Array = p_normal * likelihood[normal] + (1.0 - p_normal) * mixed
    return result


def strongest(members: Sequence[Worlds]) -> Worlds:
    """Return, world by world, the strongest member for it plus the strongest against it."""
    if len(members) == 1:
        return members[0]
    stacked = np.stack([m.log for m in members])
    return Worlds(members[0].space, np.maximum(stacked.max(axis=0), 0.0) + np.minimum(stacked.min(axis=0), 0.0))


class Evidence:
    """Log likelihoods of instances and looks, remembered per (check, likelihood): recomputing is cheap."""

    def __init__(self, tables: Tables) -> None:
        self.tables = tables
        self._known: dict[tuple[str, tuple[float, ...], bool], Worlds] = {}
        self._looks: dict[tuple[int, ...], tuple[Sequence[Worlds], Worlds]] = {}
        self._alone: dict[tuple[int, int], tuple[Worlds, Worlds, float]] = {}

    def of(self, instance: Instance, trouble: tuple[int, ...] | None, space: Space) -> Worlds:
        """Return the log likelihoods of one instance."""
        part = instance.row_numbers is not None and trouble is not None
        shared = bool(part and set(instance.row_numbers or ()) < set(trouble or ()))
        key = (instance.check, instance.likelihood, shared)
        worlds = self._known.get(key)
        if worlds is None or worlds.space is not space:
            if len(self._known) > MOST_REMEMBERED:
                self._known.clear()
            table = self.tables.check(instance.check)
            worlds = instance_worlds(table, np.array(instance.likelihood), space, shared=shared)
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

    def look(self, instances: Sequence[Instance], trouble: tuple[int, ...] | None, space: Space) -> Worlds:
        """Return the log likelihoods of all answers read off one look: fine neighbours neither dilute nor pile up."""
        members = [self.of(i, trouble, space) for i in instances]
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
            summed = before.with_scale(float(before.scaled @ look.scaled)) + look.top
            self._alone[key] = before, look, summed
        return self._alone[key][2]


def top_up_worlds(top_ups: Mapping[int, float], space: Space) -> Worlds:
    """Return rule top-ups by world: the largest of its members, unmarked members 0."""
    t = np.zeros(space.n)
    for cause, value in top_ups.items():
        t[cause] = value
    return Worlds.of(space, 0.0, 0.0, one=t, two=np.maximum(t[space.first], t[space.second]))
