"""CallDesk: the one door to a call for every front end.

It records events, folds them, and has the engine judge them; screens and dialogues only ask it and show
what it says. Recording is immediate and durable; judging may run on the desk's own thread.
"""

from __future__ import annotations

import os
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from diag import __version__
from diag.call.case_of import ReadCase, Seen, minutes_spent, read_case
from diag.errors import BehindError, DiagError, RecordError
from diag.figures.rows import Rows, to_stored
from diag.reason.case import Case
from diag.reason.feasible import usual_observer
from diag.reason.judge import Engine
from diag.reason.judgement import Judgement
from diag.reason.next_check import Offer
from diag.reason.rules import Firing
from diag.record.fold import fold, redo_targets, sealed_view, undo_targets
from diag.record.graph import Event, Sealed, heads, make_event, new_call_id, order
from diag.record.kinds import KINDS
from diag.record.moved import linked
from diag.record.state import State
from diag.record.undo import withdrawals

if TYPE_CHECKING:
    from diag.store.open import Store

Clock = Callable[[], datetime]
Random = Callable[[int], bytes]


def now() -> datetime:
    """Return the present time, in the zone of this machine."""
    return datetime.now(UTC).astimezone()


@dataclass(frozen=True)
class Thought:
    """A judgement with the state it belongs to; `number` tells later requests from earlier ones."""

    number: int
    state: State
    read: ReadCase
    judgement: Judgement


@dataclass(frozen=True)
class Desk:
    """What a desk brings to every call it takes: engine, store, identity, clock and chance."""

    engine: Engine
    store: Store | None = None
    desk_id: str = "0" * 16
    clock: Clock = now
    random: Random = os.urandom

    def new_call(self, channel: str, *, by: str | None = None, practice: bool = False, follows: str | None = None,
                 **personal: str) -> CallDesk:
        """Open a call and record that; `personal`: customer, contact, phone, place, technician."""
        call = CallDesk(self, new_call_id(self.random), (), ())
        knowledge = {"version": self.engine.knowledge.version, "digest": self.engine.knowledge.digest}
        body: dict[str, Any] = {"channel": channel, "program": __version__, "knowledge": knowledge}
        if practice:
            body["practice"] = True
        if follows:
            body["follows"] = follows
        call.record("opened", body, personal, by=by or ("phone_desk" if channel == "phone" else "technician"))
        return call

    def open_call(self, call: str) -> CallDesk:
        """Return a stored call as it was left."""
        if self.store is None:
            raise RecordError("There is no store to open the call from.", call, "Start with a store.")
        return CallDesk(self, call, self.store.events(call), self.store.sealed(call))

    def replayed(self, call: str, events: Iterable[Event], sealed: Iterable[Sealed]) -> CallDesk:
        """Return a call from events alone; nothing is written to the store."""
        return CallDesk(Desk(self.engine, None, self.desk_id, self.clock, random=self.random), call, events, sealed)


