"""Times as people say them: "10:40", "tomorrow 8:00", "in 20 min", "2 h ago", "12 May 8:00", "2026-05-04 10:40"."""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta

from diag.errors import UsageError
from diag.record.graph import stamp
from diag.text import count, one_line

FORMS = "Write 10:40, tomorrow 8:00, in 20 min, 2 h ago, 12 May 8:00 or 2026-05-04 10:40."
MORNING = time(8, 0)
"""Hour meant when only a day is named."""

_SPAN = re.compile(r"(in )?(\d{1,4}) ?(min|minutes?|h|hours?|d|days?|weeks?)( ago)?")
_CLOCK = re.compile(r"(?:at )?(\d{1,2})[:.](\d{2}) ?(am|pm)?|(?:at )?(\d{1,2}) ?(am|pm)")
_DAY = re.compile(r"(today|tomorrow|yesterday|\d{4}-\d{2}-\d{2}|\d{1,2} [a-z]{3,9}|[a-z]{3,9} \d{1,2})\b,? ?")
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_UNITS = {"m": timedelta(minutes=1), "h": timedelta(hours=1), "d": timedelta(days=1), "w": timedelta(weeks=1)}


def parse_when(text: str, now: datetime, where: str = "time", *, past: bool = False) -> str | None:
    """Return a time as it is stored (UTC), None for no text. `now` gives the day and the zone.

    A clock time alone is the next one, or the last one with `past`. Raises UsageError.
    """
    said = one_line(text, limit=60).casefold()
    if not said:
        return None
    if _iso(text):
        return stamp(datetime.fromisoformat(one_line(text).replace("Z", "+00:00")))
    span = _SPAN.fullmatch(said)
    if span and (span[1] or span[4]):
        length = int(span[2]) * _UNITS[span[3][0]]
        return stamp(now - length if span[4] else now + length)
    day = _DAY.match(said)
    named = _date(day[1], now, text, where) if day else None
    rest = said[day.end() :] if day else said
    clock = _clock(rest, text, where) if rest else MORNING
    moment = datetime.combine(named or now.date(), clock, now.tzinfo)
    if named is None and not past and moment <= now:
        moment += timedelta(days=1)
    if named is None and past and moment > now:
        moment -= timedelta(days=1)
    return stamp(moment)


def _iso(text: str) -> bool:
    return re.fullmatch(r"\d{4}-\d{2}-\d{2}T\d{2}:\d{2}:\d{2}Z", one_line(text)) is not None


def _date(said: str, now: datetime, text: str, where: str) -> date:
    named = {"today": 0, "tomorrow": 1, "yesterday": -1}
    if said in named:
        return (now + timedelta(days=named[said])).date()
    try:
        if "-" in said:
            return datetime.fromisoformat(said).date()
        words = said.split()
        number = next(int(w) for w in words if w.isdecimal() and len(w) < 5)
        month = next(_MONTHS.index(w[:3]) + 1 for w in words if w[:3] in _MONTHS)
        return now.date().replace(month=month, day=number)
    except (ValueError, StopIteration):
        raise UsageError(f'"{one_line(text, limit=40)}" names no day.', where, FORMS) from None


def _clock(said: str, text: str, where: str) -> time:
    found = _CLOCK.fullmatch(said.strip())
    if found is None:
        raise UsageError(f'"{one_line(text, limit=40)}" is no time.', where, FORMS)
    hour, minute = int(found[1] or found[4]), int(found[2] or 0)
    half = found[3] or found[5]
    if half:
        hour = hour % 12 + (12 if half == "pm" else 0)
    if hour > 23 or minute > 59:
        raise UsageError(f'"{one_line(text, limit=40)}" is no time of day.', where, FORMS)
    return time(hour, minute)


def age_words(stamp: str, now: datetime) -> str:
    """Return how long ago something was: "just now", "20 min ago", "3 h ago", "2 days ago"."""
    passed = now - datetime.fromisoformat(stamp)
    if passed < timedelta(minutes=2):
        return "just now"
    if passed < timedelta(hours=1):
        return f"{passed.seconds // 60} min ago"
    if passed < timedelta(days=1):
        return f"{passed.seconds // 3600} h ago"
    return f"{count(passed.days, 'day')} ago"


def clock(moment: datetime, now: datetime) -> str:
    """Return a time in words short enough for a list: "10:40", "tomorrow 8:00", "12 May 8:00"."""
    there = moment.astimezone(now.tzinfo)
    time = f"{there.hour}:{there.minute:02d}"
    days = (there.date() - now.date()).days
    named = {0: "", 1: "tomorrow ", -1: "yesterday "}
    return named.get(days, f"{there.day} {there:%b} ") + time
