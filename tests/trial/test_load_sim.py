"""The load list against other ways of loading, over simulated calls that end in a drive-out."""

from __future__ import annotations

import pytest

from diag.knowledge.base import Knowledge
from diag.trial.load_sim import Loaded, load_trial, repair_needs

CALLS = 30


@pytest.fixture(scope="module")
def ways(whole: Knowledge) -> dict[str, Loaded]:
    """One trial for all tests here."""
    return load_trial(whole, CALLS, seed=1)


def test_the_list_saves_second_trips(ways: dict[str, Loaded]) -> None:
    """Fewer second trips than loading for the first cause only, and far fewer than loading nothing."""
    assert ways["chosen"].second_trips < ways["first_cause"].second_trips < ways["nothing"].second_trips


def test_the_list_carries_less_than_everything(ways: dict[str, Loaded]) -> None:
    """At most a sixth more second trips than carrying everything, for half of its load."""
    assert ways["chosen"].carried < 0.6 * ways["everything"].carried
    assert ways["chosen"].second_trips <= ways["everything"].second_trips + 1 / 6


def test_the_list_costs_least_of_all(ways: dict[str, Loaded]) -> None:
    """Second trips and load together, in minutes: less than any of the other ways."""
    assert ways["chosen"].cost < min(w.cost for name, w in ways.items() if name != "chosen")


def test_the_same_seed_gives_the_same_figures(whole: Knowledge) -> None:
    """A trial repeats exactly, and another seed gives other calls."""
    assert load_trial(whole, 3, seed=5) == load_trial(whole, 3, seed=5)
    assert load_trial(whole, 3, seed=5) != load_trial(whole, 3, seed=6)


def test_needs_are_those_of_repair_and_proof(whole: Knowledge) -> None:
    """What a fault needs is read from its repair and its proof, less what is at hand."""
    needs = repair_needs(whole, ["seal_worn"])
    assert {("part", "seal"), ("tool", "new_part")} <= needs
    assert set() == {name for kind, name in needs if kind == "tool"} & set(whole.write_up.at_hand)
