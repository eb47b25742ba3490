"""The reasoning against worked examples and reference programs from outside the project.

Sources: noisy-OR fever table, course slides (sambuz.com/doc/outline-pdf-document-763250), recomputed; Bayes,
conflict, troubleshooting sequences: recomputed by enumeration and exact dynamic programming, after the
formulas of Heckerman, Breese & Rommelse 1995 and Jensen et al. 1990 (from memory) and the p/C rule as stated by
Ottosen & Jensen (arXiv 1203.3502, abstract). A general Bayesian-network library (pyagrum) is the oracle for
belief on a small network.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from conftest import SMALL
from reason.helpers import said
from reason.naive import unknown_chance

from diag.call.case_of import reported
from diag.knowledge.base import Knowledge
from diag.knowledge.load import load
from diag.knowledge.shares import outcome_shares
from diag.reason.beginning import symptom_worlds
from diag.reason.case import Case
from diag.reason.costs import Prices
from diag.reason.judge import Engine
from diag.reason.views import View
from diag.reason.worlds import Space
from diag.trial.score import calibration_error


def only_repairs(minutes: list[float], leave: float = 1e9) -> Prices:
    """Return prices of repairs that always work, prove themselves and cost nothing extra when wrong."""
    n, free = len(minutes), np.zeros(len(minutes))
    return Prices(np.array(minutes), free, np.ones(n), np.ones(n, dtype=np.bool_), leave, free, 0.0, free, 0.0)


def singles(p: list[float]) -> View:
    """Return a view of one-fault worlds (last: unknown, without weight)."""
    index = np.arange(len(p) + 1)
    return View(index, index, np.array([*p, 0.0]), pairs=False)


P, C = [0.4, 0.3, 0.2, 0.1], [20.0, 10.0, 15.0, 2.0]


@pytest.mark.parametrize(("leave", "expected"), [(1e9, 26.0), (40.0, 26.0), (24.0, 23.6), (18.0, 18.0)])
def test_repairs_in_order_of_chance_per_minute(leave: float, expected: float) -> None:
    """D1/D2: p (.4,.3,.2,.1), C (20,10,15,2): order 4,2,1,3 costs 26.0; with an agent at 24: 23.6; at 18: 18."""
    view = singles(P)
    cost, begins = view.repair_cost(np.array([[*P, 0.0]]), only_repairs(C, leave))
    assert float(cost[0]) == pytest.approx(expected, abs=1e-9)
    assert int(begins[0]) == (-1 if leave == expected else 3)


def test_one_step_value_of_a_question() -> None:
    """D3: a 3-minute question with P(yes | cause) (.9,.1,.2,.5) gives an expected cost of 23.36."""
    yes = np.array([0.9, 0.1, 0.2, 0.5])
    joint = np.array([yes * P, (1 - yes) * P])
    chance = joint.sum(axis=1)
    beliefs = np.concatenate((joint / chance[:, None], np.zeros((2, 1))), axis=1)
    costs, _ = singles(P).repair_cost(beliefs, only_repairs(C))
    assert chance == pytest.approx([0.48, 0.52])
    assert costs == pytest.approx([22.625, 18.269231], abs=1e-6)
    assert 3.0 + float((chance * costs).sum()) == pytest.approx(23.36, abs=1e-6)


def test_order_under_two_faults_costs_up_to_the_later() -> None:
    """D8: rho .1 over p of D1; order 4,2,1,3 costs 27.114286."""
    pairs = [(a, c) for a in range(4) for c in range(a + 1, 4)]
    s = 0.1 / 0.9 / sum(P[a] * P[c] for a, c in pairs)
    assert s == pytest.approx(0.317460, abs=1e-6)
    weights = np.array([*P, 0.0, *(s * P[a] * P[c] for a, c in pairs)])
    weights = weights / weights.sum()
    assert weights[5] == pytest.approx(0.034286, abs=1e-6)
    first = np.array([0, 1, 2, 3, 4, *(a for a, _ in pairs)])
    second = np.array([0, 1, 2, 3, 4, *(c for _, c in pairs)])
    view = View(first, second, weights, pairs=True)
    cost, begins = view.repair_cost(weights[None, :], only_repairs(C))
    assert (pytest.approx(27.114286, abs=1e-6), 3) == (float(cost[0]), int(begins[0]))


def test_contradictory_and_repeated_reports() -> None:
    """B3/B4: phone says bad (.75/.15), field says ok (.05/.97): LR .344754; the same phone answer twice 10.27."""
    abnormal = np.array([0.90, 0.05])
    l1, l0 = 0.75 * 0.05, 0.15 * 0.97
    values = l0 + (l1 - l0) * abnormal
    assert values[0] / values[1] == pytest.approx(0.344754, abs=1e-6)
    twice = 0.15**2 + (0.75**2 - 0.15**2) * abnormal
    assert twice[0] / twice[1] == pytest.approx(10.272727, abs=1e-6)


@pytest.mark.parametrize(("error", "most"), [(0.02, 49.0), (0.05, 19.0), (0.10, 9.0), (0.20, 4.0)])
def test_error_rate_caps_an_answer(error: float, most: float) -> None:
    """An answer wrong with rate e never gives a ratio above (1 - e) / e."""
    right, wrong = reported((1.0, 0.0), error)
    assert right / wrong == pytest.approx(most)


FEVER = {"": 0.0, "m": 0.9, "f": 0.8, "fm": 0.98, "c": 0.4, "cm": 0.94, "cf": 0.88, "cfm": 0.988}


def test_noisy_or_of_symptoms_is_the_published_table(small: Knowledge) -> None:
    """Inhibitors cold .6, flu .2, malaria .1: our symptom links combine as the published table (no leak)."""
    link = {"c": 0.4, "f": 0.8, "m": 0.9}
    for present, expected in FEVER.items():
        assert 1 - math.prod(1 - link[x] for x in present) == pytest.approx(expected, abs=1e-9)
    # the engine's own numbers follow the same rule with its leak
    engine = Engine(small)
    pi = engine.judge(Case()).pi
    space = Space(len(pi), np.arange(len(pi)))
    worlds = symptom_worlds(engine.tables, ("thin",), (), pi, space=space)
    a, b = engine.tables.position["alpha"], engine.tables.position["beta"]
    assert math.exp(worlds.two[space.places(a, b)]) == pytest.approx(1 - 0.995 * (1 - 0.9) * (1 - 0.4))
    assert 1 - (1 - 0.05) * 0.6 * 0.2 == pytest.approx(0.886)


def test_calibration_error_of_ten_forecasts() -> None:
    """V1: ten forecasts with outcomes 1 1 0 1 0 0 1 0 0 1 in five equal bins: 0.205."""
    forecasts = [0.9, 0.8, 0.8, 0.6, 0.55, 0.3, 0.2, 0.1, 0.05, 0.95]
    right = [1, 1, 0, 1, 0, 0, 1, 0, 0, 1]
    pairs = [(p, bool(r)) for p, r in zip(forecasts, right, strict=True)]
    assert calibration_error(pairs, bins=5) == pytest.approx(0.205, abs=1e-9)


def test_belief_equals_a_bayesian_network(small: Knowledge) -> None:
    """One-fault part of the belief = pyagrum's exact inference on the same tables."""
    gum = pytest.importorskip("pyagrum")
    engine = Engine(load([SMALL]))
    axes = {"fill": "bulk", "drive": "electric"}
    answers = {"plain": "red", "split": "upper", "motor_amps": "ok"}
    j = engine.judge(Case(axes=axes, instances=tuple(said(small, c, o) for c, o in answers.items())))
    causes = engine.tables.causes
    net = gum.BayesNet("calls")
    fault = net.add(gum.LabelizedVariable("fault", "fault", [*causes, "unknown"]))
    start = np.exp(np.array([*j.start.one, j.start.unknown]))
    net.cpt(fault)[:] = list(start / start.sum())
    for check_id in answers:
        check = small.questions[check_id]
        node = net.add(gum.LabelizedVariable(check_id, check_id, list(check.outcomes)))
        net.addArc(fault, node)
        for i, cause in enumerate(causes):
            table = outcome_shares(check, small.causes[cause], small.likelihoods, small.settings)
            net.cpt(node)[{"fault": i}] = list(table.values())
        net.cpt(node)[{"fault": len(causes)}] = list(unknown_chance(small, check_id).values())
    inference = gum.LazyPropagation(net)
    inference.setEvidence(answers)
    inference.makeInference()
    expected = inference.posterior("fault").tolist()
    mine = np.array([*j.belief.one, j.belief.unknown])
    assert list(mine / mine.sum()) == pytest.approx(expected, abs=1e-9)
