"""Files written whole: beside the old one first, then in its place, so a full disk never leaves half of either."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable
from pathlib import Path

from diag.errors import UsageError


def typed_path(said: str, where: str) -> Path:
    """Return the path that was typed, with ~ as the user's folder. Raises UsageError for what names no file."""
    try:
        path = Path(said).expanduser()
        path.exists()
    except (OSError, ValueError, RuntimeError) as e:
        raise UsageError(f"That names no file: {reason_of(e)}.", where, "Name another.") from None
    return path


def write_new(said: str, text: str, where: str) -> None:
    """Write text to a file that is not there yet, for its owner's eyes. Raises UsageError."""
    path = typed_path(said, where)
    if path.exists():
        raise UsageError("There is such a file already.", where, "Choose another name.")
    try:
        write_whole(path, f"{text}\n".encode())
    except (OSError, ValueError) as e:
        raise UsageError(f"It cannot be written: {reason_of(e)}.", where, "Choose another place.") from None


def write_whole(path: Path, data: bytes | Iterable[bytes]) -> None:
    """Write a file, in one or in pieces, whole or not at all; its owner alone may read it. Raises OSError."""
    if not path.name or path.is_dir():
        raise IsADirectoryError(21, "that is a folder")
    handle, beside = tempfile.mkstemp(prefix=".diag-", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.writelines([data] if isinstance(data, bytes) else data)
            file.flush()
            os.fsync(file.fileno())
        Path(beside).replace(path)
    except BaseException:
        Path(beside).unlink(missing_ok=True)
        raise


def reason_of(error: Exception) -> str:
    """Return why the system refused, in its own words."""
    return getattr(error, "strerror", None) or type(error).__name__
