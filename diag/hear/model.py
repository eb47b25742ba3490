"""The trained vote: what texts that people labelled teach about which words go with which symptom.

A linear model over the features of `diag.hear.features`, kept as small whole numbers in one file beside the texts it
was trained on, with the constants that mix it with the other votes. Plain numpy applies it; training is `train.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from math import exp
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diag.errors import KnowledgeError

FILE = "weights.npz"
NO_COMPLAINT = ""
"""Stands among the names of the classes for a text that is no complaint of the list."""
STRENGTH: Mapping[str, float] = {"words": 1.0, "pieces": 0.8, "near": 4.0, "about": 1.5}
"""Length to which each group of features is scaled."""
OF_TEXT = ("words", "pieces")
"""Groups of a whole text."""
OF_SLOT = (*OF_TEXT, "about")
"""Groups of a whole text with what it is likely about."""
OF_NUMBER = ("near",)
"""Groups of a number in it."""
_PARTS: Mapping[str, Sequence[str]] = {"symptoms": OF_TEXT, "slots": OF_SLOT, "numbers": OF_NUMBER}
MOST_POINTS = 6.0
"""Points of the lexicon above which a symptom gets no more credit."""

_LEADING = 0.1
"""Chance from which a symptom helps to tell what the numbers of a text are."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mixing:
    """What each vote counts, fitted on hands that the model had not seen."""

    trained: float = 1.0
    points: float = 0.5
    like: float = 2.0
    denied: float = -2.0
    believed: float = -1.0
    none: tuple[float, ...] = (-3.0, 0.0, -0.5, 2.5, 1.0, -1.0, 0.0)
    """Constant, log odds of the trained vote, most points, words of other matters, of asides, of planters; of planters
    and something seen."""
    none_from: float = 0.5
    tick_from: float = 0.9


def leading(trained: Mapping[str, float]) -> dict[str, float]:
    """Return the classes that a text is likely about, with their chances."""
    most = max(trained.values(), default=0.0)
    weights = {name: exp(odds - most) for name, odds in trained.items()}
    total = sum(weights.values())
    return {name: weight / total for name, weight in weights.items() if weight >= _LEADING * total}


@dataclass(frozen=True, slots=True)
class Group:
    """One group of features: sorted numbers, how telling each is, and a weight per class."""

    keys: NDArray[np.uint32]
    rarity: NDArray[np.float32]
    weights: NDArray[np.int8]
    scale: NDArray[np.float32]

    def vote(self, counted: Mapping[int, float], strength: float) -> Floats:
        """Return points per class for counted features; unknown ones are passed over."""
        total = np.zeros(self.weights.shape[1])
        if not counted or not len(self.keys):
            return total
        keys = np.fromiter(counted.keys(), np.uint32, len(counted))
        times = np.fromiter(counted.values(), np.float64, len(counted))
        at = np.minimum(np.searchsorted(self.keys, keys), len(self.keys) - 1)
        known = self.keys[at] == keys
        at, value = at[known], (1 + np.log(times[known])) * self.rarity[at[known]]
        length = float(np.sqrt((value * value).sum()))
        if not length:
            return total
        summed = (self.weights[at] * (value * (strength / length))[:, None]).sum(0)
        return np.asarray(summed * self.scale, np.float64)


@dataclass(frozen=True, slots=True)
class Linear:
    """Weights of several groups of features for the same classes."""

    names: tuple[str, ...]
    groups: Mapping[str, Group]
    bias: NDArray[np.float32]

    def vote(self, counted: Mapping[str, Mapping[int, float]]) -> dict[str, float]:
        """Return log odds (up to a constant) by class for the counted features of each group."""
        total = self.bias.astype(np.float64)
        for name, group in self.groups.items():
            total = total + group.vote(counted[name], STRENGTH[name])
        return dict(zip(self.names, total.tolist(), strict=True))


@dataclass(frozen=True, slots=True)
class Model:
    """All that was learnt, with everything needed to use it."""

    symptoms: Linear
    """Classes: symptoms and `NO_COMPLAINT`."""
    slots: Linear
    """Classes: `slot value`, each for itself: whether the text tells so."""
    numbers: Linear
    """Classes: what a number is told for."""
    mixing: Mixing
    digest: str
    """Of all that it was trained on: see `train.digest_of`."""

    def save(self, path: Path) -> None:
        """Write the weights as one compressed file of plain arrays."""
        arrays: dict[str, Any] = {"digest": np.array(self.digest)}
        arrays |= {f"mixing_{name}": np.array(value) for name, value in asdict(self.mixing).items()}
        for part in _PARTS:
            linear: Linear = getattr(self, part)
            arrays |= {f"{part}_names": np.array(linear.names), f"{part}_bias": linear.bias}
            for name, group in linear.groups.items():
                arrays |= {f"{part}_{name}_{field}": value for field, value in (
                    ("keys", group.keys), ("rarity", group.rarity.astype(np.float16)),
                    ("weights", group.weights), ("scale", group.scale),
                )}
        np.savez_compressed(path, **arrays)


@lru_cache(maxsize=4)
def load_model(path: Path) -> Model:
    """Return the trained model kept in a file. Raises KnowledgeError when it cannot be read."""
    try:
        with np.load(path, allow_pickle=False) as kept:
            parts = {part: _linear(kept, part, groups) for part, groups in _PARTS.items()}
            mixed = {name: kept[f"mixing_{name}"].tolist() for name in Mixing.__dataclass_fields__}
            mixing = Mixing(**mixed | {"none": tuple(mixed["none"])})
            return Model(**parts, mixing=mixing, digest=str(kept["digest"]))
    except (OSError, ValueError, KeyError, EOFError) as error:
        raise KnowledgeError(
            "The trained weights cannot be read.", str(path), "Make them again: `diag knowledge train`."
        ) from error


def _linear(kept: Any, part: str, groups: Sequence[str]) -> Linear:
    names: Sequence[str] = kept[f"{part}_names"].tolist()
    return Linear(tuple(names), {name: _group(kept, f"{part}_{name}") for name in groups}, kept[f"{part}_bias"])


def _group(kept: Any, name: str) -> Group:
    parts = [kept[f"{name}_{part}"] for part in ("keys", "rarity", "weights", "scale")]
    return Group(parts[0], parts[1].astype(np.float32), parts[2], parts[3])
