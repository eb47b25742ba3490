"""Short ways to write cases in tests."""

from __future__ import annotations

from diag.call.case_of import reported
from diag.knowledge.base import Knowledge
from diag.reason.case import Instance


def said(
    k: Knowledge, check: str, outcome: str | None, *, error: float = 0.0, epoch: int = 0,
    rows: tuple[int, ...] | None = None, event: str = "",
) -> Instance:
    """Return an instance: a check answered with an outcome (None = not sure) by an observer who errs so often."""
    names = list(k.questions[check].outcomes)
    if outcome is None:
        return Instance(check, "all", epoch, None, (1.0,) * len(names), events=(event or check,), given=False)
    weights = tuple(1.0 if n == outcome else 0.0 for n in names)
    shown = "all" if rows is None else ",".join(map(str, rows))
    return Instance(
        check, shown, epoch, outcome, reported(weights, error), events=(event or check,), row_numbers=rows
    )
