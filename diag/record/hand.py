"""Field values as people write them in a transcript, and back: "18.5 inH2O", "3, 7-9", "+3min", step names."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from diag import figures
from diag.errors import DiagError, UsageError
from diag.figures import Asked
from diag.record.event import stamp
from diag.record.fields import ListOf, MapOf, RecordOf, Type, is_stamp
from diag.record.kinds import SERIES
from diag.record.rows import Rows, parse_rows, show_rows
from diag.text import one_line
from diag.units import find_unit

_NUMBER = re.compile(r"-?[0-9]+(?:[.,][0-9]+)?")
_SPAN = re.compile(r"([+-])([0-9]{1,7}) ?(s|min|h|d)")
_SECONDS = {"s": 1, "min": 60, "h": 3600, "d": 86400}


class HandError(Exception):
    """A value that cannot be read, with its place inside the field."""

    def __init__(self, path: tuple[str | int, ...], error: DiagError) -> None:
        super().__init__(path, error)
        self.path = path
        self.error = error


@dataclass
class Context:
    """What the earlier steps of a transcript settle for the later ones."""

    at: str
    """Time of this step."""
    names: dict[str, str] = field(default_factory=dict)
    """Name of a step -> its event id."""
    rows: int | None = None
    sections: dict[str, Rows] = field(default_factory=dict)


# ------------------------------------------------------------------------------------------ reading


def stored(kind: Type, value: Any, context: Context, path: tuple[str | int, ...] = (), unit: str = "") -> Any:
    """Return the stored form of a value written by hand; what fits nothing is returned as it is.

    Raises HandError for what was meant for the field but cannot be read.
    """
    if isinstance(kind, ListOf):
        return _stored_list(kind, value, context, path)
    if isinstance(kind, MapOf):
        return _stored_map(kind, value, context, path)
    if isinstance(kind, RecordOf):
        return _stored_record(kind, value, context, path)
    try:
        return _stored_leaf(kind, value, context, unit)
    except DiagError as error:
        raise HandError(path, error) from None


def _stored_list(kind: ListOf, value: Any, context: Context, path: tuple[str | int, ...]) -> Any:
    inner = kind.inner
    if isinstance(value, Mapping) and isinstance(inner, RecordOf) and inner.required == ("name", "rows"):
        value = [{"name": name, "rows": rows} for name, rows in value.items()]
    items = value if isinstance(value, list) else [value]
    return [stored(inner, item, context, (*path, i)) for i, item in enumerate(items)]


def _stored_map(kind: MapOf, value: Any, context: Context, path: tuple[str | int, ...]) -> Any:
    if isinstance(value, str) and kind.inner.name == "reading":
        return _by_row(value, context, path)
    if not isinstance(value, Mapping):
        return value
    unit = value.get("unit", "") if kind.inner.name == "reading" else ""
    return {key: stored(kind.inner, item, context, (*path, key), str(unit))
            for key, item in value.items() if not (unit and key == "unit")}


def _stored_record(kind: RecordOf, value: Any, context: Context, path: tuple[str | int, ...]) -> Any:
    if kind is SERIES and isinstance(value, str):
        value = _series(value, path)
    if not isinstance(value, Mapping):
        if not kind.short:
            return value
        value = {kind.short: value}
    made = {key: stored(kind.fields[key], item, context, (*path, key)) if key in kind.fields else item
            for key, item in value.items()}
    return {**kind.defaults, **made}


def _series(text: str, path: tuple[str | int, ...]) -> dict[str, Any]:
    """Read "6.5, 6.4, 13.1 in"."""
    try:
        values = list(figures.read(text, Asked("position", kind="list")).sure().values.values())
        if len({v.unit for v in values}) > 1:
            raise UsageError("This list has several units.", "", "Write 6.5, 6.4, 13.1 in.")
    except DiagError as error:
        raise HandError(path, error) from None
    return {"unit": values[0].unit, "values": [v.value for v in values]}


def _by_row(text: str, context: Context, path: tuple[str | int, ...]) -> dict[str, Any]:
    """Read "6 18.2, 7 11, 8 18 inH2O"."""
    try:
        return {place: v.as_json() for place, v in figures.by_row(text, context.rows).values.items()}
    except DiagError as error:
        raise HandError(path, error) from None


def _stored_leaf(kind: Type, value: Any, context: Context, unit: str) -> Any:
    if kind.name in ("measured", "reading", "setting"):
        return _reading(kind.name, value, unit)
    if kind.name == "rows" and isinstance(value, str | int) and not isinstance(value, bool):
        rows = parse_rows(str(value), context.rows, context.sections)
        return rows if isinstance(rows, str) else list(rows)
    if kind.name == "time" and isinstance(value, str):
        return when(value, context.at)
    if kind.name == "event" and isinstance(value, str):
        return _named(value, context)
    if kind.name == "call" and isinstance(value, str):
        return value.replace("-", "").upper()
    if kind.name in ("number", "label", "data"):
        return _texts(value, kind.name)
    return value


def _texts(value: Any, name: str) -> Any:
    """Return plain numbers as the text they were typed as, decimals within data too."""
    if isinstance(value, Decimal) or (name != "data" and type(value) is int):
        return str(value)
    if name == "number" and isinstance(value, str):
        return figures.plain(value) if _NUMBER.fullmatch(value) else value
    if name == "data" and isinstance(value, list):
        return [_texts(v, name) for v in value]
    if name == "data" and isinstance(value, Mapping):
        return {k: _texts(v, name) for k, v in value.items()}
    return value


def _reading(name: str, value: Any, unit: str) -> Any:
    if isinstance(value, Mapping):
        if set(value) == {"word"}:
            return value["word"]
        return {k: _unit(v) if k == "unit" else _texts(v, "data" if k in ("count", "of") else "number")
                for k, v in value.items()}
    text = one_line(str(value)) if isinstance(value, str | int | Decimal) else ""
    if isinstance(value, bool) or not text:
        return value
    if name == "reading" and (share := figures.k_of_n(text)):
        return share
    found = figures.setting(text) or (figures.setting(f"{text} {unit}") if unit else None)
    if found is not None:
        return found.as_json()
    if name == "reading" and type(value) is int:
        return value
    if name == "setting":
        return text
    said = text.lstrip("+-0123456789., ")
    if said not in ("", text):
        find_unit(said)
    raise UsageError(f'"{text[:60]}" has no number with a unit.', "", "Write 18.5 inH2O.")


def _unit(text: Any) -> Any:
    """Return the canonical name of a unit; none at all is a plain number's."""
    return find_unit(text).name if isinstance(text, str) and text else text


