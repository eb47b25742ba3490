"""Outcome tables worked out by hand: what a cause shows, what its attributes tell, what a sound machine brings."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.knowledge.load import expand
from diag.knowledge.model import Cause, Check
from diag.knowledge.shares import base_shares, filled, outcome_shares, told
from diag.knowledge.vocabulary import Likelihood, Settings

SETTINGS = Settings.model_construct(usual=0.8, floor=0.003)
WORDS = {
    name: Likelihood(name=name, chance=chance, label=name)
    for name, chance in (("almost_always", 0.95), ("usually", 0.8), ("often", 0.5), ("sometimes", 0.2))
}


def check(tells: list[dict[str, Any]] | None = None, **outcomes: dict[str, Any]) -> Check:
    """A check with these outcomes and nothing else of interest."""
    return Check.model_validate({
        "id": "c", "asks": "a", "steps": [{"state": "talk", "do": "ask"}], "hazards": [], "takes": "choice",
        "minutes": {"desk": 1}, "who": "grower", "expected": "e", "source": ["common_practice"],
        "outcomes": {name: {"says": name, **fields} for name, fields in outcomes.items()}, "tells": tells or [],
    })


def cause(**fields: Any) -> Cause:
    """A cause with these fields and nothing else of interest."""
    return Cause.model_validate({
        "id": "a", "label": "a", "subsystem": "g", "per_mille": 1, "kind": "wear", "pattern": "any",
        "symptoms": {"s": "often"}, "mechanism": "m", "repair": {"do": "mend", "minutes": 1, "by": "grower"},
        "leaning": "wear", "prevention": "none", "season": "any", "source": ["estimate"], **fields,
    })


def shares(c: Check, of: Cause) -> dict[str, float]:
    """The table row of a cause, rounded for comparison by hand."""
    return {o: round(q, 6) for o, q in outcome_shares(c, of, WORDS, SETTINGS).items()}


def test_base_without_normal_is_even() -> None:
    """Three outcomes of which none is normal are equally likely."""
    base = base_shares(check(x={}, y={}, z={}), SETTINGS)
    assert {"x": 1 / 3, "y": 1 / 3, "z": 1 / 3} == pytest.approx(base)


def test_base_with_normal_takes_the_setting_and_its_own() -> None:
    """The normal outcome has the setting by default or its `usual`; the others share the rest."""
    plain = check(n={"normal": True}, x={}, y={})
    assert {"n": 0.8, "x": 0.1, "y": 0.1} == pytest.approx(base_shares(plain, SETTINGS))
    mixed = check(n={"normal": True, "usual": 0.5}, x={"share": 0.1}, y={}, z={})
    assert {"n": 0.5, "x": 0.1, "y": 0.2, "z": 0.2} == pytest.approx(base_shares(mixed, SETTINGS))


def test_base_with_shares_that_do_not_sum_to_one() -> None:
    """Shares given for every outcome are brought to 1 in proportion."""
    both = check(x={"share": 0.2}, y={"share": 0.6})
    assert {"x": 0.25, "y": 0.75} == pytest.approx(base_shares(both, SETTINGS))


def test_a_cause_that_nothing_is_told_of_sees_a_sound_machine() -> None:
    """Neither the cause nor its attributes speak: the base, and nothing told."""
    c = check(n={"normal": True}, x={}, tells=[{"rows": "all", "shows": {"x": "usually"}}])
    assert {"n": 0.8, "x": 0.2} == shares(c, cause(rows="one"))
    assert told(c, cause(rows="one")) is None


def test_told_chances_hold_and_the_rest_goes_to_the_untold_as_on_a_sound_machine() -> None:
    """x often (.5): the other half goes to n and y as 8 to 1."""
    c = check(n={"normal": True}, x={}, y={})
    row = shares(c, cause(shows={"c": {"x": "often"}}))
    assert {"n": round(0.5 * 8 / 9, 6), "x": 0.5, "y": round(0.5 / 9, 6)} == row


def test_words_and_numbers_mean_the_same() -> None:
    """A number stands where a source gives one; a word is its chance."""
    c = check(n={"normal": True}, x={})
    assert shares(c, cause(shows={"c": {"x": 0.95}})) == shares(c, cause(shows={"c": {"x": "almost_always"}}))


def test_chances_above_one_together_are_brought_to_one_alike() -> None:
    """Usually and sometimes and sometimes, 1.2 together, keep their 4 to 1 to 1."""
    c = check(n={"normal": True}, x={}, y={})
    row = outcome_shares(c, cause(shows={"c": {"x": "usually", "y": "sometimes", "n": "sometimes"}}), WORDS, SETTINGS)
    assert {"n": 1 / 6, "x": 4 / 6, "y": 1 / 6} == pytest.approx(row)


def test_all_outcomes_told_too_low_are_brought_to_one() -> None:
    """Where nothing is left untold the told ones take all."""
    c = check(moves={}, stays={})
    row = outcome_shares(c, cause(shows={"c": {"moves": "often", "stays": 0.3}}), WORDS, SETTINGS)
    assert {"moves": 0.625, "stays": 0.375} == pytest.approx(row)


def test_floor_lifts_and_the_others_pay() -> None:
    """A chance of 0 is lifted to .003, and the others give it in proportion."""
    c = check(n={"normal": True}, x={}, y={})
    row = outcome_shares(c, cause(shows={"c": {"x": 0}}), WORDS, SETTINGS)
    assert 0.003 == row["x"]
    assert 8.0 == pytest.approx(row["n"] / row["y"])
    assert 1.0 == pytest.approx(sum(row.values()))


def test_the_first_line_that_fits_holds() -> None:
    """All attributes of a line must be the cause's; values within one are or."""
    c = check(
        n={"normal": True}, x={}, y={},
        tells=[{"rows": "all", "follows": ["disc", "meter"], "shows": {"x": "usually"}},
               {"rows": ["all", "some"], "shows": {"y": "usually"}}],
    )
    assert 0.8 == shares(c, cause(rows="all", follows="meter"))["x"]
    assert 0.8 == shares(c, cause(rows="all", follows="fan"))["y"]
    assert 0.8 == shares(c, cause(rows="some"))["y"]
    assert told(c, cause()) is None


