"""Rules that can never fire, that fire with nothing known, or that speak of machines they are not for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from itertools import islice, pairwise, product

from diag.knowledge import model
from diag.knowledge.base import Fault, Knowledge
from diag.knowledge.condition import When
from diag.knowledge.lint.meets import can_meet

MOST_CASES = 20_000
"""Cases tried for one rule; rules with more are not decided."""

NOTHING = ""
Case = Mapping[str, str]
"""One state of the facts a rule looks at: variable -> value, NOTHING when not known."""


CONFIRMS = 8.0
"""Least ratio of the strongest mark word."""


def flaws(knowledge: Knowledge) -> Iterator[Fault]:
    """Yield mark words out of order, rules that never or always fire, and clashes of axes."""
    yield from _words(knowledge)
    concluded = {str(rule.then.finds) for rule in knowledge.rules.values() if rule.then.finds}
    for key, rule in knowledge.rules.items():
        yield from _fires(knowledge, key, rule, concluded)
        yield from _machines(knowledge, key, rule)


def _words(k: Knowledge) -> Iterator[Fault]:
    """A rule tops up to the ratio of its word, so the order of the words is the order of their effect."""
    words = list(k.marks.values())
    for stronger, weaker in pairwise(words):
        if stronger.ratio <= weaker.ratio:
            what = f"Acts {weaker.ratio:g}, {stronger.name} before it acts {stronger.ratio:g}."
            yield ("marks", weaker.name), what, "Write the words from the strongest for to the strongest against."
    if words and words[0].ratio < CONFIRMS:
        what = f"The strongest word acts {words[0].ratio:g}."
        yield ("marks", words[0].name, "ratio"), what, f"At least {CONFIRMS:g}: what is found must be believed."


def _fires(k: Knowledge, key: str, rule: model.Rule, concluded: set[str]) -> Iterator[Fault]:
    variables = _variables(k, rule, concluded)
    some = islice(product(*variables.values()), MOST_CASES)
    cases = [dict(zip(variables, case, strict=True)) for case in some]
    if _holds(rule.when, dict.fromkeys(variables, NOTHING)):
        yield ("rules", key, "when"), "Fires with nothing known.", "Rest it on something that was seen."
    elif len(cases) < MOST_CASES and not any(_holds(rule.when, case) for case in cases):
        yield ("rules", key, "when"), "Can never fire.", "Its conditions exclude one another."


def _holds(when: When, case: Case) -> bool:
    """Return whether a condition holds in one state of the facts."""

    def leaf(test: When) -> bool:
        name, wanted = _atom(test)
        return case[name] in wanted if wanted else case[name] != NOTHING

    return when.holds(leaf)


def _atom(leaf: When) -> tuple[str, tuple[str, ...]]:
    """Return the variable of a leaf and the values that make it true (none: any)."""
    if leaf.answer or leaf.answered:
        return f"answer {leaf.answer or leaf.answered}", leaf.is_ if leaf.answer else ()
    if leaf.axis:
        return f"axis {leaf.axis}", leaf.is_
    if leaf.channel:
        return "channel", (leaf.channel,)
    if leaf.rows:
        return "rows", leaf.rows
    if leaf.reading and leaf.is_:
        return f"reading {leaf.reading} {leaf.result}", leaf.is_
    return leaf.model_dump_json(exclude_defaults=True), ()


def _variables(k: Knowledge, rule: model.Rule, concluded: set[str]) -> dict[str, tuple[str, ...]]:
    """Return every variable of a rule with the values it can take."""
    values: dict[str, dict[str, None]] = {}
    for leaf in rule.when.leaves():
        name, wanted = _atom(leaf)
        possible = values.setdefault(name, {NOTHING: None})
        if leaf.finding and leaf.finding not in concluded:
            continue
        if leaf.axis in k.axes and leaf.axis:
            possible.update(dict.fromkeys(_axis_values(k, rule, leaf.axis)))
        elif wanted:
            possible.update(dict.fromkeys((*wanted, "another")))
        else:
            possible["another"] = None
    return {name: tuple(possible) for name, possible in values.items()}


def _axis_values(k: Knowledge, rule: model.Rule, axis: str) -> list[str]:
    bound = rule.applies.axes.get(axis)
    return [v.name for v in k.axes[axis].values if bound is None or v.name in bound]


def _machines(k: Knowledge, key: str, rule: model.Rule) -> Iterator[Fault]:
    for leaf in rule.when.leaves():
        asked = (leaf.answer or leaf.answered or leaf.reading or "").partition(".")[0]
        if asked in k.checks and not can_meet(rule.applies, k.checks[asked].applies):
            what = f"Waits for {asked}, which is for other machines."
            yield ("rules", key, "when"), what, "Correct `applies` of one of the two."
    then = rule.then
    wanted = (*(p.check for p in then.prefers), *then.blocks, *then.asks_again)
    for name in wanted:
        if name in k.checks and not can_meet(rule.applies, k.checks[name].applies):
            yield ("rules", key, "then"), f"Speaks of {name}, which is for other machines.", "Correct `applies`."
    for targets in then.marks.values():
        for target in targets:
            causes = [c for c in k.causes.values() if target in (c.id, f"@{c.subsystem}")]
            if causes and not any(can_meet(rule.applies, c.applies) for c in causes):
                what = f"Marks {target}, which no machine has that it is for."
                yield ("rules", key, "then", "marks"), what, "Correct `applies`."
