"""Belief: every clause of the model by hand on a small knowledge, and against a naive oracle."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from reason.helpers import said
from reason.naive import CLEAR, UNKNOWN, belief, likelihood, outcome_chance, prior_of

from diag.call.case_of import reported
from diag.knowledge.base import Knowledge
from diag.knowledge.load import load
from diag.reason.case import Case, RepairDone
from diag.reason.judge import Engine
from diag.reason.judgement import Judgement

BOX = {"fill": "box", "drive": "electric"}
BULK = {"fill": "bulk", "drive": "electric"}  # no rule of the small knowledge marks here


@cache
def engine_of(path: str) -> Engine:
    """Return an engine on the small knowledge."""
    from conftest import SMALL

    assert path == "small"
    return Engine(load([SMALL]))


@pytest.fixture
def engine() -> Engine:
    """The engine on the small knowledge."""
    return engine_of("small")


def test_prior_by_hand(engine: Engine) -> None:
    """Electric machine: pi = 40,30,20,10,10 of 110; pairs weigh 0.1 of one-or-two; alpha shares with gamma."""
    weights = prior_of(engine.knowledge, Case(axes=BOX))
    pi = {"alpha": 40 / 110, "beta": 30 / 110, "gamma": 20 / 110, "delta": 10 / 110}
    # senseless pairs are left out: beta with gamma; none_wrong stands alone
    allowed = [("alpha", "beta"), ("alpha", "gamma"), ("alpha", "delta"), ("beta", "delta"), ("gamma", "delta")]
    scale = (0.1 / 0.9) / sum(pi[a] * pi[c] for a, c in allowed)
    expected = {
        frozenset({"alpha"}): 40 / 110 * 0.75,
        frozenset({"none_wrong"}): 10 / 110,
        frozenset({"alpha", "gamma"}): scale * pi["alpha"] * pi["gamma"] + 0.25 * 40 / 110,
        frozenset({"beta", "gamma"}): 0.0,
        frozenset({"beta", "delta"}): scale * pi["beta"] * pi["delta"],
        UNKNOWN: 0.03,
        CLEAR: 0.0,
    }
    assert {w: pytest.approx(weights[w]) for w in expected} == expected
    j = engine.judge(Case(axes=BOX))
    total = sum(weights.values())
    assert j.belief.unknown == pytest.approx(0.03 / total)
    assert j.belief.clear == 0.0
    share = j.belief.mass_two - 0.25 * 40 / 110 / total
    assert share / (share + (j.belief.mass_one + 0.25 * 40 / 110 / total)) == pytest.approx(0.1)


def test_unknown_axis_takes_the_share_of_machines(engine: Engine) -> None:
    """Delta needs an electric drive: with the drive unknown it weighs 10 x 0.4 of 104."""
    unknown = engine.judge(Case(axes={"fill": "box"}))
    chain = engine.judge(Case(axes={"fill": "box", "drive": "chain"}))
    delta = engine.tables.position["delta"]
    assert float(unknown.pi[delta]) == pytest.approx(4 / 104)
    assert chain.of("delta") is None


def test_outcome_tables_by_hand(engine: Engine) -> None:
    """A cause's own chances, else those of its attributes, else a sound machine; the rest in proportion to that."""
    table = engine.tables.check("plain")
    places = engine.tables.position.items()
    column = {c: dict(zip(table.outcomes, table.shares[:, i], strict=True)) for c, i in places}
    assert column["alpha"] == pytest.approx({"red": 0.95, "blue": 0.03, "ok": 0.02})
    assert column["beta"] == pytest.approx({"red": 0.1, "blue": 0.5, "ok": 0.4})
    assert column["gamma"] == pytest.approx({"red": 0.2, "blue": 0.4, "ok": 0.4})
    assert column["delta"] == pytest.approx({"red": 0.2, "blue": 0.8 / 9, "ok": 0.8 * 8 / 9})
    assert column["none_wrong"] == pytest.approx({"red": 0.1, "blue": 0.1, "ok": 0.8})


def test_an_unknown_cause_spoils_in_part_what_the_known_ones_spoil(engine: Engine) -> None:
    """plain: 70 % sound machine, 30 % the mean of alpha, beta, gamma, delta by their 40, 30, 20, 10 calls."""
    table = engine.tables.check("plain")
    red = (40 * 0.95 + 30 * 0.1 + 20 * 0.2 + 10 * 0.2) / 100
    assert float(table.unknown[table.index("red")]) == pytest.approx(0.7 * 0.1 + 0.3 * red)
    assert float(table.unknown.sum()) == pytest.approx(1.0)
    case = Case(axes=BOX, instances=(said(engine.knowledge, "plain", "red"),))
    worlds = engine.judge(case).epochs[0].looks["plain"]
    assert (worlds.clear, math.exp(worlds.unknown)) == (0.0, pytest.approx((0.7 * 0.1 + 0.3 * red) / 0.1))


