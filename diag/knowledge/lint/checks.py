"""Checks as people meet them: wordings that can be said, outcomes that can come out, limits that part."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from diag.analyses.catalogue import CONTEXT, results_of
from diag.knowledge import model
from diag.knowledge.base import Knowledge
from diag.knowledge.condition import When
from diag.knowledge.limits import bound_si
from diag.knowledge.lint.flaws import Flaw, repeated

MOST_WORDS = 20
BANNED = re.compile(r"\b(just|simply|obviously|basically)\b", re.IGNORECASE)
SIDES = re.compile(
    r"\b(the|a|your|its|far|outer|inner|to|on|from) (left|right)\b(?! (away|size|place|rate|crop|way)\b)"
    r"|\b(left|right)[- ](hand|side|wing|row|half|end|gauge|unit|meter)s?\b|\b(left|right)most\b",
    re.IGNORECASE,
)
YES_OR_NO = re.compile(
    r"(?:^|[,:] )(?:are|did|do|does|has|have|is|was|were|will)\b", re.IGNORECASE)
EITHER = re.compile(r"\bor\b|\b(?:how|what|which)\b", re.IGNORECASE)
SEEN_FROM = re.compile(r"\b(seat|cab|looking forward|facing forward)\b", re.IGNORECASE)


def flaws(knowledge: Knowledge) -> Iterator[Flaw]:
    """Yield what is wrong with wordings, feasibility and thresholds."""
    for key, check in knowledge.checks.items():
        yield from _phone(key, check)
        yield from _feasible(knowledge, key, check)
        yield from _unreachable(knowledge, key, check)
        yield from _context(key, check)
    for name, limit in knowledge.limits.items():
        if limit.context and limit.context not in CONTEXT:
            what = f"{limit.context!r} is no context name."
            yield Flaw("limits", name, what, "See measure/context.py.", ("context",))
    yield from _duplicates(knowledge)


def _phone(key: str, check: model.Check) -> Iterator[Flaw]:
    text, path = check.phone, ("phone",)
    if text is None:
        return
    words, questions, banned = model.words_in(text), text.count("?"), BANNED.search(text)
    if words > MOST_WORDS:
        what = f"Phone wording of {words} words."
        yield Flaw("checks", key, what, f"At most {MOST_WORDS}: one breath.", path)
    if questions != 1:
        what = f"Phone wording with {questions} question marks."
        yield Flaw("checks", key, what, "Ask one question.", path)
    if banned:
        yield Flaw("checks", key, f"Phone wording says {banned[0]!r}.", "Leave the word out.", path)
    if SIDES.search(text) and not SEEN_FROM.search(text):
        yield Flaw("checks", key, "Left or right without the seat.", 'Say "seen from the seat".', path)
    if YES_OR_NO.search(text) and not EITHER.search(text) and not _yes_and_no(check):
        what = "Asks for yes or no, and neither is an answer."
        remedy = "Say in `yes` and `no` which outcomes they mean, or ask how much or which."
        yield Flaw("checks", key, what, remedy, path)
    for name in ("why", "read_back"):
        if getattr(check, name) is None:
            yield Flaw("checks", key, f"Phone wording without `{name}`.", "Add it; it is read aloud.", path)


def _yes_and_no(check: model.Check) -> bool:
    return {"yes", "no"} <= set(check.outcomes) or bool(check.items) or bool(check.yes and check.no)


def _feasible(k: Knowledge, key: str, check: model.Check) -> Iterator[Flaw]:
    if check.phone is None and check.who in ("grower", "guided"):
        what = f"The {check.who} can do it, but there is no phone wording."
        yield Flaw("checks", key, what, "Add one with minutes.desk, or give it to the technician.", ("who",))
    if check.phone is not None and check.who == "technician":
        yield Flaw("checks", key, "Technician only, yet with a phone wording.", "Decide for one.", ("who",))
    hands = any(k.states[step.state].hands_on for step in check.steps if step.state in k.states)
    if check.phone and hands and check.minutes.grower is None:
        what = "The caller must go to the machine, but there are no grower minutes."
        yield Flaw("checks", key, what, "Add minutes.grower.", ("minutes",))


def _context(key: str, check: model.Check) -> Iterator[Flaw]:
    for name in check.needs:
        if name not in CONTEXT:
            yield Flaw("checks", key, f"{name!r} is no context name.", "See measure/context.py.", ("needs",))


def _duplicates(k: Knowledge) -> Iterator[Flaw]:
    groups = (
        [("checks", c.id, c.phone) for c in k.checks.values()],
        [("checks", c.id, c.asks) for c in k.checks.values()],
        [("causes", c.id, c.label) for c in k.causes.values()],
        [("causes", c.id, c.plain) for c in k.causes.values()],
        [("symptoms", s.id, s.label) for s in k.symptoms.values()],
        [("rules", r.id, r.because) for r in k.rules.values()],
        [("cautions", c.id, c.text) for c in k.cautions.values()],
        [("limits", c.id, c.label) for c in k.limits.values()],
        [("findings", f.id, f.label) for f in k.findings.values()],
    )
    for group in groups:
        for kind, key, first in repeated(group):
            yield Flaw(kind, key, f"Same wording as {first}.", "Say what is different.")
    for key, check in k.checks.items():
        for _, name, first in repeated(("", n, o.says) for n, o in check.outcomes.items()):
            what = f"Outcome {name} says the same as {first}."
            yield Flaw("checks", key, what, "Merge or reword.", ("outcomes", name))


# --- thresholds ---------------------------------------------------------------------------------


def _unreachable(k: Knowledge, key: str, check: model.Check) -> Iterator[Flaw]:
    """Outcomes are tried as written: a later one must leave room that an earlier one has not taken."""
    spans: dict[str, list[tuple[str, tuple[float, float]]]] = {}
    words: dict[str, dict[str, str]] = {}
    results = results_of(check.compute)
    for name, outcome in check.outcomes.items():
        test = outcome.when
        if test is None or test.result is None or test.result not in results:
            continue
        path = ("outcomes", name)
        if test.is_:
            for word in test.is_:
                other = words.setdefault(test.result, {}).setdefault(word, name)
                if other != name:
                    what = f"{test.result} {word} is taken by {other} already."
                    yield Flaw("checks", key, what, "Give each word to one outcome.", path)
            continue
        span = _span(k, test)
        if span is None:
            continue
        for other, (low, high) in spans.get(test.result, []):
            if low <= span[0] and span[1] <= high:
                what = f"Never reached: {other} takes its whole range."
                yield Flaw("checks", key, what, "Change the order.", path)
            elif max(low, span[0]) < min(high, span[1]) and not (span[0] <= low and high <= span[1]):
                what = f"Its range of {test.result} overlaps that of {other}."
                yield Flaw("checks", key, what, "Let one begin where the other ends.", path)
        spans.setdefault(test.result, []).append((name, span))


def _span(k: Knowledge, test: When) -> tuple[float, float] | None:
    found = [bound_si(k, bound) for bound in test.bounds]
    ends = [-math.inf, *found] if test.below is not None else [*found, math.inf]
    low, high = ends[0], ends[1]
    return None if low is None or high is None else (low, high)
