"""The entries of the knowledge base: causes, checks, rules and verifications, as frozen models.

Everything a rule or a record can refer to uses `id`.
"""

from __future__ import annotations

import re
from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from diag.knowledge.condition import When
from diag.knowledge.fields import ONE_OR_MORE, Chance, FrozenModel, Id, Ids, Number, OneOrMore, Targets, Text, Texts
from diag.knowledge.machines import ALWAYS, Applies

# --- causes -------------------------------------------------------------------------------------

Rows = Literal["one", "some", "section", "all", "any"]
Follows = Literal["disc", "meter", "row", "sensor", "tube", "drive", "fan", "cab", "seed", "ground"]
Effect = Literal["skips", "doubles", "both", "placement", "rate", "no_seed", "screen", "none"]
Onset = Literal["constant", "sudden", "slow", "speed", "hours", "cold", "filling", "off_and_on"]
Shows = dict[Id, dict[Id, Chance]]
"""Check -> outcome (of a `several` check: item) -> how often it comes out so."""


class Brings(FrozenModel):
    """One cause bringing about another."""

    cause: Id
    chance: Number
    source: OneOrMore = ()


class Repair(FrozenModel):
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
    reversible: bool = False
    """True for a setting that can be put back from the seat in a few minutes: it may be tried."""
    siblings: bool = False
    """True when a worn part usually has its sisters worn too."""
    also: Ids = ()
    """Causes the same repair removes."""
    source: OneOrMore = ()
    """Where minutes and chances come from, when not from the sources of the cause."""


class Interim(FrozenModel):
    """A way to go on for now, never a repair."""

    do: Text
    loses: Text
    watch: Text
    ends: Text


class Cause(FrozenModel):
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
    rows: Rows = "any"
    follows: Follows | None = None
    """What the trouble goes along with when parts are swapped or the place changes."""
    effect: Effect | None = None
    """What it does to the seed in the furrow."""
    onset: Onset | None = None
    """How it comes."""
    pattern: Text
    """Row and time pattern in words."""
    symptoms: dict[Id, Id]
    """Symptom -> likelihood word."""
    shows: Shows = Field(default_factory=dict)
    """What checks bring on a machine with this fault and no other; the rest is as on a sound machine."""
    mechanism: Text
    """How it spoils metering, in one sentence."""
    repair: Repair
    interim: Interim | None = None
    leads_to: tuple[Brings, ...] = ()
    never_with: Ids = ()
    no_fault: bool = False
    """True when nothing on the machine is wrong; such causes stand alone."""
    leaning: Literal["wear", "defect", "adjudicate", "seed"]
    prevention: Text
    season: Id
    source: OneOrMore


# --- checks -------------------------------------------------------------------------------------

AnswerKind = Literal[
    "yes_no", "choice", "several", "number", "numbers", "spacings", "positions", "count", "counts", "log", "text"
]
MEASURED: frozenset[str] = frozenset({"number", "numbers", "spacings", "positions", "count", "counts", "log"})


class Takes(FrozenModel):
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


class Step(FrozenModel):
    """One step of a check, with the machine state it is done in."""

    state: Id
    do: Text
    hazards: Ids = ()
    """Hazards of this step alone; those of the whole check stand on the check."""


class Minutes(FrozenModel):
    """Estimated minutes: the line held, the grower busy, and a technician on site."""

    desk: Number | None = None
    grower: Number | None = None
    site: Number | None = None
    each_row: Number = 0.0
    """More of them on site for every row that is read."""
    source: OneOrMore = ()

    def on_site(self, rows: float) -> float | None:
        """Minutes of a technician who reads so many rows, None where it is not done on site."""
        return None if self.site is None else self.site + self.each_row * rows


class Outcome(FrozenModel):
    """One possible result of a check."""

    says: Text
    when: When | None = None
    otherwise: bool = False
    normal: bool = False
    usual: Number | None = None
    """Share of the normal outcome on a machine that is sound there; None = the setting."""
    share: Number | None = None
    """Share of another outcome on such a machine; None = an even part of the rest."""
    then_check: Ids = ()
    """Checks that this outcome asks for next."""
    advise: Text | None = None
    reads: tuple[str, ...] = ()
    """Words of the intake that already answer it so; see Check.reads."""
    source: OneOrMore = ()
    """Where shares and limits come from, when not from the sources of the check."""


