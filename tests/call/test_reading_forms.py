"""From an answer as stored to a reading in SI, what it is compared with, and outcomes by hand."""

from __future__ import annotations

from typing import Any

import pytest

from diag.analyses.catalogue import Analysed, Result
from diag.analyses.saying import analysed
from diag.call.desk import CallDesk, Desk
from diag.call.readings import context, evaluate, outcome_weights, reading_of
from diag.errors import DiagError
from diag.knowledge.base import Knowledge
from diag.knowledge.model import Check
from diag.reason.judge import Engine
from diag.record.kinds import Answer
from diag.units import Measured

INCH = 0.0254


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """An engine on the whole knowledge."""
    return Engine(whole, counter=True)


@pytest.fixture
def call(engine: Engine) -> CallDesk:
    """A call of which nothing is known."""
    return Desk(engine).new_call("site")


def check(kind: str, outcomes: dict[str, Any] | None = None, **takes: object) -> Check:
    """Return a bare check of a kind of answer."""
    return Check.model_validate({
        "id": "x", "asks": "X", "steps": [], "hazards": [], "takes": {"kind": kind, **takes}, "minutes": {"site": 1},
        "who": "grower", "expected": "x", "source": ["estimate"], "compute": ["single"], "outcomes": outcomes or {},
    })


def answer(**given: Any) -> Answer:
    """Return an answer as stored."""
    return Answer.model_construct(**{"check": "x", "status": "given", **given})


def inch(*values: str) -> tuple[float, ...]:
    """Return inches in m, as `units` has them."""
    return tuple(Measured(v, "in").si() for v in values)


def inches(*values: str) -> dict[str, Any]:
    """Return a stored series."""
    return {"unit": "in", "values": list(values)}


def volts(**values: str) -> dict[str, dict[str, str]]:
    """Return stored values by place; a place begins with an underscore where it is a row."""
    return {place.lstrip("_"): {"value": v, "unit": "V"} for place, v in values.items()}


def parts(reading: Any) -> tuple[Any, ...]:
    """Return what a reading holds, without what is empty."""
    told = (reading.numbers, reading.rows, reading.labels, reading.times, dict(reading.counts or {}), reading.k,
            reading.n)
    return tuple(part for part in told if part not in ((), {}, None, 0))


@pytest.mark.parametrize(
    ("asked", "given", "kind", "holds"),
    [
        (check("spacings"), {"spacings": inches("6", "7")}, "spacings", (inch("6", "7"),)),
        (check("spacings"), {"positions": inches("0", "7")}, "positions", (inch("0", "7"),)),
        (check("log"), {"log": {"time_unit": "min", "unit": "V", "points": [["0", "12"], ["1", "11"]]}}, "log",
         ((12.0, 11.0), (0.0, 60.0))),
        (check("count"), {"value": {"count": 3, "of": 20}}, "count", (3, 20)),
        (check("count"), {"value": 17}, "count", (17,)),
        (check("number"), {"value": 17}, "number", ((17.0,),)),
        (check("number"), {"value": {"value": "2", "unit": "in"}}, "number", (inch("2"),)),
        (check("counts"), {"values": {"slow": {"count": 3, "of": 100}, "all": 7}}, "counts",
         ({"slow": (3, 100), "all": (7, 0)},)),
        (check("numbers"), {"values": volts(_10="1", _9="2", _2="3")}, "numbers", ((3.0, 2.0, 1.0),)),
        (check("numbers", labels=["tank", "coil"]), {"values": volts(pump="3", coil="2", tank="1")}, "numbers",
         ((1.0, 2.0, 3.0), ("tank", "coil", "pump"))),
        (check("numbers", per="row"), {"values": volts(again="5", _11="4", _3="2")}, "numbers",
         ((2.0, 4.0, 5.0), (3, 11, 3))),
        (check("numbers", per="row"), {"values": volts(again="5")}, "numbers", ((5.0,), (1,))),
    ],
)
def test_a_reading_is_what_was_stored_in_si(
    asked: Check, given: dict[str, Any], kind: str, holds: tuple[Any, ...]
) -> None:
    """Every form in which readings are stored, rows in order, labels as asked, the first row again at the end."""
    reading = reading_of(asked, answer(**given))
    assert (kind, holds) == (reading.kind, parts(reading))


