"""How a call ended, and whether its closing word is what the record holds."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from diag.call.desk import CallDesk
from diag.writeup.story.model import CauseTold, Closing, Correction

CLOSINGS: Mapping[str, str] = {
    "mended_by_phone": "mended by phone", "mended": "mended", "interim": "going on with a workaround",
    "question_answered": "question answered", "no_fault_found": "no fault found", "handed_over": "handed on",
    "not_heard_again": "not heard from again", "several_changed_at_once": "several things changed at once",
    "part_shown_at_fault": "part shown at fault",
}
SURE = ("confirmed", "probable")


def mended_kind(channel: str) -> str:
    """Return the closing of a mended call in a channel."""
    return "mended" if channel == "site" else "mended_by_phone"


def closing_of(call: CallDesk, sealed: Mapping[str, Mapping[str, str]], told: Sequence[CauseTold],
               repairs: Sequence[Correction]) -> Closing:
    """Return how a call ended, or will if nothing else is said."""
    closed = call.state.closed
    if closed is None:
        return Closing(mended_kind(call.state.channel), "not closed yet", "", open=True, on="", events=())
    words = sealed.get(closed.event, {}).get("words", "")
    return Closing(closed.result, CLOSINGS.get(closed.result, closed.result), words, open=False,
                   on=closed.happened or closed.at, events=(closed.event,),
                   against=_against(call, closed.result, told, repairs))


def _against(call: CallDesk, kind: str, told: Sequence[CauseTold], repairs: Sequence[Correction]) -> str:
    """Return what the record holds against a closing word; "" where nothing does."""
    kinds = call.engine.knowledge.kinds
    shown = [c.label for c in told if c.word in SURE and not kinds[c.kind].elsewhere]
    mended = [r for r in repairs if r.kind == "repair"]
    places = dict.fromkeys(r.where for r in mended if r.where)
    repaired = f"a repair is recorded{' at ' if places else ''}{', '.join(places)}" if mended else ""
    if kind == "no_fault_found":
        return "; ".join([*([repaired] if repaired else []), *(f"shown: {label}" for label in shown)])
    if kind == "question_answered" or (kind == "interim" and all(r in mended for r in repairs)):
        return repaired
    if kind == "several_changed_at_once" and mended and len(call.state.done_before) + len(mended) < 2:
        return "only one repair is recorded" if len(mended[0].causes) == 1 else ""
    return "no test shows a part at fault" if kind == "part_shown_at_fault" and not shown else ""
