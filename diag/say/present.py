"""Text that every front end shows alike: causes with belief, offers with their reason, the trail, a check's page.

Plain lines, no markup; each front end decides where they go.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from diag.call.desk import CallDesk
from diag.call.proof import proofs_of
from diag.knowledge.model import Check
from diag.knowledge.vocabulary import Caution
from diag.reason.cautions import cautions_of_check, stopping
from diag.reason.explain import how, why_check, why_not
from diag.reason.feasible import rows_to_read
from diag.reason.judge import applicable
from diag.reason.judgement import LIKELY, OPEN
from diag.reason.next_check import Offer
from diag.record.kinds import KINDS
from diag.record.times import age_words
from diag.say.steps import answer_words as answer_words
from diag.say.steps import reading_text as reading_text
from diag.say.steps import step_texts as step_texts
from diag.say.steps import trail_lines as trail_lines
from diag.text import count, number, rows_words
from diag.units import value_words

BELIEF_WORDS: Mapping[str, str] = {
    "likely": "likely", "open": "open", "unlikely": "unlikely", "set_aside": "set aside",
}
ACTIONS: Mapping[str, str] = {
    "repair": "Put this right", "try": "Try this, it can be put back", "drive_out": "Drive out",
    "hand_over": "Hand the call over", "prove": "Measure again: only that shows that it is mended",
    "close": "Close the call",
}
TO_MEND: Mapping[str, str] = {"drive_out": " to mend this:", "hand_over": " to have this mended:"}
READ_SINCE: Mapping[str, str] = {"accepted": "Measured, and good", "not_accepted": "Measured, and not right"}
AGAINST = "Accepted by a person, not shown by the readings"
PARTS: Mapping[str, str] = {
    "read back": "hear back", "step": "how", "expected": "on a sound machine", "takes": "takes",
    "instead": "without the tool", "ends": "mind",
}
"""Parts of a check's page as they are called beside their text."""
SUGGESTED: Mapping[str, str] = {
    "drive_out": "Time to decide: drive out.", "hand_over": "Time to decide: hand the call on.",
    "stop": "Stop the diagnosis here.", "homework": "Give homework and call back.",
    "close": "This can be closed.", "prove": "Measure again before anything else.",
}
CHANCES = ((0.97, "all but sure"), (0.85, "9 in 10"), (0.775, "4 in 5"), (0.71, "3 in 4"), (0.585, "2 in 3"),
           (0.415, "1 in 2"), (0.29, "1 in 3"), (0.225, "1 in 4"), (0.15, "1 in 5"), (0.075, "1 in 10"),
           (0.03, "1 in 20"), (0.0, "slight"))
"""From which chance on which words."""
BAR = 10
"""Cells of a full bar."""
MOVED = 0.02
"""A change of chance that is worth a sign."""


@dataclass(frozen=True)
class CauseLine:
    """One cause as shown on the desk."""

    label: str
    belief: str
    chance: str
    """In words: "1 in 5"."""
    share: float
    sign: str
    """ "+" more likely since the answer before, "-" less, "*" new among those shown, else blank."""


def cause_lines(call: CallDesk, before: Mapping[str, float] | None = None, most: int = 12) -> list[CauseLine]:
    """Return the open causes (and at least three), best first."""
    lines = []
    knowledge = call.engine.knowledge
    for position, r in enumerate(call.think().judgement.ranking):
        if position >= most or (position >= 3 and r.belief not in (LIKELY, OPEN)):
            break
        old = (before or {}).get(r.cause)
        moved = 0.0 if old is None else r.probability - old
        sign = " " if abs(moved) < MOVED else "+" if moved > 0 else "-"
        label = knowledge.causes[r.cause].label
        words = BELIEF_WORDS[r.belief], chance_words(r.probability)
        lines.append(CauseLine(label, *words, r.probability, sign))
    return lines


def bar(share: float, cells: int = BAR) -> str:
    """Return a short bar of so many cells, at least one of them full."""
    return ("■" * max(1, round(share * cells))).ljust(cells)


def chance_words(share: float) -> str:
    """Return a chance in words people use: "1 in 5"."""
    return next(words for least, words in CHANCES if share >= least)


def rest_line(call: CallDesk, shown: int = 0) -> str:
    """Return what stands behind the causes shown: how many more, two at once, nothing in the book."""
    j = call.think().judgement
    more = sum(r.belief in (LIKELY, OPEN) for r in j.ranking) - shown
    parts = ["This does not look like anything in the book."] if not j.faults_known else []
    parts += [f"Two faults at once: {chance_words(j.belief.mass_two)}."] if j.belief.mass_two >= 0.2 else []
    parts += [f"{more} more can still be it."] if more > 0 else []
    return " ".join(parts)


