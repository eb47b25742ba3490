"""What the YAML knowledge base consists of: frozen models, one per kind of entry.

Vocabularies (axes, states, marks, observers, ...) use `name`; everything a rule or a record can refer to
uses `id`. Numbers are strict, unknown fields are refused, so a slip of the pen is an error with a place.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Any, Literal, Self

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, StringConstraints, model_validator

Id = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*$", max_length=48)]
Text = Annotated[str, StringConstraints(min_length=1, max_length=2000)]
Target = Annotated[str, StringConstraints(pattern=r"^@?[a-z][a-z0-9_]*$")]


def _as_tuple(value: Any) -> Any:
    return tuple(value) if isinstance(value, list) else value


def _no_bool(value: Any) -> Any:
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError("must be a plain number")
    return float(value)


Number = Annotated[float, BeforeValidator(_no_bool), Field(allow_inf_nan=False)]
Ids = Annotated[tuple[Id, ...], BeforeValidator(_as_tuple)]
Texts = Annotated[tuple[Text, ...], BeforeValidator(_as_tuple)]
Targets = Annotated[tuple[Target, ...], BeforeValidator(_as_tuple)]


class Model(BaseModel):
    """Base of all entries: frozen, nothing unknown accepted."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False)


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
    usual: Number
    """Default share of a check's normal outcome when nothing marked there is present."""
    floor: Number
    """Least chance of any outcome under any fault."""
    positive_room: Number
    """Most of an outcome table that marks above 1 may fill together."""
    repair_works: Number
    """Default chance that a repair cures its cause."""
    drive_out: Number
    """Minutes of a drive-out (there and back) where the call does not say."""
    hand_over: Number
    """Minutes charged for handing the call to somebody else."""
    grower_weight: Number
    """What a grower's minute with the line dropped counts against a minute of the desk."""
    claim_repair: Number
    """Chance a named cause needs before the interface says it may be named."""


class Mark(Model):
    """A word for a likelihood ratio."""

    name: Id
    ratio: Number
    label: Text


class Likelihood(Model):
    """A word for how often a cause is complained of in this way."""

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
    values: Annotated[tuple[AxisValue, ...], BeforeValidator(_as_tuple)]


class State(Model):
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


class Subsystem(Model):
    """A part of the seed path; marks may name it as @name."""

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
    source: tuple[str, ...] = ()

    _src = model_validator(mode="before")(lambda cls, v: _list_fields(v, "source"))


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


class InlineLimit(Model):
    """A limit given in place."""

    value: str
    """With unit: "1 inH2O", "3 percent"."""
    source: tuple[str, ...] = ()

    _src = model_validator(mode="before")(lambda cls, v: _list_fields(v, "source"))


class LimitVariant(Model):
    """A limit's value for some machines or crops."""

    applies: Applies
    value: str


class Limit(Model):
    """A named limit that outcomes compare results with."""

    id: Id
    label: Text
    quantity: str
    value: str
    book: Id | None = None
    """Book quantity of the machine profile that outranks it."""
    context: Id | None = None
    """Name under which the analyses receive it."""
    variants: Annotated[tuple[LimitVariant, ...], BeforeValidator(_as_tuple)] = ()
    source: tuple[str, ...]

    _src = model_validator(mode="before")(lambda cls, v: _list_fields(v, "source"))


class BookValue(Model):
    """A value the operator's manual gives for this machine; it outranks generic numbers."""

    name: Id
    label: Text
    quantity: str
    per_crop: bool = False


def _list_fields(value: Any, *names: str) -> Any:
    if isinstance(value, dict):
        value = dict(value)
        for name in names:
            if isinstance(value.get(name), list):
                value[name] = tuple(value[name])
    return value


