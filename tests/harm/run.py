"""The long counts of harm: python tests/harm/run.py inputs|guided|kills|changes|disks [--count N] [--seed S].

Prints what was tried and every failure; exit code 1 when there was one. A quick part of all of it runs as tests.
`guided` follows branches with atheris, which is not installed with the tests: pip install atheris.
"""

from __future__ import annotations

import argparse
import random
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests")]


def inputs(options: argparse.Namespace) -> tuple[int, list[str]]:
    """Try drawn inputs of one kind or of all, dear kinds less often."""
    from harm.kinds import KINDS, once
    from harm.watch import rounds

    names = [options.kind] if options.kind else list(KINDS)
    shares = {name: KINDS[name].cost ** -0.5 for name in names}
    failed, tried = [], 0
    for name in names:
        count = max(1, round(options.count * shares[name] / sum(shares.values())))
        began = time.process_time()
        new = rounds(name, count, options.seed, lambda rng, name=name: once(name, rng), options.keep)  # type: ignore[misc]
        taken = (time.process_time() - began) / count
        print(f"{name}: {count} tried, {len(new)} failed, {taken * 1000:.1f} ms each", flush=True)
        tried, failed = tried + count, failed + new
    return tried, failed


def guided(options: argparse.Namespace) -> tuple[int, list[str]]:
    """Let a coverage-guided fuzzer loose on the parsers, each in a process of its own."""
    from harm.kinds import KINDS

    names = [options.kind] if options.kind else [n for n, k in KINDS.items() if k.guided]
    each, failed = max(1, options.count // len(names)), []
    for name in names:
        done = subprocess.run([sys.executable, str(ROOT / "tests" / "harm" / "guided.py"), name, str(each),
                               str(options.seed)], capture_output=True, text=True, errors="replace", check=False)
        if done.returncode:
            failed.append(f"{name}: {done.stdout[-2000:]}{done.stderr[-6000:]}")
        print(f"{name}: {each} guided, {'failed' if done.returncode else 'none failed'}", flush=True)
    return each * len(names), failed


def others(what: str) -> Callable[[argparse.Namespace], tuple[int, list[str]]]:
    """Return what runs kills, changes or full disks, all their sorts in equal parts."""
    def run(options: argparse.Namespace) -> tuple[int, list[str]]:
        import importlib

        from harm.watch import rounds

        sorts = importlib.import_module(f"harm.{what}").SORTS
        names = [options.kind] if options.kind else list(sorts)
        failed, each = [], -(-options.count // len(names))
        for name in names:
            new = rounds(name, each, options.seed, sorts[name], options.keep)
            print(f"{name}: {each} tried, {len(new)} failed", flush=True)
            failed += new
        return each * len(names), failed

    return run


def main() -> int:
    """Run one of the counts."""
    parser = argparse.ArgumentParser(description=__doc__)
    work = {"inputs": inputs, "guided": guided} | {name: others(name) for name in ("kills", "changes", "disks")}
    parser.add_argument("what", choices=work)
    parser.add_argument("--count", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(10**6))
    parser.add_argument("--kind")
    parser.add_argument("--keep", type=Path, help="file to which failures are added at once")
    options = parser.parse_args()
    tried, failed = work[options.what](options)
    for said in failed:
        print(said, "\n")
    print(f"{options.what}, seed {options.seed}: {tried} tried, {len(failed)} failed")
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
