"""From typed readings to outcome weights: limits, book values, uncertainty, too few."""

from __future__ import annotations

import pytest

from diag.ask.answers import parse_answer
from diag.call.desk import CallDesk, Desk
from diag.call.healthy import keep_healthy
from diag.errors import UnitError, UsageError
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.reason.judge import Engine


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """An engine on the whole knowledge."""
    return Engine(whole)


@pytest.fixture
def call(engine: Engine) -> CallDesk:
    """A twelve-row flat-disc call on site."""
    opened = Desk(engine).new_call("site")
    axes = {"meter": "flat", "delivery": "tube", "drive": "chain", "fan": "hydraulic_fan", "fill": "box"}
    row_width = {"value": "30", "unit": "in"}
    opened.set_machine({"axes": axes, "rows": 12, "row_width": row_width, "holes": 40})
    opened.set_situation({"crop": "corn", "target": {"value": "32000", "unit": "seeds/ac"}})
    return opened


def typed(call: CallDesk, check: str, text: str) -> tuple[str | None, str]:
    """Type an answer; return the outcome it came to and the reason when none."""
    entry = call.engine.knowledge.questions[check]
    event = call.answer(check, **parse_answer(entry, text, rows=call.state.machine.rows))
    seen = call.seen(event.id)
    assert seen is not None
    return seen.evaluated.outcome, seen.evaluated.reason


def test_row_map_finds_the_low_row(call: CallDesk) -> None:
    """Row 7 at 13 of 18 inH2O is the one low row; the outcome is derived, only the readings are stored."""
    values = " ".join("13" if r == 7 else "18" for r in range(1, 13))
    outcome, _ = typed(call, "vac_manometer_row", f"from 1: {values} inH2O")
    assert outcome == "one_low"
    assert call.state.answers[-1].outcome is None
    assert call.state.answers[-1].values["7"] == {"value": "13", "unit": "inH2O"}  # type: ignore[index]


def test_row_map_of_even_rows_is_normal(call: CallDesk, whole: Knowledge) -> None:
    """All rows within half an inch: the normal outcome."""
    outcome, _ = typed(call, "vac_manometer_row", "from 1: 18 18.2 18 17.9 18 18.1 18 18 18.2 18 17.9 18 inH2O")
    assert outcome is not None
    assert whole.checks["vac_manometer_row"].outcomes[outcome].normal


def test_units_do_not_matter(call: CallDesk) -> None:
    """The same map in kPa comes to the same outcome."""
    values = " ".join("3.24" if r == 7 else "4.48" for r in range(1, 13))
    assert typed(call, "vac_manometer_row", f"from 1: {values} kPa")[0] == "one_low"


def test_few_seeds_speak_softly(call: CallDesk) -> None:
    """23 good spacings leave room for a fault rate above the limit; 200 hardly any."""
    def normal_share(seeds: int) -> float:
        tape = " ".join(f"{6.53 * i:.2f}" for i in range(seeds))
        typed(call, "dug_50_spacings", f"{tape} in")
        instance = call.think().read.case.instances[-1]
        call.undo()
        return max(instance.likelihood)

    assert normal_share(24) < 0.99 < normal_share(400)


def test_evidence_is_shared_out_near_a_limit(call: CallDesk) -> None:
    """Outcome weights of a measured answer sum to 1."""
    values = " ".join("16.8" if r == 7 else "18" for r in range(1, 13))
    typed(call, "vac_manometer_row", f"from 1: {values} inH2O")
    instance = call.think().read.case.instances[-1]
    assert sum(instance.likelihood) == pytest.approx(1.0)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("from 1: 18 18 18 psi", "inH2O"), ("from 1: 18 18 18 V", "voltage"), ("from 1: 18 18 18", "no unit"),
        ("7: 18, 7: 17, 8: 18 inH2O", "twice"), ("13: 18, 14: 18, 15: 18 inH2O", "12 rows"),
        ("from 1: 18 inH2O", "at least"),
        ("", "Nothing was typed"), ("from 1: a b c inH2O", ""),
    ],
)
def test_bad_readings_name_place_and_remedy(whole: Knowledge, text: str, words: str) -> None:
    """Wrong units, impossible values, rows that are not there: what, where and what to do."""
    with pytest.raises((UnitError, UsageError)) as caught:
        parse_answer(whole.questions["vac_manometer_row"], text, rows=12)
    assert words in str(caught.value)
    assert caught.value.where
    assert caught.value.remedy


def test_tape_positions_must_rise(whole: Knowledge) -> None:
    """A position that is not beyond the one before is refused where it stands."""
    with pytest.raises(UsageError, match="Position 3"):
        parse_answer(whole.questions["dug_50_spacings"], "0 6.5 6.2 13 in")


def measured(kind: str, **takes: object) -> Check:
    """Return a bare check of a kind of answer."""
    return Check.model_validate({
        "id": "x", "asks": "X", "steps": [], "hazards": [], "takes": {"kind": kind, **takes}, "minutes": {"site": 1},
        "who": "grower", "expected": "x", "source": ["estimate"],
    })


