"""The parts of a judgement one by one: order of offers, direct tests, costs, observers, pairs, what is known."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from reason.helpers import said

from diag.call.case_of import reported
from diag.knowledge.base import Knowledge
from diag.reason import beginning, next_check
from diag.reason.beginning import cause_shares, heaviest_pairs, prior
from diag.reason.case import Case, RepairDone
from diag.reason.costs import NO_PROOF_HERE, Prices, prices, proof_minutes
from diag.reason.feasible import Feasible, usual_observer
from diag.reason.judge import Engine, _disjoint_sum
from diag.reason.next_check import Weighed, separates, weigh
from diag.reason.views import Stack, View, _reported
from diag.reason.worlds import Space, Worlds, posterior

AXES = {"fill": "bulk", "drive": "electric"}
KEYS = ["motor_amps", "plain", "split", "what_changed.seed"]


@pytest.fixture
def engine(small: Knowledge) -> Engine:
    """An engine on the small knowledge."""
    return Engine(small)


# --- the order of the offers --------------------------------------------------------------------------


def order(engine: Engine, costs: list[float], *, now: float = 20.0, tests: tuple[str, ...] = (),
          first: tuple[str, ...] = (), prefers: dict[str, float] | None = None) -> list[str]:
    """Return KEYS in the order in which they are offered."""
    wishes = engine._wishes((), Case())
    wishes = replace(wishes, first=frozenset(first), prefers=prefers or {})
    weighed = Weighed(np.array(costs), np.zeros(4), np.array([k in tests for k in KEYS]),
                      tests_open=np.zeros(4, dtype=np.bool_), leads=True)
    return [KEYS[i] for i in engine.planner._order(KEYS, weighed, now, wishes)]


def test_the_cheapest_comes_first_and_of_equal_ones_the_first_by_name(engine: Engine) -> None:
    """Minutes decide, to the hundredth; ties by id."""
    assert ["split", "motor_amps", "plain", "what_changed.seed"] == order(engine, [12.0, 12.001, 11.0, 15.0])


@pytest.mark.parametrize(("cost", "leads"), [(10.5, True), (10.6, False)])
def test_a_wish_counts_within_half_a_minute(engine: Engine, cost: float, leads: bool) -> None:
    """Half a minute, or 5 %, from the best; ten minutes away it is half a minute."""
    costs = [10.0, cost, 15.0, 15.0]
    assert leads == (order(engine, costs, prefers={"plain": 3.0})[0] == "plain")


def test_what_saves_nothing_is_not_wished_for(engine: Engine) -> None:
    """Where asking costs more than acting at once no wish and no direct test counts."""
    costs = [20.0, 20.2, 25.0, 25.0]
    assert "motor_amps" == order(engine, costs, now=20.1, prefers={"plain": 3.0})[0]
    assert "motor_amps" == order(engine, costs, now=20.1, tests=("plain",))[0]


@pytest.mark.parametrize(("cost", "leads"), [(15.0, True), (15.1, False)])
def test_a_direct_test_leads_within_five_minutes(engine: Engine, cost: float, leads: bool) -> None:
    """Five minutes, or 10 %, from the best, and before what is merely wished for."""
    costs = [10.0, cost, 16.0, 16.0]
    assert leads == (order(engine, costs, tests=("plain",), prefers={"motor_amps": 9.0})[0] == "plain")


@pytest.mark.parametrize("wanted", ["what_changed", "what_changed.seed"])
def test_what_must_come_first_does_whatever_it_costs(engine: Engine, wanted: str) -> None:
    """An item of a list is wanted by its own name or by the list's."""
    assert "what_changed.seed" == order(engine, [1.0, 1.0, 1.0, 99.0], tests=("plain",), first=(wanted,))[0]
    assert "what_changed.seed" == order(engine, [1.0, 1.0, 1.0, 1.1], prefers={wanted: 2.0})[0]


# --- what a check is worth -----------------------------------------------------------------------------


def weighed_by_hand(engine: Engine, weights: list[float], shares: list[list[float]]) -> Weighed:
    """Weigh one check over worlds: alpha, beta, none known; `shares`: P(outcome | world), a line an outcome."""
    n = len(engine.tables.causes)
    index = np.array([0, 1, n])
    view = View(index, index, np.array(weights), pairs=False)
    joint = np.array(shares) * np.array(weights)
    return weigh(view, prices(Case(), engine.tables), joint, np.array([0]), minutes=np.array([2.0]))