class Applies(Model):
    """Machine axes a cause, check or rule is bound to: all named axes must fit; `any` is "or" across axes."""

    axes: dict[Id, Ids] = Field(default_factory=dict)
    any: tuple[dict[Id, Ids], ...] = ()

    @model_validator(mode="before")
    @classmethod
    def _flat(cls, value: Any) -> Any:
        if isinstance(value, dict) and "axes" not in value:
            axes = {k: v for k, v in value.items() if k != "any"}
            return {"axes": axes, "any": tuple(value.get("any", ()))}
        return value

    @property
    def always(self) -> bool:
        """True when bound to nothing."""
        return not self.axes and not self.any


ALWAYS = Applies()
LimitVariant.model_rebuild()


# --- causes -------------------------------------------------------------------------------------


class Brings(Model):
    """One cause bringing about another."""

    cause: Id
    chance: Number


class Repair(Model):
    """What mends a cause, and what it costs."""

    do: Text
    minutes: Number
    by: Literal["grower", "guided", "technician"]
    parts: Ids = ()
    tools: Ids = ()
    hazards: Ids = ()
    works: Number | None = None
    """Chance that it cures; None = the setting repair_works."""
    if_wrong: Number = 0.0
    """Minutes' worth lost when done in vain (parts, claim)."""
    verify: Id | None = None
    """How to prove it: id of a verification."""
    siblings: bool = False
    """True when a worn part usually has its sisters worn too."""
    also: Ids = ()
    """Causes the same repair removes."""


class Interim(Model):
    """A way to go on for now, never a repair."""

    do: Text
    loses: Text
    watch: Text
    ends: Text


class Cause(Model):
    """A fault (or an innocent explanation) that can be present now."""

    id: Id
    label: Text
    plain: Text | None = None
    """The same in a grower's words."""
    subsystem: Id
    applies: Applies = ALWAYS
    per_mille: Number
    """Primary cause per 1,000 calls on machines that can have it [estimate]; their share brings it to the fleet."""
    kind: Id
    """Class: wear, setting, contamination, damage, ..."""
    rows: Literal["one", "some", "section", "all", "any"] = "any"
    pattern: Text
    """Row and time pattern in words."""
    symptoms: dict[Id, Id]
    """Symptom -> likelihood word."""
    mechanism: Text
    """How it spoils metering, in one sentence."""
    repair: Repair
    interim: Interim | None = None
    leads_to: Annotated[tuple[Brings, ...], BeforeValidator(_as_tuple)] = ()
    never_with: Ids = ()
    no_fault: bool = False
    """True when nothing on the machine is wrong; such causes stand alone."""
    leaning: Literal["wear", "defect", "adjudicate", "seed"]
    prevention: Text
    season: Id
    source: tuple[str, ...]

    _src = model_validator(mode="before")(lambda cls, v: _list_fields(v, "source"))


# --- checks -------------------------------------------------------------------------------------

AnswerKind = Literal[
    "yes_no", "choice", "several", "number", "numbers", "spacings", "positions", "count", "counts", "log", "text"
]
MEASURED: frozenset[str] = frozenset({"number", "numbers", "spacings", "positions", "count", "counts", "log"})


class Takes(Model):
    """What kind of answer a check takes."""

    kind: AnswerKind
    quantity: str | None = None
    per: Literal["row", "point"] | None = None
    labels: Ids = ()
    """For counts, logs and labelled numbers: what is counted (before, after; slow, normal)."""
    least: int | None = None
    """Fewest values worth typing."""

    @model_validator(mode="before")
    @classmethod
    def _short(cls, value: Any) -> Any:
        return {"kind": value} if isinstance(value, str) else value


class Step(Model):
    """One step of a check, with the machine state it is done in."""

    state: Id
    do: Text
    hazards: Ids = ()
    """Hazards of this step alone; those of the whole check stand on the check."""


class Minutes(Model):
    """Estimated minutes: the line held, the grower busy, and a technician on site."""

    desk: Number | None = None
    grower: Number | None = None
    site: Number | None = None


