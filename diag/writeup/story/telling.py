"""A call told as a write-up: complaint, cause, correction, confirmation, and everything a reader asks for.

Computed from the record alone: what was said, tested, measured and done, and the shown words that follow from
it. No belief, no clock.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import replace

from diag.call.desk import CallDesk
from diag.call.open_rows import open_rows
from diag.call.shown import Bench
from diag.record.graph import heads, show_call_id
from diag.text import rows_words
from diag.units import Measured, System, show
from diag.writeup.story.caused import LEFT_OUT, Causes
from diag.writeup.story.closed import closing_of
from diag.writeup.story.conditions import conditions_of
from diag.writeup.story.details import details_of, left_out
from diag.writeup.story.done import ROLES, proofs, repairs
from diag.writeup.story.labour import labour_of, span_minutes
from diag.writeup.story.lists import (
    cautions,
    changed,
    done_before,
    internal_notes,
    marked_notes,
    not_put_back,
    photos,
    put_back,
)
from diag.writeup.story.measured import Measurements, pairs_of, setting_text
from diag.writeup.story.model import Complaint, Item, Line, MadeTest, Record, Story, Told

PERSONAL: Mapping[str, tuple[str, str, str]] = {
    "customer": ("opened", "customer", "customer"),
    "contact": ("opened", "contact", "contact"),
    "phone": ("opened", "phone", "telephone"),
    "place": ("opened", "place", "place"),
    "technician": ("opened", "technician", "technician"),
    "owner": ("machine", "owner", "owner"),
    "machine_label": ("machine", "label", "machine"),
    "serial": ("machine", "serial", "serial number"),
}
WAITING_FOR: Mapping[str, str] = {
    "caller": "we wait for the customer's word", "part": "a part is awaited", "technician": "a technician is coming",
    "weather": "the weather is awaited", "proof": "it is to be measured again",
}
UNKNOWN_DIGEST = "none"
"""Digest of a transcript that was written by hand for whatever knowledge reads it."""
_SINCE = re.compile(r"\Asince +", re.IGNORECASE)
PAID_BY_OTHERS = ("warranty", "goodwill")


def tell(call: CallDesk, *, personal: bool = True, units: System | None = None) -> Story:
    """Return the story of a call.

    `personal` False leaves out everything that is sealed: names, numbers, places and all free text. `units`: the
    reader's units, shown beside readings that were taken in others.
    """
    written = {event for event, texts in call.personal.items() if texts.get("words")}
    call = call if personal else call.without_text()
    sealed = call.personal
    bench = Bench(call)
    tests = Measurements(call, bench, units).tests()
    details = details_of(call, sealed, units)
    causes = Causes(call, bench, tests, details)
    told = causes.told()
    others = causes.others(told)
    items = (*_identity(call, sealed), *details.values(), *_derived(call, details, tests))
    claim_type = details.get("claim_type")
    mended = tuple(r if r.words or r.event not in written else replace(r, words=LEFT_OUT)
                   for r in repairs(call, sealed, bench))
    return Story(
        record=_record(call, units), claim=claim_type is not None and claim_type.code in PAID_BY_OTHERS,
        items=items, complaint=_complaint(call, sealed), conditions=conditions_of(call, details, units),
        tests=tests, pairs=pairs_of(tests), causes=told, others=others,
        whys=tuple(causes.whys(told)), repairs=mended,
        proofs=tuple(proofs(call, bench)), labour=labour_of(call, tests, details), photos=photos(call, sealed),
        cautions=cautions(call), done_before=done_before(call, sealed), not_put_back=not_put_back(call),
        put_back=put_back(call),
        changed=changed(call, sealed, units), notes=marked_notes(call, sealed), internal=internal_notes(call, sealed),
        skipped=left_out(call, sealed), closing=closing_of(call, sealed, told, mended),
        waiting=_waiting(call, sealed), fits=causes.fits(told, others), addressed=causes.addressed(),
        open_rows=open_rows(bench.proving),
    )


def _record(call: CallDesk, units: System | None) -> Record:
    state = call.state
    opened = state.opened
    known = (opened.knowledge.version, opened.knowledge.digest)
    if known[1] == UNKNOWN_DIGEST:
        known = (call.engine.knowledge.version, call.engine.knowledge.digest)
    by = [s.by for s in state.trail if s.by != "tool"]
    return Record(
        call=show_call_id(call.call), stored=call.desk.store is not None, practice=opened.practice,
        channel=state.channel, opened=state.trail[0].happened or state.trail[0].at, program=opened.program,
        knowledge=" ".join(known), heads=tuple(e.id for e in heads(call.events)),
        events=len(state.trail), prepared_by=ROLES.get(by[-1], by[-1]) if by else "", units=units or "",
        minutes=span_minutes(call),
    )


# --- who, what, when ------------------------------------------------------------------------------------


def _identity(call: CallDesk, sealed: Mapping[str, Mapping[str, str]]) -> Iterator[Item]:
    live = [s for s in call.state.trail if s.live]
    for name, (kind, field, label) in PERSONAL.items():
        given = [s for s in live if s.kind == kind and sealed.get(s.event, {}).get(field)]
        if given:
            step = given[-1]
            text = sealed[step.event][field]
            yield Item(name, label, "identity", Told(text, (step.event,)), personal=True)
    yield from _machine(call)
    situation = call.state.situation
    if situation.rows is not None:
        events = _steps_with(call, "situation", "rows")
        where = rows_words(situation.rows)
        seat = "" if situation.rows == "all" else ", counted from the left as seen from the seat"
        yield Item("position", "place on the machine", "identity", Told(where + seat, events))


def _machine(call: CallDesk) -> Iterator[Item]:
    machine, axes = call.state.machine, call.engine.knowledge.axes
    told = []
    for name, value in machine.axes.items():
        values = value if isinstance(value, list | tuple) else [value]
        labels = {v.name: v.label for v in axes[name].values} if name in axes else {}
        told += [f"{axes[name].label}: {labels[v]}" for v in values if v in labels]
    if told:
        kind = Told("; ".join(told), _steps_with(call, "machine", "axes"))
        yield Item("machine_kind", "kind of machine", "identity", kind)
    if machine.rows:
        width = f", {setting_text(machine.row_width)} apart" if machine.row_width else ""
        events = (*_steps_with(call, "machine", "rows"), *_steps_with(call, "machine", "row_width"))
        yield Item("rows", "rows", "identity", Told(f"{machine.rows}{width}", tuple(dict.fromkeys(events)),
                                                    number=float(machine.rows)))
    if machine.holes:
        holes = Told(str(machine.holes), _steps_with(call, "machine", "holes"))
        yield Item("holes", "holes of the disc", "identity", holes)


def _steps_with(call: CallDesk, kind: str, field: str) -> tuple[str, ...]:
    found = [s.event for s in call.state.trail if s.live and s.kind == kind and field in s.body]
    return tuple(found) if field in ("axes", "book") else tuple(found[-1:])


def _derived(call: CallDesk, details: Mapping[str, Item], tests: tuple[MadeTest, ...]) -> Iterator[Item]:
    """Yield dates the record already holds, and what follows from other items; never asked, never typed."""
    state = call.state
    first = state.trail[0]
    yield _date("first_contact", "first contact", first.happened or first.at, (first.event,))
    documented = [t for t in tests if t.firm and t.when == "before" and (t.valued or t.supports)]
    if documented:
        yield _date("documented", "defect documented", documented[0].on, (documented[0].event,))
    mended = [r for r in state.repairs if r.kind == "repair"]
    if mended:
        last = mended[-1]
        yield _date("repaired", "repaired", last.happened or last.at, (last.event,))
    area, target = details.get("area"), state.situation.target
    if area and area.told.number and target and state.machine.rows and "seeds_per_meter" not in details:
        yield from _seeds_per_meter(call, area, target)


def _seeds_per_meter(call: CallDesk, area: Item, target: Mapping[str, str]) -> Iterator[Item]:

    rate, rows = Measured.from_json(target), call.state.machine.rows or 1
    if rate.quantity == "length":
        return
    seeds = (area.told.number or 0.0) * rate.si() / rows
    events = (*area.told.events, *_steps_with(call, "situation", "target"), *_steps_with(call, "machine", "rows"))
    each = show((area.told.number or 0.0) / rows, "area", "us" if rate.unit.endswith("ac") else "metric")
    yield Item("seeds_per_meter", "seeds through each meter", "usage",
               Told(f"about {seeds / 1e6:.2f} million ({each} per row)", events, number=seeds), claim=True)


def _date(name: str, label: str, stamp: str, events: tuple[str, ...]) -> Item:
    return Item(name, label, "dates", Told(stamp[:10], events, stamp), claim=name != "repaired")


def _complaint(call: CallDesk, sealed: Mapping[str, Mapping[str, str]]) -> Complaint:
    state, knowledge = call.state, call.engine.knowledge
    steps = [s for s in state.trail if s.live and s.kind == "complaint"]
    words = [sealed[s.event]["words"] for s in steps if sealed.get(s.event, {}).get("words")]
    labels = {s: known.label for s, known in knowledge.symptoms.items()}
    situation, facts = state.situation, []
    for name, told in (
        ("since", situation.since), ("rhythm", situation.rhythm),
        ("changes", ", ".join(knowledge.changes[c].label if c in knowledge.changes else c for c in situation.changes)),
    ):
        if told:
            heading = {"since": "Since", "rhythm": "Rhythm", "changes": "Before it began"}[name]
            facts.append(Told(f"{heading}: {re.sub(_SINCE, '', told)}", _steps_with(call, "situation", name)))
    return Complaint(
        words="\n".join(words), symptoms=tuple((s, labels.get(s, s)) for s, _ in state.accepted),
        denied=tuple(labels.get(s, s) for s in state.denied), facts=tuple(facts),
        events=tuple(s.event for s in steps),
    )


def _waiting(call: CallDesk, sealed: Mapping[str, Mapping[str, str]]) -> Line | None:
    state = call.state
    if state.closed is not None or state.waiting is None:
        return None
    step = next(s for s in reversed(state.trail) if s.live and s.kind == "waiting")
    came = any(s.live and s.kind == "channel" and s.epoch >= step.epoch for s in state.trail[state.trail.index(step):])
    if state.waiting.reason == "technician" and came:
        return None
    words = sealed.get(step.event, {}).get("text", "")
    until = f", until {state.waiting.until[:10]}" if state.waiting.until else ""
    told = f"{WAITING_FOR[state.waiting.reason]}{until}" + (f": {words}" if words else "")
    return Line(told, (step.event,), step.happened or step.at)


__all__ = ["Story", "tell"]
