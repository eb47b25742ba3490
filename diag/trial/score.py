"""Scores over simulated calls: hit rates, advice, minutes, calibration, worlds unlike the knowledge, yardsticks."""

from __future__ import annotations

import os
import random
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import nullcontext
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from statistics import mean, median
from typing import Any

from diag.reason.case import Case
from diag.reason.costs import proof_minutes
from diag.reason.judge import Engine
from diag.trial.follow import Followed, follow
from diag.trial.simulate import AS_KNOWN, WORLDS, Fault, SimulatedMachine, Simulation, draw_fault

BINS = 10
MOST_CHECKS = 30
DESK = "desk"
YARDSTICKS = ("fixed_chart", "no_questions")


@dataclass(frozen=True)
class Run:
    """What a series of simulated calls has in common."""

    seed: int
    channel: str
    policy: str = DESK
    world: str = AS_KNOWN
    two_share: float = 0.0


@dataclass(frozen=True)
class Played:
    """How one simulated call went."""

    fault: Fault
    ranking: tuple[str, ...]
    top_probability: float
    checks: int
    minutes: float
    """Minutes of checks: the line held, the grower's, and on site."""
    to_mended: float
    """All minutes until every fault is mended and proved, drives and repairs in vain with theirs."""
    stopped: str
    named: bool
    """True when the leading cause may be named."""
    first_repair: str | None
    """The repair advised first."""
    faults_known: bool

    @property
    def place(self) -> int:
        """Place of the true cause in the ranking (best of several), from 1; 999 when absent."""
        places = [self.ranking.index(c) + 1 for c in self.fault.causes if c in self.ranking]
        return min(places, default=999)


def calibration_error(forecasts: Sequence[tuple[float, bool]], bins: int = BINS) -> float:
    """Return the expected calibration error: sum over bins of n_b/N |share right - mean forecast|."""
    if not forecasts:
        return 0.0
    sorted_in: dict[int, list[tuple[float, bool]]] = {}
    for p, right in forecasts:
        sorted_in.setdefault(min(bins - 1, int(p * bins)), []).append((p, right))
    total = 0.0
    for members in sorted_in.values():
        hits = mean(1.0 if right else 0.0 for _, right in members)
        total += len(members) / len(forecasts) * abs(hits - mean(p for p, _ in members))
    return total


def summary(played: Sequence[Played]) -> dict[str, Any]:
    """Return the figures of one policy."""
    return {
        "top1": round(mean(p.place == 1 for p in played), 4),
        "top3": round(mean(p.place <= 3 for p in played), 4),
        "checks": median(p.checks for p in played),
        "minutes": round(median(p.minutes for p in played), 1),
        "minutes_mean": round(mean(p.minutes for p in played), 1),
        "to_mended": round(mean(p.to_mended for p in played), 1),
        "wrong_first_advice": round(mean(p.first_repair not in (None, *p.fault.causes) for p in played), 4),
        "named_wrongly": round(mean(p.place > 1 and p.named for p in played), 4),
        "said_unknown": round(mean(not p.faults_known for p in played), 4),
        "calibration": round(calibration_error([(p.top_probability, p.place == 1) for p in played]), 4),
    }


def worst_causes(played: Sequence[Played], most: int = 12) -> list[dict[str, Any]]:
    """Return the causes that are missed most often (as a share of their calls, most missed calls first)."""
    calls: Counter[str] = Counter()
    missed: Counter[str] = Counter()
    for p in played:
        calls[p.fault.causes[0]] += 1
        missed[p.fault.causes[0]] += p.place > 1
    ranked = sorted(missed, key=lambda c: (-missed[c], c))[:most]
    return [{"cause": c, "calls": calls[c], "missed": missed[c]} for c in ranked if missed[c]]


def confused(played: Sequence[Played], most: int = 12) -> list[dict[str, Any]]:
    """Return the pairs most often taken for one another: true cause, named cause."""
    pairs = Counter((p.fault.causes[0], p.ranking[0]) for p in played if p.place > 1)
    ranked = sorted(pairs, key=lambda x: (-pairs[x], x))[:most]
    return [{"true": t, "named": n, "calls": pairs[t, n]} for t, n in ranked]


