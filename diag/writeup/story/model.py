"""What a write-up is made of: frozen values, each with the events of the call it rests on.

A story holds what was said, seen, measured and done, and the shown words computed from it; it holds no
belief. Texts are plain (no markup); the renderers escape them for their own format.
"""

from __future__ import annotations

from dataclasses import dataclass

Events = tuple[str, ...]
"""Ids of events of the call."""

SAYS: dict[str, str] = {
    "confirmed": "CONFIRMED", "probable": "PROBABLE", "possible": "POSSIBLE", "ruled_out": "RULED OUT",
    "inconclusive": "INCONCLUSIVE", "not_tested": "NOT TESTED",
}
"""The shown words as they are printed."""


@dataclass(frozen=True)
class Told:
    """Something said, recorded or worked out."""

    text: str
    events: Events = ()
    on: str = ""
    """When it happened, UTC stamp; "" where that does not matter."""
    number: float | None = None
    """SI value of a figure."""


@dataclass(frozen=True)
class Item:
    """One named line of the write-up: identity, usage, a date, a detail."""

    name: str
    label: str
    group: str
    told: Told
    personal: bool = False
    claim: bool = False
    """True when only a claim and the service file need it."""
    was: Told | None = None
    """What it was before it was corrected."""
    code: str = ""
    """For a choice: its id."""


@dataclass(frozen=True)
class Complaint:
    """What the customer saw, in the customer's words; symptoms, never a diagnosis."""

    words: str
    symptoms: tuple[tuple[str, str], ...]
    """(symptom id, label)."""
    denied: tuple[str, ...]
    """Labels of symptoms that were denied."""
    facts: tuple[Told, ...]
    """Rows, since when, rhythm, what changed."""
    events: Events


@dataclass(frozen=True)
class Condition:
    """One condition of the measurement, before and after the repair."""

    name: str
    label: str
    before: Told | None
    after: Told | None
    mended: bool = False
    """True when the repair itself changed it."""

    @property
    def same(self) -> bool:
        """True when both are known and the same."""
        return bool(self.before and self.after and self.before.text == self.after.text)


@dataclass(frozen=True)
class Value:
    """One measured figure."""

    event: str
    check: str
    what: str
    where: str
    text: str
    number: float | None
    """SI, or a share; None when the figure is no single number."""
    control: bool
    """Measured in a row that is not in trouble."""
    unit: str = "1"
    """SI unit of the number; "1" for a share or a plain number."""


@dataclass(frozen=True)
class MadeTest:
    """One answer: what was asked or measured, where, by whom, and what it was taken to mean."""

    event: str
    number: int
    """Position in the record, counted from 1."""
    check: str
    asks: str
    where: str
    reading: str
    """What was answered, in words and with units; a series by how many and from where to where."""
    series: str
    """A series in full; "" for other answers."""
    says: str
    """What it was taken to mean; "" when it could not carry a verdict."""
    why_not: str
    """Why it carries no verdict."""
    who: str
    firm: bool
    deciding: bool
    valued: bool
    usual: bool
    """It gave what a sound machine gives."""
    reverses: bool
    """Part of making the fault go and come, or move."""
    pieces: str
    """Which pieces sat in another row; "" when none did."""
    when: str
    """before | after | back (old part or setting back) | step (something else changed for a test, after a repair)."""
    on: str
    values: tuple[Value, ...] = ()
    spacings: tuple[float, ...] = ()
    """Spacings in m, for the histogram."""
    target: float | None = None
    """Target spacing in m."""
    holes: int = 0
    """Holes of the disc where the spacings repeat with one of them; 0 otherwise."""
    hole: int = 0
    """The hole that stands out, counted from the first seed; 0 where none does."""
    moved_rows: tuple[int, ...] = ()
    """Rows that held a piece of another row."""
    by_row: bool = False
    """True when it takes one value per row."""
    supports: tuple[str, ...] = ()
    against: tuple[str, ...] = ()


@dataclass(frozen=True)
class Pair:
    """The same measurement at the same place before and after the repair."""

    check: str
    what: str
    where: str
    before: Value
    after: Value


