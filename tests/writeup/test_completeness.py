"""Completeness on calls made through the desk: what is missing at which moment, and what mends it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from writeup import alder_flat
from writeup.alder_flat import EVEN, LOW, Case

from diag.ask.forms_mend import close_form, repair_form
from diag.errors import KnowledgeError, UnitError, UsageError
from diag.knowledge.base import Knowledge
from diag.knowledge.load import load, read
from diag.knowledge.story_terms import MOMENTS
from diag.reason.judge import Engine
from diag.writeup.completeness import at_risk, check_story, missing, missing_text
from diag.writeup.completeness_tests import FIELDS, stock_phrases
from diag.writeup.mending import with_losses
from diag.writeup.story import details, tell


def rules(case: Case, audience: str = "claim", moment: str | None = None) -> set[str]:
    """Return the rules that fire."""
    return {m.rule for m in missing(case.call, audience, moment)}


def test_the_good_call_lacks_nothing(good: Case) -> None:
    """The good story typed through the desk meets every rule of a claim."""
    assert set() == rules(good)


def test_every_rule_has_its_test(whole: Knowledge) -> None:
    """Each rule of the knowledge names a test that exists, and each test is used."""
    assert set(FIELDS) == {r.field for r in whole.completeness.values()}


def test_an_unknown_test_is_named(whole: Knowledge, good: Case) -> None:
    """A rule of a shop's own that names no test is refused with the tests there are."""
    rule = whole.completeness["r02_in_service"].model_copy(update={"field": "horoscope"})
    odd = replace(whole, completeness={**whole.completeness, "r02_in_service": rule})
    with pytest.raises(KnowledgeError, match="horoscope"):
        check_story(tell(good.call), odd, claim=True)


SEVEN_MPH = {"value": "7", "unit": "mph"}
WITHOUT: list[tuple[str, Callable[[Case], object], str]] = [
    ("serial", lambda c: c.call.set_machine({}, serial=""), ""),
    ("cover ended before", lambda c: c.give("cover_ends", "2026-05-13"), "r06_documented_in_cover"),
    ("failed after the repair", lambda c: c.give("failure", "2026-05-20"), "r04_dates"),
    ("another speed after", lambda c: c.call.set_situation({"speed": SEVEN_MPH}), "r12_same_conditions"),
    ("category not judged", lambda c: c.call.withdraw(_note(c, "category")), "r15_failure_words"),
    ("part not kept", lambda c: c.call.withdraw(_note(c, "part_kept")), "r22_part_kept"),
    ("sisters not compared", lambda c: c.call.withdraw(_note(c, "siblings")), "r17_siblings"),
    ("nobody authorised", lambda c: c.call.withdraw(_note(c, "authorised")), "r25_authorised"),
    ("no follow-up", lambda c: c.call.withdraw(_note(c, "follow_up")), "r28_follow_up"),
    ("no safe state", lambda c: c.call.withdraw(_note(c, "safe_state")), "r26_safe_state"),
    ("conditions after not said", lambda c: c.call.withdraw(_note(c, "conditions_after")), "r11_conditions"),
]


def _note(case: Case, item: str) -> str:
    return next(s.event for s in details.notes_of(case.call) if s.body["item"] == item)


@pytest.mark.parametrize(("change", "rule"), [w[1:] for w in WITHOUT], ids=[w[0] for w in WITHOUT])
def test_one_thing_taken_away(engine: Engine, change: Callable[[Case], object], rule: str) -> None:
    """Taking one thing from the good call fires its rule and no other (an empty serial changes nothing)."""
    case = alder_flat.good(engine)
    change(case)
    assert ({rule} if rule else set()) == rules(case)


def test_filing_late_by_the_shops_own_window(engine: Engine, whole: Knowledge) -> None:
    """The window is a setting: 3 days make the good call late, 4 do not, none never does."""
    story = tell(alder_flat.good(engine, changes={"filing_window": None}).call)
    for days, late in ((3, True), (4, False), (None, False)):
        terms = whole.write_up.model_copy(update={"filing_window_days": days})
        found = check_story(story, replace(whole, write_up=terms), claim=True)
        assert late == ("r05_filing_window" in {m.rule for m in found})


