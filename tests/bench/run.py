"""Timings against the budgets: python tests/bench/run.py [--json] [--check] [--beside] [--times N ...].

answer_to_next_question is measured on the whole knowledge through the real desk: recording an answer in a
file-backed store, folding, rules, belief, look-ahead; wall time, and the CPU time of this process (one core).
`--times 3 10` measures it on knowledge so many times as large, too.
`--beside` adds the same work by others: belief and next check by a general Bayesian-network library, the exact
optimum on small instances, a fixed chart.
rules: one run over the facts of the same calls, counted, by experta and by CLIPS, side by side.
"""

from __future__ import annotations

import json
import os
import platform
import random
import subprocess
import sys
import tempfile
import time
from importlib import metadata
from pathlib import Path
from statistics import median
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.append(str(ROOT / "tests"))


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


def timed(work: Any) -> tuple[float, float]:
    """Return (wall, CPU) of doing something, in ms."""
    wall, cpu = time.perf_counter(), time.process_time()
    work()
    return (time.perf_counter() - wall) * 1000, (time.process_time() - cpu) * 1000


def spread(times: list[float]) -> dict[str, float]:
    """Return median and 95th percentile."""
    return {"p50": round(median(times), 1), "p95": round(percentile(times, 0.95), 1)}


def answers(engine: Any, calls: int, most: int = 12) -> list[tuple[float, float]]:
    """Return (wall, CPU) from an answer typed to the next question known, over simulated calls."""
    from diag.call.desk import Desk
    from diag.store.open import open_store
    from diag.trial.simulate import draw_fault, outcome_shares_of

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
            for _ in range(most):
                offers = call.offers()
                if not offers:
                    break
                outcomes = engine.tables.check(offers[0].check).outcomes
                outcome = rng.choices(outcomes, outcome_shares_of(engine.tables, offers[0].check, fault.causes))[0]
                times.append(timed(lambda: (call.answer(offers[0].check, outcome=outcome), call.think())))  # noqa: B023
        store.close()
    return times


def long_call(engine: Any, held: int = 100, more: int = 20) -> list[float]:
    """Return the CPU ms of answers to a call that holds `held` answers already."""
    from diag.call.desk import Desk

    rng, call = random.Random(1), Desk(engine).new_call("site")
    call.set_complaint("", [(next(iter(engine.knowledge.symptoms)), "chosen")])
    checks = list(engine.knowledge.questions)[: held + more]
    times = []
    for number, check in enumerate(checks):
        outcome = rng.choice(list(engine.knowledge.questions[check].outcomes))
        if number < held:
            call.answer(check, outcome=outcome)
            call.think()
        else:
            times.append(timed(lambda: (call.answer(check, outcome=outcome), call.think()))[1])  # noqa: B023
    return times


def rules_ways(engine: Any, calls: int = 4) -> dict[str, float]:
    """Return the median CPU ms of one run of the rules: counted, by experta, and by CLIPS where it is installed."""
    from reason.clips_rules import Clips
    from reason.test_rules_sequences import moments

    from diag.reason.counting import FactSet

    clips = Clips(engine.rules.clauses)
    times: dict[str, list[float]] = {"counted": [], "experta": [], "clips": []}
    for seed in range(calls):
        for facts, belief in moments(engine, random.Random(seed)):
            whole = FactSet(facts.keys | set(belief), facts.numbers)
            times["counted"].append(timed(lambda: engine.rules.run(whole))[1])  # noqa: B023
            times["experta"].append(timed(lambda: engine.rules.derived(facts, belief))[1])  # noqa: B023
            times["clips"].append(timed(lambda: clips.run(facts, belief))[1])  # noqa: B023
    return {name: round(median(taken), 2) for name, taken in times.items()}


def versions() -> dict[str, str]:
    """Return what gave the figures."""
    named = ("numpy", "experta", "clipspy", "pyagrum", "SQLAlchemy", "pydantic", "textual")
    installed = {d.name.casefold() for d in metadata.distributions()}
    return {"python": platform.python_version()} | {n: metadata.version(n) for n in named if n.casefold() in installed}


def larger(times: int) -> dict[str, float]:
    """Return the CPU ms from answer to next question on knowledge so many times as large."""
    from enlarge import enlarge

    from diag.knowledge.load import knowledge_folder, load
    from diag.reason.judge import Engine

    with tempfile.TemporaryDirectory() as folder:
        knowledge = load([enlarge(knowledge_folder(), Path(folder) / "knowledge", times)])
        return spread([cpu for _, cpu in answers(Engine(knowledge), 4)])


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
    from diag.reason.judge import Engine

    knowledge = load([knowledge_folder()])
    loading = (time.perf_counter() - began) * 1000
    engine = Engine(knowledge)
    times = answers(engine, 12)
    report: dict[str, Any] = {
        "answer_to_next_question_ms": spread([wall for wall, _ in times]),
        "answer_to_next_question_cpu_ms": spread([cpu for _, cpu in times]),
        "answers": len(times),
        "at_100_answers_cpu_ms": spread(long_call(engine)),
        "rules_cpu_ms": rules_ways(engine),
        "load_knowledge_ms": round(loading),
        "version_ms": round(started("--version")),
        "help_ms": round(started("--help")),
        "memory_growth_1000_answers_mb": round(growth(knowledge), 1),
        "memory_mb": round(memory_mb()),
    }
    sizes = sys.argv[sys.argv.index("--times") + 1 :] if "--times" in sys.argv else []
    report |= {f"times_{n}_cpu_ms": larger(int(n)) for n in sizes if n.isdecimal()}
    if "--beside" in sys.argv:
        import beside

        report |= {"beside_a_network": beside.network(engine), "beside_the_optimum": beside.optimum(),
                   "beside_a_chart": beside.chart(engine)}
    report["versions"] = versions()
    print(json.dumps(report, indent=1) if "--json" in sys.argv else "\n".join(f"{k}: {v}" for k, v in report.items()))
    limits = report["answer_to_next_question_ms"]["p95"] <= 50 and report["version_ms"] <= 100
    return 0 if limits or "--check" not in sys.argv else 1


if __name__ == "__main__":
    sys.exit(main())
