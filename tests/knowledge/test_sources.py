"""Every statement has a mark, every mark has a source, and no title names a product or maker."""

from __future__ import annotations

import re

from diag.knowledge.base import SOURCED, Knowledge

SERIES = {"P": 59, "D": 60, "K": 70, "H": 76, "W": 56}
"""Least number of publications in each series."""


def test_every_mark_resolves(whole: Knowledge) -> None:
    """Causes, checks, rules, cautions, limits, symptoms and proofs name sources that exist."""
    for kind in SOURCED:
        for key, entry in getattr(whole, kind).items():
            assert (kind, key, True) == (kind, key, bool(entry.source))
            assert (kind, key, []) == (kind, key, [s for s in entry.source if s not in whole.sources])


def test_series_are_complete(whole: Knowledge) -> None:
    """Publications stand in five series, public cases in one."""
    for letter, least in SERIES.items():
        named = [n for n in whole.sources if re.fullmatch(rf"{letter}\d+b?", n)]
        assert (letter, True) == (letter, len(named) >= least)
        assert {"published"} == {whole.sources[n].kind for n in named}
    cases = [n for n in whole.sources if re.fullmatch(r"F\d{3}", n)]
    assert 26 == len(cases)
    assert {"case"} == {whole.sources[n].kind for n in cases}


def test_marks_without_a_publication_are_named_as_such(whole: Knowledge) -> None:
    """Common practice, estimate and memory are sources of their own kind, and only they are."""
    plain = {n for n, s in whole.sources.items() if s.kind in ("common_practice", "estimate", "from_memory")}
    assert {"common_practice", "estimate", "from_memory"} == plain


def test_titles_say_who_and_what(whole: Knowledge) -> None:
    """A title is more than an address; an address stands in `where`."""
    for name, source in whole.sources.items():
        assert (name, True) == (name, len(source.title) >= 12)
        assert (name, None) == (name, re.match(r"(https?://|www\.|[\w-]+\.(com|org|edu|net)\b)", source.title))


def test_nothing_withheld_shows(whole: Knowledge) -> None:
    """Where an address would print a product's name it says so instead."""
    withheld = [s for s in whole.sources.values() if s.where and "withheld" in s.where]
    assert len(withheld) >= 10
    assert [] == [s.name for s in withheld if re.search(r"https?://|www\.", s.where or "")]


def test_limits_carry_a_mark_and_say_what_they_part(whole: Knowledge) -> None:
    """A limit has a label in words and a source; where the machine's book has a value, the quantity matches."""
    for name, limit in whole.limits.items():
        assert (name, True) == (name, len(limit.label.split()) >= 4)
        if limit.book:
            assert (name, whole.book[limit.book].quantity) == (name, limit.quantity)
