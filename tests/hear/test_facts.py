"""Facts heard: numbers for what they are told for, slots, danger first, and nothing that nobody said."""

from __future__ import annotations

from dataclasses import astuple

import pytest

from diag.ask.intake import accept_facts
from diag.call.desk import Desk
from diag.figures.rows import parse_rows, to_stored
from diag.hear.complaint import Listener, Match, listener
from diag.hear.ear import Ear
from diag.hear.fact import FactFound
from diag.hear.numbers import MACHINE_ROWS, OTHER_ROW, ROW
from diag.hear.texts import Text
from diag.hear.told import lists_all, numbers_told, rows_told, slots_told
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


def test_a_role_behind_and_belongs_to_the_next_figure(heard: Listener) -> None:
    """Eleven is what row 7 reads, eighteen is what the others read."""
    found = heard.match("row 7 skips since Saturday, vacuum on it reads 11 and the others 18").facts
    assert {("vacuum", "11 inH2O"), ("vacuum_others", "18 inH2O")} == {
        (f.kind, f.value) for f in found if f.kind.startswith("vacuum")}


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
    found = numbers_told(Ear("row 7 of twelve pulls nine and a half, swapped with row 8", whole.lexicon), told)
    assert [ROW, MACHINE_ROWS, "vacuum", OTHER_ROW] == list(found.values())


def test_a_unit_said_stands_above_what_the_hand_told(whole: Knowledge) -> None:
    """A speed that the hand did not list is no nothing; the rest of a list is what the others of it are."""
    told = {"figures": [{"what": "count", "value": "34, 33"}]}
    found = numbers_told(Ear("at 5 mph I count 34, 33, 35", whole.lexicon), told)
    assert ["speed", "count", "count", "count"] == list(found.values())


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


RIGHT_ROWS = [
    # text, rows in trouble
    ("not rows 3 to 6, only row 9 skips", {9}),
    ("it skips, but not on row 7", set()),
    ("not only row 7 skips", {7}),
    ("row 7 does not drop", {7}),
    ("not row 7, row 8 skips", {8}),
    ("row 8 skips, row 7 doesn't", {8}),
    ("it isn't row 7, it is row 8 that skips", {8}),
    ("neither row 7 nor row 8, it is row 9 that skips", {9}),
    ("rows 1 to 4 are fine, row 5 doubles", {5}),
    ("row 5 doubles, rows 1-4 are perfect", {5}),
    ("rows 9 and 10 skip, row 11 is good", {9, 10}),
    ("row 12 is dead and row 13 plants fine", {12}),
    ("row 12 is dead, no trouble on row 13", {12}),
    ("row 3 skips, there is nothing wrong with row 4", {3}),
    ("row 7 is not fine", {7}),
    ("row 7 was fine, then it quit", {7}),
    ("row 7 is good for a while then quits", {7}),
    ("nothing wrong except row 7, it skips", {7}),
    ("all rows fine except row 7 which is dead", {7}),
    ("everything but row 3 is fine, it skips", {3}),
    ("row 7 seed everywhere, it doubles", {7}),
]


@pytest.mark.parametrize(("text", "rows"), RIGHT_ROWS)
def test_rows_that_it_is_not_are_no_fact(heard: Listener, text: str, rows: set[int]) -> None:
    """Rows named as right, or as those it is not, are not in trouble; a denial of something else takes none away."""
    told = [parse_rows(f.value, 24, {}, "rows") for f in facts(heard.match(text), "rows") if f.value[0].isdigit()]
    assert rows == {n for listed in told for n in to_stored(listed)}


@pytest.mark.parametrize(("text", "rows"), [
    ("everything but row 3 skips", "all but 3"), ("every row besides row 3 skips", "all but 3"),
])
def test_all_but_a_row_is_kept_so(heard: Listener, text: str, rows: str) -> None:
    """Where all others are in trouble, the row that is named is the good one."""
    assert rows in [f.value for f in facts(heard.match(text), "rows")]


PARTS = [
    ("row 7 dead, found chewed wires under the frame", ("wire_run_look", "bared")),
    ("there was a stone in the meter on row 4 and it doubles", ("meter_open_look", "string_or_stone")),
    ("tube plugged with mud on row 6", ("outlet_look", "plugged")),
    ("the chain came off on row 2 and it quit", ("shear_pin_look", "chain_or_idler_off")),
    ("the disc is cracked, row 5 skips", ("disc_edge_look", "cracked")),
    ("gauge wheels spin free on row 8, depth all over", ("gauge_wheel_by_hand", "spins_free")),
    ("swapped the meter with row 10, the trouble went with the meter, row 7 skips", ("meter_swap", "moves")),
]


@pytest.mark.parametrize(("text", "answer"), PARTS)
def test_a_part_seen_is_offered_as_the_answer_of_its_check(
    heard: Listener, text: str, answer: tuple[str, str]
) -> None:
    """What was seen waits for a person's tick: it is never taken over by itself."""
    told = [f for f in facts(heard.match(text), "part") if ("answer", *answer) in {astuple(o) for o in f.offers}]
    assert [False] == [f.ticked for f in told]


