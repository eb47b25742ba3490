"""Machine profiles: what is fitted, asked by what one can see; kept for the next call, copied into this one."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any

from diag import figures
from diag.ask.form import Field, Form, Value, Values, keys_of, lines_of, need, text_of, whole_of_text
from diag.call.desk import CallDesk
from diag.errors import UsageError
from diag.figures.rows import parse_rows, show_rows, to_stored
from diag.knowledge.base import Knowledge
from diag.text import count, one_line
from diag.units import value_words

UNKNOWN = "unknown"
CONFIRMED = "confirmed"
"""Field of a profile's body: the day on which somebody last looked; it is not copied into a call."""
FITTED = "fitted"
"""Field of a profile's body: disc, crop and lot per row or tank, in words; it goes into a call as a note."""
SECTIONS_HINT = (
    "One a line, e.g. left wing: 1-8. Wings, fans, hoses, drive sections, wire branches, tanks: what feeds which rows. "
    "Row 1 is the left one, seen from the seat."
)
Save = Callable[[Mapping[str, Any], Mapping[str, str]], object]


@dataclass(frozen=True)
class Draft:
    """A profile to begin with: body and what tells of a person."""

    body: Mapping[str, Any] = field(default_factory=dict)
    personal: Mapping[str, str] = field(default_factory=dict)


def profile_line(draft: Draft, now: datetime) -> str:
    """Return a profile on one line; one that nobody confirmed this season says so."""
    personal, body = draft.personal, draft.body
    parts = [personal.get("label") or "no nickname", personal.get("owner", "")]
    if body.get("rows"):
        parts.append(count(int(body["rows"]), "row"))
    confirmed = str(body.get(CONFIRMED, ""))
    if confirmed[:4] != f"{now.year:04d}":
        parts.append("not confirmed this season")
    return " | ".join(p for p in parts if p)


def machine_body(draft: Draft) -> dict[str, Any]:
    """Return what of a profile goes into a call."""
    return {k: v for k, v in draft.body.items() if k not in (CONFIRMED, FITTED)}


def of_call(call: CallDesk) -> Draft:
    """Return the machine of a call as a profile."""
    machine = call.state.machine
    body: dict[str, Any] = {
        "axes": dict(machine.axes), "rows": machine.rows, "holes": machine.holes,
        "row_width": dict(machine.row_width) if machine.row_width else None,
        "sections": [{"name": n, "rows": to_stored(r)} for n, r in machine.sections.items()],
        "book": dict(machine.book),
    }
    personal = {name: call.text_of("machine", name) for name in ("label", "owner", "serial")}
    return Draft({k: v for k, v in body.items() if v}, {k: v for k, v in personal.items() if v})


def profile_form(knowledge: Knowledge, draft: Draft, today: str, save: Save) -> Form:
    """Return the form of a profile; "not known" is an answer. `save` takes body and personal values."""
    body, personal = draft.body, draft.personal
    axes = body.get("axes", {})
    asked = [
        Field(f"axis_{a.name}", a.label, "ticks" if a.many else "pick", a.asks, value=_held(axes.get(a.name), a.many),
              choices=(*((v.name, v.label + (f" ({v.tell_by})" if v.tell_by else "")) for v in a.values),
               (UNKNOWN, "not known")))
        for a in knowledge.axes.values() if a.name != "crop"
    ]
    rows = str(body.get("rows", "") or "")
    sections = "\n".join(f"{s['name']}: {show_rows(s['rows'])}" for s in body.get("sections", ()))
    book = "\n".join(
        f"{knowledge.book[n].label if n in knowledge.book else n}: {value_words(v)}"
        for n, v in body.get("book", {}).items()
    )
    known = ", ".join(b.label for b in knowledge.book.values())

    def record(call: CallDesk | None, values: Values) -> None:
        fitted = text_of(values, "fitted")
        save({**profile_body(knowledge, values), CONFIRMED: today, **({FITTED: fitted} if fitted else {})},
             {n: t for n in ("label", "owner", "serial") if (t := one_line(text_of(values, n)))})

    return Form("profile", "Machine profile", (
        Field("label", "Nickname", value=personal.get("label", ""), hint="what they call it, e.g. the 16-row"),
        Field("owner", "Whose", value=personal.get("owner", "")),
        Field("serial", "Serial number", value=personal.get("serial", "")),
        Field("rows", "Rows", value=rows),
        Field("row_width", "Row width", value=value_words(body.get("row_width")), hint="e.g. 30 in, 76 cm"),
        Field("holes", "Holes of the disc", value=str(body.get("holes", "") or "")),
        *asked,
        Field("fitted", "Fitted now", "lines", hint="e.g. rows 1-8: 40-hole disc, corn, lot B7, since 2 May",
              value=str(body.get(FITTED, ""))),
        Field("sections", "Row layout", "lines", SECTIONS_HINT, value=sections),
        Field("book", "Book values", "lines", "From the operator's manual, one a line: " + _first(known), value=book),
    ), record, done="Keep")


