"""Checks of one look as one form: what is wrong is ticked, the rest is fine or was not looked at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from diag.call.desk import CallDesk
from diag.knowledge.model import Check

NO = "no"


@dataclass(frozen=True)
class FormLine:
    """One thing that can be ticked in a form."""

    check: str
    outcome: str
    label: str
    group: str
    """The check as asked: heading of its lines."""
    fine: str | None
    """Outcome of the check when it was looked at and is fine; None where no outcome says so."""


def whole_of(call: CallDesk, key: str) -> Check | None:
    """Return the check of which a question is one item, None when it stands for itself."""
    head, dot, _ = key.partition(".")
    return call.engine.knowledge.checks.get(head) if dot else None


def members(call: CallDesk, key: str) -> list[str]:
    """Return the open questions of the same look that can be ticked here and now, the named one first."""
    questions = call.engine.knowledge.questions
    look, now = questions[key].look, call.think().judgement.plan.open
    return [key, *(other for other, check in questions.items()
                   if look is not None and other != key and check.look == look and other in now and not check.measured)]


def readings(call: CallDesk, key: str) -> list[str]:
    """Return the measured checks of the same look: they are taken one by one."""
    questions = call.engine.knowledge.questions
    look = questions[key].look
    return [k for k, c in questions.items() if look and c.look == look and c.measured and k != key]


def form_lines(call: CallDesk, keys: list[str]) -> tuple[FormLine, ...]:
    """Return the lines of a form over these questions, each check's own lines together."""
    questions = call.engine.knowledge.questions
    lines = []
    for key in keys:
        check, whole = questions[key], whole_of(call, key)
        fine = next((name for name, o in check.outcomes.items() if o.normal), None)
        group = (whole or check).asks
        if whole is None and fine is not None:
            group += f" (fine: {check.outcomes[fine].says})"
        if whole is not None or check.takes.kind == "several":
            bad = [name for name in check.outcomes if name != NO]
            lines += [FormLine(key, name, check.outcomes[name].says, group, fine=fine or NO) for name in bad]
            continue
        for name, outcome in check.outcomes.items():
            if name != fine:
                lines.append(FormLine(key, name, outcome.says, group, fine=fine))
    return tuple(sorted(lines, key=lambda line: [x.group for x in lines].index(line.group)))


def record_form(
    call: CallDesk, ticked: Mapping[str, str], fine: Mapping[str, str], details: Mapping[str, Any] | None = None
) -> None:
    """Record a form: {check: outcome} of what was ticked, and of what was looked at and is fine.

    `details`: rows, observer, happened, for all of them.
    """
    for check, outcome in {**fine, **ticked}.items():
        call.answer(check, outcome=outcome, **(details or {}))
