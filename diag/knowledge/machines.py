"""Which machines an entry is bound to: axes that must fit, ways to fit, and groups of machines by name."""

from __future__ import annotations

from collections.abc import Mapping
from functools import cached_property
from typing import Any

from pydantic import Field, ValidationInfo, model_validator

from diag.knowledge.fields import FrozenModel, Id, Ids, Text

Way = Mapping[str, frozenset[str]]
"""One way to fit: the values that are left of each axis."""


class Applies(FrozenModel):
    """Machine axes an entry is bound to: all named axes must fit; `any` is "or" across axes.

    Written as axes, as the name of a machine group, or as a list of both that must all fit.
    """

    axes: dict[Id, Ids] = Field(default_factory=dict)
    any: tuple[dict[Id, Ids], ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _written(cls, value: Any, info: ValidationInfo) -> Any:
        if isinstance(value, str | list):
            return _all_of([value] if isinstance(value, str) else value, (info.context or {}).get(GROUPS, {}))
        if isinstance(value, dict) and "axes" not in value:
            axes = {k: v for k, v in value.items() if k != "any"}
            return {"axes": axes, "any": tuple(value.get("any", ()))}
        return value

    @cached_property
    def ways(self) -> tuple[Way, ...]:
        """All ways to fit, each narrowed by the axes that bind always; those that no machine can have left out."""
        always = {axis: frozenset(values) for axis, values in self.axes.items()}
        others = [{axis: frozenset(values) for axis, values in other.items()} for other in self.any or ({},)]
        return tuple(way for other in others if (way := narrowed(always, other)) is not None)


def narrowed(*ways: Way) -> Way | None:
    """Return what machines that fit all of these have left on each axis, None when there are none."""
    left: dict[str, frozenset[str]] = {}
    for way in ways:
        for axis, values in way.items():
            left[axis] = left.get(axis, values) & values
            if not left[axis]:
                return None
    return left


GROUPS = "groups"
"""Key of the machine groups in the context of validation."""


def _all_of(items: list[Any], groups: Mapping[str, Applies]) -> dict[str, Any]:
    """Return the axes of several bindings that must all fit. Raises ValueError."""
    axes: dict[str, tuple[str, ...]] = {}
    either: tuple[Any, ...] = ()
    for item in items:
        if isinstance(item, str) and item not in groups:
            raise ValueError(f"{item!r} is no known machine group; known: {', '.join(groups)}")
        part = groups[item] if isinstance(item, str) else Applies.model_validate(item)
        for axis, values in part.axes.items():
            axes[axis] = tuple(v for v in axes[axis] if v in values) if axis in axes else values
        if part.any and either:
            raise ValueError("two of these have `any`; name the axes instead")
        either = part.any or either
    return {"axes": axes, "any": either}


class Machines(FrozenModel):
    """A named group of machines that entries are bound to."""

    name: Id
    label: Text
    applies: Applies


ALWAYS = Applies()
