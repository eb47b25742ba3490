"""Text cut to the room it has."""

from __future__ import annotations

import pytest

from diag.tui.safe import fit_echo

STEP = "Vacuum lowered by one step, doubles counted again"


@pytest.mark.parametrize(("text", "width", "shown"), [
    (f"{STEP}: doubles come down", 50, "Vacuum lowered by one step, d..: doubles come down"),
    (f"{STEP}: doubles come down", 90, f"{STEP}: doubles come down"),
    ("undone: nothing", 50, "undone: nothing"),
    (STEP, 20, "Vacuum lowered by.."),
    (f"Words: {'a' * 60}", 20, "Words: aaaaaaaaaaa.."),
])
def test_an_echo_keeps_what_was_answered(text: str, width: int, shown: str) -> None:
    """Of "question: answer" the question is shortened; what has no answer, or too long a one, is cut at its end."""
    assert shown == fit_echo(text, width)
