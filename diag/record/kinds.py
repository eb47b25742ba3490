"""What each kind of event may say: the fields of its body with their types, and its sealed fields.

Bodies hold ids, numbers, rows, roles and short labels of things on the machine. All free text and all
that tells of a person is sealed. Every kind may also carry `happened`, the time at which it happened,
where that is not when it was typed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

from diag.record.fields import (
    AXIS_VALUE,
    CALL,
    DATA,
    FLAG,
    LABEL,
    MEASURED,
    NUMBER,
    PLACE,
    READING,
    ROWS,
    SETTING,
    SHA,
    TIME,
    Path,
    RecordOf,
    Type,
    event,
    ident,
    is_hash,
    list_of,
    map_of,
    record,
    whole,
    word,
)

MOST_TEXT = 20_000  # characters of one sealed text

ROLES = ("technician", "phone_desk", "grower", "caller", "tool")
ROLE = word(*ROLES)
CHANNEL = word("phone", "site")
COUNT = whole(0, 1_000_000)
NAME = ident()
CHANGED_SETTING = record({"name": LABEL, "rows": ROWS, "before": SETTING, "after": SETTING}, "name")
SERIES = record({"unit": LABEL, "values": list_of(NUMBER)}, "unit values")
LOG = record({"time_unit": LABEL, "unit": LABEL, "points": list_of(list_of(NUMBER))}, "time_unit unit points")
ACCEPTED = record({"id": ident("symptom"), "how": word("chosen", "matched")}, "id how", "id",
                   {"how": "chosen"})
PART = record({"item": LABEL, "qty": COUNT}, "item qty", "item", {"qty": 1})
KNOWLEDGE = record({"version": LABEL, "digest": LABEL}, "version digest")


READINGS = ("outcome", "value", "values", "spacings", "positions", "log")
WAIT_ENDS = "none"
RESULTS = ("mended_by_phone", "mended", "interim", "question_answered", "no_fault_found", "handed_over",
           "not_heard_again", "several_changed_at_once", "part_shown_at_fault")


@dataclass(frozen=True)
class Kind:
    """One kind of event."""

    name: str
    body: RecordOf
    sealed: tuple[str, ...] = ()
    withdrawable: bool = True
    rule: Callable[[Mapping[str, Any]], str] = field(default=lambda body: "", repr=False)
    """What fields must be to each other: "" or what is wrong."""

    def faults(self, body: Mapping[str, Any], sealed: Mapping[str, str]) -> Iterator[tuple[Path, str]]:
        """Yield (place, what is wrong) for a body and the hashes of sealed fields."""
        found = list(self.body.faults(body))
        yield from found
        if not found and (broken := self.rule(body)):
            yield (), broken
        for name in sealed:
            if name not in self.sealed:
                known = ", ".join(self.sealed) or "none"
                yield (name,), f"is not a sealed field here (known: {known})"


def _one_reading(body: Mapping[str, Any]) -> str:
    given = [name for name in READINGS if name in body]
    if len(given) > 1:
        return f"holds {' and '.join(given)}; an answer has one of them"
    if given and body["status"] != "given":
        return f"holds {given[0]} although its status is {body['status']}"
    if any(len(point) != 2 for point in body.get("log", {}).get("points", [])):
        return "needs a time and a value in every point of its log"
    return ""


def _setting_or_part(body: Mapping[str, Any]) -> str:
    return "" if ("setting" in body) != ("part" in body) else "needs either setting or part"


def _erases(body: Mapping[str, Any]) -> str:
    pairs = all(len(t) == 2 and is_hash(t[0]) for t in body["targets"])
    return "" if pairs else "must list [event id, field] pairs"


def _kind(name: str, fields: Mapping[str, Type], required: str = "", sealed: str = "", *,
          withdrawable: bool = True, rule: Callable[[Mapping[str, Any]], str] = lambda body: "") -> Kind:
    body = record({**fields, "happened": TIME}, required)
    return Kind(name, body, tuple(sealed.split()), withdrawable, rule)


_ALL = (
    _kind("opened", {"channel": CHANNEL, "program": LABEL, "knowledge": KNOWLEDGE, "follows": CALL,
                     "practice": FLAG},
          "channel program knowledge", "customer contact phone place technician", withdrawable=False),
    _kind("machine", {"axes": map_of(ident("axis"), AXIS_VALUE), "rows": whole(1, 200), "row_width": MEASURED,
                      "holes": whole(1, 1000), "book": map_of(ident("book"), SETTING),
                      "sections": list_of(record({"name": LABEL, "rows": ROWS}, "name rows"))},
          "", "owner serial label"),
    _kind("situation", {"crop": NAME, "seed_lot_code": LABEL, "target": MEASURED, "speed": MEASURED,
                        "since": LABEL, "changes": list_of(NAME), "rows": ROWS, "rhythm": LABEL,
                        "flags": list_of(NAME), "without": list_of(NAME)},
          "", "remarks"),
    _kind("complaint", {"accepted": list_of(ACCEPTED), "denied": list_of(ident("symptom"))}, "", "words"),
    _kind("done_before", {"what": LABEL, "rows": ROWS, "before": SETTING, "after": SETTING,
                          "order": whole(1, 1000),
                          "effect": word("better", "no_change", "worse", "unknown"),
                          "old_part": word("kept", "gone", "unknown"), "told_by": ROLE},
          "what", "said"),
    _kind("answer", {"check": ident("check"), "rows": ROWS, "piece": map_of(NAME, PLACE), "channel": CHANNEL,
                     "observer": ident("observer"), "status": word("given", "unsure", "cannot_here"),
                     "outcome": ident("outcome"), "value": READING, "values": map_of(LABEL, READING),
                     "spacings": SERIES, "positions": SERIES, "log": LOG, "method": LABEL},
          "check observer status", "said", rule=_one_reading),
    _kind("withdrawn", {"target": event()}, "target", "reason"),
    _kind("channel", {"channel": CHANNEL}, "channel"),
    _kind("caution", {"caution": ident("caution"), "check": ident("check"), "shown_to": ROLE,
                      "acknowledged": word("none", "key", "typed")},
          "caution acknowledged", withdrawable=False),
    _kind("swap", {"piece": NAME, "from_row": PLACE, "to_row": PLACE}, "piece from_row to_row"),
    _kind("change", {"setting": LABEL, "part": LABEL, "rows": ROWS, "before": SETTING, "after": SETTING,
                     "temporary": FLAG, "settles": event("change")},
          "after", rule=_setting_or_part),
    _kind("waiting", {"for": word("caller", "part", "technician", "weather", "proof", WAIT_ENDS),
                      "until": TIME, "acres": NUMBER},
          "for", "text"),
    _kind("repair", {"causes": list_of(ident("cause")), "kind": word("repair", "interim"), "rows": ROWS,
                     "parts": list_of(PART), "settings": list_of(CHANGED_SETTING), "minutes": COUNT,
                     "done_by": ROLE},
          "kind", "words technician"),
    _kind("proof", {"target": event("repair"), "answers": list_of(event("answer")),
                    "verdict": word("accepted", "not_accepted", "not_yet"), "test": LABEL,
                    "risks": map_of(NAME, NUMBER)},
          "target verdict"),
    _kind("note", {"about": event(), "item": NAME, "value": SETTING, "evidence": list_of(event()), "file": FLAG},
          "", "text"),
    _kind("photo", {"about": event(), "sha256": SHA}, "sha256", "text file_name"),
    _kind("judged", {"why": word("close", "proof", "write_up"), "digests": map_of(NAME, LABEL),
                     "ranking": DATA, "beliefs": DATA, "outcomes": DATA},
          "why", withdrawable=False),
    _kind("closed", {"result": word(*RESULTS)}, "result", "words"),
    _kind("reopened", {}, "", "words"),
    _kind("erased", {"targets": list_of(list_of(LABEL))}, "targets", withdrawable=False, rule=_erases),
)

KINDS: Mapping[str, Kind] = {kind.name: kind for kind in _ALL}
