"""Every typed form of `forms.yaml`, with what it means, through every entrance that can take it."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
import yaml

from diag import figures
from diag.analyses.tools import _k_of_n
from diag.ask import aloud
from diag.ask.answers import parse_answer
from diag.ask.form import setting_of, whole_of_text
from diag.ask.intake import read_words, target_value
from diag.ask.profiles import book_of
from diag.ask.reply import reply
from diag.ask.turn import turn
from diag.call.desk import Desk
from diag.errors import AmbiguousError, DiagError
from diag.figures import Asked, Understood
from diag.figures.table import COLUMNS, ValueTable, read_text
from diag.knowledge.base import Knowledge
from diag.knowledge.load import load
from diag.knowledge.model import Check
from diag.plain import Dialogue
from diag.reason.judge import Engine
from diag.record.transcript import read_transcript
from diag.units import UNITS, Measured

HERE = Path(__file__).parent
FORMS: dict[str, Any] = yaml.load((HERE / "forms.yaml").read_text(encoding="utf-8"), yaml.BaseLoader)
ONE = [(q, text, means) for q, forms in FORMS["one"].items() for text, means in forms.items()]
TWO = "This may mean"


def forms(kind: str) -> list[tuple[str, str]]:
    """Return (text, meaning) of a kind of form."""
    return list(FORMS[kind].items())


def told(take: Callable[[], object]) -> str:
    """Return what something gives, or why it is refused."""
    try:
        return str(take())
    except DiagError as error:
        return str(error)


def plain(read: Understood, *, places: bool = True) -> str:
    """Return a reading in the spelling of the table, the other one behind a bar."""
    unit = next(iter(read.values.values())).unit
    shown = [(f"{i.place}=" if places else "") + ("-" if i.value is None else i.value.value) for i in read.items]
    other = f" | {plain(read.other, places=places)}" if read.other else ""
    return f"{' '.join(shown)} {unit}{other}"


def meant(means: str) -> tuple[dict[str, str], str] | None:
    """Return values by place and their unit, None where the form is refused or has two readings."""
    *values, unit = means.split(" ")
    if "|" in means or unit not in UNITS or not values or not all(any(c in "0123456789-" for c in v) for v in values):
        return None
    pairs = [v.rpartition("=")[::2] for v in values]
    return {place or str(i): v for i, (place, v) in enumerate(pairs, 1) if v != "-"}, unit


def bodies(means: str) -> dict[str, Any] | None:
    """Return values as an answer stores them, None where the form is refused."""
    found = meant(means)
    return {k: {"value": v, "unit": found[1]} for k, v in found[0].items()} if found else None


def check(kind: str, **takes: object) -> Check:
    """Return a bare check of a kind of answer."""
    return Check.model_validate({
        "id": "x", "asks": "X", "steps": [], "hazards": [], "takes": {"kind": kind, **takes}, "minutes": {"site": 1},
        "who": "grower", "expected": "x", "source": ["estimate"],
    })


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., Any]:
    """Return how a field of an event of a transcript is stored, on a machine of 12 rows."""
    path = tmp_path_factory.mktemp("transcripts") / "call.yaml"

    def stored(field: str, text: str, kind: str = "answer") -> Any:
        beside = {"check": "x"} if kind == "answer" else {"setting": "x"}
        events = [{"kind": "opened", "channel": "site"}, {"kind": "machine", "rows": 12},
                  {"kind": kind, **beside, field: text}]
        path.write_text(yaml.safe_dump({"title": "x", "invented": True, "events": events}), encoding="utf-8")
        read = read_transcript(path)
        words = {s.field: s.value for s in read.sealed if s.event == read.events[-1].id}
        return read.events[-1].body.get(field) or words[field]

    return stored


def same_values(table: ValueTable, values: dict[str, str], unit: str) -> None:
    """Compare a table read by `diag measure` with values typed."""
    assert [Measured(v, unit).si() for v in values.values()] == pytest.approx(list(table.values))


def test_the_table_is_large() -> None:
    """Hundreds of forms, every kind among them, none of them twice."""
    counted = len(ONE) + sum(len(forms(kind)) for kind in FORMS if kind != "one")
    assert counted >= 400
    assert {"one", "rows", "list", "named", "count", "counts", "log", "whole", "setting"} == set(FORMS)


# --- one value ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(("quantity", "text", "means"), ONE)
def test_one_value(by_hand: Callable[..., Any], quantity: str, text: str, means: str) -> None:
    """The reader, an answer on the desk, a figure read aloud, a setting and a transcript take it as the same."""
    value, _, unit = means.partition(" ")
    as_stored = {"value": value, "unit": unit}

    assert as_stored == figures.measured(text, quantity).as_json()
    assert {"value": as_stored} == parse_answer(check("number", quantity=quantity), text)
    walk = aloud.begin(check("numbers", quantity=quantity, per="row"), 3, 5)
    assert f"3: {value} {unit}" == aloud.text(aloud.take(walk, text))
    for taken in (told(lambda: setting_of(text)), told(lambda: by_hand("value", text))):
        assert taken == str(as_stored) or "may mean" in taken or "more than" in taken


@pytest.mark.parametrize(("quantity", "text", "means"), [f for f in ONE if f[0] in COLUMNS.values()])
def test_one_value_in_a_file(quantity: str, text: str, means: str) -> None:
    """`diag measure` reads the same from bare text and from a cell."""
    name = next(n for n, q in COLUMNS.items() if q == quantity)
    value, _, unit = means.partition(" ")
    with suppress(AmbiguousError):  # in a list "17' 5" may be two values
        if ", " not in text:
            same_values(read_text(text, (name,)), {"1": value}, unit)
    same_values(read_text(f'{name};x\n"{text.replace(chr(34), chr(34) * 2)}";1\n', (name,)), {"1": value}, unit)


@pytest.mark.parametrize(("quantity", "text", "means"), [f for f in ONE if f[0] == "rate"])
def test_a_target_rate(quantity: str, text: str, means: str) -> None:
    """Intake and the forms take a rate however it is written."""
    value, _, unit = means.partition(" ")
    assert {"value": value, "unit": unit} == target_value(text)


SAID = {"vacuum": "the vacuum is {}", "speed": "we plant at {}", "rate": "population is set at {}"}
UNSAID = ("18,500 inH2O", "1/4 inH2O", "37/2 inH2O", "18 1\u20442 inH2O", "4 500 Pa")
"""Forms that nobody says: among words 18,500 is eighteen thousand, and a fraction stands behind its number."""


@pytest.mark.parametrize(("quantity", "text", "means"), [f for f in ONE if f[0] in SAID and f[1][0] in "0123456789"])
def test_a_figure_of_a_complaint(whole: Knowledge, quantity: str, text: str, means: str) -> None:
    """Within a caller's words the same value is heard, wherever callers use its unit, and never another one."""
    value, _, unit = means.partition(" ")
    said = next(q for q in whole.lexicon.quantities if q.name == quantity)
    heard = [f.value for f in read_words(whole, SAID[quantity].format(text)).facts if f.kind == quantity]
    if text not in UNSAID:
        assert heard == ([f"{value} {unit}"] if unit in said.units and any(heard) else [])