@pytest.mark.parametrize(
    ("asked", "given", "what", "remedy"),
    [
        (check("number"), {"value": None}, "No value was given.", "Type the reading with its unit."),
        (check("numbers"), {"values": {"1": {"count": 3, "of": 20}}}, "3 of 20 is a count.",
         "A value with its unit is asked for."),
        (check("counts"), {"values": volts(slow="3")}, "slow: 3 V is no count.", "Counts are asked for."),
        (check("numbers", per="row"), {"values": volts(wing="3")}, '"wing" is no row.',
         "Values are asked for row by row."),
    ],
)
def test_a_reading_that_is_none_is_refused(asked: Check, given: dict[str, Any], what: str, remedy: str) -> None:
    """What does not fit is said with its remedy; the place is added by who knows it."""
    with pytest.raises(DiagError) as caught:
        reading_of(asked, answer(**given))
    assert (what, "", remedy) == (caught.value.what, caught.value.where, caught.value.remedy)


# --- what it is compared with ------------------------------------------------------------------------


def test_a_machine_of_which_nothing_is_known_gives_no_figures(call: CallDesk) -> None:
    """Only the quantity asked for and the generic limits stand there."""
    knowledge = call.engine.knowledge
    found = context(knowledge, check("number", quantity="voltage"), call.state)
    assert {"quantity": "voltage"} == {k: v for k, v in found.items() if knowledge_free(knowledge, k)}


def knowledge_free(knowledge: Knowledge, name: str) -> bool:
    """True for a name that no limit gives."""
    return name not in {limit.context for limit in knowledge.limits.values()}


@pytest.mark.parametrize(
    ("target", "spacing", "rate"),
    [
        ({"value": "6", "unit": "in"}, 6 * INCH, None),
        ({"value": "32000", "unit": "seeds/ac"}, 4046.8564224 / 32000 / (30 * INCH), 32000 / 4046.8564224),
        ({"value": "0", "unit": "seeds/ac"}, None, None),
    ],
)
def test_the_target_is_a_spacing_or_a_rate(
    call: CallDesk, target: dict[str, str], spacing: float | None, rate: float | None
) -> None:
    """Rate and row width make the spacing: an acre is 4046.8564224 m2; a rate of nothing makes none."""
    call.set_machine({"rows": 12, "row_width": {"value": "30", "unit": "in"}, "holes": 40})
    call.set_situation({"target": target, "speed": {"value": "3.6", "unit": "km/h"}})
    found = context(call.engine.knowledge, check("number"), call.state)
    assert pytest.approx(30 * INCH) == found["row_width"]
    assert (12.0, 40.0, pytest.approx(1.0)) == (found["rows"], found["holes"], found["speed"])
    told = (found.get("target_spacing"), found.get("target_rate"))
    assert (spacing and pytest.approx(spacing), rate and pytest.approx(rate)) == told


def test_without_a_row_width_a_rate_makes_no_spacing(call: CallDesk) -> None:
    """A rate alone says nothing of the distance from seed to seed."""
    call.set_situation({"target": {"value": "32000", "unit": "seeds/ac"}})
    found = context(call.engine.knowledge, check("number"), call.state)
    assert "target_rate" in found
    assert "target_spacing" not in found


@pytest.mark.parametrize(("delivery", "word"), [("tube", "tube"), ("belt", "belt"), ("unknown", None)])
def test_delivery_and_crop_are_told(call: CallDesk, delivery: str, word: str | None) -> None:
    """A belt is told from a tube, and what is not known is not told."""
    call.set_machine({"axes": {"delivery": delivery}})
    call.set_situation({"crop": "corn"})
    found = context(call.engine.knowledge, check("number"), call.state)
    assert (word, "corn") == (found.get("delivery"), found["crop"])