class CallDesk:
    """One call in work."""

    def __init__(self, desk: Desk, call: str, events: Iterable[Event], sealed: Iterable[Sealed]) -> None:
        self.desk = desk
        self.call = call
        self._events: list[Event] = list(events)
        self._sealed: list[Sealed] = list(sealed)
        self._state: State | None = None
        self._thought: Thought | None = None
        self._asked = 0
        self._acts: list[tuple[str, ...]] = []
        """Events that one act of the user made, undone and redone together."""
        self._pool: ThreadPoolExecutor | None = None

    # --- reading ----------------------------------------------------------------------------------

    @property
    def engine(self) -> Engine:
        """The reasoning and its knowledge."""
        return self.desk.engine

    @property
    def events(self) -> Sequence[Event]:
        """All events of the call."""
        return tuple(self._events)

    @property
    def sealed(self) -> Sequence[Sealed]:
        """Sealed values that are there."""
        return tuple(self._sealed)

    @property
    def state(self) -> State:
        """The call as its live events say it is."""
        if self._state is None:
            self._state = fold(self._events, self._sealed)
        return self._state

    @property
    def personal(self) -> dict[str, dict[str, str]]:
        """Free text and personal data by event id and field."""
        return sealed_view(self._events, self._sealed)

    def text_of(self, kind: str, field: str) -> str:
        """Return the last live text of a kind of event ("" when none): the caller's words, the customer, ..."""
        personal = self.personal
        for step in reversed(self.state.trail):
            if step.live and step.kind == kind and field in personal.get(step.event, {}):
                return personal[step.event][field]
        return ""

    def think_case(self) -> Case:
        """Return only the case of the call as it is now."""
        return read_case(self.state, self.engine.tables).case

    def think(self) -> Thought:
        """Return the judgement of the call as it is now (remembered until something is recorded)."""
        if self._thought is None:
            state = self.state
            read = read_case(state, self.engine.tables)
            self._thought = Thought(self._asked, state, read, self.engine.judge(read.case))
        return self._thought

    def trace(self) -> tuple[Firing, ...]:
        """Return the rules that fired, as forward chaining derives them. Raises RulesError."""
        thought = self.think()
        return self.engine.trace(thought.read.case, thought.judgement)

    def think_later(self) -> Future[Thought]:
        """Judge on the desk's own thread; results older than `latest` are stale and to be dropped."""
        if self._pool is None:
            self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="judge")
        self._asked += 1
        number, state = self._asked, self.state

        def work() -> Thought:
            read = read_case(state, self.engine.tables)
            return Thought(number, state, read, self.engine.judge(read.case))

        return self._pool.submit(work)

    def accept(self, thought: Thought) -> bool:
        """Take a thought from the thread; False when the call has moved on since."""
        if thought.number != self._asked or thought.state is not self.state:
            return False
        self._thought = thought
        return True

    def shut(self) -> None:
        """End the desk's thread."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None

    def without_text(self) -> CallDesk:
        """Return the same call as one sees it to whom no personal data and free text were handed over."""
        return CallDesk(self.desk, self.call, self._events, ())

    def what_if(self, check: str, outcome: str) -> Judgement:
        """Return the judgement if a check were answered so; nothing is recorded."""
        trial = self.desk.replayed(self.call, self._events, self._sealed)
        trial.answer(check, outcome=outcome)
        return trial.think().judgement

    def seen(self, event: str) -> Seen | None:
        """Return what an answer was taken to mean."""
        return self.think().read.seen.get(event)

    def minutes(self) -> dict[str, float]:
        """Return the estimate of minutes spent so far."""
        return minutes_spent(self.state, self.think().read.case.instances, self.engine.knowledge)

    def offers(self) -> tuple[Offer, ...]:
        """Return the best three checks now."""
        return self.think().judgement.plan.offers

    # --- recording --------------------------------------------------------------------------------

    def record(
        self, kind: str, body: Mapping[str, Any] | None = None, personal: Mapping[str, str] | None = None, *,
        by: str | None = None, at: datetime | str | None = None,
    ) -> Event:
        """Append one event, durably when there is a store; raise before anything is lost otherwise.

        What other desks added meanwhile is taken in first, but not between the two events of a change.
        """
        event, sealed = self._made(kind, body, personal, by, at=at)
        if self.desk.store is not None:
            alone = not self._events or self._events[-1].kind == "withdrawn"
            try:
                self.desk.store.append(event, sealed, None if alone else len(self._events))
            except BehindError:
                with suppress(DiagError):
                    self.catch_up()
                event, sealed = self._made(kind, body, personal, by, at=at)
                self.desk.store.append(event, sealed)
        self._events.append(event)
        self._sealed.extend(sealed)
        self._state = None
        self._thought = None
        self._asked += 1
        return event

    def _made(
        self, kind: str, body: Mapping[str, Any] | None, personal: Mapping[str, str] | None, by: str | None, *,
        at: datetime | str | None,
    ) -> tuple[Event, tuple[Sealed, ...]]:
        """Return a new event that follows all that is known of the call, with its sealed values."""
        if self._events and not self.state.writable:
            what = "This call holds events of a newer program."
            raise RecordError(what, self.call, "Read it here, go on in the newer program.")
        if kind in ("change", "repair"):
            body = linked(kind, body or {}, self.state)
        return make_event(
            self.call, heads(self._events), at or self.desk.clock(), self.desk.desk_id, by=by or self._role(),
            kind=kind, body=body, sealed_values=personal, salts=self.desk.random,
        )

    def catch_up(self) -> bool:
        """Take in what other desks added to the call; False when there is nothing new."""
        new: list[Event] = []
        if self.desk.store is not None:
            new, sealed = self.desk.store.news(self.call, (e.id for e in self._events))
        if new:
            self._events = order([*self._events, *new])
            self._sealed = sealed
            self._state = self._thought = None
            self._asked += 1
        return bool(new)

    def _role(self) -> str:
        return "phone_desk" if self._events and self.state.channel == "phone" else "technician"

    def set_machine(self, body: Mapping[str, Any], **personal: str) -> Event:
        """Record (part of) the machine profile."""
        return self.record("machine", body, personal)

    def set_situation(self, body: Mapping[str, Any], **personal: str) -> Event:
        """Record crop, lot, target, speed, rows, changes, flags."""
        return self.record("situation", body, personal)

    def set_complaint(
        self, words: str = "", accepted: Sequence[tuple[str, str]] = (), denied: Sequence[str] = ()
    ) -> Event:
        """Record the caller's words and the symptoms accepted [(id, chosen|matched)] and denied."""
        body = {"accepted": [{"id": s, "how": how} for s, how in accepted], "denied": list(denied)}
        return self.record("complaint", body, {"words": words})

    def answer(
        self, check: str, *, outcome: str | None = None, rows: Rows | None = None, status: str = "given",
        observer: str | None = None, happened: str | None = None, said: str = "", by: str | None = None,
        **reading: Any,
    ) -> Event:
        """Record an answer: an outcome, or a reading (value, values, spacings, positions, log)."""
        body = self._answer_body(check, outcome, rows, status, observer=observer, happened=happened, reading=reading)
        return self.record("answer", body, {"said": said}, by=by)

    def _answer_body(
        self, check: str, outcome: str | None, rows: Rows | None, status: str, observer: str | None,
        happened: str | None, reading: Mapping[str, Any],
    ) -> dict[str, Any]:
        known = self.engine.knowledge.questions.get(check)
        if known is None:
            raise RecordError(f"There is no check {check!r}.", "answer", "Search the checks by their words.")
        if outcome is not None and outcome not in known.outcomes:
            raise RecordError(
                f"{check} has no outcome {outcome!r}.", "answer", f"It has: {', '.join(known.outcomes)}."
            )
        who = observer or usual_observer(known, self.state.channel)
        body: dict[str, Any] = {"check": check, "observer": who, "status": status, "channel": self.state.channel}
        optional = {"outcome": outcome, "rows": None if rows is None else to_stored(rows), "happened": happened}
        body.update({k: v for k, v in {**optional, **reading}.items() if v is not None})
        return body

    def change_answer(self, event: str, **answer: Any) -> Event:
        """Withdraw an earlier answer and give another to the same check in its place."""
        old = next((a for a in self.state.answers if a.event == event), None)
        if old is None:
            raise RecordError("That answer no longer stands.", self.call, "Pick a live answer from the trail.")
        answer.setdefault("rows", old.rows)
        answer.setdefault("observer", old.observer)
        check = answer.pop("check", old.check)
        self.withdraw(event, by=answer.get("by"))
        return self.answer(check, **answer)

    def withdraw(self, event: str, reason: str = "", by: str | None = None) -> Event:
        """Withdraw an event."""
        return self.record("withdrawn", {"target": event}, {"reason": reason}, by=by)

    @contextmanager
    def act(self) -> Iterator[None]:
        """Everything recorded inside is one act of the user: undo takes it back whole."""
        start = len(self._events)
        try:
            yield
        finally:
            made = tuple(e.id for e in self._events[start:] if KINDS[e.kind].WITHDRAWABLE)
            if len(made) > 1:
                self._acts.append(made)

    def undo(self) -> tuple[str, ...]:
        """Withdraw the last own act; return its events, () when there is none."""
        return self._withdraw_act(undo_targets(self._events, self.desk.desk_id))

    def redo(self) -> tuple[str, ...]:
        """Withdraw the last own undo; return the events that stand again, () when there is none."""
        targets = self._withdraw_act(redo_targets(self._events, self.desk.desk_id))
        withdrawn = {e.id: e.body["target"] for e in self._events if e.known and e.kind == "withdrawn"}
        return tuple(withdrawn[t] for t in targets)

    def _withdraw_act(self, targets: Sequence[str]) -> tuple[str, ...]:
        if not targets:
            return ()
        whole = next((a for a in reversed(self._acts) if targets[0] in a), None)
        gone = withdrawals(self._events)
        chosen = tuple(targets) if whole is None else tuple(e for e in reversed(whole) if e not in gone)
        with self.act():
            for target in chosen:
                self.withdraw(target)
        return chosen

    def switch_channel(self, channel: str) -> Event:
        """Record that the call goes on by phone or on site."""
        return self.record("channel", {"channel": channel})

    def acknowledge(self, caution: str, check: str | None = None, how: str = "key") -> Event:
        """Record that a caution was shown and acknowledged (none | key | typed)."""
        shown_to = "grower" if self.state.channel == "phone" else "technician"
        body = {"caution": caution, "check": check, "acknowledged": how, "shown_to": shown_to}
        return self.record("caution", {k: v for k, v in body.items() if v is not None})

    def repair(self, causes: Sequence[str], *, words: str = "", kind: str = "repair", **body: Any) -> Event:
        """Record a repair (or an interim measure) of one or more causes."""
        return self.record("repair", {"causes": list(causes), "kind": kind, **body}, {"words": words})

    def proof(self, repair: str, verdict: str, answers: Sequence[str] = (), **body: Any) -> Event:
        """Record the verdict on a repair with the answers it rests on, and what was believed then."""
        event = self.record("proof", {"target": repair, "verdict": verdict, "answers": list(answers), **body})
        self.judged("proof")
        return event

    def judged(self, why: str) -> Event:
        """Record what is believed now, so that a later write-up prints what was held at the time."""
        thought = self.think()
        knowledge = self.engine.knowledge
        ranking = [{"cause": r.cause, "probability": f"{r.probability:.4f}"} for r in thought.judgement.ranking[:20]]
        beliefs = {r.cause: r.belief for r in thought.judgement.ranking[:20]}
        outcomes = {e: s.evaluated.outcome for e, s in thought.read.seen.items() if s.evaluated.outcome}
        body = {
            "why": why,
            "digests": {"knowledge": knowledge.digest, "version": knowledge.version},
            "ranking": ranking, "beliefs": beliefs, "outcomes": outcomes,
        }
        return self.record("judged", body, by="tool")

    def close(self, result: str, words: str = "") -> Event:
        """Close the call."""
        self.judged("close")
        return self.record("closed", {"result": result}, {"words": words})
