"""What a write-up still lacks, sorted by the last moment at which each thing can be had.

The rules stand in the knowledge; each names one of the tests (`completeness_tests.py`) by its `field`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from diag.call.desk import CallDesk
from diag.errors import UsageError
from diag.knowledge.base import Knowledge
from diag.knowledge.story_terms import MOMENTS, CompletenessRule
from diag.writeup.completeness_tests import test_of
from diag.writeup.page.audience import AUDIENCES, CLAIM, SERVICE
from diag.writeup.story import tell
from diag.writeup.story.closed import mended_kind
from diag.writeup.story.model import Story

MUST, SHOULD = "must", "should"


@dataclass(frozen=True)
class Missing:
    """One thing a write-up lacks."""

    rule: str
    needs: str
    """What it is."""
    detail: str
    """What exactly is missing."""
    asks: str
    """The question that mends it."""
    by: str
    """Last moment at which it can be had."""
    minutes: float
    severity: str
    """must | should."""
    lost: bool
    """True when that moment has passed."""
    reason: str
    """Why it is left out, where somebody said so; it still stands when nothing can be filed without it."""
    details: tuple[str, ...]
    """Details whose answer mends it (`details.give`)."""
    checks: tuple[str, ...]
    """Checks whose answer mends it."""

    @property
    def what(self) -> str:
        """What is missing, with what exactly where that says more."""
        return self.needs if self.detail.casefold() in self.needs.casefold() else f"{self.needs}: {self.detail}"


def missing(call: CallDesk, audience: str = SERVICE, moment: str | None = None) -> tuple[Missing, ...]:
    """Return what the write-up of a call lacks for a reader, earliest moment first.

    `moment` (before_touching | before_repair | before_leaving | later): only what is lost after it and nobody has
    given a reason for; None: everything. Claim rules fire for the reader "claim", and for any call that is a claim.
    """
    if audience not in AUDIENCES or (moment is not None and moment not in MOMENTS):
        raise UsageError(f"{moment or audience!r} is not known.", "completeness", f"Moments: {', '.join(MOMENTS)}.")
    story = tell(call)
    found = check_story(story, call.engine.knowledge, claim=audience == CLAIM or story.claim)
    if moment is None:
        return found
    upto = MOMENTS.index(moment)
    return tuple(m for m in found if MOMENTS.index(m.by) <= upto and not m.reason)


def at_risk(call: CallDesk, check: str | None = None) -> tuple[Missing, ...]:
    """Return what should be read or photographed before a check (or, with none named, before a repair).

    Only checks that change evidence ask for it.
    """
    if check is not None and not call.engine.knowledge.questions[check].destroys:
        return ()
    return missing(call, SERVICE, "before_touching" if check is not None else "before_repair")


def only_now(call: CallDesk, check: str | None) -> str:
    """Return the question for what can only be had before a check that changes evidence, the quickest first; else "".

    Only on site, and only while nothing has been touched: afterwards it is no longer asked here.
    """
    if check is None or call.state.channel != "site" or check.partition(".")[0] not in call.engine.knowledge.questions:
        return ""
    told = at_risk(call, check.partition(".")[0]) if not _touched(call) else ()
    quick = sorted(told, key=lambda m: m.minutes)
    then = f" Then {'; '.join(m.needs for m in quick[1:])}." if quick[1:] else ""
    return f"{quick[0].asks}{then}" if quick else ""


def _touched(call: CallDesk) -> bool:
    """Tell whether a check that changes evidence, or a swap, was made already."""
    questions = call.engine.knowledge.questions
    return bool(call.state.swaps or call.state.repairs) or any(
        (q := questions.get(a.check)) is not None and q.destroys for a in call.state.answers)


def check_story(story: Story, knowledge: Knowledge, *, claim: bool) -> tuple[Missing, ...]:
    """Return what a story lacks, sorted by moment, then severity, in the order of the rules."""
    reasons = {s.rule: s.reason for s in story.skipped}
    now = _moment_of(story, knowledge)
    found = []
    for rule in knowledge.completeness.values():
        if not _asked(rule, story, claim, knowledge):
            continue
        detail = test_of(rule)(story, rule, knowledge)
        severity = (rule.in_claim or rule.severity) if claim else rule.severity
        reason = reasons.get(rule.id, "")
        if not detail or (reason and severity == SHOULD):
            continue
        lost = rule.destroyed and MOMENTS.index(rule.by) < now
        given = all(story.item(n) for n in rule.details)
        needs, asks = (rule.needs_given if given else None), (rule.asks_given if given else None)
        found.append(Missing(rule.id, needs or rule.needs, detail, asks or rule.asks, by=rule.by, minutes=rule.minutes,
                             severity=severity, lost=lost, reason=reason, details=rule.details, checks=rule.checks))
    order = list(knowledge.completeness)
    return tuple(sorted(found, key=lambda m: (MOMENTS.index(m.by), m.severity != MUST, order.index(m.rule))))


def missing_text(found: Sequence[Missing], width: int = 78) -> str:
    """Return the list as text: what is lost after which moment, with its question."""
    from diag.text import number, wrap

    titles = {"before_touching": "Before anything is touched", "before_repair": "Before the repair",
              "before_leaving": "Before leaving", "later": "Later, from the office"}
    lines = []
    for moment in MOMENTS:
        entries = [m for m in found if m.by == moment]
        if entries:
            lines.append(f"{titles[moment]}:")
        for m in entries:
            lost = "; too late, give the reason" if m.lost and not m.reason else ""
            reason = f"; left out: {m.reason}" if m.reason else ""
            told = f"{m.what}. {m.asks} {number(m.minutes)} min{lost}{reason}"
            lines.append(wrap(f"- {m.severity}: {told}", width))
    return "\n".join(lines) + "\n" if lines else "Nothing is missing.\n"


@dataclass(frozen=True)
class Readiness:
    """How much of what a reader asks for a write-up holds."""

    of: int
    """Rules asked of this story."""
    met: int
    draft: bool
    """True when something is missing without which nothing is filed."""
    missing: tuple[Missing, ...]
    aside: int = 0
    """Rules of those met that are met only by the reason why the thing is left out."""


def readiness(story: Story, knowledge: Knowledge, *, claim: bool) -> Readiness:
    """Return how complete a story is; what was left out with its reason counts as met where that is allowed."""
    asked = sum(_asked(rule, story, claim, knowledge) for rule in knowledge.completeness.values())
    found = check_story(story, knowledge, claim=claim)
    reasons = {s.rule for s in story.skipped} - {m.rule for m in found}
    aside = sum(bool(test_of(rule)(story, rule, knowledge)) for rule in knowledge.completeness.values()
                if rule.id in reasons and _asked(rule, story, claim, knowledge))
    return Readiness(asked, asked - len(found), any(m.severity == MUST for m in found), found, aside=aside)


def missing_rows(found: Sequence[Missing]) -> tuple[tuple[str, str], ...]:
    """Return what is missing as pairs: what, and the question that mends it with the last moment for it."""
    said = {"before_touching": "before anything is touched", "before_repair": "before the repair",
            "before_leaving": "before leaving", "later": "later"}
    rows = []
    for m in found:
        late = "too late, give the reason" if m.lost else said[m.by]
        rows.append((m.what, f"{m.asks} ({f'left out: {m.reason}' if m.reason else late})"))
    return tuple(rows)


def _asked(rule: CompletenessRule, story: Story, claim: bool, knowledge: Knowledge) -> bool:
    kinds = _kinds(story)
    if kinds <= set(rule.not_closings) or (rule.part and _only_set(story, knowledge)):
        return False
    if rule.at_end and not claim and story.closing.open and not story.repairs:
        return False
    if rule.for_ == "claim":
        return claim
    fits = not rule.closings or bool(kinds & set(rule.closings))
    return fits or (claim and rule.in_claim is not None)


def _kinds(story: Story) -> set[str]:
    """Return how a call ended by its closing word and by what it holds: a repair keeps the rules of a mended call."""
    mended = any(r.kind == "repair" for r in story.repairs)
    return {story.closing.kind, *([mended_kind(story.record.channel)] if mended else [])}


def _only_set(story: Story, knowledge: Knowledge) -> bool:
    """Tell whether all that was mended is settings: only those were recorded, or no part belongs to such a repair."""
    mended = [r for r in story.repairs if r.kind == "repair"]
    if mended and all(r.settings and not r.parts for r in mended):
        return True
    causes = [knowledge.causes[c] for r in mended for c in r.causes if c in knowledge.causes]
    return bool(causes) and not any(r.parts for r in mended) and not any(c.repair.parts for c in causes)


def _moment_of(story: Story, k: Knowledge) -> int:
    """Return the moment the call has reached: not mended, mended, closed; one that nobody touched stays at the first.

    Until it is mended or closed, nothing that is read or photographed in place is gone.
    """
    if any(r.kind == "repair" for r in story.repairs):
        return MOMENTS.index("before_leaving" if story.closing.open else "later")
    touched = any(t.pieces or ((q := k.questions.get(t.check)) and q.destroys) for t in story.tests)
    return MOMENTS.index("later") if touched and not story.closing.open else 0