def play_one(simulation: Simulation, run: Run, number: int) -> Played:
    """Draw the fault of a number and play its call; the number has its own chance."""
    rng = random.Random(f"{run.seed}:{number}")
    tables = simulation.engine.tables
    fault = draw_fault(tables, rng, run.two_share, run.world)
    machine = SimulatedMachine(tables, fault, rng, run.world)
    with simulation.without(fault.causes[0]) if run.world == "foreign" else nullcontext():
        call = simulation.call(fault, run.channel)
        if run.policy == DESK:
            done = follow(call, machine, MOST_CHECKS)
        else:
            simulation.by_chart(call, machine, MOST_CHECKS if run.policy == "fixed_chart" else 0)
            done = Followed(stopped=run.policy)
        judgement = call.think().judgement
    ranking = tuple(r.cause for r in judgement.ranking)
    spent = call.minutes()
    rest = _rest(simulation.engine, fault, ranking, done)
    return Played(
        fault, ranking, judgement.ranking[0].probability, len(call.state.answers),
        minutes=round(spent["desk"] + spent["grower"] + spent["checks"], 1),
        to_mended=round(sum(spent.values()) + rest, 1),
        stopped=done.stopped, named=judgement.may_be_named, first_repair=done.first_repair,
        faults_known=judgement.faults_known,
    )


def _rest(engine: Engine, fault: Fault, ranking: Sequence[str], done: Followed) -> float:
    """Return the minutes from the end of the questions until all is mended and proved.

    Handed on: the hand-over, then the true repairs. A yardstick repairs in the order of its ranking.
    """
    tables = engine.tables
    minutes = (tables.repair_minutes + proof_minutes(Case(channel="site"), tables)).tolist()
    cost: dict[str, float] = dict(zip(tables.causes, minutes, strict=True))
    true = sum(cost[c] for c in fault.causes)
    if done.stopped == "mended":
        return true
    if done.stopped not in YARDSTICKS:
        return true + engine.knowledge.settings.hand_over
    last = max((ranking.index(c) for c in fault.causes if c in ranking), default=len(ranking) - 1)
    wrong = [c for c in ranking[:last] if c not in fault.causes]
    return true + sum(cost[c] + engine.knowledge.causes[c].repair.if_wrong for c in wrong)


def play_many(folders: Sequence[str], numbers: Sequence[int], run: Run) -> list[Played]:
    """Play the numbered calls; any split over processes gives the same."""
    from diag.knowledge.load import load

    simulation = Simulation(Engine(load([Path(f) for f in folders]), counter=True))
    return [play_one(simulation, run, number) for number in numbers]


def trial(
    folders: Sequence[Path], *, calls: int, seed: int, channel: str = "site", two_share: float = 0.0,
    yardsticks: bool = True, worlds: bool = True, workers: int | None = None,
) -> dict[str, Any]:
    """Return the report of a trial, as the command line prints it with --json."""
    workers = workers or min(os.cpu_count() or 1, max(1, calls // 8))
    as_known = Run(seed, channel, two_share=two_share)
    unlike = [replace(as_known, world=w) for w in WORLDS if worlds and w != AS_KNOWN]
    others = [replace(as_known, policy=p) for p in YARDSTICKS if yardsticks]
    played = _play_all([str(f) for f in folders], [as_known, *unlike, *others], calls, workers)
    own = played[as_known]
    return {
        "calls": calls, "seed": seed, "channel": channel, **summary(own),
        "stopped": dict(sorted(Counter(p.stopped for p in own).items())),
        "worst": worst_causes(own), "confused": confused(own),
        "worlds": {run.world: summary(played[run]) for run in unlike},
        "yardsticks": {run.policy: summary(played[run]) for run in others},
    }


def _play_all(folders: Sequence[str], runs: Sequence[Run], calls: int, workers: int) -> dict[Run, list[Played]]:
    """Play all calls of all runs over processes, in the order of their numbers."""
    if workers <= 1:
        return {run: play_many(folders, range(calls), run) for run in runs}
    chunks = [range(w, calls, workers) for w in range(workers)]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        running = {run: [pool.submit(play_many, folders, c, run) for c in chunks] for run in runs}
        parts = {run: [f.result() for f in futures] for run, futures in running.items()}
    found = {}
    for run, part in parts.items():
        by_number = {n: p for c, done in zip(chunks, part, strict=True) for n, p in zip(c, done, strict=True)}
        found[run] = [by_number[n] for n in range(calls)]
    return found
