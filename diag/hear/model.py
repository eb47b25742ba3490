"""The trained vote: what texts that people labelled teach about which words go with which symptom.

A linear model over the features of `diag.hear.features`, kept as small whole numbers in one file beside the texts it
was trained on, with the constants that mix it with the other votes. Plain numpy applies it; training is `train.py`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from diag.errors import KnowledgeError

FILE = "weights.npz"
NO_COMPLAINT = ""
"""Stands among the names of the classes for a text that is no complaint of the list."""
STRENGTH: Mapping[str, float] = {"words": 1.0, "pieces": 0.8}
"""Length to which each group of features is scaled."""
MOST_POINTS = 6.0
"""Points of the lexicon above which a symptom gets no more credit."""

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Mixing:
    """What each vote counts, fitted on hands that the model had not seen."""

    trained: float = 1.0
    points: float = 0.5
    like: float = 2.0
    denied: float = -2.0
    believed: float = -1.0
    none: tuple[float, ...] = (-3.0, 0.0, -0.5, 2.5, 1.0, -1.0)
    """Constant, log odds of the trained vote, most points, words of other matters, of asides, of planters."""
    none_from: float = 0.5
    tick_from: float = 0.9


@dataclass(frozen=True, slots=True)
class Group:
    """One group of features: sorted numbers, how telling each is, and a weight per class."""

    keys: NDArray[np.uint32]
    rarity: NDArray[np.float32]
    weights: NDArray[np.int8]
    scale: NDArray[np.float32]

    def vote(self, counted: Mapping[int, int], strength: float) -> Floats:
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
class Model:
    """The trained weights with everything needed to use them."""

    names: tuple[str, ...]
    groups: Mapping[str, Group]
    bias: NDArray[np.float32]
    mixing: Mixing
    digest: str
    """Of all that it was trained on: see `train.digest_of`."""

    def vote(self, counted: Mapping[str, Mapping[int, int]]) -> dict[str, float]:
        """Return log odds (up to a constant) by class for the counted features of each group."""
        total = self.bias.astype(np.float64)
        for name, group in self.groups.items():
            total = total + group.vote(counted[name], STRENGTH[name])
        return dict(zip(self.names, total.tolist(), strict=True))

    def save(self, path: Path) -> None:
        """Write the weights as one compressed file of plain arrays."""
        arrays: dict[str, Any] = {"names": np.array(self.names), "bias": self.bias, "digest": np.array(self.digest)}
        arrays |= {f"mixing_{name}": np.array(value) for name, value in asdict(self.mixing).items()}
        for name, group in self.groups.items():
            arrays |= {f"{name}_{part}": value for part, value in (
                ("keys", group.keys), ("rarity", group.rarity.astype(np.float16)),
                ("weights", group.weights), ("scale", group.scale),
            )}
        np.savez_compressed(path, **arrays)


@lru_cache(maxsize=4)
def load_model(path: Path) -> Model:
    """Return the trained model kept in a file. Raises KnowledgeError when it cannot be read."""
    try:
        with np.load(path, allow_pickle=False) as kept:
            groups = {name: _group(kept, name) for name in STRENGTH}
            mixed = {name: kept[f"mixing_{name}"].tolist() for name in Mixing.__dataclass_fields__}
            mixing = Mixing(**mixed | {"none": tuple(mixed["none"])})
            names: Sequence[str] = kept["names"].tolist()
            return Model(tuple(names), groups, kept["bias"], mixing, str(kept["digest"]))
    except (OSError, ValueError, KeyError, EOFError) as error:
        raise KnowledgeError(
            "The trained weights cannot be read.", str(path), "Make them again: `diag knowledge train`."
        ) from error


def _group(kept: Any, name: str) -> Group:
    parts = [kept[f"{name}_{part}"] for part in ("keys", "rarity", "weights", "scale")]
    return Group(parts[0], parts[1].astype(np.float32), parts[2], parts[3])
