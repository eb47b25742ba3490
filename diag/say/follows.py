"""What follows: from each answer, in a few words; and what can be done where an act, not an answer, is due."""

from __future__ import annotations

from dataclasses import dataclass

from diag.call.desk import CallDesk
from diag.reason.judgement import Judgement


@dataclass(frozen=True)
class Choice:
    """One answer that can be taken by its number: what is recorded or done, and its words."""

    key: str
    words: str


ACTS: dict[str, tuple[Choice, ...]] = {
    "repair": (Choice("repair", "mended, or about to be: record it"), Choice("interim", "go on for now, mend later"),
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
    "nothing": (Choice("repair", "record a repair"), Choice("channel", "go on on site, or by phone"),
                Choice("search", "take any check"), Choice("close", "close the call")),
}


def at_first(action: str) -> tuple[Choice, ...]:
    """Return what can be done where an action is worth doing now."""
    return ACTS.get(action, ACTS["nothing"])


def follows(call: CallDesk, check: str, outcome: str) -> str:
    """Return in a few words what an answer would lead to. Costs one judgement; nothing is recorded."""
    return _led_to(call, call.what_if(check, outcome))


def _led_to(call: CallDesk, judgement: Judgement) -> str:
    knowledge = call.engine.knowledge
    if judgement.action == "try" and judgement.plan.repair:
        return f"then try: {knowledge.causes[judgement.plan.repair].label}"
    if judgement.action == "repair" and judgement.plan.repair:
        return f"then mend: {knowledge.causes[judgement.plan.repair].label}"
    if judgement.action == "check" and judgement.plan.offers:
        return f"next: {knowledge.questions[judgement.plan.offers[0].check].asks}"
    return {"drive_out": "then drive out", "hand_over": "then hand over", "prove": "then measure again",
            "close": "then it is done"}.get(judgement.action, "")
