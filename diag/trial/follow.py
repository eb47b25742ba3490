"""Following the desk: its first offer is asked, its advice is done, until the call is mended or given up.

The one policy of playing, trials and practice: the one that the screens show. A machine answers, and tells whether a
repair mends it. A repair that mends nothing is recorded with its proof, and the call goes on.
"""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass, field
from typing import Protocol

from diag.call.desk import CallDesk
from diag.reason.judgement import Judgement

MOVED = 0.01
"""Change of the leader's belief from which a question is not idle."""


@dataclass(frozen=True)
class Answered:
    """What a machine shows at a check."""

    outcome: str | None
    """None: not sure."""
    how: str
    """given | normal | unsure"""


class Respondent(Protocol):
    """Who answers."""

    def answer(self, check: str, channel: str) -> Answered:
        """Return what is seen at a check, told in a channel."""
        ...

    def mended_by(self, cause: str) -> bool:
        """Return whether mending a cause ends the trouble."""
        ...


@dataclass(frozen=True)
class Exchange:
    """One question and what it did."""

    check: str
    minutes: float
    outcome: str | None
    how: str
    leader: str
    belief: float
    idle: bool
    """True when neither the leader nor its belief moved."""


@dataclass(frozen=True)
class Advice:
    """What the desk advised in place of a question."""

    after: int
    action: str
    repair: str | None
    belief: float
    """Of the cause to be repaired, else of the leader."""


@dataclass
class Followed:
    """How a call went."""

    steps: list[Exchange] = field(default_factory=list)
    advice: list[Advice] = field(default_factory=list)
    stopped: str = ""
    """mended | most | hand_over | repeats_a_repair | nothing_left, or an action of `ends`."""

    @property
    def first_repair(self) -> str | None:
        """The repair advised first."""
        return next((a.repair for a in self.advice if a.repair), None)


def follow(call: CallDesk, machine: Respondent, most: int, ends: Container[str] = ()) -> Followed:
    """Do what the desk says until it is over, for at most so many checks; an action of `ends` is the end."""
    done = Followed()
    while not done.stopped:
        judgement = call.think().judgement
        plan = judgement.plan
        if judgement.action in ("check", "prove"):
            done.stopped = "most" if len(done.steps) >= most else "" if plan.offers else "nothing_left"
            if not done.stopped:
                done.steps.append(_ask(call, machine, judgement))
            continue
        believed = judgement.of(plan.repair) if plan.repair else judgement.ranking[0]
        belief = believed.probability if believed else 0.0
        mends = plan.repair if judgement.action in ("repair", "try") else None
        done.advice.append(Advice(len(done.steps), judgement.action, mends, belief))
        if judgement.action in ends:
            done.stopped = judgement.action
        elif judgement.action == "drive_out":
            call.switch_channel("site")
        elif plan.repair:
            done.stopped = _repair(call, machine, plan.repair)
        elif plan.again:
            _record(call, plan.again, machine.answer(plan.again, call.state.channel))
        else:
            done.stopped = judgement.action
    return done


def _repair(call: CallDesk, machine: Respondent, cause: str) -> str:
    """Mend a cause: the call is over when that ends the trouble, else it is recorded as done in vain."""
    if machine.mended_by(cause):
        return "mended"
    if any(cause in r.causes for r in call.state.repairs):
        return "repeats_a_repair"
    call.repair([cause])
    return ""


def _ask(call: CallDesk, machine: Respondent, before: Judgement) -> Exchange:
    """Ask the first offer; of a list everything that is so is named at once; a proof is judged by its reading."""
    offer = before.plan.offers[0]
    channel = call.state.channel
    answer = machine.answer(offer.check, channel)
    event = _record(call, offer.check, answer)
    whole, _, item = offer.check.partition(".")
    told = {a.check for a in call.state.answers}
    for key in call.engine.knowledge.questions:
        if item and key.startswith(f"{whole}.") and key not in told:
            other = machine.answer(key, channel)
            if other.outcome == "yes":
                _record(call, key, other)
    if before.action == "prove":
        waiting = [r for r in call.state.repairs if not any(p.target == r.event for p in call.state.proofs)]
        call.proof(waiting[-1].event, "not_accepted", [event])
    first, top = before.ranking[0], call.think().judgement.ranking[0]
    idle = first.cause == top.cause and abs(first.probability - top.probability) < MOVED
    return Exchange(offer.check, offer.minutes, answer.outcome, answer.how, leader=top.cause,
                belief=top.probability, idle=idle)


def _record(call: CallDesk, check: str, answer: Answered) -> str:
    if answer.outcome is None:
        return call.answer(check, status="unsure").id
    return call.answer(check, outcome=answer.outcome).id
