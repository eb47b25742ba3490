"""The quick half of the long counts (`run.py` here): hostile inputs of every kind, kills, changed bytes, full disks."""

from __future__ import annotations

import importlib
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from harm.base import ROOT, engine
from harm.kinds import KINDS, attempt, once
from harm.watch import SaidError, check_printed, rounds, within

from diag.errors import UsageError
from diag.hear.complaint import MOST_HEARD, listener
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


@pytest.mark.parametrize("said", ["row 7 skips and ", "1 ", "# ", "vacuum 18 inches on rows 3 and 4; "])
def test_a_complaint_as_long_as_a_record_takes_is_heard_in_time(said: str) -> None:
    """20,000 characters are heard within 2 s of CPU time; more are refused at once."""
    heard = listener(engine(whole=True).knowledge)
    with within(2.0):
        heard.match((said * 20_000)[:MOST_HEARD])
        with pytest.raises(UsageError, match="longer than"):
            heard.match((said * 20_000)[: MOST_HEARD + 1])


def test_the_same_seed_draws_the_same_inputs() -> None:
    """A failure can be met again by its seed and number."""
    for kind in KINDS.values():
        assert kind.draw(random.Random("a 1 0")) == kind.draw(random.Random("a 1 0"))


_LIMITED = """
import resource, sys
resource.setrlimit(resource.RLIMIT_DATA, (600_000_000, 600_000_000))
resource.setrlimit(resource.RLIMIT_CPU, (20, 20))
from diag.cli import main
sys.exit(main(sys.argv[1:]))
"""


@pytest.mark.skipif(not Path("/dev/zero").exists(), reason="no device here that never ends")
@pytest.mark.parametrize(("words", "typed"), [
    (["replay", "/dev/zero"], False), (["hear", "endless.yaml"], False), (["calls", "import", "/dev/zero"], False),
    (["measure", "vacuum", "/dev/zero"], False), (["measure", "vacuum", "-"], True),
    (["knowledge", "play", "/dev/zero"], False), (["writeup", "/dev/zero"], False),
])
def test_what_never_ends_is_refused(words: list[str], typed: bool, tmp_path: Path) -> None:
    """A device, a link to one, a pipe that goes on and on: refused in words before they cost time or memory."""
    (tmp_path / "endless.yaml").symlink_to("/dev/zero")
    with subprocess.Popen(["yes", "18 inH2O"], stdout=subprocess.PIPE) as endless:
        done = subprocess.run([sys.executable, "-c", _LIMITED, *words], stdin=endless.stdout if typed else None,
                              capture_output=True, text=True, cwd=tmp_path, check=False,
                              env={**os.environ, "DIAG_STORE": "x.db", "PYTHONPATH": str(ROOT)})
        endless.kill()
    assert 2 == done.returncode, done.stderr[-800:]
    assert "wrong" not in done.stderr
    assert "wrong" not in done.stdout
