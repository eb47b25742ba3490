"""The file in which calls go from one desk to another: JSON, one event or sealed value a line.

    {"format": "diag calls", "v": 1, "events": [...], "sealed": [{"event", "field", "salt", "value"}, ...]}

Without personal data the list of sealed values is empty; the events and their hashes are the same.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Self

from diag.errors import DiagError, RecordError, StoreError
from diag.files import reason_of, write_whole
from diag.record.graph import KINDS, VERSION, Event, Sealed, canonical

FORMAT = "diag calls"
FORMAT_VERSION = 1
MOST_BYTES = 10_000_000
"""Bytes of an export in another layout than it is written in here; in that one there is no limit."""
_LONGEST = 5_000_000
EventsOf = Callable[[str], Iterable[Event]]
SealedOf = Callable[[str], Iterable[Sealed]]
_Entry = int | dict[str, Any]
"""Where an entry stands in the file, or what it says."""

_NOT_OURS = "Choose a file made by exporting calls."


def write_export(path: Path, calls: Sequence[str], events_of: EventsOf, sealed_of: SealedOf) -> None:
    """Write an export for its owner's eyes, call by call; a file of that name is replaced whole or stays as it was."""
    try:
        write_whole(path.expanduser(), (line.encode() for line in lines(calls, events_of, sealed_of)))
    except (OSError, ValueError, RuntimeError) as e:
        raise StoreError(f"The export cannot be written: {reason_of(e)}.", str(path) or "FILE",
                         "Name a file in a folder that is there.") from None


def lines(calls: Sequence[str], events_of: EventsOf, sealed_of: SealedOf) -> Iterator[str]:
    """Yield the text of an export, piece by piece."""
    yield f'{{"format": "{FORMAT}", "v": {FORMAT_VERSION},\n"events": [\n'
    yield from _listed(canonical(e.as_json()).decode() for call in calls for e in events_of(call))
    yield '],\n"sealed": [\n'
    yield from _listed(_one(s) for call in calls for s in sealed_of(call))
    yield "]}\n"


def _listed(entries: Iterable[str]) -> Iterator[str]:
    between = ""
    for entry in entries:
        yield between + entry
        between = ",\n"
    yield "\n" if between else ""


def _one(value: Sealed) -> str:
    told = {"event": value.event, "field": value.field, "salt": value.salt.hex(), "value": value.value}
    return canonical(told).decode()


class Export:
    """An export in its file, looked through once and then read call by call, so that its size costs no memory.

    Raises RecordError when it is not one, or cut short.
    """

    def __init__(self, path: Path) -> None:
        self._path = path
        self._events: dict[str, list[_Entry]] = {}
        self._sealed: dict[str, list[_Entry]] = {}
        try:
            self._file = path.expanduser().open("rb")
            if not self._by_lines():
                self._file.seek(0)
                self._whole()
        except (OSError, ValueError, RuntimeError, DiagError) as e:
            if hasattr(self, "_file"):
                self._file.close()
            if isinstance(e, DiagError):
                raise e.at(str(path)) from None
            what = "it is not UTF-8 text" if isinstance(e, UnicodeDecodeError) else reason_of(e)
            raise RecordError(f"The file cannot be read as an export of calls: {what}.", str(path), _NOT_OURS) from None

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._file.close()

    def calls(self) -> Iterator[tuple[list[Event], list[Sealed]]]:
        """Yield the events and sealed values of one call after the other."""
        for entries in self._events.values():
            events = [Event.from_json(self._entry(e)) for e in entries]
            yield events, [_sealed(self._entry(s)) for e in events for s in self._sealed.get(e.id, ())]

    def _entry(self, entry: _Entry) -> Any:
        if not isinstance(entry, int):
            return entry
        self._file.seek(entry)
        return _line(self._file.readline())

    def _by_lines(self) -> bool:
        """Note where each entry stands in the form that is written here, one a line; False for another layout."""
        read = self._file.readline
        head = read(_LONGEST)
        if read(_LONGEST) != b'"events": [\n':
            return False
        _check_head(_parsed(head.decode().rstrip(",\n") + "}"))
        ids = set()
        for place, line in self._list():
            event = Event.from_json(_line(line))
            self._events.setdefault(event.call, []).append(place)
            ids.add(event.id)
        if read(_LONGEST) != b'"sealed": [\n':
            return False
        for place, line in self._list():
            self._sealed.setdefault(_sealed(_line(line)).event, []).append(place)
        if read(2):
            raise _no_export()
        self._check(ids)
        return True

    def _list(self) -> Iterator[tuple[int, bytes]]:
        """Yield the place and line of each entry of a list."""
        while True:
            place = self._file.tell()
            line = self._file.readline(_LONGEST)
            if line in (b"],\n", b"]}\n", b"]}"):
                return
            if not line.endswith(b"\n"):
                raise _no_export()
            yield place, line

    def _whole(self) -> None:
        """Read the same JSON in any other layout, as far as it is small."""
        raw = self._file.read(MOST_BYTES + 1)
        if len(raw) > MOST_BYTES:
            raise RecordError("The file is large and laid out otherwise than exports are.", "",
                              "Export it anew, or fewer calls to one file.")
        data = _parsed(raw.decode())
        _check_head(data)
        events, sealed = data.get("events"), data.get("sealed")
        if not isinstance(events, list) or not isinstance(sealed, list):
            raise RecordError("The export lacks its list of events or of sealed values.", "", _NOT_OURS)
        for entry in events:
            self._events.setdefault(Event.from_json(entry).call, []).append(entry)
        for entry in sealed:
            self._sealed.setdefault(_sealed(entry).event, []).append(entry)
        self._check({entry["id"] for entry in events})

    def _check(self, ids: set[str]) -> None:
        if missing := self._sealed.keys() - ids:
            raise RecordError(f"There are {len(missing)} sealed values of events that are missing.", "",
                              "Ask for a fresh export from the desk it came from.")


def _check_head(head: Any) -> None:
    if not isinstance(head, dict) or head.get("format") != FORMAT:
        raise RecordError("The file is no export of calls.", "", _NOT_OURS)
    if head.get("v") != FORMAT_VERSION:
        raise RecordError("The export was made by a newer program.", "", "Update this program, then import it.")


def _line(line: bytes) -> Any:
    return _parsed(line.decode().rstrip(",\n"))


def _no_export() -> RecordError:
    return RecordError("The file is no export of calls, or it is cut short.", "", _NOT_OURS)


def _parsed(text: str) -> Any:
    try:
        return json.loads(text, object_pairs_hook=_no_repeats, parse_float=_no_fraction, parse_constant=_no_fraction)
    except (RecursionError, ValueError):
        raise _no_export() from None


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
