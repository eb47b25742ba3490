"""Calls of the invented Alder Flat farm, made through the desk: one told well, one told badly, and others.

Everything here is invented: farm, people, serial numbers, dates, readings.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from diag.call.case_of import BACK
from diag.call.desk import CallDesk, Desk
from diag.reason.judge import Engine
from diag.record.event import Event
from diag.writeup import details

START = datetime(2026, 5, 12, 14, 0, tzinfo=UTC)
WORDS = "Row 7 is leaving gaps. It began Tuesday and gets worse after lunch. The rows beside it look fine."


@dataclass
class Clock:
    """A clock that tests set forward."""

    now: datetime = START

    def __call__(self) -> datetime:
        return self.now

    def forward(self, minutes: float) -> None:
        """Let time pass."""
        self.now += timedelta(minutes=minutes)


class Dice:
    """Bytes that differ and repeat from run to run."""

    def __init__(self) -> None:
        self.n = 0

    def __call__(self, size: int) -> bytes:
        self.n += 1
        return self.n.to_bytes(8, "big").rjust(size, b"\0")[-size:]


@dataclass
class Case:
    """A call in work with its clock, and the events a test may want to name."""

    call: CallDesk
    clock: Clock
    named: dict[str, Event] = field(default_factory=dict)

    def wait(self, minutes: float) -> None:
        """Let time pass."""
        self.clock.forward(minutes)

    def give(self, name: str, text: str, **more: Any) -> Event:
        """Give a detail."""
        return details.give(self.call, name, text, **more)

    def vacuum(self, name: str, values: Mapping[int, float], **more: Any) -> Event:
        """Read the vacuum at the meters."""
        read = {str(row): {"value": str(v), "unit": "inH2O"} for row, v in values.items()}
        self.named[name] = self.call.answer("vac_manometer_row", values=read, observer="instrument", **more)
        return self.named[name]

    def dug(self, name: str, values: Mapping[str, int], **more: Any) -> Event:
        """Count the seeds in a thousandth of an acre."""
        read = {key: {"value": str(n), "unit": "count"} for key, n in values.items()}
        self.named[name] = self.call.answer("dug_thousandth", values=read, observer="technician", **more)
        return self.named[name]


def opened(engine: Engine, channel: str = "site", store: Any = None, **personal: str) -> Case:
    """Open a call of Alder Flat."""
    clock = Clock()
    desk = Desk(engine, store, "desk0000000000aa", clock, Dice())
    who = {"customer": "Alder Flat", "contact": "owner-operator", "place": "Mill field"}
    return Case(desk.new_call(channel, **{**who, **personal}), clock)


LOW = {4: 20, 5: 20, 6: 20, 7: 12, 8: 20, 9: 20}
EVEN = {4: 20, 5: 20, 6: 20, 7: 20, 8: 20, 9: 20}
MOVED = {4: 20, 5: 20, 6: 12, 7: 20, 8: 20, 9: 20}


def machine(case: Case, serial: str = "INV-PLT-0012") -> None:
    """Enter the machine and what is planted."""
    axes = {"meter": "flat", "meter_drive": "electric"}
    known = case.call.engine.knowledge.axes
    case.call.set_machine(
        {"axes": {a: v for a, v in axes.items() if a in known}, "rows": 12, "row_width": {"value": "30", "unit": "in"}},
        serial=serial, label="the 12-row",
    )
    case.call.set_situation(
        {"crop": "corn", "rows": [7], "target": {"value": "34000", "unit": "seeds/ac"},
         "speed": {"value": "5", "unit": "mph"}, "seed_lot_code": "INV-LOT-A", "since": "Tuesday"}
    )


def good(engine: Engine, store: Any = None) -> Case:
    """The good Alder Flat story: a low seal of one row, shown by going and coming, mended and proved."""
    case = opened(engine, store=store, technician="field technician")
    call = case.call
    machine(case)
    call.set_complaint(WORDS, [("skips_high", "chosen")])
    case.wait(2 * 24 * 60)
    case.give("safe_state", "Lowered, engine off, key out, meter drives unplugged before covers came off")
    case.give("manifold_vacuum", "20 inH2O")
    case.give("weather", "71 F, dry, 3 pm")
    case.wait(25)
    case.dug("B1", {"5": 34, "6": 34, "7": 27, "8": 33})
    case.wait(20)
    case.vacuum("B3", LOW)
    case.named["P1"] = photo(call, "gauge_row7_before.jpg", "gauge, row 7, before", case.named["B3"].id)
    case.wait(20)
    call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    case.vacuum("T1", MOVED)
    case.named["swap"] = call.answer("meter_swap", outcome="moves", observer="technician", rows=(7,))
    call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    case.wait(10)
    case.named["P4"] = photo(call, "void_under_lip.jpg", "void under the lip with ruler, not cleaned")
    case.named["repair"] = call.repair(
        ["seal_worn"], words="Fitted one new vacuum seal, row 7. Each meter in its own row. Fan setting left as found.",
        rows=[7], parts=[{"item": "vacuum seal", "qty": 1}], minutes=18, done_by="technician",
    )
    case.wait(10)
    case.vacuum("T2", EVEN)
    case.wait(6)
    case.vacuum("T3", LOW, method=BACK)
    case.wait(10)
    case.vacuum("A1", EVEN, method="new seal fitted again")
    case.wait(8)
    case.dug("A2", {"5": 34, "6": 34, "7": 33, "8": 34})
    case.give("conditions_after", "same")
    call.proof(case.named["repair"].id, "accepted", [case.named["A1"].id, case.named["A2"].id])
    evidence = [case.named["T3"].id]
    measured = "row 7 seal 2.1 mm over about 40 degrees; rows 5, 6, 8 seals 3.3, 3.4, 3.5 mm"
    case.give("siblings", measured, evidence=evidence)
    case.give("mechanism", "low lip over part of the circle, void visible under the lip", evidence=evidence)
    case.give("root", "moulding void under the lip", evidence=evidence)
    case.give("category", "fabrication")
    claim_fields(case)
    return case


def claim_fields(case: Case) -> None:
    """Give what only a claim asks for."""
    for name, text in (
        ("claim_type", "warranty"), ("in_service", "2026-04-06"), ("cover_ends", "2027-04-05"),
        ("area", "410 ac"), ("fan_hours", "31 h"), ("failure", "2026-05-12"), ("component_serial", "INV-SEAL-3"),
        ("part_kept", "tag INV-T-0071, parts shelf, bagged dry, not cleaned"),
        ("authorised", "service manager, by phone, note in the job file"),
        ("hours_travel", "1.4 h"), ("hours_diagnosis", "1.3 h"), ("hours_repair", "0.3 h"),
        ("hours_verification", "0.4 h"), ("travel_distance", "62 mi"),
        ("unexplained", "Why it grew worse after lunch was not tested"), ("filed", "2026-05-18"),
    ):
        case.give(name, text)
    owner = "even: Owner reports row 7 even with its neighbours over 60 ac"
    case.give("follow_up", owner, happened="2026-05-15T15:00:00Z")


def photo(call: CallDesk, name: str, text: str, about: str | None = None) -> Event:
    """Record a photo."""
    import hashlib

    sha = hashlib.sha256(name.encode()).hexdigest()
    return call.record("photo", {"sha256": sha, "about": about}, {"file_name": name, "text": text})
