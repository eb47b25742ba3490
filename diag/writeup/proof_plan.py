"""How a repair is to be proved: the verification the knowledge gives for it, with control row and same method.

Three steps (good enough to roll, for the file, for a claim) with seeds and minutes; where a count has begun, how
far it has come; before and after side by side; accepted, not accepted, or not yet. "Better, but not right" leads on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from diag.call.desk import CallDesk
from diag.call.proof import NOT_ACCEPTED, Sample
from diag.call.readings import context
from diag.call.shown import Bench
from diag.errors import UsageError
from diag.figures.rows import Rows, expand
from diag.knowledge.model import Check, Verification
from diag.measure.proof import LIMIT, Sequential, cannot_show, fixed, repaired, sequential
from diag.record.kinds import Repaired
from diag.text import number, rows_words, wrap
from diag.writeup.story.measured import Measurements, pairs_of
from diag.writeup.story.model import Pair

SECONDS_PER_SEED = 6.0
SETUP_MINUTES = 5.0
TIMES: Mapping[str, tuple[float, float]] = {"roll": (5.0, 0.20), "file": (3.0, 0.10), "claim": (2.0, 0.05)}
"""Step -> (bad share over the limit, risk of accepting a bad repair); common practice."""
TITLES: Mapping[str, str] = {
    "roll": "good enough to roll", "file": "good enough for the file", "claim": "good enough for a claim",
}


@dataclass(frozen=True)
class ProofStep:
    """One step of proof: seeds to count in each row, the row that takes, the minutes, what it leaves open."""

    name: str
    title: str
    seeds: int
    length: float | None
    """Metres of row, None while the target spacing is not known."""
    minutes: float
    cannot_show: str
    reached: bool


@dataclass(frozen=True)
class ProofPlan:
    """How to prove one repair, and how far it is."""

    label: str
    """Which kind of repair this proof is for."""
    asks: str
    """What the check to make asks."""
    same_method: bool
    """True when the fault was shown by that very check."""
    rows: tuple[int, ...]
    control: int | None
    """A good row to measure beside it; None when none is needed or the rows are not known."""
    measures: str
    sample: str
    accept: str
    wait: str
    steps: tuple[ProofStep, ...]
    state: Sequential | None
    """Where a test that may stop early stands."""
    verdict: str
    """accepted | not_accepted | not_yet."""
    why: str
    better: str
    """"" or that it is better but not right, and what that leads to."""
    said: str
    """The verdict a person gave; "" while nobody has."""


def proof_plan(call: CallDesk) -> ProofPlan:
    """Return the plan for the last repair. Raises UsageError when there is none to prove."""
    done = _repair(call)
    verification = _verification(call, done)
    check, same = _check(call, done, verification)
    bench = Bench(call)
    judged = bench.proved[done.event]
    counted = most_of(judged.after)
    before = next((s for s in judged.before if counted and s.check == counted.check), None)
    rows, control = _rows(call, done, verification)
    pairs = pairs_of(Measurements(call, bench).tests())
    return ProofPlan(
        label=verification.label, asks=check.asks.rstrip("."), same_method=same,
        rows=rows, control=control, measures=verification.measures,
        sample=verification.sample, accept=verification.accept,
        wait="Oil warm, discs full, 200 ft planted first; same rows, speed, vacuum and lot as before.",
        steps=tuple(_steps(call, check, verification, counted)),
        state=sequential(counted.bad, counted.n, LIMIT / 2, LIMIT * TIMES["file"][0]) if counted else None,
        verdict=judged.says, why=judged.why, better=_better(judged.says, before, counted, pairs),
        said=judged.verdict,
    )


def most_of(samples: Sequence[Sample]) -> Sample | None:
    """Return the count that says most: the one with the most seeds; counts of different rows are never added."""
    return max(samples, key=lambda s: s.n, default=None)


# --- which proof ------------------------------------------------------------------------------------------------


def _repair(call: CallDesk) -> Repaired:
    repairs = [r for r in call.state.repairs if r.kind == "repair"]
    if not repairs:
        raise UsageError("There is no repair to prove.", "proof", "Record the repair first.")
    return repairs[-1]


def _verification(call: CallDesk, done: Repaired) -> Verification:
    knowledge = call.engine.knowledge
    for cause in done.causes:
        known = knowledge.causes.get(cause)
        if known and known.repair.verify in knowledge.verifications:
            return knowledge.verifications[known.repair.verify or ""]
    raise UsageError("The knowledge names no proof for this repair.", "proof", "Measure again what showed the fault.")


def _check(call: CallDesk, done: Repaired, verification: Verification) -> tuple[Check, bool]:
    """Return the check to make: the one that showed the fault if it may prove it, else the best that can be made."""
    questions, channel = call.engine.knowledge.questions, call.state.channel
    shown = [a.check for a in call.state.answers if a.epoch <= done.epoch and a.status == "given"]
    known = [c for c in verification.checks if c in questions]
    for check in known:
        if check in shown:
            return questions[check], True
    feasible = [c for c in known if channel == "site" or questions[c].phone is not None]
    return questions[(feasible or known)[0]], False


def _rows(call: CallDesk, done: Repaired, verification: Verification) -> tuple[tuple[int, ...], int | None]:
    count = call.state.machine.rows
    scope: Rows | None = done.rows if done.rows is not None else call.state.situation.rows
    rows = expand(scope, count) if scope is not None and (scope != "all" or count) else ()
    if not verification.control_row or not rows or not count:
        return rows, None
    trouble = call.state.situation.rows
    bad = set(rows) | set(trouble if isinstance(trouble, tuple) else ())
    good = [r for r in range(1, count + 1) if r not in bad]
    return rows, min(good, key=lambda r: (min(abs(r - x) for x in rows), r)) if good else None


# --- steps ------------------------------------------------------------------------------------------------------


def _steps(
    call: CallDesk, check: Check, verification: Verification, counted: Sample | None
) -> Iterator[ProofStep]:
    """Yield the three steps where seeds are counted."""
    spacing = context(call.engine.knowledge, check, call.state).get("target_spacing")
    for name, seeds in verification.seeds.items():
        times, risk = TIMES[name]
        plan = fixed(seeds, LIMIT / 2, LIMIT * times, risk)
        too_few = f"{seeds} seeds cannot refuse a row with {number(LIMIT * times * 100)} % bad."
        told = cannot_show(plan) if plan else too_few
        length = seeds * spacing if isinstance(spacing, float) else None
        rows = 2 if verification.control_row else 1
        minutes = SETUP_MINUTES + rows * seeds * SECONDS_PER_SEED / 60
        yield ProofStep(name, TITLES[name], seeds, length, minutes=round(minutes, 1),
                        cannot_show=told, reached=counted is not None and counted.n >= seeds)


# --- better, but not right --------------------------------------------------------------------------------------


def _better(verdict: str, before: Sample | None, after: Sample | None, pairs: Sequence[Pair]) -> str:
    if verdict != NOT_ACCEPTED:
        return ""
    own = [(p.before.number, p.after.number) for p in pairs if not p.after.control]
    moved = any(a is not None and b is not None and a != b for a, b in own)
    if before and after:
        chance, told = repaired((before.bad, before.n), (after.bad, after.n))
        if chance < 0.05:
            return f"Better, but not right: {told} What was mended was part of it; go on with what remains."
        return f"No better: {told} Go on; the repair may have been in vain."
    if moved:
        return "It has changed, but it is not right: go on with what remains, a second fault may be there."
    return "Nothing has changed: go on; the repair may have been in vain."


def plan_text(plan: ProofPlan, width: int = 78) -> str:
    """Return the plan as text."""
    method = "the method that showed the fault" if plan.same_method else "this check; the fault was shown by another"
    control = f", and row {plan.control} beside it as control" if plan.control else ""
    lines = [
        f"Proof ({plan.label}): {plan.asks}, by {method}.",
        f"At {rows_words(plan.rows) or 'the repaired rows'}{control}. {plan.wait}",
        f"Measure: {plan.measures.rstrip('.')}. Sample: {plan.sample}. Accept: {plan.accept.rstrip('.')}.",
    ]
    for step in plan.steps:
        length = f", {number(step.length / 0.3048)} ft of row each" if step.length else ""
        mark = " (reached)" if step.reached else ""
        count = f"{step.seeds} seeds{length}, about {number(step.minutes)} min"
        lines.append(f"- {step.title}{mark}: {count}. {step.cannot_show}")
    if plan.state:
        lines.append(f"So far {plan.state.k} bad in {plan.state.n}: {plan.state.verdict.replace('_', ' ')}.")
    lines.append(f"The readings say: {plan.verdict.replace('_', ' ')}. {plan.why}")
    if plan.said and plan.said != plan.verdict:
        lines.append(f"A person said: {plan.said.replace('_', ' ')}. Every page says so.")
    lines += [plan.better] if plan.better else []
    return "\n".join(wrap(line, width) for line in lines) + "\n"
