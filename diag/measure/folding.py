"""The row folded over the holes of the disc: does one hole stand out, and could accident do that?

One turn of the disc always has the same length on the ground (holes x spacing), whatever seeds are missing. Derived;
no published use on planters is known. The test by rearranging is a permutation test (Pitman 1937, from memory).
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from diag.errors import MeasureError
from diag.measure.passes import passes
from diag.measure.spacing import median

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Matrix = NDArray[Any]

TIMES = {"plugged": 2.5, "double": 2.5, "late": 3.0}
"""By kind, how many times its chance counts because three kinds are looked for.

Empty passes and pairs come in whole numbers and few, so that rearranged rows often draw level: their chance is
overstated as it is.
"""


@dataclass(frozen=True)
class Fold:
    """Seeds sorted by the hole that carried them, hole 0 the one of the first seed.

    Arrays (turn, hole): `passed`: whether the hole came by; `count`: seeds it gave; `off`: how far its seed lies from
    its neighbours' even row (in passes), not a number where there is none. `spacing`: spacing of passes found.
    """

    passed: Matrix
    count: Matrix
    off: Matrix
    spacing: float

    @property
    def turns(self) -> float:
        """Disc turns covered."""
        return float(self.passed.sum()) / int(self.passed.shape[1])

    @property
    def passes(self) -> list[int]:
        """How often each hole came by."""
        return [int(n) for n in self.passed.sum(axis=0)]

    @property
    def seeds(self) -> list[int]:
        """Seeds that each hole gave."""
        return [int(n) for n in self.count.sum(axis=0)]

    @property
    def empty_share(self) -> float:
        """Share of passes without a seed."""
        return float((self.passed & (self.count == 0)).sum() / self.passed.sum())

    @property
    def occupancy(self) -> list[float]:
        """Seeds per pass of each hole."""
        return [s / p if p else 1.0 for s, p in zip(self.seeds, self.passes, strict=True)]

    def shift(self, hole: int) -> float:
        """Median displacement at a hole (passes), 0 where it gave no seed."""
        there = [float(v) for v in self.off[:, hole] if math.isfinite(v)]
        return median(there) if there else 0.0


def fold(spacings: Sequence[float], pitch: float, holes: int) -> Fold:
    """Return the fold of a run over the holes of a disc.

    Raises MeasureError: fewer than two holes, no spacings.
    """
    import numpy as np

    if holes < 2:
        raise MeasureError("A disc has at least two holes.", remedy="Correct the number of holes.")
    if not spacings:
        raise MeasureError("There are no spacings.", remedy="Give at least one.")
    index, pitch = passes(spacings, pitch)
    places = itertools.accumulate((s / pitch for s in spacings), initial=0.0)
    ahead = [place - k for place, k in zip(places, index, strict=True)]
    turns, last = index[-1] // holes + 1, index[-1] + 1
    count = np.bincount(index, minlength=turns * holes)
    off = np.full(turns * holes, np.nan)
    off[index[::-1]] = _level(ahead, holes)[::-1]  # of two seeds of one pass the first counts
    shape = (turns, holes)
    passed = np.arange(turns * holes) < last
    return Fold(passed.reshape(shape), count.reshape(shape), off.reshape(shape), pitch)


def _level(values: Sequence[float], window: int) -> list[float]:
    """Return values minus their mean over `window` neighbours on both sides, so that slow drift falls out."""
    sums = list(itertools.accumulate(values, initial=0.0))
    n, half = len(values), window // 2 + 1
    spans = ((max(0, i - half), min(n, i + half + 1)) for i in range(n))
    return [v - (sums[b] - sums[a]) / (b - a) for v, (a, b) in zip(values, spans, strict=True)]


@dataclass(frozen=True)
class HoleFault:
    """A hole that stands out: `kind` of TIMES; `chance` that some hole does so by accident in one of these ways."""

    kind: str
    hole: int
    chance: float


TRIES = (199, 1800)
"""Rearrangements: the first few dismiss most rows, the rest settle those that are left."""
HOPELESS = 4
"""So many of the first rearrangements as striking as the row itself end the matter."""


def standing_out(folded: Fold) -> HoleFault | None:
    """Return the hole that accident could least make stand out so, None where none stands out at all.

    Each disc turn of the row is moved round by a random number of holes: what belongs to a hole falls apart, while
    skips, pairs and waves along the row stay as they are. So the chance rests on no distribution, nor on passes being
    independent. It is that of the most striking of all holes, taken `TIMES` for the three kinds.
    """
    import numpy as np

    rng = np.random.default_rng(20)
    found = []
    for kind, (score, n) in _scores(folded).items():
        striking = _striking(kind, score.sum(axis=0), n.sum(axis=0))
        own = float(striking.max())
        if own <= 0:
            continue
        beyond = tried = 0
        for tries in TRIES:
            beyond += int((_rearranged(kind, score, n, tries, rng=rng).max(axis=1) >= own - 1e-9).sum())
            tried += tries
            if beyond >= HOPELESS:
                break
        found.append(HoleFault(kind, int(striking.argmax()), min(1.0, TIMES[kind] * (1 + beyond) / (1 + tried))))
    return min(found, key=lambda f: f.chance, default=None)


def _scores(folded: Fold) -> dict[str, tuple[Matrix, Matrix]]:
    """Return per kind how far each pass speaks for that fault, centred, and which passes can speak at all."""
    import numpy as np

    passed, there = folded.passed, np.isfinite(folded.off)
    empty, more = passed & (folded.count == 0), folded.count > 1
    late = np.where(there, np.clip(folded.off, -0.5, 0.5), 0.0)
    return {"plugged": (np.where(passed, empty - empty.sum() / passed.sum(), 0.0), passed.astype(float)),
            "double": (np.where(passed, more - more.sum() / passed.sum(), 0.0), passed.astype(float)),
            "late": (late, there.astype(float))}


def _striking(kind: str, score: Matrix, n: Matrix) -> Matrix:
    """Return how striking sums of scores of `n` passes are; a single pass strikes nobody, early counts like late."""
    import numpy as np

    size = np.abs(score) if kind == "late" else score
    return np.where(n > 1, size / np.sqrt(np.maximum(n, 1)), 0.0)


def _rearranged(kind: str, score: Matrix, n: Matrix, tries: int, rng: Any) -> Matrix:
    """Return how striking each hole is after each of so many rearrangements: array (try, hole)."""
    import numpy as np

    turns, holes = score.shape
    sums, counts = np.zeros((tries, holes)), np.zeros((tries, holes))
    for turn in range(turns):
        at = (np.arange(holes) + rng.integers(0, holes, (tries, 1))) % holes
        sums += score[turn][at]
        counts += n[turn][at] if turn in (0, turns - 1) or not n[turn].all() else 1.0
    return _striking(kind, sums, counts)


def wavy(folded: Fold, hole: int) -> float:
    """Return how alike the shifts of neighbouring holes are, one hole left out: correlation at lag 1.

    A single late hole leaves its neighbours alone; a drive wave carries them along.
    """
    others = [0.0 if h == hole else folded.shift(h) for h in range(len(folded.passes))]
    total = math.fsum(s * s for s in others)
    pairs = zip(others, others[1:] + others[:1], strict=True)
    return math.fsum(a * b for a, b in pairs) / total if total > 0 else 0.0


def turns_needed(holes: int, empty_share: float, risk: float = 0.05) -> int:
    """Return the disc turns after which a hole that is always empty cannot be an accident; at least 3."""
    q = min(max(empty_share, 0.01), 0.9)
    return max(3, math.ceil(math.log(risk / (3 * holes)) / math.log(q)))