@pytest.mark.parametrize(("quantity", "text", "means"), [f for f in ONE if f[0] in ("vacuum", "fan_speed")])
def test_a_book_value(whole: Knowledge, quantity: str, text: str, means: str) -> None:
    """A machine profile takes a book value however it is written."""
    name = next(b.name for b in whole.book.values() if b.quantity == quantity)
    value, _, unit = means.partition(" ")
    assert {name: {"value": value, "unit": unit}} == book_of(whole, f"{name}: {text}")


# --- several values -----------------------------------------------------------------------------------

ROWS = check("numbers", quantity="vacuum", per="row")


@pytest.mark.parametrize(("text", "means"), forms("rows"))
def test_values_by_row(text: str, means: str) -> None:
    """The reader gives one reading, both, or the reason; the desk records only the first kind."""
    def asked() -> Asked:
        return Asked("vacuum", "inH2O", "rows", 12)

    found, body = told(lambda: plain(figures.read(text, asked()))), bodies(means)
    assert found == means if body or "|" in means else means in found
    answer = told(lambda: parse_answer(ROWS, text, unit="inH2O", rows=12))
    assert answer == str({"values": body}) if body else (TWO if "|" in means else means) in answer


@pytest.mark.parametrize(("text", "means"), [f for f in forms("rows") if bodies(f[1])])
def test_values_by_row_elsewhere(by_hand: Callable[..., Any], text: str, means: str) -> None:
    """A transcript and `diag measure` read the same; where the rows of the machine decide, they say so."""
    body, found = bodies(means), meant(means)
    assert body is not None
    assert found is not None
    if any(f" {u}" in f" {text} " or u in text for u in ("inH2O", "kPa", "mbar")):
        assert str(body) == told(lambda: by_hand("values", text))
    try:
        table = read_text(text, ("vacuum",), "inH2O")
    except AmbiguousError:  # without the machine's rows there are two readings
        return
    again = next((k for k in found[0] if k != "again"), "")
    assert [int(k if k != "again" else again) for k in found[0]] == list(table.rows)
    same_values(table, *found)


