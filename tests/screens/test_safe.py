"""Text cut to the room it has."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.tui.safe import fit_echo
from diag.tui.screens.page import shorter

STEP = "Vacuum lowered by one step, doubles counted again"


@pytest.mark.parametrize(("text", "width", "shown"), [
    (f"{STEP}: doubles come down", 50, "Vacuum lowered by one step, d..: doubles come down"),
    (f"{STEP}: doubles come down", 90, f"{STEP}: doubles come down"),
    ("Turning torque of the meter against its neighbours: rows 2 to 4: 14, 34, 15 lbf in", 60,
     "Turning torque of the meter against its..: 14, 34, 15 lbf in"),
    (f"Torque: {'rows 2 to 9, 34 and 35 ' * 4}", 40, "Torque: rows 2 to 9, 34 and 35 rows 2.."),
    (f"{STEP}: {'rows 2 to 9, 34 and 35 ' * 4}", 40, "Vacuum lowe..: rows 2 to 9, 34 and 35.."),
    ('said to the caller, "Turning driveline: stay away from it, shielded or not."', 50,
     'said to the caller, "Turning driveline: stay awa..'),
    ("undone: nothing", 50, "undone: nothing"),
    (STEP, 20, "Vacuum lowered by.."),
    (f"Words: {'a' * 60}", 20, "Words: aaaaaaaaaaa.."),
])
def test_an_echo_keeps_what_was_answered(text: str, width: int, shown: str) -> None:
    """Of "question: answer" the question is shortened; what has no answer, or too long a one, is cut at its end."""
    assert shown == fit_echo(text, width)


@given(st.lists(st.text("abcd ", min_size=1, max_size=20), min_size=1, max_size=5), st.integers(12, 60))
def test_a_top_line_loses_whole_parts_from_its_middle(parts: list[str], width: int) -> None:
    """The first and the last part stay; what stays fits, or only these two are left."""
    kept = shorter(" · ".join(parts), width).split(" · ")
    assert (kept[0], kept[-1]) == (parts[0], parts[-1])
    assert set(kept) <= set(parts)
    assert len(" · ".join(kept)) <= width or len(kept) <= 2
