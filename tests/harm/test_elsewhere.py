"""Other systems by simulation: consoles of another encoding, files held open, odd paths, modules that are not there.

Not tried here: a real Windows or macOS, their consoles and drivers, network drives.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from harm.base import ROOT, SMALL
from record.making import CALL, Desk

from diag.errors import DiagError, StoreError, UsageError
from diag.files import typed_path, write_new
from diag.store.open import open_store
from diag.writeup.saving import save

POSIX_ONLY = ("fcntl", "termios", "pty", "tty", "pwd", "grp", "resource", "readline")


def a_call(place: Path) -> None:
    """Keep a call whose words no Western console can show."""
    desk = Desk()
    desk.open(customer="Zoë Łąka 農場")
    desk.add("complaint", words="Row 7 skips ½ → ok 😀", accepted=[{"id": "gaps", "how": "chosen"}])
    with open_store(place) as store:
        store.append_many(desk.events, desk.sealed)


def run(*words: str, code: str = "", home: Path, **environment: str) -> subprocess.CompletedProcess[bytes]:
    """Run a command in a process of its own."""
    start = f"{code}\nimport sys\nfrom diag.cli import main\nsys.exit(main(sys.argv[1:]))"
    return subprocess.run([sys.executable, "-c", start, *words], capture_output=True, check=False, cwd=home, input=b"",
                          env={**os.environ, "PYTHONPATH": str(ROOT), "HOME": str(home), **environment})


@pytest.mark.parametrize("encoding", ["cp1252", "cp437", "ascii", "utf-16-le"])
@pytest.mark.parametrize("words", [["list"], ["show", CALL], ["--json", "list"]])
def test_a_console_of_another_encoding(tmp_path: Path, encoding: str, words: list[str]) -> None:
    """What the console cannot show is replaced; the command goes on, and JSON stays JSON."""
    a_call(tmp_path / "calls.db")
    done = run("calls", *words, "--store", "calls.db", home=tmp_path, PYTHONIOENCODING=encoding, PYTHONUTF8="0")
    assert (0, b"") == (done.returncode, done.stderr)
    told = done.stdout.decode(encoding)
    assert "Row 7 skips" in told
    if "--json" in words:
        assert CALL == json.loads(told)[0]["call"]


@pytest.mark.parametrize("name", ["a b.db", "#x?.db", "100%25.db", "Ünï.db", "a'b\".db", "x;y.db", "-x.db", "CON.db"])
def test_odd_names_of_a_store(tmp_path: Path, name: str) -> None:
    """Names that mean something to a URL, a shell or another system are names and nothing else."""
    a_call(tmp_path / name)
    assert [name] == [p.name for p in tmp_path.iterdir()]
    with open_store(tmp_path / name) as store:
        assert [CALL] == store.call_ids()


def test_a_file_that_another_program_holds_open(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a file that is open cannot be replaced, that is said; the older one stays, and nothing lies beside it."""
    a_call(tmp_path / "calls.db")

    def held(*_: object) -> None:
        raise PermissionError(13, "The process cannot access the file because it is being used by another process")

    for path in (tmp_path / "x.json", tmp_path / "x.md"):
        path.write_text("older")
    monkeypatch.setattr(Path, "replace", held)
    monkeypatch.setattr("diag.writeup.saving.FORMATS", {".md": type("F", (), {"make": staticmethod(lambda _: b"new")})})
    with open_store(tmp_path / "calls.db") as store, pytest.raises(StoreError, match="used by another process"):
        store.export_file([CALL], tmp_path / "x.json")
    with pytest.raises(UsageError, match="used by another process"):
        save(tmp_path / "x.md", None, replace=True)  # type: ignore[arg-type]
    with pytest.raises(UsageError, match="used by another process"):
        write_new(str(tmp_path / "new.txt"), "text", "File")
    assert {"calls.db", "x.json", "x.md"} == {p.name for p in tmp_path.iterdir()}
    assert ["older", "older"] == [(tmp_path / n).read_text() for n in ("x.json", "x.md")]


@pytest.mark.parametrize("words", [["--version"], ["calls", "list"], ["plain"], ["measure", "vacuum", "18 inH2O"],
                                   ["knowledge", "lint", "--knowledge", str(SMALL)]])
def test_without_the_modules_of_this_system(tmp_path: Path, words: list[str]) -> None:
    """Nothing rests on a module that only Unix has."""
    code = f"import sys\nfor name in {POSIX_ONLY!r}: sys.modules[name] = None"
    done = run(*words, code=code, home=tmp_path, DIAG_STORE="calls.db")
    assert b"ModuleNotFound" not in done.stderr
    assert b"does something wrong" not in done.stderr
    assert done.returncode in (0, 1)


def test_lines_that_end_the_other_way(tmp_path: Path) -> None:
    """An export, a table, the knowledge with CR LF at every line's end, as mail leaves them, are the same."""
    from diag.figures.table import read_file
    from diag.knowledge.load import load

    a_call(tmp_path / "calls.db")
    with open_store(tmp_path / "calls.db") as store, open_store(tmp_path / "other.db") as other:
        store.export_file([CALL], tmp_path / "x.json")
        (tmp_path / "x.json").write_bytes((tmp_path / "x.json").read_bytes().replace(b"\n", b"\r\n"))
        other.import_file(tmp_path / "x.json")
        assert store.events(CALL) == other.events(CALL)
    (tmp_path / "x.csv").write_bytes(b"row,vacuum inH2O\r\n1,18\r\n2,17\r\n")
    assert (1, 2) == read_file(tmp_path / "x.csv", ("vacuum",)).rows
    for file in SMALL.rglob("*.yaml"):
        copy = tmp_path / SMALL.name / file.relative_to(SMALL)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_bytes(file.read_bytes().replace(b"\n", b"\r\n"))
    assert load([SMALL]).digest == load([tmp_path / SMALL.name]).digest


@pytest.mark.parametrize("said", ["\0", "x" * 5000, "~nosuchuser/x", "a/" * 3000])
def test_what_names_no_file(said: str) -> None:
    """A path that no system takes is refused in words."""
    with pytest.raises(DiagError, match=r"names no file|cannot be written"):
        write_new(said, "text", "File")
    assert Path.home() / "x" == typed_path("~/x", "File")
