"""Forms about the call itself: what was changed, swapped or done before, what is waited for, notes, the situation."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from diag.ask import photos
from diag.ask.form import (
    Field,
    Form,
    Values,
    choices,
    keys_of,
    line_of,
    need,
    rows_of,
    setting_of,
    text_of,
    whole_of_text,
)
from diag.ask.fromfile import answer_text
from diag.ask.intake import situation_field
from diag.ask.taking import SITUATION
from diag.call.desk import CallDesk
from diag.errors import UsageError
from diag.figures.rows import Rows, from_stored, show_rows
from diag.files import typed_path
from diag.knowledge.model import Check
from diag.record.times import parse_when
from diag.say import present
from diag.store.listing import WAITS
from diag.text import count
from diag.units import value_words

EFFECTS = choices({"better": "better", "no_change": "no change", "worse": "worse", "unknown": "not known"})
KEPT = choices({"kept": "kept, unwashed", "gone": "gone", "unknown": "not known"})
TOLD_BY = choices({"caller": "the caller", "grower": "the grower", "technician": "a technician"})
WAITING = {**WAITS, "none": "nothing: back in work"}


def done_before_form(call: CallDesk) -> Form:
    """Return the form of something done before the call; it makes older readings stale and can be evidence."""
    order = len(call.state.done_before) + 1
    return Form("done_before", "Done before the call", (
        Field("told", "To say", "note", value="Stop changing things, and keep every old part as it is, unwashed."),
        Field("what", "What was done"),
        Field("rows", "Rows"),
        Field("before", "Value or part before"),
        Field("after", "Value or part now"),
        Field("order", "Which step it was", value=str(order), hint="1 for the first thing that was changed"),
        Field("effect", "What it did", "pick", value="unknown", choices=EFFECTS),
        Field("old_part", "The old part", "pick", value="unknown", choices=KEPT),
        Field("told_by", "Told by", "pick", value="caller" if call.state.channel == "phone" else "grower",
              choices=TOLD_BY),
        Field("happened", "When", hint="e.g. yesterday 15:00, 2 h ago; empty: not known"),
        Field("said", "In their words", "lines"),
    ), _record_done_before)


def _record_done_before(call: CallDesk, values: Values) -> None:
    body: dict[str, Any] = {
        "what": need(line_of(values, "what"), "What was done"),
        "rows": rows_of(call, text_of(values, "rows"), "Rows"),
        "before": setting_of(text_of(values, "before")), "after": setting_of(text_of(values, "after")),
        "order": whole_of_text(text_of(values, "order"), "Which step it was", 1, 1000),
        "effect": text_of(values, "effect") or "unknown", "old_part": text_of(values, "old_part") or "unknown",
        "told_by": text_of(values, "told_by") or "caller",
        "happened": parse_when(text_of(values, "happened"), call.desk.clock(), "When", past=True),
    }
    call.record("done_before", {k: v for k, v in body.items() if v is not None}, {"said": text_of(values, "said")})


def change_form(call: CallDesk, cause: str | None = None) -> Form:
    """Return the form of a setting or part changed in this call, for a test or for good.

    `cause`: the one that it is tried against, whose steps are then told.
    """
    rows, known = call.state.situation.rows, call.engine.knowledge.causes
    trouble = "" if rows is None else f"In trouble: {show_rows(rows)}. Left empty: of no single row."
    return Form("change", "A setting or part was changed", (
        Field("told", "To try", "note", value=known[cause].repair.do if cause and cause in known else ""),
        Field("setting", "Which setting or part"),
        Field("rows", "Rows", hint=trouble),
        Field("before", "Before", hint="e.g. 18 inH2O, notch 3, old brush"),
        Field("after", "Now"),
        Field("temporary", "For how long", "pick", value="yes",
              choices=choices({"yes": "only for a test: to be put back", "no": "it stays so"})),
    ), _record_change)


def _record_change(call: CallDesk, values: Values) -> None:
    body: dict[str, Any] = {
        "setting": need(line_of(values, "setting"), "Which setting or part"),
        "rows": rows_of(call, text_of(values, "rows"), "Rows"), "before": setting_of(text_of(values, "before")),
        "after": need(setting_of(text_of(values, "after")), "Now"),
    }
    temporary = text_of(values, "temporary") != "no"
    call.record("change", {**{k: v for k, v in body.items() if v is not None}, "temporary": temporary})


def swap_form(call: CallDesk) -> Form:
    """Return the form of a piece that two rows exchanged."""
    return Form("swap", "Swapped between rows", (
        Field("piece", "Which piece", hint="e.g. meter, disc, sensor, tube, motor"),
        Field("from_row", "Of row", hint="a row number, or spare"),
        Field("to_row", "With row", hint="a row number, or spare"),
    ), _record_swap)


def _record_swap(call: CallDesk, values: Values) -> None:
    piece = need(line_of(values, "piece"), "Which piece").casefold().replace(" ", "_")
    places = [
        _place(call, text_of(values, name), label) for name, label in (("from_row", "Of row"), ("to_row", "With row"))
    ]
    if places[0] == places[1]:
        raise UsageError("A piece cannot be swapped with itself.", "With row", "Name the other row, or spare.")
    call.record("swap", {"piece": piece, "from_row": places[0], "to_row": places[1]})


def _place(call: CallDesk, text: str, label: str) -> Any:
    if text.casefold() == "spare":
        return "spare"
    rows = need(rows_of(call, text, label), label, "Type a row number, or spare.")
    if rows == "all" or len(rows) != 1:
        raise UsageError("One row is needed here.", label, "Type a row number, or spare.")
    return rows[0]


def waiting_form(call: CallDesk, reason: str = "caller") -> Form:
    """Return the form that parks a call: what is waited for and until when."""
    return Form("waiting", "Waiting", (
        Field("until", "Until", hint="e.g. 10:40, in 20 min, tomorrow 8:00; empty: no time said"),
        Field("for", "What for", "pick", value=reason, choices=choices(WAITING)),
        Field("acres", "Or after acres"),
        Field("text", "Note", "lines", "What they do meanwhile, the number to call."),
    ), _record_waiting, done="Park")


def _record_waiting(call: CallDesk, values: Values) -> None:
    acres = whole_of_text(text_of(values, "acres"), "Or after acres")
    body = {"for": text_of(values, "for") or "caller", "acres": None if acres is None else str(acres),
            "until": parse_when(text_of(values, "until"), call.desk.clock(), "Until")}
    call.record("waiting", {k: v for k, v in body.items() if v is not None}, {"text": text_of(values, "text")})


def note_form(call: CallDesk) -> Form:
    """Return the form of a note, for the house."""
    return Form("note", "Note", (Field("text", "Note", "lines"),), _record_note)


def _record_note(call: CallDesk, values: Values) -> None:
    call.record("note", {}, {"text": need(text_of(values, "text"), "Note")})


def photo_form(call: CallDesk) -> Form:
    """Return the form of a photo: the newest of the folder by number, or a file; a small copy is kept with the call."""
    told = "From where it sits, before cleaning; a ruler in it; the row number on tape in the picture."
    fields = [Field("told", "How to take it", "note", value=told)]
    lost = photos.missing(call)
    if lost:
        fields.append(Field("lost", "Gone or changed", "note", value=", ".join(lost)))
    store = call.desk.store
    folder = store.get_setting(photos.SETTING, "") if store else ""
    recent = photos.newest(Path(folder)) if folder else []
    if recent:
        named = tuple((str(i), _picture(path)) for i, path in enumerate(recent))
        fields.append(Field("recent", "Newest pictures", "pick", choices=(("", "none of these"), *named)))
    fields += [Field("file", "File or folder"), Field("text", "What it shows", "lines")]
    return Form("photo", "Photo", tuple(fields), lambda call, values: _record_photo(call, values, recent))


def _picture(path: Path) -> str:
    taken = datetime.fromtimestamp(path.stat().st_mtime, UTC).astimezone()
    return f"{path.name}  {taken:%d %b %H:%M}"


def _record_photo(call: CallDesk, values: Values, recent: Sequence[Path]) -> None:
    typed, picked, text = text_of(values, "file"), text_of(values, "recent"), text_of(values, "text")
    if not typed and picked.isdigit() and int(picked) < len(recent):
        photos.take(call, recent[int(picked)], text)
        return
    path = typed_path(need(typed, "File or folder"), "File or folder")
    store = call.desk.store
    if path.is_dir() and store is not None:
        store.set_setting(photos.SETTING, str(path))
        found = len(photos.newest(path))
        what = f"{count(found, 'picture')} in that folder; it is looked at from now on."
        raise UsageError(what, "File or folder", "Open the form again and pick by number.")
    if not path.is_file():
        raise UsageError("No such file.", "File or folder", "Name the picture's file, or the folder it comes to.")
    photos.take(call, path, text)


def situation_form(call: CallDesk) -> Form:
    """Return the form of crop, lot, target, speed, rows, what changed, and what to take care of."""
    knowledge, s = call.engine.knowledge, call.state.situation
    kept = {
        "rows": "" if s.rows is None else show_rows(s.rows), "crop": s.crop or "",
        "seed_lot_code": s.seed_lot_code or "", "target": value_words(s.target), "speed": value_words(s.speed),
        "since": s.since or "", "rhythm": s.rhythm or "",
    }
    labels = {"rows": "Rows in trouble", "crop": "Crop", "seed_lot_code": "Seed lot", "target": "Target",
              "speed": "Speed", "since": "Since when", "rhythm": "Rhythm"}
    hints = {"rows": "e.g. 7 or 3, 7-9 or all", "target": "e.g. 32000/ac or 6.5 in", "speed": "e.g. 5 mph"}
    typed = [Field(name, labels[name], hint=hints.get(name, ""), value=kept[name]) for name in SITUATION]
    return Form("situation", "Crop, rows, speed", (
        *typed,
        Field("changes", "Changed before", "ticks", value=tuple(s.changes),
              choices=tuple((c.name, c.label) for c in knowledge.changes.values())),
        Field("flags", "Take care", "ticks", value=tuple(s.flags),
              choices=tuple((f.name, f.label) for f in knowledge.flags.values())),
        Field("without", "Not at hand", "ticks", value=tuple(s.without),
              choices=tuple((t.name, t.label) for t in knowledge.tools.values())),
        Field("remarks", "Remarks", "lines"),
    ), _record_situation)


def _record_situation(call: CallDesk, values: Values) -> None:
    body: dict[str, Any] = {}
    before = {f.name: f.value for f in situation_form(call).fields}
    for name in SITUATION:
        text = text_of(values, name)
        if text and text != before[name]:
            body.update(situation_field(call, name, text))
    for name in ("changes", "flags", "without"):
        ticked = keys_of(values, name)
        if set(ticked) != set(keys_of(before, name)):
            body[name] = list(ticked)
    remarks = text_of(values, "remarks")
    if body or remarks:
        call.set_situation(body, remarks=remarks)


def tools_form(call: CallDesk) -> Form:
    """Return the form of what is not at hand: checks that need it are no longer offered, what stands in for them is."""
    knowledge = call.engine.knowledge
    used = {tool for check in knowledge.checks.values() for tool in check.tools}
    tools = tuple((t.name, t.label) for t in knowledge.tools.values() if t.name in used)
    return Form("tools", "Not at hand", (
        Field("without", "Tick what is missing", "ticks", value=tuple(call.state.situation.without), choices=tools),
    ), _record_tools)


def _record_tools(call: CallDesk, values: Values) -> None:
    ticked = keys_of(values, "without")
    if set(ticked) != set(call.state.situation.without):
        call.set_situation({"without": list(ticked)})


def arrival_form(call: CallDesk) -> Form:
    """Return the form on going from the phone to the machine: what changed, what the plan rests on, the read-back."""
    rests = "\n".join(present.rests_on(call))
    return Form("arrival", "On site: before the tools come out", (
        Field("rests", "Ask again", "note", value=rests or "Nothing was answered by phone."),
        Field("changed", "What has changed since the call", "lines", "Left empty: nothing. Each change is best told on "
              "its own: Ctrl+P, Done before the call."),
        Field("read_back", "Safety and state", "pick",
              hint="Engine, fan, key, who else is there: read back to one another.",
              value="yes", choices=choices({"yes": "read back", "alone": "nobody there to read it back"})),
    ), _record_arrival, done="Go on on site")


def _record_arrival(call: CallDesk, values: Values) -> None:
    changed = text_of(values, "changed")
    call.switch_channel("site")
    told = "read back on arrival" if text_of(values, "read_back") != "alone" else "nobody there to read it back"
    call.record("note", {}, {"text": f"Safety and state: {told}."})
    if changed:
        call.record("done_before", {"what": "changed between call and arrival", "told_by": "grower"}, {"said": changed})


def file_form(check: Check, rows: Rows | None, use: Callable[[str], None]) -> Form:
    """Return the form that takes readings from a file; they go into the answer to be looked through first."""

    def read(call: CallDesk, values: Values) -> None:
        row = rows[0] if rows is not None and rows != "all" and len(rows) == 1 else None
        trouble = call.state.situation.rows
        if row is None and trouble is not None and trouble != "all" and len(trouble) == 1:
            row = trouble[0]
        use(answer_text(check, need(text_of(values, "file"), "File"), row))

    return Form("file", "From a file", (Field("file", "File", hint="CSV with a header, or bare numbers with a unit"),),
                read, done="Read")


def details_form(call: CallDesk, record: Callable[[dict[str, Any]], None]) -> Form:
    """Return the form of what is said beside the next answer: rows, who saw it, when. Nothing is recorded yet."""

    def keep(call: CallDesk, values: Values) -> None:
        told: dict[str, Any] = {
            "rows": from_stored(rows) if (rows := rows_of(call, text_of(values, "rows"), "Rows")) is not None else None,
            "observer": text_of(values, "observer") or None,
            "happened": parse_when(text_of(values, "happened"), call.desk.clock(), "When", past=True),
        }
        record({k: v for k, v in told.items() if v is not None})

    observers = tuple((o.name, o.label) for o in call.engine.knowledge.observers.values())
    return Form("details", "About the next answer", (
        Field("rows", "Rows", hint="left empty: the rows in trouble, or all"),
        Field("observer", "Who saw it", "pick", "None ticked: the usual one for this check.", choices=observers),
        Field("happened", "When", hint="e.g. 10:40, 2 h ago; left empty: now"),
    ), keep, done="Use for the next answer")