def test_information_by_hand(engine: Engine) -> None:
    """A check that parts two equal causes for sure brings one bit, one that is the same for all brings none."""
    sure = weighed_by_hand(engine, [0.5, 0.5, 0.0], [[1.0, 0.0, 0.5], [0.0, 1.0, 0.5]])
    same = weighed_by_hand(engine, [0.5, 0.5, 0.0], [[0.3, 0.3, 0.3], [0.7, 0.7, 0.7]])
    half = weighed_by_hand(engine, [0.5, 0.5, 0.0], [[1.0, 0.5, 0.0], [0.0, 0.5, 1.0]])
    assert (1.0, 0.0) == (pytest.approx(sure.bits[0]), pytest.approx(same.bits[0], abs=1e-12))
    # outcome 1 with 3/4: 2/3 against 1/3 are .918 bits; outcome 2 decides: 1 - .75 x .918 = .311
    assert pytest.approx(1 - 0.75 * (math.log2(3) - 2 / 3)) == half.bits[0]


@pytest.mark.parametrize(
    ("leads", "shows", "others", "direct"),
    [
        (0.5, 0.5, 0.0625, True),  # half the time, eight times as often as with the others
        (0.5, 0.5, 0.07, False), (0.5, 0.49, 0.01, False), (0.4, 0.9, 0.1, True), (0.39, 0.9, 0.1, False),
    ],
)
def test_a_direct_test_shows_the_leader_and_little_else(
    engine: Engine, leads: float, shows: float, others: float, direct: bool
) -> None:
    """From a belief of .4: it comes at least every second time, and raises the odds by eight."""
    rest = (1 - leads) / 2
    found = weighed_by_hand(engine, [leads, rest, rest], [[shows, others, others], [1 - shows, 1 - others, 1 - others]])
    assert direct == bool(found.tests[0])


def test_the_unknown_has_no_direct_test(engine: Engine) -> None:
    """Nothing is found by its own test where no known cause leads."""
    found = weighed_by_hand(engine, [0.1, 0.1, 0.8], [[0.0, 0.0, 1.0], [1.0, 1.0, 0.0]])
    assert [False] == found.tests.tolist()


@pytest.mark.parametrize(
    ("chances", "minutes", "works", "first", "least"),
    [
        # beta: .5 of 15 min; alpha: half of .5 of 10 min: beta, then alpha for the other half, then a quarter to leave
        ((0.5, 0.5), (10.0, 15.0), (0.5, 1.0), "beta", 15 + 0.5 * 10 + 0.25 * 100),
        ((0.4, 0.6), (0.6, 1.2), (1.0, 1.0), "alpha", 0.6 + 0.6 * 1.2),  # quick ones by their minutes too
        ((0.5, 0.5), (500.0, 500.0), (1.0, 1.0), None, 100.0),  # to hand it on is cheaper
    ],
)
def test_repairs_go_by_chance_a_minute(
    engine: Engine, chances: tuple[float, float], minutes: tuple[float, float], works: tuple[float, float],
    first: str | None, least: float
) -> None:
    """Without another question: the repair with the most chance a minute, then the next, then handing it on (100)."""
    n = len(engine.tables.causes)
    index = np.array([0, 1, n])
    price = replace(
        prices(Case(), engine.tables), repair=np.array([*minutes, *[9.0] * (n - 2)]), in_vain=np.zeros(n),
        works=np.array([*works, *[1.0] * (n - 2)]), doable=np.ones(n, dtype=np.bool_), leave=100.0,
        found=np.zeros(n), found_unknown=0.0)
    beliefs = np.array([[*chances, 0.0]])
    total, begin = View(index, index, beliefs[0], pairs=False).repair_cost(beliefs, price)
    assert (first, pytest.approx(least)) == (engine.tables.causes[begin[0]] if begin[0] >= 0 else None, total[0])


