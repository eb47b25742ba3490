"""One language of conditions for outcomes and rules."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from knowledge.tiny import Tiny
from pydantic import ValidationError

from diag.knowledge.base import Knowledge
from diag.knowledge.condition import When
from diag.knowledge.load import read
from diag.reason.facts import clauses
from diag.reason.rules import layers


@pytest.fixture
def tiny(tmp_path: Any) -> Tiny:
    """A clean knowledge of two causes."""
    return Tiny(tmp_path)


LEAVES = [{"flag": "dark"}, {"flag": "alone"}, {"answered": "it"}]
TREES = st.recursive(
    st.sampled_from(LEAVES),
    lambda inner: st.one_of(
        st.fixed_dictionaries({"all": st.lists(inner, min_size=1, max_size=3)}),
        st.fixed_dictionaries({"any": st.lists(inner, min_size=1, max_size=3)}),
        st.fixed_dictionaries({"not": inner}),
    ),
    max_leaves=8,
)


def truth(tree: dict[str, Any], known: set[str]) -> bool:
    """The condition as a reader understands it."""
    if "all" in tree:
        return all(truth(t, known) for t in tree["all"])
    if "any" in tree:
        return any(truth(t, known) for t in tree["any"])
    return not truth(tree["not"], known) if "not" in tree else next(iter(tree.values())) in known


@given(TREES)
def test_a_tree_holds_as_it_reads(tree: dict[str, Any]) -> None:
    """All, any and not over single tests, in every state of what is known."""
    names = ["dark", "alone", "it"]
    for state in product((False, True), repeat=3):
        known = {n for n, there in zip(names, state, strict=True) if there}
        held = When.model_validate(tree).holds(lambda leaf, known=known: (leaf.flag or leaf.answered) in known)
        assert truth(tree, known) == held


@pytest.mark.parametrize("written", [
    {}, {"flag": "dark", "symptom": "gaps"}, {"result": "value"}, {"result": "value", "below": "3 in", "above": "2 in"},
    {"reading": "tape", "below": "3 in"}, {"answer": "look"}, {"call": "answers", "is": "3"}, {"belief": "worn"},
    {"all": [{"flag": "dark"}], "result": "value", "below": "3 in"}, {"below": "3 in"},
])
def test_half_a_condition_is_refused(written: dict[str, Any]) -> None:
    """Two heads, no test, or two tests of one result are slips of the pen."""
    with pytest.raises(ValidationError):
        When.model_validate(written)


def test_limits_are_read_when_loaded() -> None:
    """A limit in place is a number in SI once loaded; a plain number stands for shares, ratios and counts."""
    when = When.model_validate({"result": "value", "between": [{"value": "1 in"}, {"value": "2 in"}]})
    assert [0.0254, 0.0508] == pytest.approx([b.si for b in when.bounds if not isinstance(b, str)])
    plain = When.model_validate({"call": "answers", "above": 3}).bounds[0]
    assert not isinstance(plain, str)
    assert 3.0 == plain.si
    with pytest.raises(ValidationError, match="not a known unit"):
        When.model_validate({"result": "value", "above": {"value": "3 furlongs"}})


def reading(tiny: Tiny, compute: Any, *tests: dict[str, Any]) -> list[str]:
    """Make the check of alpha a reading with these outcomes, and return what loading finds."""
    good = {**tiny.check["outcomes"]["good"], "otherwise": True}
    bad = {f"bad{i}": {"says": f"bad {i}", "when": when} for i, when in enumerate(tests)}
    tiny.check.update(takes={"kind": "positions", "quantity": "position"}, compute=compute,
                      outcomes={**bad, "good": good})
    tiny.alpha["shows"] = {"alpha_look": {"good": "rarely"}}
    return [p.what for p in read([tiny.write()])[1]]


def test_a_check_may_name_several_analyses(tiny: Tiny) -> None:
    """Results of any of them may be tested; what no analysis is called, and results given twice, are refused."""
    odd_hole = {"result": "kind", "is": "plugged"}
    few = {"result": "misses", "below": {"value": "3 percent"}}
    assert [] == reading(tiny, ["spacing", "rhythm"], odd_hole, few)
    assert ["spacing gives no result 'kind'."] == reading(tiny, "spacing", odd_hole)
    assert ["'rythm' is no known analysis."] == reading(tiny, ["spacing", "rythm"], few)
    assert any("Two of these analyses give" in p for p in reading(tiny, ["spacing", "spacing"], few))


def test_an_outcome_tests_its_own_reading_and_a_rule_names_one(tiny: Tiny) -> None:
    """The language is one; what a condition may be about depends on where it stands."""
    assert ["An outcome tests results of its own reading only."] == reading(tiny, "spacing", {"flag": "dark"})
    tiny.rules = [{"id": "odd", "when": {"result": "misses", "below": "3 percent"}, "then": {"warns": "Odd."},
                   "because": "It is odd.", "source": "common_practice"}]
    assert "misses of which reading?" in reading(tiny, "spacing")


def test_between_in_a_rule(tiny: Tiny) -> None:
    """A rule that waits for a result between two limits fires inside and not outside."""
    between = [{"value": "3 percent"}, {"value": "6 percent"}]
    tiny.rules = [{"id": "odd", "when": {"reading": "alpha_look", "result": "misses", "between": between},
                   "then": {"warns": "Odd."}, "because": "It is odd.", "source": "common_practice"}]
    reading(tiny, "spacing")
    knowledge, _ = read([tiny.folder])
    assert isinstance(knowledge, Knowledge)
    clause, = clauses(knowledge, layers(knowledge.rules.values()))
    key = clause.literals[0].key
    fires = [all(x.holds({}, {key: (share,)}) for x in clause.literals) for share in (0.02, 0.05, 0.07)]
    assert [False, True, False] == fires


def test_a_source_may_stand_beside_a_figure(tiny: Tiny) -> None:
    """Minutes, repairs, outcomes and limits may name where they come from; unknown keys are found there."""
    tiny.check["minutes"]["source"] = "P1"
    tiny.alpha["repair"]["source"] = ["P1"]
    assert [] == [p.what for p in read([tiny.write()])[1]]
    tiny.check["outcomes"]["bad"]["source"] = "P7"
    problem, = read([tiny.write()])[1]
    assert "'P7' is no known source." == problem.what
    assert "P7" in (tiny.folder / "checks" / "all.yaml").read_text(encoding="utf-8").splitlines()[problem.line - 1]
