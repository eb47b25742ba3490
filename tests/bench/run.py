"""Timings against the budgets: python tests/bench/run.py [--json] [--check].

answer_to_next_question_ms is measured on the whole knowledge through the real desk: recording an answer in a
file-backed store, folding, rules, belief, look-ahead.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from statistics import median
from typing import Any

ROOT = Path(__file__).resolve().parents[2]


def percentile(values: list[float], share: float) -> float:
    """Return the value below which `share` of the values lie."""
    ordered = sorted(values)
    return ordered[min(len(ordered) - 1, int(share * len(ordered)))]


def started(*arguments: str, tries: int = 7) -> float:
    """Return the best wall time of a command in ms, process start included."""
    times = []
    for _ in range(tries):
        began = time.perf_counter()
        subprocess.run([sys.executable, "-m", "diag", *arguments], capture_output=True, check=False, cwd=ROOT)
        times.append((time.perf_counter() - began) * 1000)
    return min(times)


def answers(knowledge: Any, calls: int) -> list[float]:
    """Return ms from an answer typed to the next question known, over simulated calls."""
    import random

    from diag.call.desk import Desk
    from diag.reason.judge import Engine
    from diag.store.open import open_store
    from diag.trial.simulate import draw_fault, outcome_shares_of

    engine = Engine(knowledge)
    times = []
    with tempfile.TemporaryDirectory() as folder:
        store = open_store(str(Path(folder) / "calls.db"))
        desk = Desk(engine, store, store.desk_id())
        for number in range(calls):
            rng = random.Random(number)
            fault = draw_fault(engine.tables, rng)
            call = desk.new_call("site")
            call.set_machine({"axes": {a: v for a, v in fault.axes.items() if a != "crop"}, "rows": 12})
            call.set_situation({"crop": fault.axes["crop"]})
            call.set_complaint("", [(s, "chosen") for s in fault.symptoms])
            call.think()
            for _ in range(12):
                offers = call.offers()
                if not offers:
                    break
                outcomes = engine.tables.check(offers[0].check).outcomes
                outcome = rng.choices(outcomes, outcome_shares_of(engine.tables, offers[0].check, fault.causes))[0]
                began = time.perf_counter()
                call.answer(offers[0].check, outcome=outcome)
                call.think()
                times.append((time.perf_counter() - began) * 1000)
        store.close()
    return times


def memory_mb() -> float:
    """Return the resident memory of this process in MB (0 where it cannot be read)."""
    try:
        pages = int(Path("/proc/self/statm").read_text().split()[1])
    except OSError:
        return 0.0
    return pages * os.sysconf("SC_PAGE_SIZE") / 1e6


def growth(knowledge: Any, rounds: int = 1000) -> float:
    """Return the MB that judging one call over and over adds after warming up."""
    from diag.call.desk import Desk
    from diag.reason.judge import Engine

    call = Desk(Engine(knowledge)).new_call("site")
    call.set_complaint("", [(next(iter(knowledge.symptoms)), "chosen")])
    check = call.offers()[0].check
    outcomes = list(knowledge.questions[check].outcomes)

    def once(n: int) -> None:
        event = call.answer(check, outcome=outcomes[n % len(outcomes)])
        call.think()
        call._events.remove(event)
        call._state = call._thought = None

    for n in range(200):
        once(n)
    before = memory_mb()
    for n in range(rounds):
        once(n)
    return memory_mb() - before


def main() -> int:
    """Measure everything and print it."""
    began = time.perf_counter()
    from diag.knowledge.load import knowledge_folder, load

    knowledge = load([knowledge_folder()])
    loading = (time.perf_counter() - began) * 1000
    times = answers(knowledge, 12)
    report = {
        "answer_to_next_question_ms": {"p50": round(median(times), 1), "p95": round(percentile(times, 0.95), 1)},
        "answers": len(times),
        "load_knowledge_ms": round(loading),
        "version_ms": round(started("--version")),
        "help_ms": round(started("--help")),
        "memory_growth_1000_answers_mb": round(growth(knowledge), 1),
        "memory_mb": round(memory_mb()),
    }
    print(json.dumps(report, indent=1) if "--json" in sys.argv else "\n".join(f"{k}: {v}" for k, v in report.items()))
    limits = report["answer_to_next_question_ms"]["p95"] <= 50 and report["version_ms"] <= 100
    return 0 if limits or "--check" not in sys.argv else 1


if __name__ == "__main__":
    sys.exit(main())
