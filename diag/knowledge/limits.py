"""Limits as numbers: a named limit or one given in place, in SI, and whether it fits what it is compared with."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from diag import figures
from diag.errors import UnitError
from diag.knowledge.model import Check
from diag.knowledge.vocabulary import Bound, InlineLimit, Limit
from diag.knowledge.yamlfile import load_yaml
from diag.units import QUANTITIES

if TYPE_CHECKING:
    from diag.knowledge.base import Knowledge

PLAIN_RESULTS = frozenset({"word", "flag", "share", "ratio"})


def bound_si(k: Knowledge, bound: Bound) -> float | None:
    """Return the SI value of a limit without variants or book values, None when it is not known."""
    limit = bound if isinstance(bound, InlineLimit) else k.limits.get(bound)
    return limit.si if limit is not None else None


def bound_fault(k: Knowledge, bound: Bound, quantity: str) -> str:
    """Return what is wrong with comparing a result of this quantity with a limit, "" when nothing is."""
    if isinstance(bound, str):
        limit = k.limits.get(bound)
        if limit is None:
            return f"{bound!r} is no known limit."
        fits = quantity in PLAIN_RESULTS or same_dimension(limit.quantity, quantity)
        return "" if fits else f"Limit {bound} is a {limit.quantity}, the result a {quantity}."
    return value_fault(bound.value, "percent" if quantity in PLAIN_RESULTS else quantity)


def value_fault(text: str, quantity: str) -> str:
    """Return why a figure cannot be of this quantity, "" when it can."""
    try:
        figures.measured(text, quantity, default_unit="fraction" if quantity == "percent" else None)
    except UnitError as error:
        return error.what
    return ""


def same_dimension(one: str, other: str) -> bool:
    """Return whether two quantities are measured in the same units."""
    if one == other:
        return True
    return one in QUANTITIES and other in QUANTITIES and QUANTITIES[one].dimension == QUANTITIES[other].dimension


def compared_as(check: Check, quantity: str) -> str:
    """Return the quantity that a result of a check is compared as: "reading" is that of its own answer."""
    return check.takes.quantity or "percent" if quantity == "reading" else quantity


def limits_for(limits: Iterable[Limit], quantity: str | None) -> list[Limit]:
    """Return the limits that analyses of readings of a quantity receive, one for each name: the closest one.

    One for that very quantity stands above one that is for any readings measured in its units, or in shares.
    """
    found: dict[str, tuple[int, Limit]] = {}
    for limit in limits:
        if limit.context is None:
            continue
        own = quantity in (limit.of or (limit.quantity,))
        fits = own or (not limit.of and _same_kind(limit.quantity, quantity))
        if fits and found.get(limit.context, (-1,))[0] < own:
            found[limit.context] = (own, limit)
    return [limit for _, limit in found.values()]


def _same_kind(one: str, other: str | None) -> bool:
    if other is None or one not in QUANTITIES or other not in QUANTITIES:
        return True
    return QUANTITIES[one].dimension in (QUANTITIES[other].dimension, "percent")


def generic_limits(folder: Path, quantity: str) -> Mapping[str, float]:
    """Return by name (SI) what readings of a quantity are held against on any machine: its rows, its drift.

    Only the file of limits is read. What is usual on some machines only is not among them. Raises KnowledgeError.
    """
    data, _ = load_yaml(folder / "limits.yaml")
    limits = [Limit.model_validate({**raw, "variants": ()}) for raw in data["limits"] if "variants" not in raw]
    return {limit.context or "": limit.si for limit in limits_for(limits, quantity)}
