"""Forward chaining: counting, experta behind the shim, and CLIPS fire the same rules."""

from __future__ import annotations

import math
import subprocess
import sys
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from reason.clips_rules import Clips
from reason.helpers import said

from diag.errors import RulesError
from diag.knowledge.base import Knowledge
from diag.knowledge.layers import CyclicRulesError, layers
from diag.knowledge.model import Rule
from diag.reason.case import Case
from diag.reason.counting import Counter, FactSet
from diag.reason.facts import PASS_TWO, Clause, Literal
from diag.reason.judge import Engine
from diag.reason.rules import RuleBase

ITEMS = [f"answer:c{i}=yes" for i in range(6)]
FINDINGS = [f"f{i}" for i in range(4)]


@st.composite
def rule_sets(draw: st.DrawFn) -> tuple[Clause, ...]:
    """Random clauses over answers, numbers and findings; `not` over findings of lower layers only."""
    made = []
    for n in range(draw(st.integers(1, 14))):
        layer = draw(st.integers(0, 2))
        literals = {Literal(draw(st.sampled_from(ITEMS)), negated=draw(st.booleans())) for _ in range(2)}
        if draw(st.booleans()):
            side = draw(st.sampled_from(["below", "above"]))
            literals.add(Literal("reading:c:x", draw(st.booleans()), side, draw(st.sampled_from([1.0, 2.0, 3.0]))))
        if draw(st.booleans()):
            # findings carry their layer in the name: f0 and f1 in layer 0, f2 in 1, f3 in 2
            positive = [f for i, f in enumerate(FINDINGS) if max(0, i - 1) <= layer]
            literals.add(Literal(f"finding:{draw(st.sampled_from(positive))}"))
        lower = [f for i, f in enumerate(FINDINGS) if max(0, i - 1) < layer]
        if lower and draw(st.booleans()):
            literals.add(Literal(f"finding:{draw(st.sampled_from(lower))}", negated=True))
        finds = [f for i, f in enumerate(FINDINGS) if max(0, i - 1) == layer]
        keys = {x.key for x in literals if not x.side and x.negated}
        literals = {x for x in literals if x.side or x.negated or x.key not in keys}
        made.append(
            Clause(f"r{n:02d}", 0, layer, False, tuple(sorted(literals)), draw(st.sampled_from([None, *finds])))
        )
    return tuple(sorted(made, key=lambda c: (c.layer, c.rule)))


@st.composite
def fact_sets(draw: st.DrawFn) -> FactSet:
    """Random facts."""
    keys = draw(st.sets(st.sampled_from(ITEMS)))
    numbers = draw(st.lists(st.sampled_from([0.5, 1.5, 2.5, 3.5]), max_size=2))
    return FactSet(frozenset(keys), {"reading:c:x": tuple(numbers)} if numbers else {})


def run_experta(made: tuple[Clause, ...], facts: FactSet) -> list[str]:
    """Return the rules fired by experta, in order, each once."""
    base = object.__new__(RuleBase)
    base.clauses, base._derives, base._engine = made, True, None
    return list(dict.fromkeys(c.rule for c in base.derived(facts)))


def run_clips(made: tuple[Clause, ...], facts: FactSet) -> list[str]:
    """Return the rules fired by CLIPS, in order, each once."""
    return list(dict.fromkeys(c.rule for c in Clips(made).run(facts)))


@settings(max_examples=150)
@given(rule_sets(), fact_sets())
def test_experta_fires_what_the_counter_fires(made: tuple[Clause, ...], facts: FactSet) -> None:
    """Same rules, same order, also where a NOT becomes false while the rule waits."""
    assert run_experta(made, facts) == [c.rule for c in Counter(made).run(facts)]


@settings(max_examples=150)
@given(rule_sets(), fact_sets())
def test_counter_fires_what_clips_fires(made: tuple[Clause, ...], facts: FactSet) -> None:
    """CLIPS as the outside oracle: equal firings in equal order."""
    assert run_clips(made, facts) == [c.rule for c in Counter(made).run(facts)]


def test_unless_ruled_out_never_fires_when_ruled_out() -> None:
    """100 rules "skips unless ruled out": the stock agenda of experta fires 90 to 97 of them wrongly."""
    made = tuple(
        Clause(f"r{i:03d}", 0, 1, False, (Literal("answer:skips=yes"), Literal(f"finding:out{i}", negated=True)), None)
        for i in range(100)
    )
    out = tuple(Clause(f"a{i:03d}", 0, 0, False, (Literal("answer:skips=yes"),), f"out{i}") for i in range(0, 100, 2))
    fired = run_experta((*out, *made), FactSet(frozenset({"answer:skips=yes"})))
    assert [r for r in fired if r.startswith("r")] == [f"r{i:03d}" for i in range(1, 100, 2)]


def test_a_number_that_is_no_number_breaks_nothing() -> None:
    """A predicate over something that is not a number is false; other rules fire, and after it too."""
    made = (
        Clause("near", 0, 0, False, (Literal("reading:c:x", side="above", limit=1.0),), None),
        Clause("other", 0, 0, False, (Literal("answer:c0=yes"),), None),
    )
    facts = FactSet(frozenset({"answer:c0=yes"}), {"reading:c:x": (float("nan"),)})
    assert run_experta(made, facts) == ["other"]


def test_layers_put_not_above_what_it_denies(small: Knowledge) -> None:
    """r_not denies both_seen, which r_both derives."""
    level = layers(small.rules.values())
    assert level["r_not"] > level["r_both"]


