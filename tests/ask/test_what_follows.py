"""What follows from each answer: once where it is the same, else in words that fit whole."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from diag.call.desk import Desk
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.say.follows import Lead, behind, follows, in_common

LEADS = st.dictionaries(
    st.sampled_from("abcdef"),
    st.builds(Lead, st.text("word ", max_size=40), st.text("word ", max_size=12)),
    max_size=6,
)


@given(LEADS, st.integers(0, 60))
def test_no_word_is_cut_and_nothing_is_told_twice(leads: dict[str, Lead], room: int) -> None:
    """Every word behind an answer is whole and fits; what all have in common stands behind none."""
    told = behind(leads, room)
    for key, words in told.items():
        assert words in (leads[key].words, leads[key].short)
        assert len(words) <= room
    assert not (in_common(leads) and told)
    assert len(told) < 2 or len(told) < len(leads) or len(set(told.values())) > 1
    assert all(lead.words == in_common(leads) for lead in leads.values()) or not in_common(leads)


def test_what_is_opened_or_walked_has_a_short_word(whole: Knowledge) -> None:
    """Every look has words that stand behind the longest answers of most checks."""
    assert {name: look.short for name, look in whole.looks.items() if not look.short or len(look.short) > 18} == {}


def test_an_answer_leads_to_a_check_by_its_name_and_by_its_look(whole: Knowledge) -> None:
    """The words name the check that would be asked then; the short ones what is done for it."""
    call = Desk(Engine(whole)).new_call("site")
    call.set_complaint("", [(next(iter(whole.symptoms)), "chosen")])
    key = call.offers()[0].check
    for outcome in whole.questions[key].outcomes:
        offers = call.what_if(key, outcome).plan.offers
        lead = follows(call, key, outcome)
        if offers and lead.words.startswith("then: "):
            check = whole.questions[offers[0].check]
            assert lead.words == f"then: {check.asks}"
            look = whole.looks.get(check.look or "")
            known = look.short if look else "measure" if check.measured else ""
            assert lead.short == (f"then: {known}" if known else "")
