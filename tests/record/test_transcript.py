"""Transcripts: calls written by hand, read into events, written out again."""

from __future__ import annotations

import json
import textwrap
from dataclasses import fields, is_dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from record.making import Desk, clock, desks

from diag.errors import TranscriptError
from diag.record import transcript as transcript_module
from diag.record.body import Body
from diag.record.fold import fold, sealed_view
from diag.record.graph import Event, event_id, merge, verify
from diag.record.kinds import KINDS
from diag.record.transcript import Known, Transcript, read_transcript, transcript_text, write_transcript

HEAD = "title: A call\ninvented: true\nevents:\n  - {kind: opened, channel: site}\n"
KNOWN = Known(
    axis=frozenset({"meter"}), values={"meter": frozenset({"flat", "celled"})}, check=frozenset({"dug", "gauge"}),
    cause=frozenset({"seal", "tube"}), symptom=frozenset({"gaps"}), caution=frozenset({"fan"}),
    finding=frozenset({"one_low"}), book=frozenset({"vacuum"}), observer=frozenset({"technician", "caller"}),
    outcomes={"dug": frozenset({"yes", "no"}), "gauge": frozenset({"low"})},
)


def read(tmp_path: Path, text: str, known: Known | None = None) -> Transcript:
    """Read a transcript from text."""
    path = tmp_path / "call.yaml"
    path.write_text(text, encoding="utf-8")
    return read_transcript(path, known)


def body(tmp_path: Path, step: str) -> dict[str, Any]:
    """The body of one step after the opening and a machine of twelve rows."""
    machine = "  - {kind: machine, rows: 12, sections: {left wing: 1-4}}\n"
    made = read(tmp_path, f"{HEAD}{machine}  - {step}\n")
    event = made.events[-1]
    return dict(event.in_full(sealed_view(made.events, made.sealed).get(event.id, {})))


# ---------------------------------------------------------------------------------------------- reading


def test_the_documented_example_is_a_transcript(tmp_path: Path) -> None:
    """The example in the module's documentation reads as what it says."""
    doc = transcript_module.__doc__ or ""
    example = textwrap.dedent(doc[doc.index("    title:") : doc.index("The fields of each kind")])
    made = read(tmp_path, example)
    state = fold(made.events, made.sealed)

    assert ("Row 7 low after the seal was changed", True) == (made.title, made.invented)
    assert [] == verify(made.events, made.sealed)
    assert (12, {"left wing": (1, 2, 3, 4), "right wing": (9, 10, 11, 12)}) == (
        state.machine.rows, state.machine.sections)
    assert (("some_symptom", "chosen"), ("other_symptom", "matched")) == state.accepted
    assert ["2026-05-04T06:40:00Z", "2026-05-04T06:41:00Z", "2026-05-04T06:47:00Z"] == sorted(
        {e.at for e in made.events})
    assert [("2026-05-04T06:27:00Z", None, 0)] == [
        (s.happened, s.withdrawn_by and None, s.epoch) for s in state.trail if s.body.get("rows") == [6, 7, 8]]
    after = state.answers[0]
    assert ({"7": {"value": "18.1", "unit": "inH2O"}}, (7,), 1, "technician") == (
        after.values, after.rows, after.epoch, after.observer)
    assert ("accepted", 15) == (state.proofs[0].verdict, state.repairs[0].minutes)
    texts = sealed_view(made.events, made.sealed)
    assert {"Alder Flat", "Row 7 skips since Monday.", "left wing", "right wing"} == {
        t for v in texts.values() for t in v.values()}
    assert {"top": "some_cause", "belief": {"some_cause": "likely"}} == made.expect
    assert [None, "before", "mended", "after"] == list(dict.fromkeys(s.name for s in made.steps))


