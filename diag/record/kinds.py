"""The kinds of events: what each may say, declared once.

A class here is a kind of event. Checking, sealing, the form in transcripts, the fold, the line in the trail and the
JSON schema come from its fields. Bodies hold ids, numbers, rows, roles; what a person writes is FREE (a short label)
or TEXT, and sealed.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, ClassVar, Self

from pydantic import Field, ValidationInfo, field_validator, model_validator

from diag.errors import DiagError
from diag.figures import READINGS
from diag.figures.rows import Rows
from diag.record import fields as f
from diag.record.body import GONE, Body, BodyFields, broken
from diag.record.hand import Context, readings_of

MOST_TEXT = 20_000  # characters of one sealed text
ROLES = ("technician", "phone_desk", "grower", "caller", "tool")
WAIT_ENDS = "none"
RESULTS = ("mended_by_phone", "mended", "interim", "question_answered", "no_fault_found", "handed_over",
           "not_heard_again", "several_changed_at_once", "part_shown_at_fault")
ROLE, CHANNEL, COUNT = f.word(*ROLES), f.word("phone", "site"), f.whole(0, 1_000_000)

Stored = Mapping[str, Any]
"""A reading, setting or series as stored: {value, unit}, {count, of}, {unit, values}."""
Id = Annotated[str, f.NAME]
Free = Annotated[str | None, f.FREE]
Text = Annotated[str | None, f.TEXT]
RowsTold = Annotated[Rows | None, f.ROWS]
Setting = Annotated[Any, f.SETTING]
EventId = Annotated[str, f.event()]


# --------------------------------------------------------------------------------- parts of some bodies


class KnowledgeUsed(BodyFields):
    version: Annotated[str, f.LABEL]
    digest: Annotated[str, f.LABEL]


class RowSection(BodyFields):
    name: Annotated[str, f.FREE]
    rows: Annotated[Rows, f.ROWS]


class Accepted(BodyFields):
    """A symptom that fits the caller's words."""

    SHORT = "id"
    BY_HAND: ClassVar[Mapping[str, Any]] = {"how": "chosen"}

    id: Annotated[str, f.ident("symptom")]
    how: Annotated[str, f.word("chosen", "matched")]


class PartFitted(BodyFields):
    SHORT = "item"
    BY_HAND: ClassVar[Mapping[str, Any]] = {"qty": 1}

    item: Annotated[str, f.FREE]
    qty: Annotated[int, COUNT]


class SettingChanged(BodyFields):
    SHORT = "name"

    name: Annotated[str, f.FREE]
    rows: RowsTold = None
    before: Setting = None
    after: Setting = None
    settles: Annotated[str | None, f.event("change")] = None
    """The temporary change that it makes an end of."""


# -------------------------------------------------------------------------------------------- the kinds


class Opened(Body):
    """A call was opened."""

    KIND, WITHDRAWABLE, LISTED, SAYS = "opened", False, True, "call opened"
    BY_HAND: ClassVar[Mapping[str, Any]] = {
        "program": "transcript", "knowledge": {"version": "any", "digest": "none"}}

    channel: Annotated[str, CHANNEL]
    program: Annotated[str, f.LABEL]
    knowledge: KnowledgeUsed
    follows: Annotated[str | None, f.CALL] = None
    practice: Annotated[bool, f.FLAG] = False
    customer: Text = None
    contact: Text = None
    phone: Text = None
    place: Text = None
    technician: Text = None


class Machine(Body):
    """What is known of the machine."""

    KIND, LISTED = "machine", True

    axes: dict[Annotated[str, f.ident("axis")], Annotated[Any, f.AXIS_VALUE]] = Field(default_factory=dict)
    """Axis -> value, list of values, or "unknown"."""
    rows: Annotated[int | None, f.whole(1, 200)] = None
    row_width: Annotated[Stored | None, f.MEASURED] = None
    holes: Annotated[int | None, f.whole(1, 1000)] = None
    book: dict[Annotated[str, f.ident("book")], Setting] = Field(default_factory=dict)
    """Quantity -> value of the operator's manual."""
    layout: tuple[RowSection, ...] = Field((), alias="sections")
    owner: Text = None
    serial: Text = None
    label: Text = None

    @property
    def sections(self) -> dict[str, Rows]:
        """Rows of each section by its name."""
        return {f"section {i}" if s.name == GONE else s.name: s.rows for i, s in enumerate(self.layout, 1)}

    @classmethod
    def spelled_out(cls, told: Mapping[str, Any]) -> dict[str, Any]:
        sections = told.get("sections")
        if isinstance(sections, Mapping):
            told = {**told, "sections": [{"name": n, "rows": r} for n, r in sections.items()]}
        return super().spelled_out(told)