@pytest.mark.parametrize(("text", "means"), forms("list"))
def test_values_in_order(by_hand: Callable[..., Any], text: str, means: str) -> None:
    """Spacings on the desk, in a transcript and in `diag measure`."""
    body = meant(means)
    found = told(lambda: plain(figures.read(text, Asked("spacing", kind="list")), places=False))
    assert found == means if body or "|" in means else means in found
    if body and "again" not in body[0]:
        series = {"unit": body[1], "values": list(body[0].values())}
        assert {"spacings": series} == parse_answer(check("spacings", quantity="spacing"), text)
        assert series == by_hand("spacings", text)
        same_values(read_text(text, ("spacing",)), *body)
    else:
        for take in (lambda: parse_answer(check("spacings", quantity="spacing"), text),
                     lambda: by_hand("spacings", text), lambda: read_text(text, ("spacing",))):
            assert (TWO if "|" in means else means) in told(take)


@pytest.mark.parametrize(("text", "means"), forms("named"))
def test_values_by_name(text: str, means: str) -> None:
    """Named values in any order, or unnamed in the order asked."""
    body = bodies(means)
    pair = check("numbers", quantity="vacuum", labels=["left", "right"])
    answer = told(lambda: parse_answer(pair, text, unit="inH2O"))
    assert answer == str({"values": body}) if body else means in answer


# --- counts, logs, whole numbers, settings ------------------------------------------------------------


def counted(means: str) -> object:
    """Return a count as it is stored."""
    k, _, n = means.partition("/")
    return {"count": int(k), "of": int(n)} if n else int(k)


@pytest.mark.parametrize(("text", "means"), forms("count"))
def test_counts(by_hand: Callable[..., Any], text: str, means: str) -> None:
    """On the desk, in a transcript, at the calculators of `diag measure`."""
    answer = told(lambda: parse_answer(check("count"), text))
    if not means[0].isdigit():
        assert means in answer
        return
    assert answer == str({"value": counted(means)})
    if "/" in means:
        assert counted(means) == by_hand("value", text)
        assert tuple(map(int, means.split("/"))) == _k_of_n(text, "--bad")


@pytest.mark.parametrize(("text", "means"), forms("counts"))
def test_counts_by_name(text: str, means: str) -> None:
    """Slow and normal, named or in order."""
    answer = told(lambda: parse_answer(check("counts", labels=["slow", "normal"]), text))
    values = {k: counted(v) for k, _, v in (p.partition("=") for p in means.split()) if v}
    assert answer == str({"values": values}) if values else means in answer


@pytest.mark.parametrize(("text", "means"), forms("log"))
def test_readings_over_time(text: str, means: str) -> None:
    """At even steps, or each with its time."""
    answer = told(lambda: parse_answer(check("log", quantity="vacuum"), text))
    if "=" not in means:
        assert means in answer
        return
    *points, time_unit, unit = means.split()
    log = {"time_unit": time_unit, "unit": unit, "points": [p.split("=") for p in points]}
    assert {"log": log} == parse_answer(check("log", quantity="vacuum"), text)


