"""How far an entry applies, given what is known of the machine."""

from __future__ import annotations

from itertools import product
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.knowledge.base import Knowledge
from diag.knowledge.machines import Applies
from diag.reason.axes import fit, open_axes


def chosen(values: list[str]) -> st.SearchStrategy[list[str]]:
    """Some of an axis's values."""
    return st.lists(st.sampled_from(values), min_size=1, unique=True)


METERS, DRIVES = ["flat", "celled", "finger"], ["chain", "electric"]
AXES = st.fixed_dictionaries({}, optional={"meter": chosen(METERS), "drive": chosen(DRIVES)})


@given(AXES, st.lists(AXES.filter(bool), max_size=3), st.sampled_from([None, *METERS]))
def test_share_is_that_of_the_machines_that_fit(whole: Knowledge, always: dict[str, Any], either: list[dict[str, Any]],
                                                meter: str | None) -> None:
    """Counting every kind of machine by its share gives the same, also where alternatives overlap."""
    applies = Applies.model_validate({**always, "any": either})
    shares = {a: {v.name: v.share for v in whole.axes[a].values} for a in ("meter", "drive")}
    if meter:
        shares["meter"] = {m: float(m == meter) for m in shares["meter"]}

    def fits(machine: dict[str, str]) -> bool:
        bound = all(machine[a] in v for a, v in always.items())
        return bound and (not either or any(all(machine[a] in v for a, v in e.items()) for e in either))

    counted = sum(shares["meter"][m] * shares["drive"][d] for m, d in product(shares["meter"], shares["drive"])
                  if fits({"meter": m, "drive": d}))
    assert fit(applies, {"meter": meter} if meter else {}, whole) == pytest.approx(counted)


def test_what_must_still_be_asked() -> None:
    """Axes that bind and are not known, each once."""
    applies = Applies.model_validate({"meter": ["flat"], "any": [{"drive": ["chain"]}, {"meter": ["flat"]}]})
    assert ("drive",) == open_axes(applies, {"meter": "flat"})
