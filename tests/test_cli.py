"""The command line: start-up, exit codes, JSON on stdout, errors with place and remedy."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pytest

from diag import __version__
from diag.call.desk import Desk
from diag.cli import BAD_INPUT, GOOD, NOT_AS_EXPECTED, main
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.store.open import open_store

SMALL = Path(__file__).parent / "data" / "small"

HEAVY = ("numpy", "pydantic", "yaml", "sqlalchemy", "textual", "rich", "experta", "reportlab", "rapidfuzz")
TRANSCRIPT = """
title: Invented
invented: true
events:
  - {kind: opened, channel: site}
  - {kind: complaint, words: row 7 skips, accepted: [skips_high]}
expect: {top: %s}
"""


def loaded(*arguments: str) -> list[str]:
    """Return the heavy packages that a command loads."""
    code = (
        "import sys; from diag.cli import main\n"
        f"try: main({list(arguments)!r})\n"
        "except SystemExit: pass\n"
        f"print('LOADED', [m for m in {HEAVY!r} if m in sys.modules])"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    return json.loads(done.stdout.rpartition("LOADED ")[2].replace("'", '"'))


@pytest.mark.parametrize("arguments", [("--version",), ("--help",), ("replay", "--help")])
def test_version_and_help_load_nothing_heavy(arguments: tuple[str, ...]) -> None:
    """Start-up stays short: no numpy, no database, no interface."""
    assert loaded(*arguments) == []


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    """--version prints one line; with -v what the rules run on."""
    assert main(["--version"]) == GOOD
    assert capsys.readouterr().out == f"diag {__version__}\n"
    assert main(["--version", "-v"]) == GOOD
    assert "trace of the rules by: experta" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["replay", "no/such/file.yaml"], "no/such/file.yaml"),
        (["replay"], "required"),
        (["nonsense"], "nonsense"),
        (["--knowledge", "no/such/folder", "replay", "x.yaml"], "no/such/folder"),
        (["calls", "nonsense"], "nonsense"),
        (["knowledge", "trial", "--calls", "0"], "--calls"),
        (["--units", "cubits", "plain"], "cubits"),
    ],
)
def test_bad_input_exits_2_and_names_it(
    arguments: list[str],
    words: str,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Every kind of bad input: exit code 2, the place in the message, no traceback."""
    monkeypatch.setenv("DIAG_STORE", str(tmp_path / "calls.db"))
    assert main(arguments) == BAD_INPUT
    told = capsys.readouterr()
    assert words in told.err + told.out
    assert "Traceback" not in told.err


def test_with_json_an_error_is_json_too(capsys: pytest.CaptureFixture[str]) -> None:
    """--json: stdout holds one JSON value also on failure."""
    assert main(["knowledge", "show", "no_such_id", "--json"]) == BAD_INPUT
    error = json.loads(capsys.readouterr().out)["error"]
    assert set(error) == {"what", "where", "remedy"}
    assert "no_such_id" in error["what"] + error["where"]


@pytest.mark.parametrize(("top", "code"), [("holes_plugged", GOOD), ("mon_speed_cal", NOT_AS_EXPECTED)])
def test_replay_exit_codes(top: str, code: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """As expected 0, different 1; the worst of several files counts."""
    good = tmp_path / "one.yaml"
    good.write_text(TRANSCRIPT % top, encoding="utf-8")
    assert main(["replay", str(good), "--json"]) == code
    result = json.loads(capsys.readouterr().out)
    assert [r["ok"] for r in result] == [code == GOOD]
    assert result[0]["expected"][0]["what"] == "top"
    broken = tmp_path / "two.yaml"
    broken.write_text("title: [", encoding="utf-8")
    assert main(["replay", str(good), str(broken), "--json"]) == BAD_INPUT
    both = json.loads(capsys.readouterr().out)
    assert both[1]["problems"][0]["where"].startswith(str(broken))


def test_unknown_check_in_a_transcript(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A transcript that names an unknown check: file and line, and what to do."""
    path = tmp_path / "call.yaml"
    path.write_text(TRANSCRIPT.replace("expect:", "  - {kind: answer, check: no_such, outcome: x}\nexpect:") % "x")
    assert main(["replay", str(path)]) == BAD_INPUT
    assert f"{path}:7" in capsys.readouterr().out


def test_a_store_that_cannot_be_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A store path that is a folder or no database: exit code 2 with the place."""
    assert main(["--store", str(tmp_path), "calls", "list"]) == BAD_INPUT
    assert str(tmp_path) in capsys.readouterr().err
    other = tmp_path / "notes.db"
    other.write_bytes(b"this is no database, only a text that is long enough to be read as one" * 20)
    before = other.read_bytes()
    assert main(["--store", str(other), "calls", "list"]) == BAD_INPUT
    assert "notes.db" in capsys.readouterr().err
    assert other.read_bytes() == before


def test_broken_knowledge_names_file_and_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """An overlay with a slip: file:line, what, remedy, exit code 2."""
    folder = tmp_path / "mine"
    (folder / "causes").mkdir(parents=True)
    (folder / "causes" / "mine.yaml").write_text("- id: my_cause\n  label: Mine\n  subsytem: disc\n", encoding="utf-8")
    call = tmp_path / "call.yaml"
    call.write_text(TRANSCRIPT % "x", encoding="utf-8")
    assert main(["--knowledge", str(folder), "replay", str(call)]) == BAD_INPUT
    told = capsys.readouterr().err
    assert "causes/mine.yaml:" in told
    assert "my_cause" in told


def test_a_recorded_call_becomes_a_transcript(
    tmp_path: Path, small: Knowledge, capsys: pytest.CaptureFixture[str]
) -> None:
    """What was recorded is written as a file that replays; names only where they are wanted; one call a file."""
    place, file = tmp_path / "calls.db", tmp_path / "call.yaml"
    store = open_store(place)
    call = Desk(Engine(small), store).new_call("site", customer="Alder Flat")
    call.answer("plain", outcome="red")
    store.close()
    start = ["--store", str(place), "--knowledge", str(SMALL)]
    assert main([*start, "calls", "export", call.call, "-o", str(file)]) == GOOD
    assert main([*start, "replay", str(file)]) == GOOD
    assert "outcome: red" in file.read_text(encoding="utf-8")
    assert "customer: Alder Flat" in file.read_text(encoding="utf-8")
    assert main([*start, "calls", "export", call.call, "-o", str(file), "--no-personal"]) == GOOD
    assert "Alder Flat" not in file.read_text(encoding="utf-8")
    capsys.readouterr()
    assert main([*start, "calls", "export", call.call, call.call, "-o", str(file)]) == BAD_INPUT
    assert "A transcript holds one call." in capsys.readouterr().err
