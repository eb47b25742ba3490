"""Calls made up for tests: a desk that types, and random calls of several desks that meet now and then."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from hypothesis import strategies as st

from diag.record.fold import fold
from diag.record.graph import KINDS, Event, Sealed, heads, make_event, merge, order
from diag.record.moved import linked
from diag.record.state import State
from diag.record.undo import corrected, live_events, redo_targets, undo_targets
from diag.store.exchange import lines

CALL = "K7Q2M4TXB9"
START = datetime(2026, 5, 4, 6, 40, tzinfo=UTC)


def clock(minutes: float) -> str:
    """The time of so many minutes after the start of every test call."""
    return (START + timedelta(minutes=minutes)).strftime("%Y-%m-%dT%H:%M:%SZ")


@dataclass
class Desk:
    """One installation with what it knows of a call."""

    name: str = "DESK00000A"
    call: str = CALL
    events: list[Event] = field(default_factory=list)
    sealed: list[Sealed] = field(default_factory=list)
    minute: float = 0.0
    _drawn: int = 0

    def salts(self, n: int) -> bytes:
        """Bytes that differ each time and are the same in every run."""
        self._drawn += 1
        return hashlib.sha256(f"{self.name}:{self._drawn}".encode()).digest()[:n]

    def add(self, kind: str, /, by: str = "technician", at: float | None = None, **told: Any) -> Event:
        """Type one event; fields go to the body or are sealed as its kind says. One minute passes."""
        self.minute = self.minute + 1 if at is None else at
        private = {k: told.pop(k) for k in KINDS[kind].texts() if k in told}
        if kind in ("change", "repair"):
            told = linked(kind, told, self.state)
        event, sealed = make_event(self.call, heads(self.events), clock(self.minute), self.name, by, kind,
                                   told, private, salts=self.salts)
        self.events = order([*self.events, event])
        self.sealed.extend(sealed)
        return event

    @property
    def state(self) -> State:
        """The call as this desk knows it."""
        return fold(self.events, self.sealed)

    def open(self, **told: Any) -> Event:
        """Open the call."""
        return self.add("opened", **{"channel": "phone", "program": "0.1.0",
                                     "knowledge": {"version": "1.0.0", "digest": "sha256:0"}} | told)

    def answer(self, check: str = "dug", outcome: str | None = "yes", **told: Any) -> Event:
        """Answer a check."""
        return self.add("answer", **{"check": check, "observer": "technician", "status": "given",
                                     "outcome": outcome} | told)

    def withdraw(self, *targets: str) -> None:
        """Withdraw events one after the other."""
        for target in targets:
            self.add("withdrawn", target=target)

    def undo(self) -> bool:
        """Undo the last own step, if there is one."""
        targets = undo_targets(self.events, self.name)
        self.withdraw(*targets)
        return bool(targets)

    def redo(self) -> bool:
        """Take back the last undo, if there is one."""
        targets = redo_targets(self.events, self.name)
        self.withdraw(*targets)
        return bool(targets)

    def change(self, event: Event, outcome: str) -> Event:
        """Change an answer: withdraw it and answer anew."""
        self.withdraw(event.id)
        return self.answer(event.body["check"], outcome)

    def receive(self, other: Desk) -> None:
        """Take over what another desk knows."""
        self.events = merge(self.events, other.events)
        self.sealed = [*self.sealed, *(s for s in other.sealed if s not in self.sealed)]


_texts = st.sampled_from(["gaps since the new lot", "Zoë said so", "[red] ](x)", "row 7 – bad",
                          "; DROP TABLE"])
_rows = st.sampled_from(["all", [7], [3, 7, 8, 9], [1, 2]])
_measured = st.builds(lambda v, u: {"value": v, "unit": u}, st.sampled_from(["18.5", "20", "0.3"]),
                      st.sampled_from(["inH2O", "in"]))
_event_bodies: dict[str, st.SearchStrategy[dict[str, Any]]] = {
    "machine": st.fixed_dictionaries({}, optional={
        "axes": st.dictionaries(st.sampled_from(["meter", "drive"]), st.sampled_from(["flat", "unknown"])),
        "rows": st.sampled_from([8, 12]), "row_width": _measured, "serial": _texts}),
    "situation": st.fixed_dictionaries({}, optional={
        "crop": st.sampled_from(["corn", "beet"]), "rows": _rows, "speed": _measured, "remarks": _texts,
        "flags": st.lists(st.sampled_from(["alone", "dark"]), max_size=2)}),
    "complaint": st.fixed_dictionaries({
        "accepted": st.lists(st.sampled_from(["gaps", "pairs"]).map(lambda i: {"id": i, "how": "chosen"}),
                             max_size=2),
        "denied": st.lists(st.sampled_from(["gaps", "late"]), max_size=2)}, optional={"words": _texts}),
    "answer": st.fixed_dictionaries({
        "check": st.sampled_from(["dug", "gauge"]), "observer": st.sampled_from(["technician", "caller"]),
        "status": st.just("given")}, optional={"rows": _rows, "value": _measured, "said": _texts}),
    "swap": st.fixed_dictionaries({"piece": st.sampled_from(["meter", "tube"]),
                                   "from_row": st.sampled_from([1, 2, 3, "spare"]),
                                   "to_row": st.sampled_from([1, 2, 3])}),
    "change": st.fixed_dictionaries({"setting": st.sampled_from(["vacuum", "notch"]), "after": _measured},
                                    optional={"before": _measured, "temporary": st.booleans()}),
    "repair": st.fixed_dictionaries({"kind": st.sampled_from(["repair", "interim"]),
                                     "causes": st.just(["seal"])}, optional={"words": _texts}),
    "channel": st.fixed_dictionaries({"channel": st.sampled_from(["phone", "site"])}),
    "waiting": st.fixed_dictionaries({"for": st.sampled_from(["part", "none"])}, optional={"text": _texts}),
    "closed": st.fixed_dictionaries({"result": st.just("mended")}, optional={"words": _texts}),
    "reopened": st.just({}),
    "note": st.fixed_dictionaries({"text": _texts}),
}

_happened = st.none() | st.integers(0, 40)
_moves = st.one_of(
    *(st.tuples(st.just("add"), st.just(kind), body, _happened) for kind, body in _event_bodies.items()),
    st.tuples(st.just("undo")),
    st.tuples(st.just("redo")),
    st.tuples(st.just("receive"), st.integers(0, 2)),
    st.tuples(st.just("withdraw"), st.integers(0, 30)),
    st.tuples(st.just("change"), st.integers(0, 30)),
    st.tuples(st.just("clock"), st.integers(-30, 30)),
)
"""One thing a desk does."""


def _do(desk: Desk, desks: list[Desk], move: tuple[Any, ...]) -> None:
    """Let a desk make a move; one that is impossible just now is left out."""
    name, *rest = move
    live = [e for e in live_events(desk.events) if KINDS[e.kind].WITHDRAWABLE]
    by_id = {e.id: e for e in desk.events}
    if name == "add":
        kind, body, happened = rest
        desk.add(kind, **body, **({} if happened is None else {"happened": clock(happened)}))
    elif name in ("undo", "redo"):
        getattr(desk, name)()
    elif name == "receive":
        desk.receive(desks[rest[0] % len(desks)])
    elif name == "clock":
        desk.minute = max(0.0, desk.minute + rest[0])
    elif name == "withdraw" and (whole := [e for e in live if not corrected(e, by_id)]):
        desk.withdraw(whole[rest[0] % len(whole)].id)  # half a change is only ever taken back by undo
    elif name == "change" and (answers := [e for e in live if e.kind == "answer"]):
        desk.change(answers[rest[0] % len(answers)], "other")


def play(moves: Iterable[tuple[int, tuple[Any, ...]]]) -> list[Desk]:
    """Return three desks after these moves; the first has opened the call, the others know the opening."""
    desks = [Desk(f"DESK00000{c}") for c in "ABC"]
    desks[0].open(customer="Alder Flat", place="north forty")
    for other in desks[1:]:
        other.receive(desks[0])
    for who, move in moves:
        _do(desks[who], desks, move)
    return desks


def desks(longest: int = 14) -> st.SearchStrategy[list[Desk]]:
    """Three desks with continuations of one call that partly know of each other."""
    return st.lists(st.tuples(st.integers(0, 2), _moves), max_size=longest).map(play)


def to_text(events: Iterable[Any], sealed: Iterable[Sealed]) -> str:
    """Return the text of an export of these."""
    return "".join(lines([CALL], lambda _: events, lambda _: sealed))
