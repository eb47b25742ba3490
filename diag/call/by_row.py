"""Which row each value of an answer belongs to: only a check that takes one value per row has rows for keys."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from diag.errors import DiagError
from diag.figures.rows import row_of
from diag.knowledge.model import Check
from diag.record.kinds import Answer
from diag.units import Measured


def is_row(key: str, check: Check | None) -> bool:
    """Tell whether a key of an answer's values names a row; in a list of points it is the place in the list."""
    return check is not None and check.takes.per == "row" and row_of(key) is not None


def values_by_row(answer: Answer, check: Check | None) -> dict[int, Any]:
    """Return row -> stored value; {} for a check that takes none per row."""
    placed = {k: v for k, v in (answer.values or {}).items() if is_row(k, check) and " " not in k}
    return {row: v for k, v in placed.items() if (row := row_of(k))}


def figures_by_row(answer: Answer, check: Check | None) -> dict[int, float]:
    """Return row -> value in SI, or as a share for a count; one value for one row is that row's."""
    stored = values_by_row(answer, check)
    if not stored and answer.value is not None and isinstance(answer.rows, tuple) and len(answer.rows) == 1:
        stored = {answer.rows[0]: answer.value}
    read = {row: si_of(value) for row, value in stored.items()}
    return {row: value for row, value in read.items() if value is not None}


def si_of(value: Any) -> float | None:
    """Return a stored value in SI, a count as a share; None for words and for units no longer known."""
    if isinstance(value, Mapping) and "count" in value:
        return value["count"] / value["of"] if value["of"] else None
    if isinstance(value, Mapping):
        try:
            return Measured.from_json(value).si()
        except DiagError:
            return None
    return float(value) if isinstance(value, int) else None
