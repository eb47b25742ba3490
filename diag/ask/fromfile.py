"""Readings from a file, as text that can be looked through and recorded like typed ones."""

from __future__ import annotations

from diag.errors import UsageError
from diag.figures import AGAIN, typed
from diag.figures.table import ValueTable, read_file
from diag.files import typed_path
from diag.knowledge.model import Check
from diag.units import QUANTITIES, UNITS, Measured, convert

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
    table = read_file(typed_path(str(path), "file"), wanted)
    if per_row:
        keys = [str(row) for row in table.rows or range(1, len(table.values) + 1)]
        if len(keys) > 1 and keys[-1] == keys[0]:
            keys[-1] = AGAIN
        return typed(zip(keys, _values(table, wanted[0]), strict=True), places=True)
    table = _one_row(table, row, path)
    return typed((("", value) for value in _values(table, wanted[0])), places=False)


def _one_row(table: ValueTable, row: int | None, path: str) -> ValueTable:
    found = table.by_row()
    if len(found) == 1:
        return next(iter(found.values()))
    if row in found:
        return found[row]
    rows = ", ".join(str(r) for r in found if r is not None)
    raise UsageError(f"The file holds rows {rows}.", path, "Say which row is meant: Rows, who, when.")


def _values(table: ValueTable, quantity: str) -> list[Measured]:
    """Return the values in the first unit met."""
    name = next((u for u in table.units if u in UNITS), QUANTITIES[quantity].metric)
    told = (convert(v, QUANTITIES[quantity].si, name) for v in table.values)
    return [Measured(f"{float(f'{v:.{FIGURES}g}'):.10f}".rstrip("0").rstrip("."), name) for v in told]