def test_pair_with_normal_outcome_is_noisy_or(engine: Engine) -> None:
    """P(ok | alpha, beta) = .02 x .4 / max(.02, .4, .8); the rest as q_a + q_c."""
    chance = outcome_chance(engine.knowledge, "plain", frozenset({"alpha", "beta"}))
    p_ok = 0.02 * 0.4 / 0.8
    red, blue = 0.95 + 0.1, 0.03 + 0.5
    assert chance["ok"] == pytest.approx(p_ok)
    assert chance["red"] == pytest.approx((1 - p_ok) * red / (red + blue))


def test_pair_member_that_spoils_nothing_changes_nothing(engine: Engine) -> None:
    """In a check with a normal outcome a member that is not marked leaves the other's chance of normal."""
    alone = outcome_chance(engine.knowledge, "open_one", frozenset({"alpha"}))
    pair = outcome_chance(engine.knowledge, "open_one", frozenset({"alpha", "beta"}))
    assert pair["ok"] == pytest.approx(alone["ok"])


def test_pair_without_normal_is_the_mean_of_those_told_of(engine: Engine) -> None:
    """split tells of gamma and delta but not of none; only members it tells of count."""
    k = engine.knowledge
    mean = outcome_chance(k, "split", frozenset({"gamma", "delta"}))
    gamma, delta = (outcome_chance(k, "split", frozenset({c})) for c in ("gamma", "delta"))
    assert mean["upper"] == pytest.approx((gamma["upper"] + delta["upper"]) / 2)
    lone = outcome_chance(k, "what_changed.seed", frozenset({"gamma", "delta"}))
    assert lone == pytest.approx(outcome_chance(k, "what_changed.seed", frozenset({"gamma"})))


ERRORS = [(0.0, 1.0, 0.0), (0.1, 0.9, 0.05), (0.15, 0.85, 0.075)]


@pytest.mark.parametrize(("error", "said_right", "said_wrong"), ERRORS)
def test_observer_error(error: float, said_right: float, said_wrong: float) -> None:
    """A report keeps 1 - e on its outcome and e / (k - 1) on the others (k = 3)."""
    assert reported((1.0, 0.0, 0.0), error) == pytest.approx((said_right, said_wrong, said_wrong))


def test_an_error_of_e_never_gives_more_than_its_odds(engine: Engine) -> None:
    """With error .1 no two-way answer weighs more than .9/.1 = 9."""
    case = Case(axes=BOX, instances=(said(engine.knowledge, "motor_amps", "high", error=0.1),))
    worlds = engine.judge(case).epochs[0].looks["motor_amps"]
    assert math.exp(float(worlds.one.max() - worlds.one.min())) < 9.0


def test_not_sure_moves_nothing(engine: Engine) -> None:
    """An unsure answer leaves every probability as it was."""
    before = engine.judge(Case(axes=BOX, symptoms=("thin",)))
    after = engine.judge(Case(axes=BOX, symptoms=("thin",), instances=(said(engine.knowledge, "plain", None),)))
    assert [(r.cause, r.probability) for r in after.ranking] == [(r.cause, r.probability) for r in before.ranking]


def test_one_look_speaks_with_its_strongest_answer_for_and_its_strongest_against(engine: Engine) -> None:
    """Under one cover alpha's .84 and .6 against .2 count 4.2 once; bad and fine is 4.2 x .4/.8; beta goes alone."""
    k = engine.knowledge
    alpha, beta = engine.tables.position["alpha"], engine.tables.position["beta"]

    def look(one: str, two: str) -> list[float]:
        case = Case(axes=BOX, instances=(said(k, "open_one", one), said(k, "open_two", two)))
        looks = engine.judge(case).epochs[0].looks
        assert list(looks) == ["cover_off"]
        return [math.exp(float(looks["cover_off"].one[i])) for i in (alpha, beta)]

    assert look("bad", "bad") == pytest.approx([4.2, 2.0])
    assert look("bad", "ok") == pytest.approx([4.2 * 0.5, 0.75])
    assert look("ok", "ok") == pytest.approx([0.2, 0.75])


def test_a_fine_neighbour_does_not_dilute_a_finding(engine: Engine) -> None:
    """The same cover: that another thing is fine leaves a cause that would not show there as it was."""
    k = engine.knowledge
    flat = replace(said(k, "open_two", "bad"), likelihood=(1.0, 1.0))
    with_mute = engine.judge(Case(axes=BOX, instances=(said(k, "open_one", "bad"), flat)))
    alone = engine.judge(Case(axes=BOX, instances=(said(k, "open_one", "bad"),)))
    assert with_mute.belief.present == pytest.approx(alone.belief.present)


