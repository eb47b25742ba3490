"""The state of a call: a fold over its events, reading bodies only.

Withdrawn events count as if they had never been typed; the trail still shows them.

Time. Reading order says what was typed before what; `happened` says when it happened. An event takes its
place in the call's timeline by `happened`, or else by when it was typed, where a clock set back never
lets time run backwards. A correction takes the place of what it corrects. Repairs cut the timeline into
epochs; what was measured to prove a repair belongs to the epoch after it.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from diag.errors import RecordError
from diag.record.body import Body, InCall
from diag.record.event import Event, Sealed
from diag.record.graph import keep_sealed, order
from diag.record.kinds import (
    WAIT_ENDS,
    Answer,
    Channel,
    Closed,
    ComplaintMade,
    Machine,
    Opened,
    ProofVerdict,
    Reopened,
    Repaired,
    Situation,
    Waiting,
    Withdrawn,
)
from diag.record.moved import not_put_back, seats
from diag.record.state import NEWER, State, TrailStep
from diag.record.undo import corrected, live_events, redo_targets, undo_targets, withdrawals

__all__ = ["fold", "live_events", "redo_targets", "sealed_view", "undo_targets"]


def fold(events: Iterable[Event], sealed: Iterable[Sealed] = ()) -> State:
    """Return the state of a call from its events, in whatever order they come.

    The events must be whole (`graph.check`). Sealed values only give free labels their words: nothing that is judged
    depends on them. Raises RecordError when the call was never opened.
    """
    known = order(events)
    return _Fold(known, sealed_view(known, sealed)).state()


def sealed_view(events: Iterable[Event], sealed: Iterable[Sealed]) -> dict[str, dict[str, str]]:
    """Return {event id: {field: text}} of the sealed values that are there and not erased."""
    view: dict[str, dict[str, str]] = {}
    for value in keep_sealed(events, sealed):
        view.setdefault(value.event, {})[value.field] = value.value
    return view


class _Fold:
    """One run over the events of a call."""

    def __init__(self, events: list[Event], texts: Mapping[str, Mapping[str, str]]) -> None:
        self._events, self._texts = events, texts
        self._gone = withdrawals(events)
        by_id = {e.id: e for e in events}
        self._corrects = {e.id: c for e in events if (c := corrected(e, by_id))}
        self._number = {e.id: i for i, e in enumerate(events, 1)}
        self._told = {e.id: e.told(texts.get(e.id, {})) for e in events if e.known and e.id not in self._gone}
        self._timeline = self._in_time()
        self._proves = {a: v.target for v in self._told.values() if isinstance(v, ProofVerdict) for a in v.answers}
        self._epochs = self._cut()
        live = [(e, self._told[e.id]) for e in self._timeline if e.id in self._told]
        self._pieces, self._seated = seats(live)
        self._not_put_back, self._standing = not_put_back(live)
        self._live = [self._placed(e) for e in events if e.id in self._told and e.kind != Withdrawn.KIND]

    def _of(self, *kinds: type[Body]) -> list[Any]:
        return [told for told in self._live if isinstance(told, kinds)]

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
        repairs = {e for e, told in self._told.items() if isinstance(told, Repaired) and told.kind == "repair"}
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

    def _in_call(self, event: Event) -> dict[str, Any]:
        return {"event": event.id, "number": self._number[event.id], "n": event.n, "by": event.by, "desk": event.desk,
                "at": event.at, "epoch": self._epochs[event.id], "replaces": self._corrects.get(event.id),
                "proves": self._proves.get(event.id), "pieces": self._seated.get(event.id, {})}

    def _placed(self, event: Event) -> Body:
        return self._told[event.id].placed(InCall(**self._in_call(event)))

    def state(self) -> State:
        if not self._of(Opened):
            raise RecordError("The call was never opened.", "", "Import the whole call again.")
        held: dict[type[Body], list[Body]] = {}
        for told in self._with_channel():
            held.setdefault(type(told), []).append(told)
        return State(
            call=self._events[0].call,
            channel=self._of(Opened, Channel)[-1].channel,
            held={kind: tuple(told) for kind, told in held.items()},
            machine=Machine.merged(self._of(Machine)),
            situation=Situation.merged(self._of(Situation)),
            **self._symptoms(),
            pieces=self._pieces,
            not_put_back=self._not_put_back,
            standing=self._standing,
            waiting=self._waiting(),
            closed=next((c for c in self._of(Closed, Reopened)[-1:] if isinstance(c, Closed)), None),
            epoch=self._last_epoch,
            timeline=tuple(e.id for e in self._timeline),
            trail=tuple(self._step(e) for e in self._events),
            unknown=tuple(e.id for e in self._events if not e.known),
        )

    def _with_channel(self) -> Iterable[Body]:
        """Yield all bodies, answers with the channel of the call where they do not say their own."""
        channel = ""
        for told in self._live:
            channel = told.channel if isinstance(told, Opened | Channel) else channel
            needs = isinstance(told, Answer) and not told.channel
            yield told.model_copy(update={"channel": channel}) if needs else told

    def _symptoms(self) -> dict[str, Any]:
        """The last word on each symptom counts."""
        word: dict[str, str] = {}
        for told in self._of(ComplaintMade):
            word |= {symptom.id: symptom.how for symptom in told.accepted} | dict.fromkeys(told.denied, "")
        return {
            "accepted": tuple((s, how) for s, how in word.items() if how),
            "denied": tuple(s for s, how in word.items() if not how),
        }

    def _waiting(self) -> Waiting | None:
        """Return what is waited for; closing or reopening ends a wait, a later one is the follow-up."""
        last = self._of(Waiting, Closed, Reopened)[-1:]
        return last[0] if last and isinstance(last[0], Waiting) and last[0].reason != WAIT_ENDS else None

    def _step(self, event: Event) -> TrailStep:
        return TrailStep(
            **self._in_call(event),
            happened=event.happened,
            kind=event.kind if event.known else NEWER,
            body=event.in_full(self._texts.get(event.id, {})) if event.known else {},
            live=event.id not in self._gone,
            withdrawn_by=self._gone.get(event.id),
        )
