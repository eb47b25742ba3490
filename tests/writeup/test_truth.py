"""What a page says is what was recorded: work, rows, hours, photos, workarounds, and what can only be had now."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path

import pytest
from PIL import Image
from writeup import alder_flat
from writeup.alder_flat import EVEN, LOW, Case

from diag.ask import forms_mend, photos
from diag.call.case_of import BACK
from diag.call.shown import shown_words
from diag.reason.judge import Engine
from diag.store.open import open_store
from diag.writeup.completeness import check_story, only_now, readiness
from diag.writeup.page.document import document
from diag.writeup.page.formats import FORMATS
from diag.writeup.page.front import hours_text, sound_text
from diag.writeup.page.render import render_text
from diag.writeup.page.sentences import sum_text
from diag.writeup.saving import ordered
from diag.writeup.story import tell
from diag.writeup.story.closed import closing_of
from diag.writeup.story.labour import totals, worked
from diag.writeup.story.model import CauseTold


def on_site(engine: Engine, channel: str = "site") -> Case:
    """A call with machine and complaint."""
    case = alder_flat.opened(engine, channel)
    alder_flat.machine(case)
    case.call.set_complaint(alder_flat.WORDS, [("skips_high", "chosen")])
    return case


# --- work -------------------------------------------------------------------------------------------------------


def test_work_that_nobody_recorded_is_not_printed(engine: Engine) -> None:
    """Neither the instruction of the knowledge nor its parts stand as the correction, for any reader."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    case.call.repair(["seal_worn"], rows=[7])
    known = engine.knowledge.causes["seal_worn"].repair
    story = tell(case.call)
    assert ("", ()) == (story.repairs[0].words, story.repairs[0].parts)
    for audience in ("claim", "service", "customer"):
        text = " ".join(render_text(story, 400, audience).split())
        assert known.do not in text
        assert "not written down" in text