def test_rows_on_part_of_the_trouble_take_the_mean(engine: Engine) -> None:
    """With trouble on rows 3 and 4, an answer on row 3 alone may show either member."""
    k = engine.knowledge
    case = Case(axes=BOX, trouble_rows=(3, 4), instances=(said(k, "plain", "red", rows=(3,)),))
    expected = belief(k, case)
    j = engine.judge(case)
    assert j.belief.mass_two == pytest.approx(sum(p for w, p in expected.items() if len(w) == 2))
    whole = replace(case, instances=(said(k, "plain", "red", rows=(3, 4)),))
    assert engine.judge(whole).belief.mass_two != pytest.approx(j.belief.mass_two)


def test_repair_makes_clear_possible_and_keeps_old_answers(engine: Engine) -> None:
    """After mending beta (works .95) the mass of beta alone goes to clear but for 5 %."""
    k = engine.knowledge
    before = Case(axes=BULK, symptoms=("thin",), instances=(said(k, "plain", "blue"),))
    after = replace(before, repairs=(RepairDone({"beta": 0.95}),))
    expected = belief(k, before)
    j = engine.judge(after)
    assert j.belief.clear == pytest.approx(0.95 * expected[frozenset({"beta"})])
    assert j.belief.present[engine.tables.position["beta"]] == pytest.approx(
        0.05 * sum(p for w, p in expected.items() if "beta" in w)
    )


def test_a_new_answer_after_the_repair_speaks_of_the_machine_as_it_is(engine: Engine) -> None:
    """A normal result after the repair raises clear; the same result before it would have weakened beta."""
    k = engine.knowledge
    case = Case(
        axes=BULK, symptoms=("thin",), repairs=(RepairDone({"beta": 0.95}),),
        instances=(said(k, "plain", "blue"), said(k, "plain", "ok", epoch=1)),
    )
    j = engine.judge(case)
    unmeasured = engine.judge(replace(case, instances=case.instances[:1]))
    assert j.belief.clear > unmeasured.belief.clear
    assert j.belief.clear == pytest.approx(belief(k, case)[CLEAR])


ANSWERS = {
    "plain": ["red", "blue", "ok", None], "split": ["upper", "lower", None], "open_one": ["bad", "ok", None],
    "open_two": ["bad", "ok", None], "what_changed.seed": ["yes", "no"], "what_changed.bolt": ["yes", "no"],
    "motor_amps": ["high", "ok"],
}


@st.composite
def cases(draw: st.DrawFn) -> Case:
    """Random cases on the small knowledge."""
    k = engine_of("small").knowledge
    checks = draw(st.lists(st.sampled_from(sorted(ANSWERS)), unique=True, max_size=6))
    repairs = draw(st.lists(st.sampled_from([{"beta": 0.95}, {"alpha": 0.9, "gamma": 0.5}]), max_size=2))
    instances = tuple(
        said(
            k, c, draw(st.sampled_from(ANSWERS[c])), error=draw(st.sampled_from([0.0, 0.05, 0.15])),
            epoch=draw(st.integers(0, len(repairs))), rows=draw(st.sampled_from([None, (3,), (3, 4)])),
        )
        for c in checks
    )
    return Case(
        axes=draw(st.sampled_from([BOX, {"fill": "box"}, {"drive": "chain"}, {}])),
        symptoms=draw(st.sampled_from([(), ("thin",), ("thin", "thick")])),
        denied=draw(st.sampled_from([(), ("thick",)])),
        instances=instances, repairs=tuple(RepairDone(r) for r in repairs), trouble_rows=(3, 4),
    )


@given(cases())
def test_belief_equals_the_naive_oracle(case: Case) -> None:
    """Arrays and plain dictionaries give the same belief, epoch by epoch."""
    engine = engine_of("small")
    if set(case.symptoms) & set(case.denied):
        return
    j = engine.judge(case)
    names = engine.tables.causes
    top_ups = [
        {names[i]: float(e.top_ups.one[i]) for i in range(len(names)) if e.top_ups.one[i]} for e in j.epochs
    ]
    expected = belief(engine.knowledge, case, top_ups)
    assert j.belief.clear == pytest.approx(expected[CLEAR], abs=1e-9)
    assert j.belief.unknown == pytest.approx(expected[UNKNOWN], abs=1e-9)
    for i, cause in enumerate(names):
        present = sum(p for w, p in expected.items() if cause in w)
        assert float(j.belief.present[i]) == pytest.approx(present, abs=1e-9)