def _first(known: str) -> str:
    return f"e.g. vacuum: 20 inH2O. Names: {known}" if known else "name: value with unit"


def _held(value: Any, many: bool) -> Value:
    if many:
        return tuple(value) if isinstance(value, list) else (value,) if value else ()
    return str(value[0] if isinstance(value, list) and value else value or "")


def profile_body(knowledge: Knowledge, values: Values) -> dict[str, Any]:
    """Return the body of a profile as filled in. Raises UsageError, UnitError."""
    rows = whole_of_text(text_of(values, "rows"), "Rows", 1, 200)
    holes = whole_of_text(text_of(values, "holes"), "Holes of the disc", 1, 1000)
    width = text_of(values, "row_width")
    body: dict[str, Any] = {
        "axes": _axes(knowledge, values), "rows": rows, "holes": holes,
        "row_width": figures.measured(width, "row_width").as_json() if width else None,
        "sections": sections_of(text_of(values, "sections"), rows), "book": book_of(knowledge, text_of(values, "book")),
    }
    return {k: v for k, v in body.items() if v}


def _axes(knowledge: Knowledge, values: Values) -> dict[str, Any]:
    axes: dict[str, Any] = {}
    for name, axis in knowledge.axes.items():
        chosen = keys_of(values, f"axis_{name}")
        if chosen:
            axes[name] = list(chosen) if axis.many and len(chosen) > 1 else chosen[0]
    return axes


def sections_of(text: str, rows: int | None) -> list[dict[str, Any]]:
    """Return the row layout as stored. Raises UsageError naming the line."""
    sections = []
    for said in lines_of(text):
        name, colon, which = said.partition(":")
        if not colon or not which.strip():
            raise UsageError(f'"{said[:40]}" names no rows.', "Row layout", "Write left wing: 1-8.")
        sections.append(
            {"name": one_line(name, limit=100), "rows": to_stored(parse_rows(which, rows, None, "Row layout"))}
        )
    return sections


def book_of(knowledge: Knowledge, text: str) -> dict[str, Any]:
    """Return book values as stored. Raises UsageError, UnitError naming the value."""
    book: dict[str, Any] = {}
    for said in lines_of(text):
        name, colon, value = (p.strip() for p in said.partition(":"))
        if not colon or not value:
            raise UsageError(f'"{said[:40]}" is no book value.', "Book values", "Write vacuum: 20 inH2O.")
        entry = next((b for b in knowledge.book.values() if name.casefold() in (b.name, b.name.replace("_", " "),
                                                                              b.label.casefold())), None)
        if entry is None:
            known = ", ".join(b.label for b in knowledge.book.values())
            raise UsageError(f'"{name[:40]}" is no book value that is used.', "Book values", f"Known: {known}.")
        book[entry.name] = figures.measured(value, entry.quantity).as_json()
    return book


def use_profile(call: CallDesk, draft: Draft) -> None:
    """Copy a profile into a call: answers stay, those that no longer apply are marked in the trail."""
    need(draft.body or draft.personal, "Machine profile", "Fill something in.")
    call.set_machine(machine_body(draft), **draft.personal)
    note_fitted(call, draft)


def note_fitted(call: CallDesk, draft: Draft) -> None:
    """Note in a call what the profile says is fitted now, with the day on which somebody last looked."""
    if draft.body.get(FITTED):
        day = draft.body.get(CONFIRMED, "")
        call.record("note", {}, {"text": f"Fitted on the machine{f' ({day})' if day else ''}: {draft.body[FITTED]}"})
