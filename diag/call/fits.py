"""How well the answers of a call fit each cause: chances of what was answered, one answer or many together."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from diag.reason.tables import Tables
from diag.record.kinds import Answer

Chances = NDArray[np.float64]
"""By cause: the chance of what was answered, if it is that cause."""


class Fits:
    """Answers with their outcomes, held against every cause. No belief: how often a cause occurs plays no part."""

    def __init__(self, tables: Tables, told: Sequence[tuple[Answer, str]], rivals: Collection[str],
                 counts: Callable[[Answer], bool]) -> None:
        self._tables, self._told, self._rivals, self._counts = tables, told, rivals, counts
        self._outcomes = {answer.event: (answer.check, outcome) for answer, outcome in told}

    def of(self, event: str) -> Chances:
        """Return the chances of one answer."""
        check, outcome = self._outcomes[event]
        table = self._tables.check(check)
        chances: Chances = table.shares[table.index(outcome)]
        return chances

    @cached_property
    def firm(self) -> dict[int, Chances]:
        """Epoch -> the chances of all answers in it that count as firm evidence on the machine as it is."""
        found: dict[int, Chances] = {}
        for answer, _ in self._told:
            if self._counts(answer):
                found[answer.epoch] = found.get(answer.epoch, 1.0) * self.of(answer.event)
        return found

    @cached_property
    def before(self) -> Chances:
        """The chances of all that was answered before a repair."""
        found: Chances = np.ones(len(self._tables.position))
        for answer, _ in self._told:
            found = found * self.of(answer.event) if answer.epoch == 0 else found
        return found

    def lead(self, chances: Chances, cause: str) -> float:
        """Return how many times likelier a cause makes it than the best of the other causes of the complaint."""
        others = [self._tables.position[c] for c in self._rivals if c != cause]
        best = float(chances[others].max(initial=0.0))
        mine = float(chances[self._tables.position[cause]])
        return mine / best if best > 0 else float("inf") if mine > 0 else 0.0
