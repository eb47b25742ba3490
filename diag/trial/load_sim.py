"""Whether the load list is worth having: simulated phone calls that end in a drive-out, loaded in several ways.

A call is played by phone to its decision and the truck is loaded; then it is played on at the machine. What is
needed: the tools of the checks made there, the parts and tools of the true repair, and the tools of its first proof.
Missing one costs a second trip, carrying one costs the minutes its size is worth.
"""

from __future__ import annotations

import random
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from statistics import mean

from diag.call.desk import CallDesk
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.trial.follow import follow
from diag.trial.simulate import SimulatedMachine, Simulation, draw_fault
from diag.writeup.load_list import LoadList, Needs, Thing, carrying, load_list

MOST_CHECKS = 30
Loading = Callable[[CallDesk, LoadList], set[Thing]]


@dataclass(frozen=True)
class Loaded:
    """How one way of loading did over all calls."""

    name: str
    second_trips: float
    """Share of calls in which something needed was at home."""
    carried: float
    """Mean minutes that the load was worth."""
    things: float
    """Mean number of things loaded."""
    cost: float
    """Mean minutes: second trips and load together."""


def chosen(call: CallDesk, loaded: LoadList) -> set[Thing]:
    """What the list says."""
    return {(e.kind, e.name) for e in loaded.load}


def first_cause(call: CallDesk, loaded: LoadList) -> set[Thing]:
    """Everything for the cause that stands first."""
    thought = call.think()
    return Needs(call, thought.read.case).of(thought.judgement.ranking[0].cause)


def nothing(call: CallDesk, loaded: LoadList) -> set[Thing]:
    """What is always on the truck, and no more."""
    return set()


def everything(call: CallDesk, loaded: LoadList) -> set[Thing]:
    """Everything that any cause still thought of may need."""
    return {(e.kind, e.name) for e in loaded.entries}


WAYS: Mapping[str, Loading] = {
    "chosen": chosen, "first_cause": first_cause, "nothing": nothing, "everything": everything,
}


def load_trial(knowledge: Knowledge, calls: int, seed: int = 1) -> dict[str, Loaded]:
    """Return how each way of loading did over simulated phone calls; the same seed gives the same figures."""
    simulation = Simulation(Engine(knowledge, counter=True))
    tallies: dict[str, list[tuple[bool, float, int]]] = {name: [] for name in WAYS}
    trip = knowledge.settings.drive_out
    for number in range(calls):
        rng = random.Random(f"load:{seed}:{number}")
        fault = draw_fault(simulation.engine.tables, rng)
        machine = SimulatedMachine(simulation.engine.tables, fault, rng)
        call = simulation.call(fault, "phone")
        follow(call, machine, MOST_CHECKS, ends=("drive_out", "repair", "try"))
        listed = load_list(call)
        loads = {name: way(call, listed) for name, way in WAYS.items()}
        needed = _on_site(call, machine) | repair_needs(knowledge, fault.causes)
        for name, load in loads.items():
            tallies[name].append((not needed <= load, carrying(knowledge, load), len(load)))
    return {name: _summed(name, tally, trip) for name, tally in tallies.items()}


def _on_site(call: CallDesk, machine: SimulatedMachine) -> set[Thing]:
    """Play the call on at the machine and return the tools of the checks made there."""
    knowledge = call.engine.knowledge
    before = len(call.state.answers)
    call.switch_channel("site")
    follow(call, machine, MOST_CHECKS)
    tools = {t for a in call.state.answers[before:] for t in knowledge.questions[a.check].tools}
    return {("tool", t) for t in tools - set(knowledge.write_up.at_hand)}


def repair_needs(knowledge: Knowledge, causes: Sequence[str]) -> set[Thing]:
    """Return the parts and tools that mending the true causes takes, and the tools of their first proof."""
    repairs = [knowledge.causes[c].repair for c in causes]
    proofs = [knowledge.verifications[r.verify].checks[0] for r in repairs if r.verify]
    tools = {t for r in repairs for t in r.tools} | {t for c in proofs for t in knowledge.checks[c].tools}
    parts = {("part", p) for r in repairs for p in r.parts}
    return parts | {("tool", t) for t in tools - set(knowledge.write_up.at_hand)}


def _summed(name: str, tally: Sequence[tuple[bool, float, int]], trip: float) -> Loaded:
    trips, carried = mean(1.0 if t[0] else 0.0 for t in tally), mean(t[1] for t in tally)
    things = mean(float(t[2]) for t in tally)
    return Loaded(name, round(trips, 4), round(carried, 2), round(things, 2), cost=round(trips * trip + carried, 2))