def test_the_book_and_the_healthy_reading_are_told(call: CallDesk) -> None:
    """A book value of the quantity asked for is the book's where it is needed; a kept reading is what was healthy."""
    volt, entry = {"value": "12", "unit": "V"}, {"value": "20", "unit": "inH2O"}
    call.set_machine({"book": {"vacuum": entry, "healthy.x": volt, "healthy.x.7": volt, "healthy.y": entry}})
    asked, knowledge = check("number", quantity="vacuum"), call.engine.knowledge
    found = context(knowledge, asked, call.state)
    assert (12.0, {7: 12.0}) == (found["healthy"], found["healthy_rows"])
    assert found["vacuum"] == found["vacuum_set"] == pytest.approx(20 * 249.08891)
    assert "book" not in found
    needing = asked.model_copy(update={"needs": ("book",)})
    assert found["vacuum"] == context(knowledge, needing, call.state)["book"]
    assert "book" not in context(knowledge, needing.model_copy(update={"takes": check("number").takes}), call.state)


# --- outcomes ------------------------------------------------------------------------------------------


class Limits:
    """Bounds are their own values."""

    def bound(self, bound: Any) -> float:
        """Return the bound."""
        return float(bound.si)


def judged(outcomes: dict[str, Any], *results: Result) -> dict[str, float]:
    """Return outcome -> share for results that were found."""
    asked = check("number", outcomes={**outcomes, "else": {"says": "else", "otherwise": True}}, quantity="length")
    weights = outcome_weights(asked, analysed(results, "Found."), Limits())  # type: ignore[arg-type]
    return {name: round(w, 3) for name, w in zip(asked.outcomes, weights, strict=True) if w > 0.0005}


def by(**when: Any) -> dict[str, Any]:
    """Return an outcome that a result decides."""
    return {"says": "it", "when": {"result": "value", **when}}


def m(value: float) -> dict[str, Any]:
    """Return a limit written in place."""
    return {"value": f"{value} m"}


@pytest.mark.parametrize(
    ("outcome", "result", "share"),
    [
        (by(below=m(2)), Result("value", 1.9), 1), (by(below=m(2)), Result("value", 2.0), 0),
        (by(above=m(2)), Result("value", 2.1), 1), (by(above=m(2)), Result("value", 2.0), 0),
        (by(between=[m(1), m(2)]), Result("value", 1.0), 1), (by(between=[m(1), m(2)]), Result("value", 2.0), 1),
        (by(between=[m(1), m(2)]), Result("value", 2.1), 0),
        (by(below=m(2)), Result("value", 2.0, 0.5), 0.5),  # as likely below as above
        (by(below=m(2)), Result("value", 1.5, 0.5), 0.841),  # one standard error below: Phi(1)
        (by(between=[m(1), m(2)]), Result("value", 1.5, 0.5), 0.683),  # within one standard error
        (by(above=m(1000)), Result("value", 999.0, 1.0), 0.159),
        (by(**{"is": ["even"]}), Result("value", "even"), 1), (by(**{"is": ["even"]}), Result("value", "step"), 0),
        (by(**{"is": ["true"]}), Result("value", 1.0), 1), (by(**{"is": ["true"]}), Result("value", 0.0), 0),
        (by(**{"is": ["false"]}), Result("value", 0.0), 1), (by(below=m(2)), Result("value", "even"), 0),
        (by(**{"is": ["even", "step"]}), Result("value", "even", chances={"even": 0.3, "fall": 0.2, "step": 0.5}), 0.8),
        (by(below=m(2)), Result("other", 1.0), 0),
    ],
)
def test_an_outcome_gets_its_share_of_the_result(outcome: dict[str, Any], result: Result, share: float) -> None:
    """Shares of a normal distribution by the table; exact values and words fall whole, a bound belongs to `between`."""
    assert share == judged({"it": outcome}, result).get("it", 0)