@pytest.mark.parametrize(
    ("written", "stored"),
    [
        ("rows: 7", {"rows": [7]}),
        ('rows: "3, 7-9"', {"rows": [3, 7, 8, 9]}),
        ("rows: left wing", {"rows": [1, 2, 3, 4]}),
        ("rows: all but 1-10", {"rows": [11, 12]}),
        ("rows: all", {"rows": "all"}),
        ("rows: [9, 10]", {"rows": [9, 10]}),
        ("outcome: yes", {"outcome": "yes"}),
        ("value: 18.50 inH2O", {"value": {"value": "18.50", "unit": "inH2O"}}),
        ('value: "18,5 inH2O"', {"value": {"value": "18.5", "unit": "inH2O"}}),
        ('value: {value: "18.5", unit: inH2O}', {"value": {"value": "18.5", "unit": "inH2O"}}),
        ("value: {value: 18.5, unit: in. of water}", {"value": {"value": "18.5", "unit": "inH2O"}}),
        ("value: 3 of 20", {"value": {"count": 3, "of": 20}}),
        ("value: 34", {"value": 34}),
        ("values: {6: 18.2 inH2O, 7: 11 inH2O}",
         {"values": {"6": {"value": "18.2", "unit": "inH2O"}, "7": {"value": "11", "unit": "inH2O"}}}),
        ("values: {unit: inH2O, 6: 18.2, 7: 11}",
         {"values": {"6": {"value": "18.2", "unit": "inH2O"}, "7": {"value": "11", "unit": "inH2O"}}}),
        ("values: {before: 12, after: 3}", {"values": {"before": 12, "after": 3}}),
        ("values: {slow: 3 of 50, fast: 9 of 50}",
         {"values": {"slow": {"count": 3, "of": 50}, "fast": {"count": 9, "of": 50}}}),
        ("spacings: 6.5, 6.4, 13.1 in", {"spacings": {"unit": "in", "values": ["6.5", "6.4", "13.1"]}}),
        ("positions: {unit: in, values: [6.5, 13, 19.40]}",
         {"positions": {"unit": "in", "values": ["6.5", "13", "19.40"]}}),
        ("log: {time_unit: s, unit: V, points: [[0, 12.6], [1.5, 11.9]]}",
         {"log": {"time_unit": "s", "unit": "V", "points": [["0", "12.6"], ["1.5", "11.9"]]}}),
        ("status: unsure", {"status": "unsure"}),
        ("piece: {meter: 5}", {"piece": {"meter": 5}}),
    ],
)
def test_answers_as_written(tmp_path: Path, written: str, stored: dict[str, Any]) -> None:
    """Every way to write a reading or rows, and what is stored for it."""
    base = {"check": "dug", "status": "given", "observer": "technician"}

    assert base | stored == body(tmp_path, f"{{kind: answer, check: dug, {written}}}" if ": {" not in written
                                 and "," not in written else f"kind: answer\n    check: dug\n    {written}")


@pytest.mark.parametrize(
    ("step", "stored"),
    [
        ("{kind: complaint, accepted: gaps, denied: [late]}",
         {"accepted": [{"id": "gaps", "how": "chosen"}], "denied": ["late"]}),
        ("{kind: change, setting: vacuum, before: 20 inH2O, after: 18 inH2O, temporary: true}",
         {"setting": "vacuum", "before": {"value": "20", "unit": "inH2O"},
          "after": {"value": "18", "unit": "inH2O"}, "temporary": True}),
        ("{kind: change, part: brush, rows: 7, before: old, after: 2}",
         {"part": "brush", "rows": [7], "before": "old", "after": "2"}),
        ("{kind: repair, causes: seal, parts: [seal, {item: brush, qty: 2}]}",
         {"causes": ["seal"], "kind": "repair",
          "parts": [{"qty": 1, "item": "seal"}, {"qty": 2, "item": "brush"}]}),
        ("{kind: repair, causes: [seal], interim: true}", {"causes": ["seal"], "kind": "interim"}),
        ("{kind: swap, piece: meter, from_row: 5, to_row: spare}",
         {"piece": "meter", "from_row": 5, "to_row": "spare"}),
        ("{kind: waiting, for: part, until: +2d, acres: 80}",
         {"for": "part", "until": "2026-01-03T00:00:00Z", "acres": "80"}),
        ("{kind: situation, seed_lot_code: 4711, target: 32000 seeds/ac, flags: alone}",
         {"seed_lot_code": "4711", "target": {"value": "32000", "unit": "seeds/ac"}, "flags": ["alone"]}),
        ("{kind: machine, book: {vacuum: 20 inH2O, drag: firm}, axes: {meter: [flat, celled]}}",
         {"book": {"vacuum": {"value": "20", "unit": "inH2O"}, "drag": "firm"},
          "axes": {"meter": ["flat", "celled"]}}),
        ("{kind: judged, why: close, ranking: [{cause: seal, probability: 0.9312}]}",
         {"why": "close", "ranking": [{"cause": "seal", "probability": "0.9312"}]}),
    ],
)
def test_other_steps_as_written(tmp_path: Path, step: str, stored: dict[str, Any]) -> None:
    """Short forms of the other kinds, and what is stored for them."""
    assert stored == body(tmp_path, step)