def test_a_window_comes_from_a_folder_of_ones_own(tmp_path: object, whole: Knowledge) -> None:
    """A file beside the shipped knowledge with `write_up:` sets the terms; a wrong one is told with its line."""
    from pathlib import Path

    from diag.knowledge.load import knowledge_folder

    own = Path(str(tmp_path)) / "own"
    own.mkdir()
    (own / "terms.yaml").write_text("write_up: {filing_window_days: 30, labour_allowance: {diagnosis: 1.0}}\n")
    merged = load([knowledge_folder(), own])
    assert (30, 1.0) == (merged.write_up.filing_window_days, merged.write_up.labour_allowance["diagnosis"])
    assert whole.write_up.filing_window_days is None
    (own / "terms.yaml").write_text("write_up:\n  filing_window_days: soon\n")
    _, problems = read([knowledge_folder(), own])
    assert [("own/terms.yaml", 2)] == [(p.file, p.line) for p in problems]


# --- moments ----------------------------------------------------------------------------------------------------


def test_before_touching_asks_for_the_reading_and_the_photo(engine: Engine) -> None:
    """Before anything is opened a claim needs a reading, a photo in place and the safe state; nothing else yet."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.call.set_complaint(alder_flat.WORDS, [("skips_high", "chosen")])
    found = missing(case.call, "claim", "before_touching")
    assert {"r08_before", "r23_photo", "r26_safe_state", "v9_may_become_a_claim"} == {m.rule for m in found}
    assert all(m.by == "before_touching" and m.asks and m.minutes > 0 and not m.lost for m in found)


def test_each_moment_lists_what_is_lost_after_it(good: Case, engine: Engine) -> None:
    """A later moment lists all an earlier one does, and no rule of a moment still to come."""
    case = alder_flat.opened(engine)
    seen: set[str] = set()
    for number, moment in enumerate(MOMENTS):
        found = missing(case.call, "claim", moment)
        assert all(MOMENTS.index(m.by) <= number for m in found)
        assert seen <= {m.rule for m in found}
        seen = {m.rule for m in found}
    assert seen == rules(case)


def test_after_the_repair_the_first_reading_is_lost(engine: Engine) -> None:
    """Once mended, what could only be had before is marked lost, what can still be had is not."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.call.repair(["seal_worn"], rows=[7])
    found = {m.rule: m for m in missing(case.call, "claim")}
    assert found["r08_before"].lost
    assert not found["r09_after"].lost
    assert "too late, give the reason" in " ".join(missing_text(list(found.values())).split())


def test_only_checks_that_change_evidence_ask_first(engine: Engine) -> None:
    """A check that ends evidence asks for the reading before it; one that only asks does not."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.give("claim_type", "warranty")
    case.call.set_complaint(alder_flat.WORDS, [("skips_high", "chosen")])
    ending = next(k for k, c in engine.knowledge.questions.items() if c.destroys)
    asking = next(k for k, c in engine.knowledge.questions.items() if not c.destroys)
    assert "r08_before" in {m.rule for m in at_risk(case.call, ending)}
    assert () == at_risk(case.call, asking)
    assert "r13_deciding" in {m.rule for m in at_risk(case.call)}


def test_repair_and_close_say_first_what_can_only_be_had_now(engine: Engine) -> None:
    """On site the form of a repair and of a close begins with what is lost afterwards; by phone it stays short."""
    for channel, told in (("site", True), ("phone", False)):
        case = alder_flat.opened(engine, channel)
        alder_flat.machine(case)
        case.call.set_complaint(alder_flat.WORDS, [("skips_high", "chosen")])
        for form in (repair_form(case.call, ("seal_worn",)), close_form(case.call)):
            assert told == (with_losses(form, case.call).fields[0].name == "lost")
            assert with_losses(form, case.call).fields[int(told):] == form.fields


def test_a_call_on_site_is_asked_for_its_first_reading(engine: Engine) -> None:
    """No claim and nothing closed yet: before anything is opened on site a reading is asked for, by phone it is not."""
    for channel, asked in (("site", True), ("phone", False)):
        case = alder_flat.opened(engine, channel)
        alder_flat.machine(case)
        case.call.set_complaint(alder_flat.WORDS, [("skips_high", "chosen")])
        found = missing(case.call, "service", "before_touching")
        assert asked == ("r08_before" in {m.rule for m in found})
        assert {"should"} >= {m.severity for m in found}


def test_a_reason_stands_in_for_what_should_be_there(engine: Engine) -> None:
    """With a reason a `should` is no longer asked; a `must` of a claim is not asked again but still blocks filing."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.call.set_complaint("bad", [("skips_high", "chosen")])
    details.leave_out(case.call, "r07_complaint", "left on the machine by the hired driver")
    details.leave_out(case.call, "r23_photo", "no camera at hand")
    assert {"r07_complaint", "r23_photo"} & rules(case, "claim", "before_touching") == set()
    found = {m.rule: m for m in missing(case.call, "claim")}
    assert "r07_complaint" not in found
    assert ("must", "no camera at hand") == (found["r23_photo"].severity, found["r23_photo"].reason)
    assert any("no camera at hand" in s.reason for s in tell(case.call).skipped)


