"""Hours by activity, proposed from the times of the record and open to change; both values are kept.

A stretch between two entries belongs to the activity of the later one, unless it is longer than the
`longest_gap_minutes` of the knowledge. Where the record has no times, the knowledge's estimate is shown, marked as
such, and never added to hours that were worked; waiting is no work.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import datetime

from diag.call.case_of import rows_read
from diag.call.desk import CallDesk
from diag.record.kinds import WAIT_ENDS
from diag.record.state import TrailStep
from diag.writeup.story.model import Item, Labour, MadeTest

ACTIVITIES: Mapping[str, str] = {
    "travel": "travel", "set_up": "making safe", "diagnosis": "diagnosis", "repair": "repair",
    "verification": "measuring again", "write_up": "write-up", "waiting": "waiting",
}
WAITING = "waiting"
TESTS = "test"
"""Activity of the lines that split the diagnosis by test."""


def labour_of(call: CallDesk, tests: Sequence[MadeTest], items: Mapping[str, Item]) -> tuple[Labour, ...]:
    """Return one line per activity, then the diagnosis and the measuring again split by test."""
    clock = _Clock(call)
    estimate = _estimates(call, tests)
    lines: list[Labour] = []
    allowance = call.engine.knowledge.write_up.labour_allowance
    for activity, label in ACTIVITIES.items():
        measured, events = clock.minutes.get(activity, 0.0), tuple(clock.events.get(activity, ()))
        guessed = estimate.get(activity, 0.0)
        basis, minutes = ("clock", measured) if measured >= 1 else ("estimate", guessed)
        allowed = allowance[activity] * 60 if activity in allowance else None
        typed = items.get(f"hours_{activity}")
        if typed is not None and typed.told.number is not None:
            given = round(typed.told.number / 60, 1)
            lines.append(Labour(activity, label, given, basis="typed", proposed=minutes or None,
                                events=typed.told.events, allowed=allowed))
        elif minutes:
            lines.append(Labour(activity, label, round(minutes, 1), basis, proposed=None, events=events,
                                allowed=allowed))
    return (*lines, *_by_test(tests, clock))


def totals(labour: Sequence[Labour]) -> tuple[Labour, ...]:
    """Return the lines by activity, without the split by test."""
    return tuple(line for line in labour if line.activity != TESTS)


def worked(labour: Sequence[Labour]) -> tuple[Labour, ...]:
    """Return the lines that add up to the hours worked: entered or from the clock, waiting and estimates left out."""
    return tuple(n for n in totals(labour) if n.basis != "estimate" and n.activity != WAITING)


def span_minutes(call: CallDesk) -> float | None:
    """Return minutes from the first entry to the last before the close, waiting taken off; None without times."""
    live = [s for s in call.state.trail if s.live and s.kind not in ("closed", "judged", "erased")]
    known = [s for s in live if not (s.kind == "note" and "item" in s.body)]
    if len(known) < 2:
        return None
    times = sorted(datetime.fromisoformat(s.happened or s.at) for s in known)
    passed = (times[-1] - times[0]).total_seconds() / 60 - _Clock(call).minutes.get(WAITING, 0.0)
    return round(passed, 1) if passed > 0 else None


def by_test(labour: Sequence[Labour]) -> tuple[Labour, ...]:
    """Return the split by test."""
    return tuple(line for line in labour if line.activity == TESTS)


def _by_test(tests: Sequence[MadeTest], clock: _Clock) -> Iterator[Labour]:
    for test in tests:
        minutes = clock.by_event.get(test.event, 0.0)
        if minutes >= 1:
            yield Labour(TESTS, test.asks, round(minutes, 1), basis="clock", proposed=None, events=(test.event,))


class _Clock:
    """Minutes by activity as the times of the record give them."""

    def __init__(self, call: CallDesk) -> None:
        self.minutes: dict[str, float] = {}
        self.events: dict[str, list[str]] = {}
        self.by_event: dict[str, float] = {}
        gap = call.engine.knowledge.write_up.longest_gap_minutes
        place = {event: i for i, event in enumerate(call.state.timeline)}
        steps = sorted((s for s in call.state.trail if s.live), key=lambda s: place[s.event])
        before: TrailStep | None = None
        for step in steps:
            self._add(before, step, gap, call)
            before = step

    def _add(self, before: TrailStep | None, step: TrailStep, longest: float, call: CallDesk) -> None:
        told = step.body.get("minutes") if step.kind == "repair" else None
        passed = max(0.0, _minutes(before, step)) if before else 0.0
        if before and before.kind == "waiting" and before.body["for"] != WAIT_ENDS:
            activity = WAITING
        else:
            activity = _activity(step, call)
            if told is not None:
                passed = float(told)
            elif passed > longest:
                passed = 0.0
        if passed and activity:
            self.minutes[activity] = self.minutes.get(activity, 0.0) + passed
            self.events.setdefault(activity, []).append(step.event)
            self.by_event[step.event] = passed


def _minutes(a: TrailStep, b: TrailStep) -> float:
    times = [datetime.fromisoformat(s.happened or s.at) for s in (a, b)]
    return (times[1] - times[0]).total_seconds() / 60


def _activity(step: TrailStep, call: CallDesk) -> str:
    mended = any(r.kind == "repair" and step.epoch > r.epoch for r in call.state.repairs)
    if step.kind == "channel":
        return "travel" if step.body["channel"] == "site" else ""
    if step.kind == "caution":
        return "set_up"
    if step.kind == "repair":
        return "repair"
    if step.kind in ("closed", "judged", "reopened") or (step.kind == "note" and "item" in step.body):
        return "write_up"
    if step.kind in ("proof", "swap", "change", "photo", "answer"):
        return "verification" if mended else "diagnosis"
    return "" if step.kind in ("opened", "erased", "waiting") else "diagnosis"


def _check_minutes(call: CallDesk, test: MadeTest) -> float:
    check = call.engine.knowledge.questions[test.check]
    answer = next(a for a in call.state.answers if a.event == test.event)
    if answer.status == "cannot_here":
        return 0.0
    minutes = check.minutes
    return float((minutes.on_site(rows_read(answer)) if answer.channel == "site" else minutes.desk) or 0.0)


def _estimates(call: CallDesk, tests: Sequence[MadeTest]) -> dict[str, float]:
    spent = call.minutes()
    again = sum(_check_minutes(call, t) for t in tests if t.when != "before")
    first = sum(_check_minutes(call, t) for t in tests if t.when == "before")
    return {"travel": spent["travel"], "diagnosis": first, "repair": spent["repairs"], "verification": again}
