"""Replay of recorded calls: what came out, and whether it is what the transcript expects."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any

from diag.call.desk import CallDesk, Desk
from diag.call.shown import shown_words
from diag.errors import DiagError
from diag.knowledge.base import Knowledge
from diag.reason.case import UNKNOWN
from diag.reason.cautions import cautions_of_check, spoken
from diag.reason.explain import why_check
from diag.reason.judge import Engine
from diag.reason.judgement import Judgement
from diag.record.transcript import Known, read_transcript

MOST_RANKED, LEAST_SHOWN = 20, 0.001


def known_ids(knowledge: Knowledge) -> Known:
    """Return the ids a transcript may name."""
    return Known(
        axis=frozenset(knowledge.axes),
        check=frozenset(knowledge.questions),
        cause=frozenset(knowledge.causes),
        symptom=frozenset(knowledge.symptoms),
        caution=frozenset((*knowledge.cautions, *spoken(knowledge))),
        book=frozenset(knowledge.book),
        observer=frozenset(knowledge.observers),
        finding=frozenset(knowledge.findings),
        values={a: frozenset([*(v.name for v in axis.values), UNKNOWN]) for a, axis in knowledge.axes.items()},
        outcomes={key: frozenset(check.outcomes) for key, check in knowledge.questions.items()},
    )


def replay_files(files: Sequence[str], engine: Engine) -> list[dict[str, Any]]:
    """Replay all files in the order given; a file that cannot be replayed has `problems`."""
    return [replay_file(name, engine) for name in files]


def replay_file(name: str, engine: Engine) -> dict[str, Any]:
    """Replay one transcript; the result has the form of the command line's JSON."""
    knowledge = {"version": engine.knowledge.version, "digest": engine.knowledge.digest}
    try:
        transcript = read_transcript(Path(name), known_ids(engine.knowledge))
        call = Desk(engine).replayed(transcript.events[0].call, transcript.events, transcript.sealed)
        result = outcome(call)
        call.trace()
    except (DiagError, OSError) as error:
        told = error if isinstance(error, DiagError) else DiagError(str(error), name, "Check the file.")
        return {"file": name, "ok": False, "problems": [told.as_json()], "knowledge": knowledge, "expected": []}
    expected = compare(transcript.expect, result, call.think().judgement)
    ok = all(line["ok"] for line in expected)
    return {"file": name, "ok": ok, "problems": [], "knowledge": knowledge, **result, "expected": expected}


def outcome(call: CallDesk) -> dict[str, Any]:
    """Return what came out of a call, JSON-ready and the same bytes for the same call."""
    thought = call.think()
    judgement, state = thought.judgement, thought.state
    number = {step.event: step.number for step in state.trail}
    belief = judgement.belief
    shown = shown_words(call)
    return {
        "ranking": [
            {
                "cause": r.cause, "probability": r.probability, "belief": r.belief,
                "shown": shown.get(r.cause, "not_tested"),
            }
            for r in judgement.ranking[:MOST_RANKED]
            if r.probability >= LEAST_SHOWN
        ],
        "worlds": {
            "clear": round(belief.clear, 4), "unknown": round(belief.unknown, 4),
            "one": round(belief.mass_one, 4), "two": round(belief.mass_two, 4),
        },
        "faults_known": judgement.faults_known,
        "next_check": _next_check(call, judgement),
        "next_action": judgement.action,
        "repair": judgement.plan.repair,
        "findings": [
            {"finding": f.finding, "rows": list(f.rows), "rule": f.rule, "from": [number[e] for e in f.events]}
            for f in judgement.findings
        ],
        "cautions": _cautions(call, judgement),
        "conflicts": [
            {"event": number[c.events[0]] if c.events else None, "check": c.check, "bits": c.bits}
            for c in judgement.conflicts
        ],
        "minutes": call.minutes(),
    }


def _next_check(call: CallDesk, judgement: Judgement) -> dict[str, Any] | None:
    if not judgement.plan.offers:
        return None
    offer = judgement.plan.offers[0]
    case = call.think().read.case
    rows = list(case.trouble_rows or ())
    return {
        "check": offer.check, "rows": rows, "channel": case.channel, "saves_minutes": offer.saves_minutes,
        "why": why_check(call.engine, offer),
    }


