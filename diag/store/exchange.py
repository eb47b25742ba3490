"""The file in which calls go from one desk to another: JSON, one event or sealed value a line.

    {"format": "diag calls", "v": 1, "events": [...], "sealed": [{"event", "field", "salt", "value"}, ...]}

Without personal data the list of sealed values is empty; the events and their hashes are the same.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from diag.errors import DiagError, RecordError, StoreError
from diag.files import reason_of, write_whole
from diag.record.graph import KINDS, VERSION, Event, Sealed, canonical

FORMAT = "diag calls"
FORMAT_VERSION = 1
MOST_BYTES = 60_000_000

_NOT_OURS = "Choose a file made by exporting calls."


def write_export(path: Path, events: Iterable[Event], sealed: Iterable[Sealed]) -> None:
    """Write an export for its owner's eyes; a file of that name is replaced whole or stays as it was."""
    try:
        write_whole(path.expanduser(), to_text(events, sealed).encode())
    except (OSError, ValueError, RuntimeError) as e:
        raise StoreError(f"The export cannot be written: {reason_of(e)}.", str(path) or "FILE",
                         "Name a file in a folder that is there.") from None


def read_export(path: Path) -> tuple[list[Event], list[Sealed]]:
    """Return the events and sealed values of an export. Raises RecordError when it is not one, or cut short."""
    try:
        with path.expanduser().open("rb") as file:
            raw = file.read(MOST_BYTES + 1)
        text = raw.decode()
    except (OSError, ValueError, RuntimeError) as e:
        what = "it is not UTF-8 text" if isinstance(e, UnicodeDecodeError) else reason_of(e)
        raise RecordError(f"The file cannot be read as an export of calls: {what}.", str(path), _NOT_OURS) from None
    if len(raw) > MOST_BYTES:
        raise RecordError("The file is too large for an export of calls.", str(path),
                          "Export fewer calls to one file.")
    try:
        return from_text(text)
    except DiagError as e:
        raise e.at(str(path)) from None


def to_text(events: Iterable[Event], sealed: Iterable[Sealed]) -> str:
    """Return the text of an export."""
    told = [canonical(e.as_json()).decode() for e in events]
    kept = [_one(s) for s in sealed]
    lists = ['"events": [', ",\n".join(told), '],\n"sealed": [', ",\n".join(kept), "]}"]
    return f'{{"format": "{FORMAT}", "v": {FORMAT_VERSION},\n' + "\n".join(part for part in lists if part) + "\n"


def _one(value: Sealed) -> str:
    told = {"event": value.event, "field": value.field, "salt": value.salt.hex(), "value": value.value}
    return canonical(told).decode()


def from_text(text: str) -> tuple[list[Event], list[Sealed]]:
    """Return the events and sealed values in the text of an export. Raises RecordError."""
    head, events, sealed = _lines(text) or _whole(text)
    if head.get("format") != FORMAT:
        raise RecordError("The file is no export of calls.", "", _NOT_OURS)
    if head.get("v") != FORMAT_VERSION:
        raise RecordError("The export was made by a newer program.", "", "Update this program, then import it.")
    if not isinstance(events, list) or not isinstance(sealed, list):
        raise RecordError("The export lacks its list of events or of sealed values.", "", _NOT_OURS)
    return [Event.from_json(e) for e in events], [_sealed(s) for s in sealed]


def _lines(text: str) -> tuple[dict[str, Any], list[Any], list[Any]] | None:
    """Read the form in which exports are written, one entry a line; None for another layout of the same JSON."""
    first, _, rest = text.partition(',\n"events": [\n')
    events, mark, last = rest.partition('\n],\n"sealed": [\n')
    sealed, end, after = f"\n{last}".rpartition("\n]}\n")
    if not mark or not end or after:
        return None
    lists = [[_parsed(line.removesuffix(",")) for line in part.split("\n") if line] for part in (events, sealed)]
    return _parsed(first + "}"), lists[0], lists[1]


def _whole(text: str) -> tuple[dict[str, Any], Any, Any]:
    data = _parsed(text)
    if not isinstance(data, dict):
        raise RecordError("The file is no export of calls.", "", _NOT_OURS)
    return data, data.get("events"), data.get("sealed")


def _parsed(text: str) -> Any:
    try:
        return json.loads(text, object_pairs_hook=_no_repeats, parse_float=_no_fraction, parse_constant=_no_fraction)
    except (RecursionError, ValueError):
        raise RecordError("The file is no export of calls, or it is cut short.", "", _NOT_OURS) from None


def schema() -> dict[str, Any]:
    """Return the JSON schema of an export, as the kinds of events declare their fields."""
    text, whole = {"type": "string"}, {"type": "integer", "minimum": 1}
    common = {**dict.fromkeys(("call", "at", "desk", "by", "kind", "id"), text), "v": whole, "n": whole,
              "parents": {"type": "array", "items": text}, "body": {"type": "object"},
              "sealed": {"type": "object", "additionalProperties": text}}
    known: list[Any] = []
    shared: dict[str, Any] = {}
    for name, kind in KINDS.items():
        body = kind.model_json_schema()
        shared |= body.pop("$defs", {})
        known.append({"if": {"properties": {"kind": {"const": name}, "v": {"maximum": VERSION}}},
                      "then": {"properties": {"body": body}}})
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema", "title": "Exported calls", "type": "object",
        "properties": {
            "format": {"const": FORMAT}, "v": {"const": FORMAT_VERSION},
            "events": {"type": "array", "items": {"type": "object", "properties": common, "required": list(common),
                                                  "additionalProperties": False, "allOf": known}},
            "sealed": {"type": "array", "items": {"type": "object", "properties": dict.fromkeys(
                ("event", "field", "salt", "value"), text), "required": ["event", "field", "salt", "value"]}}},
        "required": ["format", "v", "events", "sealed"], "$defs": shared,
    }


def _no_repeats(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("a key is repeated")
    return made


def _no_fraction(text: str) -> Any:
    raise ValueError("a record holds no fractions")


def _sealed(data: Any) -> Sealed:
    fields = {"event", "field", "salt", "value"}
    if isinstance(data, Mapping) and set(data) == fields and all(isinstance(v, str) for v in data.values()):
        try:
            return Sealed(data["event"], data["field"], bytes.fromhex(data["salt"]), data["value"])
        except ValueError:
            pass
    raise RecordError("An entry of the export is no sealed value.", "", _NOT_OURS)
