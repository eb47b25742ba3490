"""Types of the fields of an event's body: what fits, how a transcript writes it, what is sealed, its JSON schema."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Annotated, Any, get_args, get_origin

from pydantic import BaseModel, ValidationInfo
from pydantic_core import PydanticCustomError, core_schema

from diag.errors import DiagError
from diag.figures.rows import ALL, from_stored, is_stored, row_of, to_stored
from diag.record import hand
from diag.record.hand import Context, Naming
from diag.record.ids import is_call_id, is_decimal, is_hash, is_id, is_label, is_stamp
from diag.unit_table import UNITS

Path = tuple[str | int, ...]
Schema = Mapping[str, Any]


def _same(value: Any, *_: Any) -> Any:
    return value


def _never(_: Any) -> bool:
    return False


@dataclass(frozen=True, eq=False)
class Type:
    """What a field takes; `wants` finishes the sentence "this field must be ..."."""

    wants: str
    fits: Callable[[Any], bool]
    """Tells whether a stored value is one."""
    schema: Schema
    read: Callable[[Any, Context], Any] = _same
    """From a transcript to the stored form; what was meant for the field but cannot be read raises DiagError."""
    write: Callable[[Any, Naming], Any] = _same
    """From the stored form to a transcript."""
    hold: Callable[[Any], Any] = _same
    """From the stored form to the one worked with."""
    keep: Callable[[Any], Any] = _same
    """From the one worked with to the stored form."""
    free: Callable[[Any], bool] = _never
    """Tells whether a value is free text, which is sealed."""
    refers: str = ""
    """What an id belongs to (check, cause, ...), or the kind of the event that is named."""
    is_event: bool = False
    """True for the id of an earlier event."""

    def __get_pydantic_core_schema__(self, source: Any, handler: Any) -> core_schema.CoreSchema:
        giving = core_schema.plain_serializer_function_ser_schema(self._give, info_arg=True)
        return core_schema.with_info_plain_validator_function(self._take, serialization=giving)

    def __get_pydantic_json_schema__(self, schema: Any, handler: Any) -> dict[str, Any]:
        return dict(self.schema)

    def _take(self, value: Any, info: ValidationInfo) -> Any:
        if isinstance(info.context, Context):
            try:
                value = self.read(value, info.context)
            except DiagError as e:
                raise PydanticCustomError("broken", "{what}", {"what": e.what, "remedy": e.remedy}) from None
        if not self.fits(value):
            raise PydanticCustomError("unfit", "must be {wants}", {"wants": self.wants})
        return self.hold(value)

    def _give(self, value: Any, info: Any) -> Any:
        if value is None:
            return None
        stored = self.keep(value)
        return stored if info.context is None else self.write(stored, info.context)


@dataclass(frozen=True)
class Leaf:
    """One single value of a body, with its place and type."""

    path: Path
    type: Type
    value: Any


def type_of(info: Any) -> Type | None:
    """Return the type of a field that holds a single value."""
    return next((m for m in info.metadata if isinstance(m, Type)), None)


def leaves(kind: type[BaseModel], value: Any, path: Path = ()) -> Iterator[Leaf]:
    """Yield the single values in the stored form of a body, as far as it has the form of its kind."""
    if not isinstance(value, Mapping):
        return
    for name, info in kind.model_fields.items():
        name = info.alias or name
        if name in value:
            single = type_of(info)
            if single is not None:
                yield Leaf((*path, name), single, value[name])
            else:
                yield from _inside(info.annotation, value[name], (*path, name))


def _inside(form: Any, value: Any, path: Path) -> Iterator[Leaf]:
    if isinstance(form, UnionType):
        form = next(a for a in get_args(form) if a is not NoneType)
    origin, args = get_origin(form), get_args(form)
    if origin is Annotated:
        yield Leaf(path, next(a for a in args if isinstance(a, Type)), value)
    elif origin is tuple and isinstance(value, list):
        inner = args[:1] * len(value) if args[-1] is ... else args
        for i, (form, item) in enumerate(zip(inner, value, strict=False)):
            yield from _inside(form, item, (*path, i))
    elif origin is dict and isinstance(value, Mapping):
        for key, item in value.items():
            yield from _inside(args[0], key, (*path, key))
            yield from _inside(args[1], item, (*path, key))
    elif isinstance(form, type) and issubclass(form, BaseModel):
        yield from leaves(form, value, path)


# ------------------------------------------------------------------------------------ the single types


def _is_measured(value: object) -> bool:
    if not isinstance(value, Mapping) or set(value) != {"value", "unit"}:
        return False
    return is_decimal(value["value"]) and _is_unit(value["unit"])


def _is_unit(value: object) -> bool:
    return isinstance(value, str) and value in UNITS


def _is_count(value: object) -> bool:
    if not isinstance(value, Mapping) or set(value) != {"count", "of"}:
        return False
    count, of = value["count"], value["of"]
    return type(count) is int and type(of) is int and 0 <= count <= of


def _is_series(value: object) -> bool:
    return (isinstance(value, Mapping) and set(value) == {"unit", "values"} and _is_unit(value["unit"])
            and isinstance(value["values"], list) and all(map(is_decimal, value["values"])))


def _is_log(value: object) -> bool:
    return (isinstance(value, Mapping) and set(value) == {"time_unit", "unit", "points"}
            and _is_unit(value["time_unit"]) and _is_unit(value["unit"]) and isinstance(value["points"], list)
            and all(isinstance(p, list) and len(p) == 2 and all(map(is_decimal, p)) for p in value["points"]))


def _is_plain(value: object) -> bool:
    """Tell whether a value is JSON without floats and without long text."""
    if isinstance(value, list):
        return all(map(_is_plain, value))
    if isinstance(value, Mapping):
        return all(isinstance(k, str) and _is_plain(v) for k, v in value.items())
    if isinstance(value, str):
        return len(value) <= 200
    return value is None or type(value) in (int, bool)


def _is_axis_value(value: object) -> bool:
    return all(map(is_id, value)) if isinstance(value, list) and value else is_id(value)


def _is_place(value: object) -> bool:
    """Tell whether a value names where a reading was taken: one row ("7", "7 first") or anything but rows."""
    if not is_label(value):
        return False
    return row_of(value) is not None if value[0].isnumeric() else value != ALL


def _is_text(value: object) -> bool:
    return isinstance(value, str)


def _row_number(value: object) -> bool:
    return type(value) is int and 1 <= value <= 200


_TEXT: Schema = {"type": "string"}
_NUMBERS: Schema = {"type": "array", "items": _TEXT}


def _object(**fields: Schema) -> Schema:
    return {"type": "object", "properties": fields, "required": list(fields), "additionalProperties": False}


_MEASURED = _object(value=_TEXT, unit=_TEXT)
_COUNTED = _object(count={"type": "integer"}, of={"type": "integer"})


def word(*words: str) -> Type:
    """One of some words."""
    return Type(f"one of {', '.join(words)}", lambda v: isinstance(v, str) and v in words, {"enum": list(words)})


def whole(low: int, high: int) -> Type:
    """A whole number between two."""
    return Type(f"a whole number from {low} to {high}", lambda v: type(v) is int and low <= v <= high,
                {"type": "integer", "minimum": low, "maximum": high})


def ident(refers: str = "") -> Type:
    """An id, of the knowledge where `refers` names its sort."""
    return Type("a name of small letters, figures and _", is_id, _TEXT, refers=refers)


def event(kind: str = "event") -> Type:
    """The id of an earlier event, of one kind or any."""
    return Type("the id of an earlier event", is_hash, _TEXT, hand.event_of, write=hand.write_event, refers=kind,
                is_event=True)


FLAG = Type("true or false", lambda v: type(v) is bool, {"type": "boolean"})
NAME = ident()
LABEL = Type("a short name on one line (at most 100 characters)", is_label, {**_TEXT, "maxLength": 100}, hand.text_of)
FREE = Type(LABEL.wants, is_label, LABEL.schema, hand.text_of, free=_is_text)
READ_AT = Type("one row, or the name of a place", _is_place, LABEL.schema)
TEXT = Type("text", _is_text, _TEXT, hand.text_of, free=_is_text)
TIME = Type("a time in UTC such as 2026-05-04T06:40:00Z", is_stamp, {**_TEXT, "format": "date-time"}, hand.time_of)
NUMBER = Type('a decimal as text, such as "18.5"', is_decimal, _TEXT, hand.number_of, write=hand.write_number)
ROWS = Type('"all" or a sorted list of row numbers', is_stored,
            {"anyOf": [{"const": "all"}, {"type": "array", "items": {"type": "integer"}}]},
            hand.rows_of, write=hand.write_rows, hold=from_stored, keep=to_stored)
CALL = Type("a call id of ten characters", is_call_id, _TEXT, hand.call_of)
SHA = Type("a SHA-256 in hex", is_hash, _TEXT, hand.text_of)
PUBLIC_KEY = Type("an Ed25519 public key in hex", is_hash, _TEXT, hand.text_of)
SIGNATURE = Type("an Ed25519 signature in hex", lambda v: isinstance(v, str) and is_hash(v[:64]) and is_hash(v[64:]),
                 _TEXT, hand.text_of)
DATA = Type("plain data without fractions and without long text", _is_plain, {}, hand.data_of)
MEASURED = Type('a measured value {value: "18.5", unit: "inH2O"}', _is_measured, _MEASURED, hand.measured_of,
                write=hand.write_reading)
READING = Type("a measured value {value, unit}, a count {count, of} or a whole number",
               lambda v: _is_measured(v) or _is_count(v) or (type(v) is int and v >= 0),
               {"anyOf": [_MEASURED, _COUNTED, {"type": "integer"}]}, hand.reading_of, write=hand.write_reading)
SETTING = Type("a measured value {value, unit} or a short name", lambda v: _is_measured(v) or is_label(v),
               {"anyOf": [_MEASURED, LABEL.schema]}, hand.setting_of, write=hand.write_setting, free=_is_text)
SERIES = Type('numbers with their unit {unit: "in", values: [...]}', _is_series, _object(unit=_TEXT, values=_NUMBERS),
              hand.series_of, write=hand.write_series)
LOG = Type("a log {time_unit, unit, points: [[time, value], ...]}", _is_log,
           _object(time_unit=_TEXT, unit=_TEXT, points={"type": "array", "items": _NUMBERS}),
           hand.series_of, write=hand.write_series)
PLACE = Type('a row number or "spare"', lambda v: v == "spare" or _row_number(v),
             {"anyOf": [{"const": "spare"}, {"type": "integer"}]})
AXIS_VALUE = Type("the name of a value, or a list of them", _is_axis_value, {"anyOf": [_TEXT, _NUMBERS]},
                  refers="axis_value")
