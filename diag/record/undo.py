"""Which events still hold, and what undo and redo withdraw.

Undo withdraws the last own event that holds, redo withdraws that withdrawal; nothing is ever deleted.
Changing an answer is withdrawing it and answering the same check anew: one step for undo. Withdrawing the
last own event by hand is undo itself; so withdrawing only the new half of a change is an undo half done,
which the next undo completes and the next redo takes back whole.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from diag.record.graph import KINDS, Event, order


def withdrawals(events: Sequence[Event]) -> dict[str, str]:
    """Return {event id: id of the withdrawal that holds} for events in reading order.

    A withdrawal that was itself withdrawn does not hold. One pass backwards settles it, since an event
    can only be withdrawn by a later one.
    """
    found: dict[str, str] = {}
    for event in reversed(events):
        if event.known and event.kind == "withdrawn" and event.id not in found:
            found[event.body["target"]] = event.id
    return found


def live_events(events: Iterable[Event]) -> list[Event]:
    """Return the events that hold, in reading order."""
    known = order(events)
    gone = withdrawals(known)
    return [e for e in known if e.id not in gone]


def corrected(event: Event, by_id: Mapping[str, Event]) -> str | None:
    """Return the id of the event that this one corrects: the target of a withdrawal just before it.

    Changing an answer is withdrawing it and answering the same check anew.
    """
    if len(event.parents) != 1 or not event.known:
        return None
    before = by_id.get(event.parents[0])
    if before is None or before.kind != "withdrawn" or not before.known:
        return None
    target = by_id.get(before.body["target"])
    same = target is not None and target.kind == event.kind != "withdrawn"
    if not same or target is None or target.body.get("check") != event.body.get("check"):
        return None
    return target.id


def undo_targets(events: Iterable[Event], desk: str) -> tuple[str, ...]:
    """Return the events to withdraw, in this order, to undo the desk's last step; () when there is none.

    A changed answer is one step: its two events go together, and the earlier answer holds again.
    """
    history = _History(order(events), desk)
    if not history.done:
        return ()
    last = history.done[-1]
    pair = history.done[-2:-1]
    if pair and pair[0].kind == "withdrawn" and history.corrects(last, pair[0]):
        return last.id, pair[0].id
    return (last.id,)


def redo_targets(events: Iterable[Event], desk: str) -> tuple[str, ...]:
    """Return the withdrawals to withdraw, in this order, to take back the desk's last undo."""
    history = _History(order(events), desk)
    if not history.undone:
        return ()
    step, withdrawal = history.undone[-1]
    if step.kind == "withdrawn" and len(history.undone) > 1:
        partner, other = history.undone[-2]
        if history.corrects(partner, step):
            return withdrawal.id, other.id
    return (withdrawal.id,)


class _History:
    """The steps of one desk that can be undone, and those that can be redone."""

    def __init__(self, events: Sequence[Event], desk: str) -> None:
        self._by_id = {e.id: e for e in events}
        self.done: list[Event] = []
        self.undone: list[tuple[Event, Event]] = []
        """(event, its withdrawal)"""
        for event in events:
            if event.desk == desk and event.known and KINDS[event.kind].WITHDRAWABLE:
                self._take(event)
        gone = withdrawals(events)
        self.done = [e for e in self.done if e.id not in gone]

    def corrects(self, event: Event, withdrawal: Event) -> bool:
        """Tell whether an event and the withdrawal before it are one change of an earlier event."""
        return event.parents == (withdrawal.id,) and corrected(event, self._by_id) is not None

    def _take(self, event: Event) -> None:
        if event.kind == "withdrawn":
            if self.done and self.done[-1].id == event.body["target"]:
                self.undone.append((self.done.pop(), event))
                return
            if self.undone and self.undone[-1][1].id == event.body["target"]:
                self.done.append(self.undone.pop()[0])
                return
        elif self.undone and self.corrects(event, self.undone[-1][1]):
            self.done.extend(self.undone[-1])  # not an undo after all: the first half of a change
        self.done.append(event)
        self.undone.clear()
