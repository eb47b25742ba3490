"""Details that only a question gives: in service since, part kept, follow-up, hours. Each is a note of the call."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from datetime import date
from typing import Any

from diag import figures
from diag.call.desk import CallDesk
from diag.errors import DiagError, UsageError
from diag.knowledge.story_terms import Detail
from diag.record.graph import Event
from diag.record.state import TrailStep
from diag.text import clean, one_line
from diag.units import QUANTITIES, Measured, System
from diag.writeup.story.measured import setting_text
from diag.writeup.story.model import Item, Skip, Told

LEFT_OUT = "left_out"
"""Value of a note that says why something is left out; its item is the completeness rule."""
_DATE = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})\Z")
_LOCAL_DATE = re.compile(r"(\d{1,2})[./](\d{1,2})[./](\d{4})\Z")


# --- reading ------------------------------------------------------------------------------------------


def notes_of(call: CallDesk) -> list[TrailStep]:
    """Return live notes that answer a question of the write-up, in reading order."""
    return [s for s in call.state.trail if s.kind == "note" and s.live and "item" in s.body]


def details_of(call: CallDesk, personal: Mapping[str, Mapping[str, str]], units: System | None) -> dict[str, Item]:
    """Return details by name; the last one given holds, the one before it is kept as what it was."""
    known = call.engine.knowledge.details
    found: dict[str, Item] = {}
    for step in notes_of(call):
        detail = known.get(step.body["item"])
        if detail is None:
            continue
        told, code = _told(detail, step, personal.get(step.event, {}).get("text", ""), units)
        if told.text:
            before = found[detail.name].told if detail.name in found else None
            found[detail.name] = Item(detail.name, detail.label, detail.group, told, claim=detail.claim, was=before,
                                      code=code)
    return found


def _told(detail: Detail, step: TrailStep, text: str, units: System | None) -> tuple[Told, str]:
    value = step.body.get("value")
    events = (step.event, *step.body.get("evidence", ()))
    on = step.happened or step.at
    if detail.takes == "words":
        return Told(text, events, on), ""
    if detail.takes == "choice":
        name = str(value or "")
        said = detail.choices.get(name, name)
        whole = text if said.casefold() in text.casefold() else f"{said}: {text}" if text else said
        return Told(whole, events, on), name
    number = _number(value)
    return Told(setting_text(value, units), events, on, number), ""


def _number(value: Any) -> float | None:
    if not isinstance(value, Mapping):
        return None
    try:
        return Measured.from_json(value).si()
    except DiagError:
        return None


def left_out(call: CallDesk, personal: Mapping[str, Mapping[str, str]]) -> tuple[Skip, ...]:
    """Return what was left out with its reason; the last reason given for each holds."""
    rules = call.engine.knowledge.completeness
    found = {}
    for step in notes_of(call):
        name = step.body["item"]
        if step.body.get("value") == LEFT_OUT and name in rules:
            reason = personal.get(step.event, {}).get("text", "")
            found[name] = Skip(name, rules[name].needs, reason, (step.event,), on=step.happened or step.at)
    return tuple(found.values())


# --- recording ----------------------------------------------------------------------------------------


def give(call: CallDesk, name: str, text: str, evidence: Sequence[str] = (), happened: str | None = None) -> Event:
    """Record a detail as typed. Raises UsageError or UnitError with place and remedy.

    Dates: 2026-05-14 or 14.05.2026; amounts with their unit ("410 ac", "1.4 h"); choices by their id, their
    words or the beginning of them, a remark after a colon; everything else is words.
    """
    detail = call.engine.knowledge.details.get(name)
    if detail is None:
        known = ", ".join(call.engine.knowledge.details)
        raise UsageError(f"There is no detail {name!r}.", "write-up", f"Known: {known}.")
    body: dict[str, Any] = {"item": name, "happened": happened}
    if evidence:
        body["evidence"] = list(evidence)
    said = one_line(text) if detail.takes != "words" else clean(text).strip()
    if not said:
        raise UsageError(f"Nothing was given for {detail.label}.", detail.label, "Type it, or leave it out.")
    if detail.takes == "words":
        return call.record("note", body, {"text": said})
    if detail.takes == "date":
        return call.record("note", {**body, "value": parse_date(said, detail.label)})
    if detail.takes == "amount":
        return call.record("note", {**body, "value": _amount(detail, said)})
    choice, remark = _choice(detail, said)
    return call.record("note", {**body, "value": choice}, {"text": remark})


def leave_out(call: CallDesk, rule: str, reason: str) -> Event:
    """Record why something that a write-up should hold is left out; the reason is printed."""
    known = call.engine.knowledge.completeness.get(rule)
    if known is None:
        raise UsageError(f"There is no completeness rule {rule!r}.", "write-up", "See the list of what is missing.")
    said = clean(reason).strip()
    if not said:
        raise UsageError("Leaving it out needs a reason.", known.needs, "Say in a few words why it cannot be had.")
    return call.record("note", {"item": rule, "value": LEFT_OUT}, {"text": said})


def parse_date(text: str, where: str = "date") -> str:
    """Return a typed date as YYYY-MM-DD. Raises UsageError; a form that could be two dates is refused."""
    wrong = UsageError(f'"{one_line(text, limit=40)}" is no date.', where, "Write 2026-05-14.")
    iso, local = _DATE.match(text.strip()), _LOCAL_DATE.match(text.strip())
    if iso:
        year, month, day = (int(g) for g in iso.groups())
    elif local:
        first, second, year = (int(g) for g in local.groups())
        if first <= 12 and second <= 12 and first != second:
            raise UsageError(f'"{one_line(text, limit=40)}" can be two dates.', where, "Write 2026-05-14.")
        day, month = (first, second) if first > 12 else (second, first) if second > 12 else (first, second)
    else:
        raise wrong
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        raise wrong from None


def _amount(detail: Detail, said: str) -> dict[str, str]:
    quantity = detail.quantity or "count"
    default = QUANTITIES[quantity].us if QUANTITIES[quantity].dimension == "count" else None
    return figures.measured(said, quantity, default_unit=default).as_json()


def _choice(detail: Detail, said: str) -> tuple[str, str]:
    head, _, remark = said.partition(":")
    word = head.strip().casefold()
    near = [n for n, label in detail.choices.items() if word in (n, label.casefold())]
    begins = {n: (n.startswith(word.replace(" ", "_")), label.casefold().startswith(word))
              for n, label in detail.choices.items()}
    near = near or [n for n, found in begins.items() if word and any(found)]
    if len(near) != 1:
        told = ", ".join(detail.choices.values())
        raise UsageError(f'"{one_line(head, limit=40)}" is none of the answers.', detail.label, f"One of: {told}.")
    return near[0], remark.strip()
