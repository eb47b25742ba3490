"""From the folded state of a call to the facts the engine reasons about."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from diag.call.readings import Evaluated, evaluate
from diag.figures.rows import ALL, Rows, show_rows
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.reason.case import UNKNOWN, Case, Instance, RepairDone
from diag.reason.tables import Tables
from diag.record.kinds import Answer
from diag.record.state import State

SAYS_LITTLE = math.log(1.5)
BACK = "old part or setting back"
"""Method of a reading made with the old part or setting back in place, to see whether the fault returns."""
Likelihood = tuple[float, ...]


@dataclass(frozen=True)
class Seen:
    """One live answer with what it means."""

    answer: Answer
    evaluated: Evaluated


@dataclass(frozen=True)
class ReadCase:
    """A call read for the engine: the case, and what each answer was taken to mean."""

    case: Case
    seen: Mapping[str, Seen]
    """By event id of the answer."""
    no_longer_known: tuple[str, ...]
    """Ids in the record that this knowledge does not know; they move nothing."""


def read_case(state: State, tables: Tables) -> ReadCase:
    """Return the case of a call's state."""
    knowledge = tables.knowledge
    seen: dict[str, Seen] = {}
    lost: list[str] = []
    for answer in state.answers:
        check = knowledge.questions.get(answer.check)
        if check is None:
            lost.append(answer.check)
            continue
        seen[answer.event] = Seen(answer, evaluate(knowledge, check, answer, state))
    instances = [*_instances(seen.values(), state, knowledge), *_derived(state, seen, tables)]
    symptoms = [s for s, _ in state.accepted]
    lost += [s for s in (*symptoms, *state.denied) if s not in knowledge.symptoms]
    lost += [c for r in state.repairs for c in r.causes if c not in knowledge.causes]
    case = Case(
        channel=state.channel,
        axes=_axes(state, knowledge),
        symptoms=tuple(s for s in symptoms if s in knowledge.symptoms),
        denied=tuple(s for s in state.denied if s in knowledge.symptoms),
        instances=tuple(instances),
        repairs=tuple(_repairs(state, tables)),
        machine_rows=state.machine.rows,
        trouble_rows=None if state.situation.rows in (None, ALL) else tuple(state.situation.rows or ()),
        row_pattern=told_pattern(state, knowledge),
        changes=state.situation.changes,
        flags=state.situation.flags,
        not_here=frozenset(state.situation.without),
        figures=figures(state, instances, tables),
        prepared=_prepared(state, seen, knowledge),
        to_prove=_to_prove(state),
        proved="accepted" in {p.target: p.verdict for p in state.proofs}.values() and not _to_prove(state),
    )
    return ReadCase(case, seen, tuple(dict.fromkeys(lost)))


def _axes(state: State, knowledge: Knowledge) -> dict[str, str]:
    axes = {a: v for a, v in state.machine.axes.items() if isinstance(v, str) and a in knowledge.axes}
    known = {a: {v.name for v in axis.values} for a, axis in knowledge.axes.items()}
    axes = {a: v for a, v in axes.items() if v in known[a]}
    crop = state.situation.crop
    if crop and "crop" in known and crop in known["crop"]:
        axes["crop"] = crop
    return axes


# --- answers -> instances -----------------------------------------------------------------------------


def _scope(answer: Answer, check: Check, state: State) -> Rows:
    if answer.rows is not None:
        return answer.rows
    trouble = state.situation.rows
    return trouble if check.takes.per == "row" and trouble is not None else ALL


def _instances(seen: Iterable[Seen], state: State, knowledge: Knowledge) -> Iterable[Instance]:
    grouped: dict[tuple[str, str, int], list[Seen]] = {}
    for one in seen:
        if (one.answer.method or "").startswith(BACK):
            continue  # it speaks of the machine as it was, not as it is
        check = knowledge.questions[one.answer.check]
        rows = show_rows(_scope(one.answer, check, state))
        grouped.setdefault((one.answer.check, rows, one.answer.epoch), []).append(one)
    for (check_id, rows, epoch), members in grouped.items():
        yield _instance(knowledge, check_id, rows, epoch, members=members, state=state)


