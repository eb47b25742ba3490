"""What was moved or changed for a test and still is: pieces in another row, settings not put back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from diag.record.graph import Event
from diag.record.rows import Rows, from_stored
from diag.record.state import NotPutBack

Seats = dict[str, dict[int, Any]]
"""Pieces that do not sit in their own row: piece -> {row: home row or "spare"}."""


def seats(timeline: Iterable[Event]) -> tuple[Seats, dict[str, Seats]]:
    """Return the seats after all swaps, and as they were at each answer, from live events in time order.

    A swap exchanges what sits in two rows, or in a row and on the shelf ("spare").
    """
    now: dict[str, dict[Any, Any]] = {}
    at: dict[str, Seats] = {}
    for event in timeline:
        if event.kind == "swap":
            here, there = event.body["from_row"], event.body["to_row"]
            sat = now.setdefault(event.body["piece"], {})
            sat[here], sat[there] = sat.get(there, there), sat.get(here, here)
        elif event.kind == "answer":
            at[event.id] = _displaced(now)
    return _displaced(now), at


def _displaced(now: Mapping[str, Mapping[Any, Any]]) -> Seats:
    found: Seats = {}
    for piece, rows in sorted(now.items()):
        moved = {row: home for row, home in rows.items() if row not in ("spare", home)}
        if moved:
            found[piece] = {row: moved[row] for row in sorted(moved)}
    return found


def seats_of(body: Mapping[str, Any], seats_then: Seats) -> Seats:
    """Return the seats that concern the rows of an answer; those it names itself come first."""
    rows = from_stored(body["rows"]) if "rows" in body else "all"
    single = () if isinstance(rows, str) else rows
    if "piece" in body and single:
        return {piece: dict.fromkeys(single, home) for piece, home in sorted(body["piece"].items())}
    wanted = set(single) or {int(k) for k in body.get("values", ()) if k.isdigit()}
    found = {
        piece: {row: home for row, home in sat.items() if not wanted or row in wanted}
        for piece, sat in seats_then.items()
    }
    return {piece: sat for piece, sat in found.items() if sat}


_Key = tuple[str, Rows | None]


def not_put_back(timeline: Iterable[Event]) -> tuple[NotPutBack, ...]:
    """Return the temporary changes that were neither put back nor kept on purpose, from live events.

    A change of the same setting on the same rows to its old value puts it back; a lasting change, one
    that `settles` it, or a repair that sets it, ends it too.
    """
    standing: dict[_Key, NotPutBack] = {}
    for event in timeline:
        if event.kind == "change":
            _change(standing, event)
        elif event.kind == "repair":
            for setting in event.body.get("settings", ()):
                standing.pop((setting["name"], _rows(setting)), None)
    return tuple(standing.values())


def _change(standing: dict[_Key, NotPutBack], event: Event) -> None:
    body = event.body
    if "settles" in body:
        for key, entry in list(standing.items()):
            if body["settles"] in entry.events:
                del standing[key]
        return
    key = (body.get("setting") or body["part"], _rows(body))
    before = standing.pop(key, None)
    if not body.get("temporary", False) or (before is not None and _same(before.before, body["after"])):
        return
    if before is None:
        standing[key] = NotPutBack((event.id,), *key, body.get("before"), body["after"])
    else:
        standing[key] = replace(before, events=(*before.events, event.id), now=body["after"])


def _rows(body: Mapping[str, Any]) -> Rows | None:
    return from_stored(body["rows"]) if "rows" in body else None


def _same(a: Any, b: Any) -> bool:
    """Tell whether two settings are the same: 20 and 20.0 of one unit are."""
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        return bool(a["unit"] == b["unit"] and Decimal(a["value"]) == Decimal(b["value"]))
    return bool(a == b)
