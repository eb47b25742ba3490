"""Words of the caller's own: which answer of a list they mean, and that none is guessed where it is not clear."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from diag.ask.reply import reply
from diag.ask.turn import Turn, turn
from diag.ask.wording import is_fine, meant
from diag.call.case_of import row_pattern
from diag.call.desk import CallDesk, Desk
from diag.errors import DiagError
from diag.figures.rows import parse_rows, show_rows
from diag.knowledge.base import Knowledge
from diag.knowledge.yamlfile import load_yaml
from diag.reason.judge import Engine
from diag.say.follows import Choice

CABLE = {"damaged": ["flat, cut or rubbed through"], "ok": ["round and whole"]}
DUG = {"none": ["no seed at all"], "thin": ["fewer seeds than in the row beside it"], "heap": ["a heap, then nothing"]}


@pytest.mark.parametrize(("said", "answers", "means"), [
    ("it is cut through", CABLE, ["damaged"]), ("it's cut", CABLE, ["damaged"]),
    ("the cable is flat", CABLE, ["damaged"]), ("yes it is flat", CABLE, ["damaged"]),
    ("it is squashed and cut through", CABLE, ["damaged"]), ("it is round", CABLE, ["ok"]),
    ("it is not cut", CABLE, []), ("pinched", CABLE, []), ("whatever", CABLE, []),
    ("no seed there, nothing at all", DUG, ["none"]), ("fewer than the neighbour", DUG, []), ("there is seed", DUG, []),
])
def test_words_of_the_callers_own(whole: Knowledge, said: str, answers: dict[str, list[str]], means: list[str]) -> None:
    """Filler is passed over, other words for a thing count, a denial is never taken for what it denies."""
    assert means == meant(whole.lexicon, said, answers, "Is the cable flat, cut or rubbed?")


def test_what_fits_two_answers_is_asked_back(whole: Knowledge) -> None:
    """Words that two answers share alike give both, so that it is asked which one."""
    answers = {"bad": ["both meters are bad now"], "good": ["both meters are good now"]}
    assert meant(whole.lexicon, "both meters now", answers) == ["bad", "good"]


def test_fine_is_fine(whole: Knowledge) -> None:
    """Words that only say that all is well; a denial is none of them."""
    told = {"it looks fine": True, "all good": True, "it is not ok": False, "fine dust": False, "": False}
    assert told == {said: is_fine(whole.lexicon, said) for said in told}


@pytest.mark.parametrize(("said", "means"), [
    ("he does not know", "not sure"), ("no idea", "not sure"), ("he does not", ""), ("yes, they do", "yes"),
    ("no they don't", "no"), ("yes and the seal is torn", ""),
])
def test_yes_no_and_not_known_in_a_sentence(whole: Knowledge, said: str, means: str) -> None:
    """A yes or no with no more than they do, and any way of not knowing."""
    call: CallDesk = Desk(Engine(whole, counter=True)).new_call("phone")
    key = next(k for k, c in whole.questions.items() if set(c.outcomes) == {"yes", "no"} and not c.yes and c.phone
               and not c.measured)
    found = reply(call, turn_about(call, key), said)
    told = found.picked[0] if len(found.picked) == 1 else "not sure" if "not sure" in " ".join(found.told) else ""
    assert means == (told if found.fits else "")


def test_other_words_are_read_as_what_they_stand_for(whole: Knowledge) -> None:
    """Each way to say an outcome leads to it and to no other of its check, whatever the other outcomes share."""
    call = Desk(Engine(whole, counter=True)).new_call("phone")
    said = [(key, outcome, way) for key, entry in whole.answers.items() for outcome, ways in entry.ways.items()
            for way in ways]
    found = {(key, outcome, way): reply(call, turn_about(call, key), way) for key, outcome, way in said}
    assert len(said) > 2000
    assert {} == {at: r.told for at, r in found.items() if r.picked != (at[1],) and "in trouble" not in r.told[0]}


def test_replies_of_another_hand(whole: Knowledge) -> None:
    """Of the replies that are taken at least nine in ten are right; what is not clear is asked back, not taken."""
    call = Desk(Engine(whole, counter=True)).new_call("phone")
    replies = load_yaml(Path(__file__).with_name("replies.yaml"), error=DiagError)[0]
    taken = [(r, found.picked) for r in replies if (found := reply(call, turn_about(call, r["id"]), r["said"])).fits]
    right = [r for r, picked in taken if picked == (r["outcome"],)]
    assert len(right) >= 70
    assert len(right) >= 0.88 * len(taken)


@pytest.mark.parametrize(("word", "fits"), [
    ("y", False), ("n", False), ("yes", False), ("al", False), ("con", True), ("constant", True),
])
def test_a_letter_is_no_word(whole: Knowledge, word: str, fits: bool) -> None:
    """The habit of y and Enter records nothing where yes means nothing; the beginning of a word needs three letters."""
    call = Desk(Engine(whole, counter=True)).new_call("phone")
    told = (Choice("constant", "all the time since yesterday"), Choice("off_and_on", "now and then, no order"))
    asked = replace(turn_about(call, next(iter(whole.checks))), kind="act", check=None, choices=told)
    assert fits == reply(call, asked, word).fits


def test_words_that_begin_two_answers_go_to_the_one_they_say(whole: Knowledge) -> None:
    """Shut slide is the slide that is shut, not the one that is half shut; an answer said whole needs no more."""
    call = Desk(Engine(whole, counter=True)).new_call("phone")
    told = (Choice("shut", "slide shut"), Choice("half", "slide shut half way by its catch"))
    asked = replace(turn_about(call, next(iter(whole.checks))), kind="act", check=None, choices=told)
    assert ("shut",) == reply(call, asked, "shut slide").picked
    answers = {"bad": ["not set"], "good": ["not set tight"]}
    assert ["bad"] == meant(whole.lexicon, "it is not set", answers)


def test_what_may_be_meant_is_named_and_not_taken(whole: Knowledge) -> None:
    """Words that are near an answer name it; figures that only name rows are passed over."""
    call = Desk(Engine(whole, counter=True)).new_call("phone")
    near = reply(call, turn_about(call, "hopper_look"), "the slide was moved")
    assert not near.fits
    assert "Perhaps 2 slide shut or half shut" in near.told[0]
    moved = reply(call, turn_about(call, "q_last_repair"), "swapped the meter with row 4 and it moved")
    assert ("part_moved_fault_moved",) == moved.picked


@pytest.mark.parametrize(("said", "rows", "pattern"), [
    ("rows 5 to 8", "5-8", "adjacent"), ("5-8", "5-8", "adjacent"), ("rows 5 6 7 8", "5-8", "adjacent"),
    ("just row 7", "7", "one"), ("the two outside rows", "1, 12", "some"), ("every row", "all", "all"),
    ("left half", "1-6", "section"), ("right half", "7-12", "section"),
    ("every other row", "2, 4, 6, 8, 10, 12", "alternate"),
])
def test_rows_are_taken_where_rows_are_asked_for(whole: Knowledge, said: str, rows: str, pattern: str) -> None:
    """Rows named at the question which rows are the call's from then on, and the question is answered."""
    call = Desk(Engine(whole, counter=True)).new_call("phone")
    call.set_machine({"rows": 12})
    key = next(k for k, c in whole.questions.items() if c.opening and c.reads == "rows")
    found = reply(call, turn_about(call, key), said)
    assert found.record is not None
    found.record(call)
    assert rows == show_rows(call.state.situation.rows or ())
    assert pattern == row_pattern(call.state)
    assert key not in [offer.check for offer in call.offers()]


def test_a_row_that_the_machine_lacks_is_said_so(whole: Knowledge) -> None:
    """Row 14 of 12 is no row; a lone number is a line of the list."""
    call = Desk(Engine(whole, counter=True)).new_call("phone")
    call.set_machine({"rows": 12})
    key = next(k for k, c in whole.questions.items() if c.opening and c.reads == "rows")
    assert "12 rows" in reply(call, turn_about(call, key), "rows 13 and 14").told[0]
    assert ("adjacent",) == reply(call, turn_about(call, key), "2").picked
    assert (7, 8, 9, 10, 11) == parse_rows("right half", 11)


def turn_about(call: CallDesk, key: str) -> Turn:
    """Return the question itself, past what is said before it."""
    check = call.engine.knowledge.questions[key]
    asked = turn(call, key, form=False)
    told = tuple(Choice(name, outcome.says) for name, outcome in check.outcomes.items())
    return replace(asked, kind="check", check=check, choices=told)
