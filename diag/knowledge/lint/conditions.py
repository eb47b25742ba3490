"""Conditions of outcomes and rules: what they test must exist, and limits must fit what is compared with them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from typing import Any

from diag.analyses.catalogue import CATALOGUE, ResultSpec, results_of
from diag.knowledge import model
from diag.knowledge.base import At, Fault, Knowledge
from diag.knowledge.condition import When
from diag.knowledge.limits import bound_fault, bound_si, compared_as
from diag.knowledge.lint.refers import known, nearest, targets
from diag.units import QUANTITIES

ROW_PATTERNS = ("one", "some", "adjacent", "section", "alternate", "all", "all_but_one", "unknown")
CALL_FIGURES = ("desk_minutes", "site_minutes", "answers", "unsure", "narrowed_nothing", "changes_since", "repairs")


def readings(k: Knowledge, check: model.Check) -> Iterator[Fault]:
    """Yield what is wrong with the analyses of a check and the tests of its outcomes."""
    if not check.measured:
        if check.compute or any(o.when for o in check.outcomes.values()):
            yield ("compute",), "Only measured answers are computed.", "Change `takes`, or drop compute and when."
        return
    if not check.compute:
        yield ("compute",), "A measured answer is worked out by an analysis.", f"Known: {', '.join(sorted(CATALOGUE))}."
        return
    yield from known(check.compute, CATALOGUE, "analysis", ("compute",))
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
        yield ("takes",), f"{check.takes.quantity!r} is no known quantity.", nearest(check.takes.quantity, QUANTITIES)
    yield from _in_order(k, check)


def _in_order(k: Knowledge, check: model.Check) -> Iterator[Fault]:
    """Outcomes are tried as written, so all but the last have a test."""
    items = list(check.outcomes.items())
    for position, (name, outcome) in enumerate(items):
        last = position == len(items) - 1
        if outcome.otherwise != last or (outcome.when is None) != last:
            yield ("outcomes", name), "Measured outcomes have `when`, the last one `otherwise: true`.", "Reorder."
        if outcome.when:
            for leaf in outcome.when.leaves():
                yield from _own(k, leaf, check, ("outcomes", name))


def _own(k: Knowledge, leaf: When, check: model.Check, at: At) -> Iterator[Fault]:
    """An outcome is decided by the reading alone."""
    if leaf.result is None or leaf.reading:
        yield at, "An outcome tests results of its own reading only.", "Write {result: ..., below: ...}, or a rule."
    else:
        yield from _test(k, leaf, check, at)


def _test(k: Knowledge, leaf: When, check: model.Check, at: At) -> Iterator[Fault]:
    results: Mapping[str, ResultSpec] = results_of(check.compute)
    spec = results.get(leaf.result or "")
    if spec is None:
        what = f"{', '.join(check.compute)} gives no result {leaf.result!r}."
        yield at, what, f"Known: {', '.join(sorted(results))}."
        return
    if leaf.is_:
        if spec.words:
            yield from known(leaf.is_, dict.fromkeys(spec.words), f"word of {leaf.result}", at)
        return
    for bound in leaf.bounds:
        fault = bound_fault(k, bound, compared_as(check, spec.quantity))
        if fault:
            yield at, fault, "Give an id of limits.yaml or {value, source} with the right unit."
    sides = [v for v in (bound_si(k, bound) for bound in leaf.bounds) if v is not None]
    if len(sides) == 2 and sides[0] >= sides[1]:
        yield at, "The lower bound is not below the upper one.", "Swap them."


def condition(k: Knowledge, leaf: When) -> Iterator[Fault]:
    """Yield what is not known of the things that a test of a rule names."""
    check_id = leaf.answer or leaf.answered or leaf.reading
    if check_id:
        yield from known([check_id], {**k.checks, **k.questions}, "check", ("when",))
    if leaf.answer and leaf.answer in k.questions:
        yield from known(leaf.is_, k.questions[leaf.answer].outcomes, f"outcome of {leaf.answer}", ("when",))
    elif leaf.answer and leaf.answer in k.checks:
        yield from known(leaf.is_, k.checks[leaf.answer].items, f"item of {leaf.answer}", ("when",))
    if leaf.reading and leaf.reading in k.checks:
        if not k.checks[leaf.reading].compute:
            yield ("when",), f"{leaf.reading} computes nothing.", "Name a measured check."
        else:
            yield from _test(k, leaf, k.checks[leaf.reading], ("when",))
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
        yield from known([name] if name else [], table, kind, ("when",))
    if leaf.axis in k.axes and leaf.axis:
        values = {v.name: v for v in k.axes[leaf.axis].values}
        yield from known(leaf.is_, values, f"value of axis {leaf.axis}", ("when",))
    yield from known(leaf.rows, dict.fromkeys(ROW_PATTERNS), "row pattern", ("when",))
    yield from known([leaf.call] if leaf.call else [], dict.fromkeys(CALL_FIGURES), "figure of the call", ("when",))
    for target in (leaf.belief, leaf.repaired):
        if target:
            yield from targets(k, {"supports": (target,)}, ("when",))