@dataclass(frozen=True)
class Root:
    """Why it failed; kept apart from the mechanism, and often not reached."""

    text: str
    word: str
    category: str
    """Id of the category; "" when nobody named one."""
    category_label: str
    proposed: bool
    """True while the category is only the program's proposal."""
    events: Events


@dataclass(frozen=True)
class Ground:
    """What a shown word of a cause rests on: the test and what it gave."""

    event: str
    asks: str
    says: str


@dataclass(frozen=True)
class CauseTold:
    """One cause as it is told: item, manner, mechanism, root, and what was shown."""

    cause: str
    label: str
    plain: str
    part: str
    """The part that was fitted for it, by its name; "" when none was."""
    word: str
    kind: str
    mode: str
    """Failure mode; "" when no symptom was named."""
    mechanism: str
    """How such a fault spoils metering."""
    seen: str
    """How this part failed, as a technician described it; "" when nobody did."""
    root: Root
    leaning: str
    prevention: str
    deciding: Ground | None
    reversal: Events
    """Answers in which the fault was made to go and come, or to move; () when it was not."""
    grounds: tuple[Ground, ...]
    repaired: bool
    brings: tuple[str, ...]
    """Symptoms it can bring."""
    rows: tuple[int, ...] = ()
    """Where it was mended, else where it was shown; () for no row or all."""
    repairs: Events = ()
    """Repairs that mended it."""


@dataclass(frozen=True)
class Other:
    """A cause that is not told as the one: ruled out, inconclusive, possible or not tested."""

    cause: str
    label: str
    plain: str
    kind: str
    word: str
    ground: Ground | None
    speaks: bool
    """True when any test speaks for it."""
    as_well: bool
    """True when nothing answered before a repair tells it from the cause that fits best."""
    sound: Events
    """Looks at the thing itself that found nothing wrong with it."""
    unlike: Events
    """Looks at something else whose finding does not go with it."""
    subsystem: str
    """Which part of the planter it belongs to, in words."""
    demanded: Events
    """Firm readings that speak for it and that no cause told explains; () where none of those is confirmed."""


@dataclass(frozen=True)
class Why:
    """One step from what was seen to why it came about."""

    why: str
    because: str
    events: Events


@dataclass(frozen=True)
class PartUsed:
    """A part fitted, and the tests that pointed at it."""

    item: str
    qty: int
    tests: Events


@dataclass(frozen=True)
class Correction:
    """What was done."""

    event: str
    words: str
    kind: str
    """repair | interim."""
    causes: tuple[str, ...]
    where: str
    parts: tuple[PartUsed, ...]
    settings: tuple[str, ...]
    """Each "name: before -> after"."""
    minutes: float | None
    by: str
    on: str
    watch: tuple[str, ...] = ()
    """What to watch while a workaround lasts."""
    ends: tuple[str, ...] = ()
    """When it ends."""
    loses: tuple[str, ...] = ()
    """What it costs meanwhile."""
    rows: tuple[int, ...] = ()
    """The rows of `where`; () for no row or all."""


@dataclass(frozen=True)
class CountedShare:
    """Bad ones in a count, and the exact interval of their share, 19 times in 20."""

    bad: int
    n: int
    low: float
    high: float


@dataclass(frozen=True)
class Count:
    """The same count in the same rows before and after a repair, with its test and its limit."""

    check: str
    what: str
    where: str
    before: CountedShare | None
    after: CountedShare
    limit: float
    """Share of bad ones that is accepted."""
    chance: float | None
    """Chance of so unlike counts by accident (Fisher's exact test, two-sided); None without a count before."""
    better: bool
    events: Events


@dataclass(frozen=True)
class Proof:
    """The one judgement on a repair: what the readings say, and what a person said."""

    event: str
    repair: str
    verdict: str
    """A person's verdict; "" while nobody gave one."""
    says: str
    """The readings' verdict: accepted | not_accepted | not_yet."""
    why: str
    """The reading that says so, or what it lacks."""
    against: bool
    """True when a person accepted what the readings do not carry."""
    test: str
    answers: Events
    firm: bool
    """A technician or an instrument took at least one of them."""
    control: Events
    """Readings of good rows beside the repaired ones."""
    needs_control: bool
    counts: tuple[Count, ...]
    controls: tuple[Count, ...]
    rule: str
    """How such a repair is accepted."""
    claim_seeds: int
    """Seeds that a claim needs for this kind of repair; 0 where none are counted."""
    on: str


