"""Where the parts of a load list are, as somebody said: a note of the call."""

from __future__ import annotations

from diag.call.desk import CallDesk
from diag.errors import UsageError
from diag.record.graph import Event
from diag.writeup.story.details import notes_of, parse_date

STOCK = {"here": "here", "elsewhere": "elsewhere", "due": "due", "none": "none to be had"}
_STOCK_ITEM = "stock_"


def mark_stock(call: CallDesk, part: str, where: str) -> Event:
    """Record where a part is: here, elsewhere, due DATE, none. Raises UsageError."""
    if part not in call.engine.knowledge.parts:
        raise UsageError(f"There is no part {part!r}.", "stock", "Take a part of the load list.")
    word, _, rest = where.strip().partition(" ")
    if word not in STOCK or (rest and word != "due") or (word == "due" and not rest):
        remedy = "One of: here, elsewhere, due 2026-05-14, none."
        raise UsageError(f"{where!r} does not say where it is.", "stock", remedy)
    value = f"due {parse_date(rest, 'stock')}" if word == "due" else STOCK[word]
    return call.record("note", {"item": f"{_STOCK_ITEM}{part}", "value": value})


def stock_of(call: CallDesk) -> dict[str, str]:
    """Return where each part is, as last said."""
    found = {}
    for step in notes_of(call):
        if step.body["item"].startswith(_STOCK_ITEM):
            found[step.body["item"].removeprefix(_STOCK_ITEM)] = str(step.body.get("value", ""))
    return found
