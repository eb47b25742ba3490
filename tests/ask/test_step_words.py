"""What was recorded is told as a person would say it: no names of the program, nothing cut."""

from __future__ import annotations

from diag.call.desk import CallDesk, Desk
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.say.steps import step_texts

LONG = "the left marker arm hung up twice and then let go " * 4


def recorded(whole: Knowledge) -> CallDesk:
    """Return a call with something of most kinds."""
    call = Desk(Engine(whole)).new_call("phone")
    call.set_machine({"rows": 12, "axes": {"crop": "corn"}, "book": {"vacuum_set": {"value": "20", "unit": "inH2O"}}})
    call.set_situation({"rows": [5, 6, 7, 8], "since": "since Saturday", "flags": [], "crop": "corn"})
    call.record("waiting", {"for": "part"})
    call.record("note", {}, {"text": LONG})
    call.record("swap", {"piece": "meter", "from_row": 6, "to_row": "spare"})
    return call


def test_every_step_is_told_in_words(whole: Knowledge) -> None:
    """Machine, place, waiting and swap read as said; a name of the program shows nowhere."""
    told = [text for _, text in step_texts(recorded(whole))]
    assert told[1:] == [
        "machine: 12 rows; corn; vacuum set 20 inH2O",
        "told: rows 5-8; nothing special about the place; corn; since Saturday",
        "waiting for a part", f"noted: {LONG}", "swapped: the meter of row 6 and the shelf",
    ]
    assert not any("_" in text for text in told)