def test_a_check_parts_causes_that_are_there(engine: Engine) -> None:
    """Of causes that cannot be, none is named as told apart; motor amps part delta from the likeliest other."""
    j = engine.judge(Case(axes=AXES, symptoms=("thick",)))
    a, c = separates(engine.tables, "motor_amps", j.belief) or ("", "")
    assert {"delta", "gamma"} == {a, c}
    without = replace(j.belief, present=np.where(np.array(engine.tables.causes) == "delta", 0.0, j.belief.present))
    assert separates(engine.tables, "motor_amps", without) is None


# --- costs and observers ---------------------------------------------------------------------------------


def test_what_nobody_knows_costs_the_handing_over_and_by_phone_the_drive(engine: Engine) -> None:
    """The unknown on site: handing over; by phone: the drive first."""
    settings = engine.knowledge.settings
    phone, site = (prices(Case(channel=c), engine.tables) for c in ("phone", "site"))
    assert settings.hand_over == site.known_unknown == site.leave == phone.found_unknown
    assert settings.drive_out + settings.hand_over == phone.known_unknown
    assert 7.0 + settings.hand_over == prices(Case(channel="phone", drive_out=7.0), engine.tables).known_unknown


def test_by_phone_what_the_grower_cannot_mend_costs_the_drive_and_the_repair_there(engine: Engine) -> None:
    """A technician's repair: the drive, then repair and proof on site; a grower's is made on the line."""
    phone, site = (prices(Case(channel=c), engine.tables) for c in ("phone", "site"))
    for i, name in enumerate(engine.tables.causes):
        grower = engine.knowledge.causes[name].repair.by == "grower"
        away = engine.knowledge.settings.drive_out + site.repair[i]
        assert phone.known[i] == (phone.repair[i] if grower else away), name
    assert {"alpha", "gamma"} == {n for n, d in zip(engine.tables.causes, phone.doable, strict=True) if not d}
    assert site.found.tolist() == phone.found.tolist() == site.repair.tolist()


def test_leaving_costs_the_way_and_what_is_found_there(engine: Engine) -> None:
    """The drive or the handing over (100), then repair and proof there: 30 for alpha, 50 for beta, 7 for neither."""
    n = len(engine.tables.causes)
    index, beliefs = np.array([0, 1, n]), np.array([[0.5, 0.25, 0.25]])
    price = replace(prices(Case(), engine.tables), doable=np.zeros(n, dtype=np.bool_), leave=100.0,
                    found=np.array([30.0, 50.0, *[9.0] * (n - 2)]), found_unknown=7.0)
    total, begin = View(index, index, beliefs[0], pairs=False).repair_cost(beliefs, price)
    assert (-1, pytest.approx(100 + 0.5 * 30 + 0.25 * 50 + 0.25 * 7)) == (begin[0], total[0])


def test_a_repair_is_proved_by_its_cheapest_check(whole: Knowledge) -> None:
    """By the checks of its own verification; a repair without one has a fixed price."""
    engine = Engine(whole, counter=True)
    found = dict(zip(engine.tables.causes, proof_minutes(Case(channel="site"), engine.tables).tolist(), strict=True))
    proofs = {v.id: min(c.minutes.on_site(whole.settings.usual_rows) or math.inf
                        for n in v.checks if (c := whole.checks.get(n))) for v in whole.verifications.values()}
    for name, cause in whole.causes.items():
        expected = proofs.get(cause.repair.verify or "", NO_PROOF_HERE)
        assert found[name] == (expected if math.isfinite(expected) else NO_PROOF_HERE), name


@pytest.mark.parametrize(
    ("state", "observer"),
    [("parked_safe", "caller_did"), ("after_planting", "caller_did"), ("bench", "caller_did"), ("talk", "caller")],
)
def test_by_phone_a_caller_who_had_his_hands_on_it_is_believed_more(
    small: Knowledge, state: str, observer: str
) -> None:
    """Dug, felt or opened it, or only says so."""
    check = small.questions["split"]
    step = check.steps[0].model_copy(update={"state": state})
    assert observer == usual_observer(check.model_copy(update={"steps": (step,)}), "phone")


