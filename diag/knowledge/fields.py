"""The field types that all entries of the knowledge share, their base, figures with units, sources.

Numbers are strict, unknown fields are refused, so a slip of the pen is an error with a place.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints

from diag.errors import UnitError
from diag.units import Measured, find_unit

Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$", max_length=48)]
Text = Annotated[str, StringConstraints(min_length=1, max_length=2000)]
Target = Annotated[str, StringConstraints(pattern=r"^@?[a-z][a-z0-9_]*$")]


def _no_bool(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("must be a plain number")
    return float(value)


def _word_or_share(value: Any) -> Any:
    if isinstance(value, str):
        return value
    number: float = _no_bool(value)
    if not 0.0 <= number <= 1.0:
        raise ValueError("must be a likelihood word or a share from 0 to 1")
    return number


Number = Annotated[float, BeforeValidator(_no_bool), Field(allow_inf_nan=False)]
Chance = Annotated[str | float, BeforeValidator(_word_or_share)]
"""A likelihood word, or a share from 0 to 1 where a source gives one."""
Ids = tuple[Id, ...]
Texts = tuple[Text, ...]
Targets = tuple[Target, ...]
ONE_OR_MORE = BeforeValidator(lambda v: (v,) if isinstance(v, str) else v)
OneOrMore = Annotated[tuple[str, ...], ONE_OR_MORE]


class FrozenModel(BaseModel):
    """Base of all entries: frozen, nothing unknown accepted."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


_FIGURE = re.compile(r"\s*(-?\d+(?:\.\d+)?)\s*(.*?)\s*\Z")


def si_of(text: str) -> float:
    """Return the SI value of a figure of the knowledge: plain decimal and unit. Raises ValueError."""
    found = _FIGURE.match(text)
    if found is None:
        raise ValueError(f"{text!r} is no number with a unit")
    try:
        return Measured(found[1], find_unit(found[2]).name).si() if found[2] else float(found[1])
    except UnitError as error:
        raise ValueError(f"{error.what} {error.remedy}") from None


def cited(entry: BaseModel, *path: str | int) -> Iterator[tuple[tuple[str | int, ...], str]]:
    """Yield (path, source) of every source that stands in an entry, beside its figures too."""
    for source in getattr(entry, "source", ()):
        yield (*path, "source"), source
    for name in type(entry).model_fields:
        value = getattr(entry, name)
        parts = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, tuple) else ()
        yield from cited(value, *path, name) if isinstance(value, BaseModel) else ()
        for key, part in parts:
            yield from cited(part, *path, name, key) if isinstance(part, BaseModel) else ()
