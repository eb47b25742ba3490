"""A load list as text to print or send, and as JSON."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import Any

from diag.text import count, number
from diag.writeup.load_list import LoadItem, LoadList
from diag.writeup.stock import STOCK

NEARLY_ALWAYS = 0.985
OFTEN = 0.10
"""Chance from which on a tool is named among the first."""


def load_text(loaded: LoadList, width: int = 78) -> str:
    """Return the list as text to print or send: parts with what they are for, tools in one line, small ones apart."""
    head = f"Load for call {loaded.call}. A second trip costs about {number(loaded.second_trip)} min."
    served = f"With this on the truck about {loaded.served * 100:.0f} of 100 such calls need none."
    if loaded.closed:
        return "\n".join(_wrapped(f"Call {loaded.call} is closed: nothing to load.", width)) + "\n"
    lines = _wrapped(f"{head} {served}", width)
    if not loaded.load:
        lines += _wrapped("Nothing but what is always on the truck is worth loading.", width)
    parts = [e for e in loaded.load if e.kind == "part"]
    lines += ["Parts:"] if parts else []
    for entry in parts:
        lines += _wrapped(_line(entry), width, "- ")
    tools = [e for e in loaded.load if e.kind == "tool"]
    for title, entries in (
        ("Tools", [e for e in tools if e.chance >= OFTEN]), ("Worth a pocket", [e for e in tools if e.chance < OFTEN]),
    ):
        if entries:
            lines += _wrapped(f"{title}: {', '.join(e.label for e in entries)}.", width)
    if loaded.always:
        lines += _wrapped(f"Always: {', '.join(loaded.always)}.", width)
    if loaded.leave:
        names = ", ".join(e.label for e in loaded.leave)
        lines += _wrapped(f"May stay at home (each missed at most once in {_once(loaded.leave)}): {names}.", width)
    lines += _wrapped(recommendation(loaded), width)
    return "\n".join(lines) + "\n"


def recommendation(loaded: LoadList) -> str:
    """Return what is recommended, in one sentence."""
    away = [e for e in loaded.load if e.stock and e.stock != STOCK["here"]]
    if away:
        return f"Recommended: first get {', '.join(e.label for e in away)}; then drive with all of the above."
    if not loaded.load:
        return "Recommended: drive with what is always on the truck."
    return "Recommended: load what stands above, the proof's tools included."


def _wrapped(text: str, width: int, lead: str = "") -> list[str]:
    import textwrap

    return textwrap.wrap(text, width, initial_indent=lead, subsequent_indent=" " * (len(lead) or 2))


def _line(entry: LoadItem) -> str:
    many = f" ({entry.why_many})" if entry.why_many else ""
    stock = f"; {entry.stock}" if entry.stock else ""
    instead = f"; meanwhile: {entry.instead}" if entry.instead else ""
    quantity = f"{entry.quantity} x " if entry.kind == "part" else ""
    return f"{quantity}{entry.label}{many}: needed {_share(entry.chance)}, for {_for(entry.causes)}{stock}{instead}"


def _share(chance: float) -> str:
    if chance >= NEARLY_ALWAYS:
        return "nearly always in such calls"
    return f"in about {max(1, round(chance * 100))} of 100 such calls"


def _for(causes: Iterable[str]) -> str:
    named = list(causes)
    more = f" and {count(len(named) - 2, 'other')}" if len(named) > 2 else ""
    return " or ".join(named[:2]) + more


def _once(entries: Sequence[LoadItem]) -> str:
    return f"{max(2, round(1 / max(e.chance for e in entries)))} calls"


def as_json(loaded: LoadList) -> Mapping[str, Any]:
    """Return the list ready for JSON."""
    entries = [{**asdict(e), "causes": list(e.causes)} for e in loaded.entries]
    return {"call": loaded.call, "second_trip_minutes": loaded.second_trip, "served": loaded.served, "entries": entries,
            "always": list(loaded.always)}
