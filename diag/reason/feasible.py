"""Which checks can be made here and now, what they cost in minutes, and who answers."""

from __future__ import annotations

from collections.abc import Container

from diag.knowledge.model import Check
from diag.reason.axes import fit
from diag.reason.case import Case
from diag.reason.tables import Tables

LEAST_MINUTES = 0.5


def check_minutes(check: Check, case: Case, tables: Tables) -> float | None:
    """Return the minutes a check costs in this channel, less preparations in force; None = not feasible.

    By phone a grower's minute counts in full while the planter stands for it, and little while he plants on.
    """
    minutes = check.minutes
    if any(tool in case.not_here for tool in check.tools):
        return None
    if case.channel == "phone":
        if check.phone is None or minutes.desk is None:
            return None
        weight = 1.0 if planter_stands(check, tables) else tables.knowledge.settings.grower_weight
        cost = minutes.desk + weight * (minutes.grower or 0.0)
    else:
        on_site = minutes.on_site(case.machine_rows or tables.knowledge.settings.usual_rows)
        if on_site is None:
            return None
        cost = on_site
    saved = sum(m for name, m in check.prep.items() if name in case.prepared) if case.channel == "site" else 0.0
    return max(LEAST_MINUTES, cost - saved)


def planter_stands(check: Check, tables: Tables) -> bool:
    """Return whether planting stops for a check: any of its steps is in a state in which the planter stands."""
    states = tables.knowledge.states
    return any(states[step.state].stands for step in check.steps if step.state in states)


def feasible(
    case: Case, tables: Tables, blocked: Container[str], again: Container[str] = ()
) -> tuple[list[str], list[float]]:
    """Return the checks worth weighing now, as asked, and their minutes.

    What was answered, or could not be, is not asked twice: after a repair only the checks of `again`, the proof.
    """
    now = {i.check for i in case.instances if i.epoch == case.epoch and not i.control}
    asked = now | {i.check for i in case.instances if not i.control}
    lists = {i.check.partition(".")[0] for i in case.instances if i.events and "." in i.check}
    keys, minutes = [], []
    for key, check in tables.knowledge.questions.items():
        whole = key.partition(".")[0]
        done = key in (now if key in again else asked)
        if done or key in blocked or whole in blocked or ("." in key and whole in lists):
            continue
        cost = check_minutes(check, case, tables)
        if cost is None or any(not _answered(a, asked) for a in check.after):
            continue
        if has_occasion(check, case, tables, asked) and fit(check.applies, case.axes, tables.knowledge) > 0.0:
            keys.append(key)
            minutes.append(cost)
    return keys, minutes


def has_occasion(check: Check, case: Case, tables: Tables, asked: Container[str]) -> bool:
    """Return whether a check's thing can be seen now, belongs to the complaint, and is not told already."""
    if any(told in asked for told in check.told_by):
        return False
    if not case.symptoms:
        return True
    if check.belongs_to and not set(check.belongs_to) & set(case.symptoms):
        return False
    knowledge = tables.knowledge
    seen_in = {knowledge.symptoms[s].seen_in for s in case.symptoms}
    if check.when_seen == "emerged":
        return bool(seen_in & {"stand", "either"})
    if check.when_seen == "furrow_open" and "stand" in seen_in:
        return any(c.when_seen == "emerged" and key in asked for key, c in knowledge.questions.items())
    return True


def _answered(check: str, asked: set[str]) -> bool:
    return check in asked or any(a.startswith(f"{check}.") for a in asked)


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
