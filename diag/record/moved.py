"""What was moved or changed for a test and still is: pieces in another row, settings not put back."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any

from diag.figures.rows import Rows, from_stored, row_of
from diag.record.body import Body
from diag.record.event import Event
from diag.record.kinds import Answer, Change, Repaired, Swap
from diag.record.state import NotPutBack, State

Timeline = Iterable[tuple[Event, Body]]
"""Live events and what they say, in the order in which things happened."""
Seats = dict[str, dict[int, Any]]
"""Pieces that do not sit in their own row: piece -> {row: home row or "spare"}."""


def seats(timeline: Timeline) -> tuple[Seats, dict[str, Seats]]:
    """Return the seats after all swaps, and as they were at each answer for its rows.

    A swap exchanges what sits in two rows, or in a row and on the shelf ("spare").
    """
    now: dict[str, dict[Any, Any]] = {}
    at: dict[str, Seats] = {}
    for event, told in timeline:
        if isinstance(told, Swap):
            sat = now.setdefault(told.piece, {})
            here, there = told.from_row, told.to_row
            sat[here], sat[there] = sat.get(there, there), sat.get(here, here)
        elif isinstance(told, Answer):
            at[event.id] = _seats_of(told, _displaced(now))
    return _displaced(now), at


def _displaced(now: Mapping[str, Mapping[Any, Any]]) -> Seats:
    found: Seats = {}
    for piece, rows in sorted(now.items()):
        moved = {row: home for row, home in rows.items() if row not in ("spare", home)}
        if moved:
            found[piece] = {row: moved[row] for row in sorted(moved)}
    return found


def _seats_of(answer: Answer, seats_then: Seats) -> Seats:
    """Return the seats that concern the rows of an answer; those it names itself come first."""
    single = () if answer.rows is None or isinstance(answer.rows, str) else answer.rows
    if answer.piece is not None and single:
        return {piece: dict.fromkeys(single, home) for piece, home in sorted(answer.piece.items())}
    wanted = set(single) or {row for k in answer.values or () if (row := row_of(k))}
    found = {
        piece: {row: home for row, home in sat.items() if not wanted or row in wanted}
        for piece, sat in seats_then.items()
    }
    return {piece: sat for piece, sat in found.items() if sat}


_Key = tuple[str, Rows | None]


def not_put_back(timeline: Timeline) -> tuple[tuple[NotPutBack, ...], dict[str, tuple[NotPutBack, ...]]]:
    """Return the temporary changes that stand at the end, and those that stood at each answer.

    A later event that `settles` a change ends it. In events of form 1, whose labels stand open, a change of the same
    setting on the same rows to its old value, a lasting change, or a repair that sets it ended it too. Labels that are
    sealed are never compared, so the state is the same without them.
    """
    standing: dict[_Key, NotPutBack] = {}
    at: dict[str, tuple[NotPutBack, ...]] = {}
    for event, told in timeline:
        if isinstance(told, Change):
            _change(standing, event, told)
        elif isinstance(told, Answer):
            at[event.id] = tuple(standing.values())
        elif isinstance(told, Repaired):
            for setting in told.settings:
                _settled(standing, setting.settles)
                if event.v == 1:
                    standing.pop((setting.name, setting.rows), None)
    return tuple(standing.values()), at


def _change(standing: dict[_Key, NotPutBack], event: Event, told: Change) -> None:
    name = told.setting or told.part or ""
    before = _settled(standing, told.settles)
    key = (event.id, told.rows)
    if event.v == 1:
        if told.settles:
            return
        key = (name, told.rows)
        before = standing.pop(key, None)
        if before is not None and _same(before.before, told.after):
            return
    if told.temporary and before is None:
        standing[key] = NotPutBack((event.id,), name, told.rows, told.before, now=told.after)
    elif told.temporary and before is not None:
        standing[key] = replace(before, events=(*before.events, event.id), now=told.after)


def _settled(standing: dict[_Key, NotPutBack], change: str | None) -> NotPutBack | None:
    """Take out the entry that a change led to."""
    key = next((k for k, entry in standing.items() if change in entry.events), None)
    return standing.pop(key) if key is not None else None


def _same(a: Any, b: Any) -> bool:
    """Tell whether two settings are the same: 20 and 20.0 of one unit are."""
    if isinstance(a, Mapping) and isinstance(b, Mapping):
        return bool(a["unit"] == b["unit"] and Decimal(a["value"]) == Decimal(b["value"]))
    return bool(a == b)


def linked(kind: str, body: Mapping[str, Any], state: State) -> dict[str, Any]:
    """Return the body of a change or repair about to be recorded, with the temporary changes that it makes an end of.

    The same setting or part on the same rows is meant; set back to its old value it is no longer temporary.
    """
    made = dict(body)
    if kind == "change" and "settles" not in made:
        found = _standing(state, made.get("setting") or made.get("part"), made)
        if found is not None:
            back = _same(found.before, made.get("after"))
            made |= {"settles": found.events[-1]} | ({"temporary": False} if back else {})
    elif kind == "repair" and made.get("settings"):
        ended = [(s, _standing(state, s.get("name"), s)) for s in made["settings"]]
        made["settings"] = [{"settles": found.events[-1], **s} if found else s for s, found in ended]
    return made


def _standing(state: State, name: str | None, body: Mapping[str, Any]) -> NotPutBack | None:
    rows = from_stored(body["rows"]) if body.get("rows") is not None else None
    return next((n for n in state.not_put_back if n.name == name and n.rows == rows), None)
