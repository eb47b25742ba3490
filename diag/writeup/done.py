"""What was done and how it was proved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from diag.call.desk import CallDesk
from diag.call.shown import FOR, Bench
from diag.measure.proof import repaired, shown_by
from diag.record.rows import from_stored
from diag.record.state import Repair as RepairDone
from diag.writeup.measured import row_text, setting_text
from diag.writeup.model import MadeTest, PartUsed, Proof, Repair

ROLES: Mapping[str, str] = {
    "technician": "technician", "phone_desk": "phone desk", "grower": "grower", "caller": "caller", "tool": "program",
}


def repairs(call: CallDesk, sealed: Mapping[str, Mapping[str, str]], bench: Bench) -> Iterator[Repair]:
    """Yield repairs and workarounds as they were done."""
    knowledge = call.engine.knowledge
    for done in call.state.repairs:
        known = [knowledge.causes[c] for c in done.causes if c in knowledge.causes]
        words = sealed.get(done.event, {}).get("words", "")
        if not words and done.kind == "interim":
            words = " ".join(c.interim.do for c in known if c.interim)
        settings = tuple(_setting(s) for s in done.settings)
        minutes = done.minutes if done.minutes is not None else None
        yield Repair(
            event=done.event, words=words or " ".join(c.repair.do for c in known), kind=done.kind,
            causes=tuple(c.label for c in known), where=row_text(done.rows),
            parts=tuple(_part(call, done, p, bench) for p in done.parts), settings=settings, minutes=minutes,
            by=ROLES.get(done.done_by or done.by, done.by), on=done.happened or done.at,
        )


def _part(call: CallDesk, done: RepairDone, part: Mapping[str, Any], bench: Bench) -> PartUsed:
    """Return a part with the firm tests that point at a mended cause whose repair takes such a part."""
    knowledge = call.engine.knowledge
    named = part["item"].casefold().replace(" ", "_")
    events: dict[str, None] = {}
    for cause in done.causes:
        known = knowledge.causes.get(cause)
        parts = known.repair.parts if known else ()
        takes = {n.casefold().replace(" ", "_") for p in parts for n in (p, knowledge.parts[p].label)}
        if known and any(named == t or t in named or named in t for t in takes):
            events |= dict.fromkeys(t.event for t in bench.tests(cause) if t.firm and t.ratio >= FOR)
    by_label = {p.label.casefold().replace(" ", "_"): p.label for p in knowledge.parts.values()}
    by_label |= {name: p.label for name, p in knowledge.parts.items()}
    return PartUsed(by_label.get(named, part["item"]), part["qty"], tuple(events))


def _setting(setting: Mapping[str, Any]) -> str:
    rows = f", {row_text(from_stored(setting['rows']))}" if "rows" in setting else ""
    before, after = setting_text(setting.get("before")), setting_text(setting.get("after"))
    if before and after:
        return f"{setting['name']}{rows}: {before} -> {after}"
    return f"{setting['name']}{rows}: {after or before or 'changed'}"


def proofs(call: CallDesk, tests: tuple[MadeTest, ...]) -> Iterator[Proof]:
    """Yield verdicts with what their counts show and cannot show."""
    by_event = {a.event: a for a in call.state.answers}
    for proof in call.state.proofs:
        answers = [by_event[a] for a in proof.answers if a in by_event]
        counted = [a.value for a in answers if isinstance(a.value, Mapping) and "count" in a.value]
        bad, seeds = sum(c["count"] for c in counted), sum(c["of"] for c in counted)
        seeds += sum(len((a.spacings or a.positions or {}).get("values", ())) for a in answers)
        shows = shown_by(bad, sum(c["of"] for c in counted)) if counted and seeds else ""
        first = _before_of(call, answers, tests)
        if first and counted:
            shows = f"{shows} {repaired(first, (bad, sum(c['of'] for c in counted)))[1]}".strip()
        yield Proof(
            event=proof.event, repair=proof.target, verdict=proof.verdict, test=proof.test or "",
            answers=tuple(a.event for a in answers), step=_step(call, proof.target, seeds), seeds=seeds,
            shows=shows, on=proof.happened or proof.at,
        )


def _before_of(call: CallDesk, answers: list[Any], tests: tuple[MadeTest, ...]) -> tuple[int, int] | None:
    """Return (bad, seeds) of the last count by the same checks before the repair."""
    checks = {a.check for a in answers}
    before = {t.event for t in tests if t.when == "before" and not t.pieces}
    again = [a.value for a in call.state.answers if a.event in before and a.check in checks]
    counts = [value for value in again if isinstance(value, Mapping) and "count" in value]
    return (counts[-1]["count"], counts[-1]["of"]) if counts and counts[-1]["of"] else None


def _step(call: CallDesk, repair: str, seeds: int) -> str:
    """Return the farthest step (roll, file, claim) that the number of seeds reaches."""
    knowledge = call.engine.knowledge
    done = next((r for r in call.state.repairs if r.event == repair), None)
    verify = [knowledge.causes[c].repair.verify for c in (done.causes if done else ()) if c in knowledge.causes]
    wanted = [knowledge.verifications[v].seeds for v in verify if v and knowledge.verifications[v].seeds]
    if not wanted or not seeds:
        return ""
    reached = [name for name in ("roll", "file", "claim") if all(seeds >= w.get(name, 0) for w in wanted)]
    return reached[-1] if reached else ""
