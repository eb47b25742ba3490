"""The quick half of the long counts (`run.py` here): hostile inputs of every kind, kills, changed bytes, full disks."""

from __future__ import annotations

import importlib
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from harm.base import ROOT
from harm.kinds import KINDS, attempt, once
from harm.watch import SaidError, check_printed, rounds

from diag.text import printable

SEED = int(os.environ.get("DIAG_HARM_SEED", "1"))


def enough(cost: float) -> int:
    """Return how many inputs of a kind of this cost take about three seconds."""
    return max(25, round(800 / cost))


@pytest.mark.parametrize("name", KINDS)
def test_no_input_ends_in_a_traceback(name: str) -> None:
    """Whatever comes in is taken or refused in words, in time, and prints nothing that drives a terminal."""
    assert [] == rounds(name, enough(KINDS[name].cost), SEED, lambda rng: once(name, rng))


@pytest.mark.parametrize("name", KINDS)
def test_good_examples_are_taken(name: str) -> None:
    """What the inputs are changed from is good itself, so that changes reach the depth of what takes it."""
    for example in KINDS[name].seeds():
        attempt(name, example)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="there is no way to kill a child at any moment here")
@pytest.mark.parametrize("sort", ["store", "dialogue", "screens"])
def test_a_kill_loses_nothing_that_was_acknowledged(sort: str) -> None:
    """Killed at any moment, a program leaves a store that opens, verifies and holds what it had acknowledged."""
    kill = importlib.import_module("harm.kills").SORTS[sort]
    assert [] == rounds(sort, 4 if sort == "screens" else 12, SEED, kill)


@pytest.mark.parametrize("sort", ["rows", "exports", "file"])
def test_a_changed_byte_is_told_and_hides_nothing(sort: str) -> None:
    """One byte of a row, an export or the file: told, or nothing differs; other calls stand as they stood."""
    change = importlib.import_module("harm.changes").SORTS[sort]
    assert [] == rounds(sort, 40, SEED, change)


@pytest.mark.skipif(os.name != "posix", reason="no small disk and no limit on files here")
def test_a_full_disk_costs_only_what_found_no_room() -> None:
    """Refused in words, older files whole, what was acknowledged there, and work goes on."""
    fill = importlib.import_module("harm.disks").SORTS["disk"]
    assert [] == rounds("disk", 20, SEED, fill)


def test_the_watch_sees_what_it_watches_for() -> None:
    """Control characters and direction marks are seen, and shown as escapes by what prints."""
    for said in ("a\x1b[31m", "a\u202eb", "\x85", "\r"):
        with pytest.raises(SaidError):
            check_printed(said)
        check_printed(printable(said))
    assert "a\\u001b[31m \\udb40\\udc01 é\n" == printable("a\x1b[31m \U000e0001 é\n")
    assert ["x, seed 1, number 0: wrong"] == rounds("x", 1, 1, lambda rng: "wrong")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no device here that is always full")
@pytest.mark.parametrize("words", [["--version"], ["--help"], ["calls", "list"], ["--json", "calls", "list"]])
def test_a_full_output_is_told(words: list[str], tmp_path: Path) -> None:
    """Where the result finds no room, that is said in one line with exit code 2."""
    with open("/dev/full", "w") as full:
        done = subprocess.run([sys.executable, "-m", "diag", *words], stdout=full, stderr=subprocess.PIPE, text=True,
                              env={**os.environ, "DIAG_STORE": str(tmp_path / "x.db")}, cwd=ROOT, check=False)
    assert (2, 1) == (done.returncode, len(done.stderr.splitlines())), done.stderr
    assert "The result cannot be written" in done.stderr


def test_the_same_seed_draws_the_same_inputs() -> None:
    """A failure can be met again by its seed and number."""
    for kind in KINDS.values():
        assert kind.draw(random.Random("a 1 0")) == kind.draw(random.Random("a 1 0"))