def _instance(
    knowledge: Knowledge, check_id: str, rows: str, epoch: int, members: Sequence[Seen], state: State
) -> Instance:
    check = knowledge.questions[check_id]
    holding: dict[tuple[str, str | None], Seen] = {}
    for one in members:
        if one.evaluated.outcome is not None:
            holding[one.answer.observer, one.answer.method] = one
    likelihood = (1.0,) * len(check.outcomes)
    least = knowledge.settings.floor if len(holding) > 1 else 0.0  # two sure reports that contradict leave something
    for one in holding.values():
        error = max(least, _error(knowledge, one.answer.observer))
        likelihood = tuple(a * b for a, b in zip(likelihood, reported(one.evaluated.weights, error), strict=True))
    names = tuple(check.outcomes)
    control = is_control(members[-1].answer, check, state)
    given = bool(holding) and not control
    best = max(range(len(names)), key=lambda i: (round(likelihood[i], 9), -i)) if given else None
    last = members[-1]
    scope = _scope(last.answer, check, state)
    return Instance(
        check=check_id, rows=rows, epoch=epoch, outcome=None if best is None else names[best],
        likelihood=likelihood, events=tuple(m.answer.event for m in members),
        row_numbers=None if scope == ALL else tuple(scope), given=given,
        results=last.evaluated.results if given else {},
        refused=last.answer.status == "cannot_here", control=control,
    )


def is_control(answer: Answer, check: Check, state: State) -> bool:
    """A look at rows without trouble, and with no piece from a row in trouble: a control, no evidence about it."""
    trouble, rows = state.situation.rows, _scope(answer, check, state)
    if trouble is None or ALL in (trouble, rows) or set(rows) & set(trouble):
        return False
    homes = {home for moved in answer.pieces.values() for home in moved.values()}
    return not homes & set(trouble)


def _error(knowledge: Knowledge, observer: str) -> float:
    known = knowledge.observers.get(observer)
    return known.error if known else max(o.error for o in knowledge.observers.values())


def reported(weights: Likelihood, error: float) -> Likelihood:
    """Return P(report | true outcome) for a report with these weights by an observer who errs so often."""
    k = len(weights)
    if k < 2:
        return weights
    return tuple((1.0 - error) * w + error / (k - 1) * (1.0 - w) for w in weights)


def _derived(state: State, seen: Mapping[str, Seen], tables: Tables) -> Iterable[Instance]:
    """Yield answers the intake already holds: the pattern of the rows, what changed before, what the speed makes."""
    knowledge = tables.knowledge
    asked = {s.answer.check for s in seen.values()}
    changes = set(state.situation.changes)
    told_here: dict[str | None, set[str]] = {"rows": {told_pattern(state, knowledge)}, "changes": changes}
    observer = "caller" if state.opened.channel == "phone" else "technician"
    error = _error(knowledge, observer)
    for key, check in tables.reading:
        complained = not check.belongs_to or any(s in check.belongs_to for s, _ in state.accepted)
        if key in asked or not complained:
            continue
        if check.reads == "speed":
            yield from _worked_out(key, check, state, knowledge, observer=observer)
            continue
        words = told_here[check.reads]
        item = key.partition(".")[2]
        told = {name for name, o in check.outcomes.items() if words & set(o.reads) or (name == "yes" and item in words)}
        outcome = next((name for name in check.outcomes if name in told), None)
        if outcome is None:
            continue
        weights = tuple(1.0 if name == outcome else 0.0 for name in check.outcomes)
        yield Instance(key, ALL, 0, outcome, likelihood=reported(weights, error))


def _worked_out(
    key: str, check: Check, state: State, knowledge: Knowledge, observer: str
) -> Iterable[Instance]:
    """Yield what the speed that was told makes of a check, once all that it needs is known."""
    speed = state.situation.speed
    if speed is None:
        return
    told = Answer.model_construct(check=key, observer=observer, status="given", channel=state.channel, value=speed)
    seen = evaluate(knowledge, check, told, state)
    if seen.outcome is not None:
        yield Instance(key, ALL, 0, seen.outcome, likelihood=reported(seen.weights, _error(knowledge, observer)),
                       results=seen.results)


# --- the rest -----------------------------------------------------------------------------------------


