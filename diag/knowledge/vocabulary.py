"""The words of the knowledge base: frozen models of vocabularies.

Vocabularies (axes, states, marks, observers, ...) use `name`.
"""

from __future__ import annotations

import math
from functools import cached_property
from typing import Annotated, Any, Literal, Self

from pydantic import BeforeValidator, StringConstraints, model_validator

from diag.knowledge.fields import FrozenModel, Id, Ids, Number, OneOrMore, Text, Texts, si_of
from diag.knowledge.machines import ALWAYS, Applies


class Settings(FrozenModel):
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


class Mark(FrozenModel):
    """A word for a likelihood ratio, for rules: what several answers say together."""

    name: Id
    ratio: Number
    label: Text


class Likelihood(FrozenModel):
    """A word for how often a cause is complained of in this way, or shows so in a check."""

    name: Id
    chance: Number
    label: Text


class Observer(FrozenModel):
    """Who saw it, and how often such an answer is wrong (share of 1)."""

    name: Id
    label: Text
    error: Number
    weight: Literal["instrument", "technician", "caller"]
    """What the write-up may build on it."""


class AxisValue(FrozenModel):
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


class Axis(FrozenModel):
    """A way in which machines differ that changes the diagnosis."""

    name: Id
    label: Text
    asks: Text
    many: bool = False
    """True when a machine can have several values at once."""
    values: tuple[AxisValue, ...]


class MachineState(FrozenModel):
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


class Subsystem(FrozenModel):
    """A part of the seed path; marks of rules may name it as @name."""

    name: Id
    label: Text
    means: Text


class Look(FrozenModel):
    """One thing opened or walked for several checks: their evidence and minutes count once."""

    name: Id
    label: Text
    short: Text | None = None
    """What one does for it, in so few words that they stand behind an answer: "dig"."""
    asks: Text
    """The question that introduces the form."""


class Named(FrozenModel):
    """A name with a label (parts, tools, preparations, cause classes)."""

    name: Id
    label: Text
    size: Literal["pocket", "box", "bulky"] = "pocket"
    """How much room it takes on the truck."""
    per_row: bool = False
    """True when the number needed goes with the rows in trouble."""
    elsewhere: bool = False
    """True for a class of causes that are no fault of the planter."""
    asks: Text | None = None


class Source(FrozenModel):
    """Where a statement comes from."""

    name: Annotated[str, StringConstraints(pattern=r"^[A-Z]?[A-Za-z0-9_]+$")]
    kind: Literal["published", "case", "common_practice", "estimate", "from_memory"]
    title: Text
    where: Text | None = None
    read: Text | None = None


class Finding(FrozenModel):
    """Something a rule can conclude."""

    id: Id
    label: Text


class Flag(Named):
    """Something dangerous about the situation."""

    short: Text | None = None
    """The word it has in the one line that asks what is special about the place; None where it is not asked there."""


class Caution(FrozenModel):
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


class Hazard(FrozenModel):
    """A property of a step that can hurt somebody or destroy something."""

    name: Id
    label: Text
    hands_on: bool = False
    """True when it needs the machine dead: only in states where hands_on is true."""
    never_phone: bool = False
    """True when a caller is never asked to do it."""
    wants: Ids = ()
    """Other hazards that come with it."""
    only: Applies = ALWAYS
    """Machines that have it; where the machine is not known, it is told."""
    spoken: Text | None = None
    """A sentence said beside that of the machine state."""
    in_state: Id | None = None
    """Machine state that a repair with it is made in, where that is not the parked one of hands_on."""


class InlineLimit(FrozenModel):
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


class BookValue(FrozenModel):
    """A value the operator's manual gives for this machine; it outranks generic numbers."""

    name: Id
    label: Text
    quantity: str
