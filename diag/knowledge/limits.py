"""Limits as numbers: a named limit, one given in place, or a plain share or ratio, in SI."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from diag.errors import UnitError
from diag.knowledge.vocabulary import InlineLimit
from diag.units import QUANTITIES, Measured, parse

if TYPE_CHECKING:
    from diag.knowledge.base import Knowledge

PLAIN_RESULTS = frozenset({"word", "flag", "share", "ratio"})


def limit_value(k: Knowledge, bound: Any, quantity: str) -> tuple[str, float | None]:
    """Return (fault, SI value) of a limit without variants or book values."""
    text = bound.value if isinstance(bound, InlineLimit) else bound
    if isinstance(bound, str) and bound in k.limits:
        limit = k.limits[bound]
        if quantity not in PLAIN_RESULTS and not same_dimension(limit.quantity, quantity):
            return f"Limit {bound} is a {limit.quantity}, the result a {quantity}.", None
        text, quantity = limit.value, limit.quantity
    elif isinstance(bound, str) and bound[:1].isalpha():
        return f"{bound!r} is no known limit.", None
    try:
        return "", parse_plain(text, quantity)
    except UnitError as error:
        return error.what, None


def same_dimension(one: str, other: str) -> bool:
    if one == other:
        return True
    return one in QUANTITIES and other in QUANTITIES and QUANTITIES[one].dimension == QUANTITIES[other].dimension


def parse_plain(text: str, quantity: str) -> float:
    """Return the SI value of a limit; shares and ratios may be written "3 percent" or as a plain number."""
    if quantity in PLAIN_RESULTS:
        number = text.strip()
        if number.endswith(("percent", "%")):
            return float(number.removesuffix("percent").removesuffix("%")) / 100
        try:
            return float(number)
        except ValueError:
            raise UnitError(f"{text!r} is no plain number.", "", "Write 0.03 or 3 percent.") from None
    measured: Measured = parse(text, quantity)
    return measured.si()
