"""Taking a call: the caller's words to symptoms and ticks, and ticks to events."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from contextlib import suppress
from typing import Any

from diag import figures
from diag.call.desk import CallDesk
from diag.errors import DiagError, UsageError
from diag.figures.rows import StoredRows, parse_rows, to_stored
from diag.hear.complaint import Match, listener
from diag.hear.fact import Candidate, FactFound
from diag.knowledge.base import Knowledge
from diag.record.graph import Event
from diag.text import one_line
from diag.units import QUANTITIES

LISTS = ("changes", "flags")
ALIKE = 0.8
"""Share of its words that makes a text no more than another says."""
THOUSANDS = 1000
QUANTITY_OF = {"speed": "speed", "target": "rate"}


def read_words(knowledge: Knowledge, words: str) -> Match:
    """Return the symptoms and facts found in a caller's words."""
    return listener(knowledge).match(words)


def fact_words(knowledge: Knowledge, fact: FactFound) -> str:
    """Return a fact's words: what it would be taken as."""
    told = list(dict.fromkeys(_offer_text(knowledge, o) for o in fact.offers if o.slot != "reading"))
    words = [frozenset(t.split()) for t in told]
    whole = [t for i, t in enumerate(told) if t and not any(
        len(words[i] & o) >= ALIKE * len(words[i]) and (len(o), -j) > (len(words[i]), -i)
        for j, o in enumerate(words) if j != i)]
    return ("; ".join(whole) or _figure_words(fact)) + (f" ({fact.doubt})" if fact.doubt else "")


def _figure_words(fact: FactFound) -> str:
    read = next((o.value for o in fact.offers if o.slot == "reading"), fact.value)
    return f'{fact.kind.replace("_", " ")} {read}'


def fact_text(knowledge: Knowledge, fact: FactFound) -> str:
    """Return a tick's words: what was said, and what it would be taken as."""
    return f'"{fact.said}": {fact_words(knowledge, fact)}'


def _offer_text(knowledge: Knowledge, offer: Candidate) -> str:
    if offer.slot == "answer":
        check = knowledge.questions.get(offer.name) or knowledge.questions.get(f"{offer.name}.{offer.value}")
        if check is None:
            return ""
        return check.outcomes[offer.value].says if offer.value in check.outcomes else check.asks
    if offer.slot == "measured" and offer.name in knowledge.questions:
        return f"{knowledge.questions[offer.name].asks}: {offer.value}"
    if offer.slot == "axis" and offer.name in knowledge.axes:
        labels = {v.name: v.label for v in knowledge.axes[offer.name].values}
        return labels.get(offer.value, offer.value)
    named = {"changes": knowledge.changes, "flags": knowledge.flags}.get(offer.name)
    if offer.slot == "situation" and named and offer.value in named:
        return named[offer.value].label
    told = {
        ("machine", "rows"): f"{offer.value} rows on the planter",
        ("situation", "rows"): f"in trouble: {_rows_told(offer.value)}",
        ("situation", "since"): offer.value,
        ("situation", "told_by"): "told by somebody else",
    }.get((offer.slot, offer.name))
    if offer.slot == "told":
        return offer.value
    if offer.slot == "done_before":
        return f"done before the call: {offer.name.replace('_', ' ')}"
    return told or f"{offer.name.replace('_', ' ')} {offer.value}".strip()


def _rows_told(value: str) -> str:
    if value == "all":
        return "all rows"
    if not value[:1].isdigit():
        return value
    return f"row {value}" if value.isdigit() else f"rows {value}"


def accept_facts(call: CallDesk, facts: Iterable[FactFound], observer: str = "caller") -> list[Event]:
    """Record accepted ticks: machine first, then the situation, then answers. Unusable ones are left out.

    `observer`: who told it; "relayed" where nobody who saw it has confirmed it.
    """
    facts = tuple(facts)
    offers = [o for f in facts for o in f.offers]
    events = []
    machine = _machine(call, offers)
    if machine:
        events.append(call.set_machine(machine))
    situation = _situation(call, offers)
    if situation:
        events.append(call.set_situation(situation))
    for offer in dict.fromkeys(offers):
        if offer.slot == "answer":
            events += _answer(call, offer, observer)
        elif offer.slot == "measured":
            events += _measured(call, offer, observer)
        elif offer.slot == "done_before":
            events.append(call.record("done_before", {"what": offer.name.replace("_", " "), "told_by": "caller"}))
    told = [f'{f.kind.replace("_", " ")} "{f.said}"' for f in facts if _only_told(f)]
    if told:
        here = "The caller says" if call.state.channel == "phone" else "Told at the machine"
        who = here if observer == "caller" else "Passed on, not confirmed"
        events.append(call.record("note", {}, {"text": f"{who}: {'; '.join(told)}."}))
    return events


def _only_told(fact: FactFound) -> bool:
    """Tell whether no field of the call holds a fact: it is kept in the caller's words."""
    return all(o.slot in ("reading", "told") for o in fact.offers)


