"""Checks as people meet them: wordings that can be said, outcomes that can come out, limits that part."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator

from diag.analyses.catalogue import CONTEXT, results_of
from diag.knowledge import model
from diag.knowledge.base import Fault, Knowledge
from diag.knowledge.condition import When
from diag.knowledge.limits import bound_si

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


def flaws(knowledge: Knowledge) -> Iterator[Fault]:
    """Yield what is wrong with wordings, feasibility and thresholds."""
    for key, check in knowledge.checks.items():
        yield from _phone(key, check)
        yield from _feasible(knowledge, key, check)
        yield from _unreachable(knowledge, key, check)
        yield from _context(key, check)
    for name, limit in knowledge.limits.items():
        if limit.context and limit.context not in CONTEXT:
            yield ("limits", name, "context"), f"{limit.context!r} is no context name.", "See analyses/context.py."
    yield from _duplicates(knowledge)


def _phone(key: str, check: model.Check) -> Iterator[Fault]:
    text, at = check.phone, ("checks", key, "phone")
    if text is None:
        return
    words, questions, banned = model.words_in(text), text.count("?"), BANNED.search(text)
    if words > MOST_WORDS:
        yield at, f"Phone wording of {words} words.", f"At most {MOST_WORDS}: one breath."
    if questions != 1:
        yield at, f"Phone wording with {questions} question marks.", "Ask one question."
    if banned:
        yield at, f"Phone wording says {banned[0]!r}.", "Leave the word out."
    if SIDES.search(text) and not SEEN_FROM.search(text):
        yield at, "Left or right without the seat.", 'Say "seen from the seat".'
    if YES_OR_NO.search(text) and not EITHER.search(text) and not _yes_and_no(check):
        what = "Asks for yes or no, and neither is an answer."
        yield at, what, "Say in `yes` and `no` which outcomes they mean, or ask how much or which."
    mute = [name for name in check.outcomes if name not in (*check.yes, *check.no)] if check.yes or check.no else []
    if mute:
        yield at, f"Neither yes nor no leads to {', '.join(mute)}.", "Name every outcome in `yes` or `no`, or in both."
    for name in ("why", "read_back"):
        if getattr(check, name) is None:
            yield at, f"Phone wording without `{name}`.", "Add it; it is read aloud."


def _yes_and_no(check: model.Check) -> bool:
    return {"yes", "no"} <= set(check.outcomes) or bool(check.items) or bool(check.yes and check.no)


def _feasible(k: Knowledge, key: str, check: model.Check) -> Iterator[Fault]:
    if check.phone is None and check.who in ("grower", "guided"):
        what = f"The {check.who} can do it, but there is no phone wording."
        yield ("checks", key, "who"), what, "Add one with minutes.desk, or give it to the technician."
    if check.phone is not None and check.who == "technician":
        yield ("checks", key, "who"), "Technician only, yet with a phone wording.", "Decide for one."
    hands = any(k.states[step.state].hands_on for step in check.steps if step.state in k.states)
    if check.phone and hands and check.minutes.grower is None:
        what = "The caller must go to the machine, but there are no grower minutes."
        yield ("checks", key, "minutes"), what, "Add minutes.grower."


def _context(key: str, check: model.Check) -> Iterator[Fault]:
    for name in check.needs:
        if name not in CONTEXT:
            yield ("checks", key, "needs"), f"{name!r} is no context name.", "See analyses/context.py."


def repeated(texts: Iterable[tuple[str, str | None]]) -> Iterator[tuple[str, str]]:
    """Yield (key, first key) for every text already used; texts come as (key, text or None)."""
    seen: dict[str, str] = {}
    for key, text in texts:
        if text is not None:
            first = seen.setdefault(" ".join(text.casefold().split()).rstrip(".?!"), key)
            if first != key:
                yield key, first


def _duplicates(k: Knowledge) -> Iterator[Fault]:
    told = (("checks", "phone"), ("checks", "asks"), ("causes", "label"), ("causes", "plain"), ("symptoms", "label"),
            ("rules", "because"), ("cautions", "text"), ("limits", "label"), ("findings", "label"))
    for kind, field in told:
        for key, first in repeated((key, getattr(entry, field)) for key, entry in getattr(k, kind).items()):
            yield (kind, key), f"Same wording as {first}.", "Say what is different."
    for key, check in k.checks.items():
        for name, first in repeated((n, o.says) for n, o in check.outcomes.items()):
            yield ("checks", key, "outcomes", name), f"Outcome {name} says the same as {first}.", "Merge or reword."


# --- thresholds ---------------------------------------------------------------------------------


def _unreachable(k: Knowledge, key: str, check: model.Check) -> Iterator[Fault]:
    """Outcomes are tried as written: a later one must leave room that an earlier one has not taken."""
    spans: dict[str, list[tuple[str, tuple[float, float]]]] = {}
    words: dict[str, dict[str, str]] = {}
    results = results_of(check.compute)
    for name, outcome in check.outcomes.items():
        test = outcome.when
        if test is None or test.result is None or test.result not in results:
            continue
        at = ("checks", key, "outcomes", name)
        if test.is_:
            for word in test.is_:
                other = words.setdefault(test.result, {}).setdefault(word, name)
                if other != name:
                    yield at, f"{test.result} {word} is taken by {other} already.", "Give each word to one outcome."
            continue
        span = _span(k, test)
        if span is None:
            continue
        for other, (low, high) in spans.get(test.result, []):
            if low <= span[0] and span[1] <= high:
                yield at, f"Never reached: {other} takes its whole range.", "Change the order."
            elif max(low, span[0]) < min(high, span[1]) and not (span[0] <= low and high <= span[1]):
                yield at, f"Its range of {test.result} overlaps that of {other}.", "Let one begin where the other ends."
        spans.setdefault(test.result, []).append((name, span))


def _span(k: Knowledge, test: When) -> tuple[float, float] | None:
    found = [bound_si(k, bound) for bound in test.bounds]
    ends = [-math.inf, *found] if test.below is not None else [*found, math.inf]
    low, high = ends[0], ends[1]
    return None if low is None or high is None else (low, high)
