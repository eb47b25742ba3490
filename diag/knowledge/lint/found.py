"""Can every cause be found: does it become likely, from its commonest complaint, by one answer or two?"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

from diag.knowledge.base import Fault, Knowledge
from diag.knowledge.lint.meets import can_meet
from diag.knowledge.lint.shows import OutcomeTable

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Array = npt.NDArray[np.float64]

LIKELY = 0.5
"""Belief from which a cause counts as found."""
OFTEN = 0.2
"""Least chance of an answer that is to find its cause."""
BEST = 12
"""Best single answers that are tried with every other one."""


@dataclass(frozen=True)
class Route:
    """The one or two answers that make a cause likeliest, and how likely."""

    belief: float
    answers: tuple[str, ...]
    """Each as "question outcome"."""


def flaws(k: Knowledge, all_tables: Mapping[str, OutcomeTable]) -> Iterator[Fault]:
    """Yield causes that no one or two answers make likely."""
    for key, route in routes(k, all_tables).items():
        if route.belief < LIKELY and not k.causes[key].no_fault:
            seen = " and ".join(route.answers) or "its complaint"
            what = f"Not found: belief {route.belief:.2f} after {seen}."
            yield ("causes", key, "shows"), what, "Let it show almost always in a look or test that finds it."


def routes(k: Knowledge, all_tables: Mapping[str, OutcomeTable]) -> dict[str, Route]:
    """Return the best route to every cause among all that its machines can have; single faults, sure answers."""
    import numpy as np

    causes = list(k.causes)
    rows = [(f"{key} {o}", t.check.look or t.owner, t, i)
            for key, t in all_tables.items() for i, o in enumerate(t.check.outcomes)]
    ratio = np.ones((len(rows), len(causes)))
    chance = np.zeros((len(rows), len(causes)))
    place = {c: i for i, c in enumerate(causes)}
    for n, (_, _, t, i) in enumerate(rows):
        chance[n] = t.base[i]
        for c, row in t.rows.items():
            ratio[n, place[c]] = row[i] / t.base[i]
            chance[n, place[c]] = row[i]
    looks = np.array([look for _, look, _, _ in rows])
    found = {}
    for c, cause in k.causes.items():
        fits = np.array([can_meet(cause.applies, other.applies) for other in k.causes.values()])
        weights = np.where(fits, _complained(k, c, causes), 0.0)
        asked = {key: can_meet(cause.applies, t.check.applies) for key, t in all_tables.items()}
        open_rows = np.array([asked[t.check.id] for _, _, t, _ in rows])
        usable = np.flatnonzero(open_rows & (chance[:, place[c]] >= OFTEN) & (ratio[:, place[c]] > 1.0))
        found[c] = _best(ratio[usable], weights, looks[usable], [rows[int(n)][0] for n in usable], at=place[c])
    return found


def _complained(k: Knowledge, cause: str, causes: list[str]) -> Array:
    """Return frequency times the chance of a cause's commonest complaint, by cause."""
    import numpy as np

    known = k.likelihoods
    mine = {s: known[w].chance for s, w in k.causes[cause].symptoms.items() if w in known}
    symptom = max(mine, key=lambda s: mine[s], default="")
    leak = k.settings.symptom_leak

    def link(other: str) -> float:
        word = k.causes[other].symptoms.get(symptom)
        return known[word].chance if word in known and word else 0.0

    return np.array([k.causes[c].per_mille * (1 - (1 - leak) * (1 - link(c))) for c in causes])


def _best(ratio: Array, weights: Array, looks: npt.NDArray[np.str_], names: list[str], at: int) -> Route:
    import numpy as np

    plain = float(weights[at] / max(float(weights.sum()), 1e-300))
    if not names:
        return Route(plain, ())
    joint = ratio * weights[None, :]
    alone = joint[:, at] / joint.sum(axis=1)
    best = Route(float(alone.max()), (names[int(alone.argmax())],))
    for first in np.argsort(-alone, kind="stable")[:BEST]:
        both = joint * ratio[first][None, :]
        belief = np.where(looks == looks[first], 0.0, both[:, at] / both.sum(axis=1))
        second = int(belief.argmax())
        if float(belief[second]) > best.belief and best.belief < LIKELY:
            best = Route(float(belief[second]), (names[int(first)], names[second]))
    return best
