"""YAML read safely, with the line of everything in it.

One pass over the parser's events, with a resolver of our own: `true` and `false`, plain decimal
integers and decimals, `null` and an empty value have a type; all else is text, so `no`, `off`,
`12:30`, `012` and dates stay as written. Keys are always text. Refused: a number with an exponent
(`1e3`), a repeated key, tags, anchors and aliases, several documents, files and nesting beyond the
limits. All text passes `diag.text.clean`.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import yaml

from diag.errors import DiagError, KnowledgeError
from diag.text import clean, one_line

MAX_BYTES = 2_000_000
MAX_DEPTH = 40
MAX_DIGITS = 30

_Loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
_INTEGER = re.compile(r"[-+]?(?:0|[1-9][0-9]*)")
_DECIMAL = re.compile(r"[-+]?(?:0|[1-9][0-9]*)\.[0-9]+")
_EXPONENT = re.compile(r"[-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)[eE][-+]?[0-9]+")
_NEEDS_CLEANING = re.compile(r"[^\t\n\x20-\x7e]")
_WORDS: dict[str, bool | None] = {"true": True, "false": False, "null": None, "": None}


class Lines:
    """The 1-based line of every place in a loaded file."""

    __slots__ = ("_top", "name")

    def __init__(self, name: str, top: _Place) -> None:
        self.name = name
        self._top = top

    def at(self, path: tuple[str | int, ...] = ()) -> int:
        """Return the line of the value at `path` (keys and list positions from the top).

        A step that is not in the file is passed over, so a missing field gives its parent's line.
        """
        place, line = self._top, self._top.line
        for step in path:
            key = str(step) if isinstance(place.data, dict) else step
            line = place.lines.get(key, line)
            place = place.below.get(key, place)
        return line

    def where(self, path: tuple[str | int, ...] = ()) -> str:
        """Return "file:line" of the value at `path`."""
        return f"{self.name}:{self.at(path)}"


class _Place:
    """A list or mapping with its line, the lines of its values and the places below it."""

    __slots__ = ("below", "data", "key", "line", "lines")

    def __init__(self, data: Any, line: int) -> None:
        self.data = data
        self.line = line
        self.lines: dict[str | int, int] = {}
        self.below: dict[str | int, _Place] = {}
        self.key: str | None = None  # the key of a mapping that waits for its value


def load_yaml(
    source: Path | str,
    name: str | None = None,
    *,
    error: type[DiagError] = KnowledgeError,
    decimals: Callable[[str], Any] = float,
) -> tuple[Any, Lines]:
    """Return the plain data of a YAML file (a Path) or of YAML text (a str), and its lines.

    Data holds dict, list, str, int, bool, None, and for decimals what `decimals` makes of their text
    (pass `decimal.Decimal` to keep what was typed). An empty file gives None. `name` is the file
    name that messages show. Raises `error` with where "file:line" for anything that cannot be read.
    """
    shown = name or (str(source) if isinstance(source, Path) else "text")
    text = _read(source, shown, error) if isinstance(source, Path) else source
    if len(text) > MAX_BYTES:
        raise error(*_too_large(shown))
    return _Builder(shown, error, decimals).build(text)


def _too_large(name: str) -> tuple[str, str, str]:
    limit = MAX_BYTES // 1_000_000
    return f"The file is larger than {limit} MB.", f"{name}:1", "Split it into smaller files."


def _read(path: Path, name: str, error: type[DiagError]) -> str:
    """Return the text of a UTF-8 file within the size limit."""
    try:
        with path.open("rb") as file:  # a pipe or a device has no size to ask for
            raw = file.read(MAX_BYTES + 1)
        if len(raw) > MAX_BYTES:
            raise error(*_too_large(name))
    except OSError as e:
        reason = e.strerror or type(e).__name__
        raise error(f"The file cannot be read: {reason}.", name, "Check the path and its rights.") from None
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError as e:
        line = raw.count(b"\n", 0, e.start) + 1
        raise error("The file is not UTF-8 text.", f"{name}:{line}", "Save it as UTF-8.") from None


class _Builder:
    """Builds data and lines from parser events, without recursion."""

    def __init__(self, name: str, error: type[DiagError], decimals: Callable[[str], Any]) -> None:
        self._name = name
        self._error = error
        self._decimals = decimals
        # a one-item list holds the document, so that every value has a parent
        self._open: list[_Place] = [_Place([], 1)]

    def build(self, text: str) -> tuple[Any, Lines]:
        document = self._open[0]
        steps: dict[type, Callable[[Any], None]] = {
            yaml.ScalarEvent: self._scalar,
            yaml.MappingStartEvent: self._enter_mapping,
            yaml.SequenceStartEvent: self._enter_list,
            yaml.MappingEndEvent: self._leave,
            yaml.SequenceEndEvent: self._leave,
            yaml.AliasEvent: self._refuse_alias,
            yaml.DocumentStartEvent: self._refuse_second,
        }
        for event in self._events(text):
            step = steps.get(type(event))
            if step is not None:
                step(event)
        data = document.data[0] if document.data else None
        return data, Lines(self._name, document.below.get(0, _Place(None, 1)))

    def _events(self, text: str) -> Iterator[Any]:
        try:
            yield from yaml.parse(text, Loader=_Loader)
        except yaml.YAMLError as e:
            mark = getattr(e, "problem_mark", None) or getattr(e, "context_mark", None)
            line = mark.line + 1 if mark else _line_of(text, getattr(e, "position", 0))
            problem = getattr(e, "problem", None) or getattr(e, "reason", None) or "it cannot be parsed"
            raise self._error(
                f"This is not valid YAML: {one_line(str(problem), limit=200)}.",
                f"{self._name}:{line}",
                "Look at the indentation, quotes and colons on this line and the one before.",
            ) from None

    def _fault(self, what: str, event: Any, remedy: str) -> DiagError:
        return self._error(what, f"{self._name}:{event.start_mark.line + 1}", remedy)

    def _refuse_alias(self, event: Any) -> None:
        raise self._fault("Aliases (*name) are not read.", event, "Write the value out.")

    def _refuse_second(self, event: Any) -> None:
        if self._open[0].data:
            raise self._fault("The file holds a second document.", event, "Keep one document per file.")

    def _refuse_marks(self, event: Any) -> None:
        if event.anchor is not None:
            raise self._fault("Anchors (&name) are not read.", event, "Write the value out where it is used.")
        raise self._fault("Tags (!name) are not read.", event, "Remove the tag; quote text that needs it.")

    def _enter_mapping(self, event: Any) -> None:
        self._enter(event, {})

    def _enter_list(self, event: Any) -> None:
        self._enter(event, [])

    def _enter(self, event: Any, data: Any) -> None:
        if event.anchor is not None or event.tag is not None:
            self._refuse_marks(event)
        parent = self._open[-1]
        if isinstance(parent.data, dict) and parent.key is None:
            raise self._fault("A key must be plain text.", event, "Use one word as the key.")
        if len(self._open) > MAX_DEPTH:
            raise self._fault(f"Nested deeper than {MAX_DEPTH} levels.", event, "Flatten this entry.")
        key = len(parent.data) if parent.key is None else parent.key
        self._put(parent, data, event)
        place = _Place(data, parent.lines[key])
        parent.below[key] = place
        self._open.append(place)

    def _leave(self, event: Any) -> None:
        self._open.pop()

    def _scalar(self, event: Any) -> None:
        if event.anchor is not None or event.tag is not None:
            self._refuse_marks(event)
        parent = self._open[-1]
        if parent.key is None and isinstance(parent.data, dict):
            self._take_key(parent, event)
        else:
            self._put(parent, _cleaned(event.value) if event.style else self._resolve(event), event)

    def _take_key(self, parent: _Place, event: Any) -> None:
        key = _cleaned(event.value)
        if key in parent.lines:
            what = f"{one_line(key, limit=60)!r} is written twice (first on line {parent.lines[key]})."
            raise self._fault(what, event, "Keep one of them.")
        parent.key = key
        parent.lines[key] = event.start_mark.line + 1

    def _put(self, parent: _Place, value: Any, event: Any) -> None:
        """Hang a value under the open list or mapping."""
        if isinstance(parent.data, list):
            parent.lines[len(parent.data)] = event.start_mark.line + 1
            parent.data.append(value)
        else:
            parent.data[parent.key] = value
            parent.key = None

    def _resolve(self, event: Any) -> Any:
        """Return the typed value of an unquoted scalar."""
        text: str = event.value
        if text in _WORDS:
            return _WORDS[text]
        if text[0] not in "-+.0123456789":
            return _cleaned(text)
        if _INTEGER.fullmatch(text) or _DECIMAL.fullmatch(text):
            if len(text) > MAX_DIGITS:
                raise self._fault("This number is too long.", event, "Quote it if it is an identifier.")
            return self._decimals(text) if "." in text else int(text)
        if _EXPONENT.fullmatch(text):
            raise self._fault(
                f"{text} is written with an exponent.", event,
                "Write the number out (1000, not 1e3), or quote it if it is text.",
            )
        return _cleaned(text)


def _cleaned(text: str) -> str:
    return clean(text) if _NEEDS_CLEANING.search(text) else text


def _line_of(text: str, position: int) -> int:
    return text.count("\n", 0, position) + 1
