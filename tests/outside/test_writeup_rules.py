"""The completeness rules against the worked examples of the write-up facts: a good story, a bad one, 17 single faults.

Sources of the rules: "The 3 Cs in mechanics" (tpautorepair.net), a 3Cs training page of 2026, a technician training
article on documentation (apextechnation.com), the failure report form of rsa-services.com, the equipment distributor's
guidelines of 2002, NFPA 921-2014 s. 4.5 and hypothesis testing (firesciencelitigation.com), ISO 14224:2016 Table B.2,
Card 2017 (BMJ Qual Saf 26:671-677), Idaho Code 28-24-104B. The filing window of 30 days and both stories, farm
`Alder Flat` included, are invented; the levels and word limits of the rules are proposals, not research.
"""

from __future__ import annotations

from collections.abc import Callable
from copy import deepcopy
from dataclasses import replace
from typing import Any

import pytest

from diag.knowledge.base import Knowledge
from diag.knowledge.yamlfile import load_yaml
from diag.writeup.completeness import check_story
from diag.writeup.story.measured import pairs_of
from diag.writeup.story.model import (
    CauseTold,
    Closing,
    Complaint,
    Condition,
    Correction,
    Ground,
    Item,
    Labour,
    MadeTest,
    PartUsed,
    Photo,
    Record,
    Root,
    Story,
    Told,
    Value,
    Why,
)

INVENTED_WINDOW_DAYS = 30
# The stories complain of real gaps in the ground; the symptom here that speaks of the ground and not of a screen is
# gaps_after_emergence.

GOOD = """
customer: {farm: Alder Flat, contact_role: owner-operator}
machine: {kind: "trailed 12-row vacuum planter, 30 in rows", serial: INV-PLT-0012, unit_position: row 7 from the left}
in_service_date: "2026-04-06"
warranty_end_date: "2027-04-05"
usage: {area_ac: 410, fan_hours: 31}
dates: {failure: "2026-05-12", first_contact: "2026-05-12", defect_documented: "2026-05-14", repair: "2026-05-14",
        filed: "2026-05-18"}
complaint:
  customer_words: "Row 7 is leaving gaps. It began Tuesday and gets worse after lunch. The rows beside it look fine."
  symptom: gaps_after_emergence
safety_state: "Lowered, engine off, key out, meter drives unplugged; confirmed by technician, 14 May"
conditions:
  before: {speed: "5.0", population: "34000", manifold_vacuum: "20", seed_lot: INV-LOT-A}
  after: {speed: "5.0", population: "34000", manifold_vacuum: "20", seed_lot: INV-LOT-A}
measured_before:
  - {id: B1, what: seeds dug in 1/1000 ac, where: row 7, value: 27}
  - {id: B2, what: seeds dug in 1/1000 ac, where: row 6, value: 34}
  - {id: B3, what: vacuum at meter port, where: row 7, value: 12}
  - {id: B4, what: vacuum at meter port, where: row 6, value: 20}
tests:
  - {id: T1, what: Swapped complete meters between rows 6 and 7, rules_out: [setting, seed_lot, electrical]}
  - {id: T2, what: "New vacuum seal only, same meter, same place"}
  - {id: T3, what: Old seal put back, deciding: true, reversed: true}
  - {id: T4, what: "Lip height, depth gauge, four seals of the same age", sibling_comparison: true,
     rules_out: [wear, contamination, assembly]}
failure:
  failed_item: seal_worn
  mode: internal leakage
  mechanism: "clearance: low lip over part of the circle, moulding void visible under the lip"
  cause_category: fabrication
  certainty: {item: confirmed, cause: probable}
  cause_text: >-
    The seal lip of the row 7 meter was 1.3 mm low over about 40 degrees, so air bled past the disc and the holes lost
    hold of seed.
  why:
    - {why: Seed dropped early, because: "vacuum at the port was 12, not 20 inH2O", evidence: [B3, B4]}
    - {why: Vacuum was low at this meter only, because: the seal leaked, evidence: [T1, T2, T3]}
    - {why: The seal leaked, because: lip low over 40 degrees with a void below it, evidence: [T4]}
correction:
  text: "Fitted one new vacuum seal, row 7. Returned each meter to its own row. Fan setting left as found."
  parts: [{item: vacuum seal, qty: 1, test: T3}]
measured_after:
  - {id: A1, what: vacuum at meter port, where: row 7, value: 20}
  - {id: A2, what: seeds dug in 1/1000 ac, where: row 7, value: 33}
time_h: {travel: 1.4, set_up: 0.2, diagnosis: 1.3, repair: 0.3, verification: 0.4, write_up: 0.3}
photos: [P1, P2, P3, P4, P5]
parts_retained: {kept: true, tag: INV-T-0071}
authorised: {role: service manager, date: "2026-05-14"}
follow_up: {result: Owner reports row 7 even with its neighbours over 60 ac}
"""