def test_leaving_out_needs_a_reason_and_a_rule(engine: Engine) -> None:
    """No reason, or a rule that does not exist, is refused."""
    case = alder_flat.opened(engine)
    with pytest.raises(UsageError, match="needs a reason"):
        details.leave_out(case.call, "r23_photo", "  ")
    with pytest.raises(UsageError, match="no completeness rule"):
        details.leave_out(case.call, "r99", "because")


# --- ways of closing --------------------------------------------------------------------------------------------


def test_mended_by_phone_closes_in_four_fields(engine: Engine) -> None:
    """A call mended by phone asks for its words, what it was, what was done, and a follow-up: nothing more."""
    case = alder_flat.opened(engine, "phone")
    case.call.close("mended_by_phone")
    assert {"r07_complaint", "c1_what_it_was", "c2_what_was_done", "r28_follow_up"} == rules(case, "service")
    assert rules(case, "service") == rules(case, "customer")


CLOSINGS = [
    ("question_answered", {"r07_complaint", "c3_answer"}),
    ("handed_over", {"r07_complaint", "c3_answer"}),
    ("not_heard_again", {"r07_complaint"}),
    ("several_changed_at_once", {"r07_complaint", "c2_what_was_done"}),
    ("no_fault_found", {"r07_complaint", "r08_before", "c4_measured", "v9_may_become_a_claim"}),
    ("interim", {"r07_complaint", "c2_what_was_done", "c5_workaround_watch", "r28_follow_up"}),
    ("part_shown_at_fault",
     {"r07_complaint", "r08_before", "r09_after", "c1_what_it_was", "c2_what_was_done", "v9_may_become_a_claim",
      "v13_closing"}),
]


@pytest.mark.parametrize(("result", "asked"), CLOSINGS, ids=[c[0] for c in CLOSINGS])
def test_each_way_of_closing_has_its_own_few_fields(engine: Engine, result: str, asked: set[str]) -> None:
    """Only a claim meets the 28 rules; other endings ask for their own few fields."""
    case = alder_flat.opened(engine)
    case.call.close(result)
    assert asked == rules(case, "service")


def test_a_claim_type_makes_it_a_claim(engine: Engine) -> None:
    """Once somebody else is to pay, the claim rules fire for every reader; the customer paying is no claim."""
    case = alder_flat.opened(engine)
    case.give("claim_type", "customer")
    assert "r02_in_service" not in rules(case, "service")
    case.give("claim_type", "warranty")
    assert "r02_in_service" in rules(case, "service")


def test_reader_and_moment_must_exist(good: Case) -> None:
    """A reader or a moment that does not exist is refused."""
    with pytest.raises(UsageError, match="boss"):
        missing(good.call, "boss")
    with pytest.raises(UsageError, match="yesterday"):
        missing(good.call, "claim", "yesterday")


# --- details ----------------------------------------------------------------------------------------------------

