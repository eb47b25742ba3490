"""Times as people say them, in the zone of the desk, stored as UTC."""

from __future__ import annotations

import contextlib
from datetime import datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.errors import UsageError
from diag.record.times import age_words, clock, parse_when

ZONE = timezone(timedelta(hours=-5))
NOW = datetime(2026, 5, 4, 6, 40, tzinfo=ZONE)


@pytest.mark.parametrize(
    ("said", "stored"),
    [
        ("10:40", "2026-05-04T15:40:00Z"), ("at 10.40", "2026-05-04T15:40:00Z"), ("6:30", "2026-05-05T11:30:00Z"),
        ("3 pm", "2026-05-04T20:00:00Z"), ("12 am", "2026-05-05T05:00:00Z"), ("12:15 pm", "2026-05-04T17:15:00Z"),
        ("tomorrow 8:00", "2026-05-05T13:00:00Z"), ("tomorrow", "2026-05-05T13:00:00Z"),
        ("today 5:00", "2026-05-04T10:00:00Z"), ("in 20 min", "2026-05-04T12:00:00Z"),
        ("2 h ago", "2026-05-04T09:40:00Z"), ("in 3 days", "2026-05-07T11:40:00Z"),
        ("12 May 8:00", "2026-05-12T13:00:00Z"),
        ("May 12", "2026-05-12T13:00:00Z"), ("2026-05-06 7:05", "2026-05-06T12:05:00Z"),
        ("2026-05-04T06:40:00Z", "2026-05-04T06:40:00Z"), ("  ", None),
    ],
)
def test_what_is_meant(said: str, stored: str | None) -> None:
    """Clock times, days, spans, dates, and the stored form itself."""
    assert stored == parse_when(said, NOW)


def test_the_last_one_is_meant_of_what_has_happened() -> None:
    """A clock time of something past is the last one, not the next."""
    assert "2026-05-03T20:00:00Z" == parse_when("15:00", NOW, past=True)
    assert "2026-05-04T11:00:00Z" == parse_when("6:00", NOW, past=True)


@pytest.mark.parametrize("said", ["soon", "25:00", "10:75", "31 February", "12 foo 8:00", "in 20", "[/x]"])
def test_what_is_no_time_is_refused(said: str) -> None:
    """The place is named and the forms are shown."""
    with pytest.raises(UsageError) as caught:
        parse_when(said, NOW, "Call back")
    assert "Call back" == caught.value.where
    assert "tomorrow 8:00" in caught.value.remedy


@given(st.text(max_size=80))
def test_any_text_gives_a_time_or_is_refused(text: str) -> None:
    """No text makes it fail in another way."""
    with contextlib.suppress(UsageError):
        found = parse_when(text, NOW)
        assert found is None or found.endswith("Z")


def test_times_and_ages_in_words() -> None:
    """Short enough for a list."""
    spans = ({"minutes": 1}, {"minutes": 20}, {"hours": 3}, {"days": 1}, {"days": 9})
    ages = [age_words((NOW - timedelta(**span)).isoformat(), NOW) for span in spans]
    days = ((4, 10, 40), (5, 8, 5), (3, 8, 0), (12, 8, 0))
    times = [clock(datetime(2026, 5, d, h, m, tzinfo=ZONE), NOW) for d, h, m in days]

    assert ["just now", "20 min ago", "3 h ago", "1 day ago", "9 days ago"] == ages
    assert ["10:40", "tomorrow 8:05", "yesterday 8:00", "12 May 8:00"] == times