def header(call: CallDesk) -> str:
    """Return which call this is, in words: customer, machine, rows in trouble, by phone or on site."""
    state = call.state
    parts = [p for p in (call.text_of("opened", "customer"), call.text_of("machine", "label")) if p]
    rows, of = state.situation.rows, state.machine.rows
    if rows is not None:
        where = rows_words(rows)
        parts.append(where + (f" of {of}" if of else ""))
    elif of:
        parts.append(count(of, "row"))
    parts.append("by phone" if state.channel == "phone" else "on site")
    if state.opened.practice:
        parts.append("PRACTICE")
    return " · ".join(parts)


def machine_words(call: CallDesk) -> str:
    """Return how this machine differs from others, in words."""
    crop = call.state.situation.crop
    held = {**call.state.machine.axes, **({"crop": crop} if crop else {})}
    axes = call.engine.knowledge.axes
    told = {(a, v.name): v.label for a in held if a in axes for v in axes[a].values}
    return ", ".join(told[named] for named in held.items() if named in told)


def worth_doing_words(call: CallDesk) -> str:
    """Return what is worth doing now when that is no check; "" when a check is."""
    judgement = call.think().judgement
    if judgement.action in ("check", "measure_again"):
        return ""
    text = ACTIONS[judgement.action]
    if judgement.action == "prove" and (read := _read_since(call)):
        return read
    if judgement.plan.repair:
        cause = call.engine.knowledge.causes[judgement.plan.repair]
        text += f"{TO_MEND.get(judgement.action, ':')} {cause.label}. About {cause.repair.minutes:g} min"
    return f"{text}."


def _read_since(call: CallDesk) -> str:
    """Return what the readings since the last repair say of it, "" while they are too few to say anything."""
    last = list(proofs_of(call).values())[-1]
    if last.says not in READ_SINCE:
        case = call.think_case()
        read = any(i.epoch == case.epoch and i.given for i in case.instances)
        return f"Not shown yet: {last.why.rstrip('.')}. Measure again." if read else ""
    return f"{READ_SINCE[last.says]}: {last.why.rstrip('.')}. The verdict is yours."


def _repair_words(call: CallDesk, causes: Iterable[str]) -> str:
    known = call.engine.knowledge.causes
    return "; ".join(known[c].label if c in known else c for c in causes)


def proved_lines(call: CallDesk) -> list[str]:
    """Return what was mended, and what showed that it is mended."""
    answers = {a.event: a for a in call.state.answers}
    lines, judged = [], proofs_of(call)
    for repair in call.state.repairs:
        proofs = [p for p in call.state.proofs if p.target == repair.event][-1:]
        proofs = [p for p in proofs if p.verdict == "accepted"]  # the last verdict holds
        words = call.personal.get(repair.event, {}).get("words", "") or _repair_words(call, repair.causes)
        against = repair.event in judged and judged[repair.event].against
        head = "Done, not shown" if not proofs else AGAINST if against else "Mended and shown"
        lines.append(f"{head}: {words.rstrip('.')}.")
        for answer in (answers[e] for p in proofs for e in p.answers if e in answers):
            check = call.engine.knowledge.questions.get(answer.check)
            lines.append(f"Afterwards, {check.asks if check else answer.check}: {reading_text(answer, check)}.")
    return lines


def ended_lines(call: CallDesk) -> list[str]:
    """Return how a closed call ended."""
    closed = call.state.closed
    result = closed.result.replace("_", " ") if closed else ""
    return [f"Closed: {result}.", *proved_lines(call)]


def act_words(call: CallDesk, events: Iterable[str]) -> str:
    """Return what an act of the user recorded, in words on one line; "" when it shows nowhere."""
    wanted, plain = set(events), _as_usual(call)
    told = [text for event, text in sorted(step_texts(call), key=lambda t: t[0] in plain) if event in wanted]
    return told[0] + (f" (and {len(told) - 1} more)" if len(told) > 1 else "") if told else ""


def _as_usual(call: CallDesk) -> frozenset[str]:
    """Return the answers that found nothing out of order: told after those that did."""
    asked = call.engine.knowledge.questions
    return frozenset(a.event for a in call.state.answers
                     if a.check in asked and a.outcome in asked[a.check].outcomes
                     and asked[a.check].outcomes[a.outcome].normal)


