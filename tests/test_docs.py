"""The documents say what the program does: commands, transcript form, layers, top level."""

from __future__ import annotations

import re
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
README, GUIDE = ROOT / "README.md", ROOT / "DEVELOPERS.md"
TOP = {"README.md", "DEVELOPERS.md", "pyproject.toml", "diag", "knowledge", "tests", "transcripts_demo"}


def test_every_command_is_in_the_readme() -> None:
    """What `diag --help` lists stands in the README's table."""
    done = subprocess.run([sys.executable, "-m", "diag", "--help"], capture_output=True, text=True, check=True)
    commands = re.findall(r"^    ([a-z-]+) ", done.stdout, re.MULTILINE)
    assert len(commands) >= 8
    assert [c for c in commands if f"diag {c}" not in README.read_text(encoding="utf-8")] == []


def test_the_guide_shows_the_transcript_form_as_the_reader_has_it() -> None:
    """The example in DEVELOPERS.md is the one in the docstring of the reader."""
    from diag.record import transcript

    example = (transcript.__doc__ or "").partition("\n\n")[2].partition("\n\nThe fields of each kind")[0]
    assert example.strip()
    assert example in GUIDE.read_text(encoding="utf-8")


def test_the_guide_draws_the_layers_that_are_enforced() -> None:
    """The arrows of DEVELOPERS.md are the layers of import-linter."""
    settings = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))
    layers = settings["tool"]["importlinter"]["contracts"][0]["layers"]
    drawn = " > ".join(layer.replace("diag.", "") for layer in layers)
    assert drawn in GUIDE.read_text(encoding="utf-8")


def test_the_test_command_is_one_line_that_ci_can_find() -> None:
    """CI takes the README's own test command."""
    text = README.read_text(encoding="utf-8").partition("<!-- test command -->")[2]
    assert re.search(r"^python3 -m venv .* pytest$", text, re.MULTILINE)


def places(text: str) -> Iterator[tuple[str, list[str]]]:
    """Yield the files that a document names in Python's spelling, each with the names that follow it."""
    for file, names in re.findall(r"`((?:[\w.*]+/)*[\w*]+\.py)`((?:,? (?:and )?`\w+`)*)", text):
        yield file, re.findall(r"`(\w+)`", names)


def found(file: str) -> list[Path]:
    """Return the files of that name: from the top, in diag/, or anywhere in it where it is named without a folder."""
    whole = [p for top in (ROOT, ROOT / "diag") for p in top.glob(file)]
    return whole or ([] if "/" in file else list((ROOT / "diag").rglob(file)) + list((ROOT / "tests").rglob(file)))


def test_every_file_and_function_the_documents_name_is_there() -> None:
    """The map and the walk from the key to the PDF lead to places that exist."""
    named = [place for path in (README, GUIDE) for place in places(path.read_text(encoding="utf-8"))]
    walk = [place for place in named if place[1]]
    assert (len(named) > 100, len(walk) > 25) == (True, True)
    assert [] == [file for file, _ in named if not found(file)]
    assert [] == [(file, name) for file, names in walk for name in names
                  if not re.search(rf"^ *(?:async )?(?:def|class) {name}\b", found(file)[0].read_text("utf-8"), re.M)]


def test_nothing_else_lies_at_the_top() -> None:
    """The top level is fixed; dot-files aside."""
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    done = subprocess.run(["git", "ls-files"], capture_output=True, text=True, check=True, cwd=ROOT)
    top = {line.partition("/")[0] for line in done.stdout.splitlines()}
    assert {name for name in top if not name.startswith(".")} == TOP


def test_no_placeholder_is_left() -> None:
    """Documents are finished."""
    for path in (README, GUIDE):
        assert "@@" not in path.read_text(encoding="utf-8")
