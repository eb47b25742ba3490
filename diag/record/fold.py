"""The state of a call: a fold over its events, reading bodies only.

Withdrawn events count as if they had never been typed; the trail still shows them.

Time. Reading order says what was typed before what; `happened` says when it happened. An event takes its
place in the call's timeline by `happened`, or else by when it was typed, where a clock set back never
lets time run backwards. A correction takes the place of what it corrects. Repairs cut the timeline into
epochs; what was measured to prove a repair belongs to the epoch after it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from diag.errors import RecordError
from diag.record.graph import Event, Sealed, keep_sealed, order
from diag.record.kinds import WAIT_ENDS
from diag.record.moved import Seats, not_put_back, seats, seats_of
from diag.record.rows import Rows, from_stored
from diag.record.state import (
    Answer,
    Closed,
    DoneBefore,
    Judged,
    Machine,
    Proof,
    Repair,
    Shown,
    Situation,
    State,
    Step,
    Swap,
    Waiting,
)
from diag.record.undo import corrected, live_events, redo_targets, undo_targets, withdrawals

__all__ = ["fold", "live_events", "redo_targets", "sealed_view", "undo_targets"]


def fold(events: Iterable[Event]) -> State:
    """Return the state of a call from its events, in whatever order they come.

    The events must be whole (`record.check`). Raises RecordError when the call was never opened.
    """
    return _Fold(order(events)).state()


def sealed_view(events: Iterable[Event], sealed: Iterable[Sealed]) -> dict[str, dict[str, str]]:
    """Return {event id: {field: text}} of the sealed values that are there and not erased."""
    view: dict[str, dict[str, str]] = {}
    for value in keep_sealed(events, sealed):
        view.setdefault(value.event, {})[value.field] = value.value
    return view


class _Fold:
    """One run over the events of a call."""

    def __init__(self, events: Sequence[Event]) -> None:
        self._events = events
        self._by_id = {e.id: e for e in events}
        self._number = {e.id: i for i, e in enumerate(events, 1)}
        self._gone = withdrawals(events)
        self._live = [e for e in events if e.known and e.id not in self._gone]
        self._corrects = {e.id: c for e in events if (c := corrected(e, self._by_id))}
        self._timeline = self._in_time()
        live = {e.id for e in self._live}
        self._live_in_time = [e for e in self._timeline if e.id in live]
        self._proves = {a: e.body["target"] for e in self._of("proof") for a in e.body.get("answers", ())}
        self._epochs = self._cut()

    def _of(self, *kinds: str) -> list[Event]:
        return [e for e in self._live if e.kind in kinds]

    def _in_time(self) -> list[Event]:
        """Return events as they happened; what happened at once stays in reading order."""
        latest = ""
        place: dict[str, tuple[str, int, int]] = {}
        for i, event in enumerate(self._events):
            latest = max(latest, event.at) if event.happened is None else latest
            before = place[self._corrects[event.id]] if event.id in self._corrects else (latest, i, i)
            place[event.id] = (event.happened, i, i) if event.happened else (*before[:2], i)
        return sorted(self._events, key=lambda e: place[e.id])

    def _cut(self) -> dict[str, int]:
        """Return the epoch of every event."""
        repairs = {e.id for e in self._of("repair") if e.body["kind"] == "repair"}
        epochs: dict[str, int] = {}
        passed = 0
        for event in self._timeline:
            epochs[event.id] = passed
            passed += event.id in repairs
        for answer, repair in self._proves.items():
            if repair in repairs and answer in epochs:
                epochs[answer] = max(epochs[answer], epochs[repair] + 1)
        self._last_epoch = passed
        return epochs

    def state(self) -> State:
        if not self._events or not self._of("opened"):
            raise RecordError("The call was never opened.", "", "Import the whole call again.")
        opened = self._of("opened")[0]
        pieces, seated = seats(self._live_in_time)
        return State(
            call=opened.call,
            channel=self._of("opened", "channel")[-1].body["channel"],
            opened=opened.body,
            machine=self._machine(),
            situation=self._situation(),
            **self._symptoms(),
            done_before=tuple(DoneBefore(**self._entry(e), body=e.body) for e in self._of("done_before")),
            answers=self._answers(seated),
            swaps=tuple(Swap(**self._entry(e), **_body(e)) for e in self._of("swap")),
            pieces=pieces,
            not_put_back=not_put_back(self._live_in_time),
            waiting=self._waiting(),
            repairs=tuple(self._repair(e) for e in self._of("repair")),
            proofs=tuple(self._proof(e) for e in self._of("proof")),
            notes=tuple(e.id for e in self._of("note")),
            photos=tuple(e.id for e in self._of("photo")),
            cautions=tuple(self._shown(e) for e in self._of("caution")),
            judged=tuple(self._judged(e) for e in self._of("judged")),
            closed=self._closed(),
            epoch=self._last_epoch,
            epochs=self._epochs,
            timeline=tuple(e.id for e in self._timeline),
            trail=tuple(self._step(e) for e in self._events),
            unknown=tuple(e.id for e in self._events if not e.known),
        )

    def _entry(self, event: Event) -> dict[str, Any]:
        return {
            "event": event.id, "number": self._number[event.id], "n": event.n, "by": event.by,
            "desk": event.desk, "at": event.at, "happened": event.happened,
            "epoch": self._epochs[event.id],
        }

    # -- the machine and the trouble

    def _machine(self) -> Machine:
        """Later events add to axes and book values and replace the rest."""
        machine = Machine()
        for event in self._of("machine"):
            told = _body(event)
            told["axes"] = {**machine.axes, **told.get("axes", {})}
            told["book"] = {**machine.book, **told.get("book", {})}
            if "sections" in told:
                told["sections"] = {s["name"]: from_stored(s["rows"]) for s in told["sections"]}
            machine = replace(machine, **told)
        return machine

    def _situation(self) -> Situation:
        situation = Situation()
        for event in self._of("situation"):
            told: dict[str, Any] = _body(event)
            told = {k: tuple(v) if isinstance(v, list) else v for k, v in told.items()}
            situation = replace(situation, **told)
        return situation

    def _symptoms(self) -> dict[str, Any]:
        """The last word on each symptom counts."""
        word: dict[str, str] = {}
        for event in self._of("complaint"):
            for symptom in event.body.get("accepted", ()):
                word[symptom["id"]] = symptom["how"]
            for symptom in event.body.get("denied", ()):
                word[symptom] = ""
        return {
            "accepted": tuple((s, how) for s, how in word.items() if how),
            "denied": tuple(s for s, how in word.items() if not how),
        }

    # -- answers and what sat where

    def _answers(self, seated: Mapping[str, Seats]) -> tuple[Answer, ...]:
        channel, found = "", []
        for event in self._of("opened", "channel", "answer"):
            if event.kind == "answer":
                found.append(self._answer(event, channel, seated[event.id]))
            else:
                channel = event.body["channel"]
        return tuple(found)

    def _answer(self, event: Event, channel: str, seats_then: Seats) -> Answer:
        body = event.body
        return Answer(
            **self._entry(event),
            check=body["check"],
            rows=_rows(body),
            pieces=seats_of(body, seats_then),
            channel=body.get("channel", channel),
            observer=body["observer"],
            status=body["status"],
            outcome=body.get("outcome"),
            value=body.get("value"),
            values=body.get("values"),
            spacings=body.get("spacings"),
            positions=body.get("positions"),
            log=body.get("log"),
            method=body.get("method"),
            replaces=self._corrects.get(event.id),
            proves=self._proves.get(event.id),
        )

    # -- changes, repairs, proofs, ends

    def _waiting(self) -> Waiting | None:
        """Return what is waited for; closing or reopening ends a wait, a later one is the follow-up."""
        last = self._of("waiting", "closed", "reopened")[-1:]
        if not last or last[0].kind != "waiting" or last[0].body["for"] == WAIT_ENDS:
            return None
        body = last[0].body
        return Waiting(**self._entry(last[0]), reason=body["for"], until=body.get("until"),
                       acres=body.get("acres"))

    def _repair(self, event: Event) -> Repair:
        body = event.body
        return Repair(
            **self._entry(event),
            causes=tuple(body.get("causes", ())),
            kind=body["kind"],
            rows=_rows(body),
            parts=tuple(body.get("parts", ())),
            settings=tuple(body.get("settings", ())),
            minutes=body.get("minutes"),
            done_by=body.get("done_by"),
        )

    def _proof(self, event: Event) -> Proof:
        body = event.body
        return Proof(**self._entry(event), target=body["target"], answers=tuple(body.get("answers", ())),
                     verdict=body["verdict"], test=body.get("test"), risks=body.get("risks", {}))

    def _shown(self, event: Event) -> Shown:
        body = event.body
        return Shown(**self._entry(event), caution=body["caution"], check=body.get("check"),
                     shown_to=body.get("shown_to"), acknowledged=body["acknowledged"])

    def _judged(self, event: Event) -> Judged:
        return Judged(**self._entry(event), why=event.body["why"], body=event.body)

    def _closed(self) -> Closed | None:
        last = self._of("closed", "reopened")[-1:]
        if not last or last[0].kind == "reopened":
            return None
        return Closed(**self._entry(last[0]), result=last[0].body["result"])

    def _step(self, event: Event) -> Step:
        return Step(
            **self._entry(event),
            kind=event.kind,
            body=event.body,
            known=event.known,
            live=event.id not in self._gone,
            withdrawn_by=self._gone.get(event.id),
            replaces=self._corrects.get(event.id),
        )


def _body(event: Event) -> dict[str, Any]:
    """Return the body with rows as values, without `happened`."""
    told = {k: v for k, v in event.body.items() if k != "happened"}
    if "rows" in told and event.kind != "machine":
        told["rows"] = from_stored(told["rows"])
    return told


def _rows(body: Mapping[str, Any]) -> Rows | None:
    return from_stored(body["rows"]) if "rows" in body else None
