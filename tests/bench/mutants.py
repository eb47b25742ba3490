"""Mutants of the reasoning core: python tests/bench/mutants.py FOLDER [--sample 500] [--seed 9].

Copies the project to FOLDER, has mutmut (pip install mutmut) change one thing at a time there, and runs the tests of
the core's own packages against it, quick ones first. Prints how many were killed and the diff of every other.
FOLDER is kept: a further run tries only what survived, after tests/ was copied anew.
"""

from __future__ import annotations

import argparse
import json
import os
import random
import shutil
import subprocess
import sys
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
CORE = [
    "reason/worlds", "reason/evidence", "reason/tables", "reason/beginning", "reason/judge", "reason/counting",
    "reason/next_check", "reason/views", "reason/costs", "reason/feasible", "knowledge/shares", "record/fold",
    "call/readings", "call/proof",
]
TESTS = [
    "tests/reason", "tests/record", "tests/call", "tests/knowledge/test_shares.py",
    "tests/outside/test_reasoning_values.py", "tests/outside/test_writeup_rules.py",
    # 16 s of every event of the demo calls against a schema: nothing of the core
    "--deselect=tests/record/test_kinds.py::test_every_export_fits_the_schema",
]
KILLED = (1, 3, 24, -24, 36, 152, 255)
"""Exit codes of tests that failed or took too long."""
COPIED = ("diag", "knowledge", "tests", "transcripts_demo", "README.md", "DEVELOPERS.md", "pyproject.toml")
SLOW = 1.0  # seconds: such tests come last


def pytest_load_initial_conftests() -> None:
    """Inside mutmut: read the shipped knowledge once for all forks, but for the mutants of knowledge itself."""
    import diag.knowledge.load as loading

    read, kept = loading.load, {}

    def load(folders: Any = ()) -> Any:
        if "diag.knowledge" in os.environ.get("MUTANT_UNDER_TEST", ""):
            return read(folders)
        key = tuple(map(str, folders))
        return kept[key] if key in kept else kept.setdefault(key, read(folders))

    if read.__module__ == loading.__name__:
        loading.load = load


def pytest_configure() -> None:
    """What fails need not be made small."""
    from hypothesis import Phase, settings

    settings.register_profile("mutants", settings.get_profile("ci"), phases=[Phase.explicit, Phase.generate])
    settings.load_profile("mutants")


def pytest_collection_modifyitems(items: list[Any]) -> None:
    """Quick modules first, in each the quick tests first, slow tests last."""
    from mutmut.state import state

    took = {item.nodeid: state().duration_by_test.get(item.nodeid, 0.0) for item in items}
    module: dict[str, float] = {}
    for name, seconds in took.items():
        module[name.partition("::")[0]] = module.get(name.partition("::")[0], 0.0) + seconds
    items.sort(key=lambda i: (took[i.nodeid] > SLOW, module[i.nodeid.partition("::")[0]], took[i.nodeid]))


def copied(folder: Path) -> None:
    """Copy the project to the folder, with what mutmut is to do there."""
    for name in COPIED:
        place = ROOT / name
        if place.is_dir():
            shutil.copytree(place, folder / name, ignore=shutil.ignore_patterns("__pycache__"), dirs_exist_ok=True)
        else:
            shutil.copy2(place, folder / name)
    settings = {
        "source_paths": ["diag"], "only_mutate": [f"diag/{name}.py" for name in CORE],
        "also_copy": ["knowledge", "transcripts_demo", "README.md", "DEVELOPERS.md"],
        "pytest_add_cli_args": ["-p", "bench.mutants"], "pytest_add_cli_args_test_selection": TESTS,
        "timeout_multiplier": 5.0,
    }
    with (folder / "pyproject.toml").open("a", encoding="utf-8") as file:
        file.write("\n[tool.mutmut]\n" + "".join(f"{key} = {json.dumps(value)}\n" for key, value in settings.items()))


def mutmut(folder: Path, *arguments: str) -> str:
    """Run mutmut in the folder; return what it prints."""
    environment = {**os.environ, "PYTHONPATH": str(folder / "mutants" / "tests")}
    command = [sys.executable, "-m", "mutmut", *arguments]
    return subprocess.run(command, cwd=folder, env=environment, capture_output=True, text=True, check=False).stdout


def outcomes(folder: Path) -> dict[str, int | None]:
    """Return what became of each mutant: the exit code of its tests, None where it was not tried."""
    found: dict[str, int | None] = {}
    for file in sorted(folder.glob("mutants/diag/**/*.py.meta")):
        found |= json.loads(file.read_text(encoding="utf-8"))["exit_code_by_key"]
    return found


def main() -> None:
    """Make the mutants, try a sample of them, show what survived."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").partition("\n")[0])
    parser.add_argument("folder", type=Path)
    parser.add_argument("--sample", type=int, default=500, help="so many of all mutants, drawn at random")
    parser.add_argument("--seed", type=int, default=9)
    asked = parser.parse_args()
    names = asked.folder / "sample.txt"
    asked.folder.mkdir(parents=True, exist_ok=True)
    copied(asked.folder)
    if not names.exists():
        mutmut(asked.folder, "run", "--max-children", "1", "diag.knowledge.shares.*_1")
        every = sorted(outcomes(asked.folder))
        drawn = random.Random(asked.seed).sample(every, min(asked.sample, len(every)))
        names.write_text("\n".join(drawn), encoding="utf-8")
    sample = names.read_text(encoding="utf-8").split("\n")
    before = outcomes(asked.folder)
    mutmut(asked.folder, "run", "--max-children", "1", *(n for n in sample if before.get(n) not in KILLED))
    after = outcomes(asked.folder)
    left = [name for name in sample if after.get(name) not in KILLED]
    for name in left:
        print(f"## exit code {after.get(name)}", mutmut(asked.folder, "show", name), sep="\n")
    print(f"{len(sample) - len(left)} of {len(sample)} killed, of {len(after)} mutants; {len(left)} shown above")


if __name__ == "__main__":
    main()