def last_act(call: CallDesk, events: Iterable[str] = ()) -> tuple[str, bool]:
    """Return what was recorded last and still stands, in words, and whether it can be taken back.

    `events`: those of the last act where it is known; else the last step that stands is told.
    """
    live = {s.event: s for s in call.state.trail if s.live and s.known}
    acted = [e for e in events if e in live]
    text = act_words(call, acted)
    if not text:
        text, acted = next(((t, [e]) for e, t in reversed(step_texts(call)) if e in live), ("", []))
    return text, any(KINDS[live[e].kind].WITHDRAWABLE for e in acted)


def cost_words(call: CallDesk, check: Check) -> str:
    """Return what a check costs: minutes on the line, or here, and the tools it takes."""
    minutes = check.minutes
    told = []
    if call.state.channel == "phone" and minutes.desk is not None:
        told.append(f"{number(minutes.desk)} min on the line")
        told += [f"the grower {number(minutes.grower)} min"] if minutes.grower else []
    else:
        on_site = minutes.on_site(rows_to_read(call.think_case(), call.engine.tables))
        told += [] if on_site is None else [f"{number(on_site)} min"]
    return ", ".join([*told, *(call.engine.knowledge.tools[t].label for t in check.tools)])


def warnings(call: CallDesk) -> list[str]:
    """Return what must be seen now: conflict, traps, time to decide, changes not put back."""
    thought = call.think()
    knowledge = call.engine.knowledge
    lines = []
    for c in thought.judgement.conflicts:
        asks = knowledge.questions[c.check].asks
        lines.append(f"The answers do not hang together. Least fitting: {asks}. Take it again.")
    for s in thought.judgement.said:
        if s.kind in ("warns", "advises"):
            lines.append(s.text)
        elif s.kind == "suggests":
            lines.append(SUGGESTED[s.text])
        elif s.kind == "asks_again":
            lines.append(f"Take again: {knowledge.checks[s.text].asks}.")
    for change in thought.state.not_put_back:
        before = value_words(change.before)
        lines.append(f"Not put back: {change.name}" + (f" (was {before})" if before else "") + ".")
    lines += _last_change_first(call)
    for lost in thought.read.no_longer_known:
        lines.append(f"{lost}: no longer known; it moves nothing.")
    return list(dict.fromkeys(lines))


# --- a check's page -----------------------------------------------------------------------------------


def cautions_now(call: CallDesk, check: Check) -> tuple[Caution, ...]:
    """Return the cautions that come before a check in this call, worst first."""
    raised = [s.text for s in call.think().judgement.said if s.kind == "caution"]
    state = call.state
    axes = call.state.machine.axes
    return cautions_of_check(call.engine.knowledge, check, state.channel, state.situation.flags, raised=raised,
                             machine=axes)


def stopping_now(call: CallDesk) -> tuple[Caution, ...]:
    """Return the cautions for which nothing more is asked: somebody is hurt, a line is touched, someone drives."""
    raised = [s.text for s in call.think().judgement.said if s.kind == "caution"]
    return stopping(call.engine.knowledge, call.state.channel, call.state.situation.flags, raised)


def shown_to(call: CallDesk) -> str:
    """Return to whom cautions are shown now: the grower on the phone, the technician on site."""
    return "grower" if call.state.channel == "phone" else "technician"


def caution_line(caution: Caution, acknowledged: frozenset[str]) -> str:
    """Return a caution in full, or its word and first sentence once it was acknowledged."""
    if caution.id in acknowledged:
        return f"{caution.word}: {caution.text.split('. ')[0].rstrip('.')}."
    who = f" ({'; '.join(caution.defers_to)})" if caution.defers_to else ""
    return f"{caution.word}: {caution.text}{who}"


def step_lines(call: CallDesk, check: Check) -> tuple[str, ...]:
    """Return a check's steps, each headed by the state the machine is in where that changes."""
    states = call.engine.knowledge.states
    lines, before = [], ""
    for step in check.steps:
        label = states[step.state].label if states[step.state].spoken else ""
        head = f"{label[:1].upper()}{label[1:]}: " if label and label != before else ""
        before = label or before
        lines.append(head + step.do)
    return tuple(lines)


