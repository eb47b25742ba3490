"""What was shown about each cause: computed from tests and values only, never from belief.

confirmed     the fault was made to go and come with values (repaired, measured again, the old part or setting
              brought it back or moved it), or a deciding look or test by a technician plus an accepted proof
probable      deciding or supporting tests with values, not reversed
possible      something speaks for it, or only a caller has seen it
ruled_out     a named deciding test by a technician or instrument speaks strongly against it
inconclusive  tests speak both for and against it
not_tested    nothing was tested that bears on it
"""

from __future__ import annotations

from dataclasses import dataclass

from diag.call.desk import CallDesk
from diag.call.state import Answer
from diag.knowledge.model import Check

CONFIRMED, PROBABLE, POSSIBLE = "confirmed", "probable", "possible"
RULED_OUT, INCONCLUSIVE, NOT_TESTED = "ruled_out", "inconclusive", "not_tested"

FOR_STRONGLY, FOR, AGAINST, AGAINST_STRONGLY = 4.5, 1.4, 0.71, 0.1


@dataclass(frozen=True)
class Test:
    """One live answer as it bears on a cause."""

    event: str
    check: str
    outcome: str
    ratio: float
    """Written likelihood ratio of the outcome for the cause."""
    firm: bool
    """Seen by a technician or read off an instrument."""
    deciding: bool
    epoch: int
    reversal: bool
    """Made with a piece moved to another row, or with the old part or setting back."""


def shown_words(call: CallDesk) -> dict[str, str]:
    """Return the shown word of every cause that anything bears on."""
    words = {}
    for cause in call.engine.knowledge.causes:
        word = shown_word(call, cause)
        if word != NOT_TESTED:
            words[cause] = word
    return words


def tests_of(call: CallDesk, cause: str) -> tuple[Test, ...]:
    """Return the answers that bear on a cause, in reading order."""
    thought, engine = call.think(), call.engine
    table_of, position = engine.tables.check, engine.tables.position[cause]
    found = []
    for seen in thought.read.seen.values():
        outcome = seen.evaluated.outcome
        if outcome is None:
            continue
        table = table_of(seen.answer.check)
        if not table.marked[position]:
            continue
        check = engine.knowledge.questions[seen.answer.check]
        ratio = _written(check, outcome, cause, engine.knowledge.causes[cause].subsystem, call)
        if ratio == 1.0:
            continue
        observer = engine.knowledge.observers.get(seen.answer.observer)
        firm = observer is not None and observer.weight != "caller"
        reversal = bool(seen.answer.pieces) or (seen.answer.method or "").startswith("reversal")
        answer = seen.answer
        test = Test(answer.event, answer.check, outcome, ratio, firm, check.deciding, answer.epoch, reversal)
        found.append(test)
    return tuple(found)


def _written(check: Check, outcome: str, cause: str, subsystem: str, call: CallDesk) -> float:
    marks = call.engine.knowledge.marks
    group = 1.0
    for word, targets in check.outcomes[outcome].marks.items():
        if cause in targets:
            return marks[word].ratio
        if f"@{subsystem}" in targets:
            group = marks[word].ratio
    return group


def shown_word(call: CallDesk, cause: str) -> str:
    """Return what was shown about one cause."""
    tests = tests_of(call, cause)
    state = call.state
    repaired = [r for r in state.repairs if r.kind == "repair" and cause in r.causes]
    accepted = {p.target for p in state.proofs if p.verdict == "accepted" and p.answers}
    proved = any(r.event in accepted for r in repaired)
    first_repair = min((r.epoch for r in repaired), default=None)
    before = [t for t in tests if first_repair is None or t.epoch <= first_repair]
    firm_for = [t for t in before if t.firm and t.ratio >= FOR]
    deciding_for = [t for t in firm_for if t.deciding and t.ratio >= FOR_STRONGLY]
    firm_against = [t for t in before if t.firm and t.ratio <= AGAINST]
    ruled_out = [t for t in firm_against if t.deciding and t.ratio <= AGAINST_STRONGLY]
    if proved and (deciding_for or any(t.reversal for t in firm_for)):
        return CONFIRMED
    if ruled_out and not deciding_for:
        return RULED_OUT
    if firm_for and firm_against and not proved:
        return PROBABLE if deciding_for and not ruled_out else INCONCLUSIVE
    if deciding_for or (firm_for and _with_value(call, firm_for)) or (proved and firm_for):
        return PROBABLE
    if any(t.ratio >= FOR for t in before) or proved:
        return POSSIBLE
    return INCONCLUSIVE if firm_against else NOT_TESTED


def _with_value(call: CallDesk, tests: list[Test]) -> bool:
    answers = {a.event: a for a in call.state.answers}
    return any(_has_value(answers[t.event]) for t in tests)


def _has_value(answer: Answer) -> bool:
    return any(x is not None for x in (answer.value, answer.values, answer.spacings, answer.positions, answer.log))
