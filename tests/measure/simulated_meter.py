"""A simulated meter: holes that fill, double, release late; placement jitter; a wavy drive. Seeded."""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True)
class Meter:
    """What is wrong with a meter. Lengths in targets; `fill`, `late`, `double` by hole."""

    holes: int = 40
    skip: float = 0.0
    double: float = 0.0
    jitter: float = 0.0
    plugged: frozenset[int] = frozenset()
    doubling: frozenset[int] = frozenset()
    late: Mapping[int, float] = field(default_factory=dict)
    wave: float = 0.0
    wave_period: float = 0.0
    stretch: float = 1.0

    def positions(self, turns: float, seed: int, target: float = 1.0) -> list[float]:
        """Seed positions of so many disc turns, in the unit of the target, sorted."""
        rng = random.Random(seed)
        found = []
        for i in range(round(turns * self.holes)):
            hole = i % self.holes
            drop = 0 if hole in self.plugged or rng.random() < self.skip else 1
            drop += 1 if hole in self.doubling or rng.random() < self.double else 0
            place = i * self.stretch + self.late.get(hole, 0.0)
            if self.wave_period:
                place += self.wave * self.wave_period / (2 * math.pi) * math.sin(2 * math.pi * i / self.wave_period)
            for extra in range(drop):
                found.append((place + 0.1 * extra + rng.gauss(0, self.jitter)) * target)
        found.sort()
        return [p - found[0] for p in found]

    def spacings(self, turns: float, seed: int, target: float = 1.0) -> list[float]:
        """Spacings of so many disc turns."""
        found = self.positions(turns, seed, target)
        return [b - a for a, b in itertools.pairwise(found)]
