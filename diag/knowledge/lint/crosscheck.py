"""What one entry alone cannot show: ids that must resolve, units that must fit, states that must be safe."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from diag.knowledge import model, story_terms, vocabulary
from diag.knowledge.base import At, Fault, Knowledge, Problem
from diag.knowledge.fields import cited
from diag.knowledge.layers import CyclicRulesError, layers
from diag.knowledge.lint.conditions import condition, readings
from diag.knowledge.lint.refers import figure, known, nearest, targets
from diag.knowledge.machines import Applies
from diag.knowledge.shares import TOO_MUCH, Told, chances
from diag.knowledge.words import OtherWords, unknown_concepts
from diag.units import QUANTITIES


def crosscheck(knowledge: Knowledge) -> list[Problem]:
    """Return every problem that more than one entry is needed to see."""
    examiners: Mapping[str, Any] = {
        "axes": _axis, "states": _state, "hazards": _hazard, "cautions": _caution, "limits": _limit, "causes": _cause,
        "checks": _check, "rules": _rule, "verifications": _verification, "symptoms": _symptom,
        "completeness": _completeness, "details": _detail, "categories": _category, "failure_modes": _failure_mode,
        "answers": _other_words,
    }
    at_hand = known(knowledge.write_up.at_hand, knowledge.tools, "tool", ("head", "write_up", "at_hand"))
    found = [knowledge.problem(*fault) for fault in at_hand]
    for kind, examine in examiners.items():
        for key, entry in getattr(knowledge, kind).items():
            found += [knowledge.problem((kind, key, *at), *told) for at, *told in examine(knowledge, entry)]
    found += [knowledge.problem(*fault) for fault in (*_concepts(knowledge), *_circles(knowledge))]
    return [*found, *_answers_of_words(knowledge)]


def _circles(k: Knowledge) -> Iterator[Fault]:
    try:
        layers(k.rules.values())
    except CyclicRulesError as error:
        what = f"Rules hang on one another through `not`: {', '.join(error.rules)}."
        yield ("rules", error.rules[0]), what, "Break the circle."


def _concepts(k: Knowledge) -> Iterator[Fault]:
    for symptom, concept in unknown_concepts(k.symptoms.values(), k.lexicon) if k.lexicon.concepts else ():
        what = f"{concept!r} is no concept of the lexicon."
        yield ("symptoms", symptom, "concepts"), what, "Add it to lexicon.yaml, or correct its name."


def _answers_of_words(k: Knowledge) -> Iterator[Problem]:
    """Answers that words of the lexicon are taken for must be known."""
    for owner, check, outcome in k.lexicon.answers():
        asked = k.questions.get(check)
        if f"{check}.{outcome}" not in k.questions and (asked is None or outcome not in asked.outcomes):
            what = f"{owner}: {check} = {outcome} is no known answer."
            yield Problem("lexicon.yaml", 1, owner, what, remedy="Name a check and one of its outcomes or items.")


def _other_words(k: Knowledge, entry: OtherWords) -> Iterator[Fault]:
    """Other words must be for an outcome of a check that is known, and for one only."""
    check = k.checks.get(entry.id)
    if check is None:
        yield (), f"There is no check {entry.id}.", "Name a check, or take the entry out."
        return
    for outcome in entry.said:
        if outcome not in check.outcomes:
            yield ("said", outcome), f"{entry.id} has no outcome {outcome}.", f"Known: {', '.join(check.outcomes)}."
    owner: dict[str, str] = {}
    for outcome, ways in entry.ways.items():
        for way in ways:
            if owner.setdefault(way, outcome) != outcome:
                what = f'"{way}" stands for {owner[way]} too.'
                yield ("said", outcome), what, "Take it out of one of them."


def _sources(k: Knowledge, entry: Any) -> Iterator[Fault]:
    for at, source in cited(entry):
        yield from known([source], k.sources, "source", at)
    if not entry.source:
        yield ("source",), "No source given.", "Give a source key, common_practice, estimate or from_memory."


def _applies(k: Knowledge, applies: Applies) -> Iterator[Fault]:
    for axes in (applies.axes, *applies.any):
        for axis, values in axes.items():
            if axis not in k.axes:
                yield ("applies",), f"{axis!r} is no known axis.", nearest(axis, k.axes)
            else:
                allowed = {v.name: v for v in k.axes[axis].values}
                yield from known(values, allowed, f"value of axis {axis}", ("applies",))


def _axis(k: Knowledge, axis: vocabulary.Axis) -> Iterator[Fault]:
    total = sum(v.share for v in axis.values)
    if not axis.many and abs(total - 1) > 0.005:
        yield ("values",), f"Shares add up to {total:.3f}.", "They must add up to 1."


def _state(k: Knowledge, state: vocabulary.MachineState) -> Iterator[Fault]:
    yield from known(state.brings, k.hazards, "hazard", ("brings",))


def _hazard(k: Knowledge, hazard: vocabulary.Hazard) -> Iterator[Fault]:
    yield from known(hazard.wants, k.hazards, "hazard", ("wants",))
    yield from known(filter(None, [hazard.in_state]), k.states, "state", ("in_state",))
    yield from _applies(k, hazard.only)


def _caution(k: Knowledge, caution: vocabulary.Caution) -> Iterator[Fault]:
    yield from known(caution.hazards, k.hazards, "hazard", ("hazards",))
    yield from known(caution.flags, k.flags, "flag", ("flags",))
    yield from _sources(k, caution)


def _limit(k: Knowledge, limit: vocabulary.Limit) -> Iterator[Fault]:
    yield from figure(limit.quantity, limit.value, ("value",))
    for number, variant in enumerate(limit.variants):
        yield from figure(limit.quantity, variant.value, ("variants", number))
        yield from _applies(k, variant.applies)
    if limit.book:
        yield from known([limit.book], k.book, "book value", ("book",))
    yield from _sources(k, limit)


def _symptom(k: Knowledge, symptom: Any) -> Iterator[Fault]:
    yield from known(symptom.first_checks, k.checks, "check", ("first_checks",))
    yield from _sources(k, symptom)


def _cause(k: Knowledge, cause: model.Cause) -> Iterator[Fault]:
    yield from known([cause.subsystem], k.subsystems, "subsystem", ("subsystem",))
    yield from known([cause.kind], k.kinds, "kind of cause", ("kind",))
    yield from known([cause.season], k.seasons, "season", ("season",))
    yield from known(cause.symptoms, k.symptoms, "symptom", ("symptoms",))
    yield from known(cause.symptoms.values(), k.likelihoods, "likelihood word", ("symptoms",))
    yield from known(cause.repair.parts, k.parts, "part", ("repair", "parts"))
    yield from known(cause.repair.tools, k.tools, "tool", ("repair", "tools"))
    yield from known(cause.repair.hazards, k.hazards, "hazard", ("repair", "hazards"))
    yield from known([cause.repair.verify] if cause.repair.verify else [], k.verifications, "verification", ("repair",))
    yield from known(cause.repair.also, k.causes, "cause", ("repair", "also"))
    yield from known([b.cause for b in cause.leads_to], k.causes, "cause", ("leads_to",))
    yield from known(cause.never_with, k.causes, "cause", ("never_with",))
    yield from known(cause.shows, k.checks, "check", ("shows",))
    for name, of in cause.shows.items():
        if name in k.checks:
            yield from _told(k, k.checks[name], of, ("shows", name))
    yield from _applies(k, cause.applies)
    yield from _sources(k, cause)
    if not cause.symptoms:
        yield ("symptoms",), "No symptom: nobody would ever complain of it.", "Name how it is complained of."
    if sum(b.chance for b in cause.leads_to) > 1:
        yield ("leads_to",), "Chances add up to more than 1.", "They share this cause's calls."


def _check(k: Knowledge, check: model.Check) -> Iterator[Fault]:
    yield from known([check.look] if check.look else [], k.looks, "look", ("look",))
    yield from known(check.hazards, k.hazards, "hazard", ("hazards",))
    yield from known(check.prep, k.preparations, "preparation", ("prep",))
    yield from known(check.tools, k.tools, "tool", ("tools",))
    yield from known(check.after, k.checks, "check", ("after",))
    yield from known(check.belongs_to, k.symptoms, "symptom", ("belongs_to",))
    yield from known(check.told_by, [*k.checks, *k.symptoms], "check or symptom", ("told_by",))
    yield from known([s.check for s in check.stand_ins if s.check], k.checks, "check", ("stand_ins",))
    yield from _applies(k, check.applies)
    yield from _sources(k, check)
    yield from _safe(k, check)
    yield from _minutes(check)
    yield from _answers(k, check)


def _safe(k: Knowledge, check: model.Check) -> Iterator[Fault]:
    if not check.steps:
        yield ("steps",), "No steps.", "Say what is done, each step with its machine state."
    if not check.all_hazards and not check.hazards_reason:
        yield ("hazards",), "No hazards and no reason why.", "Add hazards, or hazards_reason."
    for number, step in enumerate(check.steps):
        yield from known([step.state], k.states, "machine state", ("steps", number))
        yield from known(step.hazards, k.hazards, "hazard", ("steps", number))
        state = k.states.get(step.state)
        for name in (*check.hazards, *step.hazards):
            hazard = k.hazards.get(name)
            if state and hazard and hazard.hands_on and not state.hands_on:
                yield (
                    ("steps", number),
                    f"{name} in the state {step.state}: hands at the machine while it can move.",
                    "Split into fit (parked_safe), read (running, nobody near), stop.",
                )
    if check.phone:
        for name in check.all_hazards:
            if name in k.hazards and k.hazards[name].never_phone:
                yield ("phone",), f"{name} is never asked of a caller.", "Rewrite the check, or drop the phone wording."


def _minutes(check: model.Check) -> Iterator[Fault]:
    minutes = check.minutes
    if check.phone and minutes.desk is None:
        yield ("minutes",), "Has a phone wording but no desk minutes.", "Add minutes.desk."
    if not check.phone and (minutes.desk is not None or minutes.grower is not None):
        yield ("minutes",), "Has phone minutes but no phone wording.", "Add the wording or drop the minutes."
    if minutes.desk is None and minutes.site is None:
        yield ("minutes",), "Feasible neither by phone nor on site.", "Give minutes.desk or minutes.site."


def _answers(k: Knowledge, check: model.Check) -> Iterator[Fault]:
    several = check.takes.kind == "several"
    if several != bool(check.items) or several == bool(check.outcomes):
        yield ("takes",), "`several` has items and no outcomes; all others have outcomes.", "Use one of the two."
    for name, outcome in (*check.items.items(), *check.outcomes.items()):
        group = "items" if several else "outcomes"
        yield from known(outcome.then_check, k.checks, "check", (group, name))
    outcomes = check.outcomes
    if check.takes.kind == "yes_no" and set(outcomes) != {"yes", "no"}:
        yield ("outcomes",), "A yes_no check has the outcomes yes and no.", "Name them so."
    if check.takes.kind == "choice" and len(outcomes) < 2:
        yield ("outcomes",), "A choice needs at least two outcomes.", "Add the others."
    for word in ("yes", "no"):
        yield from known(getattr(check, word), outcomes, f"outcome of {check.id}", (word,))
    if sum(o.normal for o in outcomes.values()) > 1:
        yield ("outcomes",), "More than one normal outcome.", "Keep one."
    for number, line in enumerate(check.tells):
        yield from _told(k, check, line.shows, ("tells", number))
        if not (line.rows or line.follows or line.effect or line.onset):
            yield ("tells", number), "Tells of every cause alike.", "Name rows, follows, effect or onset."
    yield from readings(k, check)


def _told(k: Knowledge, check: model.Check, of: Told, at: At) -> Iterator[Fault]:
    """What a cause shows in a check, or a check tells of attributes."""
    several = check.takes.kind == "several"
    kind = "item" if several else "outcome"
    yield from known(of, check.items if several else check.outcomes, f"{kind} of {check.id}", at)
    words = [word for word in of.values() if isinstance(word, str)]
    yield from known(words, k.likelihoods, "likelihood word", at)
    if not of:
        yield at, "Nothing is told.", f"Name an {kind} and how often it comes."
    if several or not all(word in k.likelihoods for word in words):
        return
    total = sum(chances(of, k.likelihoods).values())
    if total > TOO_MUCH:
        yield at, f"Chances add up to {total:g}.", "They are chances of one answer: together about 1."


def _rule(k: Knowledge, rule: model.Rule) -> Iterator[Fault]:
    yield from _applies(k, rule.applies)
    yield from _sources(k, rule)
    for leaf in rule.when.leaves():
        yield from condition(k, leaf)
    then = rule.then
    yield from targets(k, then.marks, ("then", "marks"))
    yield from known([then.finds] if then.finds else [], k.findings, "finding", ("then", "finds"))
    yield from known(then.cautions, k.cautions, "caution", ("then", "cautions"))
    for names in ([p.check for p in then.prefers], then.blocks, then.asks_again):
        yield from known(names, k.checks, "check", ("then",))
    second = any(leaf.belief for leaf in rule.when.leaves())
    if second and (then.finds or then.marks):
        yield ("then",), "A rule that reads belief may only warn, advise, caution, prefer or block.", "Split it."
    if then.marks and not any(leaf.answer or leaf.reading or leaf.finding for leaf in rule.when.leaves()):
        yield ("then", "marks"), "Axes and symptoms alone may not mark causes.", "Rest it on an answer."
    if rule.when.not_ and then.marks:
        yield ("when",), "A rule that rests only on something missing may not mark.", "Add what was seen."


def _verification(k: Knowledge, verification: model.Verification) -> Iterator[Fault]:
    yield from known(verification.checks, k.checks, "check", ("checks",))
    for check, outcomes in verification.passes.items():
        yield from known([check], k.checks, "check", ("passes",))
        if check in k.checks:
            yield from known(outcomes, k.checks[check].outcomes, f"outcome of {check}", ("passes", check))
    yield from _sources(k, verification)


def _completeness(k: Knowledge, rule: story_terms.CompletenessRule) -> Iterator[Fault]:
    yield from known(rule.details, k.details, "detail", ("details",))
    yield from known(rule.checks, k.questions, "check", ("checks",))
    yield from known(rule.kinds, {**k.kinds, **k.categories}, "kind of cause or category", ("kinds",))
    yield from _sources(k, rule)


def _detail(k: Knowledge, detail: story_terms.Detail) -> Iterator[Fault]:
    if detail.takes == "amount" and detail.quantity not in QUANTITIES:
        yield ("quantity",), f"{detail.quantity!r} is no known quantity.", nearest(str(detail.quantity), QUANTITIES)
    if (detail.takes == "choice") != bool(detail.choices):
        yield ("choices",), "A choice has choices, nothing else has.", "Add them, or change `takes`."


def _category(k: Knowledge, category: story_terms.Category) -> Iterator[Fault]:
    yield from known(category.kinds, k.kinds, "kind of cause", ("kinds",))


def _failure_mode(k: Knowledge, mode: story_terms.FailureMode) -> Iterator[Fault]:
    yield from known(mode.symptoms, k.symptoms, "symptom", ("symptoms",))