def test_roles_and_times_have_defaults(tmp_path: Path) -> None:
    """Who speaks follows the channel; a step without `at` comes at the time of the one before."""
    made = read(tmp_path, """\
        title: t
        invented: false
        events:
          - {kind: opened, channel: phone}
          - {kind: note, text: x, by: grower, at: 2026-05-04T06:40:00Z}
          - {kind: channel, channel: site, at: +2h}
          - {kind: note, text: 12}
          - {kind: judged, why: close, at: -30s}
        """.replace("\n        ", "\n").strip())

    assert ["phone_desk", "grower", "technician", "technician", "tool"] == [e.by for e in made.events]
    assert ["2026-01-01T00:00:00Z", "2026-05-04T06:40:00Z", "2026-05-04T08:40:00Z", "2026-05-04T08:40:00Z",
            "2026-05-04T08:39:30Z"] == [e.at for e in made.events]
    assert ["x", "12"] == [s.value for e in made.events for s in made.sealed if s.event == e.id]


def test_erased_steps(tmp_path: Path) -> None:
    """A transcript can tell that something was erased; the text is then not there."""
    made = read(tmp_path, HEAD + """\
  - {kind: complaint, as: words, words: said, accepted: []}
  - {kind: note, text: kept}
  - {kind: erased, targets: [[words, words]]}
""")

    assert ["kept"] == [s.value for s in made.sealed]
    assert [] == verify(made.events, made.sealed)


def test_the_same_file_gives_the_same_events(tmp_path: Path) -> None:
    """Reading is repeatable byte by byte; another content or name gives another call."""
    text = HEAD + "  - {kind: note, text: x}\n"
    first, again = read(tmp_path, text), read(tmp_path, text)
    other = read(tmp_path, text.replace("text: x", "text: y"))
    (tmp_path / "b.yaml").write_text(text)
    named = read_transcript(tmp_path / "b.yaml")

    assert (first.events, first.sealed) == (again.events, again.sealed)
    assert 3 == len({first.events[0].call, other.events[0].call, named.events[0].call})


