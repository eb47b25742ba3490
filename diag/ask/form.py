"""Forms: what is asked at once about a repair, a change, the machine; the same form on every front end."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from diag import figures
from diag.call.desk import CallDesk
from diag.errors import UsageError
from diag.figures.rows import parse_rows, to_stored
from diag.knowledge.vocabulary import Caution
from diag.text import clean, one_line

Kind = Literal["line", "lines", "pick", "ticks", "note"]
Value = str | tuple[str, ...]
Values = Mapping[str, Value]
"""What was filled in, by field: text, the key picked, or the keys ticked."""


@dataclass(frozen=True)
class Field:
    """One thing asked. `note` is text to read, nothing to fill in."""

    name: str
    label: str
    kind: Kind = "line"
    hint: str = ""
    value: Value = ""
    choices: tuple[tuple[str, str], ...] = ()
    """(key, words) to pick or tick."""


@dataclass(frozen=True)
class Form:
    """Fields and what to do with them. `record` raises DiagError whose `where` is the field's label."""

    name: str
    title: str
    fields: tuple[Field, ...]
    record: Callable[[Any, Values], None] = field(compare=False, repr=False)
    """Takes the call (None where the form belongs to none) and what was filled in."""
    done: str = "Record"
    cautions: tuple[Caution, ...] = ()
    """All cautions of what is recorded, in full, worst first; one sentence of them stands in the form."""
    again: Callable[[Values], Form] | None = field(default=None, compare=False, repr=False)
    """Makes the form anew for what is ticked, where its texts depend on that."""


def text_of(values: Values, name: str) -> str:
    """Return a text field cleaned; "" when it was left empty."""
    value = values.get(name, "")
    return clean(value).strip() if isinstance(value, str) else ""


def line_of(values: Values, name: str) -> str | None:
    """Return a short text on one line, None when left empty. Raises UsageError when it is too long."""
    text = one_line(text_of(values, name))
    if len(text) > 100:
        raise UsageError(f"That is {len(text)} characters; 100 fit here.", name.replace("_", " "),
                         "Shorten it; long text goes into the note or the words.")
    return text or None


def keys_of(values: Values, name: str) -> tuple[str, ...]:
    """Return what was ticked."""
    value = values.get(name, ())
    return value if isinstance(value, tuple) else (value,) if value else ()


def need(value: Any, label: str, remedy: str = "Fill it in.") -> Any:
    """Return a value, or raise UsageError when it is missing."""
    if value is None or value == "" or value == ():
        raise UsageError("This is needed.", label, remedy)
    return value


def picked(values: Values, name: str, label: str) -> str:
    """Return the key picked in a field. Raises UsageError when none was."""
    key: str = need(text_of(values, name), label, "Tick one.")
    return key


def rows_of(call: CallDesk, text: str, label: str = "rows") -> list[int] | Literal["all"] | None:
    """Return rows as stored, None when left empty. Raises UsageError."""
    if not text:
        return None
    machine = call.state.machine
    return to_stored(parse_rows(text, machine.rows, {n: to_stored(r) for n, r in machine.sections.items()}, label))


def whole_of_text(text: str, label: str, least: int = 0, most: int = 100_000) -> int | None:
    """Return a whole number, None when left empty. Raises UsageError."""
    return figures.whole(text, label, least, most) if text else None


def setting_of(text: str) -> str | dict[str, str] | None:
    """Return a setting as stored: a measured value where it is a number with a known unit, else a short name.

    Raises UnitError where a number can be read in two ways.
    """
    said = one_line(text)
    found = figures.setting(said)
    return found.as_json() if found else said[:100] or None


_PART = re.compile(r"(\d{1,4})\s*(?:x\s+)?(.+)")


def parts_of(text: str) -> list[dict[str, Any]]:
    """Return parts as stored: "1 seal, 4 brushes" one by one."""
    parts: list[dict[str, Any]] = []
    for piece in re.split(r"[,;\n]", text):
        said = one_line(piece, limit=100)
        if said:
            found = _PART.fullmatch(said)
            parts.append({"item": found[2], "qty": int(found[1])} if found else {"item": said, "qty": 1})
    return parts


def lines_of(text: str) -> Iterator[str]:
    """Yield the lines of a field that takes several, one by one; a semicolon ends one too."""
    yield from filter(None, map(one_line, re.split(r"[;\n]", text)))


def settings_of(text: str) -> list[dict[str, Any]]:
    """Return settings as stored from lines such as "vacuum: 18 inH2O -> 20 inH2O". Raises UsageError."""
    settings = []
    for said in lines_of(text):
        name, _, change = said.partition(":")
        before, arrow, after = change.partition("->")
        if not change.strip() or not arrow:
            raise UsageError(f'"{said[:50]}" is no change of a setting.', "settings changed",
                             "Write vacuum: 18 inH2O -> 20 inH2O.")
        settings.append({k: v for k, v in (("name", one_line(name, limit=100)), ("before", setting_of(before)),
                                           ("after", setting_of(after))) if v})
    return settings


def choices(pairs: Sequence[tuple[str, str]] | Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """Return (key, words) pairs as a field takes them."""
    return tuple(pairs.items()) if isinstance(pairs, Mapping) else tuple(pairs)
