"""Which checks can be made here and now, what they cost in minutes, and who answers."""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from diag.knowledge.model import Check
from diag.reason.axes import fit
from diag.reason.case import Case
from diag.reason.tables import Tables

LEAST_MINUTES = 0.5
ROWS_BESIDE = 2
"""Good rows that are read beside those in trouble."""
MOST_REMEMBERED = 64
YES = "yes"
"""Outcome of what is so, on a list."""
_Possible = tuple[str, str, Check, float]
"""A check as asked, the check it is a part of, itself, its minutes when nothing is prepared."""


def check_minutes(check: Check, case: Case, tables: Tables) -> float | None:
    """Return the minutes a check costs in this channel, less preparations in force; None = not feasible.

    By phone a grower's minute counts in full while the planter stands for it, and little while he plants on.
    """
    whole = _unprepared(check, case, tables)
    return None if whole is None else _prepared(whole, check, case)


def _prepared(whole: float, check: Check, case: Case) -> float:
    """Return minutes less what is prepared already."""
    if case.prepared and case.channel == "site":
        whole -= sum(m for name, m in check.prep.items() if name in case.prepared)
    return max(LEAST_MINUTES, whole)


def _unprepared(check: Check, case: Case, tables: Tables) -> float | None:
    minutes = check.minutes
    if any(tool in case.not_here for tool in check.tools):
        return None
    if case.channel == "phone":
        if check.phone is None or minutes.desk is None:
            return None
        weight = 1.0 if planter_stands(check, tables) else tables.knowledge.settings.grower_weight
        return minutes.desk + weight * (minutes.grower or 0.0)
    return minutes.on_site(rows_to_read(case, tables))


def rows_to_read(case: Case, tables: Tables) -> float:
    """Return how many rows are read where rows are compared: those in trouble and two beside them, at most all."""
    rows = case.machine_rows or tables.knowledge.settings.usual_rows
    return rows if case.trouble_rows is None else min(rows, len(case.trouble_rows) + ROWS_BESIDE)


def planter_stands(check: Check, tables: Tables) -> bool:
    """Return whether planting stops for a check: any of its steps is in a state in which the planter stands."""
    states = tables.knowledge.states
    return any(states[step.state].stands for step in check.steps if step.state in states)


class Feasible:
    """Which checks are worth weighing; what machine, channel and complaint allow is worked out once."""

    def __init__(self, tables: Tables) -> None:
        self._tables = tables
        self._here: dict[Any, list[_Possible]] = {}
        self._in_occasion: dict[Any, list[_Possible]] = {}

    def _allowed(self, case: Case, asked: Iterable[str]) -> list[_Possible]:
        """Return the checks, as asked, that machine, channel and complaint allow."""
        key = (case.channel, case.not_here, frozenset(case.axes.items()), case.machine_rows,
               case.trouble_rows and len(case.trouble_rows))
        occasion = Occasion.of(case, self._tables, asked)
        if (key, occasion) not in self._in_occasion:
            if len(self._in_occasion) > MOST_REMEMBERED:
                self._here.clear()
                self._in_occasion.clear()
            if key not in self._here:
                self._here[key] = list(self._possible(case))
            self._in_occasion[key, occasion] = [p for p in self._here[key] if occasion.given(p[2])]
        return self._in_occasion[key, occasion]

    def _possible(self, case: Case) -> Iterator[_Possible]:
        """Yield the checks that this machine can have and this channel allows."""
        knowledge = self._tables.knowledge
        for name, check in knowledge.questions.items():
            minutes = _unprepared(check, case, self._tables)
            if minutes is not None and fit(check.applies, case.axes, knowledge) > 0:
                yield name, name.partition(".")[0], check, minutes

    def now(
        self, case: Case, blocked: Container[str] = (), again: Container[str] = ()
    ) -> tuple[list[str], list[float]]:
        """Return the checks worth weighing now, and their minutes.

        What was answered, or could not be, is not asked twice: after a repair only the checks of `again`, the proof.
        """
        now = {i.check for i in case.instances if i.epoch == case.epoch and not i.control}
        asked = {i.check for i in case.instances if not i.control}
        lists = {i.check.partition(".")[0] for i in case.instances if i.events and "." in i.check}
        told = asked.union(case.symptoms, (i.check.partition(".")[0] for i in case.instances if i.outcome == YES))
        answered = asked | {check.partition(".")[0] for check in asked}
        keys, minutes = [], []
        for key, whole, check, cost in self._allowed(case, asked):
            done = key in (now if key in again else asked)
            if done or key in blocked or whole in blocked or (whole != key and whole in lists):
                continue
            if answered.issuperset(check.after) and told.isdisjoint(check.told_by):
                keys.append(key)
                minutes.append(_prepared(cost, check, case) if case.prepared else max(LEAST_MINUTES, cost))
        return keys, minutes


@dataclass(frozen=True)
class Occasion:
    """What a call is about, and what of it can be seen."""

    symptoms: frozenset[str]
    seen_in: frozenset[str]
    """Where the complaint is seen: furrow, stand, either."""
    stand_seen: bool
    """True when the stand was looked at."""

    @classmethod
    def of(cls, case: Case, tables: Tables, asked: Iterable[str]) -> Occasion:
        """Return the occasion of a case."""
        knowledge = tables.knowledge
        stand = any(knowledge.questions[a].when_seen == "emerged" for a in asked)
        seen_in = frozenset(knowledge.symptoms[s].seen_in for s in case.symptoms)
        return cls(frozenset(case.symptoms), seen_in, stand)

    def given(self, check: Check) -> bool:
        """Return whether a check's thing can be seen now and belongs to the complaint."""
        if not self.symptoms:
            return True
        if check.belongs_to and self.symptoms.isdisjoint(check.belongs_to):
            return False
        if check.when_seen == "emerged":
            return not self.seen_in.isdisjoint(("stand", "either"))
        return check.when_seen != "open_furrow" or "stand" not in self.seen_in or self.stand_seen


def usual_observer(check: Check, channel: str) -> str:
    """Return the observer whose answer is expected: by phone the caller, who dug or felt, or only looked."""
    if channel == "site":
        return "instrument" if check.measured else "technician"
    if check.who == "guided":
        return "guided"
    touched = any(step.state in ("parked_safe", "after_planting", "bench") for step in check.steps)
    return "caller_did" if touched else "caller"


def usual_error(check: Check, channel: str, tables: Tables) -> float:
    """Return the error rate of the expected observer."""
    return tables.knowledge.observers[usual_observer(check, channel)].error
