"""What is seen under which fault: the outcome table of a check, made from its marks.

A mark is a likelihood ratio against the base share, which is what is seen when nothing the check marks is
present. A table must sum to 1, so marks above 1 are kept only as far as there is room; marks below 1 are kept
exactly.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache

from diag.knowledge.model import Check, Outcome
from diag.knowledge.vocabulary import Mark, Settings

Row = tuple[float, ...]
"""One number per outcome, in the order written."""


def base_shares(check: Check, settings: Settings) -> dict[str, float]:
    """Return outcome -> share seen when nothing marked by the check is present; shares sum to 1.

    A normal outcome takes its `usual` (else the setting), an outcome with `share` that much; what is left
    goes evenly to the others. Expects a check as asked (see load.expand), with at least one outcome.
    """
    return dict(zip(check.outcomes, _base_row(check, settings), strict=True))


def outcome_shares(
    check: Check, cause_id: str, subsystem: str, marks: Mapping[str, Mark], settings: Settings
) -> dict[str, float]:
    """Return outcome -> chance of seeing it when this cause alone is present; shares sum to 1.

    In each outcome a mark on the cause itself overrides a mark on its @subsystem.
    """
    base = _base_row(check, settings)
    ratios = ratio_row(check, cause_id, subsystem, marks)
    row = filled(base, ratios, settings.floor, settings.positive_room)
    return dict(zip(check.outcomes, row, strict=True))


def marked(check: Check, cause_id: str, subsystem: str) -> bool:
    """Return whether any outcome of the check marks this cause or its subsystem."""
    return any(_word(outcome, cause_id, subsystem) for outcome in check.outcomes.values())


def ratio_row(check: Check, cause_id: str, subsystem: str, marks: Mapping[str, Mark]) -> Row:
    """Return the written ratio of each outcome for a cause, 1 where it is not marked."""
    words = (_word(outcome, cause_id, subsystem) for outcome in check.outcomes.values())
    return tuple(marks[word].ratio if word else 1.0 for word in words)


@lru_cache(maxsize=20_000)
def filled(base: Row, ratios: Row, floor: float, room: float) -> Row:
    """Return the table row for written ratios over base shares.

    Ratios below 1 are kept exactly. Ratios above 1 get base x ratio, together at most `room` of what those
    leave, scaled alike if more. The rest goes to the unmarked outcomes in proportion to base; where there are
    none, the raised ones take it all (all lowered, which the linter refuses: scaled up alike). No share lies
    below `floor`.
    """
    if all(r == 1 for r in ratios):
        return _floored(base, frozenset(), floor)
    lowered = frozenset(i for i, r in enumerate(ratios) if r < 1)
    raised = [i for i, r in enumerate(ratios) if r > 1]
    plain = [i for i, r in enumerate(ratios) if r == 1]
    shares = [b * r for b, r in zip(base, ratios, strict=True)]
    if len(lowered) == len(shares):
        return _floored(tuple(s / sum(shares) for s in shares), frozenset(), floor)
    left = 1 - sum(shares[i] for i in lowered)
    wanted = sum(shares[i] for i in raised)
    if raised and (not plain or wanted > room * left):
        scale = (left if not plain else room * left) / wanted
        for i in raised:
            shares[i] *= scale
    rest = left - sum(shares[i] for i in raised)
    free = sum(base[i] for i in plain)
    for i in plain:
        shares[i] = rest * base[i] / free
    return _floored(tuple(shares), lowered, floor)


def _word(outcome: Outcome, cause_id: str, subsystem: str) -> str | None:
    group = None
    for word, targets in outcome.marks.items():
        if cause_id in targets:
            return word
        if f"@{subsystem}" in targets:
            group = word
    return group


@lru_cache(maxsize=2_000)
def _even(given: tuple[float | None, ...], floor: float) -> Row:
    """Fill missing shares evenly from what is left and bring the sum to 1."""
    fixed = sum(g for g in given if g is not None)
    missing = sum(g is None for g in given)
    each = max(1 - fixed, 0) / missing if missing else 0.0
    shares = [each if g is None else g for g in given]
    total = sum(shares)
    return _floored(tuple(s / total for s in shares), frozenset(), floor)


def _base_row(check: Check, settings: Settings) -> Row:
    usual = settings.usual
    given = tuple(
        (usual if o.usual is None else o.usual) if o.normal else o.share for o in check.outcomes.values()
    )
    return _even(given, settings.floor)


def _floored(shares: Row, kept: frozenset[int], floor: float) -> Row:
    """Lift shares below the floor; the others pay in proportion, `kept` ones only when nobody else can."""
    lifted = {i for i, s in enumerate(shares) if s < floor}
    payers = [i for i in range(len(shares)) if i not in lifted and i not in kept]
    payers = payers or [i for i in range(len(shares)) if i not in lifted]
    others = sum(s for i, s in enumerate(shares) if i not in lifted and i not in payers)
    owed = 1 - others - floor * len(lifted)
    paid = sum(shares[i] for i in payers)
    if not payers or (not lifted and abs(others + paid - 1) < 1e-12):
        return shares
    result = [floor if i in lifted else s for i, s in enumerate(shares)]
    for i in payers:
        result[i] = shares[i] * owed / paid
    return tuple(result) if min(result) >= floor else _floored(tuple(result), kept, floor)
