"""What the kinds of input need: places, engines, examples."""

from __future__ import annotations

import contextlib
import shutil
import tempfile
from collections.abc import Callable, Iterator
from functools import cache
from pathlib import Path

from diag.knowledge.load import knowledge_folder, load
from diag.reason.judge import Engine

ROOT = Path(__file__).resolve().parents[2]
SMALL = ROOT / "tests" / "data" / "small"
DEMO = sorted((ROOT / "transcripts_demo").glob("*.yaml"))


@contextlib.contextmanager
def folder() -> Iterator[Path]:
    """A folder of its own, in memory where there is such a place."""
    shm = Path("/dev/shm")
    place = Path(tempfile.mkdtemp(prefix="harm-", dir=shm if shm.is_dir() else None))
    try:
        yield place
    finally:
        shutil.rmtree(place, ignore_errors=True)


@cache
def engine(*, whole: bool = False) -> Engine:
    """The engine over the small knowledge, or over the whole."""
    return Engine(load([knowledge_folder() if whole else SMALL]))


def text(data: bytes) -> str:
    """Return bytes as the text that a pipe or a form hands over."""
    return data.decode("utf-8", "replace")


def many(*texts: str) -> Callable[[], list[bytes]]:
    """Return examples."""
    return lambda: [t.encode() for t in texts]


def files(*paths: Path) -> Callable[[], list[bytes]]:
    """Return the contents of files as examples."""
    return cache(lambda: [p.read_bytes() for p in paths])
