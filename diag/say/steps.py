"""What was recorded, step by step, in words: answers with their readings, settings, changes, what was told."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import datetime
from typing import Any

from diag import figures
from diag.call.desk import CallDesk
from diag.figures.rows import show_rows
from diag.knowledge.model import Check
from diag.reason.cautions import spoken
from diag.reason.judge import applicable
from diag.record.kinds import KINDS, Answer
from diag.record.state import TrailStep
from diag.record.times import age_words, clock
from diag.store.listing import WAITS
from diag.text import count, rows_words
from diag.units import value_words

NONE_TOLD = {"changes": "nothing changed before", "flags": "nothing special about the place"}


def reading_text(answer: Answer, check: Check | None) -> str:
    """Return what was answered, in words and with units."""
    if answer.status == "unsure":
        return "not sure"
    if answer.status == "cannot_here":
        return "can't be done here"
    if answer.outcome is not None:
        return check.outcomes[answer.outcome].says if check and answer.outcome in check.outcomes else answer.outcome
    return figures.reading_words({name: getattr(answer, name) for name in figures.READINGS}) or "noted"


def answer_words(check: Check, outcome: str) -> str:
    """Return a question with an answer; once, where its words are its question (one item of a list)."""
    says = check.outcomes[outcome].says
    return says if says == check.asks else f"{check.asks}: {says}"


def step_texts(call: CallDesk) -> list[tuple[str, str]]:
    """Return (event id, words) for everything recorded, in order."""
    answers = {a.event: a for a in call.state.answers}
    told = ((step.event, _step_text(call, step, answers.get(step.event))) for step in call.state.trail)
    return [(event, text) for event, text in told if text]


def trail_lines(call: CallDesk) -> list[tuple[str, str]]:
    """Return (event id, line) for everything recorded, in order; what was taken back is marked."""
    steps = {s.event: s for s in call.state.trail}
    return [(event, f"{steps[event].number:>3} {text}{'' if steps[event].live else ' (taken back)'}")
            for event, text in step_texts(call)]


def _step_text(call: CallDesk, step: TrailStep, answer: Answer | None) -> str:
    if step.kind == "answer":
        return _answer_text(call, step, answer)
    if step.kind in _SAID:
        return _SAID[step.kind](call, step)
    says = KINDS[step.kind].SAYS if step.known else "an event of a newer program"
    return says.format_map({k: value_words(v) if isinstance(v, Mapping) else str(v).replace("_", " ")
                            for k, v in step.body.items()})


def _answer_text(call: CallDesk, step: TrailStep, answer: Answer | None) -> str:
    check = call.engine.knowledge.questions.get(step.body["check"])
    asks = check.asks if check else f"{step.body['check']} (no longer known)"
    rows = step.body.get("rows")
    where = "" if rows in (None, "all") else f", {rows_words(rows)}"
    if answer is None:
        return f"{asks}{where}"
    seen = call.seen(step.event)
    told = reading_text(answer, check)
    if seen and answer.outcome is None and seen.evaluated.outcome and check:
        told += f" = {check.outcomes[seen.evaluated.outcome].says}"
    elif seen and answer.status == "given" and not seen.evaluated.outcome:
        told += f" (no verdict: {seen.evaluated.reason})"
    told = "yes" if told == asks else told  # one item of a list: its words are its question
    return f"{asks}{where}: {told}{_beside(call, answer)}"


def _complaint_text(call: CallDesk, step: TrailStep) -> str:
    symptoms = call.engine.knowledge.symptoms
    named = [symptoms[s["id"]].label if s["id"] in symptoms else s["id"] for s in step.body.get("accepted", ())]
    return "complaint: " + (", ".join(named) or call.personal.get(step.event, {}).get("words", "in words"))


def _repair_text(call: CallDesk, step: TrailStep) -> str:
    causes = call.engine.knowledge.causes
    labels = [causes[c].label if c in causes else c for c in step.body.get("causes", ())]
    words = call.personal.get(step.event, {}).get("words", "")
    return ("mended: " if step.body["kind"] == "repair" else "for now: ") + "; ".join(labels) + (
        f" ({words})" if words else "")


def _told_text(call: CallDesk, step: TrailStep) -> str:
    label = call.personal.get(step.event, {}).get("label", "")
    told = "; ".join(t for t in (label, body_words(call, step.body)) if t)
    return ("machine: " if step.kind == "machine" else "told: ") + told


def _change_text(call: CallDesk, step: TrailStep) -> str:
    body = step.body
    rows = f" {rows_words(body['rows'])}" if body.get("rows") not in (None, "all") else ""
    was = f" from {value_words(body['before'])}" if "before" in body else ""
    test = ", for a test" if body.get("temporary") else ""
    return f"changed: {body.get('setting') or body.get('part')}{rows}{was} to {value_words(body['after'])}{test}"


def _waiting_text(call: CallDesk, step: TrailStep) -> str:
    if step.body["for"] == "none":
        return "in work again"
    until = step.body.get("until")
    return WAITS.get(step.body["for"], f"waiting for {step.body['for']}") + (
        f" until {clock(datetime.fromisoformat(until), call.desk.clock())}" if until else "")


def _seat(place: object) -> str:
    return "the shelf" if place == "spare" else f"row {place}"


def _caution_text(call: CallDesk, step: TrailStep) -> str:
    """Return what was said or read, and to whom."""
    knowledge, name = call.engine.knowledge, step.body["caution"]
    words = spoken(knowledge).get(name) or (knowledge.cautions[name].text if name in knowledge.cautions else "")
    head = "said to the caller, " if step.body.get("shown_to") == "grower" else "read, "
    return f'{head}"{words}"' if words and step.body["acknowledged"] != "none" else ""


_SAID: dict[str, Callable[[CallDesk, TrailStep], str]] = {
    "complaint": _complaint_text, "repair": _repair_text, "machine": _told_text, "situation": _told_text,
    "change": _change_text, "waiting": _waiting_text, "caution": _caution_text,
    "note": lambda call, step: f"noted: {call.personal.get(step.event, {}).get('text', '')}",
    "photo": lambda call, step: f"photo: {call.personal.get(step.event, {}).get('text', '')}".rstrip(": "),
    "swap": lambda _, step: f"swapped: the {step.body['piece']} of {_seat(step.body['from_row'])} and "
                            f"{_seat(step.body['to_row'])}",
    "channel": lambda _, step: "goes on by phone" if step.body["channel"] == "phone" else "goes on on site",
}
"""By kind: what its step says where the words of the kind do not do."""


def _beside(call: CallDesk, answer: Answer) -> str:
    """Return what must be known beside an answer: its age by phone, a piece of another row, another machine."""
    told = []
    if answer.channel == "phone" and call.state.channel == "site":
        told.append(f"by phone, {age_words(answer.at, call.desk.clock())}")
    for piece, seats in answer.pieces.items():
        told += [f"row {row}, {piece} from {'the shelf' if home == 'spare' else home}" for row, home in seats.items()]
    known = answer.check in call.engine.knowledge.questions
    if known and not applicable(call.engine, answer.check, call.think().read.case):
        told.append("does not apply to this machine")
    if answer.epoch < call.state.epoch:
        told.append("before the repair")
    return f" ({'; '.join(told)})" if told else ""


def body_words(call: CallDesk, body: Mapping[str, Any]) -> str:
    """Return what a machine profile or a situation says, in words: name and value of each field."""
    knowledge = call.engine.knowledge
    labels = {"seed_lot_code": "seed lot", "crop": ""}
    told = []
    for name, value in body.items():
        if name in ("changes", "flags"):
            named = knowledge.changes if name == "changes" else knowledge.flags
            told.append(", ".join(named[v].label if v in named else v for v in value) or NONE_TOLD[name])
        elif name == "without":
            labels_of = [knowledge.tools[t].label if t in knowledge.tools else t for t in value]
            told.append("not at hand: " + (", ".join(labels_of) or "nothing"))
        elif name == "axes":
            told += [_axis_words(call, axis, chosen) for axis, chosen in value.items()]
        elif name == "book":
            told += [f"{knowledge.book[n].label if n in knowledge.book else n.replace('_', ' ')} {value_words(v)}"
                     for n, v in value.items()]
        elif name == "sections":
            told += [f"{s['name']} {show_rows(s['rows'])}" for s in value]
        elif name == "rows":
            told.append(count(value, "row") if isinstance(value, int) else rows_words(value))
        else:
            label = labels.get(name, name.replace("_", " "))
            text = value_words(value)
            told.append(text if text.startswith(f"{label} ") else f"{label} {text}".strip())
    return "; ".join(t for t in told if t)


def _axis_words(call: CallDesk, axis: str, chosen: object) -> str:
    entry = call.engine.knowledge.axes.get(axis)
    labels = {v.name: v.label for v in entry.values} if entry else {}
    values = chosen if isinstance(chosen, list) else [chosen]
    named = [labels[str(v)] for v in values if str(v) in labels]
    return " and ".join(named) or f"{entry.label if entry else axis.replace('_', ' ')} not known"