class Situation(Body):
    """What is planted and since when there is trouble."""

    KIND, LISTED = "situation", True

    crop: Annotated[str | None, f.NAME] = None
    seed_lot_code: Free = None
    target: Annotated[Stored | None, f.MEASURED] = None
    speed: Annotated[Stored | None, f.MEASURED] = None
    since: Free = None
    changes: tuple[Id, ...] = ()
    rows: RowsTold = None
    """The rows in trouble; None while nobody said."""
    rhythm: Free = None
    flags: tuple[Id, ...] = ()
    without: tuple[Id, ...] = ()
    """Tools that are not at hand."""
    remarks: Text = None


class ComplaintMade(Body):
    """The caller's words and the symptoms that they were taken for."""

    KIND, LISTED = "complaint", True

    accepted: tuple[Accepted, ...] = ()
    denied: tuple[Annotated[str, f.ident("symptom")], ...] = ()
    words: Text = None


class DoneBefore(Body):
    """Something done before the call."""

    KIND, LISTED, SAYS = "done_before", True, "done before the call: {what}"

    what: Annotated[str, f.FREE]
    rows: RowsTold = None
    before: Setting = None
    after: Setting = None
    order: Annotated[int | None, f.whole(1, 1000)] = None
    effect: Annotated[str | None, f.word("better", "no_change", "worse", "unknown")] = None
    old_part: Annotated[str | None, f.word("kept", "gone", "unknown")] = None
    told_by: Annotated[str | None, ROLE] = None
    said: Text = None


class Answer(Body):
    """An answer to a check: an outcome, a reading, or why there is none."""

    KIND = "answer"
    BY_HAND: ClassVar[Mapping[str, Any]] = {"status": "given", "observer": "technician"}

    check: Annotated[str, f.ident("check")]
    rows: RowsTold = None
    piece: dict[Id, Annotated[Any, f.PLACE]] | None = None
    channel: Annotated[str, CHANNEL] = ""
    observer: Annotated[str, f.ident("observer")]
    status: Annotated[str, f.word("given", "unsure", "cannot_here")]
    outcome: Annotated[str | None, f.ident("outcome")] = None
    value: Annotated[Any, f.READING] = None
    values: dict[Annotated[str, f.READ_AT], Annotated[Any, f.READING]] | None = None
    """Readings by row number or name."""
    spacings: Annotated[Stored | None, f.SERIES] = None
    positions: Annotated[Stored | None, f.SERIES] = None
    log: Annotated[Stored | None, f.LOG] = None
    method: Annotated[str | None, f.LABEL] = None
    said: Text = None

    @property
    def replaces(self) -> str | None:
        """The withdrawn answer that this one corrects."""
        return self.in_call.replaces

    @property
    def proves(self) -> str | None:
        """The repair whose proof it belongs to."""
        return self.in_call.proves

    @property
    def pieces(self) -> Mapping[str, Mapping[int, Any]]:
        """Pieces that did not sit in their own row: piece -> {row: home row or "spare"}, for these rows."""
        return self.in_call.pieces

    @field_validator("values", mode="before")
    @classmethod
    def _by_place(cls, value: Any, info: ValidationInfo) -> Any:
        try:
            return readings_of(value, info.context) if isinstance(info.context, Context) else value
        except DiagError as e:
            raise broken(e.what, e.remedy) from None

    @model_validator(mode="after")
    def _one_reading(self) -> Self:
        given = [name for name in ("outcome", *READINGS) if name in self.model_fields_set]
        if len(given) > 1:
            raise broken(f"holds {' and '.join(given)}; an answer has one of them")
        if given and self.status != "given":
            raise broken(f"holds {given[0]} although its status is {self.status}")
        return self


class Withdrawn(Body):
    """An earlier event no longer holds."""

    KIND, LISTED = "withdrawn", True

    target: EventId
    reason: Text = None


class Channel(Body):
    """The call goes on by phone or on site."""

    KIND, LISTED = "channel", True

    channel: Annotated[str, CHANNEL]


class CautionShown(Body):
    """A caution was shown, and how it was acknowledged."""

    KIND, WITHDRAWABLE = "caution", False

    caution: Annotated[str, f.ident("caution")]
    check: Annotated[str | None, f.ident("check")] = None
    shown_to: Annotated[str | None, ROLE] = None
    acknowledged: Annotated[str, f.word("none", "key", "typed")]


