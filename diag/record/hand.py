"""Single values as people write them in a transcript, and back: "18.5 inH2O", "3, 7-9", "+3min", step names."""

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
from diag.figures.rows import Rows, parse_rows, show_rows
from diag.record.ids import is_stamp, stamp
from diag.text import one_line
from diag.units import find_unit

_NUMBER = re.compile(r"-?[0-9]+(?:[.,][0-9]+)?")
_SPAN = re.compile(r"([+-])([0-9]{1,7}) ?(s|min|h|d)")
_SECONDS = {"s": 1, "min": 60, "h": 3600, "d": 86400}


@dataclass
class Naming:
    """What a written transcript needs to know of the call."""

    names: Mapping[str, str]
    """Event id -> name of its step."""
    rows: int | None = None
    """Rows of the machine, as told so far."""


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


def rows_of(value: Any, context: Context) -> Any:
    """Return rows as stored. Raises UsageError."""
    if isinstance(value, bool) or not isinstance(value, str | int):
        return value
    rows = parse_rows(str(value), context.rows, context.sections)
    return rows if isinstance(rows, str) else list(rows)


def time_of(value: Any, context: Context) -> Any:
    """Return a time as stored. Raises UsageError."""
    return when(value, context.at) if isinstance(value, str) else value


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


def event_of(value: Any, context: Context) -> Any:
    """Return the id of the step that is named. Raises UsageError."""
    if not isinstance(value, str) or value in context.names:
        return context.names.get(value, value)
    known = ", ".join(context.names) or "none yet"
    raise UsageError(f'No earlier step is called "{one_line(value, limit=40)}".', "",
                     f"Name the step meant with `as:`. Named so far: {known}.")


def call_of(value: Any, _: Context) -> Any:
    """Return a call id without its hyphen."""
    return value.replace("-", "").upper() if isinstance(value, str) else value


def text_of(value: Any, _: Context) -> Any:
    """Return a plain number as the text it was typed as."""
    return str(value) if isinstance(value, Decimal) or type(value) is int else value


def number_of(value: Any, context: Context) -> Any:
    """Return a decimal as text with a point. Raises UsageError."""
    said = text_of(value, context)
    return figures.plain(said) if isinstance(said, str) and _NUMBER.fullmatch(said) else said


def data_of(value: Any, context: Context) -> Any:
    """Return plain data with its decimals as text."""
    if isinstance(value, list):
        return [data_of(v, context) for v in value]
    if isinstance(value, Mapping):
        return {k: data_of(v, context) for k, v in value.items()}
    return str(value) if isinstance(value, Decimal) else value


def series_of(value: Any, context: Context) -> Any:
    """Return numbers with their unit, from a mapping or from "6.5, 6.4, 13.1 in". Raises UsageError."""
    if isinstance(value, Mapping):
        return {k: _all(number_of, v, context) if k in ("values", "points") else _unit(v) for k, v in value.items()}
    if not isinstance(value, str):
        return value
    values = list(figures.read(value, Asked("position", kind="list")).sure().values.values())
    if len({v.unit for v in values}) > 1:
        raise UsageError("This list has several units.", "", "Write 6.5, 6.4, 13.1 in.")
    return {"unit": values[0].unit, "values": [v.value for v in values]}


def _all(read: Any, value: Any, context: Context) -> Any:
    return [_all(read, v, context) for v in value] if isinstance(value, list) else read(value, context)


def measured_of(value: Any, _: Context) -> Any:
    """Return a measured value as stored. Raises UsageError."""
    return _read("measured", value)


def reading_of(value: Any, _: Context) -> Any:
    """Return a measured value, a count or a whole number as stored. Raises UsageError."""
    return _read("reading", value)


def setting_of(value: Any, _: Context) -> Any:
    """Return a measured value or a short name as stored. Raises UsageError."""
    return _read("setting", value)


def readings_of(value: Any, context: Context) -> Any:
    """Return readings by row or name, from a mapping (with a `unit` for those that have none) or as one types them."""
    if isinstance(value, str):
        return {place: v.as_json() for place, v in figures.by_row(value, context.rows).values.items()}
    if not isinstance(value, Mapping) or "unit" not in value:
        return value
    unit = f" {value['unit']}"
    return {key: f"{item}{unit}" if _NUMBER.fullmatch(one_line(str(item))) else item
            for key, item in value.items() if key != "unit"}


def _read(name: str, value: Any) -> Any:
    if isinstance(value, Mapping):
        if set(value) == {"word"}:
            return value["word"]
        return {k: _unit(v) if k == "unit" else number_of(v, Context("")) if k == "value" else v
                for k, v in value.items()}
    text = one_line(str(value)) if isinstance(value, str | int | Decimal) else ""
    if isinstance(value, bool) or not text:
        return value
    if name == "reading" and (share := figures.k_of_n(text)):
        return share
    if (found := figures.setting(text)) is not None:
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


# ------------------------------------------------------------------------------------------ writing


def write_rows(value: Any, naming: Naming) -> Any:
    """Return rows as one types them; one by one where the machine was told to have fewer."""
    most = 0 if isinstance(value, str) else value[-1]
    return show_rows(value) if naming.rows is None or most <= naming.rows else value


def write_event(value: Any, naming: Naming) -> Any:
    """Return the name of a step."""
    return naming.names[value]


def write_number(value: Any, _: Naming) -> Any:
    """Return a number as it stands in YAML, where that gives the same text again."""
    number = Decimal(value)
    return number if str(number) == value != "-0" and len(value) < 20 else value


def write_series(value: Any, naming: Naming) -> Any:
    """Return numbers with their unit."""
    return {k: _written(v, naming) if isinstance(v, list) else v for k, v in value.items()}


def _written(value: Any, naming: Naming) -> Any:
    return [_written(v, naming) for v in value] if isinstance(value, list) else write_number(value, naming)


def write_reading(value: Any, _: Naming) -> Any:
    """Return the short form of a reading, where reading it gives the same value again."""
    return _short("reading", value)


def write_setting(value: Any, _: Naming) -> Any:
    """Return the short form of a setting, where reading it gives the same value again."""
    return _short("setting", value)


def _short(name: str, value: Any) -> Any:
    if isinstance(value, Mapping):
        short = " of ".join(map(str, value.values())) if "of" in value else f"{value['value']} {value['unit']}"
        return short if _reads_as(name, short, value) else dict(value)
    return value if _reads_as(name, value, value) else {"word": value}


def _reads_as(name: str, short: Any, value: Any) -> bool:
    try:
        return bool(_read(name, short) == value)
    except DiagError:
        return False
