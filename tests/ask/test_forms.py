"""Forms, turns, profiles, homework: the logic that screens and the line dialogue share."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from diag.ask import aloud, forms_call, forms_mend, homework, profiles
from diag.ask.correcting import can_be_withdrawn, change_turn, move_answer
from diag.ask.form import Form, parts_of, setting_of, settings_of
from diag.ask.fromfile import answer_text
from diag.ask.intake import fact_words, read_words
from diag.ask.reply import NOTHING, reply
from diag.ask.search import search_answers
from diag.ask.taking import Taking, faults, take
from diag.ask.turn import acknowledged_now, stage_of, turn, worth_doing
from diag.call.desk import CallDesk, Desk
from diag.call.looks import form_lines, members, readings, record_form
from diag.errors import DiagError, RecordError, UnitError, UsageError
from diag.hear.fact import Candidate, FactFound
from diag.knowledge.base import Knowledge
from diag.knowledge.load import load
from diag.reason.judge import Engine
from diag.say import explaining, present
from diag.store.listing import listed
from diag.store.summary import summarise
from diag.units import value_words

TESTS = Path(__file__).parent.parent


class Clock:
    """A clock that is set by hand."""

    def __init__(self) -> None:
        self.now = datetime(2026, 5, 4, 6, 40, tzinfo=UTC)

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture(scope="module")
def engine() -> Engine:
    """The small engine with a check of every kind of answer."""
    return Engine(load([TESTS / "data" / "small", TESTS / "screens" / "knowledge"]))


@pytest.fixture
def desk(engine: Engine) -> Desk:
    """A desk without a store."""
    return Desk(engine, clock=Clock())


def open_call(desk: Desk, channel: str = "site") -> CallDesk:
    """Return a call with rows, a complaint, and what makes it dangerous asked for."""
    call = desk.new_call(channel)
    call.set_machine({"rows": 8}, label="north planter")
    call.set_situation({"rows": [7], "flags": []})
    call.set_complaint("thin", [("thin", "chosen")])
    return call


# --- what forms take ----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("said", "stored"),
    [
        ("18 inH2O", {"value": "18", "unit": "inH2O"}), ("18,5 inH2O", {"value": "18.5", "unit": "inH2O"}),
        ("notch 3", "notch 3"), ("3 frogs", "3 frogs"), ("old brush", "old brush"), (" ", None),
    ],
)
def test_a_setting_is_a_value_where_it_can_be(said: str, stored: Any) -> None:
    """A number with a known unit is measured; everything else is a short name; both can be typed again."""
    assert stored == setting_of(said)
    assert setting_of(value_words(stored)) == stored


def test_parts_and_settings_as_typed() -> None:
    """Quantities before parts; old and new value of each setting; what is no change is refused."""
    assert [{"item": "seal", "qty": 1}, {"item": "brush", "qty": 4}, {"item": "hose", "qty": 2}] == parts_of(
        "seal, 4 brush; 2 x hose"
    )
    (setting,) = settings_of("vacuum: 18 inH2O -> 20 inH2O")
    before, after = {"value": "18", "unit": "inH2O"}, {"value": "20", "unit": "inH2O"}
    assert {"name": "vacuum", "before": before, "after": after} == setting
    with pytest.raises(UsageError, match="no change of a setting"):
        settings_of("vacuum up")


def test_every_form_records_what_its_fields_hold(desk: Desk) -> None:
    """Filled with the values it opens with, a form records or names the field that is missing."""
    call = open_call(desk)
    call.answer("plain", outcome="red")
    call.repair(["alpha"])
    call.answer("plain", outcome="ok")
    forms = [
        forms_mend.repair_form(call), forms_mend.proof_form(call), forms_mend.close_form(call),
        forms_mend.follow_up_form(call), forms_call.done_before_form(call), forms_call.change_form(call),
        forms_call.swap_form(call), forms_call.waiting_form(call), forms_call.note_form(call),
        forms_call.situation_form(call), forms_call.arrival_form(call), forms_call.photo_form(call),
    ]
    for form in forms:
        labels = {f.label for f in form.fields}
        error = refused(form, call)
        assert error is None or (error.where in labels and error.remedy), form.name


def test_a_proof_rests_on_what_was_answered(desk: Desk) -> None:
    """What could not be done after the repair is no reading that a proof could rest on."""
    call = open_call(desk)
    call.repair(["alpha"])
    call.answer("plain", status="cannot_here")
    call.answer("plain", outcome="ok")
    (rests,) = [f for f in forms_mend.proof_form(call).fields if f.name == "answers"]
    assert 1 == len(rests.choices)


def refused(form: Form, call: CallDesk) -> DiagError | None:
    """Record a form with the values it opens with; return what it was refused for, None when it was taken."""
    try:
        form.record(call, {f.name: f.value for f in form.fields})
    except DiagError as error:
        return error
    return None


# --- turns --------------------------------------------------------------------------------------------


def test_a_caution_holds_for_a_while_and_for_one_person(desk: Desk) -> None:
    """Said once, it holds; after a pause, or for another person, it is said again."""
    call = open_call(desk)
    assert "say" == turn(call, "open_one").kind
    call.acknowledge("hazard.hands_in_meter", "open_one")
    assert "form" == turn(call, "open_one").kind
    call.switch_channel("phone")
    assert frozenset() == acknowledged_now(call)
    call.switch_channel("site")
    assert {"hazard.hands_in_meter"} == set(acknowledged_now(call))
    clock = desk.clock
    assert isinstance(clock, Clock)
    clock.now += timedelta(hours=5)
    assert "say" == turn(call, "open_one").kind


def test_one_look_is_one_form_on_site_and_one_question_by_phone(desk: Desk) -> None:
    """On site the mates come along; asked one by one when wanted; a list is always one form."""
    call = open_call(desk)
    call.acknowledge("hazard.hands_in_meter", "open_one")
    assert ["open_one", "open_two"] == [line.check for line in turn(call, "open_one").form]
    assert "check" == turn(call, "open_one", form=False).kind
    phone = open_call(desk, "phone")
    assert "check" == turn(phone, "plain").kind
    assert "form" == turn(phone, "what_changed.seed").kind
    assert [] == readings(call, "open_one")


def test_a_form_tells_fine_from_not_looked_at(desk: Desk) -> None:
    """Only what is ticked or said to be fine is recorded."""
    call = open_call(desk)
    lines = form_lines(call, members(call, "open_one"))
    assert ["ok", "ok"] == [line.fine for line in lines]
    record_form(call, {"open_two": "bad"}, {})
    assert [("open_two", "bad")] == [(a.check, a.outcome) for a in call.state.answers]


def test_a_closed_call_asks_nothing(desk: Desk) -> None:
    """It says how it ended."""
    call = open_call(desk)
    call.close("question_answered")
    assert ("closed", "Closed: question answered.") == (turn(call).kind, turn(call).asks)


# --- taking -------------------------------------------------------------------------------------------


def test_what_was_typed_counts_before_what_was_ticked(desk: Desk) -> None:
    """A fact whose field was typed otherwise is left out with the answers it brings; the rest is taken."""
    rows = FactFound("rows", "7", "row 7", (Candidate("situation", "rows", "7"), Candidate("answer", "split", "upper")))
    seed = FactFound("changes", "new_seed", "new seed", (Candidate("situation", "changes", "new_seed"),))
    same = take(desk, Taking("phone", "thin", facts=(rows, seed), typed={"rows": "7"}))
    other = take(desk, Taking("phone", "thin", facts=(rows, seed), typed={"rows": "3"}))
    assert ["split"] == [a.check for a in same.state.answers]
    assert [] == [a.check for a in other.state.answers]
    assert ((3,), ("new_seed",)) == (other.state.situation.rows, other.state.situation.changes)


def test_nothing_is_recorded_of_a_call_that_does_not_fit(desk: Desk) -> None:
    """All faults are found before the call is opened."""
    taking = Taking("phone", "", typed={"speed": "5", "rows": "9-x"})
    assert {"words", "speed", "rows"} == set(faults(desk.engine.knowledge, taking, desk.clock()))
    with pytest.raises(UsageError):
        take(desk, taking)


# --- correcting ---------------------------------------------------------------------------------------


def test_an_answer_moves_with_what_was_said(desk: Desk) -> None:
    """The words go along; the wrong call keeps it as withdrawn; what is no answer cannot be moved."""
    wrong, right = open_call(desk), open_call(desk)
    event = wrong.answer("plain", outcome="red", said="he says red").id
    assert change_turn(wrong, event) is not None
    move_answer(wrong, right, event)
    assert "he says red" == right.text_of("answer", "said")
    assert not can_be_withdrawn(wrong, event)
    assert change_turn(wrong, event) is None
    with pytest.raises(RecordError):
        move_answer(wrong, right, event)


# --- profiles -----------------------------------------------------------------------------------------


def test_a_profile_survives_its_form(desk: Desk) -> None:
    """What is kept can be opened and kept again without a change; it is confirmed on the day."""
    body = {
        "axes": {"drive": "electric", "fill": "unknown"}, "rows": 16, "holes": 40,
        "row_width": {"value": "30", "unit": "in"}, "sections": [{"name": "left wing", "rows": [1, 2, 3, 4]}],
        "book": {"vacuum": {"value": "20", "unit": "inH2O"}},
    }
    kept: list[tuple[Any, Any]] = []
    form = profiles.profile_form(desk.engine.knowledge, profiles.Draft(body, {"label": "the 16-row"}), "2026-05-04",
                                 lambda b, p: kept.append((b, p)))
    form.record(None, {f.name: f.value for f in form.fields})
    assert [({**body, "confirmed": "2026-05-04"}, {"label": "the 16-row"})] == kept
    old = profiles.Draft({**body, "confirmed": "2025-06-01"}, {"label": "the 16-row"})
    assert "the 16-row | 16 rows | not confirmed this season" == profiles.profile_line(old, desk.clock())


@pytest.mark.parametrize(
    ("field", "text", "error"),
    [("book", "frogs: 20 inH2O", UsageError), ("book", "vacuum: 20", UnitError), ("sections", "left wing", UsageError),
     ("rows", "many", UsageError), ("row_width", "30", UnitError)],
)
def test_a_profile_that_does_not_fit_is_refused(desk: Desk, field: str, text: str, error: type[DiagError]) -> None:
    """The field is named with the remedy."""
    with pytest.raises(error) as caught:
        profiles.profile_body(desk.engine.knowledge, {field: text})
    assert caught.value.remedy


def test_the_machine_of_a_call_is_a_profile(desk: Desk) -> None:
    """A profile used in a call and read back from it is the same."""
    call = desk.new_call("site")
    draft = profiles.Draft({"axes": {"drive": "chain"}, "rows": 8}, {"label": "north"})
    profiles.use_profile(call, draft)
    assert draft == profiles.of_call(call)


# --- several at once ----------------------------------------------------------------------------------


def test_homework_stops_the_engine_once(desk: Desk) -> None:
    """At most three, by phone and with the line dropped; what needs it running comes before the stop."""
    call = open_call(desk, "phone")
    walk = homework.batch(call)
    questions = desk.engine.knowledge.questions
    assert 1 <= len(walk) <= 3
    assert all(questions[k].phone and questions[k].minutes.grower for k in walk)
    text = homework.message(call, walk, "2026-05-04T07:20:00Z", desk.clock())
    assert "1. Do you see red or blue?" in text
    assert text.endswith("Call back: 7:20.")


def test_the_last_change_is_offered_to_be_put_back_first(desk: Desk) -> None:
    """What was changed last before the call, unless it helped, until something is repaired."""
    call = open_call(desk)
    for order, what in ((1, "vacuum up"), (2, "eliminator tightened")):
        body = {"what": what, "order": order, "before": "notch 3", "after": "notch 2", "effect": "worse"}
        call.record("done_before", {**body, "told_by": "caller"})
    told = [w for w in present.warnings(call) if w.startswith("Changed last")]
    assert ["Changed last before the call: eliminator tightened (was notch 3, now notch 2). Putting that back first "
            "tells most."] == told
    call.repair(["alpha"])
    assert not [w for w in present.warnings(call) if w.startswith("Changed last")]


def test_what_is_fitted_goes_into_the_call_as_a_note(desk: Desk) -> None:
    """Disc, crop and lot as the profile holds them, with the day somebody looked."""
    call = desk.new_call("site")
    body = {"rows": 8, "fitted": "40-hole disc, corn, lot B7", "confirmed": "2026-05-02"}
    profiles.use_profile(call, profiles.Draft(body))
    assert "Fitted on the machine (2026-05-02): 40-hole disc, corn, lot B7" == call.text_of("note", "text")
    assert 8 == call.state.machine.rows


def test_a_sheet_has_a_blank_for_every_row(desk: Desk) -> None:
    """Rows by readings, labelled figures, ticks for looks; cautions stand first."""
    sheet = homework.sheet(open_call(desk), ["row_gauge", "open_one", "called"])
    assert "row  8 ______" in sheet
    assert "[ ] bad" in sheet
    assert "good ________" in sheet
    assert sheet.index("WARNING: Stop it first.") < sheet.index("1. Vacuum at every row")


def test_answers_of_one_form_keep_their_order_and_time(desk: Desk) -> None:
    """What is left empty is not recorded; one that cannot be read stops all of them, naming its check."""
    call = open_call(desk)
    form = homework.answers_form(call, ["split", "row_gauge", "plain"])
    with pytest.raises(DiagError) as caught:
        form.record(call, {"split": "upper", "row_gauge": "from 1: 18"})
    assert "Vacuum at every row" == caught.value.where
    assert () == call.state.answers
    form.record(call, {"plain": "red", "split": "lower", "split@": "2 h ago"})
    assert [("split", "2026-05-04T04:40:00Z"), ("plain", None)] == [(a.check, a.happened) for a in call.state.answers]


def test_the_card_and_its_short_form(desk: Desk) -> None:
    """Who, rows, belief by word, what is next."""
    call = open_call(desk, "phone")
    assert "Believed now:" in homework.card(call)
    assert "Row 7." in homework.short_card(call)


# --- readings -----------------------------------------------------------------------------------------


def test_figures_read_aloud(desk: Desk) -> None:
    """Rows along a walk, a dash for not read, the first row again; positions must rise; back takes one off."""
    check = desk.engine.knowledge.questions["row_gauge"]
    read = aloud.begin(check, 3, 1)
    for said in ("18 inH2O", "-", "17", "18.5"):
        read = aloud.take(read, said)
    assert "3: 18, 2: -, 1: 17, again: 18.5 inH2O" == aloud.text(read)
    assert read.done
    assert "3: 18, 2: -, 1: 17 inH2O" == aloud.text(aloud.back(read))
    jumped = aloud.take(aloud.take(aloud.begin(check, 1, 8), "row 5"), "18 inH2O")
    assert "5: 18 inH2O" == aloud.text(jumped)
    tape = aloud.take(aloud.begin(desk.engine.knowledge.questions["tape"]), "6 in")
    with pytest.raises(DiagError, match="does not lie beyond"):
        aloud.take(tape, "5")


def test_a_preview_records_nothing(desk: Desk) -> None:
    """Verdict and doubts while typing; what cannot be read says why."""
    call = open_call(desk)
    events = len(call.events)
    asked = turn(call, "row_gauge")
    shown = reply(call, asked, "from 1: 18 18 18 18 18 18 6 18 inH2O")
    assert shown.fits
    assert any("one row lies below the others" in line for line in shown.told)
    assert any("unlike both its neighbours" in line for line in shown.told)
    assert not reply(call, asked, "from 1: 18").fits
    assert reply(call, turn(call, "plain"), "  ") == NOTHING
    assert events == len(call.events)


def test_readings_of_a_file(desk: Desk, tmp_path: Path) -> None:
    """Per row with its unit; of several rows the one that is meant; else the rows are named."""
    (tmp_path / "v.csv").write_text("row,vacuum_kpa\n1,4.5\n2,\n3,4.25\n")
    (tmp_path / "p.csv").write_text("row,position_in\n7,0\n7,6.5\n8,1\n8,7\n")
    questions = desk.engine.knowledge.questions
    assert "1: 4.5, 3: 4.25 kPa" == answer_text(questions["row_gauge"], str(tmp_path / "v.csv"))
    assert "1 7 in" == answer_text(questions["tape"], str(tmp_path / "p.csv"), 8)
    with pytest.raises(UsageError, match="rows 7, 8"):
        answer_text(questions["tape"], str(tmp_path / "p.csv"))


# --- looking ------------------------------------------------------------------------------------------


def test_every_topic_can_be_told(desk: Desk) -> None:
    """Why, what if, beliefs, rules, charts: text inside the width; nothing is recorded."""
    call = open_call(desk)
    call.answer("split", outcome="upper")
    call.answer("row_gauge", values={str(r): {"value": "18", "unit": "inH2O"} for r in range(1, 9)})
    events = len(call.events)
    for topic in explaining.topics(call, "plain"):
        text = explaining.told(call, topic.key, 60)
        assert text
        assert max(map(len, text.splitlines())) <= 72, topic
        if topic.entry:
            assert explaining.entry_text(call, *topic.entry)
    assert events == len(call.events)


def test_what_a_rule_found_is_told(desk: Desk) -> None:
    """A finding is read by people too: in its own words, under the rule that made it."""
    call = open_call(desk)
    call.answer("plain", outcome="blue")
    call.answer("split", outcome="upper")
    told = explaining.told(call, "rules")
    assert "found: both were seen" in told
    because = next(r.because for r in desk.engine.knowledge.rules.values() if r.id == "r_both")
    assert told.index(because) < told.index("found: both were seen")


def test_results_are_found_by_their_words(desk: Desk) -> None:
    """The words of the result count; those of its check help; nothing is found for nothing."""
    knowledge = desk.engine.knowledge
    assert [("plain", "blue")] == search_answers(knowledge, "blue")
    assert ("row_gauge", "one_low") == search_answers(knowledge, "row below")[0]
    assert [] == search_answers(knowledge, "")


def test_the_list_puts_first_what_is_due(desk: Desk) -> None:
    """Due, in work, waiting, closed."""
    calls = [open_call(desk, "phone") for _ in range(4)]
    calls[0].close("question_answered")
    calls[1].record("waiting", {"for": "part", "until": "2026-05-04T10:00:00Z"})
    calls[3].record("waiting", {"for": "caller", "until": "2026-05-04T06:00:00Z"})
    found = [summarise(c.events, c.sealed)[0] for c in calls]
    assert ["due", "open", "waiting", "closed"] == [c.state for c in listed(found, desk.clock(), {})]


def test_somebody_hurt_stops_all_asking(engine: Engine, tmp_path: Path) -> None:
    """A caution that stops leaves no question, by hand or offered, until the situation is put right."""
    stops = tmp_path / "stops"
    stops.mkdir()
    (stops / "more.yaml").write_text(
        "cautions:\n- {id: hurt, word: DANGER, text: Call for help., flags: [driving], stops: true, source: [estimate]}"
        "\n", encoding="utf-8")
    folders = [TESTS / "data" / "small", TESTS / "screens" / "knowledge", stops]
    call = open_call(Desk(Engine(load(folders)), clock=Clock()))
    asked = turn(call)
    assert asked.check is not None
    call.set_situation({"flags": ["driving"]})
    for stopped in (turn(call), turn(call, asked.check.id)):
        assert ("stop", None) == (stopped.kind, stopped.check)
        assert "Call for help." == stopped.asks.splitlines()[0]
        assert "hurt" in [c.id for c in stopped.cautions]
    call.set_situation({"flags": []})
    assert asked.kind == turn(call).kind


def test_a_heard_figure_is_told_with_its_unit(whole: Knowledge) -> None:
    """What is offered says what it is of, and the unit that was said."""
    heard = FactFound("doubles", "15", "15 percent", (Candidate("reading", "doubles", "15 percent"),))
    assert "doubles 15 percent" == fact_words(whole, heard)


def test_usual_parts_are_those_of_what_is_ticked(whole: Knowledge) -> None:
    """Nothing ticked: no part and no step is told; ticked: its own parts, without a number that nobody said."""
    call = Desk(Engine(whole)).new_call("site")
    told = {}
    for causes in ((), ("seal_worn",)):
        fields = {f.name: f for f in forms_mend.repair_form(call, causes).fields}
        told[causes] = fields["parts"].hint, bool(fields["usual"].value)
    label = whole.parts[whole.causes["seal_worn"].repair.parts[0]].label
    assert {(): ("e.g. 1 seal, 4 brushes", False),
            ("seal_worn",): (f"It may take: {label}.", True)} == told


def test_what_is_dangerous_is_told_of_what_is_ticked(whole: Knowledge) -> None:
    """Nothing ticked: only what belongs to every cause offered; ticked: what belongs to that one."""
    call = Desk(Engine(whole)).new_call("site")
    offered = tuple((c, whole.causes[c].label) for c in whole.causes)
    hurts = next(c for c, cause in whole.causes.items()
                 if forms_mend.repair_form(call, (c,), offered).fields[0].value.startswith("DANGER"))
    harmless = next(c for c in whole.causes if not forms_mend.repair_form(call, (c,), offered).fields[0].value)
    both = ((hurts, ""), (harmless, ""))
    assert "" == forms_mend.repair_form(call, (), both).fields[0].value
    assert forms_mend.repair_form(call, (), ((hurts, ""),)).fields[0].value.startswith("DANGER")


def test_a_repair_before_all_answers_is_refused(desk: Desk) -> None:
    """A repair dated before the first answer would make all of them readings taken after it."""
    call = desk.new_call("site")
    call.answer("plain", outcome="blue")
    form = forms_mend.repair_form(call, ("beta",))
    with pytest.raises(DiagError, match="before the first answer"):
        form.record(call, {"causes": ("beta",), "happened": "2 h ago"})
    form.record(call, {"causes": ("beta",)})
    assert len(call.state.repairs) == 1


def test_the_old_reading_stands_beside_the_new_one(desk: Desk) -> None:
    """After a repair the check that showed the fault is asked with what it gave before."""
    call = desk.new_call("site")
    call.answer("plain", outcome="blue")
    call.repair(["beta"])
    assert ("before the repair", "blue") in turn(call, "plain", form=False).beside


def test_a_pick_that_is_missing_says_tick_one(desk: Desk) -> None:
    """What is picked is ticked, not filled in."""
    call = desk.new_call("site")
    with pytest.raises(DiagError, match="Tick one"):
        forms_mend.close_form(call).record(call, {})


def test_an_end_tells_whether_the_readings_carry_it(desk: Desk) -> None:
    """Mended and shown only where readings and a person agree; accepted without them is told as that."""
    call = desk.new_call("site")
    call.set_complaint("", [("thin", "chosen")])
    repair = call.repair(["beta"])
    assert present.proved_lines(call)[0].startswith("Done, not shown: ")
    call.proof(repair.id, "accepted")
    assert present.proved_lines(call)[0].startswith(present.AGAINST)


def test_a_reading_that_does_not_show_it_says_why(desk: Desk) -> None:
    """Read after the repair and not enough: the desk says what is lacking, not the same words again."""
    call = desk.new_call("site")
    call.set_complaint("", [("thin", "chosen")])
    call.repair(["beta"])
    assert "prove" == call.think().judgement.action
    assert not present.worth_doing_words(call).startswith("Not shown yet")
    call.answer("split", outcome="upper")
    assert present.worth_doing_words(call).startswith("Not shown yet: ")


def test_a_call_back_that_says_no_takes_the_acceptance_back(desk: Desk) -> None:
    """Mended, accepted, closed; the rows are not even: the call is open, not done, and something is asked again."""
    call = desk.new_call("site")
    call.set_complaint("", [("thin", "chosen")])
    repair = call.repair(["beta"])
    answer = call.answer("plain", outcome="ok")
    call.proof(repair.id, "accepted", [answer.id])
    call.close("mended")
    assert ("done", "close") == (stage_of(call), call.think().judgement.action)
    forms_mend.follow_up_form(call).record(call, {"even": "no"})
    assert call.state.closed is None
    assert "find" == stage_of(call)
    assert call.think().judgement.action != "close"
    assert present.proved_lines(call)[0].startswith("Done, not shown: ")


def test_what_is_typed_first_stands_first_and_a_suggestion_beside_it(desk: Desk) -> None:
    """To park a call the time is typed; rows in trouble stand beside the rows of a change, not in them."""
    call = desk.new_call("phone")
    call.set_situation({"rows": "all"})
    assert "until" == forms_call.waiting_form(call).fields[0].name
    (rows,) = [f for f in forms_call.change_form(call).fields if f.name == "rows"]
    assert ("", True) == (rows.value, "all" in rows.hint)


def test_an_end_that_tells_nothing_alone_asks_for_its_words(desk: Desk) -> None:
    """A question answered asks what was asked and answered, before anything is recorded; what is mended does not."""
    call = desk.new_call("phone")
    events = len(call.events)
    for result in ("question_answered", "handed_over"):
        with pytest.raises(DiagError, match=r"What was asked|To whom"):
            forms_mend.close_form(call).record(call, {"result": result, "words": " "})
    assert events == len(call.events)
    forms_mend.close_form(call).record(call, {"result": "question_answered", "words": "Why thin? Worn seal.",
                                              "follow_up": "in 2 days"})
    assert "question_answered" == call.state.closed.result
    assert "Call back, as agreed." == call.text_of("waiting", "text")  # nothing was mended that could be even
    forms_mend.close_form(desk.new_call("phone")).record(call, {"result": "no_fault_found"})


def test_a_fact_is_not_said_twice_in_like_words(whole: Knowledge) -> None:
    """Two fields that a word fills alike stand once on its chip; what another field adds stands too."""
    heard = read_words(whole, "row 3 doubles since the new seed lot")
    told = [fact_words(whole, f) for f in heard.facts]
    assert 1 == sum(t.count("filled") for t in told)
    assert "in trouble: row 3; one row only" in told


@pytest.mark.parametrize(("outcome", "words"), [
    ("all_ok", "Measured, and good: "), ("doubles", "Measured, and not right: "),
])
def test_after_a_reading_the_verdict_is_due(whole: Knowledge, outcome: str, words: str) -> None:
    """Measuring was chosen once; after the reading its word stands there, and the verdict can be given."""
    call = Desk(Engine(whole)).new_call("site")
    call.set_situation({"rows": [3]})
    call.set_complaint("", [("doubles_high", "chosen")])
    call.repair(["vac_set_high"], rows=[3], words="set to the book value")
    passed = worth_doing(call)
    assert "act" == turn(call).kind
    assert "act" != turn(call, passed=passed).kind
    call.answer("dug_50_spacings", outcome=outcome, observer="technician", rows=(3,))
    due = turn(call, passed=passed)
    assert ("act", True) == (due.kind, due.asks.startswith(words))
    assert "proof" in [c.key for c in due.choices]
