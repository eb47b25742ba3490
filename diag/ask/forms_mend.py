"""Forms about mending: repair, a way to go on for now, the proof, the end of a call and what follows it."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime
from typing import Any

from diag.ask.form import (
    Field,
    Form,
    Values,
    choices,
    keys_of,
    need,
    parts_of,
    picked,
    rows_of,
    settings_of,
    text_of,
    whole_of_text,
)
from diag.call.desk import CallDesk
from diag.call.proof import proofs_of
from diag.errors import UsageError
from diag.figures.rows import show_rows
from diag.knowledge.base import Knowledge
from diag.knowledge.vocabulary import Caution
from diag.reason.cautions import cautions_for, in_order, spoken_of_repair
from diag.reason.judgement import LIKELY, OPEN
from diag.record.kinds import RESULTS
from diag.record.state import NotPutBack
from diag.record.times import clock, parse_when
from diag.say import present
from diag.text import number, rows_words
from diag.units import value_words

DONE_BY = choices({"technician": "a technician", "grower": "the grower"})
VERDICTS = choices({"accepted": "accepted: mended", "not_accepted": "not accepted: the trouble is still there",
                    "not_yet": "not yet: too little measured"})
SAYS = {"accepted": "Accepted.", "not_accepted": "NOT accepted.", "not_yet": "Not yet."}
ENDS: dict[str, str] = {
    "mended_by_phone": "mended by phone", "mended": "mended", "interim": "goes on with a way for now",
    "question_answered": "a question answered, no fault", "no_fault_found": "no fault found",
    "handed_over": "handed on", "not_heard_again": "not heard from again",
    "several_changed_at_once": "several things changed at once", "part_shown_at_fault": "a part shown to be at fault",
}
IN_WORDS: Mapping[str, str] = {
    "question_answered": "What was asked, and what is the answer?",
    "handed_over": "To whom was it handed on, and with what question?",
}
"""Ends that tell nothing without words, with what is asked then."""
AS_TOLD = (("yes", "done as told above"),)
FOLLOW_UP = "Are the mended rows even with their neighbours? Is anything new?"


def candidates(call: CallDesk, also: tuple[str, ...] = ()) -> tuple[tuple[str, str], ...]:
    """Return the causes to choose from: those named, then the open ones, at least five."""
    causes = call.engine.knowledge.causes
    ranking = call.think().judgement.ranking
    open_ones = [r.cause for i, r in enumerate(ranking) if i < 5 or r.belief in (LIKELY, OPEN)]
    return tuple((c, causes[c].label) for c in dict.fromkeys((*also, *open_ones)) if c in causes)


def repair_form(call: CallDesk, causes: tuple[str, ...] = (), offered: tuple[tuple[str, str], ...] = ()) -> Form:
    """Return the form of a repair; several causes can be mended at once.

    Nothing is filled in that nobody said: what is usual stands beside the fields. `causes`: those the user came
    from, or ticked; `offered`: those to choose from, where they were shown already.
    """
    knowledge = call.engine.knowledge
    plan = call.think().judgement.plan
    offered = offered or candidates(call, causes or ((plan.repair,) if plan.repair else ()))
    known = [knowledge.causes[c] for c in causes if c in knowledge.causes]
    rows = call.state.situation.rows
    meant = [c.repair.hazards for c in known] or [knowledge.causes[c].repair.hazards for c, _ in offered]
    common = [h for h in dict.fromkeys(h for hs in meant for h in hs) if known or all(h in hs for hs in meant)]
    hazards = tuple(common)  # of what is ticked; before that, what is dangerous in any of them
    flags, machine = call.state.situation.flags, call.state.machine.axes
    cautions = cautions_for(knowledge, hazards, call.state.channel, flags, machine=machine)
    parts = ", ".join(dict.fromkeys(knowledge.parts[p].label for c in known for p in c.repair.parts))
    in_trouble = "" if rows is None else f"In trouble: {show_rows(rows)}. "
    return Form("repair", "Repair", (
        Field("safety", "Safety", "note", value=safety_words(knowledge, hazards, cautions)),
        Field("causes", "What was mended", "ticks", hint="Several can be ticked.",
              value=tuple(c for c in causes if c in knowledge.causes), choices=offered),
        Field("words", "What was done", "lines", "In your own words."),
        Field("rows", "Rows", hint=f"{in_trouble}The rows that were mended."),
        Field("parts", "Parts", hint=f"It may take: {parts}." if parts else "e.g. 1 seal, 4 brushes"),
        Field("settings", "Settings", "lines", "e.g. vacuum: 18 inH2O -> 20 inH2O"),
        Field("minutes", "Minutes it took", hint="Left empty: not recorded."),
        Field("done_by", "Done by", "pick", choices=DONE_BY),
        Field("happened", "When", hint="e.g. 10:40, 2 h ago; empty: now"),
        Field("usual", "How it is done", "note", value="\n".join(f"{c.label}: {c.repair.do}" for c in known)),
    ), _record_repair, cautions=cautions, again=lambda v: repair_form(call, keys_of(v, "causes"), offered))


def safety_words(knowledge: Knowledge, hazards: Iterable[str], cautions: Sequence[Caution]) -> str:
    """Return the one thing to be heard before a repair: a DANGER of it, else what is said, else its worst caution."""
    if cautions and cautions[0].word == "DANGER":
        return f"DANGER: {cautions[0].text}"
    said = in_order(knowledge, spoken_of_repair(knowledge, hazards))
    return said or "".join(f"{c.word}: {c.text}" for c in cautions[:1])


def _record_repair(call: CallDesk, values: Values) -> None:
    causes = need(keys_of(values, "causes"), "What was mended", "Tick at least one cause.")
    minutes = whole_of_text(text_of(values, "minutes"), "Minutes it took")
    body: dict[str, Any] = {
        "rows": rows_of(call, text_of(values, "rows"), "Rows"), "minutes": minutes,
        "parts": parts_of(text_of(values, "parts")) or None,
        "settings": settings_of(text_of(values, "settings")) or None, "done_by": text_of(values, "done_by") or None,
        "happened": _after_answers(call, parse_when(text_of(values, "happened"), call.desk.clock(), "When", past=True)),
    }
    call.repair(causes, words=text_of(values, "words"), **{k: v for k, v in body.items() if v is not None})


def _after_answers(call: CallDesk, when: str | None) -> str | None:
    """Return when a repair was; raise UsageError where all answers of the call would count as taken after it."""
    answers, opened = call.state.answers, datetime.fromisoformat(call.state.opened.at)
    if when and answers and all(datetime.fromisoformat(when) < datetime.fromisoformat(a.at) for a in answers):
        raise UsageError("That is before the first answer of this call: all of them would count as taken after it.",
                         "When", "Give a later time. What was done before the call is no repair of this call: tell it "
                         "as done before.")
    if when and datetime.fromisoformat(when) < opened:
        raise UsageError(f"That is before this call began ({clock(opened, call.desk.clock())}).", "When",
                         "A repair of this call comes after its begin. What was done before: tell it as done before.")
    return when


def interim_form(call: CallDesk, cause: str | None = None) -> Form | None:
    """Return the form of a way to go on for now; None when none is known for the causes in question.

    `cause`: the one that it is meant against, where the user chose it.
    """
    causes = call.engine.knowledge.causes
    known = [c for c, _ in candidates(call, (cause,) if cause else ()) if causes[c].interim is not None]
    if not known:
        return None
    told = []
    for c in known:
        interim = causes[c].interim
        assert interim is not None
        told.append(f"{causes[c].label}: {interim.do} You lose: {interim.loses} Watch: {interim.watch} "
                    f"It ends: {interim.ends}")
    return Form("interim", "Go on for now", (
        Field("told", "Ways known", "note", value="\n".join(told)),
        Field("cause", "Against", "pick", value=(cause or "") if cause in known else "",
              choices=tuple((c, causes[c].label) for c in known)),
        Field("as_told", "Done so", "ticks", hint="Tick it when it was done as told above.", value=(), choices=AS_TOLD),
        Field("words", "What was done", "lines", "Else, or besides, in your own words."),
        Field("until", "Look at it again", hint="e.g. tomorrow 8:00, in 3 days; it stays on the list until then"),
        Field("acres", "Or after acres"),
    ), _record_interim)


def _record_interim(call: CallDesk, values: Values) -> None:
    cause = picked(values, "cause", "Against")
    interim = call.engine.knowledge.causes[cause].interim
    until = parse_when(text_of(values, "until"), call.desk.clock(), "Look at it again")
    acres = whole_of_text(text_of(values, "acres"), "Or after acres")
    done = [interim.do] if interim and keys_of(values, "as_told") else []
    words = " ".join([*done, text_of(values, "words")]).strip()
    need(words, "What was done", "Tick that it was done as told, or say what was done.")
    call.repair([cause], words=words, kind="interim")
    _wait(call, until, acres, text="A way for now was found; the cause is still there.")


def _wait(call: CallDesk, until: str | None, acres: int | None, text: str) -> None:
    if until or acres:
        body = {"for": "proof", "until": until, "acres": None if acres is None else str(acres)}
        call.record("waiting", {k: v for k, v in body.items() if v is not None}, {"text": text})


def proof_form(call: CallDesk) -> Form:
    """Return the form of a proof. Raises UsageError when there is nothing to prove."""
    repairs = [r for r in call.state.repairs if r.kind == "repair"]
    if not repairs:
        raise UsageError("No repair is recorded yet.", "proof", "Record the repair first.")
    knowledge = call.engine.knowledge
    names = tuple((r.event, "; ".join(knowledge.causes[c].label if c in knowledge.causes else c for c in r.causes))
                  for r in reversed(repairs))
    last = repairs[-1]
    after = [a for a in call.state.answers if a.epoch > last.epoch and a.status == "given"]
    readings = []
    for a in after:
        check = knowledge.questions.get(a.check)
        seen = call.seen(a.event)
        told = present.reading_text(a, check)
        if seen and seen.evaluated.outcome and check and a.outcome is None:
            told += f" = {check.outcomes[seen.evaluated.outcome].says}"
        readings.append((a.event, f"{check.asks if check else a.check}: {told}"))
    judged = proofs_of(call)[last.event]
    return Form("proof", "Proof", (
        Field("how", "How it is proved", "note", value="\n".join(how_proved(call, last.causes))),
        Field("says", "The readings say", "note", value=f"{SAYS[judged.says]} {judged.why}"),
        *([Field("repair", "Of which repair", "pick", value=last.event, choices=names)] if len(names) > 1 else []),
        Field("answers", "Rests on", "ticks", "Left empty: every reading of the repaired rows since."
              if readings else "Nothing was measured since the repair: measure "
              "again first, by the same method.", value=(), choices=tuple(readings)),
        Field("verdict", "Verdict", "pick", "A verdict against the readings is printed as that.", choices=VERDICTS),
        Field("conditions", "Conditions", hint="What was different from before, or: the same."),
        Field("follow_up", "Call back", hint="e.g. tomorrow 8:00, in 2 days"),
        Field("to_ask", "To ask then", "note", value=FOLLOW_UP),
    ), _record_proof)


def how_proved(call: CallDesk, causes: tuple[str, ...]) -> list[str]:
    """Return how repairs of these causes are proved, and how many seeds each step needs."""
    knowledge = call.engine.knowledge
    found = {knowledge.causes[c].repair.verify for c in causes if c in knowledge.causes}
    lines = []
    for name in sorted(v for v in found if v and v in knowledge.verifications):
        verify = knowledge.verifications[name]
        lines.append(f"{verify.label}: {verify.measures.rstrip('.')}. Sample: {verify.sample}. Accept: {verify.accept}")
        steps = {"roll": "good enough to roll", "file": "for the file", "claim": "for a claim"}
        told = [f"{words}: {number(verify.seeds[key])} seeds" for key, words in steps.items() if key in verify.seeds]
        lines += ["; ".join(told)] if told else []
    return lines


def _record_proof(call: CallDesk, values: Values) -> None:
    repair = (picked(values, "repair", "Of which repair") if "repair" in values
              else next(r.event for r in reversed(call.state.repairs) if r.kind == "repair"))
    verdict = picked(values, "verdict", "Verdict")
    answers = keys_of(values, "answers") or proofs_of(call)[repair].answers
    if verdict == "accepted" and not answers:
        raise UsageError("A repair is accepted on readings taken after it.", "Rests on",
                         "Measure again, by the same method, then accept.")
    until = parse_when(text_of(values, "follow_up"), call.desk.clock(), "Call back")
    call.proof(repair, verdict, answers)
    conditions = text_of(values, "conditions")
    if conditions:
        call.record("note", {"about": repair}, {"text": f"Conditions after the repair: {conditions}"})
    _wait(call, until, acres=None, text="Follow-up. " + FOLLOW_UP)


def put_back_fields(call: CallDesk) -> list[Field]:
    """Return one question for each change that was not put back."""
    told = choices({"keep": "keep it so", "back": "put back", "tell": "the caller puts it back"})
    return [
        Field(f"put_back_{i}", f"Not put back: {name_of(change)}", "pick", choices=told)
        for i, change in enumerate(call.state.not_put_back)
    ]


def name_of(change: NotPutBack) -> str:
    """Return a change that still stands, in words: what, which rows, what it was."""
    rows = f" {rows_words(change.rows)}" if change.rows is not None and change.rows != "all" else ""
    was = f" (was {value_words(change.before)})" if change.before is not None else ""
    return f"{change.name}{rows}{was}"


def settle(call: CallDesk, values: Values) -> None:
    """Record what becomes of changes that were not put back."""
    for i, change in enumerate(call.state.not_put_back):
        choice = text_of(values, f"put_back_{i}")
        if choice == "back" and change.events:
            before = change.before if change.before is not None else "as before"
            call.record("change", {"setting": change.name, "after": before, "settles": change.events[-1]})
        elif choice == "tell":
            call.record("note", {}, {"text": f"Told the caller to put back: {name_of(change)}"})


def close_form(call: CallDesk) -> Form:
    """Return the form that ends a call: what is not put back first, then how it ended."""
    done = {s.kind if s.kind != "repair" else str(s.body["kind"]) for s in call.state.trail if s.live and s.known}
    mended = "repair" in done
    usual = "question_answered" if not mended else "mended_by_phone" if call.state.channel == "phone" else "mended"
    nobody = {*(() if done & {"repair", "change"} else ("mended_by_phone", "mended")),
              *(() if "interim" in done else ("interim",))}  # nobody did that in this call
    ends = sorted((r for r in RESULTS if r not in nobody), key=lambda r: r != usual)
    return Form("close", "Close the call", (
        *put_back_fields(call),
        Field("result", "How it ended", "pick", choices=tuple((r, ENDS[r]) for r in ends)),
        Field("words", "Words for the file", "lines",
              "" if mended else "Of a question answered: what was asked, and the answer; handed on: to whom."),
        Field("follow_up", "Call back",
              hint="e.g. tomorrow 8:00, in 2 days" + (" (usual: in 1 day)" if mended else "")),
        Field("to_ask", "To ask then", "note", value=FOLLOW_UP if mended else ""),
    ), _record_close, done="Close")


def _record_close(call: CallDesk, values: Values) -> None:
    result, words = picked(values, "result", "How it ended"), text_of(values, "words")
    if result in IN_WORDS and not words:
        raise UsageError(IN_WORDS[result], "Words for the file", "")
    until = parse_when(text_of(values, "follow_up"), call.desk.clock(), "Call back")
    settle(call, values)
    call.close(result, words)
    mended = any(r.kind == "repair" for r in call.state.repairs)
    _wait(call, until, acres=None, text="Follow-up. " + FOLLOW_UP if mended else "Call back, as agreed.")


def follow_up_form(call: CallDesk) -> Form:
    """Return the form of a call-back after a repair; a no opens the call again with its answers."""
    return Form("follow_up", "Follow-up", (
        Field("even", "Even with the neighbours", "pick", "Are the mended rows even with their neighbours?",
              choices=choices({"yes": "yes", "no": "no", "no_answer": "no answer"})),
        Field("new", "Anything new", "lines", "Is anything new? Left empty: nothing."),
        Field("again", "Call again", hint="e.g. in 2 days; left empty: done"),
    ), _record_follow_up)


def _record_follow_up(call: CallDesk, values: Values) -> None:
    even = picked(values, "even", "Even with the neighbours")
    new = text_of(values, "new")
    until = parse_when(text_of(values, "again"), call.desk.clock(), "Call again")
    closed = call.state.closed is not None
    if closed and (even == "no" or new):
        call.record("reopened", {}, {"words": "Follow-up: the trouble is back." if even == "no" else "Follow-up: new."})
    accepted = [p.target for p in call.state.proofs if p.verdict == "accepted"]
    if even == "no" and accepted:  # what was accepted did not hold
        call.proof(accepted[-1], "not_accepted")
    told = {"yes": "even with their neighbours", "no": "not even with their neighbours", "no_answer": "no answer"}[even]
    call.record("note", {}, {"text": f"Follow-up: {told}." + (f" New: {new}" if new else "")})
    if until:
        _wait(call, until, acres=None, text="Follow-up. " + FOLLOW_UP)
    elif call.state.waiting is not None:
        call.record("waiting", {"for": "none"})
