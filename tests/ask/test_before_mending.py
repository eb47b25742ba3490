"""Before a repair the same is said and typed as before a check with hands at the machine."""

from __future__ import annotations

from dataclasses import replace

import pytest

from diag.ask.forms_mend import repair_form
from diag.ask.reply import DANGER, reply
from diag.ask.turn import Turn, turn
from diag.call.desk import CallDesk, Desk
from diag.knowledge.base import Knowledge
from diag.reason.cautions import cautions_for, spoken, spoken_of_repair
from diag.reason.judge import Engine


def call_to_mend(engine: Engine, cause: str, monkeypatch: pytest.MonkeyPatch) -> CallDesk:
    """Return a call on site at which mending one cause is worth doing now."""
    call = Desk(engine).new_call("site")
    think = call.think

    def due() -> object:
        thought = think()
        plan = replace(thought.judgement.plan, repair=cause)
        return replace(thought, judgement=replace(thought.judgement, action="repair", plan=plan))

    monkeypatch.setattr(call, "think", due)
    return call


def answered(call: CallDesk, asked: Turn, line: str) -> Turn:
    """Answer a question, and return what is asked then."""
    found = reply(call, asked, line)
    assert found.record is not None, found.told
    found.record(call)
    return turn(call)


def test_mending_is_offered_after_the_sentence_and_the_typed_danger(
    whole: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Every sentence and every DANGER of a repair comes once, before "mend this" can be chosen."""
    engine = Engine(whole)
    dangerous = {
        c.id: {x.id for x in cautions_for(whole, c.repair.hazards, "site") if x.word == "DANGER"}
        for c in whole.causes.values() if spoken_of_repair(whole, c.repair.hazards)
    }
    cause = max(dangerous, key=lambda c: (len(dangerous[c]), c))
    assert dangerous[cause]
    call = call_to_mend(engine, cause, monkeypatch)
    asked, kinds = turn(call), []
    while asked.kind != "act" and len(kinds) < 9:
        kinds.append(asked.kind)
        asked = answered(call, asked, {"axis": "?", "place": "", "say": "y", "danger": DANGER}[asked.kind])
    assert [k for k in kinds if k != "axis"] == ["place", "say", *["danger"] * len(dangerous[cause])]
    said = {c.caution for c in call.state.cautions if c.acknowledged != "none"}
    assert said >= dangerous[cause] | set(spoken_of_repair(whole, whole.causes[cause].repair.hazards))


def test_what_is_not_so_is_not_mended_now(whole: Knowledge, monkeypatch: pytest.MonkeyPatch) -> None:
    """ "Not so" before a repair asks on and records nothing."""
    cause = next(c.id for c in whole.causes.values() if spoken_of_repair(whole, c.repair.hazards))
    call = call_to_mend(Engine(whole), cause, monkeypatch)
    asked = turn(call)
    while asked.kind in ("axis", "place"):
        asked = answered(call, asked, "?" if asked.kind == "axis" else "")
    assert asked.kind == "say"
    found = reply(call, asked, "2")
    assert (found.record, found.act) == (None, "ask_on")


def test_hands_at_the_machine_are_never_put_there_unsaid(whole: Knowledge) -> None:
    """Every repair with hands at the machine has its sentence."""
    told = spoken(whole)
    for cause in whole.causes.values():
        hands = any(whole.hazards[h].hands_on for h in cause.repair.hazards)
        said = spoken_of_repair(whole, cause.repair.hazards)
        assert not hands or said, cause.id
        assert set(said) <= set(told)


def test_one_sentence_stands_in_the_form_of_a_repair(whole: Knowledge) -> None:
    """Of every cause: at most two lines before the first field; the cautions in full go with the form."""
    call = Desk(Engine(whole)).new_call("site")
    for cause in whole.causes.values():
        form = repair_form(call, (cause.id,))
        safety = form.fields[0]
        assert (safety.kind, len(str(safety.value)) <= 150) == ("note", True), cause.id
        assert form.cautions == cautions_for(whole, cause.repair.hazards, "site"), cause.id
        assert bool(safety.value) == bool(form.cautions or spoken_of_repair(whole, cause.repair.hazards)), cause.id


def test_what_is_ticked_changes_the_texts_of_the_form(whole: Knowledge) -> None:
    """Nothing is ticked that nobody chose; the texts follow what is ticked, and the lines to tick stay the same."""
    call = Desk(Engine(whole)).new_call("site")
    form = repair_form(call)
    lines = next(f for f in form.fields if f.name == "causes")
    assert lines.value == ()
    assert form.again is not None
    for cause, _ in lines.choices:
        again = {f.name: f for f in form.again({"causes": (cause,)}).fields}
        assert whole.causes[cause].repair.do in str(again["usual"].value)
        assert (again["causes"].choices, again["causes"].value) == (lines.choices, (cause,))
