"""Calls of a file played by the desk's own policy: its first offer is asked, its advice followed.

A check is answered as the call says, else as on a sound machine where nothing that is wrong would speak through it,
else "not sure". A repair that mends nothing is recorded as such, with its proof, and the call goes on.
"""

from __future__ import annotations

import os
import random
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from pathlib import Path
from statistics import median
from typing import Any

from diag.ask.intake import read_words, situation_field
from diag.call.desk import CallDesk, Desk
from diag.reason.judge import Engine
from diag.reason.judgement import Judgement
from diag.trial.case_file import Scripted, not_known, read_calls
from diag.trial.simulate import START

MOVED = 0.01
"""Change of the leader's belief from which a question is not idle."""
STRONG_BESIDE_BEST = 0.6
"""Share of the best proposal's points from which another proposal is taken over too."""
SPEAKS = 0.9
"""A cause speaks through a check when it makes the normal outcome rarer than this share of the base."""
CALLS_A_WORKER = 10


@dataclass(frozen=True)
class _Answer:
    outcome: str | None
    how: str
    """given | normal | unsure"""


class Player:
    """Plays scripted calls on one engine."""

    def __init__(self, engine: Engine, most: int = 12, seed: int | None = None) -> None:
        self.engine = engine
        self.most = most
        self.seed = seed
        self._desk = Desk(engine, None, "play000000000000", lambda: START, lambda n: bytes(n))

    def play(self, scripted: Scripted) -> dict[str, Any]:
        """Play one call and return what happened, as the command line prints it."""
        rng = None if self.seed is None else random.Random(f"play:{self.seed}:{scripted.id}")
        call = self._taken(scripted, rng)
        steps: list[dict[str, Any]] = []
        advice: list[dict[str, Any]] = []
        stopped = ""
        while not stopped:
            stopped = self._next(call, scripted, rng, steps, advice)
        judgement = call.think().judgement
        order = [r.cause for r in judgement.ranking]
        places = [order.index(c) + 1 for c in scripted.truth if c in order]
        minutes = call.minutes()
        return {
            "id": scripted.id, "truth": list(scripted.truth), "channel": scripted.channel,
            "heard": [s for s, _ in call.state.accepted], "steps": steps, "advice": advice,
            "rank": min(places, default=None), "leader": order[0] if order else None,
            "belief": max((r.probability for r in judgement.ranking if r.cause in scripted.truth), default=0.0),
            "leader_belief": judgement.ranking[0].probability if order else 0.0,
            "faults_known": judgement.faults_known,
            "minutes": {"desk": minutes["desk"], "grower": minutes["grower"], "site": minutes["checks"]},
            "stopped": stopped, "not_known": not_known(self.engine.knowledge, scripted),
        }

    # --- intake -----------------------------------------------------------------------------------

    def _taken(self, scripted: Scripted, rng: random.Random | None) -> CallDesk:
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
        told = [s for s in scripted.told(rng) if s in knowledge.symptoms]
        symptoms = told if scripted.symptoms else heard(self.engine, scripted.words)
        call.set_complaint(scripted.words, [(s, "chosen" if told else "matched") for s in symptoms])
        return call

    # --- one step ---------------------------------------------------------------------------------

    def _next(
        self, call: CallDesk, scripted: Scripted, rng: random.Random | None, steps: list[dict[str, Any]],
        advice: list[dict[str, Any]],
    ) -> str:
        """Do what the desk says next; return why the call is over, "" when it goes on."""
        judgement = call.think().judgement
        plan = judgement.plan
        if judgement.action not in ("check", "prove"):
            belief = judgement.of(plan.repair) if plan.repair else None
            advice.append({
                "after": len(steps), "action": judgement.action, "repair": plan.repair,
                "belief": belief.probability if belief else judgement.ranking[0].probability,
            })
        if plan.repair and judgement.action != "check":
            return self._repair(call, scripted, plan.repair)
        if judgement.action == "drive_out":
            call.switch_channel("site")
            return ""
        if judgement.action not in ("check", "prove"):
            return judgement.action
        if len(steps) >= self.most:
            return "most"
        if not plan.offers:
            return "nothing_left"
        self._ask(call, scripted, rng, judgement, steps)
        return ""

    def _repair(self, call: CallDesk, scripted: Scripted, cause: str) -> str:
        """Mend a cause: the call is over when it was a true one, else it is recorded as done in vain."""
        if cause in scripted.truth:
            return "mended"
        if any(cause in r.causes for r in call.state.repairs):
            return "repeats_a_repair"
        call.repair([cause])
        return ""

    def _ask(
        self, call: CallDesk, scripted: Scripted, rng: random.Random | None, before: Judgement,
        steps: list[dict[str, Any]],
    ) -> None:
        offer = before.plan.offers[0]
        answer = self.answer(offer.check, scripted, rng)
        event = _record(call, offer.check, answer)
        whole, _, item = offer.check.partition(".")
        for key in self.engine.knowledge.questions:
            if item and key.startswith(f"{whole}.") and key != offer.check:
                other = self.answer(key, scripted, rng)
                if other.how == "given" and other.outcome == "yes":
                    _record(call, key, other)
        if before.action == "prove":
            waiting = [r for r in call.state.repairs if not any(p.target == r.event for p in call.state.proofs)]
            call.proof(waiting[-1].event, "not_accepted", [event])
        top = call.think().judgement.ranking[0]
        steps.append({
            "check": offer.check, "minutes": offer.minutes, "outcome": answer.outcome, "how": answer.how,
            "leader": top.cause, "belief": top.probability, "idle": _idle(before, top.cause, top.probability),
        })

    def answer(self, check: str, scripted: Scripted, rng: random.Random | None) -> _Answer:
        """Return how this call's machine answers a check."""
        entry = self.engine.knowledge.questions[check]
        normal = next((name for name, o in entry.outcomes.items() if o.normal), None)
        if "." in check and normal is None and "no" in entry.outcomes:
            normal = "no"
        told = {o: p for o, p in scripted.shows.get(check, {}).items() if o in entry.outcomes}
        if told:
            left = max(0.0, 1.0 - sum(told.values()))
            if normal is not None and left > 0:
                told[normal] = told.get(normal, 0.0) + left
            if rng is None:
                return _Answer(max(told, key=lambda o: told[o]), "given")
            return _Answer(rng.choices(list(told), list(told.values()))[0], "given")
        if normal is None or (not scripted.by_chance and self._speaks(check, normal, scripted.truth)):
            return _Answer(None, "unsure")
        return _Answer(normal, "normal")

    def _speaks(self, check: str, normal: str, truth: Sequence[str]) -> bool:
        tables = self.engine.tables
        table = tables.check(check)
        o = table.index(normal)
        known = [tables.position[c] for c in truth if c in tables.position]
        return any(table.marked[c] and table.shares[o, c] < SPEAKS * table.base[o] for c in known)