class Swap(Body):
    """Two rows exchanged a piece (or a row and the shelf)."""

    KIND, SAYS = "swap", "swapped: {piece} of {from_row} and {to_row}"

    piece: Id
    from_row: Annotated[Any, f.PLACE]
    to_row: Annotated[Any, f.PLACE]


class Change(Body):
    """A setting or part was changed, for a test or for good."""

    KIND = "change"

    setting: Free = None
    part: Free = None
    rows: RowsTold = None
    before: Setting = None
    after: Annotated[Any, f.SETTING]
    temporary: Annotated[bool, f.FLAG] = False
    settles: Annotated[str | None, f.event("change")] = None
    """The temporary change that it makes an end of; one that is temporary itself goes on from there."""

    @model_validator(mode="after")
    def _setting_or_part(self) -> Self:
        if (self.setting is None) == (self.part is None):
            raise broken("needs either setting or part")
        return self


class Waiting(Body):
    """What the call waits for."""

    KIND, LISTED = "waiting", True

    reason: Annotated[str, f.word("caller", "part", "technician", "weather", "proof", WAIT_ENDS)] = Field(alias="for")
    until: Annotated[str | None, f.TIME] = None
    acres: Annotated[str | None, f.NUMBER] = None
    text: Text = None


class Repaired(Body):
    """A repair or an interim measure."""

    KIND, LISTED = "repair", True

    causes: tuple[Annotated[str, f.ident("cause")], ...] = ()
    kind: Annotated[str, f.word("repair", "interim")]
    rows: RowsTold = None
    parts: tuple[PartFitted, ...] = ()
    settings: tuple[SettingChanged, ...] = ()
    minutes: Annotated[int | None, COUNT] = None
    done_by: Annotated[str | None, ROLE] = None
    words: Text = None
    technician: Text = None


class ProofVerdict(Body):
    """The verdict on a repair, with the answers that it rests on."""

    KIND, SAYS = "proof", "proof: {verdict}"

    target: Annotated[str, f.event("repair")]
    answers: tuple[Annotated[str, f.event("answer")], ...] = ()
    verdict: Annotated[str, f.word("accepted", "not_accepted", "not_yet")]
    test: Free = None
    risks: dict[Id, Annotated[str, f.NUMBER]] = Field(default_factory=dict)


class Note(Body):
    """A note, or one detail of the write-up."""

    KIND, LISTED = "note", True

    about: Annotated[str | None, f.event()] = None
    item: Annotated[str | None, f.NAME] = None
    value: Setting = None
    evidence: tuple[EventId, ...] = ()
    file: Annotated[bool, f.FLAG] = False
    text: Text = None


class PhotoTaken(Body):
    """A photo, by the hash of its file."""

    KIND, SAYS = "photo", "photo"

    about: Annotated[str | None, f.event()] = None
    sha256: Annotated[str, f.SHA]
    text: Text = None
    file_name: Text = None


class Judged(Body):
    """What was believed at a close, a proof or a write-up."""

    KIND, WITHDRAWABLE, LISTED = "judged", False, True

    why: Annotated[str, f.word("close", "proof", "write_up")]
    digests: dict[Id, Annotated[str, f.LABEL]] = Field(default_factory=dict)
    ranking: Annotated[Any, f.DATA] = None
    beliefs: Annotated[Any, f.DATA] = None
    outcomes: Annotated[Any, f.DATA] = None


class Closed(Body):
    """The call ended."""

    KIND, LISTED, SAYS = "closed", True, "closed: {result}"

    result: Annotated[str, f.word(*RESULTS)]
    words: Text = None


class Reopened(Body):
    """The call was opened again."""

    KIND, LISTED, SAYS = "reopened", True, "opened again"

    words: Text = None


class Erased(Body):
    """Sealed values were erased for good."""

    KIND, WITHDRAWABLE, LISTED = "erased", False, True

    targets: tuple[tuple[EventId, Annotated[str, f.LABEL]], ...]


class Signed(Body):
    """Everything before it was signed by a key that stays with whoever signed."""

    KIND, WITHDRAWABLE, SAYS = "signed", False, "signed"

    key: Annotated[str, f.PUBLIC_KEY]
    signature: Annotated[str, f.SIGNATURE]


KINDS: Mapping[str, type[Body]] = {kind.KIND: kind for kind in Body.__subclasses__()}