def check_lines(call: CallDesk, check: Check, offer: Offer | None = None) -> Iterator[tuple[str, str]]:
    """Yield (part, text) of a check's page in reading order: question, what it changes, steps, why, minutes."""
    knowledge = call.engine.knowledge
    phone = call.state.channel == "phone"
    if phone and check.phone:
        yield "say", f'"{check.phone}"'
        if check.read_back:
            yield "read back", check.read_back
    else:
        yield "asks", check.asks + "."
    for text in check.destroys:
        yield "ends", f"This changes evidence: {text}. Read or photograph it first."
    for text in step_lines(call, check):
        yield "step", text
    yield "expected", check.expected
    if offer is not None:
        yield "why", why_check(call.engine, offer)
    elif check.why:
        yield "why", check.why
    yield "takes", cost_words(call, check)
    for s in check.stand_ins:
        what = knowledge.checks[s.check].asks if s.check else s.do or ""
        yield "instead", f"{what} (weaker: {s.weaker_in})"


def _last_change_first(call: CallDesk) -> list[str]:
    """Return the offer to put back what was changed last before the call, while nothing was repaired yet."""
    told = [d for d in call.state.done_before if d.before is not None and d.effect != "better"]
    if not told or call.state.repairs:
        return []
    last = max(told, key=lambda d: d.order or 0)
    now = f", now {value_words(last.after)}" if last.after is not None else ""
    return [f"Changed last before the call: {last.what} (was {value_words(last.before)}{now}). "
            "Putting that back first tells most."]


def outcome_choices(check: Check) -> list[tuple[str, str]]:
    """Return (outcome or item id, words) in the order written."""
    return [(name, o.says) for name, o in (check.items or check.outcomes).items()]


def applies(call: CallDesk, check: str) -> bool:
    """Tell whether a check fits this machine, as far as it is known."""
    return applicable(call.engine, check, call.think().read.case)


def how_lines(call: CallDesk, cause: str) -> list[str]:
    """Return why a cause is believed: each answer's weight, words first."""
    thought, engine = call.think(), call.engine
    knowledge = engine.knowledge
    lines = [knowledge.causes[cause].label + ":"]
    for w in how(engine, thought.read.case, thought.judgement, cause):
        if w.kind == "look":
            told = "; ".join(
                answer_words(knowledge.questions[c], o)
                for c, o in zip(w.checks, w.outcomes, strict=True)
            )
        elif w.kind == "rule":
            told = knowledge.rules[w.source].because
        elif w.kind == "symptoms":
            told = "complaint: " + ", ".join(knowledge.symptoms[s].label for s in w.checks)
        else:
            told = "how often it is the cause on such machines"
        lines.append("  " + (told if w.kind == "frequency" else f"{w.words}: {told}"))
    return lines


def why_not_line(call: CallDesk, cause: str) -> str:
    """Return why a cause is not at the top."""
    thought = call.think()
    return why_not(call.engine, thought.read.case, thought.judgement, cause)


def rule_lines(call: CallDesk, only: str | None = None) -> list[str]:
    """Return the rules that fired (or one of them): what they found, their reason and what they rest on."""
    where = {f.finding: f" ({rows_words(f.rows)})" for f in call.think().judgement.findings if f.rows}
    knowledge = call.engine.knowledge
    lines = []
    for firing in call.trace():
        if only not in (None, firing.rule):
            continue
        rule = knowledge.rules[firing.rule]
        asks = (knowledge.questions[k].asks for k in firing.keys if k in knowledge.questions)
        lines.append(rule.because)
        if rule.then.finds:
            found = knowledge.findings[rule.then.finds]
            lines.append(f"    found: {found.label}{where.get(found.id, '')}")
        lines.append(f"    rests on: {'; '.join(asks) or 'what was told, or what is missing'}")
    return lines or ["No rule speaks yet."]


# --- hand-over ----------------------------------------------------------------------------------------


def rests_on(call: CallDesk, most: int = 2) -> list[str]:
    """Return the phone answers the leading cause rests on most, with their age: to be taken again on site."""
    thought, engine = call.think(), call.engine
    ranking = thought.judgement.ranking
    answers = {a.event: a for a in call.state.answers if a.channel == "phone"}
    if not ranking or not answers:
        return []
    weights = [w for w in how(engine, thought.read.case, thought.judgement, ranking[0].cause)
               if w.kind == "look" and any(e in answers for e in w.events)]
    weights.sort(key=lambda w: (-abs(w.log10), w.source))
    lines = []
    for w in weights[:most]:
        event = next(e for e in w.events if e in answers)
        check = engine.knowledge.questions[answers[event].check]
        since = age_words(answers[event].at, call.desk.clock())
        lines.append(f"{check.asks}: {reading_text(answers[event], check)} (by phone, {since})")
    return lines