def when(text: str, since: str) -> str:
    """Return a time: UTC as it stands, or "+3min" and "-2h" counted from another. Raises UsageError."""
    said = one_line(text, limit=40)
    if is_stamp(said):
        return said
    found = _SPAN.fullmatch(said)
    if not found:
        raise UsageError(f'"{said}" is no time.', "", "Write +3min, -2h, +30s, +1d or 2026-05-04T06:40:00Z.")
    seconds = int(found[2]) * _SECONDS[found[3]] * (-1 if found[1] == "-" else 1)
    try:
        return stamp(datetime.fromisoformat(since) + timedelta(seconds=seconds))
    except OverflowError:
        raise UsageError(f'"{said}" leads out of the calendar.', "", "Write a shorter time.") from None


def _named(name: str, context: Context) -> str:
    if name not in context.names:
        known = ", ".join(context.names) or "none yet"
        raise UsageError(f'No earlier step is called "{one_line(name, limit=40)}".', "",
                         f"Name the step meant with `as:`. Named so far: {known}.")
    return context.names[name]


# ------------------------------------------------------------------------------------------ writing


def written(kind: Type, value: Any, names: Mapping[str, str]) -> Any:
    """Return a stored value as one would write it by hand; `names` gives the step of an event id."""
    if isinstance(kind, ListOf):
        return [written(kind.inner, item, names) for item in value]
    if isinstance(kind, MapOf):
        return {key: written(kind.inner, item, names) for key, item in value.items()}
    if isinstance(kind, RecordOf):
        if kind.short and {**kind.defaults, kind.short: value[kind.short]} == value:
            return written(kind.fields[kind.short], value[kind.short], names)
        return {key: written(kind.fields[key], item, names) for key, item in value.items()}
    if kind.name == "rows":
        return show_rows(value)
    if kind.name == "event":
        return names[value]
    if kind.name == "number":
        number = Decimal(value)
        return number if str(number) == value != "-0" and len(value) < 20 else value
    if kind.name in ("measured", "reading", "setting"):
        return _written_reading(kind.name, value)
    return value


def _written_reading(name: str, value: Any) -> Any:
    """Return the short form, where reading it gives the same value again."""
    if isinstance(value, Mapping):
        short = " of ".join(map(str, value.values())) if "of" in value else f"{value['value']} {value['unit']}"
        return short if _reads_as(name, short, value) else dict(value)
    return value if _reads_as(name, value, value) else {"word": value}


def _reads_as(name: str, short: Any, value: Any) -> bool:
    try:
        return bool(_reading(name, short, "") == value)
    except DiagError:
        return False
