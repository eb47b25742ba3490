"""Scores over simulated calls: hit rates, minutes, calibration, worst causes, confused pairs, yardsticks."""

from __future__ import annotations

import os
import random
from collections import Counter
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from statistics import mean, median
from typing import Any

from diag.trial.simulate import Played, Simulation, draw_fault

BINS = 10
YARDSTICKS: Mapping[str, str] = {"fixed_chart": "chart", "least_minutes": "minutes", "no_questions": "nothing"}


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


def play_many(
    folders: Sequence[str], numbers: Sequence[int], seed: int, channel: str, policy: str, two_share: float
) -> list[Played]:
    """Play the numbered calls; each number has its own chance, so any split over processes gives the same."""
    from diag.knowledge.load import load
    from diag.reason.judge import Engine

    engine = Engine(load([Path(f) for f in folders]), counter=True)
    simulation = Simulation(engine)
    played = []
    for number in numbers:
        rng = random.Random(f"{seed}:{number}")
        fault = draw_fault(engine.tables, rng, two_share)
        played.append(simulation.play(fault, channel, rng, policy))
    return played


def play_all(
    folders: Sequence[Path], calls: int, seed: int, channel: str, policy: str, two_share: float, workers: int
) -> list[Played]:
    """Play all calls over processes, in the order of their numbers."""
    names = [str(f) for f in folders]
    if workers <= 1:
        return play_many(names, range(calls), seed, channel, policy, two_share)
    chunks = [range(w, calls, workers) for w in range(workers)]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        futures = [pool.submit(play_many, names, c, seed, channel, policy, two_share) for c in chunks]
        by_number = {n: p for c, f in zip(chunks, futures, strict=True) for n, p in zip(c, f.result(), strict=True)}
    return [by_number[n] for n in range(calls)]


def trial(
    folders: Sequence[Path], *, calls: int, seed: int, channel: str = "site", two_share: float = 0.0,
    yardsticks: bool = True, workers: int | None = None,
) -> dict[str, Any]:
    """Return the report of a trial, as the command line prints it with --json."""
    workers = workers or min(os.cpu_count() or 1, max(1, calls // 8))
    played = play_all(folders, calls, seed, channel, "minutes" if channel == "phone" else "bits", two_share, workers)
    report = {"calls": calls, "seed": seed, "channel": channel, **summary(played)}
    report["worst"], report["confused"] = worst_causes(played), confused(played)
    if channel == "phone":
        report["decisions"] = dict(sorted(Counter(p.decision for p in played).items()))
    report["yardsticks"] = {
        name: summary(play_all(folders, calls, seed, channel, policy, two_share, workers))
        for name, policy in (YARDSTICKS.items() if yardsticks else ())
    }
    return report
