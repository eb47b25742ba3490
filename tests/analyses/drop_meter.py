"""Rows planted by a simulated machine: when seeds leave the disc, how they fall, where they come to lie.

Written from the physics of the drop, apart from the analyses it judges: nothing of the package is used. Times in
seconds, lengths in metres, one hole pass after the other; the row is what lies in the ground, in order of place.
"""

from __future__ import annotations

import itertools
import math
import random
from collections.abc import Mapping
from dataclasses import dataclass, field, replace

GRAVITY = 9.80665


@dataclass(frozen=True)
class Row:
    """A machine row: what its meter, its tube or belt and its drive do.

    `release`, `roll`: standard deviations of the release time and of the seed's travel in the furrow. `bounce`: share
    of seeds that touch the tube wall, each touch delaying by an exponential time of mean `touch`. `flights`: time from
    flight to flight of a belt that takes the seed down, and which a seed waits for; 0 is a tube. `wave`: relative speed
    error of the drive, one period in `wave_passes` hole passes. `plugged`, `doubling`: holes; `late`: delay by hole.
    """

    holes: int = 40
    pitch: float = 0.166
    speed: float = 2.235
    skips: float = 0.01
    doubles: float = 0.01
    release: float = 0.003
    tube: float = 0.45
    bounce: float = 0.15
    touch: float = 0.006
    flights: float = 0.0
    roll: float = 0.004
    wave: float = 0.0
    wave_passes: float = 17.0
    plugged: frozenset[int] = frozenset()
    doubling: frozenset[int] = frozenset()
    late: Mapping[int, float] = field(default_factory=dict)

    def places(self, turns: float, seed: int) -> list[float]:
        """Return where the seeds of so many disc turns lie along the row, from the first one."""
        rng = random.Random(seed)
        phase = rng.uniform(0, 2 * math.pi)
        found = []
        for n in range(round(turns * self.holes)):
            hole = n % self.holes
            leaves = self._passes(n, phase) + self.late.get(hole, 0.0)
            if hole not in self.plugged and rng.random() >= self.skips:
                found.append(self._lies(leaves, rng))
            if hole in self.doubling or rng.random() < self.doubles:
                found.append(self._lies(leaves + rng.uniform(0.004, 0.02), rng))
        found.sort()
        return [place - found[0] for place in found]

    def spacings(self, turns: float, seed: int) -> list[float]:
        """Return the spacings of so many disc turns."""
        return [b - a for a, b in itertools.pairwise(self.places(turns, seed))]

    def _passes(self, n: int, phase: float) -> float:
        """Return when hole pass `n` comes to the release point: the drive runs ahead and behind by the wave."""
        turn = 2 * math.pi / self.wave_passes
        ahead = self.wave / turn * (math.sin(turn * n + phase) - math.sin(phase))
        return (n + ahead) * self.pitch / self.speed

    def _lies(self, leaves: float, rng: random.Random) -> float:
        """Return where a seed that leaves the disc at a time comes to lie."""
        leaves += rng.gauss(0, self.release)
        if self.flights:
            down = rng.uniform(0, self.flights)
        else:
            down = math.sqrt(2 * self.tube / GRAVITY)
            while rng.random() < self.bounce:
                down += rng.expovariate(1 / self.touch)
        return self.speed * (leaves + down) + rng.gauss(0, self.roll)


PITCH_TIME = Row.pitch / Row.speed
PLAIN = Row()
RAGGED = Row(release=0.3 * PITCH_TIME, bounce=0.0)
"""Places scatter by three tenths of the pitch."""
SKIPPING = Row(skips=0.15)
ORDINARY_TUBE = Row(release=0.004, bounce=0.25, touch=0.008, roll=0.006, skips=0.005, doubles=0.005)
BAD_TUBE = Row(release=0.008, bounce=0.6, touch=0.03, roll=0.02, skips=0.005, doubles=0.005)


def drawn(row: Row, seed: int) -> tuple[Row, float]:
    """Return the row on some disc, under a tube or a belt, and how many disc turns of it are measured."""
    rng = random.Random(1000 + seed)
    belt = 0.011 if row.bounce and rng.random() < 0.3 else 0.0
    return replace(row, holes=rng.choice((24, 30, 40, 56)), flights=belt), rng.choice((3.2, 4, 5, 6, 8, 10))


def waving(seed: int) -> tuple[Row, float]:
    """Return a row whose drive speeds up and slows down, by 3 to 20 %, over 4 to 70 seeds."""
    rng = random.Random(2000 + seed)
    row, turns = drawn(PLAIN, seed)
    return replace(row, wave=rng.uniform(0.03, 0.2), wave_passes=rng.uniform(4, 70)), turns