BAD = """
customer: {farm: Alder Flat, contact_role: ""}
machine: {kind: planter, serial: "", unit_position: ""}
in_service_date: null
warranty_end_date: null
usage: {}
dates: {failure: null, first_contact: null, defect_documented: null, repair: "2026-05-14", filed: "2026-07-01"}
complaint: {customer_words: "Row 7 not planting right, bad meter.", symptom: gaps_after_emergence}
safety_state: ""
conditions: {before: {}, after: {}}
measured_before: []
tests: []
failure:
  failed_item: sensor_failed
  mode: ""
  mechanism: ""
  cause_category: fabrication
  certainty: {}
  cause_text: "Bad meter, row 7 not planting right. Defective."
  why: []
correction:
  text: "Replaced parts. Works now."
  parts: [{item: complete meter, qty: 1}, {item: seed tube sensor, qty: 1}, {item: vacuum hose, qty: 1}]
measured_after: []
time_h: {total: 6.0}
photos: []
parts_retained: {kept: false}
authorised: {}
follow_up: {}
"""


def read(text: str) -> dict[str, Any]:
    """Return a story written as in the facts."""
    import tempfile
    from pathlib import Path

    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "story.yaml"
        path.write_text(text, encoding="utf-8")
        data, _ = load_yaml(path, name="story.yaml")
    return dict(data)


def told(data: dict[str, Any], knowledge: Knowledge) -> Story:
    """Return the story that such a file tells; ids of readings and tests stand for events."""
    tests = (*_readings(data["measured_before"], "before"), *_readings(data["measured_after"], "after"),
             *(_test(t) for t in data["tests"]))
    return Story(
        record=Record("AF", True, False, "site", "2026-05-12", "", "", (), 0, ""), claim=True, items=_items(data),
        complaint=Complaint(data["complaint"]["customer_words"], ((data["complaint"]["symptom"], "gaps"),), (), (), ()),
        conditions=_conditions(data), tests=tests, pairs=pairs_of(tests), causes=(_cause(data, knowledge, tests),),
        others=(), whys=tuple(Why(w["why"], w["because"], tuple(w["evidence"])) for w in data["failure"]["why"]),
        repairs=(_repair(data, tests),), proofs=(),
        labour=tuple(Labour(a, a, h * 60, "typed", None, ()) for a, h in data["time_h"].items()),
        photos=tuple(Photo(p, p, "", "", "") for p in data["photos"]), cautions=(), done_before=(), not_put_back=(),
        put_back=(),
        changed=(), notes=(), internal=(), skipped=(), closing=Closing("mended", "", "", False, "", ()),
        waiting=None, fits=(), addressed=tuple(k for t in data["tests"] for k in t.get("rules_out", ())),
    )


def _readings(entries: list[dict[str, Any]], when: str) -> list[MadeTest]:
    made = []
    for e in entries:
        value = Value(e["id"], e["what"], e["what"], e["where"], str(e["value"]), float(e["value"]), False)
        made.append(replace(_test({"id": e["id"], "what": e["what"]}), valued=True, when=when, values=(value,)))
    return made


