"""Whether a fault was made to go and come: mended and brought back, or moved to another row with a piece."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

from diag.call.bearing import CHANGED, FOR, FOR_STRONGLY, OLD_BACK, ORIGINAL, Bearing
from diag.call.by_row import figures_by_row
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.record.kinds import Answer


def gone(tests: Sequence[Bearing]) -> tuple[int, int] | None:
    """Return the places of the first bad reading and of the first good one after the change, else None.

    The bad one speaks for the cause strongly, and the good one that much less.
    """
    bad = next((i for i, t in enumerate(tests) if t.ratio >= FOR_STRONGLY and t.state == ORIGINAL), len(tests))
    changed = range(bad + 1, len(tests))
    good = next((i for i in changed if tests[i].state == CHANGED
                 and tests[i].ratio * FOR_STRONGLY <= tests[bad].ratio), None)
    return None if good is None else (bad, good)


def gone_and_come(tests: Sequence[Bearing]) -> tuple[str, ...]:
    """Return (bad, good while changed, bad again with the old back) in this order, else ()."""
    places = gone(tests)
    if places is None:
        return ()
    bad, good = places
    again = next((t for t in tests[good + 1 :] if t.ratio >= FOR_STRONGLY and t.state in (ORIGINAL, OLD_BACK)), None)
    return (tests[bad].event, tests[good].event, again.event) if again else ()


def moved(tests: Sequence[Bearing], answers: Mapping[str, Answer], knowledge: Knowledge) -> tuple[str, ...]:
    """Return the answers that show the fault moving to another row together with a piece, else ()."""
    for first in tests:
        before = answers[first.event]
        if first.ratio < FOR_STRONGLY or before.pieces:
            continue
        later = [answers[t.event] for t in tests if t.epoch == first.epoch and answers[t.event].pieces]
        speaking = {t.event for t in tests if t.ratio >= FOR}
        check = knowledge.questions[first.check]
        found = _moved_in_map(before, later, check) or _moved_by_rows(before, later, speaking)
        if found:
            return found
    return ()


def _moved_in_map(before: Answer, later: Iterable[Answer], check: Check) -> tuple[str, ...]:
    """The row that was bad reads like the good one now, and the row that holds its piece reads like it did.

    Both differences must be at least half of all that the rows differ, and of opposite sign.
    """
    was = figures_by_row(before, check)
    for answer in later:
        now = figures_by_row(answer, check)
        for row, home in homes(answer).items():
            if not {row, home} <= was.keys() & now.keys():
                continue
            then, since = was[home] - was[row], now[home] - now[row]
            wide = min(abs(then) / _spread(was), abs(since) / _spread(now)) if then * since < 0 else 0.0
            if wide >= 0.5:
                return before.event, answer.event
    return ()


def _moved_by_rows(before: Answer, later: Sequence[Answer], speaking: set[str]) -> tuple[str, ...]:
    """One row read at a time: bad where the piece went, good where it came from."""
    old = before.rows if isinstance(before.rows, tuple) else ()
    went = [a for a in later if a.event in speaking and isinstance(a.rows, tuple)
            and any(homes(a).get(r) in old for r in a.rows)]
    came = [a for a in later if a.event not in speaking and isinstance(a.rows, tuple) and set(a.rows) <= set(old)]
    return (before.event, went[0].event, came[0].event) if went and came else ()


def homes(answer: Answer) -> dict[int, Any]:
    """Return, by row, where the piece that sat there at an answer comes from."""
    return {row: home for sat in answer.pieces.values() for row, home in sat.items()}


def _spread(values: Mapping[int, float]) -> float:
    return max(values.values()) - min(values.values())