@pytest.mark.parametrize("name", ["repair", "interim", "proof", "close"])
def test_forms_hold_nothing_that_nobody_said(engine: Engine, name: str) -> None:
    """No field of work, verdict or ending is filled in or ticked; what is usual stands beside it."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    if name == "proof":
        case.call.repair(["seal_worn"], rows=[7])
        case.vacuum("after", alder_flat.EVEN)
    form = {"repair": forms_mend.repair_form, "interim": forms_mend.interim_form, "proof": forms_mend.proof_form,
            "close": forms_mend.close_form}[name](case.call)
    assert form is not None
    filled = {f.name: f.value for f in form.fields if f.kind != "note" and f.value not in ("", ())}
    assert {"repair"} >= set(filled)  # which repair is judged: the last one


def test_a_way_for_now_is_taken_only_when_ticked(engine: Engine) -> None:
    """The suggestion becomes the record by a tick of its own; without it and without words nothing is recorded."""
    case = on_site(engine)
    known = next(c for c in engine.knowledge.causes.values() if c.interim)
    form = forms_mend.interim_form(case.call, known.id)
    assert form is not None
    with pytest.raises(Exception, match="This is needed"):
        form.record(case.call, {"cause": known.id})
    assert () == case.call.state.repairs
    form.record(case.call, {"cause": known.id, "as_told": ("yes",)})
    assert known.interim is not None
    told = tell(case.call)
    assert known.interim.do == told.repairs[0].words
    page = " ".join(render_text(told, 400, "customer").split())
    assert known.interim.watch in page
    assert "Until: " in page
    assert "You lose meanwhile: " in page


# --- rows -------------------------------------------------------------------------------------------------------


def test_a_list_of_points_is_no_list_of_rows(engine: Engine) -> None:
    """Six distances from gap to gap, measured in row 3, are six points of row 3 and not rows 1 to 6."""
    case = on_site(engine)
    values = {str(i): {"value": v, "unit": "ft"} for i, v in enumerate(("16.3", "16.4", "16.3"), 1)}
    case.call.answer("pattern_length", values=values, observer="technician", rows=(3,))
    (test,) = tell(case.call).tests
    assert ["row 3, no. 1", "row 3, no. 2", "row 3, no. 3"] == [v.where for v in test.values]
    assert "rows 1" not in test.reading


def test_a_step_is_no_old_part_put_back(engine: Engine) -> None:
    """A further step of the same setting after its repair is a step; only the old value again is the old setting."""
    case = on_site(engine)
    old, new, more = ({"value": v, "unit": "inH2O"} for v in ("16", "20", "22"))
    case.vacuum("before", LOW)
    case.call.repair(["vac_set_low"], settings=[{"name": "vacuum", "before": old, "after": new}], words="Set to 20.")
    for name, value in (("step", more), ("back", old)):
        case.call.record("change", {"setting": "vacuum", "before": new, "after": value, "temporary": True})
        case.vacuum(name, LOW)
        case.call.record("change", {"setting": "vacuum", "before": value, "after": new, "temporary": True})
    assert ["before", "step", "back"] == [t.when for t in tell(case.call).tests]


# --- hours ------------------------------------------------------------------------------------------------------


def test_hours_add_up(engine: Engine) -> None:
    """What is printed as a sum is the sum of what stands before it; estimates and waiting stand apart."""
    case = on_site(engine)
    case.wait(20)
    case.vacuum("before", LOW)
    case.call.record("waiting", {"for": "part"})
    case.wait(700)
    case.call.record("waiting", {"for": "none"})
    case.call.repair(["seal_worn"], rows=[7], words="New seal.")
    story = tell(case.call)
    first, *rest = hours_text(story)
    told, _, total = first.partition(" = ")
    assert sum(int(part.split()[-1]) for part in told.split(" + ")) == int(total.split()[0])
    assert "Waiting, no work: 700 min." in rest
    assert {"typed", "clock"} >= {n.basis for n in worked(story.labour)}
    guessed = [n for n in totals(story.labour) if n.basis == "estimate"]
    assert guessed
    assert any("not in the sum" in line for line in rest)


def test_hours_by_test_add_up_to_their_activity(engine: Engine) -> None:
    """What went by between the tests has a line of its own: the split of a service file adds up, in whole minutes."""
    case = on_site(engine)
    case.wait(20)
    case.vacuum("before", LOW)
    case.wait(7)
    case.call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    case.wait(9)
    case.vacuum("moved", alder_flat.MOVED)
    story = tell(case.call)
    rows = [b for s in document(story, "service").sections for b in s.blocks if getattr(b, "title", "") == "By test"]
    minutes = [int(row[2].split()[0]) for row in rows[0].rows]  # type: ignore[union-attr]
    diagnosis = next(n.minutes for n in totals(story.labour) if n.activity == "diagnosis")
    assert (round(diagnosis), 7) == (sum(minutes), minutes[-1])


@pytest.mark.parametrize(("minutes", "told"), [((84, 3, 111, 15, 69, 3), "285 min (4.8 h)"), ((15,), "15 min (0.3 h)"),
                                               ((1.4, 1.4), "2 min (0.0 h)"), ((69,), "69 min (1.2 h)")])
def test_hours_are_whole_minutes_in_tenths(minutes: tuple[float, ...], told: str) -> None:
    """A tenth of an hour is six minutes, three minutes up; a sum is that of the minutes as they are printed."""
    assert told == sum_text(minutes)


def test_who_came_is_not_awaited(engine: Engine) -> None:
    """Once somebody is on site a technician is no longer coming; the open page says what it knows of the next step."""
    case = on_site(engine, "phone")
    case.call.record("waiting", {"for": "technician"}, {"text": "with a bearing"})
    story = tell(case.call)
    ready = readiness(story, engine.knowledge, claim=True)
    assert "OPEN, not closed yet: a technician is coming: with a bearing." in render_text(story, 200, "claim", ready)
    case.call.record("channel", {"channel": "site"})
    after = tell(case.call)
    assert None is after.waiting
    assert "OPEN, not closed yet: what happens next was not written down." in render_text(after, 200, "claim", ready)


def test_a_copy_without_words_says_that_they_are_left_out(engine: Engine) -> None:
    """What was done was written down; a copy without personal data holds no words, and says so."""
    text = render_text(tell(alder_flat.good(engine).call, personal=False), 400, "claim")
    assert "not written down" not in text
    assert "left out of this copy" in text


def test_what_was_put_back_is_told(engine: Engine) -> None:
    """Meters exchanged and home again, and a setting for a test and back: the claim says both."""
    case = on_site(engine)
    for rows in ((6, 7), (7, 6)):
        case.call.record("swap", {"piece": "meter", "from_row": rows[0], "to_row": rows[1]})
    up = case.call.record("change", {"setting": "vacuum", "before": {"value": "18", "unit": "inH2O"},
                                     "after": {"value": "20", "unit": "inH2O"}, "temporary": True})
    case.call.record("change", {"setting": "vacuum", "after": {"value": "18", "unit": "inH2O"}, "settles": up.id})
    told = ["vacuum: 20 inH2O for a test, then 18 inH2O again",
            "meters of rows 6, 7 exchanged for a test, then each in its place again"]
    assert told == [line.text for line in tell(case.call).put_back]


# --- photos -----------------------------------------------------------------------------------------------------


def test_a_photo_stands_in_place(engine: Engine, tmp_path: Path) -> None:
    """Taken from a path, turned upright, kept small, and set with its caption and time in the PDF and the web page."""
    case = alder_flat.opened(engine, store=open_store(str(tmp_path / "calls.db")))
    alder_flat.machine(case)
    exif = Image.Exif()
    exif[0x0112] = 6
    Image.new("RGB", (60, 40), "white").save(tmp_path / "seal.jpg", exif=exif)
    photos.take(case.call, tmp_path / "seal.jpg", "seal in its groove")
    order = ordered(case.call, "claim")
    (kept,) = order.photos.values()
    assert (40, 60) == Image.open(io.BytesIO(kept)).size
    page = FORMATS[".html"].make(order).decode()
    assert "data:image/jpeg;base64," in page
    assert "seal in its groove, 2026-05-12 14:00 UTC" in page
    assert b"/Subtype /Image" in FORMATS[".pdf"].make(order)
    assert {} == ordered(case.call, "claim", personal=False).photos


def test_a_good_row_beside_it_clears_no_cause(engine: Engine) -> None:
    """The seal of row 6 looked at and found seated says nothing about row 7: no cause is cleared by it."""
    case = on_site(engine)
    case.call.answer("seal_seat", outcome="seated", rows=(6,), observer="technician")
    assert {} == shown_words(case.call)
    case.call.answer("seal_seat", outcome="seated", rows=(7,), observer="technician")
    assert {} != shown_words(case.call)


# --- what can only be had now -----------------------------------------------------------------------------------


def test_what_can_only_be_had_now_is_said_once(engine: Engine) -> None:
    """Before the first check that changes evidence, on site: who may have to pay, a reading."""
    ending, asking = (next(k for k, q in engine.knowledge.checks.items() if bool(q.destroys) == yes and not q.measured)
                      for yes in (True, False))
    case = on_site(engine)
    assert only_now(case.call, ending) == "May this become a claim? Then a reading before the repair."
    assert "" == only_now(case.call, asking)
    assert "" == only_now(on_site(engine, "phone").call, ending)
    case.call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    assert "" == only_now(case.call, ending)


def test_too_late_only_for_what_is_destroyed(engine: Engine) -> None:
    """After the repair the reading and the photo from before are gone; serial number, dates and tag are not."""
    case = on_site(engine)
    case.call.repair(["seal_worn"], rows=[7])
    lost = {m.rule for m in check_story(tell(case.call), engine.knowledge, claim=True) if m.lost}
    assert {"r08_before", "r23_photo"} == lost


NO_FAULT = ("repair", "map_new", "map_back", "map_after", "dug_after", "conditions_after", "proof", "mechanism", "root",
            "category", "siblings", "part_number", "part_kept", "hours_repair", "hours_verification", "map_before",
            "swap_out", "map_moved", "moves", "swap_home", "follow_up")


def test_a_claim_without_a_fault_can_be_complete(engine: Engine) -> None:
    """No fault found: a reading, the photos, dates and hours are enough; no reading after a repair is asked for."""
    case = alder_flat.good(engine, changes=dict.fromkeys(NO_FAULT))
    case.vacuum("map", alder_flat.EVEN)
    case.call.close("no_fault_found", "All rows even.")
    found = readiness(tell(case.call), engine.knowledge, claim=True)
    assert [] == [m.rule for m in found.missing]
    assert not found.draft


def test_the_old_part_back_by_name_tells_causes_apart(engine: Engine) -> None:
    """Two causes mended together stay possible when only "something old" was put back."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    case.call.repair(["seal_worn", "row_hose_leak"], rows=[7], words="Seal and hose.")
    case.vacuum("after", alder_flat.EVEN)
    case.vacuum("back", LOW, method=BACK)
    assert {"possible"} == {c.word for c in tell(case.call).causes if c.repaired}


