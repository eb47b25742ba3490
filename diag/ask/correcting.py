"""Changing what was recorded: another answer in place of one, taking a step back, moving it to the right call."""

from __future__ import annotations

from diag.ask.turn import Turn, question, stage_of
from diag.call.desk import CallDesk
from diag.errors import RecordError
from diag.reason.judge import applicable
from diag.record.graph import show_call_id
from diag.record.kinds import Answer
from diag.say import present
from diag.say.follows import Choice


def answer_of(call: CallDesk, event: str) -> Answer | None:
    """Return the live answer of an event, None when it is something else or no longer stands."""
    return next((a for a in call.state.answers if a.event == event), None)


def change_turn(call: CallDesk, event: str) -> Turn | None:
    """Return what is asked to change an answer; None when its check is no longer known."""
    answer = answer_of(call, event)
    check = call.engine.knowledge.questions.get(answer.check) if answer else None
    if answer is None or check is None:
        return None
    choices = tuple(Choice(name, o.says) for name, o in check.outcomes.items())
    return Turn("check", question(call, check), choices, check=check, key=check.id,
                beside=(("it was", present.reading_text(answer, check)),), stage=stage_of(call))


def told_turn(call: CallDesk, key: str, outcome: str) -> Turn:
    """Return the read-back of a result that nobody asked for: it is recorded only when it is agreed to."""
    check = call.engine.knowledge.questions[key]
    here = applicable(call.engine, key, call.think().read.case)
    doubt = () if here else (("beware", "this does not fit the machine of this call: it moves nothing"),)
    said = f"{present.answer_words(check, outcome)}. Is that what was said?"
    return Turn("check", said, (Choice(outcome, f"yes: {check.outcomes[outcome].says}"),), check=check, key=key,
                beside=doubt, stage=stage_of(call))


def can_be_withdrawn(call: CallDesk, event: str) -> bool:
    """Tell whether a step can be taken back."""
    from diag.record.kinds import KINDS

    step = next((s for s in call.state.trail if s.event == event), None)
    return step is not None and step.live and step.known and KINDS[step.kind].WITHDRAWABLE


def move_answer(source: CallDesk, target: CallDesk, event: str) -> None:
    """Move an answer that was typed into the wrong call; both calls note it. Raises RecordError."""
    answer = answer_of(source, event)
    made = next((e for e in source.events if e.id == event), None)
    if answer is None or made is None:
        raise RecordError("Only an answer that still stands can be moved.", "move", "Pick it from the trail.")
    said = source.personal.get(event, {}).get("said", "")
    fresh = target.record("answer", dict(made.body), {"said": said})
    there, here = show_call_id(target.call), show_call_id(source.call)
    source.withdraw(event, reason=f"typed into the wrong call; moved to {there}")
    source.record("note", {"about": event}, {"text": f"An answer was moved to call {there}."})
    target.record("note", {"about": fresh.id}, {"text": f"An answer was moved here from call {here}."})
