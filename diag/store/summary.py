"""What a list of calls shows of each, and the text that a search looks through."""

from __future__ import annotations

import unicodedata
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, dataclass
from functools import cache
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, TypeAdapter, ValidationError

from diag.figures.rows import show_rows
from diag.record.fold import fold, live_events, sealed_view
from diag.record.graph import Event, Sealed
from diag.record.ids import is_stamp
from diag.record.kinds import KINDS
from diag.text import one_line

LISTED_KINDS = tuple(name for name, kind in KINDS.items() if kind.LISTED)
"""Kinds that a summary depends on; others only move the time of the last change."""

_MOST_WORDS = 200
DAMAGED: Literal["damaged"] = "damaged"


def _stamp(value: str) -> str:
    if not is_stamp(value):
        raise ValueError("no time")
    return value


_Stamp = Annotated[str, AfterValidator(_stamp)]


@dataclass(frozen=True)
class CallSummary:
    """One line of a list of calls."""

    call: str
    channel: str
    status: Literal["open", "waiting", "closed", "damaged"]
    opened: _Stamp
    """When the call was opened, UTC."""
    changed: _Stamp
    """When the newest event was typed, UTC."""
    events: int
    customer: str
    place: str
    machine: str
    """Label of the machine."""
    words: str
    """The complaint in the caller's words, at most 200 characters."""
    symptoms: tuple[str, ...]
    crop: str
    seed_lot: str
    rows: str
    causes: tuple[str, ...]
    """Causes repaired, else those last judged likeliest (at most three)."""
    waiting_for: str
    due: _Stamp | Literal[""]
    """Until when it waits or is to be followed up, UTC; "" when no time was said."""
    result: str
    practice: bool

    @property
    def damaged(self) -> bool:
        """True when the call cannot be read."""
        return self.status == DAMAGED

    def as_json(self) -> dict[str, Any]:
        """Return the summary ready for JSON."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Any) -> CallSummary | None:
        """Return the summary of its JSON form, None when that is damaged."""
        try:
            return _form().validate_python(data)
        except ValidationError:
            return None


@cache
def _form() -> TypeAdapter[CallSummary]:
    return TypeAdapter(CallSummary)


def damaged_summary(call: str) -> CallSummary:
    """Return the line of a call that cannot be read."""
    words = "This call is damaged. See what can be saved: diag calls repair."
    return CallSummary(call, "", DAMAGED, opened="", changed="", events=0, customer="", place="", machine="",
                       words=words, symptoms=(), crop="", seed_lot="", rows="", causes=(), waiting_for="", due="",
                       result="", practice=False)


def summarise(events: Sequence[Event], sealed: Iterable[Sealed]) -> tuple[CallSummary, str]:
    """Return the summary of a call and the text that a search looks through: what events of LISTED_KINDS tell."""
    changed, count = max(e.at for e in events), len(events)
    events = [e for e in events if e.kind in LISTED_KINDS]
    sealed = list(sealed)
    state = fold(events, sealed)
    live = live_events(events)
    texts = sealed_view(events, sealed)
    last = {(e.kind, name): text for e in live for name, text in texts.get(e.id, {}).items()}
    situation = state.situation
    causes = [c for r in state.repairs for c in r.causes] or _judged(state.judged[-1].ranking if state.judged else [])
    summary = CallSummary(
        call=state.call,
        channel=state.channel,
        status="closed" if state.closed else "waiting" if state.waiting else "open",
        opened=state.trail[0].at,
        changed=changed,
        events=count,
        customer=one_line(last.get(("opened", "customer"), "")),
        place=one_line(last.get(("opened", "place"), "")),
        machine=one_line(last.get(("machine", "label"), "")),
        words=one_line(last.get(("complaint", "words"), ""), limit=_MOST_WORDS),
        symptoms=tuple(s for s, _ in state.accepted),
        crop=situation.crop or "",
        seed_lot=situation.seed_lot_code or "",
        rows="" if situation.rows is None else show_rows(situation.rows),
        causes=tuple(dict.fromkeys(causes)),
        waiting_for=state.waiting.reason if state.waiting else "",
        due=state.due or "",
        result=state.closed.result if state.closed else "",
        practice=state.opened.practice,
    )
    return summary, _searched(summary, [t for e in live for t in texts.get(e.id, {}).values()])


def _judged(ranking: Any) -> list[str]:
    ranking = ranking if isinstance(ranking, list) else []
    named = [r["cause"] for r in ranking if isinstance(r, Mapping) and isinstance(r.get("cause"), str)]
    return named[:3]


def _searched(summary: CallSummary, texts: Iterable[str]) -> str:
    ids = [summary.call, summary.crop, summary.seed_lot, *summary.symptoms, *summary.causes, summary.result]
    return folded(" ".join([*ids, *texts]))


def folded(text: str) -> str:
    """Return text as a search compares it: composed letters, no difference of case, single spaces."""
    return unicodedata.normalize("NFC", one_line(text).casefold())
