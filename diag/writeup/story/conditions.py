"""The conditions of the measurement, before and after the repair: speed, population, vacuum set, seed lot."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from diag.call.desk import CallDesk
from diag.units import System
from diag.writeup.story.measured import setting_text
from diag.writeup.story.model import Condition, Item, Told

FIELDS: Mapping[str, tuple[str, str]] = {
    "speed": ("speed", "speed"), "population": ("target", "target population"),
    "seed_lot": ("seed_lot_code", "seed lot"),
}
SETTINGS: Mapping[str, str] = {"manifold_vacuum": "vacuum", "population": "population"}
"""Condition -> what its setting is called, where not by its label."""
VACUUM = ("manifold_vacuum", "vacuum set")


def conditions_of(call: CallDesk, details: Mapping[str, Item], units: System | None) -> tuple[Condition, ...]:
    """Return the conditions; after the repair they are known once somebody says "the same", or gives them anew."""
    mended = [r for r in call.state.repairs if r.kind == "repair"]
    after_first = mended[0].epoch if mended else None
    same = details.get("conditions_after")
    same_told = same.told.events if same and same.code == "same" else ()
    found = []
    for name, (field, label) in FIELDS.items():
        before, after = _told(call, field, after_first, units)
        found.append(_condition(name, label, before, after, same=same_told))
    found.append(_vacuum(call, details, after_first, same_told, units=units))
    found = [_as_set(call, c, units) for c in found]
    if weather := details.get("weather"):
        found.append(_condition("weather", weather.label, weather.told, after=None, same=same_told))
    return tuple(found)


def _as_set(call: CallDesk, condition: Condition, units: System | None) -> Condition:
    """Return a condition as a repair found and left it, where it was set by one and nothing else is told of it."""
    done = [(r, s) for r in call.state.repairs for s in r.settings
            if r.kind == "repair" and s.name.casefold() in (condition.label, SETTINGS.get(condition.name))]
    if not done:
        return condition
    (first, was), (last, now) = done[0], done[-1]
    found = Told(setting_text(was.before, units), (first.event,), first.happened or first.at) if was.before else None
    left = Told(setting_text(now.after, units), (last.event,), last.happened or last.at) if now.after else None
    return replace(condition, before=condition.before or found, after=left or condition.after, mended=True)


def _condition(name: str, label: str, before: Told | None, after: Told | None, same: tuple[str, ...]) -> Condition:
    if after is None and before is not None and same:
        after = Told(before.text, (*same[:1], *before.events), number=before.number)
    return Condition(name, label, before, after)


def _told(call: CallDesk, field: str, epoch: int | None, units: System | None) -> tuple[Told | None, Told | None]:
    """Return the last value of a field of the situation given before and after the repair."""
    before = after = None
    for step in call.state.trail:
        if step.live and step.kind == "situation" and field in step.body:
            told = Told(setting_text(step.body[field], units), (step.event,), step.happened or step.at)
            if epoch is None or step.epoch <= epoch:
                before = told
            else:
                after = told
    return before, after


def _vacuum(call: CallDesk, details: Mapping[str, Item], epoch: int | None, same: tuple[str, ...],
            units: System | None) -> Condition:
    """The vacuum that was set: as noted, else as read by a check that the completeness rules name for it."""
    checks = {c for rule in call.engine.knowledge.completeness.values() for c in rule.checks}
    read: dict[bool, Told] = {}
    for answer in call.state.answers:
        value = answer.value
        if answer.check in checks and isinstance(value, Mapping) and "unit" in value and not answer.pieces:
            late = epoch is not None and answer.epoch > epoch
            read[late] = Told(setting_text(value, units), (answer.event,), answer.happened or answer.at)
    before = _noted(details, VACUUM[0]) or read.get(False)
    after = _noted(details, f"{VACUUM[0]}_after") or read.get(True)
    return _condition(VACUUM[0], VACUUM[1], before, after, same=same)


def _noted(details: Mapping[str, Any], name: str) -> Told | None:
    item = details.get(name)
    return item.told if item else None