GIVEN = [
    ("in_service", "2026-4-6", "2026-04-06"), ("in_service", "14.05.2026", "2026-05-14"),
    ("in_service", "05/14/2026", "2026-05-14"), ("in_service", "5.5.2026", "2026-05-05"), ("area", "410 ac", "410 ac"),
    ("hours_travel", "1,4 h", "1.4 h"), ("follow_up", "even: all rows", "even with its neighbours: all rows"),
    ("category", "wear", "wear to be expected"), ("part_kept", "tag 12", "tag 12"),
]


@pytest.mark.parametrize(("name", "text", "told"), GIVEN, ids=[" ".join(g[:2]) for g in GIVEN])
def test_details_as_typed(engine: Engine, name: str, text: str, told: str) -> None:
    """Dates, amounts, choices and words as people type them."""
    case = alder_flat.opened(engine)
    case.give(name, text)
    item = tell(case.call).item(name)
    assert item is not None
    assert told == item.told.text


@pytest.mark.parametrize(
    ("name", "text", "error", "says"),
    [("in_service", "6/4/2026", UsageError, "two dates"), ("in_service", "2026-02-30", UsageError, "no date"),
     ("in_service", "soon", UsageError, "no date"), ("area", "410 mph", UnitError, "mph"),
     ("area", "", UsageError, "Nothing"),
     ("follow_up", "perhaps", UsageError, "none of the answers"), ("horoscope", "x", UsageError, "no detail")],
)
def test_details_that_cannot_be_taken(
    engine: Engine, name: str, text: str, error: type[Exception], says: str
) -> None:
    """A date that could be two, an impossible one, a wrong unit, nothing, no such answer: refused, nothing recorded."""
    case = alder_flat.opened(engine)
    before = len(case.call.events)
    with pytest.raises(error, match=says):
        case.give(name, text)
    assert before == len(case.call.events)


def test_free_text_of_details_is_sealed(good: Case) -> None:
    """Words of a detail stand in the side table, never in an event's body."""
    bodies = str([e.body for e in good.call.events])
    for text in ("INV-T-0071", "service manager", "moulding void"):
        assert text not in bodies
        assert any(text in s.value for s in good.call.sealed)


def test_stock_phrases_are_whole_words() -> None:
    """"bad" is found in "a bad meter" and not in "badly"; phrases of two words as such."""
    assert ["bad"] == stock_phrases("A bad meter.", ["bad", "works now"])
    assert [] == stock_phrases("badly worn", ["bad"])
    assert ["works now"] == stock_phrases("It works now!", ["works now"])


def test_hours_are_proposed_and_both_values_kept(engine: Engine) -> None:
    """The clock of the record proposes; what is typed holds, and the proposal stays beside it."""
    story = tell(alder_flat.good(engine).call)
    by = {n.activity: n for n in story.labour if n.activity != "test"}
    assert ("typed", 78.0, 75.0) == (by["diagnosis"].basis, by["diagnosis"].minutes, by["diagnosis"].proposed)
    assert (18.0, "typed") == (by["repair"].minutes, by["repair"].basis)


def test_waiting_and_long_silence_are_no_diagnosis(engine: Engine) -> None:
    """Time on hold counts as waiting, a night counts as nothing, the rest as diagnosis."""
    case = alder_flat.opened(engine)
    alder_flat.machine(case)
    case.wait(10)
    case.vacuum("a", LOW)
    case.call.record("waiting", {"for": "part"})
    case.wait(45)
    case.call.record("waiting", {"for": "none"})
    case.wait(600)
    case.vacuum("b", EVEN)
    by = {n.activity: n.minutes for n in tell(case.call).labour if n.activity != "test"}
    assert {"waiting": 45.0, "diagnosis": 10.0} == by


def test_an_allowance_is_shown_beside_the_hours(whole: Knowledge, engine: Engine) -> None:
    """Where the shop's contract allows hours, they stand beside what was needed."""
    from diag.writeup.page.render import render_text

    terms = whole.write_up.model_copy(update={"labour_allowance": {"diagnosis": 1.0}})
    own = Engine(replace(whole, write_up=terms), counter=True)
    assert "allowed 60 min" in " ".join(render_text(tell(alder_flat.good(own).call)).split())
