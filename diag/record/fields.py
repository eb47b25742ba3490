"""The types of the fields of an event's body: each tells what fits and lists the single values in it."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from diag.record.rows import is_stored
from diag.text import one_line

Path = tuple[str | int, ...]

_ID = re.compile(r"[a-z][a-z0-9_]{0,79}(?:\.[a-z0-9_]{1,80})*")
_DECIMAL = re.compile(r"-?[0-9]{1,20}(?:\.[0-9]{1,20})?")
_STAMP = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}:[0-9]{2}Z")
_HASH = re.compile(r"[0-9a-f]{64}")
_CALL = re.compile(r"[0-9A-HJKMNP-TV-Z]{10}")


def is_hash(value: object) -> bool:
    """Tell whether a value is a SHA-256 in lower-case hex."""
    return isinstance(value, str) and _HASH.fullmatch(value) is not None


def is_call_id(value: object) -> bool:
    """Tell whether a value is a call id: ten characters of Crockford base 32."""
    return isinstance(value, str) and _CALL.fullmatch(value) is not None


def is_stamp(value: object) -> bool:
    """Tell whether a value is a UTC time in whole seconds, such as 2026-05-04T06:40:00Z."""
    if not isinstance(value, str) or not _STAMP.fullmatch(value):
        return False
    try:
        datetime.fromisoformat(value)
    except ValueError:
        return False
    return True


def is_decimal(value: object) -> bool:
    """Tell whether a value is a plain decimal as text: "18.5", "-3"."""
    return isinstance(value, str) and _DECIMAL.fullmatch(value) is not None


@dataclass(frozen=True)
class Leaf:
    """One single value of a body, with its place and type."""

    path: Path
    type: Type
    value: Any


@dataclass(frozen=True)
class Type:
    """What a field takes; `wants` finishes the sentence "this field must be ..."."""

    wants: str
    accepts: Callable[[Any], bool] = field(compare=False, repr=False)
    name: str = ""
    """How it is written by hand: id, measured, reading, rows, time, event, number, ..."""
    refers: str = ""
    """What an id belongs to (check, cause, ...), or the kind of the event that is named."""

    def faults(self, value: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
        """Yield (place, what it must be) for every part of a value that does not fit."""
        if not self.accepts(value):
            yield path, f"must be {self.wants}"

    def leaves(self, value: Any, path: Path = ()) -> Iterator[Leaf]:
        """Yield the single values in it."""
        yield Leaf(path, self, value)


@dataclass(frozen=True)
class ListOf(Type):
    """A list of values of one type."""

    inner: Type = field(kw_only=True)

    def faults(self, value: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
        if not isinstance(value, list):
            yield path, "must be a list"
            return
        for i, item in enumerate(value):
            yield from self.inner.faults(item, (*path, i))

    def leaves(self, value: Any, path: Path = ()) -> Iterator[Leaf]:
        for i, item in enumerate(value):
            yield from self.inner.leaves(item, (*path, i))


@dataclass(frozen=True)
class MapOf(Type):
    """A mapping from short names or row numbers to values of one type."""

    inner: Type = field(kw_only=True)
    key: Type = field(kw_only=True)

    def faults(self, value: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
        if not isinstance(value, Mapping):
            yield path, "must be a mapping"
            return
        for key, item in value.items():
            yield from self.key.faults(key, (*path, str(key)))
            yield from self.inner.faults(item, (*path, str(key)))

    def leaves(self, value: Any, path: Path = ()) -> Iterator[Leaf]:
        for key, item in value.items():
            yield Leaf((*path, key), self.key, key)
            yield from self.inner.leaves(item, (*path, key))


@dataclass(frozen=True)
class RecordOf(Type):
    """A mapping with named fields. `short` is the field meant when a single value is written by hand."""

    fields: Mapping[str, Type] = field(kw_only=True)
    required: tuple[str, ...] = ()
    short: str = ""
    defaults: Mapping[str, Any] = field(default_factory=dict)

    def faults(self, value: Any, path: Path = ()) -> Iterator[tuple[Path, str]]:
        if not isinstance(value, Mapping):
            yield path, "must be a mapping"
            return
        for name in self.required:
            if name not in value:
                yield path, f"needs the field {name}"
        for name, item in value.items():
            if name in self.fields:
                yield from self.fields[name].faults(item, (*path, name))
            else:
                yield (*path, name), f"is not a field here (known: {', '.join(self.fields) or 'none'})"

    def leaves(self, value: Any, path: Path = ()) -> Iterator[Leaf]:
        for name, item in value.items():
            yield from self.fields[name].leaves(item, (*path, name))


def word(*words: str) -> Type:
    return Type(f"one of {', '.join(words)}", lambda v: isinstance(v, str) and v in words, "word")


def whole(low: int, high: int) -> Type:
    wants = f"a whole number from {low} to {high}"
    return Type(wants, lambda v: type(v) is int and low <= v <= high, "whole")


def ident(refers: str = "") -> Type:
    wants = "a name of small letters, figures and _"
    return Type(wants, lambda v: isinstance(v, str) and _ID.fullmatch(v) is not None, "id", refers)


def event(*kinds: str) -> Type:
    return Type("the id of an earlier event", is_hash, "event", " ".join(kinds))


def list_of(inner: Type) -> ListOf:
    return ListOf("a list", lambda v: True, "list", inner=inner)


def map_of(key: Type, inner: Type) -> MapOf:
    return MapOf("a mapping", lambda v: True, "map", inner=inner, key=key)


def record(fields: Mapping[str, Type], required: str = "", short: str = "",
            defaults: Mapping[str, Any] | None = None) -> RecordOf:
    return RecordOf("a mapping", lambda v: True, "record", fields=fields, required=tuple(required.split()),
                    short=short, defaults=defaults or {})


def is_label(value: object) -> bool:
    return isinstance(value, str) and 0 < len(value) <= 100 and value == one_line(value)


def _is_measured(value: object) -> bool:
    if not isinstance(value, Mapping) or set(value) != {"value", "unit"}:
        return False
    return is_decimal(value["value"]) and (value["unit"] == "" or is_label(value["unit"]))


def _is_count(value: object) -> bool:
    if not isinstance(value, Mapping) or set(value) != {"count", "of"}:
        return False
    count, of = value["count"], value["of"]
    return type(count) is int and type(of) is int and 0 <= count <= of


def _is_plain(value: object) -> bool:
    """Tell whether a value is JSON without floats and without long text."""
    if isinstance(value, list):
        return all(map(_is_plain, value))
    if isinstance(value, Mapping):
        return all(isinstance(k, str) and _is_plain(v) for k, v in value.items())
    if isinstance(value, str):
        return len(value) <= 200
    return value is None or type(value) in (int, bool)


FLAG = Type("true or false", lambda v: type(v) is bool, "flag")
LABEL = Type("a short name on one line (at most 100 characters)", is_label, "label")
TIME = Type("a time in UTC such as 2026-05-04T06:40:00Z", is_stamp, "time")
NUMBER = Type('a decimal as text, such as "18.5"', is_decimal, "number")
ROWS = Type('"all" or a sorted list of row numbers', is_stored, "rows")
CALL = Type("a call id of ten characters", is_call_id, "call")
SHA = Type("a SHA-256 in hex", is_hash, "label")
DATA = Type("plain data without fractions and without long text", _is_plain, "data")
MEASURED = Type('a measured value {value: "18.5", unit: "inH2O"}', _is_measured, "measured")
READING = Type("a measured value {value, unit}, a count {count, of} or a whole number",
               lambda v: _is_measured(v) or _is_count(v) or (type(v) is int and v >= 0), "reading")
SETTING = Type("a measured value {value, unit} or a short name",
               lambda v: _is_measured(v) or is_label(v), "setting")
PLACE = Type('a row number or "spare"',
             lambda v: v == "spare" or (type(v) is int and 1 <= v <= 200), "place")
AXIS_VALUE = Type("the name of a value, or a list of them",
                  lambda v: all(isinstance(x, str) and _ID.fullmatch(x) for x in v)
                  if isinstance(v, list) and v else isinstance(v, str) and bool(_ID.fullmatch(v)),
                  "axis_value")
