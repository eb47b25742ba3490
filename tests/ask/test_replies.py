"""What a typed line means for a question: yes and no in the caller's mouth."""

from __future__ import annotations

import pytest

from diag.ask.answers import answer_form, parse_answer, unit_hint
from diag.ask.reply import Reply, reply
from diag.ask.turn import Turn
from diag.call.desk import CallDesk, Desk
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.say.follows import Choice
from diag.units import Measured, is_usual


@pytest.fixture
def call(whole: Knowledge) -> CallDesk:
    """A call by phone."""
    return Desk(Engine(whole)).new_call("phone")


def said(call: CallDesk, key: str, text: str) -> Reply:
    """Return what a line means for a check that is asked."""
    check = call.engine.knowledge.questions[key]
    choices = tuple(Choice(name, o.says) for name, o in check.outcomes.items())
    return reply(call, Turn("check", check.phone or check.asks, choices, check=check, key=key), text)


def test_yes_and_no_are_understood_wherever_they_can_be_said(call: CallDesk) -> None:
    """Where the knowledge says what yes and no mean, both are taken, or lead to which of several; in full or short."""
    asked = [c for c in call.engine.knowledge.questions.values() if c.phone and c.yes]
    assert len(asked) > 100
    for check in asked:
        for word, short, means in (("yes", "Y", check.yes), ("No", "n", check.no)):
            full = said(call, check.id, word)
            assert full.picked == means, check.id
            assert full.fits == (len(means) == 1), check.id
            assert said(call, check.id, short).told == full.told


def test_a_measured_question_takes_words_first_and_figures_as_well(call: CallDesk) -> None:
    """Do the doubles come down? yes; no asks which; four counts are worked out."""
    yes = said(call, "vac_lower_step", "yes")
    assert yes.told == ("doubles come down",)
    assert said(call, "vac_lower_step", "no").told[0].startswith("Which one: ")
    figures = said(call, "vac_lower_step", "4 of 200, 5 of 200, 20 of 200, 6 of 200")
    assert figures.fits
    assert "doubles" in " ".join(figures.told)


def test_a_short_yes_is_the_outcome_of_that_name(call: CallDesk) -> None:
    """Where the outcomes are yes and no themselves, "yeah" and "n" mean them."""
    asked = [c for c in call.engine.knowledge.questions.values() if {"yes", "no"} == set(c.outcomes)]
    assert asked
    for check in asked:
        assert ("yes",) == said(call, check.id, "Yeah").picked
        assert ("no",) == said(call, check.id, "n").picked


@pytest.mark.parametrize(("figures", "where"), [
    ("6 18.2, 7 11, 8 18 inH2O", ["vac_manometer_row", "vac_block_row"]),
    ("left 14 right 20 inH2O", ["cab_vac_readout"]),
    ("180 F", ["oil_temp"]),
])
def test_figures_told_at_any_look_go_to_their_reading(call: CallDesk, figures: str, where: list[str]) -> None:
    """At each question that asks for no figures: recorded as that reading, or asked which of those named."""
    asks = [call.engine.knowledge.questions[key].asks for key in where]
    looks = [c for c in call.engine.knowledge.questions.values() if c.takes.kind in ("choice", "yes_no")]
    for check in looks:
        found = said(call, check.id, figures)
        assert found.fits, check.id
        assert [fit.where for fit in found.fits_at] == asks if found.fits_at else asks[0] in found.told[0]
        if check is looks[0] and len(where) == 1:
            assert found.record is not None
            found.record(call)
            assert call.state.answers[-1].check == where[0]


@pytest.mark.parametrize("figures", ["18.5", "17 of 20", "99", "120 V"])
def test_figures_that_fit_nothing_or_anything_are_refused_with_the_remedy(call: CallDesk, figures: str) -> None:
    """Without a unit they fit too many readings, of no size that is usual none: nothing is taken."""
    found = said(call, "cab_target", figures)
    assert not found.fits
    assert "with their unit" in found.told[0]


@pytest.mark.parametrize("system", ["us", "metric"])
def test_the_figures_shown_are_of_the_size_of_the_reading(call: CallDesk, system: str) -> None:
    """Nobody is shown eighteen inches of depth or half a seed: each example is usual for what is read, and is taken."""
    asked = [c for c in call.engine.knowledge.questions.values() if c.takes.kind in ("number", "numbers")]
    assert len(asked) > 40
    for check in asked:
        shown = answer_form(check, system).rpartition("e.g. ")[2].removeprefix("from 1: ")
        number, *_, unit = shown.split() if unit_hint(check, system) != "count" else (*shown.split(), "count")
        assert number.isdigit() or unit != "count", check.id
        assert is_usual(Measured(number, unit), check.takes.quantity or "count"), f"{check.id}: {shown}"
        if check.takes.kind == "number" or 0 < len(check.takes.labels) < 3:
            assert parse_answer(check, shown)


def test_a_bare_number_at_a_count_is_told_as_what_it_is(call: CallDesk) -> None:
    """At "of 200 seeds, how many ..." one is line 1 and says so; thirty asks of how many; thirty of 200 is taken."""
    one, thirty, both = (said(call, "seed_splits", text) for text in ("1", "30", "30 of 200"))
    assert one.told[1].startswith("Line 1 of the list, not a count")
    assert not thirty.fits
    assert "30 of how many?" in thirty.told[0]
    assert both.fits
    assert said(call, "catch_test_turns", "120").fits  # seeds caught: the turns are asked for
