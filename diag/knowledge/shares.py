"""What is seen under which fault: the outcome table of a check, from what causes show.

A cause's own `shows` comes first, then the first line of the check's `tells` that fits its attributes; what
neither tells is seen as on a machine that is sound there.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from diag.knowledge.model import Cause, Check
from diag.knowledge.vocabulary import Likelihood, Settings

Row = tuple[float, ...]
"""One number per outcome, in the order written."""
Told = Mapping[str, str | float]
"""Outcome -> word or share."""
YES = "yes"
TOO_MUCH = 1.25
"""Chances told of one check may sum to this, since words are coarse; they are then brought to 1."""


def base_shares(check: Check, settings: Settings) -> dict[str, float]:
    """Return outcome -> share seen on a machine that is sound there; shares sum to 1.

    A normal outcome takes its `usual` (else the setting), an outcome with `share` that much; what is left
    goes evenly to the others. Expects a check as asked (see load.expand), with at least one outcome.
    """
    usual = settings.usual
    given = tuple((usual if o.usual is None else o.usual) if o.normal else o.share for o in check.outcomes.values())
    return dict(zip(check.outcomes, _even(given, settings.floor), strict=True))


def told(check: Check, cause: Cause) -> Told | None:
    """Return what is told of a cause in a check as asked, by itself or by its attributes; None = nothing."""
    whole, dot, item = check.id.partition(".")
    own = cause.shows.get(whole)
    if own is not None and not dot:
        return own
    if own is not None and item in own:
        return {YES: own[item]}
    for line in check.tells:
        if line.fits(cause):
            return line.shows
    return None


def chances(of: Told, words: Mapping[str, Likelihood]) -> dict[str, float]:
    """Return outcome -> chance, words resolved."""
    return {name: words[word].chance if isinstance(word, str) else word for name, word in of.items()}


def outcome_shares(
    check: Check, cause: Cause, words: Mapping[str, Likelihood], settings: Settings
) -> dict[str, float]:
    """Return outcome -> chance of seeing it when this cause alone is present; shares sum to 1."""
    base, said = base_shares(check, settings), told(check, cause)
    if said is None:
        return base
    row = filled(tuple(base.values()), tuple(chances(said, words).get(o) for o in base), settings.floor)
    return dict(zip(base, row, strict=True))


@lru_cache(maxsize=20_000)
def filled(base: Row, given: tuple[float | None, ...], floor: float) -> Row:
    """Return the table row for told chances over base shares.

    Told chances hold; what they leave goes to the outcomes not told in proportion to base. Chances above 1
    together, or below 1 with nothing left untold, are brought to 1 alike. No share lies below `floor`.
    """
    named = sum(p for p in given if p is not None)
    free = sum(b for b, p in zip(base, given, strict=True) if p is None)
    scale = 1.0 / named if named > 1.0 or (free == 0.0 and named > 0.0) else 1.0
    rest = max(0.0, 1.0 - named)
    pairs = zip(base, given, strict=True)
    shares = [rest * b / free if p is None else p * scale for b, p in pairs]
    return _floored(tuple(shares), floor)


@lru_cache(maxsize=2_000)
def _even(given: tuple[float | None, ...], floor: float) -> Row:
    """Fill missing shares evenly from what is left and bring the sum to 1."""
    fixed = sum(g for g in given if g is not None)
    missing = sum(g is None for g in given)
    each = max(1 - fixed, 0) / missing if missing else 0.0
    shares = [each if g is None else g for g in given]
    total = sum(shares)
    return _floored(tuple(s / total for s in shares), floor)


def _floored(shares: Iterable[float], floor: float) -> Row:
    """Lift shares below the floor; the others pay in proportion."""
    row = tuple(shares)
    while min(row) < floor * (1 - 1e-12):
        low = [s <= floor for s in row]
        paid = sum(s for s, at in zip(row, low, strict=True) if not at)
        owed = 1.0 - floor * sum(low)
        row = tuple(floor if at else s * owed / paid for s, at in zip(row, low, strict=True))
    return row
