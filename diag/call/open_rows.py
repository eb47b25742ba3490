"""Rows in trouble that nobody has mended, nor read right since another row was mended."""

from __future__ import annotations

from diag.call.proof import Proving
from diag.record.kinds import Answer


def open_rows(proving: Proving) -> tuple[int, ...]:
    """Return the rows in trouble that no repair and no good reading since the first speaks of."""
    trouble, mended = proving.state.situation.rows, [proving.rows(r) for r in proving.repairs]
    if not isinstance(trouble, tuple) or not mended or not all(mended):
        return ()
    left = set(trouble).difference(*mended)
    return tuple(sorted(row for row in left if not _read_right(proving, row)))


def _read_right(proving: Proving, row: int) -> bool:
    """Tell whether a check reads right in a row since the first repair, and did not read right there before it."""
    first = min(r.epoch for r in proving.repairs)
    plain = [a for a in proving.plain(proving.state.answers) if row in proving.covers(a) or not proving.covers(a)]
    right_before = {a.check for a in plain if a.epoch <= first and row in proving.covers(a) and _right(proving, a, row)}
    return any(a.epoch > first and a.check not in right_before and _right(proving, a, row) for a in plain)


def _right(proving: Proving, answer: Answer, row: int) -> bool:
    """Tell whether a reading is usual, without the rows that were mended."""
    check = proving.knowledge.questions.get(answer.check)
    outcome = proving.outcome_without(answer, proving.mended() - {row})
    return check is not None and outcome is not None and check.outcomes[outcome].normal
