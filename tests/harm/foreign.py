"""Exports of another hand: every hash fits, but what is inside was never typed into this program."""

from __future__ import annotations

import random
from collections.abc import Iterable, Sequence
from copy import deepcopy
from dataclasses import replace
from typing import Any

from diag.record.graph import KINDS, VERSION, Event, Sealed, event_id, seal

Made = tuple[list[Any], list[Sealed]]
"""Events and sealed values as an export holds them."""
_VALUES: tuple[Any, ...] = (
    None, True, 0, -1, 7, 10**30, "", "all",
    "x" * 3000, "\x1b[31mred", "\u202eback", "<script>", "=1+1", "²", "9" * 400, "nan",
    [], {}, [[]], {"": ""}, ["all"], [0], [7, 7], [201], {"7": "18"}, {"unit": "inH2O", "value": "1e400"},
    {"all": {"value": "3", "unit": "in"}}, {"k": 3, "n": 2}, {"value": "18", "unit": "parsec"}, "../../x", "1e-400",
)
_TEXTS = ("x", "\x1b]0;t\x07", "\u202eback", "<b>bold</b>", "=cmd()", "a\nb\tc", "é" * 2000,
          "²", "[link](x)", "`", "%s", "\ufeff")


def hostile(rng: random.Random, events: Sequence[Event], sealed: Iterable[Sealed]) -> Made:
    """Return a call with one to three bodies, times, roles or texts changed, and all hashes made anew."""
    told = [e.as_json() for e in events]
    for _ in range(rng.randint(1, 3)):
        _twist(rng, rng.choice(told))
    return _anew(rng, told, sealed)


def newer(rng: random.Random, events: Sequence[Event], sealed: Iterable[Sealed]) -> Made:
    """Return a call that ends with events of a program that is not made yet."""
    told = [e.as_json() for e in events]
    for _ in range(rng.randint(1, 2)):
        last = told[-1]
        kind = rng.choice((*KINDS, "weather", "x" * 90, "\u202ekind", "\x1b[31m"))
        body = {rng.choice(("a", "\x1b[31m", "rows", "\u202ek", "")): _any(rng, 3) for _ in range(rng.randint(0, 4))}
        told.append({**last, "v": rng.choice((VERSION + 1, 99) if kind in KINDS else (VERSION, 7)), "kind": kind,
                     "n": last["n"] + 1, "parents": [last["id"]], "id": f"new{len(told)}", "body": body, "sealed": {}})
    return _anew(rng, told, sealed)


def _any(rng: random.Random, depth: int) -> Any:
    if depth and rng.random() < 0.4:
        return [_any(rng, depth - 1) for _ in range(rng.randint(0, 3))] if rng.random() < 0.5 else {
            str(rng.choice(_TEXTS)): _any(rng, depth - 1)}
    return rng.choice(_VALUES)


def _twist(rng: random.Random, event: dict[str, Any]) -> None:
    places = list(_places(event["body"]))
    chance = rng.random()
    if chance < 0.7 and places:
        holder, key = rng.choice(places)
        others = [h[k] for h, k in places]
        holder[key] = deepcopy(rng.choice(others)) if rng.random() < 0.3 else _any(rng, 2)
    elif chance < 0.85:
        fields = list(KINDS[event["kind"]].model_fields) if event["kind"] in KINDS else ["rows"]
        event["body"][rng.choice((*fields, "new"))] = _any(rng, 2)
    else:
        name, value = rng.choice((("at", "0001-01-01T00:00:00Z"), ("at", "9999-12-31T23:59:59Z"), ("by", "nobody"),
                                  ("desk", "\x1b[31mDESK"), ("by", "third_party"), ("desk", "A" * 60), ("n", 10**9)))
        event[name] = value


def _places(value: Any) -> Iterable[tuple[Any, Any]]:
    """Yield (holder, key) of everything inside."""
    inside = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, held in list(inside):
        yield value, key
        yield from _places(held)


def _anew(rng: random.Random, told: list[dict[str, Any]], sealed: Iterable[Sealed]) -> Made:
    """Return events with ids that fit, whatever names them renamed, and some texts replaced."""
    texts: dict[tuple[str, str], Sealed] = {(s.event, s.field): s for s in sealed}
    ids: dict[str, str] = {}
    events, values = [], []
    for data in told:
        data = {k: _renamed(v, ids) for k, v in data.items() if k != "id"} | {"id": data["id"]}
        for field in list(data["sealed"]):
            kept = texts.get((data["id"], field))
            if kept is not None:
                value = rng.choice(_TEXTS) if rng.random() < 0.1 else kept.value
                data["sealed"][field] = seal(value, kept.salt)
                values.append((data["id"], replace(kept, value=value)))
        envelope = {k: v for k, v in data.items() if k != "id"}
        ids[data["id"]] = event_id(envelope)
        events.append(_Unchecked({**envelope, "id": ids[data["id"]]}))
    return events, [replace(s, event=ids[old]) for old, s in values]


def _renamed(value: Any, ids: dict[str, str]) -> Any:
    if isinstance(value, str):
        return ids.get(value, value)
    if isinstance(value, list):
        return [_renamed(v, ids) for v in value]
    return {k: _renamed(v, ids) for k, v in value.items()} if isinstance(value, dict) else value


class _Unchecked:
    """An event as it stands in a file, whatever is in it."""

    def __init__(self, data: dict[str, Any]) -> None:
        self._data = data

    def as_json(self) -> dict[str, Any]:
        """The event as plain data."""
        return self._data
