"""Files written whole: beside the old one first, then in its place, so a full disk never leaves half of either."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path


def write_whole(path: Path, data: bytes) -> None:
    """Write a file whole or not at all; its owner alone may read it. Raises OSError."""
    if not path.name or path.is_dir():
        raise IsADirectoryError(21, "that is a folder")
    handle, beside = tempfile.mkstemp(prefix=".diag-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(beside).replace(path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise


def reason_of(error: Exception) -> str:
    """Return why the system refused, in its own words."""
    return getattr(error, "strerror", None) or type(error).__name__