def test_of_a_list_that_was_begun_no_further_item_is_asked(engine: Engine, small: Knowledge) -> None:
    """What changed was asked as a list: its other items were asked with it; another check is not one of them."""
    feasible = Feasible(engine.tables)
    begun = Case(axes=AXES, instances=(said(small, "what_changed.seed", "no"),))
    assert not any(key.startswith("what_changed") for key in feasible.now(begun)[0])
    other = Case(axes=AXES, instances=(said(small, "plain", "ok"),))
    assert {"what_changed.seed", "what_changed.bolt"} <= set(feasible.now(other)[0])


def test_an_observer_s_error_goes_to_the_other_outcomes() -> None:
    """Of two outcomes the other one gets it all, of three each a half; without error nothing moves."""
    assert [pytest.approx((0.9, 0.1))] == [reported((1.0, 0.0), 0.1)]
    assert [pytest.approx((0.9, 0.05, 0.05))] == [reported((1.0, 0.0, 0.0), 0.1)]
    assert (1.0, 0.0) == reported((1.0, 0.0), 0.0)
    assert (1.0,) == reported((1.0,), 0.1)


def test_what_an_observer_would_say_is_looked_ahead_with_his_error() -> None:
    """Of two outcomes a tenth of each goes over to the other; of three half of that."""
    two, three = np.array([[0.8], [0.2]]), np.array([[1.0], [0.0], [0.0]])
    assert pytest.approx([0.9 * 0.8 + 0.1 * 0.2, 0.9 * 0.2 + 0.1 * 0.8]) == _reported(two, 0.1, 2)[:, 0]
    assert pytest.approx([0.9, 0.05, 0.05]) == _reported(three, 0.1, 3)[:, 0]


# --- worlds ------------------------------------------------------------------------------------------------


