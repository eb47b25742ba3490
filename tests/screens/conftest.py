"""Engines for the screens: a small one with a check of every kind, and the whole one."""

from __future__ import annotations

from pathlib import Path

import pytest

from diag.knowledge.base import Knowledge
from diag.knowledge.load import load
from diag.reason.judge import Engine

SMALL = Path(__file__).parent.parent / "data" / "small"


@pytest.fixture(scope="session")
def little() -> Engine:
    """A small engine with a check of every kind of answer."""
    return Engine(load([SMALL, Path(__file__).parent / "knowledge"]))


@pytest.fixture(scope="session")
def big(whole: Knowledge) -> Engine:
    """The engine over the knowledge as shipped."""
    return Engine(whole)


@pytest.fixture
def place(tmp_path: Path) -> Path:
    """Where the calls of a test are kept."""
    return tmp_path / "calls.db"
