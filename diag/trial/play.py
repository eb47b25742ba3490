"""Calls of a file played by the desk's own policy.

A check is answered as the call says, else as on a sound machine where nothing that is wrong would speak through it,
else "not sure".
"""

from __future__ import annotations

import os
import random
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict
from multiprocessing import get_context
from pathlib import Path
from statistics import median
from typing import Any

from diag.ask.intake import accept_facts, read_words, situation_field
from diag.call.desk import CallDesk, Desk
from diag.reason.judge import Engine
from diag.reason.tables import Tables
from diag.trial.case_file import Scripted, not_known, read_calls
from diag.trial.follow import Answered, follow
from diag.trial.simulate import START

SPEAKS = 0.5
"""A cause speaks through a check when it leaves the normal outcome less than this chance."""
CALLS_A_WORKER = 10


class ScriptedMachine:
    """The machine of a call of a file."""

    def __init__(self, tables: Tables, scripted: Scripted, rng: random.Random | None = None) -> None:
        self._tables, self._scripted, self._rng = tables, scripted, rng

    def answer(self, check: str, channel: str) -> Answered:
        """Return the call's own answer, else the normal one, else "not sure"."""
        entry = self._tables.knowledge.questions[check]
        normal = next((name for name, o in entry.outcomes.items() if o.normal), None)
        if "." in check and normal is None and "no" in entry.outcomes:
            normal = "no"
        told = {o: p for o, p in self._scripted.shows.get(check, {}).items() if o in entry.outcomes}
        if told:
            left = max(0.0, 1.0 - sum(told.values()))
            if normal is not None and left > 0:
                told[normal] = told.get(normal, 0.0) + left
            if self._rng is None:
                return Answered(max(told, key=lambda o: told[o]), "given")
            return Answered(self._rng.choices(list(told), list(told.values()))[0], "given")
        if normal is None or (not self._scripted.by_chance and self._speaks(check, normal)):
            return Answered(None, "unsure")
        return Answered(normal, "normal")

    def mended_by(self, cause: str) -> bool:
        """Return whether it is one of the causes at fault."""
        return cause in self._scripted.truth

    def _speaks(self, check: str, normal: str) -> bool:
        table = self._tables.check(check)
        o = table.index(normal)
        known = [self._tables.position[c] for c in self._scripted.truth if c in self._tables.position]
        return any(table.shares[o, c] < SPEAKS for c in known)


class Player:
    """Plays scripted calls on one engine."""

    def __init__(self, engine: Engine, most: int = 12, seed: int | None = None) -> None:
        self.engine, self.most, self.seed = engine, most, seed
        self._desk = Desk(engine, None, "play000000000000", lambda: START, random=lambda n: bytes(n))

    def play(self, scripted: Scripted) -> dict[str, Any]:
        """Play one call and return what happened, as the command line prints it."""
        rng = None if self.seed is None else random.Random(f"play:{self.seed}:{scripted.id}")
        call = self.taken(scripted, rng)
        done = follow(call, ScriptedMachine(self.engine.tables, scripted, rng), self.most)
        judgement = call.think().judgement
        order = [r.cause for r in judgement.ranking]
        places = [order.index(c) + 1 for c in scripted.truth if c in order]
        minutes = call.minutes()
        return {
            "id": scripted.id, "truth": list(scripted.truth), "channel": scripted.channel,
            "heard": [s for s, _ in call.state.accepted],
            "steps": [asdict(s) for s in done.steps], "advice": [asdict(a) for a in done.advice],
            "rank": min(places, default=None), "leader": order[0] if order else None,
            "belief": max((r.probability for r in judgement.ranking if r.cause in scripted.truth), default=0.0),
            "leader_belief": judgement.ranking[0].probability if order else 0.0,
            "faults_known": judgement.faults_known,
            "minutes": {"desk": minutes["desk"], "grower": minutes["grower"], "site": minutes["checks"]},
            "stopped": done.stopped, "not_known": not_known(self.engine.knowledge, scripted),
        }

    def taken(self, scripted: Scripted, rng: random.Random | None = None) -> CallDesk:
        """Return the call as its intake leaves it; without symptoms the words are heard, untouched."""
        knowledge = self.engine.knowledge
        call = self._desk.new_call(scripted.channel)
        machine: dict[str, Any] = {"axes": {a: v for a, v in scripted.axes.items() if a != "crop"}}
        machine |= {"rows": scripted.rows} if scripted.rows else {}
        machine |= {"book": dict(scripted.book)} if scripted.book else {}
        call.set_machine(machine)
        typed = {"crop": scripted.axes.get("crop", ""), "rows": scripted.trouble, "target": scripted.target,
                 "speed": scripted.speed}
        situation: dict[str, Any] = {}
        for name, value in typed.items():
            if value:
                situation |= situation_field(call, name, value)
        situation |= {"changes": [c for c in scripted.changes if c in knowledge.changes]}
        situation |= {"flags": [f for f in scripted.flags if f in knowledge.flags]}
        call.set_situation(situation)
        if scripted.symptoms:
            told = [(s, "chosen") for s in scripted.told(rng) if s in knowledge.symptoms]
            call.set_complaint(scripted.words, told)
        else:
            found = read_words(knowledge, scripted.words)
            best = found.ticked or tuple(p.symptom for p in found.proposals[:1])
            call.set_complaint(scripted.words, [(s, "matched") for s in best], found.said_not)
            accept_facts(call, [f for f in found.facts if f.ticked])
        return call


