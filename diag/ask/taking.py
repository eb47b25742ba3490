"""A new call as it is taken: everything typed is checked first, then recorded in one go."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from diag.ask.form import Field, Form, Values, text_of, whole_of_text
from diag.ask.intake import LISTS, accept_facts, situation_value
from diag.call.desk import CallDesk, Desk
from diag.errors import DiagError, UsageError
from diag.figures.rows import StoredRows
from diag.hear.fact import FactFound
from diag.knowledge.base import Knowledge
from diag.record.times import parse_when
from diag.text import clean

SITUATION = ("rows", "crop", "seed_lot_code", "target", "speed", "since", "rhythm")
"""Fields of the situation that are typed; rows first."""
RELAYED, CALLER = "relayed", "caller"
"""Observers: a third person by message; the caller himself."""
PERSONAL = ("customer", "contact", "phone", "place")


@dataclass(frozen=True)
class Taking:
    """What was typed and ticked while a call was taken."""

    channel: str
    words: str = ""
    accepted: tuple[tuple[str, str], ...] = ()
    """(symptom, chosen or matched)"""
    denied: tuple[str, ...] = ()
    facts: tuple[FactFound, ...] = ()
    typed: Mapping[str, str] = field(default_factory=dict)
    """Fields of the situation as typed, and personal ones."""
    changes: tuple[str, ...] = ()
    flags: tuple[str, ...] = ()
    machine: Mapping[str, Any] = field(default_factory=dict)
    """Body of the machine profile."""
    whose: Mapping[str, str] = field(default_factory=dict)
    """owner, serial, label of the machine."""
    relayed: str = ""
    """Who spoke, when the words came by a message and nobody has confirmed them."""
    practice: bool = False
    follows: str | None = None


def faults(knowledge: Knowledge, taking: Taking, now: datetime) -> dict[str, str]:
    """Return {field: what is wrong and the remedy}; "" when a complaint is missing altogether."""
    found: dict[str, str] = {}
    if not taking.words.strip() and not taking.accepted:
        found["words"] = "Type what they say, or tick a symptom: nothing else is needed to begin."
    for name in SITUATION:
        try:
            _field(knowledge, taking, name)
        except DiagError as error:
            found[name] = f"{error.what} {error.remedy}".strip()
    try:
        parse_when(taking.typed.get("call_back", ""), now, "call back")
    except DiagError as error:
        found["call_back"] = f"{error.what} {error.remedy}".strip()
    return found


def _field(knowledge: Knowledge, taking: Taking, name: str) -> dict[str, Any]:
    text = clean(taking.typed.get(name, "")).strip()
    if not text:
        return {}
    sections: dict[str, StoredRows] = {s["name"]: s["rows"] for s in taking.machine.get("sections", ())}
    return situation_value(knowledge, name, text, taking.machine.get("rows"), sections=sections)


def situation_of(knowledge: Knowledge, taking: Taking) -> dict[str, Any]:
    """Return the body of the situation. Raises UsageError, UnitError."""
    body: dict[str, Any] = {}
    for name in SITUATION:
        body.update(_field(knowledge, taking, name))
    for name, values in (("changes", taking.changes), ("flags", taking.flags)):
        if values:
            body[name] = list(values)
    return body


def take(desk: Desk, taking: Taking) -> CallDesk:
    """Open the call and record everything. Raises UsageError naming the first field that does not fit."""
    knowledge = desk.engine.knowledge
    for name, wrong in faults(knowledge, taking, desk.clock()).items():
        raise UsageError(wrong, name.replace("_", " "), "")
    personal = {name: taking.typed[name] for name in PERSONAL if taking.typed.get(name, "").strip()}
    call = desk.new_call(taking.channel, practice=taking.practice, follows=taking.follows, **personal)
    with call.act():
        if taking.machine or taking.whose:
            call.set_machine(taking.machine, **taking.whose)
        situation = situation_of(knowledge, taking)
        if situation:
            call.set_situation(situation)
        call.set_complaint(taking.words, taking.accepted, taking.denied)
        accept_facts(call, _left(knowledge, taking, situation), RELAYED if taking.relayed else CALLER)
        if taking.relayed:
            call.record("note", {}, {"text": f"From a message, not yet confirmed. Spoke: {taking.relayed}"})
            until = parse_when(taking.typed.get("call_back", ""), desk.clock(), "call back")
            call.record(
                "waiting", {"for": "caller", **({"until": until} if until else {})}, {"text": first_questions(call)}
            )
    return call


def first_questions(call: CallDesk, most: int = 3) -> str:
    """Return the first questions for the call-back, as they are said."""
    questions = call.engine.knowledge.questions
    return "\n".join(questions[o.check].phone or questions[o.check].asks for o in call.offers()[:most])


def _left(knowledge: Knowledge, taking: Taking, typed: Mapping[str, Any]) -> list[FactFound]:
    """Return facts without what was typed into a field of its own: that counts.

    A fact whose field was typed otherwise is left out whole, with the answers it brings.
    """
    kept = []
    for fact in taking.facts:
        told = [o for o in fact.offers if o.slot == "situation" and o.name in typed and o.name not in LISTS]
        if any(_stored(knowledge, taking, o.name, o.value) != typed[o.name] for o in told):
            continue
        here = {("situation", n) for n in typed if n not in LISTS} | {("machine", n) for n in taking.machine}
        here |= {("axis", n) for n in typed}
        offers = tuple(o for o in fact.offers if (o.slot, o.name) not in here)
        kept.append(replace(fact, offers=offers))
    return kept


def _stored(knowledge: Knowledge, taking: Taking, name: str, value: str) -> Any:
    try:
        return _field(knowledge, replace(taking, typed={name: value}), name).get(name)
    except DiagError:
        return None


CARD = (
    ("customer", "Customer", ""), ("phone", "Phone", ""), ("place", "Farm or place", ""),
    ("label", "Machine", "what they call it; Ctrl+P, Machine picks a kept profile"),
    ("machine_rows", "Rows it has", ""),
    ("rows", "Rows in trouble", "e.g. 7 or 3, 7-9 or all"), ("crop", "Crop", ""), ("seed_lot_code", "Seed lot", ""),
    ("target", "Target", "e.g. 32000/ac or 6.5 in"), ("speed", "Speed", "e.g. 5 mph"), ("since", "Since when", ""),
    ("rhythm", "Rhythm", "e.g. every 40th seed, only uphill"),
)
RELAY = (("spoke", "Who spoke", "name, and for whom"), ("call_back", "Call back", "e.g. 10:40, tomorrow 7:00"))


def card_form(typed: Mapping[str, str], keep: Callable[[Mapping[str, str]], None], *, message: bool = False) -> Form:
    """Return the card of a call that is being taken; all of it may stay empty. `keep` takes what was filled in."""
    fields = (*(RELAY if message else ()), *CARD)

    def record(call: object, values: Values) -> None:
        filled = {name: text_of(values, name) for name, _, _ in fields}
        whole_of_text(filled["machine_rows"], "Rows it has", 1, 200)
        keep({name: text for name, text in filled.items() if text})

    return Form("card", "Card", tuple(Field(n, label, hint=hint, value=typed.get(n, "")) for n, label, hint in fields),
                record, done="Keep")
