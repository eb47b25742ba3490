"""Text that every front end shows alike: causes with belief, offers with their reason, the trail, a check's page.

Plain lines, no markup; each front end decides where they go.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass

from diag.call.desk import CallDesk
from diag.knowledge.model import Check
from diag.knowledge.vocabulary import Caution
from diag.reason.cautions import cautions_of_check, stopping
from diag.reason.explain import how, why_check, why_not
from diag.reason.judgement import LIKELY, OPEN
from diag.reason.next_check import Offer
from diag.record.graph import show_call_id
from diag.record.rows import show_rows
from diag.record.times import age_words
from diag.say.steps import reading_text as reading_text
from diag.say.steps import setting_words as setting_words
from diag.say.steps import trail_lines as trail_lines
from diag.text import count, number

BELIEF_WORDS: Mapping[str, str] = {
    "likely": "likely", "open": "open", "unlikely": "unlikely", "set_aside": "set aside",
}
ACTIONS: Mapping[str, str] = {
    "check": "ask or measure", "repair": "repair", "try": "try it, it can be put back",
    "drive_out": "drive out", "hand_over": "hand over",
    "prove": "measure again to prove the repair", "close": "close the call",
}
SUGGESTED: Mapping[str, str] = {
    "drive_out": "Time to decide: drive out.", "hand_over": "Time to decide: hand the call on.",
    "stop": "Stop the diagnosis here.", "homework": "Give homework and call back.",
    "close": "This can be closed.", "prove": "Measure again before anything else.",
}
SIGNS: Mapping[str, str] = {"likely": "##", "open": "# ", "unlikely": ". ", "set_aside": "- "}


@dataclass(frozen=True)
class CauseLine:
    """One cause as shown on the desk."""

    cause: str
    label: str
    belief: str
    sign: str
    percent: str
    change: str
    """ "up", "down", "new" or "" since the answer before."""
    note: str


def cause_lines(call: CallDesk, before: Mapping[str, float] | None = None, most: int = 12) -> list[CauseLine]:
    """Return the open causes (and at least three), best first."""
    lines = []
    knowledge = call.engine.knowledge
    for position, r in enumerate(call.think().judgement.ranking):
        if position >= most or (position >= 3 and r.belief not in (LIKELY, OPEN)):
            break
        old = (before or {}).get(r.cause)
        change = "" if old is None or abs(r.probability - old) < 0.02 else "up" if r.probability > old else "down"
        note = f"spoken against by {r.against}" if r.against else ""
        label = knowledge.causes[r.cause].label
        share = percent(r.probability)
        lines.append(CauseLine(r.cause, label, BELIEF_WORDS[r.belief], SIGNS[r.belief], share, change, note))
    return lines


def percent(share: float) -> str:
    """Return a share as shown on the desk: "17 %", "<1 %"."""
    return "<1 %" if share < 0.01 else f"{share:.0%}".replace("%", " %")


def rest_line(call: CallDesk) -> str:
    """Return how much is left for causes not listed, unknown ones and two at once, in words."""
    j = call.think().judgement
    open_ones = sum(r.belief in (LIKELY, OPEN) for r in j.ranking)
    parts = [count(open_ones, "cause") + " open", f"{len(j.ranking) - open_ones} unlikely or set aside"]
    if j.belief.mass_two >= 0.2:
        parts.append(f"two faults at once {percent(j.belief.mass_two)}")
    if not j.faults_known:
        parts.append("NONE OF THE KNOWN CAUSES FITS WELL")
    return "; ".join(parts)


def header(call: CallDesk) -> str:
    """Return one line that tells which call this is: id, customer, machine, rows, channel."""
    state = call.state
    parts = [show_call_id(call.call)]
    customer, machine = call.text_of("opened", "customer"), call.text_of("machine", "label")
    parts += [p for p in (customer, machine) if p]
    if state.machine.rows:
        parts.append(count(state.machine.rows, "row"))
    if state.situation.rows is not None:
        parts.append("all rows" if state.situation.rows == "all" else f"row {show_rows(state.situation.rows)}")
    parts.append("by phone" if state.channel == "phone" else "on site")
    if state.opened.practice:
        parts.append("PRACTICE")
    return " | ".join(parts)


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
        before = setting_words(change.before)
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
    return cautions_of_check(call.engine.knowledge, check, state.channel, state.situation.flags, raised)


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


def held_to(cautions: Iterable[Caution]) -> str:
    """Return cautions that were read and still hold, on one line: the worst word and what each is about."""
    words: dict[str, list[str]] = {}
    for caution in cautions:
        first = _FIRST.split(caution.text, maxsplit=1)[0]
        short = first if first.startswith("If ") else first.partition(",")[0]
        words.setdefault(caution.word, []).append(short.rstrip(".:,; "))
    return " ".join(f"{word}: {'; '.join(told)}." for word, told in words.items())


_FIRST = re.compile(r"[.!?](?:\s|$)")
"""Where the first clause of a caution ends."""


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
    for step in check.steps:
        yield "step", f"[{knowledge.states[step.state].label}] {step.do}"
    yield "expected", check.expected
    if offer is not None:
        yield "why", why_check(call.engine, offer)
    elif check.why:
        yield "why", check.why
    minutes = check.minutes
    if phone and minutes.desk is not None:
        grower = f", the grower {number(minutes.grower)} min" if minutes.grower else ""
        yield "takes", f"{number(minutes.desk)} min on the line{grower}"
    elif minutes.site is not None:
        yield "takes", f"{number(minutes.site)} min"
    if check.tools:
        yield "tools", ", ".join(knowledge.tools[t].label for t in check.tools)
    for s in check.stand_ins:
        what = knowledge.checks[s.check].asks if s.check else s.do or ""
        yield "instead", f"{what} (weaker: {s.weaker_in})"


def _last_change_first(call: CallDesk) -> list[str]:
    """Return the offer to put back what was changed last before the call, while nothing was repaired yet."""
    told = [d for d in call.state.done_before if d.before is not None and d.effect != "better"]
    if not told or call.state.repairs:
        return []
    last = max(told, key=lambda d: d.order or 0)
    now = f", now {setting_words(last.after)}" if last.after is not None else ""
    return [f"Changed last before the call: {last.what} (was {setting_words(last.before)}{now}). "
            "Putting that back first tells most."]


def outcome_choices(check: Check) -> list[tuple[str, str]]:
    """Return (outcome or item id, words) in the order written."""
    return [(name, o.says) for name, o in (check.items or check.outcomes).items()]


def how_lines(call: CallDesk, cause: str) -> list[str]:
    """Return why a cause is believed: each answer's weight, words first."""
    thought, engine = call.think(), call.engine
    knowledge = engine.knowledge
    lines = [knowledge.causes[cause].label + ":"]
    for w in how(engine, thought.read.case, thought.judgement, cause):
        if w.kind == "look":
            told = "; ".join(
                f"{knowledge.questions[c].asks}: {knowledge.questions[c].outcomes[o].says}"
                for c, o in zip(w.checks, w.outcomes, strict=True)
            )
        elif w.kind == "rule":
            told = f"rule {w.source}: {knowledge.rules[w.source].because}"
        elif w.kind == "symptoms":
            told = "complaint: " + ", ".join(knowledge.symptoms[s].label for s in w.checks)
        else:
            told = "how often it is the cause on such machines"
        words = "" if w.kind == "frequency" else f"{w.words}  "
        lines.append(f"  {words}[{w.log10:+.2f}]  {told}")
    lines.append("  [in powers of ten, against a cause nobody knows]")
    return lines


def why_not_line(call: CallDesk, cause: str) -> str:
    """Return why a cause is not at the top."""
    thought = call.think()
    return why_not(call.engine, thought.read.case, thought.judgement, cause)


def rule_lines(call: CallDesk, only: str | None = None) -> list[str]:
    """Return the rules that fired (or one of them): what they found, their reason and what they rest on."""
    knowledge = call.engine.knowledge
    where = {f.finding: f" (row {show_rows(f.rows)})" for f in call.think().judgement.findings if f.rows}
    lines = []
    for firing in call.think().judgement.firings:
        if only not in (None, firing.rule):
            continue
        rule = knowledge.rules[firing.rule]
        lines.append(f"{rule.id}: {rule.because}")
        if rule.then.finds:
            found = knowledge.findings[rule.then.finds]
            lines.append(f"    found: {found.label}{where.get(found.id, '')}")
        lines.append(f"    on {', '.join(firing.keys) or 'nothing but what is missing'}")
    return lines or ["No rule has fired."]


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
