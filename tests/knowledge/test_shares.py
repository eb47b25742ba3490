"""Outcome tables worked out by hand from the rules: base shares, marks below and above 1, room, floor."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.knowledge.model import Check
from diag.knowledge.shares import base_shares, filled, marked, outcome_shares
from diag.knowledge.vocabulary import Mark, Settings

SETTINGS = Settings.model_construct(usual=0.8, floor=0.003, positive_room=0.97)
MARKS = {
    name: Mark(name=name, ratio=ratio, label=name)
    for name, ratio in (("confirms", 20), ("supports_strongly", 5), ("supports", 2), ("weakens", 0.5),
                        ("weakens_strongly", 0.2), ("rules_out", 0.02))
}


def check(**outcomes: dict[str, Any]) -> Check:
    """A check with these outcomes and nothing else of interest."""
    return Check.model_validate({
        "id": "c", "asks": "a", "steps": [{"state": "talk", "do": "ask"}], "hazards": [], "takes": "choice",
        "minutes": {"desk": 1}, "who": "grower", "expected": "e", "source": ["common_practice"],
        "outcomes": {name: {"says": name, **fields} for name, fields in outcomes.items()},
    })


def shares(c: Check, cause: str = "a", subsystem: str = "g") -> dict[str, float]:
    """The table row of a cause, rounded for comparison by hand."""
    return {o: round(q, 6) for o, q in outcome_shares(c, cause, subsystem, MARKS, SETTINGS).items()}


def test_base_without_normal_is_even() -> None:
    """Three outcomes of which none is normal are equally likely."""
    base = base_shares(check(x={}, y={}, z={}), SETTINGS)
    assert {"x": 1 / 3, "y": 1 / 3, "z": 1 / 3} == pytest.approx(base)


def test_base_with_normal_takes_the_setting_and_its_own() -> None:
    """The normal outcome has 0.80 by default or its `usual`; the others share the rest."""
    plain = check(n={"normal": True}, x={}, y={})
    assert {"n": 0.8, "x": 0.1, "y": 0.1} == pytest.approx(base_shares(plain, SETTINGS))
    mixed = check(n={"normal": True, "usual": 0.5}, x={"share": 0.1}, y={}, z={})
    assert {"n": 0.5, "x": 0.1, "y": 0.2, "z": 0.2} == pytest.approx(base_shares(mixed, SETTINGS))


def test_base_with_shares_that_do_not_sum_to_one() -> None:
    """Shares given for every outcome are brought to 1 in proportion."""
    both = check(x={"share": 0.2}, y={"share": 0.6})
    assert {"x": 0.25, "y": 0.75} == pytest.approx(base_shares(both, SETTINGS))


def test_unmarked_cause_sees_the_base() -> None:
    """A check that says nothing about a cause shows it what it shows everybody."""
    c = check(n={"normal": True, "marks": {"rules_out": ["b"]}}, x={"marks": {"confirms": ["b"]}})
    assert {"n": 0.8, "x": 0.2} == shares(c)
    assert not marked(c, "a", "g")


def test_positive_mark_with_room_is_kept_and_the_rest_goes_to_the_unmarked() -> None:
    """Base .1 supported (2) gives .2; the remaining .8 goes to n and y as 8 to 1."""
    c = check(n={"normal": True}, x={"marks": {"supports": ["a"]}}, y={})
    assert {"n": round(0.8 * 8 / 9, 6), "x": 0.2, "y": round(0.8 / 9, 6)} == shares(c)


def test_positive_marks_fill_at_most_ninety_seven_hundredths_of_what_the_negatives_leave() -> None:
    """Base .1 confirmed (20) wants 2.0 but gets .97 x (1 - .8 x .02); the negative is exact."""
    c = check(n={"normal": True, "marks": {"rules_out": ["a"]}}, x={"marks": {"confirms": ["a"]}}, y={})
    left = 1 - 0.016
    assert {"n": 0.016, "x": round(0.97 * left, 6), "y": round(0.03 * left, 6)} == shares(c)


def test_positive_marks_are_scaled_alike() -> None:
    """Bases .1 and .1, ratios 20 and 5, keep their 4 to 1 within the room."""
    c = check(n={"normal": True}, x={"marks": {"confirms": ["a"]}}, y={"marks": {"supports_strongly": ["a"]}})
    assert {"n": 0.03, "x": 0.776, "y": 0.194} == shares(c)


def test_without_unmarked_outcomes_the_positive_ones_take_all() -> None:
    """Two outcomes, one ruled out and one confirmed: .01 and .99 from even bases."""
    c = check(moves={"marks": {"confirms": ["a"]}}, stays={"marks": {"rules_out": ["a"]}})
    assert {"moves": 0.99, "stays": 0.01} == shares(c)


def test_weak_positive_mark_takes_all_that_is_left_when_nothing_else_is_unmarked() -> None:
    """A weakened normal outcome pushes what it loses to the only other one."""
    c = check(n={"normal": True, "marks": {"weakens": ["a"]}}, x={"marks": {"supports": ["a"]}})
    assert {"n": 0.4, "x": 0.6} == shares(c)


def test_negative_mark_alone_frees_the_others_in_proportion() -> None:
    """Base .8 weakened strongly to .16 leaves .84 for two equal others."""
    c = check(n={"normal": True, "marks": {"weakens_strongly": ["a"]}}, x={}, y={})
    assert {"n": 0.16, "x": 0.42, "y": 0.42} == shares(c)


def test_floor_lifts_and_the_unmarked_pay() -> None:
    """Base .1 ruled out would be .002; it is lifted to .003 and the others give the thousandth."""
    c = check(n={"normal": True}, x={"marks": {"rules_out": ["a"]}}, y={})
    row = outcome_shares(c, "a", "g", MARKS, SETTINGS)
    assert 0.003 == row["x"]
    assert 8.0 == pytest.approx(row["n"] / row["y"])
    assert 1.0 == pytest.approx(sum(row.values()))


def test_cause_named_itself_overrides_its_group_in_that_outcome_only() -> None:
    """`a` is spared where it is named and follows its group elsewhere."""
    c = check(
        n={"normal": True, "marks": {"rules_out": ["@g"], "weakens": ["a"]}},
        x={"marks": {"confirms": ["@g"]}},
    )
    assert {"n": 0.4, "x": 0.6} == shares(c)
    assert {"n": 0.016, "x": 0.984} == shares(c, "b")
    assert marked(c, "b", "g")
    assert not marked(c, "b", "h")


_ROW = st.integers(2, 9).flatmap(
    lambda n: st.tuples(
        st.lists(st.floats(0.01, 1), min_size=n, max_size=n),
        st.lists(st.sampled_from([0.02, 0.2, 0.5, 1.0, 2.0, 5.0, 20.0]), min_size=n, max_size=n),
    )
)


@given(_ROW)
def test_every_row_is_a_table(row: tuple[list[float], list[float]]) -> None:
    """Shares sum to 1 and stay above the floor; marks below 1 are kept as far as the floor allows."""
    raw, ratios = row
    base = tuple(b / sum(raw) for b in raw)
    q = filled(base, tuple(ratios), 0.003, 0.97)
    assert 1.0 == pytest.approx(sum(q))
    assert min(q) >= 0.003 - 1e-15
    if any(r >= 1 for r in ratios):
        for b, r, share in zip(base, ratios, q, strict=True):
            if r < 1:
                assert max(b * r, 0.003) == pytest.approx(share)
