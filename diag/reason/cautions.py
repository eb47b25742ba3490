"""Which cautions come before a check or a repair."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from diag.knowledge.base import Knowledge
from diag.knowledge.hazards import hazards_of_check, with_wants
from diag.knowledge.machines import narrowed
from diag.knowledge.model import Check
from diag.knowledge.vocabulary import Caution

STATE, HAZARD = "state.", "hazard."
"""What the ids of sentences begin with."""
THEN = "Then: "
SEVERITY = {"DANGER": 0, "WARNING": 1, "CAUTION": 2, "NOTICE": 3}


def cautions_for(
    knowledge: Knowledge, hazards: Iterable[str], channel: str, flags: Iterable[str] = (), raised: Iterable[str] = (),
    *, machine: Mapping[str, Any] | None = None,
) -> tuple[Caution, ...]:
    """Return the cautions for hazards, flags of the situation and those raised by rules, worst first.

    `machine`: axis -> value as far as known; hazards that this machine cannot have are left out.
    """
    axes = {name: {v.name for v in axis.values} for name, axis in knowledge.axes.items()}
    known = {a: v for a, v in (machine or {}).items() if isinstance(v, str) and v in axes.get(a, ())}
    here = {a: frozenset({v}) for a, v in known.items()}
    present = {h for h in with_wants(knowledge, hazards) if _has(knowledge, h, here)}
    told, named = set(flags), set(raised)
    found = [
        c
        for c in knowledge.cautions.values()
        if (c.id in named or present & set(c.hazards) or told & set(c.flags)) and c.channel in (None, channel)
    ]
    order = {c: i for i, c in enumerate(knowledge.cautions)}
    return tuple(sorted(found, key=lambda c: (SEVERITY[c.word], order[c.id])))


def _has(knowledge: Knowledge, hazard: str, machine: Mapping[str, frozenset[str]]) -> bool:
    known = knowledge.hazards.get(hazard)
    return known is None or any(narrowed(dict(machine), way) is not None for way in known.only.ways)


def machine_to_ask(knowledge: Knowledge, caution: Caution, machine: Mapping[str, Any]) -> str | None:
    """Return the axis that decides whether the danger can be there at all; None when that is known, or asked in vain.

    `machine`: axis -> value as far as known.
    """
    met = [knowledge.hazards[h] for h in caution.hazards]
    if caution.flags or not all(h.only.axes for h in met):
        return None
    return next((axis for h in met for axis in h.only.axes if axis not in machine), None)


def stopping(
    knowledge: Knowledge, channel: str, flags: Iterable[str], raised: Iterable[str] = ()
) -> tuple[Caution, ...]:
    """Return the cautions that end all asking until the situation is put right, worst first."""
    return tuple(c for c in cautions_for(knowledge, (), channel, flags, raised=raised) if c.stops)


def cautions_of_check(
    knowledge: Knowledge, check: Check, channel: str, flags: Iterable[str] = (), raised: Iterable[str] = (),
    *, machine: Mapping[str, Any] | None = None,
) -> tuple[Caution, ...]:
    """Return the cautions that come before a check: those of its hazards and of the machine states of its steps."""
    return cautions_for(knowledge, hazards_of_check(knowledge, check), channel, flags, raised=raised, machine=machine)


def spoken(knowledge: Knowledge) -> dict[str, str]:
    """Return {id: sentence} of all sentences said before a step: of machine states and of hazards."""
    told = {STATE + name: s.spoken for name, s in knowledge.states.items() if s.spoken}
    return told | {HAZARD + name: h.spoken for name, h in knowledge.hazards.items() if h.spoken}


def spoken_of_check(knowledge: Knowledge, check: Check) -> tuple[str, ...]:
    """Return the ids of the sentences that belong to a check, in the order of its steps, each sentence once."""
    return _sentences(knowledge, [step.state for step in check.steps], check.all_hazards)


def spoken_of_repair(knowledge: Knowledge, hazards: Iterable[str]) -> tuple[str, ...]:
    """Return the ids of the sentences said before a repair: of the states its hazards are met in, in their order.

    Hands at the machine are met with the machine made safe.
    """
    wanted = with_wants(knowledge, hazards)
    safe = next((name for name, s in knowledge.states.items() if s.hands_on and s.spoken), None)
    met = [knowledge.hazards[h] for h in wanted if h in knowledge.hazards]
    states = [safe if h.hands_on else h.in_state for h in met]
    return _sentences(knowledge, [s for s in states if s], wanted)


def in_order(knowledge: Knowledge, sentences: Iterable[str]) -> str:
    """Return sentences as they are said one after the other; of several machine states each comes when it is due."""
    told, said = spoken(knowledge), list(sentences)
    states = [told[s] for s in said if s.startswith(STATE)]
    return " ".join([*([f" {THEN}".join(states)] if states else []), *(told[s] for s in said if told[s] not in states)])


def _sentences(knowledge: Knowledge, states: Iterable[str], hazards: Iterable[str]) -> tuple[str, ...]:
    told = spoken(knowledge)
    named = [STATE + name for name in states] + [HAZARD + name for name in with_wants(knowledge, hazards)]
    found: dict[str, str] = {}
    for name in named:
        if name in told:
            found.setdefault(told[name], name)
    return tuple(found.values())
