"""The search finds by any word of the trade: the entry's own, another for the same thing, a unit, a wrong spelling."""

from __future__ import annotations

import pytest

from diag.ask.search import search_causes, search_checks, search_symptoms
from diag.knowledge.base import Knowledge


@pytest.mark.parametrize(("typed", "kept_as"), [
    ("population", "rate"), ("amps", "current"), ("rpm", "speed"), ("psi", "pressure"), ("ohms", "resistance"),
    ("blower", "fan"), ("monitor", "screen"), ("suction", "vacuum"), ("hydraulic", "oil"), ("knocker", "ejector"),
    ("vacuume", "vacuum"), ("eliminators", "eliminator"),
])
def test_a_technicians_word_finds_the_check(whole: Knowledge, typed: str, kept_as: str) -> None:
    """Among the first that are found, one is called by the word the knowledge keeps it under."""
    found = [whole.questions[k].asks.lower() for k in search_checks(whole, typed, 8)]
    assert any(kept_as in asks for asks in found), found


def test_the_words_themselves_come_before_others(whole: Knowledge) -> None:
    """What is called as it was typed stands first."""
    assert "gap" in whole.questions[search_checks(whole, "gap", 1)[0]].asks.lower()
    assert search_checks(whole, "gap nosuchword") == []
    assert set(search_checks(whole, "fan oil", 99)) <= set(search_checks(whole, "fan", 999))


def test_a_short_word_is_not_looked_for_inside_others(whole: Knowledge) -> None:
    """Amps are no clamps; a longer piece of a word still finds it."""
    found = search_symptoms(whole, "amps")
    for symptom in (whole.symptoms[s] for s in found):
        told = " ".join(("", symptom.label, *symptom.wordings)).lower()
        assert " amp" in told or " current" in told, symptom.id
    assert search_checks(whole, "inator", 1)


def test_every_word_to_search_by_finds_something(whole: Knowledge) -> None:
    """No word of the lexicon's search list is there for nothing."""
    assert whole.lexicon.searched
    for word in whole.lexicon.searched:
        assert search_checks(whole, word, 1), word


def test_causes_and_symptoms_are_found_alike(whole: Knowledge) -> None:
    """A word for the same thing finds them too; nothing typed lists all symptoms."""
    assert any("fan" in whole.causes[c].label.lower() for c in search_causes(whole, "blower"))
    assert search_symptoms(whole, "monitor")
    assert search_symptoms(whole, "", most=1000) == list(whole.symptoms)