# --- many calls -------------------------------------------------------------------------------------


def play_file(
    folders: Sequence[Path], path: Path, *, channel: str | None = None, most: int = 12, seed: int | None = None,
    workers: int | None = None,
) -> dict[str, Any]:
    """Play every call of a file, over processes when they are many, and return the report."""
    calls = read_calls(path, channel)
    workers = min(workers or os.cpu_count() or 1, 1 + len(calls) // CALLS_A_WORKER)
    names = [str(f) for f in folders]
    if workers == 1:
        return report(play_some(names, calls, most, seed))
    chunks = [calls[w::workers] for w in range(workers)]
    with ProcessPoolExecutor(workers, mp_context=get_context("spawn")) as pool:
        parts = [f.result() for f in [pool.submit(play_some, names, c, most, seed) for c in chunks]]
    by_id = {played["id"]: played for part in parts for played in part}
    return report([by_id[c.id] for c in calls])


def play_some(folders: Sequence[str], calls: Sequence[Scripted], most: int, seed: int | None) -> list[dict[str, Any]]:
    """Play some calls in this process."""
    from diag.knowledge.load import load

    player = Player(Engine(load([Path(f) for f in folders]), counter=True), most, seed)
    return [player.play(call) for call in calls]


def report(played: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return the calls and their figures. Calls whose cause the knowledge lacks are counted under `foreign`."""
    with_cause = [p for p in played if p["rank"] is not None]
    foreign = [p for p in played if p["rank"] is None]
    steps = [s for p in played for s in p["steps"]]
    known = [s for s in steps if s["how"] != "unsure"]
    return {
        "calls": list(played),
        "with_cause": len(with_cause),
        "first": sum(p["rank"] == 1 for p in with_cause),
        "top3": sum(p["rank"] <= 3 for p in with_cause),
        "wrong_first_advice": sum(_wrong_first(p) for p in with_cause),
        "idle_share": _share(sum(s["idle"] for s in steps), steps),
        "not_known_share": _share(len(steps) - len(known), steps),
        "idle_of_answered": _share(sum(s["idle"] for s in known), known),
        "minutes_median": round(median(sum(p["minutes"].values()) for p in played), 1) if played else 0.0,
        "foreign": {
            "calls": len(foreign),
            "named_wrongly": sum(p["leader_belief"] >= 0.5 for p in foreign),
            "said_unknown": sum(not p["faults_known"] for p in foreign),
        },
    }


def _share(n: int, of: Sequence[Any]) -> float:
    return round(n / len(of), 4) if of else 0.0


def _wrong_first(played: Mapping[str, Any]) -> bool:
    first = next((a["repair"] for a in played["advice"] if a["repair"]), None)
    return first is not None and first not in played["truth"]


def told(result: Mapping[str, Any]) -> str:
    """Return a report as text: one line a call, then the figures."""
    lines = []
    for p in result["calls"]:
        place = "not known" if p["rank"] is None else f"place {p['rank']}"
        spent = sum(p["minutes"].values())
        lines.append(f"{place:>9}  {p['belief']:>5.0%}  {len(p['steps']):>2} checks {spent:>4.0f} min  "
                     f"{p['stopped'].replace('_', ' '):<12} {p['id']}")
        if p["rank"] != 1:
            lines.append(f"{'':>18}leads: {p['leader']} {p['leader_belief']:.0%}")
        lines += [f"{'':>18}not in this knowledge: {what}" for what in p["not_known"]]
    n = result["with_cause"]
    lines.append(f"first {result['first']} of {n}, first three {result['top3']} of {n}, "
                 f"wrong first advice {result['wrong_first_advice']}, idle {result['idle_share']:.0%} "
                 f"({result['not_known_share']:.0%} not known, {result['idle_of_answered']:.0%} of the answered ones), "
                 f"median {result['minutes_median']:g} min")
    foreign = result["foreign"]
    if foreign["calls"]:
        lines.append(f"{foreign['calls']} calls whose cause this knowledge lacks: a cause likely in "
                     f"{foreign['named_wrongly']}, said to be unknown in {foreign['said_unknown']}")
    return "\n".join(lines)
