"""One judgement on a repair, from readings: the form, the desk, the story and the completeness rules all ask here.

Only readings taken after the repair count, with every part in its own row and nothing changed for a test. The repaired
rows and the control rows are judged apart, each check by itself; counts are pooled only where the same check was made
in the same rows. A row in trouble, or mended by another repair, is neither: it is no control, and what it reads says
nothing about this repair. A person may accept against the readings: then `against` is true, and every page says so.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from diag.call.by_row import figures_by_row, values_by_row
from diag.call.case_of import BACK
from diag.call.desk import CallDesk
from diag.call.readings import evaluate
from diag.figures.rows import Rows, row_of
from diag.knowledge.model import Verification
from diag.reason.proof_check import shows_trouble
from diag.record.kinds import Answer, Repaired
from diag.text import rows_words

ACCEPTED, NOT_ACCEPTED, NOT_YET = "accepted", "not_accepted", "not_yet"
ENOUGH_ROWS = 3
"""Rows of a repair of many rows that have to be measured again; of fewer rows every one."""
MOVED_AS_MUCH = 0.5
"""Share of the repaired rows' change from which on the control rows moved as well."""


@dataclass(frozen=True)
class Sample:
    """Bad ones counted by one check in one set of rows."""

    check: str
    rows: Rows | None
    bad: int
    n: int
    events: tuple[str, ...]


@dataclass(frozen=True)
class Proved:
    """What the readings since one repair say, and what a person said."""

    says: str
    """accepted | not_accepted | not_yet, from the readings alone."""
    why: str
    verdict: str
    """The last verdict that a person gave; "" while nobody has."""
    answers: tuple[str, ...]
    """Readings of the repaired rows that it rests on."""
    control: tuple[str, ...]
    """Readings of good rows beside them."""
    before: tuple[Sample, ...]
    """Counts in the repaired rows before the repair: the last of each check made again since."""
    after: tuple[Sample, ...]
    control_counts: tuple[Sample, ...]
    needs_control: bool
    """This kind of repair is proved beside a good row."""

    @property
    def stands(self) -> bool:
        """True when the readings and a person both accept the repair."""
        return self.says == self.verdict == ACCEPTED

    @property
    def against(self) -> bool:
        """True when a person accepted what the readings do not carry."""
        return self.verdict == ACCEPTED != self.says

    @property
    def failed(self) -> bool:
        """True when the repair was measured, or judged by a person, as not having helped."""
        return NOT_ACCEPTED in (self.says, self.verdict)


def outcomes_of(call: CallDesk) -> dict[str, str]:
    """Return what each live answer was taken to mean: in a closed call as judged when it was closed."""
    seen = call.think().read.seen
    now = {event: s.evaluated.outcome for event, s in seen.items() if s.evaluated.outcome}
    judged: dict[str, str] = {}
    if call.state.closed and call.state.judged:
        judged = dict(call.state.judged[-1].outcomes or {})
    known = call.engine.knowledge.questions
    held = {e: o for e, o in judged.items() if e in seen and o in known[seen[e].answer.check].outcomes}
    return now | held


def proofs_of(call: CallDesk) -> dict[str, Proved]:
    """Return repair -> judgement, for every repair of a call."""
    proving = Proving(call)
    return {r.event: proving.judge(r) for r in call.state.repairs if r.kind == "repair"}


