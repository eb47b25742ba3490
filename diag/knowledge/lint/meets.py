"""Whether entries bound to machine axes can meet on one machine."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache
from itertools import product

from diag.knowledge.vocabulary import Applies

Machine = tuple[tuple[str, frozenset[str]], ...]
"""Axes with the values that are left, sorted by axis."""


def can_meet(*bound: Applies) -> bool:
    """Return whether some machine fits all of these."""
    options = [kinds(_key(applies)) for applies in bound]
    return any(_merged(choice) is not None for choice in product(*options))


@lru_cache(maxsize=2_000)
def kinds(key: tuple[Machine, ...]) -> tuple[Machine, ...]:
    """Return the alternatives of `any`, each narrowed by the axes that bind always (first of the key)."""
    always, *others = key
    if not others:
        return (always,)
    return tuple(m for other in others if (m := _merged((always, other))) is not None)


def _key(applies: Applies) -> tuple[Machine, ...]:
    return _machine(applies.axes), *(_machine(other) for other in applies.any)


def _machine(axes: Mapping[str, Iterable[str]]) -> Machine:
    return tuple(sorted((axis, frozenset(values)) for axis, values in axes.items()))


@lru_cache(maxsize=20_000)
def _merged(machines: tuple[Machine, ...]) -> Machine | None:
    left: dict[str, frozenset[str]] = {}
    for machine in machines:
        for axis, values in machine:
            left[axis] = left[axis] & values if axis in left else values
            if not left[axis]:
                return None
    return tuple(sorted(left.items()))
