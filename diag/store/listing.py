"""Calls as they stand in a list: who, what, which state, and what is due."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from textwrap import shorten

from diag.record.graph import show_call_id
from diag.record.times import age_words, clock
from diag.store.summary import CallSummary

WAITS: Mapping[str, str] = {
    "caller": "waiting for the caller", "part": "waiting for a part", "technician": "technician under way",
    "weather": "waiting for the weather", "proof": "proof is due",
}


MOST_WORDS = 40
"""Letters of the caller's words by which a call of nobody named is told apart."""


@dataclass(frozen=True)
class Listed:
    """One call of a list. `state`: due | open | waiting | closed."""

    call: str
    state: str
    who: str
    told: str
    """What it waits for and until when, or how it ended."""
    about: str
    """Leading causes, else symptoms or the caller's words."""
    practice: bool = False
    """Nobody's call: it stands after the others."""


def listed(calls: Sequence[CallSummary], now: datetime, labels: Mapping[str, str]) -> list[Listed]:
    """Return calls as listed: due first, then those on the line, those waiting, and the closed ones.

    `labels`: words for ids of causes and symptoms. Times are shown in the zone of `now`.
    """
    found = [_one(c, now, labels) for c in calls]
    order = {"due": 0, "open": 1, "waiting": 2, "closed": 3}
    return sorted(found, key=lambda c: (order[c.state], c.practice))


def _one(c: CallSummary, now: datetime, labels: Mapping[str, str]) -> Listed:
    due = datetime.fromisoformat(c.due) if c.due else None
    state: str = "open" if c.damaged else c.status
    if due is not None and due <= now:
        state = "due"
    who = ", ".join(p for p in (c.customer, c.place, c.machine) if p) or (
        f'"{shorten(c.words, MOST_WORDS, placeholder=" ..")}"' if c.words else "nobody named")
    rows = "all rows" if c.rows == "all" else _rows(c.rows)
    who = " | ".join(p for p in (show_call_id(c.call)[:5], who, rows, "PRACTICE" if c.practice else "") if p)
    about = [labels.get(x, x.replace("_", " ")) for x in (c.causes[:1] or c.symptoms[:2])]
    return Listed(c.call, state, who, _told(c, due, now), about="; ".join(about) or c.words, practice=c.practice)


def _rows(rows: str) -> str:
    """Return "3" as row 3, "3-7" and "3, 5" as rows."""
    return f"{'row' if rows.isdigit() else 'rows'} {rows}" if rows else ""


def _told(c: CallSummary, due: datetime | None, now: datetime) -> str:
    if c.damaged:
        return "damaged"
    until = f" until {clock(due, now)}" if due else ""
    if c.status == "closed":
        ended = c.result.replace("_", " ")
        return ended + (f", follow up {clock(due, now)}" if due else f", {age_words(c.changed, now)}")
    if c.status == "waiting":
        return WAITS.get(c.waiting_for, c.waiting_for) + until
    where = "on the line" if c.channel == "phone" else "on site"
    return f"{where}, {age_words(c.changed, now)}" + (f", due {clock(due, now)}" if due else "")
