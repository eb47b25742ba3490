"""What an answer would be taken as, while it is typed; nothing is recorded."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from diag.ask.answers import CALLED
from diag.call.readings import Evaluated, evaluate
from diag.figures import AGAIN, READINGS, reading_words
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.record.body import InCall
from diag.record.kinds import Answer
from diag.record.state import State
from diag.units import Measured, suspicion

BASIS: Mapping[str, str] = {"book": "against this machine's book value", "generic": "against the generic range"}


def verdict_of(knowledge: Knowledge, state: State, check: Check, body: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what a reading would be taken as: read back, with the verdict forming."""
    return tuple(_verdict(check, evaluate(knowledge, check, would_be(check, body, state), state), body))


def would_be(check: Check, body: Mapping[str, Any], state: State) -> Answer:
    """Return an answer that nobody gave, for trying out what it would mean."""
    read = {name: body.get(name) for name in READINGS}
    made = Answer.model_construct(check=check.id, channel=state.channel, observer="instrument", status="given", **read)
    return made.placed(InCall(by="tool", epoch=state.epoch))


def _verdict(check: Check, seen: Evaluated, body: Mapping[str, Any]) -> list[str]:
    told, read = [], next(iter(_tallied(check, body)), reading_words(body))
    if seen.outcome:
        basis = BASIS.get(seen.basis, "")
        told.append(f"{read} = {check.outcomes[seen.outcome].says}" + (f" ({basis})" if basis else ""))
    else:
        told.append(f"{read}: no verdict yet: {seen.reason}")
    if seen.analysed:
        told += [seen.analysed.words, *seen.analysed.notes]
    told += _doubts(check, body)
    return list(dict.fromkeys(t for t in told if t))


def _tallied(check: Check, body: Mapping[str, Any]) -> list[str]:
    """Return the running count of spacings called out."""
    from diag.analyses.dictation import Tally

    if set(check.takes.labels) != CALLED:
        return []
    counts = {k: v["count"] if isinstance(v, Mapping) else v for k, v in (body.get("values") or {}).items()}
    return [Tally(**counts).running()]


def _doubts(check: Check, body: Mapping[str, Any]) -> list[str]:
    """Return values so unusual that they may have been misheard."""
    from diag.analyses.dictation import doubtful

    value, values = body.get("value"), body.get("values") or {}
    if isinstance(value, Mapping) and "unit" in value:
        return [suspicion(Measured.from_json(value), check.takes.quantity)]
    read = [(k, Measured.from_json(v)) for k, v in values.items() if isinstance(v, Mapping) and "unit" in v]
    if check.takes.per != "row" or not read:
        return []
    places = doubtful([m for _, m in read])
    return [f"{_name(read[i][0])} reads {read[i][1]}: unlike both its neighbours, ask for it again." for i in places]


def _name(key: str) -> str:
    return "the first row, read again," if key == AGAIN else f"row {key}"


def charts(seen: Sequence[Evaluated | None], width: int) -> list[str]:
    """Return the charts of readings as text, at most `width` columns."""
    return [chart for one in seen if one and one.analysed for chart in one.analysed.charts(width)]
