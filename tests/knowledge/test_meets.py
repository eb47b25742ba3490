"""Which entries can meet on one machine."""

from __future__ import annotations

from typing import Any

from diag.knowledge.lint.meets import can_meet
from diag.knowledge.machines import Applies


def bound(**axes: Any) -> Applies:
    """What an entry is bound to."""
    return Applies.model_validate(axes)


def test_unbound_meets_everything() -> None:
    """An entry for all machines meets any other."""
    assert can_meet(bound(), bound(meter=["flat"]))


def test_values_of_an_axis_must_overlap() -> None:
    """One value in common is enough, none is not."""
    assert can_meet(bound(meter=["flat", "celled"]), bound(meter=["celled", "bowl"]))
    assert not can_meet(bound(meter=["flat"]), bound(meter=["bowl"]))


def test_different_axes_do_not_clash() -> None:
    """A meter and a drive say nothing about one another."""
    assert can_meet(bound(meter=["flat"]), bound(drive=["chain"]))


def test_any_needs_one_alternative_that_fits() -> None:
    """`any` is or across axes, together with the axes that always bind."""
    either = bound(any=[{"drive": ["electric"]}, {"delivery": ["brush_belt"]}])
    assert can_meet(either, bound(drive=["chain"]))
    assert not can_meet(either, bound(drive=["chain"], delivery=["tube"]))
    assert not can_meet(bound(meter=["flat"], any=[{"meter": ["bowl"]}]))


def test_three_may_clash_although_each_two_meet() -> None:
    """Overlap pair by pair is not enough: all must leave a value."""
    one, two, three = (bound(meter=m) for m in (["flat", "celled"], ["celled", "bowl"], ["bowl", "flat"]))
    assert can_meet(one, two)
    assert can_meet(two, three)
    assert not can_meet(one, two, three)
