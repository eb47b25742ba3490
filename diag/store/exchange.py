"""The file in which calls go from one desk to another: JSON, one event or sealed value a line.

    {"format": "diag calls", "v": 1, "events": [...], "sealed": [{"event", "field", "salt", "value"}, ...]}

Without personal data the list of sealed values is empty; the events and their hashes are the same.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from diag.errors import DiagError, RecordError, StoreError
from diag.record.graph import Event, Sealed, canonical

FORMAT = "diag calls"
FORMAT_VERSION = 1
MOST_BYTES = 500_000_000

_NOT_OURS = "Choose a file made by exporting calls."


def write_export(path: Path, events: Iterable[Event], sealed: Iterable[Sealed]) -> None:
    """Write an export; a file of that name is replaced whole or stays as it was. Raises StoreError."""
    half = path.with_name(path.name + ".part")
    try:
        half.write_text(to_text(events, sealed), encoding="utf-8", newline="\n")
        os.replace(half, path)
    except OSError as e:
        reason = e.strerror or type(e).__name__
        raise StoreError(f"The export cannot be written: {reason}.", str(path), "Choose another folder.") from None


def read_export(path: Path) -> tuple[list[Event], list[Sealed]]:
    """Return the events and sealed values of an export. Raises RecordError when it is not one, or cut short."""
    try:
        if path.stat().st_size > MOST_BYTES:
            raise RecordError("The file is too large for an export of calls.", str(path), _NOT_OURS)
        text = path.read_text(encoding="utf-8")
    except OSError as e:
        reason = e.strerror or type(e).__name__
        raise RecordError(f"The file cannot be read: {reason}.", str(path), "Check the path.") from None
    except UnicodeDecodeError:
        raise RecordError("The file is no export of calls: it is not UTF-8 text.", str(path), _NOT_OURS) from None
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
    try:
        data = json.loads(text, object_pairs_hook=_no_repeats, parse_float=_no_fraction, parse_constant=_no_fraction)
    except (json.JSONDecodeError, RecursionError, ValueError):
        raise RecordError("The file is no export of calls, or it is cut short.", "", _NOT_OURS) from None
    if not isinstance(data, Mapping) or data.get("format") != FORMAT:
        raise RecordError("The file is no export of calls.", "", _NOT_OURS)
    if data.get("v") != FORMAT_VERSION:
        raise RecordError("The export was made by a newer program.", "", "Update this program, then import it.")
    events, sealed = data.get("events"), data.get("sealed")
    if not isinstance(events, list) or not isinstance(sealed, list):
        raise RecordError("The export lacks its list of events or of sealed values.", "", _NOT_OURS)
    return [Event.from_json(e) for e in events], [_sealed(s) for s in sealed]


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
