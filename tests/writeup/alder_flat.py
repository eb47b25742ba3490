"""Calls of the invented Alder Flat farm, made through the desk: one told well, one told badly, and others.

Everything here is invented: farm, people, serial numbers, dates, readings.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from typing import Any

from diag.call.case_of import BACK
from diag.call.desk import CallDesk, Desk
from diag.call.shown import NOT_TESTED, shown_words
from diag.reason.judge import Engine
from diag.record.event import Event
from diag.writeup.story import details

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


Step = Callable[[Case], Any]
"""One step of a story."""
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


def good(engine: Engine, store: Any = None, changes: Mapping[str, Step | None] | None = None) -> Case:
    """The good Alder Flat story: a low seal of one row, shown by going and coming, mended and proved.

    `changes`: step -> what is done in its place, or None to leave it out.
    """
    case = opened(engine, store=store, technician="field technician")
    for name, step in STEPS.items():
        chosen = (changes or {}).get(name, step)
        if chosen is not None:
            chosen(case)
    assert set(changes or ()) <= set(STEPS)
    return case


def waits(minutes: float) -> Step:
    """Let time pass."""
    return lambda case: case.wait(minutes)


def gives(name: str, text: str, on: tuple[str, ...] = (), **more: Any) -> Step:
    """Give a detail, resting on named readings."""
    return lambda case: case.give(name, text, evidence=[case.named[n].id for n in on if n in case.named], **more)


def reads(name: str, values: Mapping[int, float], **more: Any) -> Step:
    """Read the vacuum at the meters."""
    return lambda case: case.vacuum(name, values, **more)


def digs(name: str, values: Mapping[str, int], **more: Any) -> Step:
    """Count the seeds in a thousandth of an acre."""
    return lambda case: case.dug(name, values, **more)


def shows(name: str, file: str, text: str) -> Step:
    """Record a photo."""
    return lambda case: case.named.__setitem__(name, photo(case.call, file, text))


def swaps() -> Step:
    """Exchange the meters of rows 6 and 7."""
    return lambda case: case.call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})


def mends(causes: tuple[str, ...] = ("seal_worn",), **more: Any) -> Step:
    """Record the repair."""
    body: dict[str, Any] = {
        "words": "Fitted one new vacuum seal, row 7. Each meter in its own row. Fan setting left as found.",
        "rows": [7], "parts": [{"item": "vacuum seal", "qty": 1}], "minutes": 18, "done_by": "technician", **more}
    return lambda case: case.named.__setitem__("repair", case.call.repair(list(causes), **body))


def proves(verdict: str = "accepted", on: tuple[str, ...] = ("A1", "A2")) -> Step:
    """Record the verdict on the repair."""
    return lambda case: case.call.proof(case.named["repair"].id, verdict,
                                        [case.named[n].id for n in on if n in case.named])


def meter_moves(case: Case) -> None:
    """Tell that the fault went with the meter."""
    case.named["swap"] = case.call.answer("meter_swap", outcome="moves", observer="technician", rows=(7,))


def complains(case: Case) -> None:
    """Say what is wrong."""
    case.call.set_complaint(WORDS, [("skips_high", "chosen")])


STEPS: dict[str, Step] = {
    "machine": lambda case: machine(case),
    "complaint": complains,
    "days": waits(2 * 24 * 60),
    "safe_state": gives("safe_state", "Lowered, engine off, key out, meter drives unplugged before covers came off"),
    "manifold_vacuum": gives("manifold_vacuum", "20 inH2O"),
    "weather": gives("weather", "71 F, dry, 3 pm"),
    "w1": waits(25),
    "dug_before": digs("B1", {"5": 34, "6": 34, "7": 27, "8": 33}),
    "w2": waits(20),
    "map_before": reads("B3", LOW),
    "photo_gauge": shows("P1", "gauge_row7_before.jpg", "gauge, row 7, before"),
    "w3": waits(20),
    "swap_out": swaps(),
    "map_moved": reads("T1", MOVED),
    "moves": meter_moves,
    "swap_home": swaps(),
    "w4": waits(10),
    "photo_void": shows("P4", "void_under_lip.jpg", "void under the lip with ruler, not cleaned"),
    "repair": mends(),
    "w5": waits(10),
    "map_new": reads("T2", EVEN),
    "w6": waits(6),
    "map_back": reads("T3", LOW, method=BACK),
    "w7": waits(10),
    "map_after": reads("A1", EVEN, method="new seal fitted again"),
    "w8": waits(8),
    "dug_after": digs("A2", {"5": 34, "6": 34, "7": 33, "8": 34}),
    "conditions_after": gives("conditions_after", "same"),
    "proof": proves(),
    "siblings": gives("siblings", "row 7 seal 2.1 mm over about 40 degrees; rows 5, 6, 8 seals 3.3, 3.4, 3.5 mm",
                      ("T3",)),
    "mechanism": gives("mechanism", "low lip over part of the circle, void visible under the lip", ("T3",)),
    "root": gives("root", "moulding void under the lip", ("T3",)),
    "category": gives("category", "fabrication"),
} | {name: gives(name, text) for name, text in (
    ("claim_type", "warranty"), ("in_service", "2026-04-06"), ("cover_ends", "2027-04-05"),
    ("area", "410 ac"), ("fan_hours", "31 h"), ("failure", "2026-05-12"), ("component_serial", "INV-SEAL-3"),
    ("part_number", "INV-PN-77"), ("instrument", "water column with 0.1 inH2O marks"),
    ("limit_source", "1 inH2O from the median, agreed with the customer"), ("filing_window", "30"),
    ("part_kept", "tag INV-T-0071, parts shelf, bagged dry, not cleaned"),
    ("authorised", "service manager, by phone, note in the job file"),
    ("hours_travel", "1.4 h"), ("hours_diagnosis", "1.3 h"), ("hours_repair", "0.3 h"),
    ("hours_verification", "0.4 h"), ("travel_distance", "62 mi"),
    ("unexplained", "Why it grew worse after lunch was not tested"), ("filed", "2026-05-18"),
)} | {"follow_up": gives("follow_up", "even: Owner reports row 7 even with its neighbours over 60 ac",
                         happened="2026-05-15T15:00:00Z")}
"""The good story step by step."""
CLAIM_STEPS = tuple(STEPS)[tuple(STEPS).index("claim_type"):]


def claim_fields(case: Case) -> None:
    """Give what only a claim asks for."""
    for name in CLAIM_STEPS:
        STEPS[name](case)


def photo(call: CallDesk, name: str, text: str, about: str | None = None) -> Event:
    """Record a photo."""
    import hashlib

    sha = hashlib.sha256(name.encode()).hexdigest()
    return call.record("photo", {"sha256": sha, "about": about}, {"file_name": name, "text": text})


def shown_word(call: CallDesk, cause: str) -> str:
    """Return what was shown about one cause."""
    return shown_words(call).get(cause, NOT_TESTED)