# --------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        ("- a\n", 1, "not a transcript"),
        ("title: x\ninvented: true\nevent: []\n", 3, '"event" is not a field of a transcript'),
        ("invented: true\nevents: []\n", 1, "no title"),
        ("title: x\nevents: []\n", 1, "invented"),
        ("title: x\ninvented: yes\n", 2, "invented"),
        ("title: x\ninvented: true\nevents: []\n", 3, "no events"),
        ("title: x\ninvented: true\nstart: May\nevents: []\n", 3, '"May" is no time'),
        ("title: x\ninvented: true\nevents:\n  - kind: note\n    text: y\n", 4, "Only the opening"),
        (HEAD + "  - {kind: opened, channel: site}\n", 5, "Only the opening"),
        (HEAD + "  - text\n", 5, "no kind"),
        (HEAD + "  - kind: anser\n", 5, '"anser" is not a kind'),
        (HEAD + "  - kind: note\n    txt: y\n", 6, '"txt" is not a field of note'),
        (HEAD + "  - kind: note\n    text: [y]\n", 6, "text: must be text"),
        (HEAD + "  - kind: note\n    at: later\n", 6, 'at: "later" is no time'),
        (HEAD + "  - kind: note\n    at: +9999999d\n", 6, "calendar"),
        (HEAD + "  - kind: note\n    by: Adam\n", 5, "by must be one of"),
        (HEAD + "  - kind: answer\n    outcome: yes\n", 5, "needs the field check"),
        (HEAD + "  - kind: answer\n    check: dug\n    rows: 3-\n", 7, "rows: \"3-\" is not a row"),
        (HEAD + "  - kind: machine\n    rows: 8\n  - kind: answer\n    check: dug\n    rows: 9\n", 9, "8 rows"),
        (HEAD + "  - kind: answer\n    check: dug\n    value: 18.5\n", 7, "no number with a unit"),
        (HEAD + "  - kind: answer\n    check: dug\n    value: 18.5 inHO2\n", 7, "not a known unit"),
        (HEAD + "  - kind: answer\n    check: dug\n    value: 4,200 mm\n", 7, "may mean 4.200 or 4200"),
        (HEAD + "  - kind: answer\n    check: dug\n    value: 1e3\n", 7, "exponent"),
        (HEAD + "  - kind: answer\n    check: dug\n    values:\n      6: 18 inH2O\n      7: much\n", 9,
         "values.7"),
        (HEAD + "  - kind: answer\n    check: dug\n    values:\n      unit: inH2O\n      7: much\n", 9, "values.7"),
        (HEAD + "  - kind: answer\n    check: dug\n    values: {all: 18 inH2O}\n", 7, "values.all: must be one row"),
        (HEAD + "  - kind: answer\n    check: dug\n    values: {7-9: 18 inH2O}\n", 7, "values.7-9: must be one row"),
        (HEAD + "  - kind: answer\n    check: dug\n    spacings: 6.5, 6.4\n", 7, "has no unit"),
        (HEAD + "  - kind: answer\n    check: dug\n    spacings: {unit: in}\n", 7, "numbers with their unit"),
        (HEAD + "  - kind: answer\n    check: dug\n    status: unsure\n    outcome: yes\n", 5, "unsure"),
        (HEAD + "  - kind: withdrawn\n    target: first\n", 6, 'No earlier step is called "first"'),
        (HEAD + "  - {kind: note, as: a}\n  - {kind: note, as: a}\n", 6, "new name"),
        (HEAD + "  - {kind: note, as: a}\n  - kind: proof\n    target: a\n    verdict: accepted\n", 6,
         "of kind note, not repair"),
        (HEAD + "  - {kind: caution, as: a, caution: fan, acknowledged: key}\n  - {kind: withdrawn, target: a}\n", 6,
         "cannot be withdrawn"),
        (HEAD + "  - kind: erased\n    targets: [[a, words]]\n", 6, "No earlier step"),
        (HEAD + "  - kind: note\n    text: a\n    text: b\n", 7, "twice"),
        (HEAD + "  - kind: answer\n    check: duug\n", 6, '"duug" is not a known check'),
        (HEAD + "  - kind: answer\n    check: dug\n    outcome: maybe\n", 7, "not an outcome of dug"),
        (HEAD + "  - kind: answer\n    check: dug\n    observer: bird\n", 7, "not a known observer"),
        (HEAD + "  - kind: complaint\n    accepted:\n      - gaps\n      - gap\n", 8, '"gap" is not a known symptom'),
        (HEAD + "  - kind: machine\n    axes:\n      metr: flat\n", 7, '"metr" is not a known axis'),
        (HEAD + "  - kind: machine\n    axes:\n      meter: round\n", 7, "not a value of meter"),
        (HEAD + "  - kind: machine\n    book:\n      vacum: 20 inH2O\n", 7, '"vacum" is not a known book'),
        (HEAD + "  - kind: repair\n    causes: [seal, tub]\n", 6, '"tub" is not a known cause'),
        (HEAD + "  - kind: caution\n    caution: fann\n    acknowledged: key\n", 6, "not a known caution"),
        (HEAD + "expect: seal\n", 5, "expect must be a mapping"),
        (HEAD + "expect:\n  to: seal\n", 6, '"to" is not a field of expect'),
        (HEAD + "expect:\n  top: sael\n", 6, '"sael" is not a known cause'),
        (HEAD + "expect:\n  top3:\n    - seal\n    - tub\n", 8, '"tub" is not a known cause'),
        (HEAD + "expect:\n  top: 3\n", 6, "id of a cause"),
        (HEAD + "expect:\n  belief: {seal: sure}\n", 6, '"sure" is not a belief'),
        (HEAD + "expect:\n  belief: likely\n", 6, "{cause: word}"),
        (HEAD + "expect:\n  next_check: digg\n", 6, "not a known check"),
        (HEAD + "expect:\n  findings: [one_high]\n", 6, "not a known finding"),
        (HEAD + "expect:\n  cautions: fann\n", 6, "not a known caution"),
        (HEAD + "expect:\n  faults_known: perhaps\n", 6, "true or false"),
        (HEAD + "expect:\n  conflict: 1\n", 6, "true or false"),
    ],
)
def test_refused_with_file_and_line(tmp_path: Path, text: str, line: int, said: str) -> None:
    """Whatever cannot be taken is named with file, line and a remedy."""
    with pytest.raises(TranscriptError) as caught:
        read(tmp_path, text, KNOWN)

    assert said in caught.value.what
    assert f"{tmp_path / 'call.yaml'}:{line}" == caught.value.where
    assert caught.value.remedy