def test_what_a_cause_shows_stands_above_its_attributes() -> None:
    """`shows` of the cause replaces the line of the check whole."""
    c = check(n={"normal": True}, x={}, y={}, tells=[{"rows": "all", "shows": {"x": "usually"}}])
    assert {"y": 0.5} == told(c, cause(rows="all", shows={"c": {"y": 0.5}}))


def test_items_of_a_list_are_told_one_by_one() -> None:
    """Of a `several` check a cause tells the chance of each item's yes; other items follow attributes or the base."""
    listed = check().model_copy(update={"items": {n: check(x={}).outcomes["x"] for n in ("new", "old", "odd")}})
    listed = listed.model_copy(update={"takes": listed.takes.model_copy(update={"kind": "several"}), "tells": check(
        tells=[{"rows": "all", "shows": {"old": "often"}}]).tells})
    asked = dict(expand(listed))
    one = cause(rows="all", shows={"c": {"new": "usually"}})
    assert [{"yes": "usually"}, {"yes": "often"}, None] == [told(asked[f"c.{n}"], one) for n in ("new", "old", "odd")]


_ROW = st.integers(2, 9).flatmap(
    lambda n: st.tuples(
        st.lists(st.floats(0.01, 1), min_size=n, max_size=n),
        st.lists(st.one_of(st.none(), st.floats(0, 1)), min_size=n, max_size=n),
    )
)


@given(_ROW)
def test_every_row_is_a_table(row: tuple[list[float], list[float | None]]) -> None:
    """Shares sum to 1, stay above the floor, and told chances keep their proportions as far as it allows."""
    raw, given_chances = row
    base = tuple(b / sum(raw) for b in raw)
    q = filled(base, tuple(given_chances), 0.003)
    assert 1.0 == pytest.approx(sum(q))
    assert min(q) >= 0.003 - 1e-12
    held = [(p, share) for p, share in zip(given_chances, q, strict=True) if p is not None and share > 0.0031]
    for (p, share), (p2, share2) in pairwise(held):
        assert p * share2 == pytest.approx(p2 * share)