def test_what_is_missing_is_told_once(engine: Engine) -> None:
    """What exactly is missing stands behind what is needed only where it says more."""
    told = [m.what for m in readiness(tell(on_site(engine).call), engine.knowledge, claim=True).missing]
    assert "the result of a follow-up" in told
    assert "who authorised it, and when: authorised by (role) and how" in told


def test_a_row_in_trouble_that_nobody_looked_at_again_is_still_open(engine: Engine) -> None:
    """Rows 3 and 7 in trouble, only row 7 mended: row 3 is open for every reader until it is dug and found whole."""
    case = alder_flat.good(engine, changes={
        "machine": lambda case: (alder_flat.machine(case), case.call.set_situation({"rows": [3, 7]}), None)[-1],
        "map_before": alder_flat.reads("B3", {**LOW, 3: 20}), "map_after": alder_flat.reads("A1", {**EVEN, 3: 20})})
    story = tell(case.call)
    assert (3,) == story.open_rows
    assert (7,) == story.causes[0].rows
    customer = " ".join(render_text(story, 200, "customer").split())
    assert "What was mended is right, but that is not all." in customer
    assert "Not looked at again since: row 3." in customer
    assert "v12_open_rows" in {m.rule for m in check_story(story, engine.knowledge, claim=True)}
    case.call.answer("dug_fifty_called", values={"good": 120, "close": 0, "gap": 0}, observer="technician", rows=(3,))
    assert () == tell(case.call).open_rows