@given(cases())
def test_the_order_of_answers_does_not_matter(case: Case) -> None:
    """Belief is recomputed from all answers: any order gives the same."""
    engine = engine_of("small")
    forwards = engine.judge(case)
    backwards = engine.judge(replace(case, instances=tuple(reversed(case.instances))))
    assert [(r.cause, r.probability, r.belief) for r in forwards.ranking] == [
        (r.cause, r.probability, r.belief) for r in backwards.ranking
    ]


def test_conflict_by_hand(engine: Engine) -> None:
    """conf = log2(P(a1) P(a2) / P(a1, a2)); two answers that exclude each other exceed 1 bit."""
    k = engine.knowledge
    axes = BOX
    pair = (said(k, "plain", "ok"), said(k, "open_one", "bad"))
    start = prior_of(k, Case(axes=axes))
    total = sum(start.values())

    def chance(*instances: object) -> float:
        case = Case(axes=axes, instances=tuple(instances))  # type: ignore[arg-type]
        return sum(
            w / total * math.prod(likelihood(k, i, world, case) for i in case.instances) for world, w in start.items()
        )

    expected = math.log2(chance(pair[0]) * chance(pair[1]) / chance(*pair))
    (conflict,) = engine.judge(Case(axes=axes, instances=pair)).conflicts
    assert (conflict.check, conflict.bits) == ("plain", pytest.approx(expected, abs=0.006))


def test_belief_words(engine: Engine) -> None:
    """likely from .5, open from .05; set aside only where answers weigh 20 to 1 against."""
    k = engine.knowledge
    case = Case(axes=BOX, instances=(said(k, "motor_amps", "ok"), said(k, "plain", "red"), said(k, "split", "upper")))
    j = engine.judge(case)
    words = {r.cause: r.belief for r in j.ranking}
    assert words["alpha"] == "likely"
    delta = j.of("delta")
    assert delta is not None
    assert delta.belief == "set_aside"
    rare = engine.judge(Case(axes=BOX, symptoms=("thin",)))
    assert {r.belief for r in rare.ranking if r.probability < 0.05} <= {"unlikely"}


def test_none_of_the_known_causes(small: Knowledge) -> None:
    """When every known cause is spoken against, "unknown" takes over and faults_known is false."""
    engine = engine_of("small")
    answers = [("plain", "ok"), ("motor_amps", "ok"), ("open_one", "ok"), ("what_changed.seed", "no")]
    instances = tuple(replace(said(small, c, o), events=(c,)) for c, o in answers)
    stronger = tuple(replace(i, rows=str(n)) for n in range(12) for i in instances)
    j = engine.judge(Case(axes={"drive": "electric", "fill": "box"}, symptoms=("thin",), instances=stronger))
    expected = belief(small, Case(axes=BOX, symptoms=("thin",), instances=stronger))
    assert j.belief.unknown == pytest.approx(expected[UNKNOWN])


def test_same_input_same_bytes(engine: Engine) -> None:
    """Two engines give the same judgement to the last digit."""
    from conftest import SMALL

    k = engine.knowledge
    case = Case(axes=BOX, symptoms=("thin",), instances=(said(k, "plain", "blue"), said(k, "split", "upper")))
    one, other = engine.judge(case), Engine(load([SMALL])).judge(case)
    assert repr(one.ranking) + repr(one.plan) == repr(other.ranking) + repr(other.plan)


def test_few_pairs_keep_the_mass_and_the_order(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    """Above 400 causes only the heaviest are paired: the prior's mass stays, and so does the order."""
    k = engine.knowledge
    case = Case(axes=BOX, symptoms=("thin",), instances=(said(k, "plain", "blue"), said(k, "split", "upper")))
    whole = engine.judge(case)
    monkeypatch.setattr("diag.reason.beginning.ALL_PAIRS_UP_TO", 1)
    every = engine.judge(case)
    assert every.ranking == whole.ranking
    monkeypatch.setattr("diag.reason.beginning.HEAVIEST_SINGLES", 2)
    monkeypatch.setattr("diag.reason.beginning.BEST_EXPLAINING", 1)
    few = engine.judge(case)
    assert len(few.belief.space.pairs) < len(engine.tables.causes)
    def prior_mass(j: Judgement) -> float:
        assert j.start is not None
        assert j.symptoms is not None
        one, two = j.start.one - j.symptoms.one, j.start.two - j.symptoms.two
        return float(np.exp(one).sum() + np.exp(two).sum())

    # bystanders may be causes that make no sense together: a few per cent at most
    assert prior_mass(few) == pytest.approx(prior_mass(whole), rel=0.05)
    assert [r.cause for r in few.ranking[:2]] == [r.cause for r in whole.ranking[:2]]