def test_what_was_meant_is_offered(tmp_path: Path) -> None:
    """A slip of the pen is answered with the nearest known id."""
    with pytest.raises(TranscriptError, match="Did you mean gauge"):
        read(tmp_path, HEAD + "  - {kind: answer, check: guage}\n", KNOWN)


def test_every_expectation_is_accepted(tmp_path: Path) -> None:
    """All that can be expected, in its short and its long forms."""
    text = HEAD + """\
expect:
  top: [seal, tube]
  top3: seal
  not_set_aside: [tube]
  rejects: tube
  belief: {seal: likely, tube: [open, unlikely]}
  next_check: null
  findings: [one_low]
  cautions: fan
  conflict: [dug]
  faults_known: true
"""

    assert {"top", "top3", "not_set_aside", "rejects", "belief", "next_check", "findings", "cautions", "conflict",
            "faults_known"} == set(read(tmp_path, text, KNOWN).expect)


def test_a_missing_file(tmp_path: Path) -> None:
    """A file that is not there is said so."""
    with pytest.raises(TranscriptError, match="cannot be read"):
        read_transcript(tmp_path / "none.yaml")


_odd = st.recursive(
    st.none() | st.booleans() | st.integers(-5, 40) | st.sampled_from([2.5, "all", "3, 7-9", "18.5 inH2O", "3 of 2",
                                                                     "+3min", "-9999999d", "6.5 6.4 in", "first", ""]),
    lambda x: st.lists(x, max_size=3) | st.dictionaries(st.sampled_from(["id", "value", "unit", "name", "rows", "7"]),
                                                        x, max_size=3),
    max_leaves=6,
)
_odd_steps = st.sampled_from(sorted(KINDS)).flatmap(lambda kind: st.dictionaries(
    st.sampled_from([*KINDS[kind].model_fields, "for", "sections", "as", "at", "by"]), _odd, max_size=5,
).map(lambda step: {**step, "kind": kind}))


@given(st.lists(_odd_steps, max_size=3), _odd)
def test_any_file_is_read_or_refused_cleanly(tmp_path_factory: pytest.TempPathFactory, steps: list[Any],
                                             expect: Any) -> None:
    """Whatever stands in the fields: a call that is whole, or a fault with file, line and remedy."""
    path = tmp_path_factory.mktemp("odd") / "call.yaml"
    opened = {"kind": "opened", "channel": "site", "as": "first"}
    path.write_text(json.dumps({"title": "t", "invented": True, "events": [opened, *steps], "expect": expect}))
    try:
        made = read_transcript(path)
    except TranscriptError as e:
        told = (e.where.startswith(f"{path}:"), bool(e.what), bool(e.remedy))
    else:
        told = (verify(made.events, made.sealed) == [], True, True)

    assert (True, True, True) == told


# ------------------------------------------------------------------------------------------- round trip


def plain(value: Any, number: dict[str, int]) -> Any:
    """A state as plain data with event ids as positions, without call, desk and n."""
    if is_dataclass(value) and not isinstance(value, type):
        names = [f.name for f in fields(value) if f.name not in ("call", "desk", "n")]
        return {name: plain(getattr(value, name), number) for name in names}
    if isinstance(value, Body):
        return plain(value.model_dump(), number), plain(value._in_call, number)
    if isinstance(value, dict):
        return {plain(k, number): plain(v, number) for k, v in value.items()}
    if isinstance(value, list | tuple):
        return [plain(v, number) for v in value]
    return number.get(value, value) if isinstance(value, str) else value


