"""The same work by others, beside ours in one run: a Bayesian-network library, the exact optimum, a fixed chart."""

from __future__ import annotations

import importlib.util
import random
import time
from statistics import mean, median
from typing import Any

import numpy as np

from diag.reason.case import Case
from diag.reason.judge import Engine

NOT_HERE = "not installed here"


def cases(engine: Engine, calls: int, answers: int) -> list[Case]:
    """Return simulated calls with so many answers, outcomes given for sure."""
    from diag.call.desk import Desk
    from diag.trial.simulate import draw_fault, outcome_shares_of

    found = []
    for number in range(calls):
        rng = random.Random(number)
        fault = draw_fault(engine.tables, rng)
        call = Desk(engine).new_call("site")
        call.set_machine({"axes": {a: v for a, v in fault.axes.items() if a != "crop"}})
        call.set_complaint("", [(s, "chosen") for s in fault.symptoms])
        for _ in range(answers):
            if not (offers := call.offers()):
                break
            outcomes = engine.tables.check(offers[0].check).outcomes
            shares = outcome_shares_of(engine.tables, offers[0].check, fault.causes)
            call.answer(offers[0].check, outcome=rng.choices(outcomes, shares)[0])
        found.append(call.think_case())
    return found


def network(engine: Engine, calls: int = 2, answers: int = 5) -> dict[str, Any]:
    """Return CPU ms of the belief in single faults and the value of every check, by the library and by one judgement.

    The library weighs each check by the bits that fault and answer have together; a judgement weighs two faults,
    repairs and rules as well. `difference`: the largest between both beliefs, of checks without a look.
    """
    if importlib.util.find_spec("pyagrum") is None:
        return {"pyagrum": NOT_HERE}
    theirs, mine, differences = [], [], []
    for case in cases(engine, calls, answers):
        began = time.process_time()
        judged = engine.judge(case)
        mine.append((time.process_time() - began) * 1000)
        taken, belief = _by_library(engine, case, judged.start)
        theirs.append(taken)
        worlds = judged.start
        for evidence in {i.check: i for i in case.instances if i.given}.values():
            worlds = worlds.plus(engine.evidence.of(evidence, case.trouble_rows, worlds.space))
        ours = np.exp(np.array([*worlds.one, worlds.unknown]) - worlds.one.max())
        differences.append(float(np.abs(ours / ours.sum() - belief).max()))
    return {"pyagrum_cpu_ms": round(median(theirs)), "judgement_cpu_ms": round(median(mine), 1),
            "times": round(median(theirs) / median(mine)), "difference": max(differences)}


def _by_library(engine: Engine, case: Case, start: Any) -> tuple[float, Any]:
    """Return the CPU ms of belief and next check by the library, and the belief in each cause and the unknown."""
    import pyagrum as gum

    tables = engine.tables
    open_checks = engine.planner.feasible.now(case)[0]
    given = {i.check: i for i in case.instances if i.given}
    names = [str(i) for i in range(len(tables.causes) + 1)]
    net = gum.BayesNet("call")
    fault = net.add(gum.LabelizedVariable("fault", "fault", names))
    weights = np.exp(np.array([*start.one, start.unknown]))
    net.cpt(fault).fillWith((weights / weights.sum()).tolist())
    for number, check in enumerate(dict.fromkeys([*given, *open_checks])):
        table = tables.check(check)
        node = net.add(gum.LabelizedVariable(f"c{number}", check, list(table.outcomes)))
        net.addArc(fault, node)
        shares = np.column_stack([table.shares, table.unknown])
        net.cpt(node).fillWith((shares / shares.sum(axis=0)).T.ravel().tolist())  # outcomes of the first cause first
    ids = {check: f"c{n}" for n, check in enumerate(dict.fromkeys([*given, *open_checks]))}
    evidence = {ids[c]: list(i.likelihood) for c, i in given.items()}
    began = time.process_time()
    inference = gum.LazyPropagation(net)
    inference.setEvidence(evidence)
    inference.eraseAllTargets()
    inference.addTarget("fault")
    for check in open_checks:
        inference.addJointTarget({"fault", ids[check]})
    inference.makeInference()
    belief = np.array(inference.posterior("fault").tolist())
    for check in open_checks:
        joint = inference.jointPosterior({"fault", ids[check]})
        _ = joint.entropy()
    return (time.process_time() - began) * 1000, belief


def optimum(instances: int = 220) -> dict[str, float]:
    """Return by how many percent the choice of checks is dearer than the exact optimum, on small instances."""
    from reason.test_optimal import excess

    found = excess(range(instances))
    return {"instances": instances, "mean_percent": round(100 * mean(found), 2),
            "worst_percent": round(100 * max(found), 1)}


def chart(engine: Engine, calls: int = 30) -> dict[str, float]:
    """Return mean minutes until all is mended, by a fixed chart and by the desk's policy over the same calls."""
    from diag.trial.score import DESK, Run, play_one
    from diag.trial.simulate import Simulation

    simulation = Simulation(engine)
    minutes = {policy: mean(play_one(simulation, Run(1, "site", policy), n).to_mended for n in range(calls))
               for policy in (DESK, "fixed_chart")}
    ratio = minutes["fixed_chart"] / minutes[DESK]
    return {"calls": calls, "desk_minutes": round(minutes[DESK], 1), "chart_minutes": round(minutes["fixed_chart"], 1),
            "ratio": round(ratio, 2)}
