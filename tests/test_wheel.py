"""The built wheel: knowledge and demonstration calls travel with it, and it runs without the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent


@pytest.fixture(scope="module")
def unpacked(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the wheel and unpack it."""
    if not (ROOT / "pyproject.toml").exists():
        pytest.skip("the tests run without the source tree")
    place = tmp_path_factory.mktemp("wheel")
    command = [sys.executable, "-m", "build", "--wheel", "--no-isolation", "-o", str(place), str(ROOT)]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    wheel = next(place.glob("*.whl"))
    with zipfile.ZipFile(wheel) as archive:
        archive.extractall(place / "unpacked")
    return place / "unpacked"


def run(unpacked: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the program from the unpacked wheel, away from the checkout."""
    env = {**os.environ, "PYTHONPATH": str(unpacked), "DIAG_STORE": str(unpacked.parent / "calls.db")}
    command = [sys.executable, "-m", "diag", *arguments]
    return subprocess.run(command, capture_output=True, text=True, cwd=unpacked.parent, env=env, check=False)


def test_knowledge_and_calls_are_inside(unpacked: Path) -> None:
    """Every YAML of the checkout is in the wheel, and nothing of the tests."""
    data = unpacked / "diag" / "data"
    inside = {p.relative_to(data).as_posix() for p in data.rglob("*.yaml")}
    shipped = [p for name in ("knowledge", "transcripts_demo") for p in (ROOT / name).rglob("*.yaml")]
    assert inside == {p.relative_to(ROOT).as_posix() for p in shipped}
    assert not list(unpacked.rglob("test_*"))
    assert list(unpacked.rglob("LICENSE"))


def test_the_program_runs_from_the_wheel(unpacked: Path) -> None:
    """The knowledge is found inside the wheel, and a demonstration call replays."""
    code = "import diag, diag.knowledge.load as l; print(diag.__file__); print(l.knowledge_folder())"
    env = {**os.environ, "PYTHONPATH": str(unpacked)}
    command = [sys.executable, "-c", code]
    where = subprocess.run(command, capture_output=True, text=True, cwd=unpacked.parent, env=env, check=True)
    assert all(line.startswith(str(unpacked)) for line in where.stdout.splitlines())
    first = sorted((unpacked / "diag" / "data" / "transcripts_demo").glob("*.yaml"))[0]
    done = run(unpacked, "replay", str(first))
    assert (done.returncode, done.stderr) == (0, "")
    assert "AS EXPECTED" in done.stdout
