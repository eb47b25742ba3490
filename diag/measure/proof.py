"""How many seeds prove a repair: fixed counts, a test that stops early, three steps of proof.

A plan sets a good share (accepted almost always) and a bad share (refused almost always). Risks:
`maker`: chance to refuse a good repair; `user`: chance to accept a bad one. Sequential test: Wald's
probability ratio test (from memory); plans use exact binomial chances.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from diag.errors import MeasureError
from diag.measure.counting import binomial_cdf, exact_interval, fisher


@dataclass(frozen=True)
class SamplingPlan:
    """Count `n` seeds and accept up to `accept` bad ones. `maker`, `user`: the risks really run."""

    n: int
    accept: int
    good: float
    bad: float
    maker: float
    user: float


def _shares(good: float, bad: float, maker: float, user: float) -> None:
    if not (0 <= good < bad < 1):
        raise MeasureError("The good share must lie below the bad share.", remedy="For example 1 % and 4 %.")
    if not (0 < maker < 0.5 and 0 < user < 0.5):
        raise MeasureError("A risk lies between 0 and one half.", remedy="For example 5 %.")


def plan(good: float, bad: float, maker: float = 0.05, user: float = 0.05, most: int = 20_000) -> SamplingPlan:
    """Return the smallest plan that keeps both risks. Raises MeasureError beyond `most` seeds."""
    _shares(good, bad, maker, user)
    for accept in range(1000):
        n = _seeds_for(accept, bad, user, most)
        if n is None:
            break
        risk = 1 - binomial_cdf(accept, n, good)
        if risk <= maker:
            return SamplingPlan(n, accept, good, bad, maker=risk, user=binomial_cdf(accept, n, bad))
    raise MeasureError(f"More than {most} seeds would be needed.", remedy="Take shares farther apart.")


def _seeds_for(accept: int, bad: float, user: float, most: int) -> int | None:
    """Return the smallest n at which `accept` or fewer bad ones are unlikely at the bad share."""
    low, high = accept, most + 1
    while low < high:
        n = (low + high) // 2
        low, high = (low, n) if binomial_cdf(accept, n, bad) <= user else (n + 1, high)
    return low if low <= most else None


def fixed(n: int, good: float, bad: float, user: float = 0.05) -> SamplingPlan | None:
    """Return the plan for a given number of seeds, None when n seeds cannot refuse the bad share."""
    _shares(good, bad, user, user)
    accept = max((k for k in range(n + 1) if binomial_cdf(k, n, bad) <= user), default=None)
    if accept is None:
        return None
    return SamplingPlan(n, accept, good, bad, maker=1 - binomial_cdf(accept, n, good),
                        user=binomial_cdf(accept, n, bad))


@dataclass(frozen=True)
class Sequential:
    """State of a test that stops early. `verdict`: accepted, not_accepted or go_on.

    `least_more`: seeds without a fault that would end it.
    """

    verdict: str
    n: int
    k: int
    least_more: int


def sequential(k: int, n: int, good: float, bad: float, maker: float = 0.05,
               user: float = 0.05) -> Sequential:
    """Return where a sequential test stands after k bad ones in n. Raises MeasureError."""
    _shares(good, bad, maker, user)
    if not 0 <= k <= n:
        raise MeasureError(f"{k} of {n} is not a count.", remedy="Count again.")
    good = max(good, 1e-6)
    per_bad, per_good = math.log(bad / good), math.log((1 - bad) / (1 - good))
    lower, upper = math.log(user / (1 - maker)), math.log((1 - user) / maker)
    step = per_bad - per_good
    accept = math.floor((lower - n * per_good) / step + 1e-12)
    refuse = math.ceil((upper - n * per_good) / step - 1e-12)
    verdict = "accepted" if k <= accept else "not_accepted" if k >= refuse else "go_on"
    more = max(0, math.ceil((lower - k * step) / per_good - n)) if verdict == "go_on" else 0
    return Sequential(verdict, n, k, more)


# ------------------------------------------------------------------------------ three steps of proof


@dataclass(frozen=True)
class ProofStage:
    """One step of proof: its plan, the row to dig (m) and the minutes it takes."""

    name: str
    title: str
    plan: SamplingPlan
    length: float
    minutes: float
    cannot_show: str


LIMIT = 0.02
"""Share of bad seeds that a good meter stays under. Common practice."""

STEPS: Sequence[tuple[str, str, float, float]] = (
    ("roll", "good enough to roll", 5.0, 0.20),
    ("file", "good enough for the file", 3.0, 0.10),
    ("claim", "good enough for a claim", 2.0, 0.05),
)
"""Name, title, bad share over the limit, risk of accepting a bad repair. A proposal, common practice."""


def steps(limit: float, spacing: float, seconds_per_seed: float = 6.0,
          setup_minutes: float = 5.0) -> list[ProofStage]:
    """Return the three steps for a limit on the share of bad seeds.

    Each step accepts up to the limit's own share and must refuse a share `times` the limit. `spacing`: target
    (m); `seconds_per_seed`: digging and measuring one seed. Raises MeasureError on a limit of 0 or 1 up.
    """
    if not 0 < limit < 0.2:
        raise MeasureError("The limit on bad seeds must lie between 0 and 20 %.", remedy="For example 2 %.")
    found = []
    for name, title, times, risk in STEPS:
        p = plan(limit / 2, min(0.9, limit * times), maker=0.10, user=risk)
        minutes = setup_minutes + p.n * seconds_per_seed / 60
        found.append(ProofStage(name, title, p, p.n * spacing, minutes=minutes, cannot_show=cannot_show(p)))
    return found


def cannot_show(p: SamplingPlan) -> str:
    """Return in plain words what a plan of this size leaves open."""
    return (f"With {p.n} seeds and at most {p.accept} bad, a row with {p.bad * 100:.3g} % bad still passes "
            f"{_in(p.user)}, and one with {p.good * 100:.3g} % is refused {_in(p.maker)}.")


def _in(risk: float) -> str:
    return f"once in {round(1 / risk)} times" if risk > 0.0005 else "less than once in 2000 times"


def shown_by(k: int, n: int) -> str:
    """Return in plain words what k bad ones in n seeds show and cannot show."""
    low, high = exact_interval(k, n)
    return (f"{k} bad in {n} seeds: the true share lies between {low * 100:.2g} and {high * 100:.2g} % "
            f"(19 times in 20); less than {max(n, 1) and 3 / n * 100:.2g} % cannot be told from none.")


def repaired(before: tuple[int, int], after: tuple[int, int]) -> tuple[float, str]:
    """Return the chance of such an improvement by accident and a sentence. Counts are (bad, seeds)."""
    chance = fisher(*before, *after)
    better = after[0] / after[1] < before[0] / before[1]
    told = (f"{before[0]} of {before[1]} before, {after[0]} of {after[1]} after: "
            + (f"so much better by accident {_in(chance)}." if better and chance < 0.5 else
               "no improvement that could be told from accident."))
    return chance, told
