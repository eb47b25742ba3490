"""Transcripts: the events of a call as a YAML file that people write and read.

    title: Row 7 low after the seal was changed        # one line
    invented: true                                     # false only for a real call that was exported
    start: 2026-05-04T06:40:00Z                        # optional: the time that the first `at` counts from
    events:
      - kind: opened                                   # every call begins so
        by: phone_desk                                 # who said or did it; else by channel
        channel: phone
        customer: Alder Flat                           # free text and personal data too; they are sealed
      - kind: machine
        rows: 12
        axes: {meter: flat, delivery: tube}
        sections: {left wing: 1-4, right wing: 9-12}
        book: {vacuum: 20 inH2O}
      - kind: complaint
        at: +1min                                      # counted from the step before; or a time in UTC
        words: Row 7 skips since Monday.
        accepted: [some_symptom, {id: other_symptom, how: matched}]
      - kind: answer
        as: before                                     # a name for later steps to refer to
        at: +6min
        happened: -20min                               # when it happened, where that is not when it was typed
        check: some_check
        observer: caller_did
        status: given                                  # the default; or unsure, cannot_here
        rows: 6-8                                      # "3, 7-9", all, all but 4, left wing, every 2nd
        values: {unit: inH2O, 6: 18.2, 7: 11, 8: 18}   # or {6: 18.2 inH2O, ...}
      - {kind: repair, as: mended, causes: some_cause, minutes: 15}             # interim: true = a workaround
      - {kind: answer, as: after, check: some_check, rows: 7, values: {7: 18.1 inH2O}}
      - {kind: proof, target: mended, answers: [after], verdict: accepted}     # ids are never written by hand
      - {kind: withdrawn, target: before}
    expect:
      top: some_cause
      belief: {some_cause: likely}

The fields of each kind are those of its body and its sealed fields, side by side. A single value may stand
for a list of one. Readings: `outcome: yes`, `value: 18.5 inH2O`, `value: 3 of 20`, `values: {...}`,
`spacings: 6.5, 6.4, 13.1 in`, `positions: {unit: in, values: [...]}`, `log: {time_unit, unit, points}`.
Of `opened`, program and knowledge may be left out. Ids, parents, n and salts are made on reading, from the
file's name and content, so the same file always gives the same events.

`expect` says what must come out: `top` (the first cause, or one of a list), `top3` (causes among the first
three), `not_set_aside` and `rejects` (causes kept, causes unlikely or set aside), `belief` {cause: word},
`next_check`, `findings`, `cautions`, `conflict` (true, false, or the checks), `faults_known`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from decimal import Decimal
from pathlib import Path
from typing import Any

from pydantic import ValidationError

from diag.errors import DiagError, TranscriptError
from diag.knowledge.yamlfile import Lines, load_yaml
from diag.record.body import Body, fault_of
from diag.record.event import Event, Sealed, plain
from diag.record.fields import Leaf, leaves
from diag.record.fields import Path as Place
from diag.record.fold import fold
from diag.record.graph import flaws_of, keep_sealed, make_event
from diag.record.hand import Context, when
from diag.record.ids import new_call_id
from diag.record.kinds import KINDS
from diag.record.moved import linked
from diag.record.transcript_write import transcript_text, write_transcript
from diag.text import one_line

__all__ = [
    "EXPECTED", "Known", "Transcript", "TranscriptStep", "read_transcript", "transcript_text", "write_transcript",
]

DESK = "TRANSCRIPT"
"""The desk of every event read from a transcript."""

_SEE = "Look at the fields that this kind takes."
_START = "2026-01-01T00:00:00Z"
_TOP = ("title", "invented", "start", "events", "expect")
_OWN = ("kind", "as", "at", "by")
_WORDS = ("likely", "open", "unlikely", "set_aside")
EXPECTED = ("top", "top3", "not_set_aside", "rejects", "belief", "next_check", "findings", "cautions",
            "conflict", "faults_known")


@dataclass(frozen=True)
class Known:
    """The ids that a transcript may name; None leaves a sort unchecked."""

    axis: frozenset[str] | None = None
    check: frozenset[str] | None = None
    cause: frozenset[str] | None = None
    symptom: frozenset[str] | None = None
    caution: frozenset[str] | None = None
    finding: frozenset[str] | None = None
    book: frozenset[str] | None = None
    observer: frozenset[str] | None = None
    outcomes: Mapping[str, frozenset[str]] | None = None
    """Outcomes of each check."""
    values: Mapping[str, frozenset[str]] | None = None
    """Values of each axis."""


@dataclass(frozen=True)
class TranscriptStep:
    """One entry of the file."""

    name: str | None
    line: int
    event: str


@dataclass(frozen=True)
class Transcript:
    """A transcript that was read: events in order, their sealed values, what must come out."""

    title: str
    invented: bool
    expect: Mapping[str, Any]
    events: tuple[Event, ...]
    sealed: tuple[Sealed, ...]
    steps: tuple[TranscriptStep, ...] = field(repr=False)


def read_transcript(path: Path | str, known: Known | None = None) -> Transcript:
    """Return the call that a transcript file tells.

    `known` holds the ids of the knowledge; without it ids are not looked up. Raises TranscriptError with
    file:line for anything that cannot be taken as it stands.
    """
    path = Path(path)
    data, lines = load_yaml(path, error=TranscriptError, decimals=Decimal)
    return _Reader(path, data, lines, known or Known()).read()


class _Reader:
    """Reads one file, step by step."""

    def __init__(self, path: Path, data: Any, lines: Lines, known: Known) -> None:
        self._data = data
        self._lines = lines
        self._known = known
        self._seed = hashlib.sha256(path.name.encode() + b"\0" + path.read_bytes()).digest()
        self._drawn = 0
        self._call = new_call_id(self._random)
        self._events: list[Event] = []
        self._sealed: list[Sealed] = []
        self._steps: list[TranscriptStep] = []
        self._by_id: dict[str, Event] = {}
        self._channel = "phone"
        self._context = Context(_START)

    def _random(self, n: int) -> bytes:
        self._drawn += 1
        return hashlib.sha256(self._seed + self._drawn.to_bytes(8, "big")).digest()[:n]

    def _fault(self, what: str, path: Place, remedy: str) -> TranscriptError:
        return TranscriptError(what, self._lines.where(path), remedy)

    # -- the file

    def read(self) -> Transcript:
        data = self._data
        if not isinstance(data, dict):
            raise self._fault("This is not a transcript.", (), "Begin with title, invented and events.")
        self._only(data, _TOP, (), "a transcript")
        title, invented = data.get("title"), data.get("invented")
        if not isinstance(title, str) or not title.strip():
            raise self._fault("The transcript has no title.", ("title",), "Add a title on one line.")
        if not isinstance(invented, bool):
            raise self._fault("It is not said whether the call is invented.", ("invented",),
                              "Add invented: true, or false for a real call.")
        self._start()
        self._events_of(data.get("events"))
        expect = self._expect(data.get("expect"))
        sealed = tuple(keep_sealed(self._events, self._sealed))
        return Transcript(one_line(title), invented, expect, tuple(self._events), sealed=sealed,
                          steps=tuple(self._steps))

    def _start(self) -> None:
        if "start" in self._data:
            self._context.at = self._try(("start",), lambda: when(str(self._data["start"]), _START))

    def _events_of(self, entries: Any) -> None:
        if not isinstance(entries, list) or not entries:
            raise self._fault("There are no events.", ("events",), "List them, beginning with kind: opened.")
        for i, entry in enumerate(entries):
            self._step(entry, ("events", i))

    def _only(self, data: Mapping[str, Any], fields: Iterable[str], path: Place,
              what: str) -> None:
        for name in data:
            if name not in fields:
                told = f'"{one_line(name, limit=40)}" is not a field of {what}.'
                raise self._fault(told, (*path, name), _nearest(name, fields))

    def _try(self, path: Place, work: Callable[[], Any]) -> Any:
        """Run something that may find a fault, and name its place."""
        try:
            return work()
        except DiagError as e:
            raise self._fault(_at_field(path) + e.what, path, e.remedy or _SEE) from None

    # -- one step

    def _step(self, entry: Any, path: Place) -> None:
        if not isinstance(entry, dict) or not isinstance(entry.get("kind"), str):
            raise self._fault("This step has no kind.", path, "Write `- kind: answer` and its fields.")
        kind = KINDS.get(entry["kind"])
        if kind is None:
            what = f'"{one_line(entry["kind"], limit=40)}" is not a kind of event.'
            raise self._fault(what, (*path, "kind"), _nearest(entry["kind"], KINDS))
        if "at" in entry:
            self._context.at = self._try((*path, "at"), lambda: when(str(entry["at"]), self._context.at))
        body = self._body(kind, entry, path)
        event = self._make(kind, entry, body, path)
        self._take(event, entry.get("as"), path)

    def _body(self, kind: type[Body], entry: Mapping[str, Any], path: Place) -> dict[str, Any]:
        """Return the body of a step as stored, free text still in it."""
        fields = [info.alias or name for name, info in kind.model_fields.items()]
        interim = ["interim"] if kind.KIND == "repair" else []
        self._only(entry, (*_OWN, *interim, *fields), path, kind.KIND)
        told = {k: v for k, v in entry.items() if k in fields and k not in _OWN and v is not None}
        if interim:
            told["kind"] = "interim" if entry.get("interim") is True else "repair"
        try:
            made = kind.model_validate(told, context=self._context)
        except ValidationError as e:
            error = e.errors(include_url=False)[0]
            place, what = fault_of(kind, error)
            ends = "" if what.endswith(".") else "."
            remedy = error.get("ctx", {}).get("remedy") or _SEE
            raise self._fault(f"{_at_field((*path, *place))}{what}{ends}", (*path, *place), remedy) from None
        body: dict[str, Any] = made.model_dump(by_alias=True, exclude_unset=True)
        return body

    def _make(self, kind: type[Body], entry: Mapping[str, Any], body: dict[str, Any], path: Place) -> Event:
        for leaf in leaves(kind, plain(body)):
            self._look_up(leaf, body, path)
        if kind.KIND in ("change", "repair") and self._events:
            body = linked(kind.KIND, plain(body), fold(self._events, self._sealed))
        role = {"phone": "phone_desk", "site": "technician"}[body.get("channel", self._channel)]
        by = entry.get("by", "tool" if kind.KIND == "judged" else role)
        made: tuple[Event, tuple[Sealed, ...]] = self._try(path, lambda: make_event(
            self._call, self._events[-1:], self._context.at, DESK, by=by, kind=kind.KIND, body=body,
            salts=self._random))
        event, sealed = made
        for flaw in flaws_of(event, sealed, self._by_id):
            raise self._fault(flaw, path, "Refer to an earlier step that fits.")
        self._sealed.extend(sealed)
        return event

    def _take(self, event: Event, name: Any, path: Place) -> None:
        """Add an event and keep what later steps need of it."""
        self._events.append(event)
        self._by_id[event.id] = event
        self._steps.append(TranscriptStep(name, self._lines.at(path), event.id))
        if name is not None:
            if not isinstance(name, str) or name in self._context.names:
                raise self._fault("`as` must be a new name.", (*path, "as"), "Choose another word.")
            self._context.names[name] = event.id
        if event.kind in ("opened", "channel"):
            self._channel = event.body["channel"]
        if event.kind == "machine":
            machine = fold(self._events, self._sealed).machine
            self._context.rows, self._context.sections = machine.rows, machine.sections

    # -- ids of the knowledge

    def _look_up(self, leaf: Leaf, body: Mapping[str, Any], path: Place) -> None:
        refers = leaf.type.refers
        if refers == "axis_value" and self._known.values is not None:
            allowed = self._known.values.get(str(leaf.path[-1]), frozenset()) | {"unknown"}
            for value in leaf.value if isinstance(leaf.value, list) else [leaf.value]:
                self._one_of(value, allowed, f"a value of {leaf.path[-1]}", (*path, *leaf.path))
        elif refers == "outcome":
            if self._known.outcomes is not None:
                allowed = self._known.outcomes.get(body["check"], frozenset())
                self._one_of(leaf.value, allowed, f"an outcome of {body['check']}", (*path, *leaf.path))
        elif refers and refers != "axis_value" and not leaf.type.is_event:
            self._one_of(leaf.value, getattr(self._known, refers), f"a known {refers}", (*path, *leaf.path))

    def _one_of(self, value: Any, allowed: Iterable[str] | None, what: str, path: Place) -> None:
        if allowed is not None and value not in allowed:
            shown = one_line(str(value), limit=60)
            raise self._fault(f'"{shown}" is not {what}.', path, _nearest(str(value), allowed))

    # -- what must come out

    def _expect(self, expect: Any) -> dict[str, Any]:
        if expect is None:
            return {}
        if not isinstance(expect, dict):
            raise self._fault("expect must be a mapping.", ("expect",), "Write top: and the rest below it.")
        self._only(expect, EXPECTED, ("expect",), "expect")
        for name, want in expect.items():
            self._expected(name, want, ("expect", name))
        return expect

    def _expected(self, name: str, want: Any, path: Place) -> None:
        sort = {"next_check": "check", "conflict": "check", "findings": "finding",
                "cautions": "caution"}.get(name, "cause")
        if name == "faults_known" or (name == "conflict" and not isinstance(want, list | str)):
            if not isinstance(want, bool):
                raise self._fault(f"{name} must be true or false.", path, "Write true or false.")
        elif name == "belief":
            self._beliefs(want, path)
        elif not (name == "next_check" and want is None):
            self._listed(want, sort, path)

    def _beliefs(self, want: Any, path: Place) -> None:
        if not isinstance(want, dict) or not want:
            raise self._fault("belief must be {cause: word}.", path, "Write belief: {cause: likely}.")
        for cause, words in want.items():
            self._one_of(cause, self._known.cause, "a known cause", (*path, cause))
            for word in words if isinstance(words, list) else [words]:
                self._one_of(word, _WORDS, "a belief", (*path, cause))

    def _listed(self, want: Any, sort: str, path: Place) -> None:
        items = want if isinstance(want, list) else [want]
        for i, item in enumerate(items):
            where = (*path, i) if isinstance(want, list) else path
            if not isinstance(item, str):
                raise self._fault(f"{path[-1]} must be the id of a {sort}, or a list of them.", where,
                                  "Write ids only.")
            self._one_of(item, getattr(self._known, sort), f"a known {sort}", where)


def _at_field(path: Place) -> str:
    """Return "values.7: " for the place of a fault inside a step, "" for the step itself."""
    steps = [str(s) for s in path[2:]]
    return f"{'.'.join(steps)}: " if steps else ""


def _nearest(value: str, allowed: Iterable[str]) -> str:
    """Return what was likely meant, or the list when it is short."""
    import difflib

    names = sorted(allowed)
    near = difflib.get_close_matches(value, names, n=3, cutoff=0.6)
    if near:
        return f"Did you mean {' or '.join(near)}?"
    return f"Known: {', '.join(names[:20]) or 'none'}{', ...' if len(names) > 20 else ''}."