class ResultTest(Model):
    """A comparison of one result of an analysis with a limit, or a tree of them."""

    result: Id | None = None
    below: str | InlineLimit | None = None
    above: str | InlineLimit | None = None
    between: tuple[str | InlineLimit, str | InlineLimit] | None = None
    is_: str | tuple[str, ...] | None = Field(default=None, alias="is")
    all: tuple[ResultTest, ...] = ()
    any: tuple[ResultTest, ...] = ()
    not_: ResultTest | None = Field(default=None, alias="not")

    _lists = model_validator(mode="before")(lambda cls, v: _list_fields(v, "between", "all", "any", "is"))

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        ops = [self.below, self.above, self.between, self.is_]
        given = sum(o is not None for o in ops)
        trees = bool(self.all) + bool(self.any) + (self.not_ is not None)
        if (self.result is None and (given or trees != 1)) or (self.result is not None and (given != 1 or trees)):
            raise ValueError(
                "give a result with exactly one of below, above, between, is; or exactly one of all, any, not"
            )
        return self

    def leaves(self) -> Iterator[ResultTest]:
        """Yield every comparison in the tree."""
        if self.result is not None:
            yield self
        for child in (*self.all, *self.any, *((self.not_,) if self.not_ else ())):
            yield from child.leaves()


class Outcome(Model):
    """One possible result of a check and what it speaks for and against."""

    says: Text
    when: ResultTest | None = None
    otherwise: bool = False
    normal: bool = False
    usual: Number | None = None
    share: Number | None = None
    marks: dict[Id, Targets] = Field(default_factory=dict)
    """Mark word -> causes or @subsystems."""
    then_check: Ids = ()
    """Checks that this outcome asks for next."""
    advise: Text | None = None
    reads: tuple[str, ...] = ()
    """Words of the intake that already answer it so; see Check.reads."""

    _lists = model_validator(mode="before")(lambda cls, v: _list_fields(v, "reads"))


class StandIn(Model):
    """What to do without the tool, and what that is weaker in."""

    check: Id | None = None
    do: Text | None = None
    weaker_in: Text


class Check(Model):
    """Something to ask, look at, or measure."""

    id: Id
    asks: Text
    """What is found out, as a heading."""
    why: Text | None = None
    """Why it is asked, one sentence that can be read aloud."""
    phone: Text | None = None
    """One question, at most 20 words; absent = not feasible by phone."""
    read_back: Text | None = None
    """Form of the answer to read back."""
    look: Id | None = None
    steps: Annotated[tuple[Step, ...], BeforeValidator(_as_tuple)]
    hazards: Ids
    hazards_reason: Text | None = None
    """Why there are none, when the list is empty."""
    takes: Takes
    items: dict[Id, Outcome] = Field(default_factory=dict)
    """For `several`: each item is a yes/no sub-check of its own; this is its "yes"."""
    compute: Id | None = None
    """An analysis of measure/catalogue.py."""
    needs: Ids = ()
    """Context the analysis cannot do without (target_spacing, holes ...)."""
    minutes: Minutes
    prep: dict[Id, Number] = Field(default_factory=dict)
    """Preparation -> minutes of it that are saved while it is in force."""
    who: Literal["grower", "guided", "technician"]
    tools: Ids = ()
    applies: Applies = ALWAYS
    after: Ids = ()
    """Checks that must have been answered first."""
    expected: Text
    outcomes: dict[Id, Outcome] = Field(default_factory=dict)
    stand_ins: Annotated[tuple[StandIn, ...], BeforeValidator(_as_tuple)] = ()
    destroys: Texts = ()
    """Evidence this check changes or ends."""
    deciding: bool = False
    """True for a deciding look or test: what may confirm in a write-up."""
    opening: bool = False
    """True for an opening question."""
    reads: Literal["rows", "changes"] | None = None
    """What of the intake answers it without asking: the pattern of the rows in trouble, or what changed."""
    source: tuple[str, ...]

    _src = model_validator(mode="before")(lambda cls, v: _list_fields(v, "source"))

    @property
    def all_hazards(self) -> tuple[str, ...]:
        """Hazards of the check and of its steps, each once."""
        return tuple(dict.fromkeys((*self.hazards, *(h for step in self.steps for h in step.hazards))))

    @property
    def measured(self) -> bool:
        """True when the answer is a reading, not a choice."""
        return self.takes.kind in MEASURED


