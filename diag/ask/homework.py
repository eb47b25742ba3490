"""Several checks at once: homework for one walk to the machine, a field sheet, and typing it all back."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from diag.ask.answers import answer_form, choose, take_answer
from diag.ask.form import Field, Form, Values, keys_of, text_of
from diag.call.desk import CallDesk
from diag.errors import DiagError, UsageError
from diag.figures.rows import expand
from diag.knowledge.model import Check
from diag.record.times import clock, parse_when
from diag.say import present
from diag.text import number, rows_words, wrap

MOST = 3
LOOK_AT = 24
"""So many of the best checks are looked through for those the grower can do alone."""


def batch(call: CallDesk, most: int = MOST) -> list[str]:
    """Return the best checks for one walk to the machine, in an order that stops the engine once.

    Checks read with something running come first; what is done with hands comes after the stop.
    """
    engine = call.engine
    offers = engine.judge(call.think_case(), most=LOOK_AT).plan.offers
    questions = engine.knowledge.questions
    walk = [o.check for o in offers if questions[o.check].minutes.grower and "." not in o.check][:most]
    return sorted(walk, key=lambda key: (_stopped(call, questions[key]), walk.index(key)))


def _stopped(call: CallDesk, check: Check) -> bool:
    states = call.engine.knowledge.states
    return not any(states[s.state].engine for s in check.steps)


def message(call: CallDesk, checks: Sequence[str], until: str | None = None, now: datetime | None = None) -> str:
    """Return the homework as a short message: what to do, which figures to bring, when to call back."""
    knowledge = call.engine.knowledge
    lines = []
    words: dict[str, None] = {}
    for place, key in enumerate(checks, 1):
        check = knowledge.questions[key]
        lines.append(f"{place}. {check.phone or check.asks}")
        if check.read_back:
            lines.append(f"   Bring: {check.read_back}")
        for caution in present.cautions_now(call, check):
            if caution.word in ("DANGER", "WARNING"):
                words.setdefault(present.caution_line(caution, frozenset({caution.id})))
    mind = [w.removeprefix("WARNING: ").rstrip(".") for w in words if w.startswith("WARNING: ")]
    care = [w for w in words if w.startswith("DANGER")] + ([f"WARNING: {'. '.join(mind)}."] if mind else [])
    if until:
        told = clock(datetime.fromisoformat(until), now or call.desk.clock())
        lines.append(f"Call back: {told}.")
    return "\n".join([*care, *([""] if care else []), *lines])


def sheet(call: CallDesk, checks: Sequence[str], width: int = 78) -> str:
    """Return a field sheet of one page: cautions, checks, steps, blanks to write in."""
    knowledge = call.engine.knowledge
    lines = [present.header(call), ""]
    told: dict[str, None] = {}
    for key in checks:
        for caution in present.cautions_now(call, knowledge.questions[key]):
            told.setdefault(present.caution_line(caution, frozenset()))
    lines += [wrap(t, width) for t in told]
    for place, key in enumerate(checks, 1):
        check = knowledge.questions[key]
        lines += ["", f"{place}. {check.asks}"]
        lines += [wrap(f"{knowledge.states[s.state].label}: {s.do}", width, "   ") for s in check.steps]
        lines += [f"   {blank}" for blank in _blanks(call, check)]
    return "\n".join(lines)


def _blanks(call: CallDesk, check: Check) -> list[str]:
    if not check.measured:
        return [f"[ ] {o.says}" for o in check.outcomes.values()]
    machine, trouble = call.state.machine, call.state.situation.rows
    if check.takes.per == "row" and (machine.rows or (trouble and trouble != "all")):
        rows = expand("all", machine.rows) if machine.rows else tuple(trouble or ())
        cells = [f"row {r:>2} ______" for r in rows if isinstance(r, int)]
        return ["  ".join(cells[i : i + 4]) for i in range(0, len(cells), 4)]
    names = check.takes.labels or ("reading",)
    return ["   ".join(f"{name.replace('_', ' ')} ________" for name in names)]


def answers_form(call: CallDesk, checks: Sequence[str], units: str = "us", title: str = "Answers") -> Form:
    """Return one form over several checks, in the order given; what is left empty is not recorded."""
    fields: list[Field] = []
    for key in checks:
        check = call.engine.knowledge.questions[key]
        if check.takes.kind in ("choice", "yes_no"):
            fields.append(Field(key, check.asks, "pick", choices=tuple(present.outcome_choices(check))))
        else:
            long = check.takes.kind in ("spacings", "positions", "numbers", "log", "text")
            fields.append(Field(key, check.asks, "lines" if long else "line", answer_form(check, units)))
        fields.append(Field(f"{key}@", "  when", hint="e.g. 10:40, 2 h ago; empty: now"))

    def record(call: CallDesk, values: Values) -> None:
        bodies = [(key, _body(call, key, values, units)) for key in checks]
        given = [(key, body) for key, body in bodies if body]
        if not given:
            raise UsageError("Nothing is filled in.", title, "Answer at least one.")
        for key, body in given:
            call.answer(key, **body)

    return Form("answers", title, tuple(fields), record)


def _body(call: CallDesk, key: str, values: Values, units: str) -> dict[str, Any]:
    check = call.engine.knowledge.questions[key]
    text = text_of(values, key) or "".join(keys_of(values, key))
    if not text:
        return {}
    try:
        body: dict[str, Any] = (
            {"outcome": choose(check, text)} if check.takes.kind in ("choice", "yes_no")
            else take_answer(call, check, text, units)
        )
        happened = parse_when(text_of(values, f"{key}@"), call.desk.clock(), check.asks, past=True)
    except DiagError as error:
        raise type(error)(error.what, check.asks, error.remedy) from None
    return {**body, **({"happened": happened} if happened else {})}


def card(call: CallDesk, width: int = 78) -> str:
    """Return the hand-over card of one page: who, machine, complaint, what was seen, what is believed, what is next."""
    state = call.state
    told = [present.header(call), ""]
    words = call.text_of("complaint", "words")
    told += [wrap(f'They say: "{words}"', width)] if words else []
    told.append("Believed now:")
    told += [f"  {c.chance:<12} {c.label}" for c in present.cause_lines(call, most=5)]
    told.append("Recorded:")
    told += [wrap(line, width, "  ") for event, line in present.trail_lines(call)]
    told += ["! " + w for w in present.warnings(call)]
    flags = call.engine.knowledge.flags
    care = ", ".join(flags[f].label for f in state.situation.flags if f in flags)
    told += [f"Take care: {care}"] if care else []
    told.append("Next:")
    told += [wrap(call.engine.knowledge.questions[o.check].asks, width, "  ") for o in call.offers()]
    rests = present.rests_on(call)
    told += ["Ask again on arrival:", *(wrap(r, width, "  ") for r in rests)] if rests else []
    return "\n".join(told)


def short_card(call: CallDesk) -> str:
    """Return the hand-over in a text message."""
    top = present.cause_lines(call, most=2)
    rows = call.state.situation.rows
    where = f" {rows_words(rows).capitalize()}." if rows else ""
    causes = "; ".join(f"{c.label} ({c.chance})" for c in top)
    offers = call.offers()
    next_one = f" Next: {call.engine.knowledge.questions[offers[0].check].asks}." if offers else ""
    minutes = call.minutes()
    return f"{present.header(call)}.{where} {causes}.{next_one} {number(minutes['desk'])} min on the line so far."