@given(desks(10))
def test_written_and_read_again(tmp_path_factory: pytest.TempPathFactory, made: list[Desk]) -> None:
    """A call written out and read again has the same events and texts, and folds to the same state.

    A transcript is one line of steps; of a forked call it gives the reading order, not the fork.
    """
    path = tmp_path_factory.mktemp("t") / "call.yaml"
    events = merge(made[0].events, made[1].events)
    sealed = [*made[0].sealed, *made[1].sealed]
    write_transcript(events, sealed, path, title="A: call #1", expect={"top": "seal"})
    back = read_transcript(path)
    here = {e.id: i for i, e in enumerate(events)}
    there = {e.id: i for i, e in enumerate(back.events)}
    texts = {here[k]: v for k, v in sealed_view(events, sealed).items()}

    assert ("A: call #1", False, {"top": "seal"}) == (back.title, back.invented, back.expect)
    assert [(e.kind, e.by, e.at) for e in events] == [(e.kind, e.by, e.at) for e in back.events]
    assert texts == {there[k]: v for k, v in sealed_view(back.events, back.sealed).items()}
    if all(e.parents == (before.id,) for before, e in pairwise(events)):
        assert plain(fold(events, sealed), here) == plain(fold(back.events, back.sealed), there)


_label = st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cf", "Cs", "Zl", "Zp"]), min_size=1,
                 max_size=12).filter(lambda s: s == " ".join(s.split()))
_numbers = st.from_regex(r"-?[0-9]{1,20}(\.[0-9]{1,20})?", fullmatch=True)
_values = st.builds(lambda v, u: {"value": v, "unit": u}, _numbers, st.sampled_from(["inH2O", "in", "mph", "count"]))


@given(_label, _label, _values, _numbers, st.text(max_size=40))
def test_any_text_and_number_survives(tmp_path_factory: pytest.TempPathFactory, name: str, after: str,
                                      value: dict[str, str], number: str, text: str) -> None:
    """Labels, numbers and free text come back as they were, whatever they look like in YAML."""
    import unicodedata

    name, after = unicodedata.normalize("NFC", name), unicodedata.normalize("NFC", after)
    desk = Desk()
    desk.open()
    desk.add("change", setting=name, before=value, after=after)
    desk.add("waiting", **{"for": "part", "acres": number, "text": text})
    values = {f"at {name}": value, "b": 3}
    desk.add("answer", check="dug", observer="caller", status="given", values=values, said=text)
    path = tmp_path_factory.mktemp("t") / "call.yaml"
    write_transcript(desk.events, desk.sealed, path)
    back = read_transcript(path)

    assert [e.body for e in desk.events] == [e.body for e in back.events]
    assert sorted(s.value for s in desk.sealed) == sorted(s.value for s in back.sealed)


def test_references_get_names(tmp_path: Path) -> None:
    """Ids never stand in a written transcript; what is referred to gets a name."""
    desk = Desk()
    desk.open()
    answer = desk.answer(said="x")
    repair = desk.add("repair", kind="interim", causes=["seal"])
    desk.add("proof", target=repair.id, answers=[answer.id], verdict="not_yet", risks={"alpha": "0.05"})
    desk.add("withdrawn", target=answer.id)
    desk.add("erased", targets=[[answer.id, "said"]])
    text = transcript_text(desk.events, desk.sealed, title="t", invented=True)
    made = read(tmp_path, text)

    assert not any(e.id in text for e in desk.events)
    assert [e.kind for e in desk.events] == [e.kind for e in made.events]
    assert "target: repair_3" in text
    assert made.sealed == ()


def test_personal_data_can_be_left_out(tmp_path: Path) -> None:
    """Without sealed values the file tells the same technical story."""
    desk = Desk()
    desk.open(customer="Alder Flat")
    desk.answer(said="dug it", happened=clock(-5))
    text = transcript_text(desk.events, [])

    assert "Alder Flat" not in text
    assert ["dug"] == [a.check for a in fold(read(tmp_path, text).events).answers]


def test_what_cannot_be_written(tmp_path: Path) -> None:
    """An event of a newer program, and a place that cannot be written, are refused plainly."""
    desk = Desk()
    first = desk.open()
    envelope = {**desk.answer().envelope(), "kind": "flight", "body": {}}
    newer = Event.from_json({**envelope, "id": event_id(envelope)})

    with pytest.raises(TranscriptError, match="newer program"):
        transcript_text([first, newer], [])
    with pytest.raises(TranscriptError, match="cannot be written"):
        write_transcript([first], [], tmp_path / "no" / "such.yaml")
