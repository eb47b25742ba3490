"""Figures read aloud one by one: each is checked and read back at once, and joined to one answer at the end."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from diag import figures
from diag.analyses.dictation import doubtful, next_position, read_back, read_back_row
from diag.errors import UsageError
from diag.figures import AGAIN
from diag.knowledge.model import Check
from diag.text import one_line
from diag.units import Measured

_ROW = re.compile(r"row ([0-9]{1,3})")
"""Typed in place of a figure: go on with that row."""
NOT_READ = ("-", "--", "x")


@dataclass(frozen=True)
class Aloud:
    """What has been read so far. `row` and `step`: the row that comes next and the direction of the walk."""

    kind: str
    """rows | positions"""
    quantity: str
    unit: str | None = None
    row: int = 1
    step: int = 1
    last: int | None = None
    read: tuple[tuple[str, Measured | None], ...] = ()

    @property
    def prompt(self) -> str:
        """What is asked next."""
        if self.kind == "positions":
            return f"position {len(self.read) + 1}"
        if self.over:
            return f"row {self.read[0][0]} once more, at the end of the walk"
        return f"row {self.row}"

    @property
    def over(self) -> bool:
        """True when the last row of the walk was read; the first row is then read again."""
        return self.kind == "rows" and self.last is not None and (self.row - self.last) * self.step > 0

    @property
    def done(self) -> bool:
        """True when nothing more can be read."""
        return any(key == AGAIN for key, _ in self.read)


def can_be_read_aloud(check: Check) -> bool:
    """Tell whether a check's figures can be taken one by one."""
    return check.takes.kind == "positions" or (check.takes.kind == "numbers" and check.takes.per == "row")


def begin(check: Check, start: int = 1, last: int | None = None) -> Aloud:
    """Return an empty reading of a check. `start`, `last`: first and last row of the walk."""
    kind = "positions" if check.takes.kind == "positions" else "rows"
    step = -1 if last is not None and last < start else 1
    return Aloud(kind, check.takes.quantity or "position", None, start, step=step, last=last)


def take(aloud: Aloud, text: str) -> Aloud:
    """Return the reading with one more figure. Raises DiagError at once where it cannot be so."""
    said = one_line(text, limit=60)
    jump = _ROW.fullmatch(said.casefold())
    if jump and aloud.kind == "rows":
        return replace(aloud, row=int(jump[1]))
    if aloud.done:
        raise UsageError("The walk is over.", aloud.prompt, "Enter on an empty line uses what was read.")
    if aloud.kind == "positions":
        before = [m for _, m in aloud.read if m is not None]
        found: Measured | None = next_position(before, said, aloud.unit)
    else:
        found = None if said in NOT_READ else figures.measured(said, aloud.quantity, default_unit=aloud.unit)
    key = AGAIN if aloud.over else str(aloud.row if aloud.kind == "rows" else len(aloud.read) + 1)
    unit = found.unit if found is not None else aloud.unit
    return replace(aloud, read=(*aloud.read, (key, found)), row=aloud.row + aloud.step, unit=unit)


def back(aloud: Aloud) -> Aloud:
    """Return the reading without the last figure."""
    if not aloud.read:
        return aloud
    return replace(aloud, read=aloud.read[:-1], row=aloud.row - aloud.step)


def read_back_last(aloud: Aloud) -> str:
    """Return the last figure as it is read back, with a doubt where it is unlike both its neighbours."""
    if not aloud.read:
        return ""
    key, found = aloud.read[-1]
    if aloud.kind == "positions":
        return read_back(found) if found else ""
    told = (
        "once more: " + (read_back(found) if found else "not read") if key == AGAIN else read_back_row(int(key), found)
    )
    rows = [(k, m) for k, m in aloud.read if m is not None and k != AGAIN]
    strange = [rows[i][0] for i in doubtful([m for _, m in rows])]
    return told + (f"  (ask again: row {', '.join(strange)})" if strange else "")


def text(aloud: Aloud) -> str:
    """Return what was read as one answer, as it can be typed."""
    return figures.typed(aloud.read, places=aloud.kind == "rows")
