"""Who this installation is: an id that is read when it is there, and kept only together with the first event."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from diag.errors import StoreError
from diag.files import reason_of, write_whole
from diag.record.ids import is_call_id, new_desk_id


def user_folder() -> Path:
    """Return the user's data folder of this program."""
    from platformdirs import user_data_dir

    return Path(user_data_dir("diag", appauthor=False))


class DeskFile:
    """A file of this installation that holds its id, where the store itself is shared."""

    def __init__(self, path: Path, random: Callable[[int], bytes]) -> None:
        self._path, self._random = path, random
        self._new = ""

    def read(self) -> str:
        """Return the id; a new one that nothing holds yet when there is no file. Raises StoreError."""
        if self._new:
            return self._new
        try:
            found = self._path.read_text(encoding="utf-8").strip() if self._path.exists() else ""
        except (OSError, UnicodeDecodeError) as e:
            raise StoreError(f"The id of this desk cannot be read: {reason_of(e)}.", str(self._path),
                             "Check the folder.") from None
        if found and not is_call_id(found):
            raise StoreError("This file does not hold the id of a desk.", str(self._path),
                             "Delete it; a new one is made.")
        self._new = "" if found else new_desk_id(self._random)
        return found or self._new

    def keep(self) -> None:
        """Write a new id down. Raises StoreError."""
        if self._new:
            try:
                self._path.parent.mkdir(parents=True, exist_ok=True)
                write_whole(self._path, f"{self._new}\n".encode())
            except OSError as e:
                raise StoreError(f"The id of this desk cannot be kept: {reason_of(e)}.", str(self._path),
                                 "Check the folder.") from None
            self._new = ""
