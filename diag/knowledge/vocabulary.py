"""The words of the knowledge base: frozen models of vocabularies, and the field types all entries share.

Vocabularies (axes, states, marks, observers, ...) use `name`. Numbers are strict, unknown fields are refused, so a
slip of the pen is an error with a place.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from functools import cached_property
from typing import Annotated, Any, Literal, Self

from pydantic import (
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationInfo,
    model_validator,
)

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


class Model(BaseModel):
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


# --- vocabularies -------------------------------------------------------------------------------


class Settings(Model):
    """Numbers of the belief model, all shares of 1 unless said."""

    unknown: Number
    """Weight of "none of the known causes" before any answer."""
    pair_share: Number
    """Share of two-fault calls among calls with one or two known faults."""
    symptom_leak: Number
    """Chance that a symptom is named although no present cause brings it."""
    denied_error: Number
    """Chance that a denial of a symptom is wrong."""
    unknown_spoils: Number
    """How much of what the known causes show on average an unknown cause shows too."""
    usual: Number
    """Default share of a check's normal outcome on a machine that is sound there."""
    floor: Number
    """Least chance of any outcome under any fault."""
    repair_works: Number
    """Default chance that a repair cures its cause."""
    drive_out: Number
    """Minutes of a drive-out (there and back) where the call does not say."""
    hand_over: Number
    """Minutes charged for handing the call to somebody else."""
    grower_weight: Number
    """What a grower's minute with the line dropped counts against a minute of the desk."""
    usual_rows: Number = 12.0
    """Rows of a planter where the call does not say."""
    claim_repair: Number
    """Chance a named cause needs before the interface says it may be named."""


class Mark(Model):
    """A word for a likelihood ratio, for rules: what several answers say together."""

    name: Id
    ratio: Number
    label: Text


class Likelihood(Model):
    """A word for how often a cause is complained of in this way, or shows so in a check."""

    name: Id
    chance: Number
    label: Text


class Observer(Model):
    """Who saw it, and how often such an answer is wrong (share of 1)."""

    name: Id
    label: Text
    error: Number
    weight: Literal["instrument", "technician", "caller"]
    """What the write-up may build on it."""


class AxisValue(Model):
    """One kind of machine along an axis."""

    name: Id
    label: Text
    share: Number
    """Share of machines (of 1) that have it, used while the axis is unknown."""
    source: OneOrMore = ()
    """Where the share comes from; else it is an estimate."""
    tell_by: Text | None = None
    """How a caller can tell it by looking."""
    differs: Text | None = None
    """What is different in diagnosis there."""


class Axis(Model):
    """A way in which machines differ that changes the diagnosis."""

    name: Id
    label: Text
    asks: Text
    many: bool = False
    """True when a machine can have several values at once."""
    values: tuple[AxisValue, ...]


class MachineState(Model):
    """A machine state, in words."""

    name: Id
    label: Text
    means: Text
    engine: bool
    fan: bool
    """True when the vacuum fan may turn."""
    moving: bool
    """True when meters, belts or the planter may move."""
    hands_on: bool
    """True when hands may be at meter, fan or hydraulics."""
    stands: bool
    """True when planting stops for it."""
    brings: Ids = ()
    """Hazards that come with every step in this state."""
    spoken: Text | None = None
    """The one sentence said before the first step in this state; None where nothing can hurt."""


class Subsystem(Model):
    """A part of the seed path; marks of rules may name it as @name."""

    name: Id
    label: Text
    means: Text


class Look(Model):
    """One thing opened or walked for several checks: their evidence and minutes count once."""

    name: Id
    label: Text
    asks: Text
    """The question that introduces the form."""


class Named(Model):
    """A name with a label (parts, tools, preparations, cause classes)."""

    name: Id
    label: Text
    size: Literal["pocket", "box", "bulky"] = "pocket"
    """How much room it takes on the truck."""
    per_row: bool = False
    """True when the number needed goes with the rows in trouble."""
    asks: Text | None = None


class Source(Model):
    """Where a statement comes from."""

    name: Annotated[str, StringConstraints(pattern=r"^[A-Z]?[A-Za-z0-9_]+$")]
    kind: Literal["published", "case", "common_practice", "estimate", "from_memory"]
    title: Text
    where: Text | None = None
    read: Text | None = None


class Finding(Model):
    """Something a rule can conclude."""

    id: Id
    label: Text


class Flag(Named):
    """Something dangerous about the situation."""

    short: Text | None = None
    """The word it has in the one line that asks what is special about the place; None where it is not asked there."""


class Caution(Model):
    """A caution that comes before a step."""

    id: Id
    word: Literal["DANGER", "WARNING", "CAUTION", "NOTICE"]
    text: Text
    hazards: Ids = ()
    """Hazards that bring it."""
    flags: Ids = ()
    """Flags of the situation that bring it (alone, dark, nh3 ...)."""
    channel: Literal["phone", "site"] | None = None
    stops: bool = False
    """True when the diagnosis must stop at once."""
    defers_to: Texts = ()
    """Who has the last word: operator's manual, seed label, local rules, licensed work."""
    source: OneOrMore = ()


class Hazard(Model):
    """A property of a step that can hurt somebody or destroy something."""

    name: Id
    label: Text
    hands_on: bool = False
    """True when it needs the machine dead: only in states where hands_on is true."""
    never_phone: bool = False
    """True when a caller is never asked to do it."""
    wants: Ids = ()
    """Other hazards that come with it."""
    spoken: Text | None = None
    """A sentence said beside that of the machine state."""


class InlineLimit(Model):
    """A limit given in place."""

    value: str
    """With unit: "1 inH2O", "3 percent"; a plain number for shares, ratios and counts."""
    source: OneOrMore = ()

    @cached_property
    def si(self) -> float:
        """The value in SI."""
        return si_of(self.value)

    @model_validator(mode="after")
    def _can_be_read(self) -> Self:
        if not math.isfinite(self.si):
            raise ValueError(f"{self.value!r} is out of range")
        return self


Bound = Annotated[Id | InlineLimit, BeforeValidator(lambda v: {"value": str(v)} if _is_figure(v) else v)]
"""What a result is compared with: the id of a limit, or a limit in place."""


def _is_figure(value: Any) -> bool:
    return isinstance(value, int | float) or (isinstance(value, str) and value[:1] in "-0123456789")


class LimitVariant(InlineLimit):
    """A limit's value for some machines or crops."""

    applies: Applies


class Limit(InlineLimit):
    """A named limit that outcomes compare results with."""

    id: Id
    label: Text
    quantity: str
    book: Id | None = None
    """Book quantity of the machine profile that outranks it."""
    context: Id | None = None
    """Name under which the analyses receive it."""
    of: Ids = ()
    """Quantities whose readings it is for, where that is not its own: a share of the median row's torque."""
    variants: tuple[LimitVariant, ...] = ()
    source: OneOrMore


class BookValue(Model):
    """A value the operator's manual gives for this machine; it outranks generic numbers."""

    name: Id
    label: Text
    quantity: str


Way = Mapping[str, frozenset[str]]
"""One way to fit: the values that are left of each axis."""


class Applies(Model):
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


class Machines(Model):
    """A named group of machines that entries are bound to."""

    name: Id
    label: Text
    applies: Applies


ALWAYS = Applies()
LimitVariant.model_rebuild()
Limit.model_rebuild()
