"""Readings from a file, as text that can be looked through and recorded like typed ones."""

from __future__ import annotations

from pathlib import Path

from diag.analyses.readers import Table, read_file
from diag.errors import UsageError
from diag.knowledge.model import Check
from diag.units import QUANTITIES, UNITS

FIGURES = 7
"""Significant figures kept where a file's unit had to be converted."""


def can_come_from_file(check: Check) -> bool:
    """Tell whether a check's readings can be taken from a file."""
    return check.takes.kind in ("spacings", "positions") or (check.takes.kind == "numbers" and check.takes.per == "row")


def answer_text(check: Check, path: str, row: int | None = None) -> str:
    """Return the readings of a CSV file (or of bare numbers with a unit) as they can be typed.

    `row`: which row is meant where the file holds several. Raises DiagError naming file and line.
    """
    if not can_come_from_file(check):
        raise UsageError("These readings are typed, not taken from a file.", check.asks, "Type them.")
    per_row = check.takes.kind == "numbers"
    wanted = (check.takes.quantity or "vacuum",) if per_row else (check.takes.kind.removesuffix("s"),)
    table = read_file(Path(path).expanduser(), wanted)
    if per_row:
        keys = table.rows or tuple(range(1, len(table.values) + 1))
        told = ", ".join(f"{key}: {text}" for key, text in zip(keys, _texts(table, wanted[0]), strict=True))
        return f"{told} {_unit(table, wanted[0])}"
    table = _one_row(table, row, path)
    return f"{' '.join(_texts(table, wanted[0]))} {_unit(table, wanted[0])}"


def _one_row(table: Table, row: int | None, path: str) -> Table:
    found = table.by_row()
    if len(found) == 1:
        return next(iter(found.values()))
    if row in found:
        return found[row]
    rows = ", ".join(str(r) for r in found if r is not None)
    raise UsageError(f"The file holds rows {rows}.", path, "Say which row is meant: Rows, who, when.")


def _unit(table: Table, quantity: str) -> str:
    named = table.units[0] if table.units and table.units[0] in UNITS else None
    return named or QUANTITIES[quantity].metric


def _texts(table: Table, quantity: str) -> list[str]:
    unit = UNITS[_unit(table, quantity)]
    return [f"{float(f'{(v - unit.offset) / unit.factor:.{FIGURES}g}'):.10f}".rstrip("0").rstrip(".")
            for v in table.values]