def test_a_circle_through_not_is_named() -> None:
    """Two rules that deny each other's finding are refused by name."""
    def rule(name: str, finds: str, denies: str) -> Rule:
        return Rule.model_validate({
            "id": name, "when": {"all": [{"not": {"finding": denies}}, {"symptom": "thin"}]},
            "then": {"finds": finds}, "because": "x", "source": ["estimate"],
        })

    with pytest.raises(CyclicRulesError) as caught:
        layers([rule("one", "a", "b"), rule("two", "b", "a")])
    assert caught.value.rules == ("one", "two")


def test_not_is_pushed_to_the_leaves(small: Knowledge) -> None:
    """`not any` becomes a conjunction of negated literals in one clause."""
    base = RuleBase(small, counter=True)
    clause = next(c for c in base.clauses if c.rule == "r_not")
    assert Literal("finding:both_seen", negated=True) in clause.literals


def test_second_pass_sees_belief_and_findings(small: Knowledge) -> None:
    """Rules that read belief fire only in the second pass."""
    base = RuleBase(small)
    facts = FactSet(frozenset({"symptom:thin"}))
    assert [f.rule for f in base.run(facts)] == ["r_not"]
    assert [f.rule for f in base.run(facts, ["belief:beta=likely"])] == ["r_belief"]
    assert PASS_TWO not in base.run(facts, ["belief:beta=likely"])[0].keys


# --- rule marks (contracts 2) by hand ---------------------------------------------------------------


def test_top_up_gives_only_what_the_answers_did_not(small: Knowledge) -> None:
    """blue gives beta 5; a rule that confirms (20) on it tops up by 20 / 5 = 4."""
    engine = Engine(small)
    j = engine.judge(Case(axes={"fill": "box", "drive": "electric"}, instances=(said(small, "plain", "blue"),)))
    beta = engine.tables.position["beta"]
    assert j.top_ups == {beta: pytest.approx(1.3862943611198906)}
    assert j.top_up_rules[beta] == ("r_overlap",)


def test_rules_that_share_an_answer_count_once(small: Knowledge) -> None:
    """r_both (5 on blue and upper) and r_overlap (20 on blue) share blue: the larger top-up stands."""
    engine = Engine(small)
    answers = (said(small, "plain", "blue"), said(small, "split", "upper"))
    j = engine.judge(Case(axes={"fill": "box", "drive": "electric"}, instances=answers))
    beta = engine.tables.position["beta"]
    assert j.top_up_rules[beta] == ("r_overlap",)
    # without the box rule: r_both wants 5, the answers gave 5 x q(upper|beta)/b > 5 already: no top-up
    bulk = engine.judge(Case(axes={"fill": "bulk", "drive": "electric"}, instances=answers))
    assert beta not in bulk.top_ups


def test_a_rule_rests_on_the_answers_behind_its_findings(small: Knowledge) -> None:
    """r_chain reads a finding: its support is that of the rule that found it, and its own answer."""
    engine = Engine(small)
    answers = (said(small, "plain", "blue"), said(small, "split", "upper"), said(small, "open_two", "ok"))
    j = engine.judge(Case(axes={"fill": "bulk", "drive": "electric"}, instances=answers))
    assert [f.finding for f in j.findings] == ["both_seen"]
    assert j.findings[0].events == ("plain", "split")
    alpha = engine.tables.position["alpha"]
    given = sum(
        math.log(engine.tables.check(c).ratio(o, alpha))
        for c, o in (("plain", "blue"), ("split", "upper"), ("open_two", "ok"))
    )
    wanted = min(0.0, math.log(0.2) - given)
    assert j.top_ups.get(alpha, 0.0) == pytest.approx(wanted)


# --- the import shim ----------------------------------------------------------------------------------


def test_import_leaves_logging_and_collections_alone() -> None:
    """Importing the rule module adds no handler to the root logger and leaves no patch behind."""
    code = (
        "import logging, collections; before = list(logging.getLogger().handlers); "
        "from diag.reason.rules import _import_experta; assert _import_experta() is not None; "
        "assert logging.getLogger().handlers == before; assert not hasattr(collections, 'Mapping'); "
        "assert logging.getLogger('experta').level == logging.WARNING"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


def test_without_experta_the_rules_are_counted(small: Knowledge, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where experta cannot be imported the same rules fire, and the program says what runs them."""
    monkeypatch.setenv("DIAG_RULES_COUNTER", "1")
    base = RuleBase(small)
    assert base.engine_name == "counting"
    facts = FactSet(frozenset({"symptom:thin"}))
    counted = (*base.run(facts), *base.run(facts, ["belief:beta=likely"]))
    assert base.trace(facts, ["belief:beta=likely"], counted) == counted
    monkeypatch.delenv("DIAG_RULES_COUNTER")
    assert RuleBase(small).trace(facts, ["belief:beta=likely"], counted) == counted


def test_an_engine_is_thrown_away_after_an_error(small: Knowledge) -> None:
    """After an exception inside the engine the next run starts on a fresh one and fires as before."""
    base = RuleBase(small)
    facts = FactSet(frozenset({"symptom:thin"}))
    expected = base.derived(facts)
    base._engine.facts_from = lambda facts: (_ for _ in ()).throw(RuntimeError("broken"))
    with pytest.raises(RuntimeError):
        base.derived(facts)
    assert base.derived(facts) == expected


def test_a_difference_between_counting_and_deriving_is_an_error(small: Knowledge) -> None:
    """A rule that the judgement went by and experta does not derive, or the other way round, is named."""
    engine = Engine(small)
    case = Case(symptoms=("thin",))
    judgement = engine.judge(case)
    assert engine.trace(case, judgement) == judgement.firings
    assert "r_not" in {f.rule for f in judgement.firings}
    with pytest.raises(RulesError, match="r_not"):
        engine.trace(case, replace(judgement, firings=judgement.firings[1:]))
