"""Weight of a result's distribution on either side of a limit: how a reading near a limit is shared out.

Numbers are taken as normal with their standard error. Shares counted as k of n are taken exactly, as the
beta distribution of the share with half a count added on both sides (Jeffreys; Brown, Cai & DasGupta
2001, from memory). A result without error falls wholly on one side; one exactly on a limit lies neither
below nor above it.
"""

from __future__ import annotations

import math

from diag.analyses.model import Result
from diag.errors import MeasureError
from diag.measure.counting import beta_cdf


def weight_below(result: Result, limit: float) -> float:
    """Return the weight of values below `limit` (SI), 0 to 1. Raises MeasureError for a word."""
    value = _number(result)
    if result.k is not None and result.n and 0 <= result.k <= result.n:
        return beta_cdf(min(max(limit, 0.0), 1.0), result.k + 0.5, result.n - result.k + 0.5)
    if result.error:
        return 0.5 * math.erfc((value - limit) / (result.error * math.sqrt(2)))
    return 1.0 if value < limit else 0.0


def _number(result: Result) -> float:
    if isinstance(result.value, str):
        raise MeasureError(f"{result.name} is a word, not a number.", remedy="Compare it with `is`.")
    return result.value