class Proving:
    """Judges the repairs of one call."""

    def __init__(self, call: CallDesk) -> None:
        self.call, self.state, self.knowledge = call, call.state, call.engine.knowledge
        self.outcomes, self.changed = outcomes_of(call), call.state.standing
        self.repairs = [r for r in self.state.repairs if r.kind == "repair"]
        self._here: dict[str, str] = self.outcomes
        """What each answer means for the repair that is judged."""

    def judge(self, done: Repaired) -> Proved:
        """Return the judgement on one repair."""
        wanted = self._verifications(done)
        proving = {c for v in wanted for c in (*v.checks, *v.passes)}
        since, every = self._since(done), self._earlier(done)
        self._here = self.outcomes | self._without_others(done, since)
        earlier = [a for a in every if self.is_own(a, done)]
        shown = {a.check for a in earlier if self._bad(a, wanted)}
        made = [a for a in since if a.check in proving or a.check.partition(".")[0] in proving or a.check in shown]
        own = [a for a in made if self.is_own(a, done)]
        beside = [a for a in made if self._is_control(a, done) or self._holds_control(a, done)]
        again = {a.check for a in made}
        before = [a for a in earlier if a.check in again]
        last = {p.target: p.verdict for p in self.state.proofs}
        judged = Proved(
            says=NOT_YET, why="", verdict=last.get(done.event, ""),
            answers=tuple(a.event for a in own), control=tuple(a.event for a in beside),
            before=self._last_samples(before), after=self._samples(own),
            control_counts=self._samples([a for a in beside if self._is_control(a, done)]),
            needs_control=any(v.control_row for v in wanted),
        )
        says, why = self._says(done, wanted, own, judged)
        if says == ACCEPTED:
            says, why = self._beside(done, wanted, (says, why), beside, every=[*every, *made])
        return replace(judged, says=says, why=why)

    # --- which readings --------------------------------------------------------------------------------

    def _verifications(self, done: Repaired) -> tuple[Verification, ...]:
        known = [self.knowledge.causes[c].repair.verify for c in done.causes if c in self.knowledge.causes]
        named = dict.fromkeys(v for v in known if v in self.knowledge.verifications)
        return tuple(self.knowledge.verifications[v] for v in named if v)

    def plain(self, answers: Iterable[Answer]) -> list[Answer]:
        """Return readings with each piece in its own row and nothing changed for a test."""
        return [a for a in answers if a.status == "given" and not a.pieces and not self.changed.get(a.event)
                and not (a.method or "").startswith(BACK)]

    def _since(self, done: Repaired) -> list[Answer]:
        """Return readings after the repair: up to the next one where it was measured before that, else all."""
        after = self.plain(a for a in self.state.answers if a.epoch > done.epoch)
        following = [r.epoch for r in self.repairs if r.epoch > done.epoch and self.meets(r, done)]
        between = [a for a in after if following and a.epoch <= min(following)]
        return between or after

    def _earlier(self, done: Repaired) -> list[Answer]:
        return self.plain(a for a in self.state.answers if a.epoch <= done.epoch)

    # --- rows ---------------------------------------------------------------------------------------------

    def rows(self, done: Repaired) -> frozenset[int]:
        """Return the repaired rows; empty where it was all of them or nobody said."""
        scope = done.rows if done.rows is not None else self.state.situation.rows
        return frozenset(scope) if isinstance(scope, tuple) else frozenset()

    def covers(self, answer: Answer) -> frozenset[int]:
        """Return the rows a reading names; empty where it speaks of all in question."""
        by_row = values_by_row(answer, self.knowledge.questions.get(answer.check))
        if by_row:
            return frozenset(by_row)
        return frozenset(answer.rows) if isinstance(answer.rows, tuple) else frozenset()

    def meets(self, one: Repaired, other: Repaired) -> bool:
        """Tell whether two repairs have a row in common; one without rows meets every other."""
        rows = self.rows(one), self.rows(other)
        return not all(rows) or bool(rows[0] & rows[1])

    def _others(self, done: Repaired) -> frozenset[int]:
        """Return the other rows in trouble and those of other repairs: they are no good rows."""
        trouble = self.state.situation.rows
        return (frozenset(trouble if isinstance(trouble, tuple) else ()) | self.mended()) - self.rows(done)

    def is_own(self, answer: Answer, done: Repaired) -> bool:
        """Tell whether a reading speaks of the repaired rows; one that names no row does."""
        rows, own = self.covers(answer), self.rows(done)
        return not rows or not own or bool(rows & own)

    def _is_control(self, answer: Answer, done: Repaired) -> bool:
        rows = self.covers(answer)
        return not self.is_own(answer, done) and not rows & self._others(done)

    def _holds_control(self, answer: Answer, done: Repaired) -> bool:
        own = self.rows(done)
        return bool(own and self.covers(answer) - own - self._others(done))

    def mended(self) -> frozenset[int]:
        """Return the rows of all repairs."""
        return frozenset().union(*(self.rows(r) for r in self.repairs))

    def outcome_without(self, answer: Answer, rows: frozenset[int]) -> str | None:
        """Return what an answer means; a reading of many rows without some of them, told anew."""
        check = self.knowledge.questions.get(answer.check)
        gone = values_by_row(answer, check).keys() & rows
        if check is None or not gone or not self.covers(answer) - gone:
            return self.outcomes.get(answer.event)
        kept = {k: v for k, v in (answer.values or {}).items() if row_of(k) not in gone}
        return evaluate(self.knowledge, check, answer.model_copy(update={"values": kept}), self.state).outcome

    def _without_others(self, done: Repaired, answers: Iterable[Answer]) -> dict[str, str]:
        """Return what readings mean without the rows that have a trouble of their own."""
        others = self._others(done)
        told = {a.event: self.outcome_without(a, others) for a in answers}
        return {event: outcome for event, outcome in told.items() if outcome}

    # --- verdict ------------------------------------------------------------------------------------------

    def _passes(self, answer: Answer, wanted: Sequence[Verification]) -> bool | None:
        """Tell whether a reading passes; None where it could not carry a verdict."""
        outcome = self._here.get(answer.event)
        if outcome is None:
            return None
        ways = [v.passes[answer.check] for v in wanted if answer.check in v.passes]
        if ways:
            return any(outcome in way for way in ways)
        check = self.knowledge.questions[answer.check]
        usual = [o for o, entry in check.outcomes.items() if entry.normal]
        return outcome in usual if usual else None

    def _shows_trouble(self, answer: Answer, wanted: Sequence[Verification]) -> bool:
        """Tell whether an answer shows more than how the mended part looks."""
        named = any(answer.check in (*v.checks, *v.passes) for v in wanted)
        return named or shows_trouble(self.knowledge.questions[answer.check], self.knowledge)

    def _bad(self, answer: Answer, wanted: Sequence[Verification]) -> bool:
        return self._passes(answer, wanted) is False

    def _says(self, done: Repaired, wanted: Sequence[Verification], own: Sequence[Answer],
              judged: Proved) -> tuple[str, str]:
        trouble = self.state.situation.rows
        if isinstance(done.rows, tuple) and isinstance(trouble, tuple) and not set(done.rows) & set(trouble):
            return NOT_YET, f"It was mended at {rows_words(done.rows)}; the trouble is at {rows_words(trouble)}."
        last = {(a.check, self.covers(a)): a for a in own}
        told = {a.event: self._passes(a, wanted) for a in last.values()}
        failed = [a for a in last.values() if told[a.event] is False]
        if failed:
            return NOT_ACCEPTED, self._told(failed[0])
        passed = [a for a in last.values() if told[a.event]]
        if not passed:
            return NOT_YET, "Nothing that proves it has been measured since the repair, or it was too little to tell."
        looked, passed = passed, [a for a in passed if self._shows_trouble(a, wanted)]
        if not passed:
            return NOT_YET, f"{self._told(looked[0])} Whether the trouble is gone nobody has looked at yet."
        unproved = [v for v in wanted if not any(a.check in (*v.checks, *v.passes) for a in passed)]
        if unproved and len(wanted) > 1:
            return NOT_YET, f"Nothing measured since proves the part that is {unproved[0].label}."
        if gone := self._not_again(done, passed):
            return NOT_YET, f"Not measured since the repair: {rows_words(gone)}."
        least = max((v.seeds.get("roll", 0) for v in wanted), default=0)
        few = [s for s in judged.after if s.n < least]
        if few:
            return NOT_YET, f"{few[0].n} seeds counted; {least} are the least."
        return ACCEPTED, self._told(passed[0])

    def _not_again(self, done: Repaired, passed: Sequence[Answer]) -> tuple[int, ...]:
        """Return the repaired rows that nobody has measured again, where too few were."""
        own = self.rows(done)
        if any(not self.covers(a) for a in passed):
            return ()
        gone = own - {r for a in passed for r in self.covers(a)}
        return tuple(sorted(gone)) if len(own) - len(gone) < min(len(own), ENOUGH_ROWS) else ()

    def _told(self, answer: Answer) -> str:
        check = self.knowledge.questions[answer.check]
        rows = f", {rows_words(answer.rows)}" if isinstance(answer.rows, tuple) else ""
        return f"{check.asks.rstrip('.')}{rows}: {check.outcomes[self._here[answer.event]].says}."

    def _beside(self, done: Repaired, wanted: Sequence[Verification], found: tuple[str, str], beside: Sequence[Answer],
                every: Sequence[Answer]) -> tuple[str, str]:
        """Return the verdict as the control rows allow it."""
        bad = [a for a in beside if self._is_control(a, done) and self._bad(a, wanted)]
        if bad:
            return NOT_YET, f"The control row is bad as well. {self._told(bad[-1])}"
        if any(v.control_row for v in wanted) and self._control_moved(done, every):
            return NOT_YET, "The control row moved as much as the repaired one: the repair is not proved by this."
        return found

    def _control_moved(self, done: Repaired, every: Sequence[Answer]) -> bool:
        """Tell whether good rows changed at least half as much as the repaired ones, by the same check."""
        own = self.rows(done)
        return bool(own) and any(self._moved_alike(done, own, [a for a in every if a.check == check])
                                 for check in {a.check for a in every})

    def _moved_alike(self, done: Repaired, own: frozenset[int], answers: Sequence[Answer]) -> bool:
        then, now = (self._figures(a for a in answers if late == (a.epoch > done.epoch)) for late in (False, True))
        moved: dict[bool, list[float]] = {True: [], False: []}
        for row in then.keys() & now.keys():
            moved[row not in own].append(abs(now[row] - then[row]))
        if not moved[True] or not moved[False] or max(moved[False]) == 0:
            return False
        return min(moved[True]) >= MOVED_AS_MUCH * max(moved[False])

    def _figures(self, answers: Iterable[Answer]) -> dict[int, float]:
        found: dict[int, float] = {}
        for answer in answers:
            found |= figures_by_row(answer, self.knowledge.questions.get(answer.check))
            sample = self._counted(answer)
            if sample and isinstance(answer.rows, tuple) and sample[1]:
                found |= dict.fromkeys(answer.rows, sample[0] / sample[1])
        return found

    # --- counts -------------------------------------------------------------------------------------------

    def _counted(self, answer: Answer) -> tuple[int, int] | None:
        """Return (bad, all) of a count of bad ones or of dug spacings."""
        seen = self.call.think().read.seen.get(answer.event)
        analysed = seen.evaluated.analysed if seen else None
        if isinstance(answer.value, Mapping) and "count" in answer.value:
            return answer.value["count"], answer.value["of"]
        faults = analysed.results.get("faults") if analysed else None
        return None if faults is None or faults.k is None or not faults.n else (faults.k, faults.n)

    def _samples(self, answers: Iterable[Answer]) -> tuple[Sample, ...]:
        """Return counts, pooled where the same check was made in the same rows."""
        found: dict[tuple[str, Rows | None], Sample] = {}
        for answer in answers:
            counted = self._counted(answer)
            if counted is not None and counted[1]:
                old = found.get((answer.check, answer.rows)) or Sample(answer.check, answer.rows, 0, 0, events=())
                found[answer.check, answer.rows] = replace(
                    old, bad=old.bad + counted[0], n=old.n + counted[1], events=(*old.events, answer.event))
        return tuple(found.values())

    def _last_samples(self, answers: Iterable[Answer]) -> tuple[Sample, ...]:
        """Return the last count of each check and rows."""
        last = {(a.check, a.rows): a for a in answers if self._counted(a)}
        return tuple(s for a in last.values() for s in self._samples([a]))



def together(call: CallDesk) -> tuple[frozenset[str], ...]:
    """Return the sets of causes mended in the same rows with nothing measured between: no reading tells them apart."""
    measured = {a.epoch for a in call.state.answers if a.status == "given" and not a.pieces}
    proving, groups = Proving(call), list[set[str]]()
    for i, done in enumerate(proving.repairs):
        if i and done.epoch not in measured and proving.meets(proving.repairs[i - 1], done):
            groups[-1] |= set(done.causes)
        else:
            groups.append(set(done.causes))
    return tuple(frozenset(g) for g in groups if len(g) > 1)
