"""What follows: from each answer, in a few words; and what can be done where an act, not an answer, is due."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from diag.call.desk import CallDesk


@dataclass(frozen=True)
class Choice:
    """One answer that can be taken by its number: what is recorded or done, and its words."""

    key: str
    words: str


ACTS: dict[str, tuple[Choice, ...]] = {
    "repair": (Choice("repair", "mended: record it"), Choice("interim", "go on for now, mend later"),
               Choice("hand_over", "hand the call on"), Choice("waiting", "call back later")),
    "try": (Choice("change", "tried: what was changed, to be put back"), Choice("repair", "mended for good: record it"),
            Choice("hand_over", "hand the call on"), Choice("waiting", "call back later")),
    "drive_out": (Choice("load", "drive out: what to load"), Choice("interim", "go on for now, mend later"),
                  Choice("waiting", "call back later")),
    "hand_over": (Choice("hand_over", "hand the call on: the card"), Choice("interim", "go on for now, mend later"),
                  Choice("waiting", "call back later")),
    "prove": (Choice("measure", "measure again"), Choice("proof", "the verdict on the repair"),
              Choice("waiting", "call back later")),
    "close": (Choice("writeup", "write up"), Choice("close", "close the call"), Choice("waiting", "call back later"),
              Choice("ask_on", "something is still wrong: ask on")),
    "closed": (Choice("writeup", "write-up"), Choice("follow_up", "the call-back: what came of it"),
               Choice("reopen", "open the call again")),
    "practice": (Choice("search", "find a check by a word"), Choice("offers", "what the desk would ask now"),
                 Choice("believed", "what can be it so far"), Choice("name", "name the cause: that ends it"),
                 Choice("give_up", "give up: see what was wrong")),
    "nothing": (Choice("repair", "record a repair"), Choice("channel", "go on on site, or by phone"),
                Choice("search", "take any check"), Choice("close", "close the call")),
}


MENDS = {"try": "then try", "repair": "then mend"}
ENDS = {"drive_out": "then drive out", "hand_over": "then hand over", "prove": "then measure again",
        "close": "then it is done"}


def at_first(action: str) -> tuple[Choice, ...]:
    """Return what can be done where an action is worth doing now."""
    return ACTS.get(action, ACTS["nothing"])


@dataclass(frozen=True)
class Lead:
    """What an answer would lead to: in words, and in so few that they stand behind the answer, "" for a question more.
    """

    words: str
    short: str


def follows(call: CallDesk, check: str, outcome: str) -> Lead:
    """Return what an answer would lead to. Costs one judgement; nothing is recorded."""
    judgement, knowledge = call.what_if(check, outcome), call.engine.knowledge
    plan = judgement.plan
    if judgement.action in MENDS and plan.repair:
        short = MENDS[judgement.action]
        return Lead(f"{short}: {knowledge.causes[plan.repair].label}", short)
    if judgement.action == "check" and plan.offers:
        then = knowledge.questions[plan.offers[0].check]
        look = knowledge.looks.get(then.look or "")
        short = look.short if look and look.short else "measure" if then.measured else ""
        return Lead(f"then: {then.asks}", short and f"then: {short}")
    told = ENDS.get(judgement.action, "")
    return Lead(told, told)


def in_common(leads: Mapping[str, Lead]) -> str:
    """Return what follows from every answer alike, "" where something depends on the answer."""
    told = {lead.words for lead in leads.values()}
    return told.pop() if len(told) == 1 else ""


def behind(leads: Mapping[str, Lead], room: int) -> dict[str, str]:
    """Return the words behind each answer: whole if all of them fit in so many columns, else the short ones that do."""
    if in_common(leads):
        return {}
    whole = all(len(lead.words) <= room for lead in leads.values())
    told = {key: lead.words if whole else lead.short for key, lead in leads.items()}
    if len(set(told.values())) == 1:
        return {}  # that all alike stand there tells nothing
    return {key: words for key, words in told.items() if words and len(words) <= room}
