"""The catalogue: every analysis by name, the door through which readings are analysed, and outcome weights.

An analysis never names a cause and holds no limits; what it finds is judged by the knowledge.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType

from diag.analyses.context import CONTEXT
from diag.analyses.model import (
    Analysed,
    Analysis,
    Context,
    Reading,
    Result,
    ResultSpec,
)
from diag.analyses.table import ANALYSES
from diag.analyses.weights import weight_above, weight_below, weight_between, weight_is
from diag.errors import MeasureError

__all__ = [
    "CATALOGUE", "CONTEXT", "KINDS", "Analysed", "Analysis", "Context", "Reading", "Result", "ResultSpec",
    "analyse", "weight_above", "weight_below", "weight_between", "weight_is",
]

CATALOGUE: Mapping[str, Analysis] = MappingProxyType({a.name: a for a in ANALYSES})

KINDS = ("number", "numbers", "spacings", "positions", "count", "counts", "log", "choice")
"""Answer kinds that carry values an analysis can take."""


def analyse(name: str, reading: Reading, context: Context) -> Analysed:
    """Return what the named analysis makes of a reading.

    Readings that are too few give `enough` False with the reason and, where it can be said, how many more
    are needed; they do not raise. Raises MeasureError: unknown analysis, wrong kind of answer, a missing
    context value, values that are no finite numbers or do not fit together.
    """
    analysis = CATALOGUE.get(name)
    if analysis is None:
        raise MeasureError(f'There is no analysis "{name}".', remedy="Known: " + ", ".join(CATALOGUE) + ".")
    if reading.kind not in analysis.takes:
        raise MeasureError(f"{analysis.title} cannot be worked out from an answer of kind {reading.kind}.",
                           remedy=f"It takes {' or '.join(analysis.takes)}.")
    missing = [n for n in analysis.needs if context.get(n) is None]
    if missing:
        told = "; ".join(CONTEXT[n].meaning for n in missing)
        raise MeasureError(f"{analysis.title} needs: {told}.", remedy="Enter it in the machine profile.")
    check(reading)
    return analysis.run(reading, context)


def check(reading: Reading) -> None:
    """Refuse a reading that holds no finite numbers or whose parts do not fit. Raises MeasureError."""
    if any(not math.isfinite(x) for x in (*reading.numbers, *reading.times)):
        raise MeasureError("A reading holds something that is not a number.", remedy="Take that value out.")
    for name, other in (("rows", reading.rows), ("times", reading.times), ("labels", reading.labels)):
        if other and len(other) != len(reading.numbers):
            raise MeasureError(f"{len(reading.numbers)} values have {len(other)} {name}.",
                               remedy="Give one for each value.")
    if any(row < 1 for row in reading.rows):
        raise MeasureError("Rows are counted from 1.", remedy="Row 1 is the left one, seen from the seat.")
    for label, (k, n) in reading.counts.items():
        if k < 0 or n < 0:
            raise MeasureError(f"A count cannot be negative: {k} of {n}.", label, "Correct the count.")
    if (reading.k is not None and reading.k < 0) or (reading.n is not None and reading.n < 0):
        raise MeasureError("A count cannot be negative.", remedy="Correct the count.")