def test_outcomes_are_tried_in_written_order(call: CallDesk) -> None:
    """The first that holds takes the share, two results are independent."""
    both = {"says": "both", "when": {"all": [{"result": "value", "below": m(2)}, {"result": "other", "below": m(2)}]}}
    found = judged({"both": both, "low": by(below=m(2))}, Result("value", 2.0, 1.0), Result("other", 2.0, 1.0))
    assert {"both": 0.25, "low": 0.25, "else": 0.5} == found


@pytest.mark.parametrize(
    ("given", "reason"),
    [
        ({"status": "cannot_here"}, "cannot here"), ({"status": "unsure"}, "unsure"),
        ({"outcome": "gone"}, "the outcome gone is no longer known"),
        ({"value": {"count": 3, "of": 20}}, "Exactly one value is taken here. Give one value."),
        ({"value": None}, "No value was given. Type the reading with its unit."),
    ],
)
def test_an_answer_without_a_verdict_says_why(call: CallDesk, given: dict[str, Any], reason: str) -> None:
    """Nothing is known from it: every outcome is as likely, and the reason is told."""
    asked = check("number", {"low": by(below=m(2)), "else": {"says": "e", "otherwise": True}}, quantity="length")
    found = evaluate(call.engine.knowledge, asked, answer(**given), call.state)
    assert (None, (1.0, 1.0), reason) == (found.outcome, found.weights, found.reason)


def test_what_an_analysis_needs_is_named_where_it_is_not_known(call: CallDesk, whole: Knowledge) -> None:
    """Each lacking setting by its meaning, with commas."""
    asked = whole.questions["catch_test_turns"].model_copy(update={"needs": ("holes", "row_width")})
    found = evaluate(whole, asked, answer(check=asked.id, value={"count": 3, "of": 20}), call.state)
    assert "not known: holes or cells of the disc, distance between rows" == found.reason
    assert (1.0,) * len(asked.outcomes) == found.weights


def test_likelier_outcomes_win_and_the_first_of_equal_ones(call: CallDesk) -> None:
    """The outcome shown is the one with the largest share; of equal ones the first written."""
    asked = check("number", {"low": by(below=m(2)), "else": {"says": "e", "otherwise": True}}, quantity="length")
    words = {text: evaluate(call.engine.knowledge, asked, answer(value={"value": text, "unit": "m"}), call.state)
             for text in ("1.9", "2.1")}
    assert {"1.9": "low", "2.1": "else"} == {text: found.outcome for text, found in words.items()}
    assert (1.0, 0.0) == words["1.9"].weights
    assert isinstance(words["1.9"].analysed, Analysed)
    assert ("generic", {"value": 1.9}) == (words["1.9"].basis, {"value": words["1.9"].results["value"]})


def test_a_reading_that_is_too_small_says_so(call: CallDesk, whole: Knowledge) -> None:
    """Counts of nothing carry no verdict: the analysis says why, what it worked out is kept."""
    asked = whole.questions["dug_fifty_called"]
    counts = {"good": 0, "close": 0, "gap": 0}
    found = evaluate(whole, asked, answer(check=asked.id, values=counts), call.state)
    assert found.analysed is not None
    assert not found.analysed.enough
    assert (None, found.analysed.reason) == (found.outcome, found.reason)
    assert found.reason
    assert (1.0,) * len(asked.outcomes) == found.weights


def test_of_three_outcomes_near_a_limit_the_likeliest_is_shown(call: CallDesk, whole: Knowledge) -> None:
    """No outcome has half of it: the largest share wins, not the first one written."""
    asked = whole.questions["dug_fifty_called"]
    for gap in range(1, 12):
        found = evaluate(whole, asked, answer(check=asked.id, values={"good": 46, "close": 2, "gap": gap}), call.state)
        shares = dict(zip(asked.outcomes, found.weights, strict=True))
        assert found.outcome == max(shares, key=lambda name: round(shares[name], 9))
        if max(shares.values()) < 0.5:
            return
    raise AssertionError("no reading lies so near to a limit")