def _cautions(call: CallDesk, judgement: Judgement) -> list[dict[str, Any]]:
    knowledge, state = call.engine.knowledge, call.state
    told = [
        {
            "caution": c.caution, "word": knowledge.cautions[c.caution].word, "check": c.check,
            "acknowledged": c.acknowledged != "none",
        }
        for c in state.cautions
        if c.caution in knowledge.cautions
    ]
    raised = [s.text for s in judgement.said if s.kind == "caution"]
    if judgement.plan.offers:
        check = knowledge.questions[judgement.plan.offers[0].check]
        axes = call.state.machine.axes
        for caution in cautions_of_check(knowledge, check, state.channel, state.situation.flags, raised=raised,
                                         machine=axes):
            told.append({"caution": caution.id, "word": caution.word, "check": check.id, "acknowledged": False})
    return told


# --- what was expected ------------------------------------------------------------------------------


def compare(expect: Mapping[str, Any], result: Mapping[str, Any], judgement: Judgement) -> list[dict[str, Any]]:
    """Return one line per expectation: what, want, got, ok."""
    return [line for what, want in expect.items() for line in _lines(what, want, result, judgement)]


def _listed(value: Any) -> list[Any]:
    return list(value) if isinstance(value, list | tuple) else [value]


def _lines(what: str, want: Any, result: Mapping[str, Any], judgement: Judgement) -> Iterable[dict[str, Any]]:
    if what in ("top3", "not_set_aside", "rejects", "belief"):
        yield from _of_causes(what, want, judgement)
    elif what in ("findings", "cautions"):
        found = [entry[what.removesuffix("s")] for entry in result[what]]
        for name in _listed(want):
            yield _line(what, name, found, name in found)
    elif what == "conflict":
        got: Any = [c["check"] for c in result["conflicts"]]
        ok = bool(got) == want if isinstance(want, bool) else all(c in got for c in _listed(want))
        yield _line(what, want, got, ok)
    elif what == "top":
        got = judgement.ranking[0].cause if judgement.ranking else None
        yield _line(what, want, got, got in _listed(want))
    elif what == "next_check":
        got = result["next_check"]["check"] if result["next_check"] else None
        yield _line(what, want, got, got in _listed(want))
    else:
        got = result.get(what)
        yield _line(what, want, got, got == want)


def _of_causes(what: str, want: Any, judgement: Judgement) -> Iterable[dict[str, Any]]:
    """Yield one line per cause that is expected among the first, kept, rejected or believed so."""
    words = {r.cause: r.belief for r in judgement.ranking}
    first = [r.cause for r in judgement.ranking[:3]]
    if what == "belief":
        for cause, word in want.items():
            yield _line(f"belief of {cause}", word, words.get(cause), words.get(cause) in _listed(word))
        return
    for cause in _listed(want):
        word = words.get(cause)
        if what == "top3":
            yield _line(what, cause, first, cause in first)
        elif what == "not_set_aside":
            yield _line(what, cause, word, word not in (None, "set_aside"))
        else:
            yield _line(what, cause, word, word in (None, "unlikely", "set_aside"))


def _line(what: str, want: Any, got: Any, ok: bool) -> dict[str, Any]:
    return {"what": what, "want": want, "got": got, "ok": ok}


def told(results: Sequence[Mapping[str, Any]]) -> str:
    """Return the results as text for people."""
    lines = []
    for result in results:
        if result["problems"]:
            lines.append(f"NOT READ  {result['file']}")
            lines += [f"          {p['where']}: {p['what']} {p['remedy']}".rstrip() for p in result["problems"]]
            continue
        lines.append(f"{'AS EXPECTED' if result['ok'] else 'DIFFERENT'}  {result['file']}")
        for r in result["ranking"][:3]:
            lines.append(f"  {r['belief']:<10} {r['probability']:>6.1%}  {r['cause']}  ({r['shown']})")
        lines.append(f"  next: {result['next_action']}")
        lines += [
            f"  expected {x['what']}: {x['want']}, got {x['got']}" for x in result["expected"] if not x["ok"]
        ]
    return "\n".join(lines)