@pytest.mark.parametrize("text", ["I think there is a stone in the meter, row 3 skips", "must be chewed wires on 3"])
def test_a_part_only_blamed_is_kept_as_words(heard: Listener, text: str) -> None:
    """What the caller only thinks answers no check."""
    found = heard.match(text)
    assert [] == facts(found, "part")
    assert ["told"] == [o.slot for f in facts(found, "believed") for o in f.offers]


def test_a_part_that_is_denied_is_not_heard(heard: Listener) -> None:
    """"No stone in the meter" offers nothing."""
    assert [] == facts(heard.match("no stone in the meter, row 3 skips"), "part")


@pytest.mark.parametrize("text", ["left gauge says 9 inches, right gauge 16", "vacuum right side 16, left side 9"])
def test_a_reading_that_a_check_asks_for_is_its_answer(whole: Knowledge, text: str) -> None:
    """Both sides told are the answer of the check that asks for both, and it is not asked again."""
    call = Desk(Engine(whole)).new_call("phone")
    accept_facts(call, facts(listener(whole).match(text), "vacuum_measured"))
    (answer,) = call.state.answers
    assert "cab_vac_readout" == answer.check
    assert {"left": ("9", "inH2O"), "right": ("16", "inH2O")} == {
        place: (read["value"], read["unit"]) for place, read in (answer.values or {}).items()
    }
    assert "cab_vac_readout" not in {o.check for o in call.offers()}


@pytest.mark.parametrize("text", [
    "left gauge says 9 inches", "left gauge says 9 inches, right gauge 16, then the right gauge 14 inches",
])
def test_a_reading_that_is_not_all_a_check_asks_for_answers_nothing(whole: Knowledge, text: str) -> None:
    """One side alone, or a third figure beside them, is kept as told."""
    assert [] == facts(listener(whole).match(text), "vacuum_measured")


@pytest.mark.parametrize(("text", "kind", "value"), [
    ("rows 5 to 8 of 16 dead since we folded this morning, soybeans, electric drive, 5 mph", "crop", "soybean"),
    ("rows 5 to 8 of 16 dead since we folded this morning, soybeans, electric drive, 5 mph", "machine_rows", "16"),
    ("rows 5 to 8 of 16 dead since we folded this morning, soybeans, electric drive, 5 mph", "rows", "5-8"),
    ("rows 5 to 8 of 16 dead since we folded this morning, soybeans, electric drive, 5 mph", "speed", "5 mph"),
    ("row 7 skips, 12 rows, bulk tank, corn, flat disc", "machine", "one central tank"),
    ("row 7 skips, 12 rows, bulk tank, corn, flat disc", "machine_rows", "12"),
    ("row 7 skips since the seal was changed", "since", "since the seal was changed"),
])
def test_what_is_said_outright_goes_along(heard: Listener, text: str, kind: str, value: str) -> None:
    """An untouched intake keeps what the caller says in so many words."""
    assert value in [f.value for f in facts(heard.match(text), kind) if f.ticked]


@pytest.mark.parametrize("text", [
    "row 3 doubles since we went from corn to beans", "row 3 skips, he thinks it is corn, it is beans",
    "on the bean stubble row 3 skips", "no corn in row 3", "I can spin it with two fingers, row 3 takes a wrench",
])
def test_a_crop_or_part_in_passing_does_not_go_along(heard: Listener, text: str) -> None:
    """Two crops, stubble of the last one, a crop that is missing, fingers of a hand: nothing is ticked."""
    assert [] == [f for kind in ("crop", "machine") for f in facts(heard.match(text), kind) if f.ticked]


def test_so_many_of_so_many_is_one_fact(heard: Listener) -> None:
    """What was counted and of how many stand together, and no part of it is a row."""
    found = heard.match("dug behind row 7: 5 of 20 empty").facts
    assert ["5 of 20"] == [f.value for f in found if f.kind in ("count", "skips") and " of " in f.value]
    assert ["7"] == [f.value for f in found if f.kind == "rows"]


def test_two_speeds_stand_in_no_field(heard: Listener) -> None:
    """Which of them is driven nobody said; both are kept in the caller's words."""
    found = facts(heard.match("fine at 4 mph, terrible at 7 mph"), "speed")
    assert {"4 mph", "7 mph"} == {f.value for f in found}
    assert {"reading"} == {o.slot for f in found for o in f.offers}


@pytest.mark.parametrize(("told", "rows"), [
    ("7", {7}), ("5-8", {5, 6, 7, 8}), ("nine through twelve", {9, 10, 11, 12}), ("all but 4", {4}),
    ("row 2, then 5", {2, 5}), ("tenth", {10}), ("four rows", set()), ("one row", set()), ("middle eight", set()),
    ("all 8", set()), ("one of two measured", set()), ("four on the downhill side", set()),
])
def test_rows_told_are_numbers_of_rows(whole: Knowledge, told: str, rows: set[int]) -> None:
    """How many rows, and where they are, are no numbers of rows."""
    assert rows == rows_told(told, whole.lexicon)


def test_a_hand_that_lists_one_figure_of_a_kind_does_not_deny_others() -> None:
    """Only who lists two alike somewhere says with what is not listed that it tells nothing."""
    figure = {"what": "vacuum", "value": "11", "role": "read"}
    texts = [Text("a", ("x",), "all", {"figures": [figure, figure]}), Text("b", ("x",), "one", {"figures": [figure]})]
    assert {"all"} == lists_all(texts)
