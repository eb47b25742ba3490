"""Knowledge turned into arrays once per load: what each cause makes each check show."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.knowledge.shares import base_shares, outcome_shares, told

Array = npt.NDArray[np.float64]
Flags = npt.NDArray[np.bool_]
Index = npt.NDArray[np.intp]
STRONGLY, FEW = 4.5, 10
"""A finding points at a cause that brings it so many times oftener than a sound machine does; at few: so many causes
(estimates)."""


@dataclass(frozen=True)
class CheckTable:
    """One check: outcomes, base shares b(o) of a sound machine, and q(o|c) for every cause (k outcomes x n causes)."""

    outcomes: tuple[str, ...]
    base: Array
    shares: Array
    unknown: Array
    """What an unknown cause shows: the base, spoiled in part by what the causes that speak here show on average."""
    marked: Flags
    """Causes of which something is told here."""
    normal: int | None

    def index(self, outcome: str) -> int:
        """Return the position of an outcome."""
        return self.outcomes.index(outcome)

    def ratio(self, outcome: str, cause: int) -> float:
        """Return q(o|c) / b(o): what this outcome says about this cause."""
        o = self.index(outcome)
        return float(self.shares[o, cause] / self.base[o])

    @cached_property
    def aims(self) -> Flags:
        """By cause: some finding points strongly at it and at no more than a few others."""
        findings = [o for o in range(len(self.base)) if o != self.normal]
        strongly = (self.shares[findings] >= STRONGLY * self.base[findings, None]) & self.marked
        few = strongly.sum(axis=1) <= FEW
        aimed: Flags = strongly[few].any(axis=0)
        return aimed


class Tables:
    """All causes and checks of one knowledge base as arrays; causes in id order."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.causes: tuple[str, ...] = tuple(sorted(knowledge.causes))
        self.position: Mapping[str, int] = {c: i for i, c in enumerate(self.causes)}
        self._checks: dict[str, CheckTable] = {}
        self._links: dict[str, Array] = {}

    @cached_property
    def frequency(self) -> Array:
        """Primary causes per 1,000 calls, by cause."""
        return np.array([self.knowledge.causes[c].per_mille for c in self.causes], dtype=np.float64)

    @cached_property
    def alone(self) -> Flags:
        """Causes that stand alone (nothing wrong on the machine)."""
        return np.array([self.knowledge.causes[c].no_fault for c in self.causes], dtype=np.bool_)

    @cached_property
    def never_pairs(self) -> tuple[tuple[int, int], ...]:
        """Pairs of causes that can both stand with others but make no sense together, each once."""
        a, c = np.nonzero(np.triu(self.never_with, k=1))
        return tuple((int(x), int(y)) for x, y in zip(a, c, strict=True))

    @cached_property
    def never_with(self) -> Flags:
        """Pairs that make no sense (n x n, symmetric)."""
        n = len(self.causes)
        never = np.zeros((n, n), dtype=np.bool_)
        for i, cause in enumerate(self.causes):
            for other in self.knowledge.causes[cause].never_with:
                j = self.position[other]
                never[i, j] = never[j, i] = True
        return never

    @cached_property
    def leads_to(self) -> tuple[Index, Index, Array]:
        """Chains: roots, mechanisms, chances."""
        chains = [(i, self.position[b.cause], b.chance) for i, cause in enumerate(self.causes)
                  for b in self.knowledge.causes[cause].leads_to]
        roots, mechanisms = (np.array([chain[end] for chain in chains], dtype=np.intp) for end in (0, 1))
        return roots, mechanisms, np.array([chance for _, _, chance in chains], dtype=np.float64)

    @cached_property
    def repair_minutes(self) -> Array:
        """Minutes of each cause's repair."""
        return np.array([self.knowledge.causes[c].repair.minutes for c in self.causes], dtype=np.float64)

    @cached_property
    def if_wrong(self) -> Array:
        """Minutes' worth lost by each repair done in vain."""
        return np.array([self.knowledge.causes[c].repair.if_wrong for c in self.causes], dtype=np.float64)

    @cached_property
    def reversible(self) -> Flags:
        """Repairs that can be put back from the seat in a few minutes."""
        return np.array([self.knowledge.causes[c].repair.reversible for c in self.causes], dtype=np.bool_)

    @cached_property
    def works(self) -> Array:
        """Chance that each repair cures its cause."""
        usual = self.knowledge.settings.repair_works
        values = (self.knowledge.causes[c].repair.works for c in self.causes)
        return np.array([usual if w is None else w for w in values], dtype=np.float64)

    @cached_property
    def grower_can(self) -> Flags:
        """Repairs a grower can do alone or guided by phone."""
        return np.array([self.knowledge.causes[c].repair.by != "technician" for c in self.causes], dtype=np.bool_)

    @cached_property
    def reading(self) -> tuple[tuple[str, Check], ...]:
        """Checks, as asked, that read what the call tells besides its answers."""
        return tuple((key, check) for key, check in self.knowledge.questions.items() if check.reads is not None)

    def links(self, symptom: str) -> Array:
        """Return, by cause, the chance that the cause brings the symptom (0 where it does not)."""
        if symptom not in self._links:
            chances = {name: like.chance for name, like in self.knowledge.likelihoods.items()}
            words = [self.knowledge.causes[c].symptoms.get(symptom) for c in self.causes]
            self._links[symptom] = np.array([chances[word] if word else 0.0 for word in words], dtype=np.float64)
        return self._links[symptom]

    def check(self, key: str) -> CheckTable:
        """Return the table of a check as asked (built at first use)."""
        table = self._checks.get(key)
        if table is None:
            table = self._checks[key] = self._build(key, self.knowledge.questions[key])
        return table

    def _build(self, key: str, check: Check) -> CheckTable:
        knowledge, settings = self.knowledge, self.knowledge.settings
        base_by_name = base_shares(check, settings)
        outcomes = tuple(base_by_name)
        base = np.array([base_by_name[o] for o in outcomes], dtype=np.float64)
        shares = np.repeat(base[:, None], len(self.causes), axis=1)
        flags = np.zeros(len(self.causes), dtype=np.bool_)
        for i, name in enumerate(self.causes):
            cause = knowledge.causes[name]
            if told(check, cause) is not None:
                flags[i] = True
                shares[:, i] = list(outcome_shares(check, cause, knowledge.likelihoods, settings).values())
        spoiled = base
        if flags.any():
            weights = np.where(flags, self.frequency, 0.0)
            spoiled = (shares * weights[None, :]).sum(axis=1) / max(float(weights.sum()), 1e-300)
        unknown = (1.0 - settings.unknown_spoils) * base + settings.unknown_spoils * spoiled
        normal = next((i for i, o in enumerate(outcomes) if check.outcomes[o].normal), None)
        return CheckTable(outcomes, base, shares, unknown=unknown, marked=flags, normal=normal)


def log_safe(values: Array) -> Array:
    """Return natural logs, -inf for 0, without a warning."""
    with np.errstate(divide="ignore"):
        return np.log(values)
