"""Where the log goes: a file, never the terminal that shows the screens."""

from __future__ import annotations

import logging
from pathlib import Path


def log_to_file() -> Path | None:
    """Send all logging to a file in the user's log folder and return it; None when none can be written."""
    from platformdirs import user_log_dir

    root = logging.getLogger()
    for handler in root.handlers[:]:
        root.removeHandler(handler)
    path = Path(user_log_dir("diag", appauthor=False)) / "diag.log"
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        handler = logging.FileHandler(path, encoding="utf-8", delay=True)
    except OSError:
        root.addHandler(logging.NullHandler())
        return None
    handler.setFormatter(logging.Formatter("%(asctime)s %(name)s %(message)s"))
    root.addHandler(handler)
    root.setLevel(logging.WARNING)
    return path
