"""What was shown about each cause: computed from tests and values only, never from belief.

confirmed     the fault was made to go and come with values: mended, measured again, and the old part or setting brought
              it back; or moved with a piece that no other cause goes along with. A swap of more than it, or a look,
              and a good reading after the repair are one reversal short
probable      firm tests with values, or a deciding look, point to it, and no other cause of the complaint fits them
              nearly as well: neither a deciding look alone nor all that was tested together
possible      something speaks for it, but another cause fits as well, or only a caller has seen it
ruled_out     a test by a technician or instrument, with its value, speaks strongly against it
inconclusive  firm tests, one of them of the thing itself, speak both for and against it, or only weakly against it
not_tested    nobody looked: no test of the thing itself, and nothing that speaks for it or rules it out
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import cached_property
from typing import Any

from diag.call.bearing import (
    AGAINST,
    CHANGED,
    FOR,
    FOR_STRONGLY,
    OLD_BACK,
    ORIGINAL,
    Bearing,
    rules_out,
)
from diag.call.by_row import si_of
from diag.call.case_of import BACK as BACK
from diag.call.case_of import is_control
from diag.call.desk import CallDesk
from diag.call.fits import Fits
from diag.call.proof import NOT_ACCEPTED, Proved, Proving, together
from diag.call.proof import outcomes_of as outcomes_of
from diag.call.reversal import gone, gone_and_come, homes, moved
from diag.figures import READINGS
from diag.knowledge.model import Cause
from diag.record.kinds import Answer, Repaired
from diag.record.state import NotPutBack

CONFIRMED, PROBABLE, POSSIBLE = "confirmed", "probable", "possible"
RULED_OUT, INCONCLUSIVE, NOT_TESTED = "ruled_out", "inconclusive", "not_tested"
WORDS = (CONFIRMED, PROBABLE, POSSIBLE, INCONCLUSIVE, RULED_OUT, NOT_TESTED)

AHEAD = 3.0
"""How much better than every other cause of the complaint a cause has to explain what was tested (estimate)."""
SAYS_NOTHING = 0.8, 1.25
"""Ratios between these are those of a sound machine: the answer says nothing about the cause."""


def shown_words(call: CallDesk) -> dict[str, str]:
    """Return the shown word of every cause that anything bears on."""
    return {cause: word for cause, word in Bench(call).words().items() if word != NOT_TESTED}


def has_value(answer: Answer) -> bool:
    """Tell whether an answer carries a measured value."""
    return any(getattr(answer, name) is not None for name in READINGS)


class Bench:
    """All tests of a call laid side by side; make one, ask it often."""

    def __init__(self, call: CallDesk) -> None:
        self.call, self.state, self.knowledge = call, call.state, call.engine.knowledge
        self.proving = proving = Proving(call)
        self.outcomes, self.changed = proving.outcomes, proving.changed
        self.proved: dict[str, Proved] = {r.event: proving.judge(r) for r in proving.repairs}
        """Repair -> the one judgement on it."""
        self.together = together(call)
        self.answers = [a for a in self.state.answers if a.event in self.outcomes
                        and not is_control(a, self.knowledge.questions[a.check], self.state)]
        """Live answers with a verdict; a look at rows beside the trouble alone says nothing about a cause."""
        self.measured = any(has_value(a) for a in self.answers)
        self._tests: dict[str, tuple[Bearing, ...]] = {}

    # --- tests ------------------------------------------------------------------------------------

    def tests(self, cause: str) -> tuple[Bearing, ...]:
        """Return the answers of all checks of which something is told for a cause, in reading order."""
        if cause not in self._tests:
            self._tests[cause] = tuple(self._make_tests(cause))
        return self._tests[cause]

    def _make_tests(self, cause: str) -> Iterator[Bearing]:
        known = self.knowledge.causes[cause]
        repaired, rows = self._first_repair(cause), self._mended_rows(cause)
        for answer in self.answers:
            if rows and not self._meets(answer, rows):
                continue
            check = self.knowledge.questions[answer.check]
            outcome = self.outcomes[answer.event]
            ratio = self._ratio(answer.check, outcome, cause)
            if ratio is None:
                continue
            if repaired is None and check.outcomes[outcome].normal and self._after_a_repair(answer):
                continue
            observer = self.knowledge.observers.get(answer.observer)
            yield Bearing(
                answer.event, answer.check, ratio, contrast=self._contrast(answer.check, outcome, cause),
                firm=observer is not None and observer.weight != "caller", deciding=check.deciding,
                valued=has_value(answer), normal=check.outcomes[outcome].normal, epoch=answer.epoch,
                state=self._state_of(answer, repaired, known),
            )

    def _ratio(self, key: str, outcome: str, cause: str) -> float | None:
        """Return what an outcome says about a cause; None where the check says nothing of it at all."""
        tables = self.call.engine.tables
        table, position = tables.check(key), tables.position[cause]
        if not table.marked[position]:
            return None
        ratio = table.ratio(outcome, position)
        return 1.0 if SAYS_NOTHING[0] < ratio < SAYS_NOTHING[1] else ratio

    @cached_property
    def rivals(self) -> tuple[str, ...]:
        """Causes that this machine can have and that bring a symptom of the complaint; none told: all it can have."""
        can_be = [r.cause for r in self.call.think().judgement.ranking]
        complaint = {symptom for symptom, _ in self.state.accepted}
        return tuple(sorted(c for c in can_be if not complaint or complaint & set(self.knowledge.causes[c].symptoms)))

    def _contrast(self, key: str, outcome: str, cause: str) -> float:
        """Return how much likelier an outcome is with a cause than, in the mean, with its rivals."""
        tables = self.call.engine.tables
        table = tables.check(key)
        chances = table.shares[table.index(outcome)]
        others = [tables.position[c] for c in self.rivals if c != cause]
        usual = chances[others].mean() if others else table.base[table.index(outcome)]
        return float(chances[tables.position[cause]] / usual)

    def _repairs(self, cause: str) -> list[Repaired]:
        return [r for r in self.state.repairs if r.kind == "repair" and cause in r.causes]

    def _first_repair(self, cause: str) -> int | None:
        return min((r.epoch for r in self._repairs(cause)), default=None)

    def _state_of(self, answer: Answer, repaired: int | None, cause: Cause) -> str:
        if repaired is not None and answer.epoch > repaired:
            return OLD_BACK if self._is_back(answer, cause) else CHANGED
        return CHANGED if answer.pieces else ORIGINAL

    def _after_a_repair(self, answer: Answer) -> bool:
        """Tell whether an answer speaks of rows mended before it, and not in vain: it says nothing of other causes."""
        mended = (r for r in self.proving.repairs if answer.epoch > r.epoch and self.proving.is_own(answer, r))
        return any(not self.proved[r.event].failed for r in mended)

    def _mended_rows(self, cause: str) -> frozenset[int]:
        """Return the rows where a cause was mended; empty where it was not, or nobody said where."""
        rows = [self.proving.rows(r) for r in self._repairs(cause)]
        return frozenset().union(*rows) if all(rows) else frozenset()

    def _meets(self, answer: Answer, rows: frozenset[int]) -> bool:
        """Tell whether an answer speaks of some rows, or of a piece from them; one that names no row does."""
        own = self.proving.covers(answer)
        return not own or bool(rows & (own | set(homes(answer).values())))

    def old_back(self, answer: Answer) -> bool:
        """Tell whether an answer was given with the old part or setting of a repair back in place."""
        mended = {c for r in self.proved for done in self.state.repairs if done.event == r for c in done.causes}
        return any(self._is_back(answer, self.knowledge.causes[c]) for c in mended if c in self.knowledge.causes)

    def _is_back(self, answer: Answer, cause: Cause) -> bool:
        if (answer.method or "").startswith(BACK):
            return True
        return any(self._is_old(change, cause) for change in self.changed.get(answer.event, ()))

    def _is_old(self, change: NotPutBack, cause: Cause) -> bool:
        """Tell whether a change that stood put the old part or setting of a repair back: another step is none."""
        repairs = self._repairs(cause.id)
        were = [s.before for r in repairs for s in r.settings if s.name.casefold() == change.name.casefold()]
        if were:
            return any(_same(change.now, before) for before in were)
        parts = [n for p in cause.repair.parts for n in (p, self.knowledge.parts[p].label)]
        parts += [part.item for r in repairs for part in r.parts]
        return change.name.casefold() in {n.casefold() for n in parts} and "new" not in words_of(change.now)

    def by_cause(self) -> dict[str, tuple[Bearing, ...]]:
        """Return the answers that speak for or against, for every cause that any does."""
        found = {c: tuple(t for t in self.tests(c) if t.ratio != 1.0) for c in self.knowledge.causes}
        return {c: tests for c, tests in found.items() if tests}

    # --- words ------------------------------------------------------------------------------------

    def words(self) -> dict[str, str]:
        """Return the word of every cause; two that fit the same tests equally well are both only possible."""
        words = {c: self._word_alone(c) for c in self.knowledge.causes}
        standing = [c for c, w in words.items() if w in (CONFIRMED, PROBABLE)]
        mended = {c for c in standing if self._mended(c)}
        open_ones = [c for c in standing if c not in mended]
        lowered = [c for c in open_ones if any(self._rival(r, c, r in mended) for r in standing if r != c)
                   or (words[c] == PROBABLE and not self._ahead(c))]
        words |= dict.fromkeys(lowered, POSSIBLE)
        return words | dict.fromkeys((c for c in standing if self._not_parted(c, words)), POSSIBLE)

    def _ahead(self, cause: str) -> bool:
        """Tell whether no other cause fits nearly as well: one deciding look alone, or all firm tests of an epoch."""
        looks = [self.fits.of(t.event) for t in self.tests(cause) if t.decides and t.state != OLD_BACK]
        spoke = {t.epoch for t in self.tests(cause)
                 if t.firm and t.ratio >= FOR and not t.normal and t.state != OLD_BACK}
        epochs = (fit for e, fit in self.fits.firm.items() if e in spoke)
        return any(self.fits.lead(fit, cause) >= AHEAD for fit in (*looks, *epochs))

    @cached_property
    def fits(self) -> Fits:
        """How well the answers fit each cause; what was read with the old part back speaks of another machine."""
        told = [(a, self.outcomes[a.event]) for a in self.answers]
        return Fits(self.call.engine.tables, told, self.rivals, lambda a: self.firm(a) and not self.old_back(a))

    def _not_parted(self, cause: str, words: Mapping[str, str]) -> bool:
        """Tell whether a cause was mended together with others and no test tells it from them."""
        others = {o for group in self.together if cause in group for o in group} - {cause, *self.chained(cause)}
        if not others or self._own_back(cause):
            return False
        return any(words.get(o) != RULED_OUT and not self._parted_from(cause, o) for o in others)

    def chained(self, cause: str) -> frozenset[str]:
        """Return the causes that bring this one or that it brings: one story, no rivals."""
        causes = self.knowledge.causes
        brought = {b.cause for b in causes[cause].leads_to}
        return frozenset(c for c, known in causes.items()
                         if c in brought or any(b.cause == cause for b in known.leads_to))

    def _own_back(self, cause: str) -> bool:
        """Tell whether a reversal rests on a change that names the old part or setting of this very cause."""
        known = self.knowledge.causes[cause]
        return any(self._is_old(change, known) for e in self.reversal(cause) for change in self.changed.get(e, ()))

    def _parted_from(self, cause: str, other: str) -> bool:
        """Tell whether a firm test decides for a cause and all that speaks for the other speaks for it as well."""
        mine, its = self._firm_for(cause), self._firm_for(other)
        own = [t for t in self.tests(cause) if t.event in mine.keys() - its.keys() and t.deciding]
        return any(t.ratio >= FOR_STRONGLY for t in own) and its.keys() <= mine.keys()

    def demanded(self, cause: str, told: Iterable[str]) -> tuple[str, ...]:
        """Return the firm readings that speak for a cause and that none of the causes told explains."""
        explained = {e for c in told for e in (*self._firm_for(c), *self._back_events(c))}
        return tuple(t.event for t in self.tests(cause) if t.firm and t.ratio >= FOR and not t.normal
                     and t.state != OLD_BACK and t.event not in explained)

    def _mended(self, cause: str) -> bool:
        """Tell whether the cause itself was mended, and the fault went with it: proved, reversed, or read so."""
        if self._repairs(cause) and self._reversed_alone(cause) and not self._read_in_vain(cause):
            return True
        if not self._repairs(cause) or self._in_vain(cause):
            return False
        firm: dict[str, list[Bearing]] = {}
        for test in self.tests(cause):
            if test.firm and test.valued:
                firm.setdefault(test.check, []).append(test)
        return self._proved(cause) or any(gone(tests) for tests in firm.values())

    def _word_alone(self, cause: str) -> str:
        tests = [t for t in self.tests(cause) if t.ratio != 1.0]
        repaired, proved = self._first_repair(cause), self._proved(cause)
        before = [t for t in tests if t.state != OLD_BACK and (repaired is None or t.epoch <= repaired)]
        firm_for = [t for t in before if t.firm and t.ratio >= FOR]
        deciding_for = [t for t in firm_for if t.decides]
        firm_against = [t for t in before if t.firm and t.ratio <= AGAINST]
        ruled_out = [t for t in firm_against if rules_out(t)]
        if self.measured and self._reversed_alone(cause) and not self._read_in_vain(cause):
            return CONFIRMED
        if ruled_out:
            return INCONCLUSIVE if deciding_for or proved else RULED_OUT
        if self._in_vain(cause):
            return INCONCLUSIVE if firm_for else POSSIBLE if any(t.ratio >= FOR for t in before) else NOT_TESTED
        looked = any(t.firm and (t.deciding or t.valued) and self.aims(t.check, cause) for t in before)
        unsettled = INCONCLUSIVE if looked else NOT_TESTED
        if firm_for and firm_against and not proved:
            return PROBABLE if deciding_for else unsettled
        if deciding_for or any(t.valued and t.contrast >= FOR for t in firm_for) or (proved and firm_for):
            return PROBABLE
        if any(t.ratio >= FOR for t in before) or proved:
            return POSSIBLE
        return unsettled if firm_against else NOT_TESTED

    def aims(self, check: str, cause: str) -> bool:
        """Tell whether a check looks at the thing itself: one of its findings points at this cause and few others."""
        tables = self.call.engine.tables
        return bool(tables.check(check).aims[tables.position[cause]])

    def _proved(self, cause: str) -> bool:
        """Tell whether a repair of the cause stands: by readings of a technician or instrument, and by a person."""
        by_event = {a.event: a for a in self.answers}
        return any(self.proved[r.event].stands
                   and any(self.firm(by_event[e]) for e in self.proved[r.event].answers if e in by_event)
                   for r in self._repairs(cause))

    def firm(self, answer: Answer) -> bool:
        """Tell whether a technician or an instrument gave an answer."""
        observer = self.knowledge.observers.get(answer.observer)
        return observer is not None and observer.weight != "caller"

    def _in_vain(self, cause: str) -> bool:
        """Tell whether every repair of the cause so far was measured, or judged, as not having helped."""
        repairs = self._repairs(cause)
        return bool(repairs) and all(self.proved[r.event].failed for r in repairs)

    def _read_in_vain(self, cause: str) -> bool:
        """Tell whether the readings after every repair of the cause say that it did not help, whoever judged it."""
        says = [self.proved[r.event].says for r in self._repairs(cause)]
        return bool(says) and set(says) == {NOT_ACCEPTED}

    def _rival(self, other: str, cause: str, mended: bool) -> bool:
        """Tell whether another cause explains every firm test that speaks for this one, at least as well."""
        mine = {e: r for e, r in self._firm_for(cause).items() if e not in self._back_events(other)}
        its = self._firm_for(other)
        if not mine or not mine.keys() <= its.keys():
            return False
        return mended or all(its[e] >= mine[e] for e in mine)

    def _firm_for(self, cause: str) -> dict[str, float]:
        return {t.event: t.ratio for t in self.tests(cause) if t.firm and t.ratio >= FOR and t.state != OLD_BACK}

    def _back_events(self, cause: str) -> frozenset[str]:
        return frozenset(t.event for t in self.tests(cause) if t.state == OLD_BACK)

    # --- made to go and come ------------------------------------------------------------------------

    def reversal(self, cause: str) -> tuple[str, ...]:
        """Return the answers that made the fault go and come, or move with a piece, with values; else ()."""
        by_check: dict[str, list[Bearing]] = {}
        for test in self.tests(cause):
            if test.firm and test.valued:
                by_check.setdefault(test.check, []).append(test)
        for tests in by_check.values():
            found = gone_and_come(tests) or moved(tests, {a.event: a for a in self.answers}, self.knowledge)
            if found:
                return found
        return ()

    def _reversed_alone(self, cause: str) -> bool:
        """Tell whether the reversal shows this very cause without a verdict on a repair."""
        events = self.reversal(cause)
        if not events:
            return False
        states = {t.event: t.state for t in self.tests(cause)}
        if any(states[e] == OLD_BACK for e in events):
            return True
        by_event = {a.event: a for a in self.answers}
        pieces = {p for e in events for p in by_event[e].pieces}
        return bool(pieces) and pieces <= set(self.knowledge.causes[cause].repair.parts) and not self._shares(cause)

    def _shares(self, cause: str) -> bool:
        """Tell whether another cause that nothing rules out goes along with the same piece: a swap shows the piece."""
        follows = self.knowledge.causes[cause].follows
        return any(c != cause and self.knowledge.causes[c].follows == follows
                   and not any(rules_out(t) for t in self.tests(c)) for c in self.rivals)


def _same(a: Any, b: Any) -> bool:
    """Tell whether two stored settings are the same, whatever their unit."""
    first, second = si_of(a), si_of(b)
    return abs(first - second) <= 1e-6 * max(1.0, abs(first)) if first is not None and second is not None else a == b


def words_of(value: Any) -> list[str]:
    """Return the words of a stored setting that is no figure."""
    return str(value).casefold().split() if not isinstance(value, Mapping) else []