@dataclass(frozen=True)
class Labour:
    """Time of one activity."""

    activity: str
    label: str
    minutes: float
    basis: str
    """typed | clock | estimate."""
    proposed: float | None
    """What the clock or the estimate proposed where another time was typed."""
    events: Events
    allowed: float | None = None
    """What the shop's own contract allows, where it says so."""


@dataclass(frozen=True)
class Photo:
    """A picture by its file name and hash."""

    event: str
    file_name: str
    text: str
    sha256: str
    on: str


@dataclass(frozen=True)
class Line:
    """One line of a list: a correction, a change not put back, a note, something left out with its reason."""

    text: str
    events: Events
    on: str = ""
    in_vain: bool = False
    """Something that was tried and changed nothing, or made it worse."""


@dataclass(frozen=True)
class Skip:
    """Something the write-up should hold and that is left out, with the reason."""

    rule: str
    """Completeness rule."""
    text: str
    reason: str
    events: Events
    on: str


@dataclass(frozen=True)
class Closing:
    """How the call ended, or will if nothing else is said."""

    kind: str
    label: str
    words: str
    open: bool
    on: str
    events: Events
    against: str = ""
    """What the record holds against the closing word; "" where nothing does."""

    @property
    def no_fault(self) -> bool:
        """True when the call ended without a fault, and the record holds none."""
        return self.kind == "no_fault_found" and not self.against


@dataclass(frozen=True)
class Record:
    """Where the story comes from."""

    call: str
    """Call id as shown."""
    stored: bool
    practice: bool
    channel: str
    opened: str
    program: str
    knowledge: str
    heads: Events
    events: int
    prepared_by: str
    units: str = ""
    """The reader's units: us | metric; "" for those in which it was read."""
    minutes: float | None = None
    """Minutes from the first entry on site (or of the call) to the last before its close; None where nothing tells."""


@dataclass(frozen=True)
class Story:
    """A call, told."""

    record: Record
    claim: bool
    """True when somebody else than the customer is asked to pay."""
    items: tuple[Item, ...]
    complaint: Complaint
    conditions: tuple[Condition, ...]
    tests: tuple[MadeTest, ...]
    pairs: tuple[Pair, ...]
    causes: tuple[CauseTold, ...]
    """Causes told as found, first the one that matters most; empty when none was shown."""
    others: tuple[Other, ...]
    whys: tuple[Why, ...]
    repairs: tuple[Correction, ...]
    proofs: tuple[Proof, ...]
    labour: tuple[Labour, ...]
    photos: tuple[Photo, ...]
    cautions: tuple[Line, ...]
    done_before: tuple[Line, ...]
    not_put_back: tuple[Line, ...]
    put_back: tuple[Line, ...]
    """What was changed for a test and put back, and what was set for good beside a repair."""
    changed: tuple[Line, ...]
    notes: tuple[Line, ...]
    internal: tuple[Line, ...]
    skipped: tuple[Skip, ...]
    closing: Closing
    waiting: Line | None
    """What the call waits for, and until when; None once it is closed or in work."""
    fits: tuple[str, ...]
    """What the answers speak for most while no cause is shown, in the customer's words."""
    addressed: tuple[str, ...]
    """Kinds of cause that some firm test bears on."""
    open_rows: tuple[int, ...] = ()
    """Rows in trouble that nobody has mended, nor measured right since another was mended."""

    def item(self, name: str) -> Item | None:
        """Return a named line, or None."""
        return next((i for i in self.items if i.name == name), None)

    def group(self, *groups: str) -> tuple[Item, ...]:
        """Return the lines of some groups."""
        return tuple(i for i in self.items if i.group in groups)

    @property
    def measured(self) -> bool:
        """True when anything was measured."""
        return any(t.valued for t in self.tests)

    def readings(self, when: str) -> tuple[Value, ...]:
        """Return the measured figures before or after the repair."""
        return tuple(v for t in self.tests if t.when == when for v in t.values)
