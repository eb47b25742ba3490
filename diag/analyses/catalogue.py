"""The catalogue: every analysis by name, the door through which readings are analysed, and outcome weights.

An analysis never names a cause and holds no limits; what it finds is judged by the knowledge.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace

from diag.analyses import counts, drive, rhythm, spacing, stand, vacuum, vacuum_map, values  # noqa: F401  (fill it)
from diag.analyses.context import CONTEXT
from diag.analyses.model import CATALOGUE, Analysed, Analysis, Charts, Context, Reading, Result, ResultSpec
from diag.analyses.weights import weight_below
from diag.errors import MeasureError

__all__ = [
    "CATALOGUE", "CONTEXT", "KINDS", "Analysed", "Analysis", "Context", "Reading", "Result", "ResultSpec",
    "analyse", "analyse_all", "results_of", "weight_below",
]

KINDS = ("number", "numbers", "spacings", "positions", "count", "counts", "log", "choice")
"""Answer kinds that carry values an analysis can take."""


def results_of(names: Iterable[str]) -> Mapping[str, ResultSpec]:
    """Return the results that several analyses give together, by name; unknown analyses give none."""
    return {name: spec for a in names if a in CATALOGUE for name, spec in CATALOGUE[a].results.items()}


def analyse_all(names: Sequence[str], reading: Reading, context: Context) -> Analysed:
    """Return what several analyses make of one reading: the first judges, the others add what they find.

    Another one that cannot run, or finds its readings too few, adds a note. Raises MeasureError as `analyse`.
    """
    found = analyse(names[0], reading, context)
    for name in names[1:]:
        try:
            more = analyse(name, reading, context)
        except MeasureError as error:
            found = replace(found, notes=(*found.notes, f"{error.what} {error.remedy}".strip()))
            continue
        words = f"{found.words} {more.words}" if more.enough and found.enough else found.words
        notes = (*found.notes, *more.notes, *(() if more.enough else (more.words,)))
        found = replace(found, results={**more.results, **found.results}, words=words, notes=notes,
                        charts=_both(found.charts, more.charts))
    return found


def _both(one: Charts, other: Charts) -> Charts:
    return lambda width: (*one(width), *other(width))


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