@pytest.mark.parametrize(
    ("check", "text", "expected"),
    [
        (measured("number", quantity="vacuum"), "18,5 inH2O", {"value": {"value": "18.5", "unit": "inH2O"}}),
        (measured("count"), "17 of 20", {"value": {"count": 17, "of": 20}}),
        (measured("count"), "17", {"value": 17}),
        (measured("counts", labels=["slow", "normal"]), "slow 3/100, normal 9/100",
         {"values": {"slow": {"count": 3, "of": 100}, "normal": {"count": 9, "of": 100}}}),
        (measured("log", quantity="vacuum"), "every 10 s: 18 18.2 17.9 inH2O",
         {"log": {"time_unit": "s", "unit": "inH2O", "points": [["0", "18"], ["10", "18.2"], ["20", "17.9"]]}}),
        (measured("spacings", quantity="spacing"), "6,5; 7; 6,25 in",
         {"spacings": {"unit": "in", "values": ["6.5", "7", "6.25"]}}),
        (measured("numbers", quantity="vacuum", per="row"), "from 3 down: 18 17 - inH2O",
         {"values": {"3": {"value": "18", "unit": "inH2O"}, "2": {"value": "17", "unit": "inH2O"}}}),
    ],
)
def test_one_parser_per_kind(check: Check, text: str, expected: object) -> None:
    """Each kind of answer has one form; commas are decimal commas where the unit says so."""
    assert parse_answer(check, text, rows=12) == expected


def test_answers_by_number_word_or_id(small: Knowledge) -> None:
    """A choice is taken by its number, its words or its id; anything else lists the answers."""
    plain = small.questions["plain"]
    assert [parse_answer(plain, t)["outcome"] for t in ("1", "red", "OK", "bl")] == ["red", "red", "ok", "blue"]
    with pytest.raises(UsageError, match="1 red; 2 blue; 3 ok"):
        parse_answer(plain, "green")


def test_healthy_readings_come_first(call: CallDesk) -> None:
    """Readings kept after an accepted proof are what a later map is compared with; without one there are none."""
    with pytest.raises(UsageError, match="no readings"):
        keep_healthy(call)
    repair = call.repair(["seal_worn"])
    values = " ".join("18" for _ in range(12))
    entry = call.engine.knowledge.questions["vac_manometer_row"]
    after = call.answer("vac_manometer_row", **parse_answer(entry, f"from 1: {values} inH2O", rows=12))
    call.proof(repair.id, "accepted", [after.id])
    keep_healthy(call)
    assert call.state.machine.book["healthy.vac_manometer_row.7"] == {"value": "18", "unit": "inH2O"}
    again = call.answer("vac_manometer_row", **parse_answer(entry, "from 1: " + values.replace("18", "12") + " inH2O"))
    seen = call.seen(again.id)
    assert seen is not None
    assert seen.evaluated.results["reference"] == "healthy"
    assert seen.evaluated.outcome == "all_low"


def test_a_tape_says_which_hole(call: CallDesk) -> None:
    """Three disc turns on a tape with one dead hole: the desk names the hole, as counted from the first seed."""
    call.set_machine({"holes": 40})
    places = [i for i in range(200) if i % 40 != 16]
    event = call.answer("dug_50_spacings", **parse_answer(
        call.engine.knowledge.questions["dug_50_spacings"], " ".join(f"{6.5 * p:.1f}" for p in places) + " in",
        rows=12))
    seen = call.seen(event.id)
    assert seen is not None
    assert seen.evaluated.analysed is not None
    assert "hole 17" in seen.evaluated.analysed.words
    assert "plugged" == seen.evaluated.results["kind"]


def test_a_short_tape_is_judged_all_the_same(call: CallDesk) -> None:
    """Fifty spacings are too few for a rhythm of 40 holes: that is a note, not a refusal."""
    event = call.answer("dug_50_spacings", **parse_answer(
        call.engine.knowledge.questions["dug_50_spacings"], " ".join(f"{6.5 * i:.1f}" for i in range(51)) + " in",
        rows=12))
    seen = call.seen(event.id)
    assert seen is not None
    assert "all_ok" == seen.evaluated.outcome
    assert seen.evaluated.analysed is not None
    assert any("Too few turns" in note for note in seen.evaluated.analysed.notes)


def test_the_book_value_outranks_the_generic_limit(call: CallDesk) -> None:
    """The same drain flow is fine by the generic limit and worn by the book's; what it was held against is kept."""
    found = []
    for book in ({}, {"case_drain_limit": {"value": "0.5", "unit": "gal/min"}}):
        call.set_machine({"book": book})
        event = call.answer("case_drain_flow", **parse_answer(
            call.engine.knowledge.questions["case_drain_flow"], "0.9 gal/min", rows=12))
        seen = call.seen(event.id)
        assert seen is not None
        found.append((seen.evaluated.outcome, seen.evaluated.basis))
    assert [("normal", "generic"), ("high", "book")] == found
