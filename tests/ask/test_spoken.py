"""What is said before a question: short enough to be said, nowhere missing, acknowledged once."""

from __future__ import annotations

from statistics import median

from diag.call.desk import Desk
from diag.knowledge.base import Knowledge
from diag.reason.cautions import cautions_of_check, spoken, spoken_of_check
from diag.reason.judge import Engine

WORDS_A_SECOND = 2.5
"""Of somebody who reads a warning aloud, slowly: 150 words a minute (estimate)."""


def seconds(knowledge: Knowledge, key: str) -> float:
    """Return how long the longest thing takes that is said before a phone question: its sentences, or a DANGER."""
    check, told = knowledge.questions[key], spoken(knowledge)
    texts = [" ".join(told[s] for s in spoken_of_check(knowledge, check))]
    texts += [c.text for c in cautions_of_check(knowledge, check, "phone") if c.word == "DANGER"]
    return max(len(t.split()) for t in texts) / WORDS_A_SECOND


def test_nothing_said_before_a_phone_question_is_long(whole: Knowledge) -> None:
    """At a call's first question of every kind: 8 s aloud in the median, 15 s at worst, each sentence two lines."""
    phone = {k: seconds(whole, k) for k, c in whole.questions.items() if c.phone}
    assert median(phone.values()) <= 8
    assert {k: s for k, s in phone.items() if s > 15} == {}
    assert {k: t for k, t in spoken(whole).items() if len(t) > 150} == {}


def test_every_state_in_which_somebody_can_be_hurt_has_its_sentence(whole: Knowledge) -> None:
    """Engine, fan, motion or hands: a sentence; talk alone: none."""
    for name, state in whole.states.items():
        can_hurt = state.engine or state.fan or state.moving or state.hands_on
        assert bool(state.spoken) or not can_hurt, name
    assert whole.states["talk"].spoken is None


def test_a_sentence_holds_for_the_person_it_was_said_to(whole: Knowledge) -> None:
    """Said to the grower by phone, it is said again to the technician on site."""
    from diag.ask.turn import acknowledged_now

    call = Desk(Engine(whole)).new_call("phone")
    first = next(iter(spoken(whole)))
    call.acknowledge(first)
    assert acknowledged_now(call) == {first}
    call.switch_channel("site")
    assert acknowledged_now(call) == frozenset()