def _machine(call: CallDesk, offers: Sequence[Candidate]) -> dict[str, Any]:
    axes = {o.name: o.value for o in offers if o.slot == "axis" and o.name in call.engine.knowledge.axes}
    body: dict[str, Any] = {"axes": axes} if axes else {}
    rows = [o.value for o in offers if o.slot == "machine" and o.name == "rows" and o.value.isdigit()]
    if rows:
        body["rows"] = int(rows[0])
    return body


def _situation(call: CallDesk, offers: Sequence[Candidate]) -> dict[str, Any]:
    body: dict[str, Any] = {}
    for offer in offers:
        if offer.slot == "situation":
            # "left wing" without such a section, "all but 4" without the number of rows: told, but not usable yet
            with suppress(DiagError):
                body.update(situation_field(call, offer.name, offer.value, body))
    return body


def situation_field(
    call: CallDesk, name: str, value: str, sofar: dict[str, Any] | None = None, units: str | None = None
) -> dict[str, Any]:
    """Return {field: stored value} for a field of the situation as typed. Raises UsageError, UnitError."""
    state = call.state
    before = (sofar or {}).get(name) or list(getattr(state.situation, name, None) or ()) if name in LISTS else ()
    sections = {n: to_stored(r) for n, r in state.machine.sections.items()}
    return situation_value(call.engine.knowledge, name, value, state.machine.rows, sections=sections, before=before,
                           units=units)


def situation_value(
    knowledge: Knowledge, name: str, value: str, rows: int | None = None,
    sections: Mapping[str, StoredRows] | None = None, before: Iterable[str] = (), units: str | None = None,
) -> dict[str, Any]:
    """Return {field: stored value} of a field of the situation as typed. Raises UsageError, UnitError.

    `rows`, `sections`: of the machine; `before`: what a list holds already; `units`: us or metric, for a figure
    without a unit, which is refused where None.
    """
    if name == "rows":
        return {"rows": to_stored(parse_rows(value, rows, sections or {}, "rows"))}
    if name in LISTS:
        return {name: list(dict.fromkeys([*before, value]))}
    if name in QUANTITY_OF:
        if name == "target":
            return {name: target_value(value, units)}
        quantity = QUANTITY_OF[name]
        return {name: figures.measured(value, quantity, default_unit=_unit(quantity, units)).as_json()}
    if name in ("since", "rhythm", "seed_lot_code"):
        return {name: one_line(value, limit=100)}
    if name == "crop":
        known = [v.name for v in knowledge.axes["crop"].values] if "crop" in knowledge.axes else []
        word = one_line(value).lower().replace(" ", "_")
        near = [k for k in known if k == word] or [k for k in known if word and k.startswith(word)]
        if len(near) != 1:
            raise UsageError(f"{one_line(value, limit=40)!r} is no known crop.", "crop", f"Known: {', '.join(known)}.")
        return {"crop": near[0]}
    return {}


def _unit(quantity: str, units: str | None) -> str | None:
    """Return the unit of the settings for a quantity."""
    known = QUANTITIES[quantity]
    return None if units is None else known.us if units == "us" else known.metric


def target_value(text: str, units: str | None = None) -> dict[str, str]:
    """Return a target rate or spacing as stored: "32000/ac", "79 000 seeds/ha", "6.5 in".

    Without a unit, thousands are a rate and less is a spacing, in the units of the settings.
    """
    from diag.errors import UnitError

    plain = (figures.number_in(one_line(text), 10**9) or 0) if units else 0
    try:
        if 0 < plain < THOUSANDS:
            return figures.measured(text, "spacing", default_unit=_unit("spacing", units)).as_json()
        return figures.measured(text, "rate", default_unit=_unit("rate", units)).as_json()
    except UnitError as error:
        try:
            return figures.measured(text, "spacing", default_unit=_unit("spacing", units)).as_json()
        except UnitError:
            raise error from None


def _measured(call: CallDesk, offer: Candidate, observer: str) -> list[Event]:
    """Record a reading heard in the words as the answer of the check that asks for it; one already given stands."""
    if offer.name not in call.engine.knowledge.questions or any(a.check == offer.name for a in call.state.answers):
        return []
    told = (place.split(" ", 2) for place in offer.value.split(", "))
    values = {place: {"value": value, "unit": unit} for place, value, unit in told}
    return [call.answer(offer.name, values=values, observer=observer)]


def _answer(call: CallDesk, offer: Candidate, observer: str) -> list[Event]:
    """Record an answer heard in the words; one already given stands."""
    knowledge = call.engine.knowledge
    key, outcome = offer.name, offer.value
    if key not in knowledge.questions and f"{key}.{outcome}" in knowledge.questions:
        key, outcome = f"{key}.{outcome}", "yes"
    check = knowledge.questions.get(key)
    if check is None or outcome not in check.outcomes or any(a.check == key for a in call.state.answers):
        return []
    return [call.answer(key, outcome=outcome, observer=observer)]
