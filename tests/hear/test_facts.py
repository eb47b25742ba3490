"""Facts heard: numbers for what they are told for, slots, danger first, and nothing that nobody said."""

from __future__ import annotations

import pytest

from diag.ask.intake import accept_facts
from diag.call.desk import Desk
from diag.hear.complaint import Listener, Match, listener
from diag.hear.facts import FactFound
from diag.hear.numbers import MACHINE_ROWS, OTHER_ROW, ROW
from diag.hear.said import read
from diag.hear.told import numbers_told, slots_told
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine


@pytest.fixture(scope="module")
def heard(whole: Knowledge) -> Listener:
    """The knowledge as shipped, ready for hearing."""
    return listener(whole)


def facts(found: Match, kind: str) -> list[FactFound]:
    """Return the facts of one kind."""
    return [f for f in found.facts if f.kind == kind]


@pytest.mark.parametrize(("text", "rows"), [
    ("14 flatlined. dug 20 ft nothin there. 13 n 15 fine", "14"),
    ("theres beans laying on top of the ground behind 30", "30"),
    ("rows 3 to 5 dead", "3-5"),
    ("rows 5 to 8 plant nothing", "5-8"),
])
def test_rows_are_heard_without_the_word_too(heard: Listener, text: str, rows: str) -> None:
    """A row that is only called by its number is a row."""
    assert rows in [f.value for f in facts(heard.match(text), "rows")]


@pytest.mark.parametrize(("text", "values"), [
    ("Unfolded it, the whole right wing is lazy on air. vacuum 9 and the left 16.", {"9 inH2O", "16 inH2O"}),
    ("Cold mornings the vac shows 14, I ask for 18.", {"14 inH2O", "18 inH2O"}),
    ("Inner 8 rows vacuum 5.0 kPa. Outer four 3.1.", {"5.0 kPa", "3.1 kPa"}),
])
def test_figures_of_one_kind_are_all_heard(heard: Listener, text: str, values: set[str]) -> None:
    """A figure beside others of its kind needs neither name nor unit of its own."""
    found = {f.value for f in heard.match(text).facts if f.kind.startswith("vacuum")}
    assert values <= found


DANGER = [
    ("my hired man is pinned under the wing", "injured"), ("my brother's bleeding, row 3 skips", "injured"),
    ("Dad's hand got caught in the meter drive", "injured"), ("somebody got hurt", "injured"),
    ("hydraulic oil went through my skin", "oil_through_skin"), ("pinhole leak went in my finger", "oil_through_skin"),
    ("the raised wing keeps sagging and I am under it", "structure_broken"),
    ("ammonia got in his eyes", "nh3_on_person"),
    ("the marker touched a power line", "line_contact"), ("bar hit the wires and it's sparking", "line_contact"),
]


@pytest.mark.parametrize(("text", "flag"), DANGER)
def test_danger_is_heard_first_and_ticked(heard: Listener, text: str, flag: str) -> None:
    """Whatever else is said, danger is ticked by itself and raises its flag."""
    found = heard.match(text)
    assert flag in {o.value for f in found.danger for o in f.offers}
    assert all(f.ticked for f in found.danger)


@pytest.mark.parametrize("text", [
    "nobody hurt, what's an estimator cost", "does that hurt anything", "I dug till my fingers hurt",
    "finger meters, row 3", "fan noise up and down like an ambulance", "more beans never hurt nobody",
    "pinned the marker up", "three fingers wide",
])
def test_everyday_words_are_no_danger(heard: Listener, text: str) -> None:
    """Fingers, hurting and ambulances in passing raise nothing."""
    assert () == heard.match(text).danger


EVERYDAY = [
    "thanks for calling me back", "we had a nice evening", "my wife is at church", "I will send the invoice",
    "interest rates are up", "the dog got out again", "see you on Sunday", "it rained all night in town",
    "what time do you open", "the kids are back at school", "he left at noon", "prices went up by ten percent",
]


@pytest.mark.parametrize("text", EVERYDAY)
def test_everyday_sentences_tick_nothing(heard: Listener, text: str) -> None:
    """Talk about other things ticks neither a symptom nor a fact."""
    found = heard.match(text)
    assert ((), []) == (found.ticked, [f for f in found.facts if f.ticked])


def test_numbers_get_the_labels_that_the_hand_told(whole: Knowledge) -> None:
    """Row in trouble, partner row, size of the planter and figure, each by place."""
    told = {"rows": "7", "of": 12, "figures": [{"what": "vacuum", "value": "nine and a half", "role": "read"}]}
    words = read("row 7 of twelve pulls nine and a half, swapped with row 8", whole.lexicon).words
    found = numbers_told(words, told, whole.lexicon)
    assert [ROW, MACHINE_ROWS, "vacuum", OTHER_ROW] == list(found.values())


def test_slots_told() -> None:
    """Ground, screen, plants up and all rows, as the hand told them."""
    assert {"ground bad", "screen good", "up true"} == slots_told({"ground": "bad", "screen": "good", "up": True})
    assert {"rows all"} == slots_told({"rows": "every row"})
    assert set() == slots_told({"rows": "all but 4"})


def test_figures_told_are_kept_in_the_callers_words(whole: Knowledge) -> None:
    """A reading that no field holds is recorded as told, once, with the words; nothing is recorded for none."""
    call = Desk(Engine(whole)).new_call("phone")
    before = len(call.events)
    assert [] == accept_facts(call, [])
    told = [f for f in listener(whole).match("vacuum 18 inches, row 3 skips").facts if f.kind == "vacuum"]
    (event,) = accept_facts(call, told)
    assert "note" == event.kind
    assert before + 1 == len(call.events)
    assert 'vacuum "18 inches"' in "".join(str(s) for s in call.sealed)


@pytest.mark.parametrize(("text", "denied"), [
    ("not rows 3 to 6, only 9", True),
    ("it skips, but not on row 7", True),
    ("not only row 7 skips", False),
    ("row 7 does not drop", False),
])
def test_rows_that_it_is_not_are_no_fact(heard: Listener, text: str, denied: bool) -> None:
    """Rows named as those that are right are not taken as rows in trouble."""
    told = [f.value for f in facts(heard.match(text), "rows")]
    assert denied == (not {"3-6", "7"} & set(told))