class Tells(FrozenModel):
    """How attributes of causes show in a check: the first line whose attributes all fit a cause holds for it."""

    rows: Annotated[tuple[Rows, ...], ONE_OR_MORE] = ()
    follows: Annotated[tuple[Follows, ...], ONE_OR_MORE] = ()
    effect: Annotated[tuple[Effect, ...], ONE_OR_MORE] = ()
    onset: Annotated[tuple[Onset, ...], ONE_OR_MORE] = ()
    shows: dict[Id, Chance]
    """Outcome (of a `several` check: item) -> how often it comes out so."""

    def fits(self, cause: Cause) -> bool:
        """Return whether all attributes named here are those of the cause."""
        pairs = ((self.rows, cause.rows), (self.follows, cause.follows), (self.effect, cause.effect),
                 (self.onset, cause.onset))
        return all(not wanted or has in wanted for wanted, has in pairs)


class StandIn(FrozenModel):
    """What to do without the tool, and what that is weaker in."""

    check: Id | None = None
    do: Text | None = None
    weaker_in: Text


class Check(FrozenModel):
    """Something to ask, look at, or measure."""

    id: Id
    asks: Text
    """What is found out, as a heading."""
    why: Text | None = None
    """Why it is asked, one sentence that can be read aloud."""
    phone: Text | None = None
    """One question, at most 20 words; absent = not feasible by phone."""
    yes: OneOrMore = ()
    """What yes means to that question where no outcome is called so: one, or several to ask on about."""
    no: OneOrMore = ()
    """The same of no."""
    read_back: Text | None = None
    """Form of the answer to read back."""
    look: Id | None = None
    steps: tuple[Step, ...]
    hazards: Ids
    hazards_reason: Text | None = None
    """Why there are none, when the list is empty."""
    takes: Takes
    items: dict[Id, Outcome] = Field(default_factory=dict)
    """For `several`: each item is a yes/no sub-check of its own; this is its "yes"."""
    compute: OneOrMore = ()
    """Analyses of the catalogue: the first judges, the others add what they find."""
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
    tells: tuple[Tells, ...] = ()
    """What attributes of causes bring here; a cause's own `shows` stands above it."""
    stand_ins: tuple[StandIn, ...] = ()
    destroys: Texts = ()
    """Evidence this check changes or ends."""
    deciding: bool = False
    """True for a deciding look or test: what may confirm in a write-up."""
    opening: bool = False
    """True for an opening question."""
    reads: Literal["rows", "changes", "speed"] | None = None
    """What of the intake answers it without asking: the pattern of the rows in trouble, what changed, the speed."""
    when_seen: Literal["any", "open_furrow", "emerged"] = "any"
    """When its thing is there: seed in a furrow just opened, a stand that has emerged. Where the stand is complained
    of, it is looked at before any furrow."""
    belongs_to: Ids = ()
    """Symptoms it is asked for; none = whatever the complaint."""
    told_by: Ids = ()
    """What holds its answer too, so that it is not asked: checks, symptoms, lists of which something is so."""
    source: OneOrMore

    @property
    def all_hazards(self) -> tuple[str, ...]:
        """Hazards of the check and of its steps, each once."""
        return tuple(dict.fromkeys((*self.hazards, *(h for step in self.steps for h in step.hazards))))

    @property
    def measured(self) -> bool:
        """True when the answer is a reading, not a choice."""
        return self.takes.kind in MEASURED


# --- rules --------------------------------------------------------------------------------------


class Prefers(FrozenModel):
    """A check that a rule moves forward."""

    check: Id
    minutes: Number = 0.0
    """Minutes taken off its cost when offers are compared."""
    first: bool = False


class Then(FrozenModel):
    """What a rule does when it fires."""

    finds: Id | None = None
    marks: dict[Id, Targets] = Field(default_factory=dict)
    cautions: Ids = ()
    warns: Text | None = None
    advises: Text | None = None
    prefers: tuple[Prefers, ...] = ()
    blocks: Ids = ()
    asks_again: Ids = ()
    suggests: Literal["drive_out", "hand_over", "stop", "homework", "close", "prove"] | None = None

    @model_validator(mode="after")
    def _something(self) -> Self:
        if not any(getattr(self, name) for name in type(self).model_fields):
            raise ValueError("a rule must do something")
        return self


class Rule(FrozenModel):
    """What one check alone cannot say."""

    id: Id
    when: When
    then: Then
    because: Text
    """One sentence; the user reads it under "why"."""
    applies: Applies = ALWAYS
    source: OneOrMore


class Verification(FrozenModel):
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
    source: OneOrMore


_WORD = re.compile(r"[A-Za-z0-9][\w'/-]*")


def words_in(text: str) -> int:
    """Return the number of words in a phone wording."""
    return len(_WORD.findall(text))
