"""One event of a call: its form, its canonical JSON, its id, its seals."""

from __future__ import annotations

import hashlib
import json
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from diag.errors import RecordError
from diag.record.body import GONE, Body, filled
from diag.record.ids import is_call_id, is_hash, is_label, is_stamp, show_call_id
from diag.record.kinds import KINDS
from diag.text import one_line

VERSION = 2
"""The newest event form that this program reads and writes; in form 1 free labels stood open in the body."""

FRESH = "Ask for a fresh export from the desk it came from."

_ENVELOPE = ("v", "call", "parents", "n", "at", "desk", "by", "kind", "body", "sealed")


@dataclass(frozen=True)
class Event:
    """One thing that happened in a call."""

    v: int
    call: str
    parents: tuple[str, ...]
    n: int
    at: str
    """When it was typed, UTC in whole seconds."""
    desk: str
    """The installation that made it."""
    by: str
    """Role of who said or did it; never a name."""
    kind: str
    body: Mapping[str, Any] = field(hash=False)
    sealed: Mapping[str, str] = field(hash=False)
    """Field -> hash of the sealed value."""
    id: str

    @property
    def known(self) -> bool:
        """True when this program can interpret the event."""
        return self.v <= VERSION and self.kind in KINDS

    @property
    def happened(self) -> str | None:
        """When it happened, where that is not when it was typed."""
        return self.body.get("happened") if self.known else None

    def told(self, texts: Mapping[str, str]) -> Body:
        """Return what a known event says, free labels put back as far as `texts` (place -> text) has them."""
        kind = KINDS[self.kind]
        return kind.model_validate(self.in_full(texts)) if self.sealed.keys() - kind.texts() else self._told

    @cached_property
    def _told(self) -> Body:
        return KINDS[self.kind].model_validate(self.body)

    def in_full(self, texts: Mapping[str, str]) -> Mapping[str, Any]:
        """Return the body with free labels put back; one that is not here reads as GONE."""
        labels = self.sealed.keys() - KINDS[self.kind].texts() if self.known else set()
        put_back = {path: one_line(texts.get(path, ""), limit=100) or GONE for path in labels}
        return filled(self.body, put_back) if put_back else self.body

    @cached_property
    def form(self) -> bytes:
        """Its canonical JSON without the id: what the id is the hash of, and what is stored. Raises RecordError."""
        return canonical(self.envelope())

    def envelope(self) -> dict[str, Any]:
        """Return exactly what the id is the hash of."""
        values = {name: getattr(self, name) for name in _ENVELOPE}
        return {**values, "parents": list(self.parents)}

    def as_json(self) -> dict[str, Any]:
        """Return the envelope and the id, ready for JSON."""
        return {**self.envelope(), "id": self.id}

    @classmethod
    def from_json(cls, data: object) -> Event:
        """Return the event of a stored or exported form; whether it is whole is for `verify`.

        Raises RecordError when it does not have the form of an event.
        """
        if not isinstance(data, Mapping) or set(data) != {*_ENVELOPE, "id"}:
            raise RecordError("An entry is not an event: its fields are not those of one.", "", FRESH)
        wrong = [name for name, fits in _FORMS.items() if not fits(data[name])]
        if wrong:
            names = " and ".join(wrong)
            raise RecordError(f"An entry is not an event: its {names} cannot be read.", "", FRESH)
        return cls(**{**data, "parents": tuple(data["parents"])})


def _is_whole(value: object) -> bool:
    return type(value) is int and value >= 1


_FORMS: Mapping[str, Callable[[Any], bool]] = {
    "v": _is_whole,
    "call": is_call_id,
    "parents": lambda p: isinstance(p, list) and all(map(is_hash, p)),
    "n": _is_whole,
    "at": is_stamp,
    "desk": is_label,
    "by": is_label,
    "kind": is_label,
    "body": lambda b: isinstance(b, Mapping),
    "sealed": lambda s: isinstance(s, Mapping) and all(map(is_hash, s.values())),
    "id": is_hash,
}


@dataclass(frozen=True)
class Sealed:
    """One sealed value with the salt of its hash; it lives beside the events."""

    event: str
    field: str
    salt: bytes
    value: str


def canonical(obj: Any) -> bytes:
    """Return the one JSON form of a value: UTF-8, NFC, keys sorted, no spaces.

    Raises RecordError for floats (measured values are text with a unit) and for what is not JSON.
    """
    try:
        text = json.dumps(plain(obj), ensure_ascii=False, sort_keys=True, separators=(",", ":"))
        return text.encode("utf-8")
    except (UnicodeEncodeError, RecursionError):
        raise RecordError("A value cannot be written as JSON text.", "", "Remove what is not text.") from None


def plain(obj: Any) -> Any:
    """Return JSON data in NFC, with plain dicts and lists, refusing all else."""
    if isinstance(obj, str):
        return obj if obj.isascii() else unicodedata.normalize("NFC", obj)
    if obj is None or type(obj) in (bool, int):
        return obj
    if isinstance(obj, list | tuple):
        return [plain(x) for x in obj]
    if isinstance(obj, Mapping) and all(isinstance(k, str) for k in obj):
        made = {plain(k): plain(v) for k, v in obj.items()}
        if len(made) == len(obj):
            return made
    raise RecordError(f"A record cannot hold a {type(obj).__name__}.", "",
                      'Write measured values as {value: "18.5", unit: "inH2O"}.')


def hash_of(form: bytes) -> str:
    """Return the id of an event with this canonical JSON."""
    return hashlib.sha256(form).hexdigest()


def event_id(envelope: Mapping[str, Any]) -> str:
    """Return the id of an event from the ten fields of its envelope."""
    return hash_of(canonical({name: envelope[name] for name in _ENVELOPE}))


def seal(value: str, salt: bytes) -> str:
    """Return the hash that stands in the event for a value that is kept apart."""
    return hashlib.sha256(salt + canonical(value)).hexdigest()


def place_of(event: Event) -> str:
    """Return where an event stands, in words: call, n and kind."""
    return place_in_words(event.call, event.n, event.kind)


def place_in_words(call: str, n: int, kind: str) -> str:
    """Return "call K7Q2M-4TXB9, event 5 (answer)"."""
    shown = f"call {show_call_id(call)}"
    return f"{shown}, event {n} ({one_line(kind, limit=40)})" if n else shown