def row_pattern(state: State) -> str:
    """Return the pattern of the rows in trouble: one, some, adjacent, section, alternate, all, all_but_one, unknown."""
    rows, count = state.situation.rows, state.machine.rows
    if rows is None:
        return UNKNOWN
    if rows == ALL or (count and len(rows) == count):
        return "all"
    numbers = tuple(rows)
    if len(numbers) == 1:
        return "one"
    if count and len(numbers) == count - 1 and count > 2:
        return "all_but_one"
    if any(r != ALL and tuple(r) == numbers for r in state.machine.sections.values()):
        return "section"
    steps = {b - a for a, b in pairwise(numbers)}
    if steps == {1}:
        return "section" if count and len(numbers) * 2 == count and numbers[0] in (1, count // 2 + 1) else "adjacent"
    if steps == {2} and len(numbers) >= 3:
        return "alternate"
    return "some"


def told_pattern(state: State, knowledge: Knowledge) -> str:
    """Return the pattern of the rows in trouble, else the one that the complaint itself tells."""
    pattern = row_pattern(state)
    told = {knowledge.symptoms[s].rows for s, _ in state.accepted if s in knowledge.symptoms} - {None}
    return next(iter(told)) or UNKNOWN if pattern == UNKNOWN and len(told) == 1 else pattern


def _repairs(state: State, tables: Tables) -> Iterable[RepairDone]:
    usual = tables.knowledge.settings.repair_works
    order = {event: i for i, event in enumerate(state.timeline)}
    for repair in sorted((r for r in state.repairs if r.kind == "repair"), key=lambda r: order[r.event]):
        cured: dict[str, float] = {}
        for cause_id in repair.causes:
            cause = tables.knowledge.causes.get(cause_id)
            if cause:
                works = usual if cause.repair.works is None else cause.repair.works
                for name in (cause_id, *cause.repair.also):
                    cured[name] = max(cured.get(name, 0.0), works)
        yield RepairDone(cured)


def _to_prove(state: State) -> tuple[str, ...]:
    accepted = {p.target for p in state.proofs if p.verdict in ("accepted", "not_accepted")}
    waiting = [r for r in state.repairs if r.kind == "repair" and r.event not in accepted]
    return tuple(dict.fromkeys(c for r in waiting for c in r.causes))


def _prepared(state: State, seen: Mapping[str, Seen], knowledge: Knowledge) -> frozenset[str]:
    """Preparations of the last check done on site stay in force for the next one."""
    on_site = [s for s in seen.values() if s.answer.channel == "site" and s.answer.status == "given"]
    if not on_site or on_site[-1].answer.epoch != state.epoch:
        return frozenset()
    return frozenset(knowledge.questions[on_site[-1].answer.check].prep)


def figures(state: State, instances: Sequence[Instance], tables: Tables) -> dict[str, float]:
    """Return the numbers about the call itself that rules may read."""
    minutes = minutes_spent(state, instances, tables.knowledge)
    told = [i for i in instances if i.events]
    quiet = 0
    for instance in reversed(told):
        if _moved(instance, tables):
            break
        quiet += 1
    return {
        "desk_minutes": minutes["desk"],
        "site_minutes": minutes["checks"],
        "answers": float(sum(i.given for i in told)),
        "unsure": float(sum(not i.given for i in told)),
        "narrowed_nothing": float(quiet),
        "changes_since": float(len(state.done_before) + len(state.not_put_back)),
        "repairs": float(len(state.repairs)),
    }


def _moved(instance: Instance, tables: Tables) -> bool:
    if not instance.given:
        return False
    table = tables.check(instance.check)
    base = float(sum(b * x for b, x in zip(table.base, instance.likelihood, strict=True)))
    one = (table.shares.T * list(instance.likelihood)).sum(axis=1)
    ratios = one / base
    return bool(max(abs(math.log(float(ratios.max()))), abs(math.log(float(ratios.min())))) > SAYS_LITTLE)


def rows_read(answer: Answer) -> int:
    """Return how many values an answer holds: the rows that were walked along for it."""
    return len(answer.values) if answer.values is not None else 0


def minutes_spent(state: State, instances: Sequence[Instance], knowledge: Knowledge) -> dict[str, float]:
    """Return the knowledge's estimate of minutes: checks, repairs, travel, desk, grower.

    Each answered or unsure instance counts once, the items of one list together, less the preparations already in
    force before it.
    """
    by_event = {a.event: a for a in state.answers}
    spent = dict.fromkeys(("checks", "repairs", "travel", "desk", "grower"), 0.0)
    prepared: frozenset[str] = frozenset()
    forms: set[tuple[str, int]] = set()
    for instance in instances:
        form = (instance.check.partition(".")[0], instance.epoch)
        if not instance.events or instance.refused or ("." in instance.check and form in forms):
            continue
        forms.add(form)
        check, answer = knowledge.questions[instance.check], by_event[instance.events[-1]]
        if answer.channel == "phone":
            spent["desk"] += check.minutes.desk or 0.0
            spent["grower"] += check.minutes.grower or 0.0
        else:
            saved = sum(m for name, m in check.prep.items() if name in prepared)
            spent["checks"] += max(0.5, (check.minutes.on_site(rows_read(answer)) or 0.0) - saved)
            prepared = frozenset(check.prep)
    for repair in state.repairs:
        known = [knowledge.causes[c].repair.minutes for c in repair.causes if c in knowledge.causes]
        spent["repairs"] += float(repair.minutes) if repair.minutes is not None else sum(known)
    if state.opened.channel == "phone" and state.channel == "site":
        spent["travel"] = knowledge.settings.drive_out
    return {name: round(value, 1) for name, value in spent.items()}