def test_paired_are_the_heaviest_and_those_that_explain_an_answer(
    engine: Engine, small: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The heaviest cause, of equal ones the first; with it what explains an answer best, usual answers apart."""
    monkeypatch.setattr(beginning, "HEAVIEST_SINGLES", 1)
    monkeypatch.setattr(beginning, "BEST_EXPLAINING", 1)
    names = engine.tables.causes
    one = np.array([-1.0 if n in ("beta", "gamma") else -5.0 for n in names])

    def paired(*instances: object) -> list[str]:
        return [names[i] for i in heaviest_pairs(engine.tables, one, instances)]  # type: ignore[arg-type]

    assert ["beta"] == paired()
    assert ["beta", "delta"] == paired(said(small, "motor_amps", "high"))
    assert ["beta"] == paired(said(small, "motor_amps", "ok"), said(small, "motor_amps", None))


def test_pairs_that_are_left_out_keep_their_mass(engine: Engine) -> None:
    """With two causes paired or all of them the prior holds as much: the rest looks like the one cause alone."""
    tables = engine.tables
    pi = cause_shares(tables, AXES)
    some = [tables.position["beta"], tables.position["gamma"]]
    totals = []
    for pairs in (np.arange(len(pi)), np.array(some)):
        told = prior(tables, pi, Space(len(pi), pairs))
        totals.append(float(np.exp(told.one).sum() + np.exp(told.two).sum()))
    assert totals[0] > float(pi.sum())
    assert pytest.approx(totals[0]) == totals[1]


@pytest.mark.parametrize(
    ("one", "other", "upper"),
    [("alpha", "none_wrong", 0.97), ("none_wrong", "alpha", 0.97), ("alpha", "gamma", (0.97 + 0.25) / 2),
     ("alpha", "alpha", 0.97)],
)
def test_looking_ahead_a_pair_shows_what_is_told_of_its_members(
    engine: Engine, one: str, other: str, upper: float
) -> None:
    """Where no outcome is usual: the mean of those of which the check says something, else the one's alone."""
    tables = engine.tables
    stack = Stack.of(tables, "site")
    rows, starts = stack.rows_of(["split"])
    view = View(np.array([tables.position[one]]), np.array([tables.position[other]]), np.array([1.0]), pairs=True)
    assert pytest.approx([upper, 1 - upper]) == view.joint(stack, ["split"], rows, starts)[:, 0]


# --- what is known -------------------------------------------------------------------------------------------


def test_a_fault_is_known_unless_the_unknown_leads_or_answers_contradict_one_another(
    engine: Engine, small: Knowledge
) -> None:
    """Half of the belief on the unknown; or answers in conflict while no cause has half of it."""
    odd = (said(small, "plain", "ok"), said(small, "open_one", "bad"))
    torn = engine.judge(Case(axes=AXES, instances=odd))
    assert torn.conflicts
    assert torn.ranking[0].probability < 0.5
    assert torn.belief.unknown < 0.5
    assert not torn.faults_known
    clear = engine.judge(Case(axes=AXES, symptoms=("thin",), instances=(said(small, "plain", "red"),)))
    assert not clear.conflicts
    assert clear.faults_known
    led = engine.judge(Case(axes=AXES, instances=(*odd, said(small, "what_changed.bolt", "yes"),
                                                  said(small, "open_two", "bad"), said(small, "split", "upper"))))
    assert (bool(led.conflicts), led.ranking[0].probability >= 0.5) == (True, True)
    assert led.faults_known


def test_by_phone_too_what_does_not_fit_is_measured_again_before_driving_out(
    engine: Engine, small: Knowledge
) -> None:
    """The answer in conflict that can be had by phone is taken once more before the drive."""
    rest = tuple(said(small, c, None) for c in small.questions if c not in ("plain", "open_one"))
    odd = (said(small, "plain", "ok"), said(small, "open_one", "bad"))
    case = Case(channel="phone", axes=AXES, instances=(*odd, *rest))
    j = engine.judge(case)
    assert ("measure_again", "plain") == (j.action, j.plan.again)


def test_rules_read_repairs_of_earlier_epochs(engine: Engine) -> None:
    """What was mended before now is a fact; a repair that ends the last epoch is one only in the next."""
    case = Case(repairs=(RepairDone({"alpha": 0.95}), RepairDone({"beta": 0.95})))
    assert 2 == case.epoch
    assert {"repaired:alpha", "repaired:beta"} <= engine.facts(case).keys


def test_what_two_rules_find_is_found_once(engine: Engine, small: Knowledge) -> None:
    """The first rule that finds it is named."""
    case = Case(axes=AXES, instances=(said(small, "plain", "blue"), said(small, "split", "upper")))
    j = engine.judge(case)
    firing = next(f for f in j.firings if f.rule == "r_both")
    found = list(engine._findings([firing, firing], {"r_both": frozenset({0, 1})}, case.instances))
    assert [("both_seen", "r_both", ("plain", "split"))] == [(f.finding, f.rule, f.events) for f in found]


def test_rules_that_share_an_answer_count_once() -> None:
    """By the larger top-up, of equal ones the first by name; what rests on other answers is added."""
    shared = [(frozenset({1}), 1.5, "b"), (frozenset({0, 1}), 2.0, "a"), (frozenset({2}), -1.0, "c")]
    assert (1.0, ("a", "c")) == _disjoint_sum(shared)
    assert (2.0, ("a",)) == _disjoint_sum([(frozenset({0}), 2.0, "b"), (frozenset({0}), 2.0, "a")])
    # what shares an answer with a rule that is left out is left out too: the answers are given away once
    assert (2.0, ("a",)) == _disjoint_sum([(frozenset({0, 1}), 2.0, "a"), (frozenset({1, 2}), 1.5, "b"),
                                           (frozenset({2}), 1.0, "c")])


# --- what a plan says besides ---------------------------------------------------------------------------


def test_a_repair_in_vain_costs_more_the_less_likely_it_is() -> None:
    """Of .6 and .4 the first costs 10 + 5 x .4 = 12, the second 20 + 8 x .6 = 24.8: 12 + .4 x 24.8 = 21.92 minutes."""
    free, can = np.zeros(2), np.ones(2, dtype=np.bool_)
    price = Prices(np.array([10.0, 20.0]), np.array([5.0, 8.0]), np.ones(2), can, leave=1e9, found=free,
                   found_unknown=0.0, known=free, known_unknown=0.0)
    index = np.arange(3)
    cost, _ = View(index, index, np.array([0.6, 0.4, 0.0]), pairs=False).repair_cost(np.array([[0.6, 0.4, 0.0]]), price)
    assert pytest.approx(21.92) == cost[0]


@pytest.mark.parametrize(("bits", "asked"), [(0.02, 2), (0.019, None)])
def test_before_a_repair_that_rests_on_too_little_the_best_is_asked_where_it_tells_anything(
    engine: Engine, bits: float, asked: int | None
) -> None:
    """The best check decides, not the one that tells most."""
    no = np.zeros(4, dtype=np.bool_)
    weighed = Weighed(np.zeros(4), np.array([0.9, 0.9, bits, 0.9]), tests=no, tests_open=no, leads=False)
    assert asked == engine.planner._deciding([2, 0, 1, 3], weighed, [1.0] * 4, action="")


@pytest.mark.parametrize(("saves", "told", "action"), [(1.26, 1.3, True), (0.0, 0.0, False), (0.04, 0.0, False)])
def test_what_saves_nothing_that_is_told_is_no_reason_to_ask(
    engine: Engine, monkeypatch: pytest.MonkeyPatch, saves: float, told: float, action: bool
) -> None:
    """Minutes saved are told to the tenth; a check is asked for what is told."""
    case = Case(axes=AXES, symptoms=("thin",))
    belief, wishes = engine.judge(case).belief, engine._wishes((), case)
    cost_now = engine.planner.plan(case, belief, wishes).cost_now

    def same(*asked: object, minutes: list[float], **_: object) -> Weighed:
        no = np.zeros(len(minutes), dtype=np.bool_)
        return Weighed(np.full(len(minutes), cost_now - saves), no * 0.0, tests=no, tests_open=no, leads=False)

    monkeypatch.setattr(engine.planner, "_weigh", same)
    plan = engine.planner.plan(case, belief, wishes)
    assert (told, action) == (plan.offers[0].saves_minutes, plan.action == "check")


def test_without_a_check_the_minutes_are_told_all_the_same(engine: Engine) -> None:
    """Where every check is blocked there is no offer, and what acting at once costs."""
    case = Case(axes=AXES, symptoms=("thin",))
    belief, wishes = engine.judge(case).belief, engine._wishes((), case)
    blocked = replace(wishes, blocked=frozenset(engine.knowledge.questions))
    some, none = (engine.planner.plan(case, belief, w) for w in (wishes, blocked))
    assert ((), some.cost_now) == (none.offers, none.cost_now)


def test_answers_weighed_in_parts_are_worth_the_same(engine: Engine, monkeypatch: pytest.MonkeyPatch) -> None:
    """All answers at a time or one: the same plan."""
    case = Case(axes=AXES, symptoms=("thin",))
    whole = engine.judge(case).plan
    monkeypatch.setattr(next_check, "AT_ONCE", 1)
    assert whole == engine.judge(case).plan


def test_worlds_without_any_weight_are_refused() -> None:
    """There is no belief where nothing is possible."""
    with pytest.raises(ValueError, match="no world"):
        posterior(Worlds.of(Space(1, np.array([0])), -math.inf, -math.inf, one=np.array([-math.inf]), two=np.zeros(0)))


def test_an_answer_is_worked_out_once(engine: Engine, small: Knowledge) -> None:
    """The same answer over the same worlds is the same array, over other worlds another."""
    answer = said(small, "plain", "red")
    wide, few = (Space(len(engine.tables.causes), np.arange(n)) for n in (3, 2))
    first = engine.evidence.of(answer, None, wide)
    assert first is engine.evidence.of(answer, None, wide)
    assert len(first.log) == len(engine.evidence.of(answer, None, few).log) + 2


def test_a_rule_marks_a_whole_group(engine: Engine, small: Knowledge) -> None:
    """A mark on @GROUP falls on each of its causes, one on a cause stands above it."""
    group = small.causes["alpha"].subsystem
    members = [i for i, c in enumerate(engine.tables.causes) if small.causes[c].subsystem == group]
    weak, strong = sorted(small.marks, key=lambda m: small.marks[m].ratio)[-2:]
    rule = next(iter(small.rules.values()))
    then = rule.then.model_copy(update={"marks": {strong: ("alpha",), weak: (f"@{group}",)}})
    marked = engine._marks(rule.model_copy(update={"then": then}))
    alpha = engine.tables.position["alpha"]
    assert marked == {i: small.marks[strong if i == alpha else weak].ratio for i in members}
    assert len(members) > 1