def test_a_reading_is_before_or_after_the_repair_of_its_own_row(engine: Engine) -> None:
    """Row 3 dug after the repair of row 7, before its own, is dug before; a good row is read after the first repair."""
    case = on_site(engine)
    case.call.set_situation({"rows": [3, 7]})
    counted = {"good": 44, "close": 15, "gap": 1}

    def called(row: int) -> str:
        return case.call.answer("dug_fifty_called", values=counted, observer="technician", rows=(row,)).id

    events = [called(7)]
    case.call.repair(["seal_worn"], rows=[7], words="New seal.")
    events += [called(7), called(3), called(5)]
    case.call.repair(["sing_worn"], rows=[3], words="New singulator.")
    events += [called(3), called(7)]
    when = {t.event: t.when for t in tell(case.call).tests}
    assert ["before", "after", "before", "after", "after", "after"] == [when[e] for e in events]


def test_causes_of_two_rows_need_no_test_that_parts_them(engine: Engine) -> None:
    """A seal in row 7 and a singulator in row 3, nothing read between: they are not mended together."""
    case = on_site(engine)
    case.vacuum("before", LOW)
    case.call.repair(["seal_worn"], rows=[7], words="New seal.")
    case.call.repair(["sing_worn"], rows=[3], words="New singulator.")
    assert "v8_one_cause" not in {m.rule for m in check_story(tell(case.call), engine.knowledge, claim=True)}
    case.call.repair(["row_hose_leak"], rows=[7], words="New hose.")
    assert "v8_one_cause" in {m.rule for m in check_story(tell(case.call), engine.knowledge, claim=True)}