# --- rules --------------------------------------------------------------------------------------


class When(Model):
    """A condition tree over findings, answers, readings, axes, symptoms, situation and belief."""

    all: tuple[When, ...] = ()
    any: tuple[When, ...] = ()
    not_: When | None = Field(default=None, alias="not")
    answer: Id | None = None
    answered: Id | None = None
    finding: Id | None = None
    symptom: Id | None = None
    axis: Id | None = None
    change: Id | None = None
    flag: Id | None = None
    channel: Literal["phone", "site"] | None = None
    rows: tuple[str, ...] = ()
    reading: Id | None = None
    result: Id | None = None
    call: Id | None = None
    belief: Target | None = None
    repaired: Target | None = None
    is_: tuple[str, ...] = Field(default=(), alias="is")
    below: str | InlineLimit | None = None
    above: str | InlineLimit | None = None
    at_least: Literal["likely", "open"] | None = None

    @model_validator(mode="before")
    @classmethod
    def _tuples(cls, value: Any) -> Any:
        value = _list_fields(value, "all", "any", "rows", "is")
        if isinstance(value, dict):
            for name in ("rows", "is"):
                if isinstance(value.get(name), str):
                    value[name] = (value[name],)
        return value

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        heads = [
            bool(self.all), bool(self.any), self.not_ is not None, self.answer, self.answered, self.finding,
            self.symptom, self.axis, self.change, self.flag, self.channel, bool(self.rows), self.reading,
            self.call, self.belief, self.repaired,
        ]  # fmt: skip
        if sum(bool(h) for h in heads) != 1:
            raise ValueError("a condition holds exactly one of all, any, not, answer, answered, finding, symptom, "
                             "axis, change, flag, channel, rows, reading, call, belief, repaired")
        if (self.answer or self.axis) and not self.is_:
            raise ValueError("answer and axis need `is`")
        if self.reading and (not self.result or (self.below is None) + (self.above is None) + (not self.is_) != 2):
            raise ValueError("reading needs `result` and exactly one of below, above, is")
        if self.call and (self.below is None) == (self.above is None):
            raise ValueError("call needs exactly one of below, above")
        if self.belief and not self.at_least:
            raise ValueError("belief needs `at_least`")
        return self

    def leaves(self) -> Iterator[When]:
        """Yield every leaf condition of the tree."""
        children = (*self.all, *self.any, *((self.not_,) if self.not_ else ()))
        if not children:
            yield self
        for child in children:
            yield from child.leaves()


class Prefers(Model):
    """A check that a rule moves forward."""

    check: Id
    minutes: Number = 0.0
    """Minutes taken off its cost when offers are compared."""
    first: bool = False


class Then(Model):
    """What a rule does when it fires."""

    finds: Id | None = None
    marks: dict[Id, Targets] = Field(default_factory=dict)
    cautions: Ids = ()
    warns: Text | None = None
    advises: Text | None = None
    prefers: Annotated[tuple[Prefers, ...], BeforeValidator(_as_tuple)] = ()
    blocks: Ids = ()
    asks_again: Ids = ()
    suggests: Literal["drive_out", "hand_over", "stop", "homework", "close", "prove"] | None = None

    @model_validator(mode="after")
    def _something(self) -> Self:
        if not any(getattr(self, name) for name in type(self).model_fields):
            raise ValueError("a rule must do something")
        return self


class Rule(Model):
    """What one check alone cannot say."""

    id: Id
    when: When
    then: Then
    because: Text
    """One sentence; the user reads it under "why"."""
    applies: Applies = ALWAYS
    source: tuple[str, ...]

    _src = model_validator(mode="before")(lambda cls, v: _list_fields(v, "source"))