def _test(entry: dict[str, Any]) -> MadeTest:
    return MadeTest(entry["id"], 0, entry["what"], entry["what"], "", "", "", "", "", "technician", True,
                bool(entry.get("deciding")), False, usual=False, reverses=bool(entry.get("reversed")), pieces="",
                when="before", on="")


def _items(data: dict[str, Any]) -> tuple[Item, ...]:
    kept, authorised = data["parts_retained"], data["authorised"]
    siblings = any(t.get("sibling_comparison") for t in data["tests"])
    given = {
        "serial": data["machine"]["serial"], "machine_kind": data["machine"]["kind"],
        "position": data["machine"]["unit_position"], "in_service": data["in_service_date"],
        "cover_ends": data["warranty_end_date"], "area": data["usage"].get("area_ac"),
        "fan_hours": data["usage"].get("fan_hours"), "failure": data["dates"]["failure"],
        "first_contact": data["dates"]["first_contact"], "documented": data["dates"]["defect_documented"],
        "repaired": data["dates"]["repair"], "filed": data["dates"]["filed"], "safe_state": data["safety_state"],
        "siblings": "compared" if siblings else "", "part_kept": kept.get("tag") if kept["kept"] else "",
        "authorised": authorised.get("role") if authorised.get("date") else "",
        "follow_up": data["follow_up"].get("result"),
    }
    return tuple(Item(name, name, "claim", Told(str(text))) for name, text in given.items() if text)


def _conditions(data: dict[str, Any]) -> tuple[Condition, ...]:
    before, after = data["conditions"]["before"], data["conditions"]["after"]
    return tuple(
        Condition(n, n, Told(before[n]) if n in before else None, Told(after[n]) if n in after else None)
        for n in ("speed", "population", "manifold_vacuum", "seed_lot")
    )


def _cause(data: dict[str, Any], knowledge: Knowledge, tests: tuple[MadeTest, ...]) -> CauseTold:
    failure = data["failure"]
    known = knowledge.causes[failure["failed_item"]]
    deciding = next((Ground(t.event, t.asks, "") for t in tests if t.deciding), None)
    category = failure["cause_category"]
    root = Root("", failure["certainty"].get("cause", "not_tested"), category, category, False, ())
    word = failure["certainty"].get("item", "not_tested")
    return CauseTold(known.id, known.label, known.label, "", word, "manufacturing_defect", failure["mode"],
                 failure["mechanism"], failure["cause_text"], root, "", "", deciding, (), (), True,
                 tuple(known.symptoms))


def _repair(data: dict[str, Any], tests: tuple[MadeTest, ...]) -> Correction:
    listed = data["correction"]["parts"]
    parts = tuple(PartUsed(p["item"], p["qty"], (p["test"],) if "test" in p else ()) for p in listed)
    return Correction("R", data["correction"]["text"], "repair", (), "row 7", parts, (), None, "technician",
                      "2026-05-14")


def fired(data: dict[str, Any], knowledge: Knowledge) -> set[str]:
    """Return the rules (R01 to R28) that fire on a story as a claim."""
    terms = knowledge.write_up.model_copy(update={"filing_window_days": INVENTED_WINDOW_DAYS})
    found = check_story(told(data, knowledge), replace(knowledge, write_up=terms), claim=True)
    return {m.rule[:3].upper() for m in found if m.rule.startswith("r")}


def test_the_good_story_fires_no_rule(whole: Knowledge) -> None:
    """Identity, readings, a reversed test, whys with evidence, hours, photos and follow-up: nothing is missing."""
    assert set() == fired(read(GOOD), whole)


def test_the_bad_story_fires_26_rules(whole: Knowledge) -> None:
    """All but R10 and R12, which stay silent because there is nothing to compare."""
    every = {f"R{n:02d}" for n in range(1, 29)}
    assert every - {"R10", "R12"} == fired(read(BAD), whole)