def heard(engine: Engine, words: str) -> list[str]:
    """Return the symptoms of a caller's words that a listener would take over: the best proposal and its near ones."""
    proposals = read_words(engine.knowledge, words).proposals
    if not proposals:
        return []
    return [p.symptom for p in proposals[:3] if p.score >= STRONG_BESIDE_BEST * proposals[0].score]


def _record(call: CallDesk, check: str, answer: _Answer) -> str:
    if answer.outcome is None:
        return call.answer(check, status="unsure").id
    return call.answer(check, outcome=answer.outcome).id


def _idle(before: Judgement, leader: str, belief: float) -> bool:
    first = before.ranking[0]
    return first.cause == leader and abs(first.probability - belief) < MOVED


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
    return {
        "calls": list(played),
        "with_cause": len(with_cause),
        "first": sum(p["rank"] == 1 for p in with_cause),
        "top3": sum(p["rank"] <= 3 for p in with_cause),
        "wrong_first_advice": sum(_wrong_first(p) for p in with_cause),
        "idle_share": round(sum(s["idle"] for s in steps) / len(steps), 4) if steps else 0.0,
        "minutes_median": round(median(sum(p["minutes"].values()) for p in played), 1) if played else 0.0,
        "foreign": {
            "calls": len(foreign),
            "named_wrongly": sum(p["leader_belief"] >= 0.5 for p in foreign),
            "said_unknown": sum(not p["faults_known"] for p in foreign),
        },
    }


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
                 f"wrong first advice {result['wrong_first_advice']}, idle {result['idle_share']:.0%}, "
                 f"median {result['minutes_median']:g} min")
    foreign = result["foreign"]
    if foreign["calls"]:
        lines.append(f"{foreign['calls']} calls whose cause this knowledge lacks: a cause likely in "
                     f"{foreign['named_wrongly']}, said to be unknown in {foreign['said_unknown']}")
    return "\n".join(lines)