def test_nothing_is_too_late_before_the_repair(engine: Engine) -> None:
    """Touched but neither mended nor closed: the reading before the repair and the photo in place can still be had."""
    case = on_site(engine)
    case.call.record("swap", {"piece": "meter", "from_row": 6, "to_row": 7})
    case.vacuum("moved", alder_flat.MOVED)
    assert set() == {m.rule for m in check_story(tell(case.call), engine.knowledge, claim=True) if m.lost}
    case.call.repair(["seal_worn"], rows=[7])
    assert {"r23_photo"} == {
        m.rule for m in check_story(tell(case.call), engine.knowledge, claim=True) if m.lost}


def test_an_open_call_is_not_asked_what_only_its_end_can_tell(engine: Engine) -> None:
    """The service file of a call in work does not ask what it was in the end; a claim does, so none is complete."""
    case = on_site(engine)
    end = {"c1_what_it_was", "c2_what_was_done", "r09_after"}
    asked = {claim: {m.rule for m in check_story(tell(case.call), engine.knowledge, claim=claim)}
             for claim in (True, False)}
    assert end <= asked[True]
    assert set() == end & asked[False]
    case.call.repair(["seal_worn"], rows=[7])
    assert "r09_after" in {m.rule for m in check_story(tell(case.call), engine.knowledge, claim=False)}


def test_what_a_setting_was_is_not_asked_again(engine: Engine) -> None:
    """Vacuum set from 21 to 18 as the repair: both stand in the conditions, differ on purpose, and no part is asked."""
    case = on_site(engine)
    old, new = ({"value": v, "unit": "inH2O"} for v in ("21", "18"))
    case.call.repair(["vac_set_high", "seed_size_changed"], words="Set to the book value.",
                     settings=[{"name": "vacuum", "before": old, "after": new}])
    story = tell(case.call)
    vacuum = next(c for c in story.conditions if c.mended)
    assert vacuum.before is not None
    assert vacuum.after is not None
    assert ("21 inH2O", "18 inH2O") == (vacuum.before.text, vacuum.after.text)
    missing = {m.rule: m.detail for m in check_story(story, engine.knowledge, claim=True)}
    assert "vacuum" not in missing["r11_conditions"]
    assert set() == {"r12_same_conditions", "r22_part_kept", "r23_photo", "v3_part_number"} & missing.keys()


def test_a_cause_outside_the_planter_is_no_fault_of_it(engine: Engine) -> None:
    """Closed as no fault: a soil that crusted is not against it, a seal that leaks is."""
    found = {}
    for cause in ("crust_or_flood", "seal_worn"):
        case = on_site(engine)
        case.call.close("no_fault_found", "As found.")
        told = replace(alder_flat_cause(engine), cause=cause, kind=engine.knowledge.causes[cause].kind)
        found[cause] = closing_of(case.call, {}, (told,), ()).against
    assert {"crust_or_flood": "", "seal_worn": "shown: Vacuum seal hard, cracked, flattened"} == found


def alder_flat_cause(engine: Engine) -> CauseTold:
    """The seal of the good call, confirmed."""
    (cause,) = tell(alder_flat.good(engine).call).causes
    return cause


def test_found_sound_is_what_was_looked_at(engine: Engine) -> None:
    """A look at the seal clears its seat; that the gap follows no row speaks against much that nobody looked at."""
    case = on_site(engine)
    case.call.answer("q_time_pattern", outcome="sudden", observer="caller")
    case.call.answer("planter_row_of_gap", outcome="no_row", observer="technician")
    case.call.answer("seal_seat", outcome="seated", observer="technician", rows=(7,))
    told = sound_text(tell(case.call))
    sound, _, unlike = told.partition("Not looked at")
    assert "seal folded" in sound
    assert sound.count(" against ") == 1
    assert "(no row" in unlike