def _set(*path: str, to: Any) -> Callable[[dict[str, Any]], None]:
    def change(data: dict[str, Any]) -> None:
        for key in path[:-1]:
            data = data[key]
        data[path[-1]] = to

    return change


def _all_row_8(data: dict[str, Any]) -> None:
    for entry in data["measured_after"]:
        entry["where"] = "row 8"


def _without_t3(data: dict[str, Any]) -> None:
    data["tests"] = [t for t in data["tests"] if t["id"] != "T3"]


def _t3_not_reversed(data: dict[str, Any]) -> None:
    data["tests"][2]["reversed"] = False


def _a_hose(data: dict[str, Any]) -> None:
    data["correction"]["parts"].append({"item": "vacuum hose", "qty": 1})


def _no_siblings(data: dict[str, Any]) -> None:
    data["tests"][3]["sibling_comparison"] = False


SEAL_IS_BAD = "Row 7 vacuum seal is bad and needs to be replaced under warranty"
SINGLE_FAULTS = [
    ("serial blank", _set("machine", "serial", to=""), {"R01"}),
    ("failure date after the repair", _set("dates", "failure", to="2026-05-20"), {"R04"}),
    ("filed 37 days after", _set("dates", "filed", to="2026-06-20"), {"R05"}),
    ("cover ended the day before", _set("warranty_end_date", to="2026-05-13"), {"R06"}),
    ("complaint is a diagnosis", _set("complaint", "customer_words", to=SEAL_IS_BAD), {"R07"}),
    ("no reading before", _set("measured_before", to=[]), {"R08", "R21"}),
    ("no reading after", _set("measured_after", to=[]), {"R09"}),
    ("all after-readings at row 8", _all_row_8, {"R10"}),
    ("vacuum 24 after", _set("conditions", "after", "manifold_vacuum", to="24"), {"R12"}),
    ("another lot after", _set("conditions", "after", "seed_lot", to="INV-LOT-B"), {"R12"}),
    ("T3 removed", _without_t3, {"R13", "R14", "R18", "R21"}),
    ("T3 not reversed", _t3_not_reversed, {"R18"}),
    ("a hose without a test", _a_hose, {"R14"}),
    ("no sister compared", _no_siblings, {"R17"}),
    ("the seed sensor blamed", _set("failure", "failed_item", to="sensor_failed"), {"R19"}),
    ("fixed, works now", _set("correction", "text", to="Fixed it. Works now."), {"R20"}),
    ("part discarded", _set("parts_retained", to={"kept": False}), {"R22"}),
    ("time as one total", _set("time_h", to={"total": 3.9}), {"R24"}),
]


@pytest.mark.parametrize(("change", "rules"), [c[1:] for c in SINGLE_FAULTS], ids=[c[0] for c in SINGLE_FAULTS])
def test_each_single_fault_fires_its_rules(
    whole: Knowledge, change: Callable[[dict[str, Any]], None], rules: set[str]
) -> None:
    """One thing spoilt in the good story fires exactly the rules that the worked table gives for it."""
    data = deepcopy(read(GOOD))
    change(data)
    assert rules == fired(data, whole)


def test_the_rules_are_28_and_every_one_can_fire(whole: Knowledge) -> None:
    """R01 to R28 stand in the knowledge, and each fires on at least one of the stories."""
    numbered = [r.id[:3].upper() for r in whole.completeness.values() if r.id.startswith("r")]
    assert [f"R{n:02d}" for n in range(1, 29)] == numbered
    seen = fired(read(BAD), whole).union(*(rules for _, _, rules in SINGLE_FAULTS))
    assert set(numbered) == seen


def test_window_is_the_shops_own(whole: Knowledge) -> None:
    """Without a filing window of its own contract nothing is called late: no source sets one."""
    data = read(GOOD)
    data["dates"]["filed"] = "2026-12-31"
    found = check_story(told(data, whole), whole, claim=True)
    assert whole.write_up.filing_window_days is None
    assert () == tuple(m.rule for m in found if m.rule.startswith("r"))
