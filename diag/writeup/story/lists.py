"""Lists of a write-up: what was done before the call, changed later, not put back, cautioned, photographed, noted."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from typing import Any

from diag.call.desk import CallDesk
from diag.reason.cautions import spoken
from diag.record.kinds import Change, DoneBefore
from diag.record.state import TrailStep
from diag.text import rows_words
from diag.units import System
from diag.writeup.story.measured import reading_text, setting_text
from diag.writeup.story.model import Line, Photo

Sealed = Mapping[str, Mapping[str, str]]
EFFECTS: Mapping[str, str] = {
    "better": "it became better", "no_change": "it changed nothing", "worse": "it became worse",
    "unknown": "effect not known",
}
IN_VAIN = ("no_change", "worse")
"""Effects of something that did not help: it speaks against what it was tried for."""
OLD_PARTS: Mapping[str, str] = {
    "kept": "old part kept", "gone": "old part gone", "unknown": "nobody knows where the old part is",
}


def done_before(call: CallDesk, sealed: Sealed) -> tuple[Line, ...]:
    """Return what was done before the call, in the order in which it was done."""
    entries = sorted(call.state.done_before, key=lambda d: (d.order or 1000, d.number))
    return tuple(Line(_done_text(d, sealed.get(d.event, {}).get("said", "")), (d.event,),
                      in_vain=d.effect in IN_VAIN) for d in entries)


def _done_text(done: DoneBefore, said: str) -> str:
    where = f", {rows_words(done.rows)}" if done.rows is not None else ""
    before, after = setting_text(done.before), setting_text(done.after)
    told = f"{before} -> {after}" if before and after else f"to {after}" if after else f"was {before}" if before else ""
    change = f" ({told})" if told else ""
    parts = [f"{done.what}{where}{change}"]
    parts += [EFFECTS[done.effect]] if done.effect else []
    parts += [OLD_PARTS[done.old_part]] if done.old_part else []
    parts += [f"told by the {done.told_by.replace('_', ' ')}"] if done.told_by else []
    return "; ".join(parts) + (f': "{said}"' if said else "")


def not_put_back(call: CallDesk) -> tuple[Line, ...]:
    """Return temporary changes and moved pieces that still stand."""
    state, lines = call.state, []
    for change in state.not_put_back:
        where = f", {rows_words(change.rows)}" if change.rows is not None else ""
        was = f", was {setting_text(change.before)}" if change.before is not None else ""
        lines.append(Line(f"{change.name}{where}: {setting_text(change.now)} for now{was}", change.events))
    for piece, sat in state.pieces.items():
        moved = tuple(s.event for s in state.swaps if s.piece == piece)
        lines += [Line(text, moved) for text in _seats(piece.replace("_", " "), sat)]
    return tuple(lines)


def _seats(piece: str, sat: Mapping[int, Any]) -> Iterator[str]:
    """Yield where pieces sit that are not at home; two that changed places are told once."""
    for row, home in sat.items():
        if home == "spare":
            yield f"row {row} holds a {piece} from the shelf"
        elif sat.get(home) != row:
            yield f"row {row} holds the {piece} from row {home}"
        elif row < home:
            yield f"the {piece}s of {rows_words((row, home))} are exchanged"


def put_back(call: CallDesk) -> tuple[Line, ...]:
    """Return what was changed for a test and put back, and what was set for good beside a repair."""
    state = call.state
    changes = {c.event: c for c in state.of(Change)}
    lines = []
    for change in changes.values():
        name = _name(change)
        test = changes.get(change.settles or "")
        if test is not None:
            lines.append(Line(f"{name}: {setting_text(test.after)} for a test, then {setting_text(change.after)} again",
                              (test.event, change.event), change.happened or change.at))
        elif not change.temporary and change.before is not None:
            lines.append(Line(f"{name}: {setting_text(change.before)} -> {setting_text(change.after)}",
                              (change.event,), change.happened or change.at))
    pairs = dict.fromkeys((s.piece, tuple(sorted((s.from_row, s.to_row), key=str))) for s in state.swaps)
    for piece, rows in pairs:
        events = tuple(s.event for s in state.swaps if s.piece == piece and {s.from_row, s.to_row} == set(rows))
        if not set(rows) & state.pieces.get(piece, {}).keys():
            lines.append(Line(f"{_swapped(piece, rows)} for a test, then each in its place again", events))
    return tuple(lines)


def _name(change: Change) -> str:
    name = (change.setting or change.part or "").replace("_", " ")
    return f"{name}, {rows_words(change.rows)}" if change.rows is not None else name


def _swapped(piece: str, rows: tuple[Any, ...]) -> str:
    own = tuple(r for r in rows if isinstance(r, int))
    told = f"{piece.replace('_', ' ')}{'s' if len(own) > 1 else ''} of {rows_words(own)}"
    return f"{told} exchanged" if len(own) > 1 else f"{told} exchanged with one from the shelf"


def changed(call: CallDesk, sealed: Sealed, units: System | None) -> tuple[Line, ...]:
    """Return corrections: "changed on ..., was ...", and steps taken back."""
    by_id = {s.event: s for s in call.state.trail}
    corrected = {s.replaces for s in call.state.trail if s.replaces and s.live}
    lines = []
    for step in call.state.trail:
        if step.live and step.replaces:
            old = by_id[step.replaces]
            was = _answer_text(call, old, units)
            text = f"{_asks(call, step)}: changed on {_when(step)}, was {was}"
            lines.append(Line(text, (old.event, step.event), step.at))
        elif not step.live and step.event not in corrected and step.kind != "withdrawn":
            back = by_id.get(step.withdrawn_by or "")
            reason = sealed.get(back.event, {}).get("reason", "") if back else ""
            on = _when(back) if back else ""
            text = f"taken back on {on}: {_step_text(call, step, units)}" + (f" (reason: {reason})" if reason else "")
            lines.append(Line(text, (step.event, *((back.event,) if back else ())), back.at if back else ""))
    return tuple(lines)


def _when(step: TrailStep) -> str:
    return f"{step.at[:10]} {step.at[11:16]} UTC"


def _asks(call: CallDesk, step: TrailStep) -> str:
    check = call.engine.knowledge.questions.get(step.body.get("check", ""))
    rows = step.body.get("rows")
    where = f", {rows_words(rows)}" if rows is not None else ""
    return (check.asks.rstrip(".") if check else str(step.body.get("check", step.kind))) + where


def _answer_text(call: CallDesk, step: TrailStep, units: System | None) -> str:
    return reading_text(step.body, call.engine.knowledge.questions.get(step.body.get("check", "")), units)


def _step_text(call: CallDesk, step: TrailStep, units: System | None) -> str:
    if step.kind == "answer":
        return f"{_asks(call, step)}: {_answer_text(call, step, units)}"
    if step.kind == "repair":
        labels = [call.engine.knowledge.causes[c].label for c in step.body.get("causes", ())
                  if c in call.engine.knowledge.causes]
        return f"{step.body['kind']}: {'; '.join(labels)}"
    if step.kind == "proof":
        return f"proof: {str(step.body['verdict']).replace('_', ' ')}"
    return step.kind.replace("_", " ")


def cautions(call: CallDesk) -> tuple[Line, ...]:
    """Return cautions that were acknowledged, each once, with to whom they were shown."""
    known, sentences = call.engine.knowledge.cautions, spoken(call.engine.knowledge)
    lines: dict[str, Line] = {}
    for shown in call.state.cautions:
        caution = known.get(shown.caution)
        first = f"{caution.word}: {caution.text}" if caution else sentences.get(shown.caution, "")
        if not first or shown.acknowledged == "none":
            continue
        to = f", read to the {shown.shown_to}" if shown.shown_to == "grower" else ""
        lines.setdefault(shown.caution, Line(f"{_first_sentence(first)} Acknowledged{to}.",
                                             (shown.event,), shown.at))
    return tuple(lines.values())


def _first_sentence(text: str) -> str:
    """Return the first sentence with its stop, whichever it is."""
    first = re.split(r"(?<=[.!?]) ", text, maxsplit=1)[0]
    return first if first.endswith((".", "!", "?")) else f"{first}."


def photos(call: CallDesk, sealed: Sealed) -> tuple[Photo, ...]:
    """Return photos by file name and hash."""
    found = []
    for step in _live(call, "photo"):
        texts = sealed.get(step.event, {})
        found.append(Photo(step.event, texts.get("file_name", ""), texts.get("text", ""), step.body["sha256"],
                           on=step.happened or step.at))
    return tuple(found)


def marked_notes(call: CallDesk, sealed: Sealed) -> tuple[Line, ...]:
    """Return notes marked for the file."""
    return tuple(_notes(call, sealed, marked=True))


def internal_notes(call: CallDesk, sealed: Sealed) -> tuple[Line, ...]:
    """Return notes that are not marked: for the house only."""
    return tuple(_notes(call, sealed, marked=False))


def _notes(call: CallDesk, sealed: Sealed, *, marked: bool) -> Iterator[Line]:
    for step in _live(call, "note"):
        text = sealed.get(step.event, {}).get("text", "")
        if text and "item" not in step.body and bool(step.body.get("file")) == marked:
            yield Line(text, (step.event,), step.happened or step.at)


def _live(call: CallDesk, kind: str) -> list[TrailStep]:
    return [s for s in call.state.trail if s.live and s.kind == kind]
