"""Words of the caller's own: which answer of a list they mean, and that none is guessed where it is not clear."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diag.ask.reply import reply
from diag.ask.turn import Turn, turn
from diag.ask.wording import is_fine, meant
from diag.call.desk import CallDesk, Desk
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.say.follows import Choice

CABLE = {"damaged": "flat, cut or rubbed through", "ok": "round and whole"}
DUG = {"none": "no seed at all", "thin": "fewer seeds than in the row beside it", "heap": "a heap, then nothing"}


@pytest.mark.parametrize(("said", "answers", "means"), [
    ("it is cut through", CABLE, ["damaged"]), ("it's cut", CABLE, ["damaged"]),
    ("the cable is flat", CABLE, ["damaged"]), ("yes it is flat", CABLE, ["damaged"]),
    ("it is squashed and cut through", CABLE, ["damaged"]), ("it is round", CABLE, ["ok"]),
    ("it is not cut", CABLE, []), ("pinched", CABLE, []), ("whatever", CABLE, []),
    ("no seed there, nothing at all", DUG, ["none"]), ("fewer than the neighbour", DUG, ["thin"]),
    ("there is seed", DUG, []),
])
def test_words_of_the_callers_own(whole: Knowledge, said: str, answers: dict[str, str], means: list[str]) -> None:
    """Filler is passed over, other words for a thing count, a denial is never taken for what it denies."""
    assert means == meant(whole.lexicon, said, answers, "Is the cable flat, cut or rubbed?")


def test_what_fits_two_answers_is_asked_back(whole: Knowledge) -> None:
    """Words that two answers share alike give both, so that it is asked which one."""
    answers = {"bad": "both meters are bad now", "good": "both meters are good now"}
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


def turn_about(call: CallDesk, key: str) -> Turn:
    """Return the question itself, past what is said before it."""
    check = call.engine.knowledge.questions[key]
    asked = turn(call, key, form=False)
    told = tuple(Choice(name, outcome.says) for name, outcome in check.outcomes.items())
    return replace(asked, kind="check", check=check, choices=told)