@pytest.mark.parametrize(("text", "means"), forms("whole"))
def test_whole_numbers(text: str, means: str) -> None:
    """In a field of a form and at a number prompt."""
    filled = told(lambda: whole_of_text(text.strip() or "-", "Rows", 1, 200))
    assert filled == means or means in filled
    assert figures.number_in(text, 200) == (int(means) if means.isdigit() else None)


@pytest.mark.parametrize(("text", "means"), forms("setting"))
def test_settings(by_hand: Callable[..., Any], text: str, means: str) -> None:
    """A setting in a form and in a transcript: a value where it is one, else words."""
    value, _, unit = means.partition(" ")
    expected = text if means == "words" else means if unit not in UNITS else str({"value": value, "unit": unit})
    for found in (told(lambda: setting_of(text)),
                  told(lambda: by_hand("after", text, "change"))):
        assert expected == found or expected in found


# --- front ends ---------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def engine() -> Engine:
    """The small knowledge with a check of every kind of answer."""
    return Engine(load([HERE.parent / "data" / "small", HERE.parent / "screens" / "knowledge"]))


MACHINE = "(the rows of the machine are told)"


def dialogue(engine: Engine, lines: list[str]) -> tuple[str, Dialogue]:
    """Return what the line dialogue wrote over these lines, with 12 rows on the machine, and the dialogue."""
    script, written = iter(["s", "nothing anybody knows", "2", MACHINE, *lines]), [""]

    def read(prompt: str) -> str:
        line = next(script, None)
        if line is None:
            raise EOFError
        if line != MACHINE:
            return line
        at.call.set_machine({"rows": 12})
        return read(prompt)

    at = Dialogue(Desk(engine), read, written.append, "us")
    with pytest.raises(EOFError):
        at.start(None)
    return "\n".join(written), at


def test_the_line_dialogue_reads_the_same(engine: Engine) -> None:
    """Rows typed in the line dialogue, one answer after the other, are read back and recorded as they are meant."""
    good = [(text, bodies(means)) for text, means in forms("rows")
            if "\n" not in text and means.endswith("inH2O")]
    good = [(text, body) for text, body in good if body and len(body) >= 3]
    lines = []
    for text, _ in good:
        lines += ["take row_gauge", text]
    written, at = dialogue(engine, lines)
    answers = [a.values for a in at.call.state.answers if a.check == "row_gauge"]
    assert [body for _, body in good] == answers
    assert "rows 6 to 8: 18.2, 11, 18 inH2O = " in " ".join(written.split())


def test_two_readings_are_read_back_and_not_recorded(engine: Engine) -> None:
    """The line dialogue and the field on the screen show both readings with an unmistakable spelling of each."""
    written, at = dialogue(engine, ["take row_gauge", "3 18 5 17 7 16"])
    flat = " ".join(written.split())
    assert "This may mean rows 1 to 6: 3, 18, 5, 17, 7, 16 inH2O; or row 3 18, row 5 17, row 7 16 inH2O." in flat
    assert 'Type "1: 3, 2: 18, 3: 5, 4: 17, 5: 7, 6: 16 inH2O" or "3: 18, 5: 17, 7: 16 inH2O".' in flat
    assert [a for a in at.call.state.answers if a.check == "row_gauge"] == []
    asked = turn(at.call, "row_gauge")
    shown = reply(at.call, asked, "3 18 5 17 7 16")
    assert not shown.fits
    assert TWO in shown.told[0]
    assert "rows 3 to 5: 18, 17, 16 inH2O" in reply(at.call, asked, "3 18, 4 17, 5 16").told[0]


def test_the_gauges_unit_may_be_left_out(engine: Engine) -> None:
    """The unit of the last reading holds for the next; one that would be unusual in it is refused."""
    _, at = dialogue(engine, ["take row_gauge", "4.5 4.4 4.5 kPa", "take row_gauge", "4.6 4.4 4.5",
                              "take row_gauge", "180 181 180"])
    units = [{v["unit"] for v in a.values.values()} for a in at.call.state.answers if a.values]
    assert units == [{"kPa"}, {"kPa"}]
