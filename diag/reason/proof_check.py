"""After a repair: the check that showed the fault comes next, on the same rows."""

from __future__ import annotations

from collections.abc import Iterable

from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.reason.axes import fit
from diag.reason.case import Case, Instance
from diag.reason.feasible import check_minutes
from diag.reason.tables import Tables

RUNS = ("after_planting", "bench")
"""States beside those with the engine on in which it is seen how a meter runs, or how it planted."""


def proof_check(case: Case, tables: Tables) -> str | None:
    """Return the check that is made first after a repair that is not proved yet; None when it was made, or none can be.

    First what the verification names and what showed the fault before, then any other look or reading that shows the
    trouble and spoke for the cause, seed in the furrow before the rest, then the best of the verification. How the
    mended part looks comes last.
    """
    since = [i for i in case.instances if i.epoch == case.epoch and i.events]
    if not case.to_prove or any(i.given for i in since):
        return None
    in_vain = {i.check for i in since}  # not sure, or not to be done here
    for key in _candidates(case, tables):
        check = tables.knowledge.questions.get(key)
        if check and key not in in_vain and check_minutes(check, case, tables) is not None and fit(
            check.applies, case.axes, tables.knowledge
        ) > 0.0:
            return key
    return None


def _candidates(case: Case, tables: Tables) -> Iterable[str]:
    named = [c for cause in case.to_prove for c in _named(cause, tables)]
    spoke = sorted((i for i in case.instances if _can_show_again(i, tables)),
                   key=lambda i: (not _in_furrow(i, tables), -_spoke(i, case, tables)))
    shown = [i.check for i in spoke if _spoke(i, case, tables) > 1.0]
    yield from (c for c in named if c in shown)
    yield from (c for c in shown if shows_trouble(tables.knowledge.questions[c], tables.knowledge))
    yield from named
    yield from shown


def shows_trouble(check: Check, knowledge: Knowledge) -> bool:
    """Return whether a check shows how it plants or runs, or measures a part by hand.

    Looking at what was mended, or at a number that was set, shows that it was done, not that it helped.
    """
    states = [knowledge.states[s.state] for s in check.steps if s.state in knowledge.states]
    runs = any(s.engine or s.name in RUNS for s in states)
    return runs or (check.measured and any(s.hands_on for s in states))


def _named(cause: str, tables: Tables) -> tuple[str, ...]:
    entry = tables.knowledge.causes.get(cause)
    verify = entry.repair.verify if entry else None
    return tables.knowledge.verifications[verify].checks if verify else ()


def _can_show_again(instance: Instance, tables: Tables) -> bool:
    """Return whether an earlier answer was abnormal, and read off the machine or the ground rather than told."""
    check: Check = tables.knowledge.questions[instance.check]
    if not instance.given or instance.outcome is None or check.outcomes[instance.outcome].normal:
        return False
    return "." not in instance.check and any(tables.knowledge.states[s.state].hands_on or
                                             tables.knowledge.states[s.state].engine for s in check.steps)


def _in_furrow(instance: Instance, tables: Tables) -> bool:
    """Return whether it was read off seed in the furrow."""
    return tables.knowledge.questions[instance.check].when_seen == "open_furrow"


def _spoke(instance: Instance, case: Case, tables: Tables) -> float:
    """Return how strongly an answer spoke for what was repaired (likelihood ratio)."""
    table = tables.check(instance.check)
    known = [tables.position[c] for c in case.to_prove if c in tables.position]
    return max((table.ratio(instance.outcome or "", c) for c in known), default=0.0)
