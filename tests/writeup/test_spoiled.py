"""Sixty and more ways to spoil a good call: each changes a word, the verdict or the list of what is missing.

The good call of Alder Flat (invented) is complete and confirmed; every line of the table spoils one thing in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import pytest
from writeup import alder_flat as af
from writeup.alder_flat import EVEN, LOW, Case, Step, digs, gives, mends, proves, reads, shown_word

from diag.call.case_of import BACK
from diag.call.proof import proofs_of
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.writeup.completeness import readiness
from diag.writeup.page.render import render_text
from diag.writeup.story import tell

ALL_LOW = dict.fromkeys(EVEN, 12.0)
NO_READING_AFTER: dict[str, Step | None] = dict.fromkeys(("map_new", "map_back", "map_after", "dug_after"))
NO_SWAP: dict[str, Step | None] = dict.fromkeys(("swap_out", "map_moved", "moves", "swap_home"))
NO_REVERSAL: dict[str, Step | None] = {**NO_SWAP, "map_back": None}
NO_MAP_AFTER: dict[str, Step | None] = dict.fromkeys(("map_new", "map_back", "map_after"))


@dataclass(frozen=True)
class Spoiled:
    """One way to spoil the good call, and what must come of it."""

    name: str
    changes: Mapping[str, Step | None]
    lacks: str = ""
    """Rules that must then be missing, exactly."""
    word: str = "confirmed"
    says: str = "accepted"
    prints: str = ""
    """Words a claim must then hold."""
    never: str = ""
    """Words it must then not hold."""
    asks: str = ""
    """Words that a question must then hold."""


def spaced(name: str, bad: int, n: int, rows: tuple[int, ...] = (7,)) -> Step:
    """Dig n spacings of which some are skips."""
    gaps = ["12.3"] * bad + ["6.1", "6.2"] * n
    stored = {"values": gaps[:n], "unit": "in"}

    def dig(case: Case) -> None:
        case.named[name] = case.call.answer("dug_50_spacings", spacings=stored, observer="technician", rows=rows)

    return dig


def both(*steps: Step) -> Step:
    """Do several steps in one place."""
    def do(case: Case) -> None:
        for step in steps:
            step(case)

    return do


def takes_back(name: str) -> Step:
    """Withdraw a named event."""
    return lambda case: case.call.withdraw(case.named[name].id)


def changes_for_a_test(**body: Any) -> Step:
    """Change a setting or a part for a test and leave it so."""
    return lambda case: case.call.record("change", {**body, "temporary": True})


def by_a_caller(name: str, values: Mapping[int, float], **more: Any) -> Step:
    """Read the vacuum, told by a caller."""
    def read(case: Case) -> None:
        told = {str(row): {"value": str(v), "unit": "inH2O"} for row, v in values.items()}
        case.named[name] = case.call.answer("vac_manometer_row", values=told, observer="caller", **more)

    return read


def reads_kpa(name: str, values: Mapping[int, float]) -> Step:
    """Read the vacuum and write kPa behind figures that were inH2O."""
    def read(case: Case) -> None:
        told = {str(row): {"value": str(v), "unit": "kPa"} for row, v in values.items()}
        case.named[name] = case.call.answer("vac_manometer_row", values=told, observer="instrument")

    return read


def situation(**more: Any) -> Step:
    """Enter the machine, then something else about what is planted."""
    return both(lambda case: af.machine(case), lambda case: case.call.set_situation(more))


def complaint(words: str) -> Step:
    """Say something else."""
    return lambda case: case.call.set_complaint(words, [("skips_high", "chosen")])


def closes(result: str) -> dict[str, Step | None]:
    """Close the call at the end."""
    return {"follow_up": both(af.STEPS["follow_up"], lambda case: case.call.close(result, "To whom it may go."))}


def without(*names: str) -> dict[str, Step | None]:
    """Leave steps out."""
    return dict.fromkeys(names)


TWO_ROWS: dict[str, Step | None] = {"machine": situation(rows=[3, 7])}
COUNTED = {**NO_READING_AFTER, "map_before": spaced("B3", 4, 60)}
TABLE = (
    # --- readings after the repair
    Spoiled("every reading after it is bad", {"map_new": reads("T2", LOW), "map_after": reads("A1", LOW)},
            lacks="v1", word="inconclusive", says="not_accepted", prints="AGAINST THE READING"),
    Spoiled("the last reading is bad", {"map_after": reads("A1", LOW)}, lacks="v1", word="inconclusive",
            says="not_accepted"),
    Spoiled("nothing read after it", NO_READING_AFTER, lacks="r09 v1 v6", word="possible", says="not_yet"),
    Spoiled("only a good row read after it", {**NO_READING_AFTER, "map_after": reads("A1", {6: 20, 8: 20})},
            lacks="v1", word="possible", says="not_yet"),
    Spoiled("only dug after it", NO_MAP_AFTER, word="probable"),
    Spoiled("only the map after it", without("dug_after")),
    Spoiled("all rows rose alike", {"map_before": reads("B3", ALL_LOW), "map_back": None}, lacks="v1",
            word="probable", says="not_yet"),
    Spoiled("no good row beside it", {**NO_READING_AFTER, "map_before": reads("B3", {7: 12}), "map_after":
            reads("A1", {7: 20}), "dug_before": None, "dug_after": None}, lacks="v1 v6", word="possible",
            says="not_yet"),
    Spoiled("forty seeds counted", {**NO_READING_AFTER, "map_before": spaced("B3", 6, 60), "map_after":
            spaced("A1", 0, 40)}, lacks="v1 v2 v6", word="probable", says="not_yet"),
    Spoiled("120 seeds counted", {**COUNTED, "map_after": spaced("A1", 0, 120)}, lacks="v2 v6",
            word="probable", prints="4 of 60 bad before, 0 of 120 after"),
    Spoiled("row 7 still skips, row 6 counted fine", {**COUNTED, "map_after": both(spaced("A1", 8, 120),
            spaced("A3", 0, 120, (6,)))}, lacks="v1 v2", word="inconclusive", says="not_accepted",
            prints="4 of 60 bad before, 8 of 120 after", never="180"),
    Spoiled("row 7 fine, the good row bad", {**COUNTED, "map_after": both(spaced("A1", 0, 120), spaced("A3",
            12, 120, (6,)))}, lacks="v1 v2", word="probable", says="not_yet"),
    Spoiled("a share that another sample hides", {**NO_READING_AFTER, "map_before": spaced("B3", 8, 100),
            "map_after": both(spaced("A1", 8, 100), spaced("A3", 0, 500, (6,)))}, lacks="v1 v2", word="inconclusive",
            says="not_accepted"),
    Spoiled("read again with the meters exchanged", {**NO_READING_AFTER, "map_after": both(af.swaps(),
            reads("A1", EVEN))}, lacks="r10 v1 v6 v7", word="probable", says="not_yet"),
    Spoiled("read again with more vacuum", {**NO_READING_AFTER, "map_after":
            both(changes_for_a_test(setting="vacuum", before={"value": "20", "unit": "inH2O"}, after={"value": "22",
            "unit": "inH2O"}), reads("A1", EVEN))}, lacks="r09 v1 v6 v7", word="probable", says="not_yet"),
    Spoiled("the old part left in", {"map_after": both(changes_for_a_test(part="vacuum seal", rows=[7],
            before="new", after="old"), reads("A1", LOW)), "map_new": None, "map_back": None, "dug_after": None},
            lacks="r09 v1 v6 v7", word="possible", says="not_yet"),
    Spoiled("kPa written for inH2O", {"map_after": reads_kpa("A1", EVEN)}, lacks="v1", says="not_yet"),
    Spoiled("told by a caller", {"map_before": by_a_caller("B3", LOW), "swap_out": None, "map_moved": None,
            "moves": None, "swap_home": None, "map_new": by_a_caller("T2", EVEN), "map_back": by_a_caller("T3", LOW,
            method=BACK), "map_after": by_a_caller("A1", EVEN), "dug_before": None, "dug_after": None},
            lacks="r06 r13 r14 r27 v1", word="possible"),
    Spoiled("measured by a caller after it", {"map_new": by_a_caller("T2", EVEN), "map_back": None,
            "map_after": by_a_caller("A1", EVEN), "dug_after": None}, lacks="v1", word="possible"),
    # --- the verdict
    Spoiled("judged not accepted", {"proof": proves("not_accepted")}, lacks="v1",
            prints="NOT accepted by the technician"),
    Spoiled("judged not accepted, the old part never back", {**NO_REVERSAL, "proof": proves("not_accepted")},
            lacks="r27 v1", word="inconclusive", prints="NOT accepted by the technician"),
    Spoiled("judged not yet", {"proof": proves("not_yet")}, lacks="v1"),
    Spoiled("nobody judged it", {"proof": None}, lacks="v1", prints="Nobody has judged it"),
    Spoiled("judged, then taken back", {"proof": both(proves(), lambda case:
            case.call.withdraw(case.call.events[-2].id))}, lacks="v1"),
    Spoiled("accepted on nothing", {**NO_READING_AFTER, "proof": proves(on=())}, lacks="r09 v1 v6",
            word="possible", says="not_yet"),
    # --- the cause
    Spoiled("two causes mended together", {"repair": mends(("seal_worn", "row_hose_leak"))}, lacks="v8"),
    Spoiled("two causes, nothing put back", {"repair": mends(("seal_worn", "row_hose_leak")), "map_back":
            None}, lacks="v8", word="probable"),
    Spoiled("two causes, the old seal back by name", {"repair": mends(("seal_worn", "row_hose_leak")),
            "map_back": both(changes_for_a_test(part="vacuum seal", rows=[7], before="new", after="old"), reads("T3",
            LOW), changes_for_a_test(part="vacuum seal", rows=[7], before="old", after="new"))}),
    Spoiled("two causes, nothing tells them apart", {**NO_REVERSAL, "repair": mends(("seal_worn",
            "row_hose_leak"))}, lacks="r15 r27 v8", word="possible"),
    Spoiled("two causes, something old put back", {**NO_SWAP, "repair": mends(("seal_worn",
            "row_hose_leak"))}, lacks="r15 r27 v8", word="possible"),
    Spoiled("two repairs, nothing between, no swap", {**NO_REVERSAL, "repair": both(mends(("row_hose_leak",),
            parts=[]), mends())}, lacks="r27 v8", word="possible"),
    Spoiled("two repairs, nothing between", {"repair": both(mends(("row_hose_leak",), parts=[]), mends()),
            "map_back": None}, lacks="r15 v8", word="probable"),
    Spoiled("the old seal never back", without("map_back"), word="probable", prints="most likely the cause (PROBABLE)"),
    Spoiled("no reading made it come and go", without("map_back", "swap_out", "map_moved", "moves",
            "swap_home"), lacks="r27", word="probable", prints="was most likely the cause (PROBABLE)"),
    Spoiled("another cause mended", {"repair": mends(("chain_stiff",)), "proof": proves()},
            lacks="r13 r14 r21", word="possible"),
    Spoiled("the sensor blamed", {"repair": mends(("sensor_lead_open",))}, lacks="r13 r14 r19 r21", word="possible"),
    Spoiled("fault stays in the row", {"map_moved": reads("T1", LOW), "moves": lambda case:
            case.call.answer("meter_swap", outcome="stays", observer="technician", rows=(7,)), "map_back": None},
            word="inconclusive"),
    Spoiled("nothing read before it", without("dug_before", "map_before", "swap_out", "map_moved", "moves",
            "swap_home"), lacks="r06 r08 r27", word="possible"),
    Spoiled("the map before withdrawn", {"w5": takes_back("B3")}, word="probable"),
    Spoiled("the last map withdrawn", {"w8": takes_back("A1"), "map_new": None, "map_back": None, "dug_after":
            None}, lacks="r09 v1 v6", word="possible", says="not_yet"),
    Spoiled("the repair withdrawn", {"proof": lambda case: case.call.withdraw(case.named["repair"].id if
            hasattr(case.named["repair"], "id") else case.named["repair"])}, lacks="c1 c2 r09 r13 r15 r18 r21 v11",
            word="possible",
            says=""),
    # --- rows
    Spoiled("mended at row 6", {"repair": mends(rows=[6])}, lacks="v1", says="not_yet"),
    Spoiled("trouble noted at row 6", {"machine": situation(rows=[6])}, lacks="v1 v12", says="not_yet"),
    Spoiled("no row named", {"machine": None}, lacks="r01 r11"),
    Spoiled("dug at row 8 after it", {**NO_READING_AFTER, "dug_before": digs("B1", {"7": 27}), "map_before":
            None, "swap_out": None, "map_moved": None, "moves": None, "swap_home": None, "dug_after": digs("A2", {"8":
            34})}, lacks="r10 r13 r14 r18 r21 r27 v1 v6", word="not_tested", says="not_yet"),
    Spoiled("another row in trouble, dug bad after it", {**TWO_ROWS, "dug_after": both(digs("A2", {"5": 34, "7": 33}),
            spaced("A3", 16, 60, (3,)))}, lacks="v12", prints="Still open: row 3", never="control row is bad"),
    Spoiled("another row in trouble reads low after it", {**TWO_ROWS, "map_after": reads("A1", {**EVEN, 3: 12})},
            lacks="v12", prints="Still open: row 3"),
    Spoiled("another row in trouble, never looked at again", {**TWO_ROWS, "dug_after": digs("A2", {"7": 33, "6": 34})},
            lacks="v12", prints="On row 7, the vacuum seal was found", never="On rows 3, 7"),
    Spoiled("another row in trouble, dug whole after it", {**TWO_ROWS, "dug_after": both(digs("A2", {"7": 33}),
            spaced("A3", 0, 120, (3,)))}, never="Still open"),
    Spoiled("the other row in trouble mended in vain", {**TWO_ROWS, "follow_up": both(af.STEPS["follow_up"],
            spaced("B4", 16, 60, (3,)), mends(("sing_worn",), rows=[3], parts=[]), spaced("A4", 12, 60, (3,)))},
            lacks="v1 v2 v6", says="not_accepted",
            prints="Row 3: Nobody has judged it; the readings say NOT accepted", never="15 of 60 before"),
    Spoiled("the first of two rows mended in vain", {**TWO_ROWS, "map_after": reads("A1", LOW), "dug_after": None,
            "map_back": None, "follow_up": both(af.STEPS["follow_up"], spaced("B4", 16, 60, (3,)),
            mends(("sing_worn",), rows=[3], parts=[]), spaced("A4", 0, 120, (3,)), proves(on=("A4",)))},
            lacks="r15 v1 v2 v6", word="inconclusive", prints="Row 7: ACCEPTED BY THE TECHNICIAN AGAINST"),
    # --- how it was closed
    Spoiled("handed on, all as it was", closes("handed_over")),
    Spoiled("handed on, not accepted, no part number", {**closes("handed_over"), "proof": proves("not_accepted"),
            "part_number": None}, lacks="v1 v3"),
    Spoiled("not heard from again, nothing read after it", {**NO_READING_AFTER, **closes("not_heard_again")},
            lacks="r09 v1 v6", word="possible", says="not_yet"),
    Spoiled("closed as no fault", closes("no_fault_found"), lacks="v13",
            prints='CLOSED AS "no fault found" AGAINST THE RECORD: a repair is recorded at row 7; shown: Vacuum seal',
            never="No fault of the planter was found"),
    Spoiled("closed as a question answered", closes("question_answered"), lacks="v13",
            prints="AGAINST THE RECORD: a repair is recorded at row 7"),
    Spoiled("closed as going on for now", closes("interim"), lacks="c5 v13", prints="AGAINST THE RECORD"),
    Spoiled("closed as several changed at once", closes("several_changed_at_once"), lacks="v13",
            prints="only one repair is recorded"),
    # --- words
    Spoiled("the work not written down", {"repair": mends(words="")}, lacks="c6",
            prints="what was done was not written down"),
    Spoiled("stock phrases for the work", {"repair": mends(words="Fixed it. Works now.")}, lacks="r20"),
    Spoiled("a diagnosis for a complaint", {"complaint":
            complaint("Row 7 vacuum seal is bad and needs to be replaced under warranty")}, lacks="r07"),
    Spoiled("three words of complaint", {"complaint": complaint("Row 7 skips")}, lacks="r07"),
    Spoiled("the root left out", without("root"), lacks="v11", prints="why it came to that was not found out"),
    Spoiled("the manner left out", without("mechanism"), lacks="r15",
            prints="On row 7, the rubber seal of the meter is hard or worn (CONFIRMED), the reason being"),
    Spoiled("the manner and the root left out", without("mechanism", "root"), lacks="r15 r21 v11",
            prints="is hard or worn (CONFIRMED), so that row 7 read 12 inH2O where the other rows read"),
    Spoiled("an exchange in vain before the call", {"complaint": both(af.complains, lambda case:
            case.call.record("done_before", {"what": "meters of rows 3 and 4 exchanged", "effect": "no_change"}))},
            prints="What does not fit, or did not help: meters of rows 3 and 4 exchanged; it changed nothing."),
    Spoiled("the kind of root not named", without("category"), lacks="r15", never="Leaning"),
    Spoiled("sisters not compared", without("siblings"), lacks="r17"),
    Spoiled("the cause echoes the complaint", {"mechanism": gives("mechanism",
            "row 7 leaving gaps worse after lunch", ("T3",)), "root": gives("root", "gaps in row 7", ("T3",))},
            lacks="r16"),
    Spoiled("a hose nobody tested", {"repair": mends(parts=[{"item": "vacuum seal", "qty": 1}, {"item":
            "row hose", "qty": 1}])}, lacks="r14"),
    # --- dates, hours, identity
    Spoiled("failed after the repair", {"failure": gives("failure", "2026-05-20")}, lacks="r04"),
    Spoiled("filed before the repair", {"filed": gives("filed", "2026-05-13")}, lacks="r04"),
    Spoiled("filed late", {"filed": gives("filed", "2026-06-20")}, lacks="r05"),
    Spoiled("not filed", without("filed"), lacks="r04"),
    Spoiled("the window not known", without("filing_window"), lacks="v10"),
    Spoiled("cover ended the day before", {"cover_ends": gives("cover_ends", "2026-05-13")}, lacks="r06",
            asks="If none does, is it goodwill"),
    Spoiled("end of cover not known", without("cover_ends"), lacks="r06",
            asks="Until when does cover last"),
    Spoiled("in service since when", without("in_service"), lacks="r02"),
    Spoiled("no usage", without("area", "fan_hours"), lacks="r03"),
    Spoiled("no serial number", {"machine": lambda case: af.machine(case, serial="")}, lacks="r01"),
    Spoiled("no part number", without("part_number"), lacks="v3"),
    Spoiled("no instrument", without("instrument"), lacks="v4"),
    Spoiled("no limit", without("limit_source"), lacks="v4"),
    Spoiled("nine hours of diagnosis", {"hours_diagnosis": gives("hours_diagnosis", "90 h")}, lacks="v5"),
    Spoiled("no hours at all", {**without("hours_travel", "hours_diagnosis", "hours_repair",
            "hours_verification"), **dict.fromkeys(f"w{n}" for n in range(1, 9)), "repair": mends(minutes=None)},
            lacks="r24"),
    Spoiled("nobody authorised it", without("authorised"), lacks="r25"),
    Spoiled("part not kept", without("part_kept"), lacks="r22"),
    Spoiled("no photo", without("photo_gauge", "photo_void"), lacks="r23"),
    Spoiled("no safe state", without("safe_state"), lacks="r26"),
    Spoiled("conditions after not said", without("conditions_after"), lacks="r11"),
    Spoiled("another speed after it", {"conditions_after": lambda case: case.call.set_situation({"speed":
            {"value": "7", "unit": "mph"}})}, lacks="r11 r12"),
    Spoiled("another seed lot after it", {"conditions_after": both(lambda case:
            case.call.set_situation({"seed_lot_code": "INV-LOT-B"}), gives("conditions_after", "same"))},
            lacks="r12"),
    Spoiled("no follow-up", without("follow_up"), lacks="r28"),
    Spoiled("nobody asked who pays", without("claim_type"), lacks="v9"),
    Spoiled("a setting left changed", {"follow_up": both(af.STEPS["follow_up"],
            changes_for_a_test(setting="speed", before={"value": "5", "unit": "mph"}, after={"value": "4", "unit":
            "mph"}))}, lacks="v7"),
    Spoiled("a meter left in the other row", {"swap_home": None}, lacks="r10 v1 v6 v7", says="not_yet",
            prints="NOT put back: the meters of rows 6, 7 are exchanged."),
)


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """One engine on the whole knowledge."""
    return Engine(whole, counter=True)


@pytest.mark.parametrize("spoiled", TABLE, ids=[s.name for s in TABLE])
def test_spoiled(engine: Engine, spoiled: Spoiled) -> None:
    """One thing spoiled changes the word, the verdict, the missing list or the print as it should, and nothing else."""
    call = af.good(engine, changes=spoiled.changes).call
    story = tell(call)
    found = readiness(story, engine.knowledge, claim=True)
    judged = list(proofs_of(call).values())
    assert (spoiled.word, spoiled.says, sorted(spoiled.lacks.split())) == (
        shown_word(call, "seal_worn"), judged[-1].says if judged else "",
        sorted(m.rule.partition("_")[0] for m in found.missing))
    claim = " ".join(render_text(story, 100, "claim").split())
    assert spoiled.prints in claim
    assert not spoiled.never or spoiled.never not in claim
    assert not spoiled.asks or any(spoiled.asks in m.asks for m in found.missing)
    sure = ("confirmed", "probable")
    assert [] == [c.cause for c in story.causes if c.root.word in sure and c.word not in sure]
    assert found.met == found.of - len(found.missing)


def test_the_good_call_is_complete_and_confirmed(engine: Engine) -> None:
    """What the table spoils is whole: confirmed, accepted by the readings, nothing missing."""
    call = af.good(engine).call
    found = readiness(tell(call), engine.knowledge, claim=True)
    assert (found.of, (), False) == (found.met, found.missing, found.draft)
    assert "confirmed" == shown_word(call, "seal_worn")


def test_the_table_is_long_enough_and_says_something() -> None:
    """At least sixty ways, each by its own name; all but the near misses change something."""
    assert len(TABLE) >= 60
    assert len({s.name for s in TABLE}) == len(TABLE)
    silent = [s.name for s in TABLE if not s.lacks and (s.word, s.says) == ("confirmed", "accepted")]
    assert ["only the map after it", "two causes, the old seal back by name",
            "another row in trouble, dug whole after it",
            "handed on, all as it was", "an exchange in vain before the call"] == silent
