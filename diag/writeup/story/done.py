"""What was done and how it was proved."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from diag.call.bearing import FOR
from diag.call.desk import CallDesk
from diag.call.proof import Sample
from diag.call.shown import Bench
from diag.knowledge.model import Verification
from diag.measure.counting import exact_interval, fisher
from diag.measure.proof import LIMIT
from diag.record.kinds import PartFitted, Repaired, SettingChanged
from diag.text import rows_words
from diag.writeup.story.measured import setting_text
from diag.writeup.story.model import Correction, Count, CountedShare, PartUsed, Proof

ROLES: Mapping[str, str] = {
    "technician": "technician", "phone_desk": "phone desk", "grower": "grower", "caller": "caller", "tool": "program",
}


def repairs(call: CallDesk, sealed: Mapping[str, Mapping[str, str]], bench: Bench) -> Iterator[Correction]:
    """Yield repairs and workarounds as they were done."""
    knowledge = call.engine.knowledge
    for done in call.state.repairs:
        known = [knowledge.causes[c] for c in done.causes if c in knowledge.causes]
        words = sealed.get(done.event, {}).get("words", "")
        settings = tuple(_setting(s) for s in done.settings)
        minutes = done.minutes if done.minutes is not None else None
        ways = [c.interim for c in known if c.interim] if done.kind == "interim" else []
        yield Correction(
            event=done.event, words=words, kind=done.kind, watch=tuple(w.watch for w in ways),
            ends=tuple(w.ends for w in ways), loses=tuple(w.loses for w in ways),
            causes=tuple(c.label for c in known), where=rows_words(done.rows),
            parts=tuple(_part(call, done, p, bench) for p in done.parts), settings=settings, minutes=minutes,
            by=ROLES.get(done.done_by or done.by, done.by), on=done.happened or done.at,
            rows=tuple(sorted(bench.proving.rows(done))),
        )


def _part(call: CallDesk, done: Repaired, part: PartFitted, bench: Bench) -> PartUsed:
    """Return a part with the firm tests that point at a mended cause whose repair takes such a part."""
    knowledge = call.engine.knowledge
    named = part.item.casefold().replace(" ", "_")
    events: dict[str, None] = {}
    for cause in done.causes:
        known = knowledge.causes.get(cause)
        parts = known.repair.parts if known else ()
        takes = {n.casefold().replace(" ", "_") for p in parts for n in (p, knowledge.parts[p].label)}
        if known and any(named == t or t in named or named in t for t in takes):
            events |= dict.fromkeys(t.event for t in bench.tests(cause) if t.firm and t.ratio >= FOR)
    by_label = {p.label.casefold().replace(" ", "_"): p.label for p in knowledge.parts.values()}
    by_label |= {name: p.label for name, p in knowledge.parts.items()}
    return PartUsed(by_label.get(named, part.item), part.qty, tuple(events))


def _setting(setting: SettingChanged) -> str:
    rows = f", {rows_words(setting.rows)}" if setting.rows is not None else ""
    before, after = setting_text(setting.before), setting_text(setting.after)
    if before and after:
        return f"{setting.name}{rows}: {before} -> {after}"
    return f"{setting.name}{rows}: {after or before or 'changed'}"


def proofs(call: CallDesk, bench: Bench) -> Iterator[Proof]:
    """Yield the judgement on each repair that was measured again or that a person judged."""
    said = {p.target: p for p in call.state.proofs}
    firm = {a.event for a in bench.answers if bench.firm(a)}
    for repair, judged in bench.proved.items():
        last = said.get(repair)
        if last is None and not judged.answers:
            continue
        counts = tuple(_count(call, s, _same(judged.before, s)) for s in judged.after)
        controls = tuple(_count(call, s, None) for s in judged.control_counts)
        yield Proof(
            event=last.event if last else repair, repair=repair, verdict=judged.verdict, says=judged.says,
            why=judged.why, against=judged.against, test=(last.test or "") if last else "", answers=judged.answers,
            firm=bool(firm & set(judged.answers)),
            control=judged.control, needs_control=judged.needs_control, counts=counts, controls=controls,
            rule=_rule(call, repair), claim_seeds=_claim_seeds(call, repair),
            on=(last.happened or last.at) if last else "",
        )


def _same(before: tuple[Sample, ...], after: Sample) -> Sample | None:
    """Return the count before the repair by the same check in the same rows, else None: others are not compared."""
    return next((s for s in before if s.check == after.check and s.rows == after.rows), None)


def _count(call: CallDesk, after: Sample, before: Sample | None) -> Count:
    check = call.engine.knowledge.questions[after.check]
    low, high = exact_interval(after.bad, after.n)
    return Count(
        check=after.check, what=check.asks.rstrip("."), where=rows_words(after.rows),
        before=CountedShare(before.bad, before.n, *exact_interval(before.bad, before.n)) if before else None,
        after=CountedShare(after.bad, after.n, low, high), limit=LIMIT,
        chance=fisher(before.bad, before.n, after.bad, after.n) if before else None,
        better=before is not None and after.bad / after.n < before.bad / before.n,
        events=(*(before.events if before else ()), *after.events),
    )


def _rule(call: CallDesk, repair: str) -> str:
    """Return how such a repair is accepted, as the knowledge says it."""
    return " ".join(f"{v.accept.strip().rstrip('.')}." for v in _verifications(call, repair))


def _verifications(call: CallDesk, repair: str) -> list[Verification]:
    knowledge = call.engine.knowledge
    done = next((r for r in call.state.repairs if r.event == repair), None)
    named = [knowledge.causes[c].repair.verify for c in (done.causes if done else ()) if c in knowledge.causes]
    return [knowledge.verifications[v] for v in dict.fromkeys(named) if v and v in knowledge.verifications]


def _claim_seeds(call: CallDesk, repair: str) -> int:
    return max((v.seeds.get("claim", 0) for v in _verifications(call, repair)), default=0)