class Verification(Model):
    """How a kind of repair is proved."""

    id: Id
    label: Text
    measures: Text
    sample: Text
    accept: Text
    checks: Ids
    """Checks whose answers prove it, best first."""
    passes: dict[Id, Ids]
    """Check -> outcomes that accept."""
    control_row: bool = True
    seeds: dict[Literal["roll", "file", "claim"], int] = Field(default_factory=dict)
    source: tuple[str, ...]

    _src = model_validator(mode="before")(lambda cls, v: _list_fields(v, "source"))


MOMENTS: tuple[str, ...] = ("before_touching", "before_repair", "before_leaving", "later")
"""Last moments at which something can still be had, in order."""


class CompletenessRule(Model):
    """Something a write-up must have, and the question that mends it."""

    id: Id
    needs: Text
    """What is missing, in words."""
    field: Id
    """Which part of the story is tested; see writeup/completeness.py."""
    for_: Literal["claim", "all"] = Field(alias="for")
    closings: Ids = ()
    """Ways of closing it is asked for; () = all. A claim asks for it whatever the closing."""
    by: Literal["before_touching", "before_repair", "before_leaving", "later"]
    """The last moment at which it can be had."""
    asks: Text
    minutes: Number
    severity: Literal["must", "should"]
    """must: nothing is filed without it; should: may be left out with a reason."""
    in_claim: Literal["must", "should"] | None = None
    """Severity in a claim, where it differs."""
    details: Ids = ()
    """Details that mend it when they are given."""
    checks: Ids = ()
    """Checks whose answers mend it."""
    words: Texts = ()
    """Stock phrases that say nothing."""
    least: Number | None = None
    """Fewest words or entries."""
    share: Number | None = None
    """Share of 1 from which on it fires."""
    kinds: Ids = ()
    """Cause kinds or categories it speaks of."""
    source: tuple[str, ...]

    _src = model_validator(mode="before")(lambda cls, v: _list_fields(v, "source", "details"))


class Detail(Model):
    """Something a write-up needs that no check and no step of the call gives; it is asked for and noted."""

    name: Id
    label: Text
    group: Literal["identity", "usage", "dates", "conditions", "findings", "claim", "labour", "after"]
    """Part of the write-up it stands in."""
    takes: Literal["date", "amount", "choice", "words"]
    quantity: str | None = None
    """Quantity of an amount."""
    choices: dict[Id, Text] = Field(default_factory=dict)
    claim: bool = False
    """True when only a claim needs it."""


class Category(Model):
    """Why a thing failed, for the payer: the root, never the mechanism."""

    name: Id
    label: Text
    kinds: Ids = ()
    """Kinds of cause it is proposed for."""
    needs_siblings: bool = False
    """True when like parts must have been compared before it is claimed."""


class FailureMode(Model):
    """The manner in which a function is lost, as it is seen."""

    name: Id
    label: Text
    symptoms: Ids = ()


class WriteUp(Model):
    """Terms of a shop's own contracts; nothing here has a built-in value."""

    filing_window_days: int | None = None
    """Days after the repair within which a claim must be filed."""
    labour_allowance: dict[Id, Number] = Field(default_factory=dict)
    """Activity -> hours allowed."""
    longest_gap_minutes: Number = 60.0
    """A longer silence between two entries is not taken for work."""
    carry_minutes: dict[Literal["pocket", "box", "bulky"], Number] = Field(default_factory=dict)
    """What loading and carrying a thing is worth, in minutes, by its size."""
    always: Texts = ()
    """What is on the truck at every call."""
    at_hand: Ids = ()
    """Tools that need no loading: always on the truck, or found on the farm."""


_WORD = re.compile(r"[A-Za-z0-9][\w'/-]*")


def words_in(text: str) -> int:
    """Return the number of words in a phone wording."""
    return len(_WORD.findall(text))
