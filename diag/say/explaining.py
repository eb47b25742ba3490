"""What can be looked into: why this check, how a belief came about, what would happen if, rules, charts, entries."""

from __future__ import annotations

from dataclasses import dataclass

from diag.call.desk import CallDesk
from diag.call.looks import whole_of
from diag.knowledge.model import Check
from diag.reason.judgement import Judgement
from diag.say import present
from diag.text import rows_words, wrap

TOP = 8


@dataclass(frozen=True)
class Topic:
    """One thing to look into; `entry` is the (kind, id) of the knowledge behind it."""

    key: str
    title: str
    entry: tuple[str, str] | None = None


def topics(call: CallDesk, check: str | None) -> list[Topic]:
    """Return what can be looked into now, the check asked first."""
    knowledge = call.engine.knowledge
    found = [Topic("warnings", "What must be seen")] if present.warnings(call) else []
    if check is not None:
        asks = knowledge.questions[check].asks
        whole = whole_of(call, check)
        entry = ("checks", whole.id if whole else check)
        found += [
            Topic(f"check:{check}", f"Why this check: {asks}", entry),
            Topic(f"if:{check}", f"What if: {asks}", entry),
        ]
    for r in call.think().judgement.ranking[:TOP]:
        found.append(Topic(f"cause:{r.cause}", f"Belief: {knowledge.causes[r.cause].label}", ("causes", r.cause)))
    found.append(Topic("rules", "Rules that fired"))
    for firing in call.think().judgement.firings:
        because = knowledge.rules[firing.rule].because
        found.append(Topic(f"rule:{firing.rule}", f"Why: {because}", ("rules", firing.rule)))
    if any(s.evaluated.analysed for s in call.think().read.seen.values()):
        found.append(Topic("charts", "Charts of the readings"))
    return found


def told(call: CallDesk, key: str, width: int = 78) -> str:
    """Return a topic told in full, folded to `width`. Slow for "if" (one judgement per outcome)."""
    kind, _, name = key.partition(":")
    if kind == "warnings":
        lines = ["! " + w for w in present.warnings(call)]
    elif kind == "check":
        lines = why_lines(call, name)
    elif kind == "if":
        lines = what_if_lines(call, name)
    elif kind == "cause":
        lines = [*present.how_lines(call, name), "", present.why_not_line(call, name)]
    elif kind == "rules":
        lines = present.rule_lines(call)
    elif kind == "rule":
        lines = present.rule_lines(call, name)
    else:
        return chart_text(call, width)
    return "\n".join(wrap(line, width) for line in lines)


def why_lines(call: CallDesk, check: str) -> list[str]:
    """Return why a check is asked: its reason, what it tells apart, minutes; figures last."""
    entry: Check = call.engine.knowledge.questions[check]
    offer = next((o for o in call.offers() if o.check == check), None)
    lines = [entry.asks + ":"]
    told = list(present.check_lines(call, entry, offer))
    lines += [f"  {text}" for part, text in told if part == "why"]
    lines += [f"  {present.PARTS[part]}: {text}" for part, text in told if part not in ("why", "asks", "say")]
    if offer is None:
        lines.append("  It was taken by hand; it is not one of the best three now.")
    else:
        lines.append(f"  Asked now, it saves about {offer.saves_minutes:.0f} min against mending at once.")
    return lines


def what_if_lines(call: CallDesk, check: str) -> list[str]:
    """Return, per possible answer, what would then be believed; nothing is recorded."""
    knowledge = call.engine.knowledge
    now = {r.cause: r.probability for r in call.think().judgement.ranking}
    lines = [f"{knowledge.questions[check].asks}: what each answer would do."]
    for outcome, words in present.outcome_choices(knowledge.questions[check]):
        lines.append(f"if {words}:")
        lines += [f"    {text}" for text in _believed(call, call.what_if(check, outcome), now)]
    return lines


def _believed(call: CallDesk, judgement: Judgement, now: dict[str, float], most: int = 3) -> list[str]:
    causes = call.engine.knowledge.causes
    lines = []
    for r in judgement.ranking[:most]:
        step = r.probability - now.get(r.cause, 0.0)
        moved = "" if abs(step) < 0.02 else " up" if step > 0 else " down"
        share = present.chance_words(r.probability)
        lines.append(f"{present.BELIEF_WORDS[r.belief]}: {causes[r.cause].label} ({share}{moved})")
    return lines


def chart_text(call: CallDesk, width: int) -> str:
    """Return the charts of all readings, each under its check."""
    parts = []
    for one in call.think().read.seen.values():
        analysed = one.evaluated.analysed
        if analysed is None:
            continue
        check = call.engine.knowledge.questions[one.answer.check]
        where = f", {rows_words(one.answer.rows)}" if one.answer.rows not in (None, "all") else ""
        parts.append("\n".join([check.asks + where, wrap(analysed.words, width), *analysed.charts(width)]))
    return "\n\n".join(parts) or "No reading has been worked out yet."


def last_charts(call: CallDesk, width: int) -> list[tuple[str, list[str]]]:
    """Return the picture of the reading taken last, and that of the same check before the repair beside it."""
    found: list[tuple[str, list[str]]] = []
    done = [(one.answer, one.evaluated.analysed) for one in call.think().read.seen.values() if one.evaluated.analysed]
    if not done:
        return []
    last = done[-1][0]
    before = [d for d in done if d[0].check == last.check and d[0].epoch < last.epoch]
    for title, (answer, analysed) in (("Last reading", done[-1]), *(("Before the repair", d) for d in before[-1:])):
        drawn = [line for chart in analysed.charts(width) for line in chart.splitlines()]
        if drawn:
            found.append((title, [call.engine.knowledge.questions[answer.check].asks, *drawn]))
    return found


def entry_text(call: CallDesk, kind: str, key: str) -> str:
    """Return the knowledge entry behind an id, to be read."""
    from diag.knowledge.show import show

    return show(call.engine.knowledge, kind, key)
