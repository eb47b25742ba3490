"""What one entry alone cannot show: ids that must resolve, units that must fit, states that must be safe."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from diag.analyses.catalogue import CATALOGUE, ResultSpec, results_of
from diag.knowledge import model, story_terms, vocabulary
from diag.knowledge.condition import When
from diag.knowledge.limits import bound_fault, bound_si, compared_as, value_fault
from diag.knowledge.shares import TOO_MUCH, Told, chances
from diag.knowledge.words import unknown_concepts
from diag.units import QUANTITIES

if TYPE_CHECKING:
    from diag.knowledge.base import Knowledge, Problem

Fault = tuple[tuple[str | int, ...], str, str]
"""Path inside the entry, what is wrong, remedy."""


def crosscheck(knowledge: Knowledge) -> list[Problem]:
    """Return every problem that more than one entry is needed to see."""
    from diag.knowledge.base import Problem

    found: list[Problem] = []
    examiners: Mapping[str, Any] = {
        "axes": _axis, "states": _state, "hazards": _hazard, "cautions": _caution, "limits": _limit, "causes": _cause,
        "checks": _check, "rules": _rule, "verifications": _verification, "symptoms": _symptom,
        "completeness": _completeness, "details": _detail, "categories": _category, "failure_modes": _failure_mode,
    }
    place = knowledge.places.get(("head", "write_up"))
    for path, what, remedy in _known(knowledge.write_up.at_hand, knowledge.tools, "tool", "at_hand"):
        where = (place.file, place.within(*path)) if place else ("knowledge.yaml", 1)
        found.append(Problem(*where, "write_up", what, remedy))
    for kind, examine in examiners.items():
        for key, entry in getattr(knowledge, kind).items():
            place = knowledge.places[kind, key]
            for path, what, remedy in examine(knowledge, entry):
                found.append(Problem(place.file, place.within(*path), key, what, remedy))
    found += list(_words(knowledge))
    from diag.knowledge.layers import CyclicRulesError, layers

    try:
        layers(knowledge.rules.values())
    except CyclicRulesError as error:
        place = knowledge.places["rules", error.rules[0]]
        what = f"Rules hang on one another through `not`: {', '.join(error.rules)}."
        found.append(Problem(place.file, place.line, error.rules[0], what, "Break the circle."))
    return found


def _words(k: Knowledge) -> Iterator[Problem]:
    """The lexicon: concepts that symptoms weigh, and answers that words are taken for, must be known."""
    from diag.knowledge.base import Problem

    for symptom, concept in unknown_concepts(k.symptoms.values(), k.lexicon) if k.lexicon.concepts else ():
        place = k.places["symptoms", symptom]
        yield Problem(place.file, place.within("concepts"), symptom, f"{concept!r} is no concept of the lexicon.",
                      "Add it to lexicon.yaml, or correct its name.")
    for owner, check, outcome in k.lexicon.answers():
        asked = k.questions.get(check)
        if f"{check}.{outcome}" not in k.questions and (asked is None or outcome not in asked.outcomes):
            what = f"{owner}: {check} = {outcome} is no known answer."
            yield Problem("lexicon.yaml", 1, owner, what, "Name a check and one of its outcomes or items.")


def _known(names: Iterable[str], table: Mapping[str, Any], kind: str, *path: str | int) -> Iterator[Fault]:
    for name in names:
        if name not in table:
            yield path, f"{name!r} is no known {kind}.", _nearest(name, table)


def _nearest(name: str, table: Iterable[str]) -> str:
    import difflib

    close = difflib.get_close_matches(name, list(table), n=3, cutoff=0.6)
    return f"Did you mean {' or '.join(close)}?" if close else "Add it, or name one that exists."


def _sources(k: Knowledge, entry: Any) -> Iterator[Fault]:
    for path, source in vocabulary.cited(entry):
        yield from _known([source], k.sources, "source", *path)
    if not entry.source:
        yield ("source",), "No source given.", "Give a source key, common_practice, estimate or from_memory."


def _applies(k: Knowledge, applies: vocabulary.Applies) -> Iterator[Fault]:
    for axes in (applies.axes, *applies.any):
        for axis, values in axes.items():
            if axis not in k.axes:
                yield ("applies",), f"{axis!r} is no known axis.", _nearest(axis, k.axes)
            else:
                known = {v.name: v for v in k.axes[axis].values}
                yield from _known(values, known, f"value of axis {axis}", "applies")


def _targets(k: Knowledge, marks: Mapping[str, Iterable[str]], *path: str | int) -> Iterator[Fault]:
    yield from _known(marks, k.marks, "mark word", *path)
    for word, targets in marks.items():
        causes = [t for t in targets if not t.startswith("@")]
        groups = [t[1:] for t in targets if t.startswith("@")]
        yield from _known(causes, k.causes, "cause", *path, word)
        yield from _known(groups, k.subsystems, "subsystem", *path, word)
    seen: dict[str, str] = {}
    for word, targets in marks.items():
        for target in targets:
            if target in seen:
                what = f"{target} is marked both {seen[target]} and {word}."
                yield (*path, word), what, "Keep one of the two."
            seen[target] = word


def _axis(k: Knowledge, axis: vocabulary.Axis) -> Iterator[Fault]:
    total = sum(v.share for v in axis.values)
    if not axis.many and abs(total - 1) > 0.005:
        yield ("values",), f"Shares add up to {total:.3f}.", "They must add up to 1."


def _state(k: Knowledge, state: vocabulary.MachineState) -> Iterator[Fault]:
    yield from _known(state.brings, k.hazards, "hazard", "brings")


def _hazard(k: Knowledge, hazard: vocabulary.Hazard) -> Iterator[Fault]:
    yield from _known(hazard.wants, k.hazards, "hazard", "wants")


def _caution(k: Knowledge, caution: vocabulary.Caution) -> Iterator[Fault]:
    yield from _known(caution.hazards, k.hazards, "hazard", "hazards")
    yield from _known(caution.flags, k.flags, "flag", "flags")
    yield from _sources(k, caution)


def _quantity(name: str, value: str, *path: str | int) -> Iterator[Fault]:
    if name not in QUANTITIES:
        yield path, f"{name!r} is no known quantity.", _nearest(name, QUANTITIES)
        return
    fault = value_fault(value, name)
    if fault:
        yield path, fault, "Correct number or unit."


def _limit(k: Knowledge, limit: vocabulary.Limit) -> Iterator[Fault]:
    yield from _quantity(limit.quantity, limit.value, "value")
    for number, variant in enumerate(limit.variants):
        yield from _quantity(limit.quantity, variant.value, "variants", number)
        yield from _applies(k, variant.applies)
    if limit.book:
        yield from _known([limit.book], k.book, "book value", "book")
    yield from _sources(k, limit)


def _symptom(k: Knowledge, symptom: Any) -> Iterator[Fault]:
    yield from _known(symptom.first_checks, k.checks, "check", "first_checks")
    yield from _sources(k, symptom)


def _cause(k: Knowledge, cause: model.Cause) -> Iterator[Fault]:
    yield from _known([cause.subsystem], k.subsystems, "subsystem", "subsystem")
    yield from _known([cause.kind], k.kinds, "kind of cause", "kind")
    yield from _known([cause.season], k.seasons, "season", "season")
    yield from _known(cause.symptoms, k.symptoms, "symptom", "symptoms")
    yield from _known(cause.symptoms.values(), k.likelihoods, "likelihood word", "symptoms")
    yield from _known(cause.repair.parts, k.parts, "part", "repair", "parts")
    yield from _known(cause.repair.tools, k.tools, "tool", "repair", "tools")
    yield from _known(cause.repair.hazards, k.hazards, "hazard", "repair", "hazards")
    yield from _known([cause.repair.verify] if cause.repair.verify else [], k.verifications, "verification", "repair")
    yield from _known(cause.repair.also, k.causes, "cause", "repair", "also")
    yield from _known([b.cause for b in cause.leads_to], k.causes, "cause", "leads_to")
    yield from _known(cause.never_with, k.causes, "cause", "never_with")
    yield from _known(cause.shows, k.checks, "check", "shows")
    for name, of in cause.shows.items():
        if name in k.checks:
            yield from _told(k, k.checks[name], of, "shows", name)
    yield from _applies(k, cause.applies)
    yield from _sources(k, cause)
    if not cause.symptoms:
        yield ("symptoms",), "No symptom: nobody would ever complain of it.", "Name how it is complained of."
    if sum(b.chance for b in cause.leads_to) > 1:
        yield ("leads_to",), "Chances add up to more than 1.", "They share this cause's calls."


def _check(k: Knowledge, check: model.Check) -> Iterator[Fault]:
    yield from _known([check.look] if check.look else [], k.looks, "look", "look")
    yield from _known(check.hazards, k.hazards, "hazard", "hazards")
    yield from _known(check.prep, k.preparations, "preparation", "prep")
    yield from _known(check.tools, k.tools, "tool", "tools")
    yield from _known(check.after, k.checks, "check", "after")
    yield from _known([s.check for s in check.stand_ins if s.check], k.checks, "check", "stand_ins")
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
        yield from _known([step.state], k.states, "machine state", "steps", number)
        yield from _known(step.hazards, k.hazards, "hazard", "steps", number)
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
        yield from _known(outcome.then_check, k.checks, "check", group, name)
    outcomes = check.outcomes
    if check.takes.kind == "yes_no" and set(outcomes) != {"yes", "no"}:
        yield ("outcomes",), "A yes_no check has the outcomes yes and no.", "Name them so."
    if check.takes.kind == "choice" and len(outcomes) < 2:
        yield ("outcomes",), "A choice needs at least two outcomes.", "Add the others."
    if sum(o.normal for o in outcomes.values()) > 1:
        yield ("outcomes",), "More than one normal outcome.", "Keep one."
    for number, line in enumerate(check.tells):
        yield from _told(k, check, line.shows, "tells", number)
        if not (line.rows or line.follows or line.effect or line.onset):
            yield ("tells", number), "Tells of every cause alike.", "Name rows, follows, effect or onset."
    yield from _measured(k, check)


def _told(k: Knowledge, check: model.Check, of: Told, *path: str | int) -> Iterator[Fault]:
    """What a cause shows in a check, or a check tells of attributes."""
    several = check.takes.kind == "several"
    kind = "item" if several else "outcome"
    yield from _known(of, check.items if several else check.outcomes, f"{kind} of {check.id}", *path)
    words = [word for word in of.values() if isinstance(word, str)]
    yield from _known(words, k.likelihoods, "likelihood word", *path)
    if not of:
        yield path, "Nothing is told.", f"Name an {kind} and how often it comes."
    if several or not all(word in k.likelihoods for word in words):
        return
    total = sum(chances(of, k.likelihoods).values())
    if total > TOO_MUCH:
        yield path, f"Chances add up to {total:g}.", "They are chances of one answer: together about 1."


def _measured(k: Knowledge, check: model.Check) -> Iterator[Fault]:
    if not check.measured:
        if check.compute or any(o.when for o in check.outcomes.values()):
            yield ("compute",), "Only measured answers are computed.", "Change `takes`, or drop compute and when."
        return
    if not check.compute:
        yield ("compute",), "A measured answer is worked out by an analysis.", f"Known: {', '.join(sorted(CATALOGUE))}."
        return
    yield from _known(check.compute, CATALOGUE, "analysis", "compute")
    if not CATALOGUE.keys() >= set(check.compute):
        return
    for analysis in (CATALOGUE[name] for name in check.compute):
        if check.takes.kind not in analysis.takes:
            what = f"{analysis.name} takes {', '.join(analysis.takes)}, not {check.takes.kind}."
            yield ("takes",), what, "Match them."
    given = Counter(result for name in check.compute for result in CATALOGUE[name].results)
    twice = sorted(result for result, times in given.items() if times > 1)
    if twice:
        yield ("compute",), f"Two of these analyses give {', '.join(twice)}.", "Name one of the two."
    if check.takes.quantity and check.takes.quantity not in QUANTITIES:
        yield ("takes",), f"{check.takes.quantity!r} is no known quantity.", _nearest(check.takes.quantity, QUANTITIES)
    items = list(check.outcomes.items())
    for position, (name, outcome) in enumerate(items):
        last = position == len(items) - 1
        if outcome.otherwise != last or (outcome.when is None) != last:
            yield ("outcomes", name), "Measured outcomes have `when`, the last one `otherwise: true`.", "Reorder."
        if outcome.when:
            for leaf in outcome.when.leaves():
                yield from _own(k, leaf, check, "outcomes", name)


def _own(k: Knowledge, leaf: When, check: model.Check, *path: str | int) -> Iterator[Fault]:
    """An outcome is decided by the reading alone."""
    if leaf.result is None or leaf.reading:
        yield path, "An outcome tests results of its own reading only.", "Write {result: ..., below: ...}, or a rule."
    else:
        yield from _test(k, leaf, check, *path)


def _test(k: Knowledge, leaf: When, check: model.Check, *path: str | int) -> Iterator[Fault]:
    results: Mapping[str, ResultSpec] = results_of(check.compute)
    spec = results.get(leaf.result or "")
    if spec is None:
        what = f"{', '.join(check.compute)} gives no result {leaf.result!r}."
        yield path, what, f"Known: {', '.join(sorted(results))}."
        return
    if leaf.is_:
        if spec.words:
            yield from _known(leaf.is_, dict.fromkeys(spec.words), f"word of {leaf.result}", *path)
        return
    for bound in leaf.bounds:
        fault = bound_fault(k, bound, compared_as(check, spec.quantity))
        if fault:
            yield path, fault, "Give an id of limits.yaml or {value, source} with the right unit."
    known = [v for v in (bound_si(k, bound) for bound in leaf.bounds) if v is not None]
    if len(known) == 2 and known[0] >= known[1]:
        yield path, "The lower bound is not below the upper one.", "Swap them."


def _rule(k: Knowledge, rule: model.Rule) -> Iterator[Fault]:
    yield from _applies(k, rule.applies)
    yield from _sources(k, rule)
    for leaf in rule.when.leaves():
        yield from _leaf(k, leaf)
    then = rule.then
    yield from _targets(k, then.marks, "then", "marks")
    yield from _known([then.finds] if then.finds else [], k.findings, "finding", "then", "finds")
    yield from _known(then.cautions, k.cautions, "caution", "then", "cautions")
    for names in ([p.check for p in then.prefers], then.blocks, then.asks_again):
        yield from _known(names, k.checks, "check", "then")
    second = any(leaf.belief for leaf in rule.when.leaves())
    if second and (then.finds or then.marks):
        yield ("then",), "A rule that reads belief may only warn, advise, caution, prefer or block.", "Split it."
    if then.marks and not any(leaf.answer or leaf.reading or leaf.finding for leaf in rule.when.leaves()):
        yield ("then", "marks"), "Axes and symptoms alone may not mark causes.", "Rest it on an answer."
    if rule.when.not_ and then.marks:
        yield ("when",), "A rule that rests only on something missing may not mark.", "Add what was seen."


def _leaf(k: Knowledge, leaf: When) -> Iterator[Fault]:
    check_id = leaf.answer or leaf.answered or leaf.reading
    if check_id:
        yield from _known([check_id], {**k.checks, **k.questions}, "check", "when")
    if leaf.answer and leaf.answer in k.questions:
        yield from _known(leaf.is_, k.questions[leaf.answer].outcomes, f"outcome of {leaf.answer}", "when")
    elif leaf.answer and leaf.answer in k.checks:
        yield from _known(leaf.is_, k.checks[leaf.answer].items, f"item of {leaf.answer}", "when")
    if leaf.reading and leaf.reading in k.checks:
        if not k.checks[leaf.reading].compute:
            yield ("when",), f"{leaf.reading} computes nothing.", "Name a measured check."
        else:
            yield from _test(k, leaf, k.checks[leaf.reading], "when")
    if leaf.result and not leaf.reading:
        yield ("when",), f"{leaf.result} of which reading?", "Name the check in `reading`."
    tables: tuple[tuple[str | None, Mapping[str, Any], str], ...] = (
        (leaf.finding, k.findings, "finding"),
        (leaf.symptom, k.symptoms, "symptom"),
        (leaf.change, k.changes, "change"),
        (leaf.flag, k.flags, "flag"),
        (leaf.axis, k.axes, "axis"),
    )
    for name, table, kind in tables:
        yield from _known([name] if name else [], table, kind, "when")
    if leaf.axis in k.axes and leaf.axis:
        known = {v.name: v for v in k.axes[leaf.axis].values}
        yield from _known(leaf.is_, known, f"value of axis {leaf.axis}", "when")
    yield from _known(leaf.rows, dict.fromkeys(ROW_PATTERNS), "row pattern", "when")
    yield from _known([leaf.call] if leaf.call else [], dict.fromkeys(CALL_FIGURES), "figure of the call", "when")
    for target in (leaf.belief, leaf.repaired):
        if target:
            yield from _targets(k, {"supports": (target,)}, "when")


ROW_PATTERNS = ("one", "some", "adjacent", "section", "alternate", "all", "all_but_one", "unknown")
CALL_FIGURES = ("desk_minutes", "site_minutes", "answers", "unsure", "narrowed_nothing", "changes_since", "repairs")


def _verification(k: Knowledge, verification: model.Verification) -> Iterator[Fault]:
    yield from _known(verification.checks, k.checks, "check", "checks")
    for check, outcomes in verification.passes.items():
        yield from _known([check], k.checks, "check", "passes")
        if check in k.checks:
            yield from _known(outcomes, k.checks[check].outcomes, f"outcome of {check}", "passes", check)
    yield from _sources(k, verification)


def _completeness(k: Knowledge, rule: story_terms.CompletenessRule) -> Iterator[Fault]:
    yield from _known(rule.details, k.details, "detail", "details")
    yield from _known(rule.checks, k.questions, "check", "checks")
    yield from _known(rule.kinds, {**k.kinds, **k.categories}, "kind of cause or category", "kinds")
    yield from _sources(k, rule)


def _detail(k: Knowledge, detail: story_terms.Detail) -> Iterator[Fault]:
    if detail.takes == "amount" and detail.quantity not in QUANTITIES:
        yield ("quantity",), f"{detail.quantity!r} is no known quantity.", _nearest(str(detail.quantity), QUANTITIES)
    if (detail.takes == "choice") != bool(detail.choices):
        yield ("choices",), "A choice has choices, nothing else has.", "Add them, or change `takes`."


def _category(k: Knowledge, category: story_terms.Category) -> Iterator[Fault]:
    yield from _known(category.kinds, k.kinds, "kind of cause", "kinds")


def _failure_mode(k: Knowledge, mode: story_terms.FailureMode) -> Iterator[Fault]:
    yield from _known(mode.symptoms, k.symptoms, "symptom", "symptoms")
