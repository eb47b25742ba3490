"""Replay: the demo calls come out as they say, a wrong expectation is told, a file that cannot be read is named."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from diag.call.desk import CallDesk, Desk
from diag.call.replay import compare, known_ids, outcome, replay_file, replay_files, told
from diag.call.shown import shown_words
from diag.knowledge.base import Knowledge
from diag.knowledge.load import data_folder
from diag.reason.judge import Engine
from diag.record.transcript import Transcript, read_transcript

DEMO = sorted(data_folder("transcripts_demo").glob("*.yaml"))
NAMES = [path.stem for path in DEMO]
COMPLETE = {"opened", "machine", "situation", "complaint", "done_before", "answer", "caution", "change", "swap",
            "repair", "proof", "note", "closed"}


@pytest.fixture(scope="module")
def engine(whole: Knowledge) -> Engine:
    """An engine on the whole knowledge."""
    return Engine(whole)


def demo(name: str, engine: Engine) -> Transcript:
    """Read a demo call by the beginning of its name."""
    return read_transcript(next(p for p in DEMO if p.stem.startswith(name)), known_ids(engine.knowledge))


def until(transcript: Transcript, engine: Engine, kind: str) -> CallDesk:
    """The call as it stood before its first event of a kind."""
    events = transcript.events
    stop = next(i for i, event in enumerate(events) if event.kind == kind)
    return Desk(engine).replayed(events[0].call, events[:stop], transcript.sealed)


def whole_call(transcript: Transcript, engine: Engine) -> CallDesk:
    """The call with all its events."""
    return Desk(engine).replayed(transcript.events[0].call, transcript.events, transcript.sealed)


def words(call: CallDesk) -> dict[str, str]:
    """Belief word of each cause."""
    return {r.cause: r.belief for r in call.think().judgement.ranking}


# ---------------------------------------------------------------------------------------- the demo calls


@pytest.mark.parametrize("path", DEMO, ids=NAMES)
def test_a_demo_call_comes_out_as_it_says(path: Path, engine: Engine) -> None:
    """Nothing differs from what the file expects, and it expects something."""
    result = replay_file(str(path), engine)

    assert [] == result["problems"]
    assert [] == [line for line in result["expected"] if not line["ok"]]
    assert 4 <= len(result["expected"])


@pytest.mark.parametrize("path", DEMO, ids=NAMES)
def test_a_demo_call_is_invented_and_expects_words_only(path: Path, engine: Engine) -> None:
    """Marked as invented; expectations are ids, words, true and false, never figures."""
    transcript = read_transcript(path, known_ids(engine.knowledge))

    assert transcript.invented
    assert [] == [leaf for leaf in _leaves(transcript.expect) if not isinstance(leaf, str | bool)]


def _leaves(value: Any) -> Iterator[Any]:
    inside = value.values() if isinstance(value, dict) else value if isinstance(value, list) else None
    if inside is None:
        yield value
    for item in inside or ():
        yield from _leaves(item)


def test_there_are_enough_and_one_goes_from_phone_to_field(engine: Engine) -> None:
    """At least nine calls; some by phone, some on site, one that begins by phone and goes on on site."""
    calls = [demo(name, engine) for name in NAMES]
    channels = {tuple(e.body["channel"] for e in c.events if e.kind in ("opened", "channel")) for c in calls}

    assert 9 <= len(calls)
    assert {("phone",), ("site",), ("phone", "site")} <= channels


def test_the_first_call_is_complete(engine: Engine) -> None:
    """Done before, cautions, measured rows and positions, a swap, a temporary change put back, repair, proof, close."""
    transcript = demo(NAMES[0], engine)
    call = whole_call(transcript, engine)
    answers = call.state.answers
    seen = {a.check for a in answers if a.values} | {a.check for a in answers if a.positions}

    assert COMPLETE <= {e.kind for e in transcript.events}
    assert {"vac_manometer_row", "dug_50_spacings", "vac_raise_step"} <= seen
    assert (["accepted"], "mended") == ([p.verdict for p in call.state.proofs], transcript.events[-1].body["result"])
    assert () == call.state.not_put_back
    assert {} == call.state.pieces


def test_the_first_call_shows_its_cause_by_taking_it_away_and_putting_it_back(engine: Engine) -> None:
    """Likely before the repair; confirmed after the old seal brought the fault back; not a belief of now."""
    transcript = demo(NAMES[0], engine)
    before, after = until(transcript, engine, "repair"), whole_call(transcript, engine)

    assert ("seal_worn", "likely") == _first(before)
    assert ("set_aside", "confirmed") == (words(after)["seal_worn"], shown_words(after)["seal_worn"])
    assert "close" == after.think().judgement.action


def _first(call: CallDesk) -> tuple[str, str]:
    top = call.think().judgement.ranking[0]
    return top.cause, top.belief


def test_the_call_mended_by_phone_was_right_before_it_was_mended(engine: Engine) -> None:
    """One step less vacuum on a lighter lot: set too high is likely before the repair, nothing is left after it."""
    transcript = demo("birch", engine)

    assert ("vac_set_high", "likely") == _first(until(transcript, engine, "repair"))
    assert [] == [c for c, word in words(whole_call(transcript, engine)).items() if word in ("likely", "open")]


def test_two_faults_are_both_likely_before_the_first_is_mended(engine: Engine) -> None:
    """Hard seals and the vacuum that covers them stand side by side, and the desk says there are two."""
    call = until(demo("hazel", engine), engine, "repair")
    found = {f.finding for f in call.think().judgement.findings}

    assert {"seal_worn", "vac_set_high"} == {c for c, word in words(call).items() if word == "likely"}
    assert {"two_faults_likely", "leak_covered_up"} <= found


# -------------------------------------------------------------------------------------------- replaying


def test_the_same_file_gives_the_same_bytes(engine: Engine) -> None:
    """Two replays of one call are equal to the last digit."""
    first, second = (json.dumps(replay_file(str(DEMO[0]), engine), sort_keys=True) for _ in range(2))
    assert first == second


WRONG: list[tuple[str, Any]] = [
    ("top", "vac_set_low"), ("top3", "vac_set_low"), ("not_set_aside", "no_such_cause"), ("rejects", "holes_plugged"),
    ("belief", {"holes_plugged": "open"}), ("next_check", "no_such_check"), ("findings", "two_faults_likely"),
    ("cautions", "thunder"), ("conflict", True), ("faults_known", False),
]


@pytest.mark.parametrize(("what", "want"), WRONG, ids=[what for what, _ in WRONG])
def test_a_wrong_expectation_is_told(engine: Engine, what: str, want: Any) -> None:
    """Each kind of expectation can fail, and the line holds what came instead."""
    call = whole_call(demo("clover", engine), engine)
    lines = compare({what: want}, outcome(call), call.think().judgement)

    assert [False] == [line["ok"] for line in lines]
    assert [want if what != "belief" else "open"] == [line["want"] for line in lines]


HEAD = "title: A call\ninvented: true\nevents:\n  - {kind: opened, channel: site}\n"


@pytest.mark.parametrize(
    ("text", "line", "said"),
    [
        (f"{HEAD}  - {{kind: answer, check: no_such_check, outcome: yes}}\n", 5, "no_such_check"),
        (f"{HEAD}  - {{kind: answer, check: seal_feel, outcome: squeaky}}\n", 5, "squeaky"),
        (f"{HEAD}  - {{kind: machine, axes: {{meter: square}}}}\n", 5, "square"),
        (f"{HEAD}  - {{kind: machine\n", 6, ""),
        (f"{HEAD}expect: {{top: nobody}}\n", 5, "nobody"),
    ],
    ids=["check", "outcome", "axis", "yaml", "expected"],
)
def test_a_file_that_cannot_be_replayed_is_named(
    tmp_path: Path, engine: Engine, text: str, line: int, said: str
) -> None:
    """Place, what is wrong and a remedy; nothing raised; the files after it are still done."""
    bad = tmp_path / "bad.yaml"
    bad.write_text(text, encoding="utf-8")
    first, second = replay_files([str(bad), str(DEMO[0])], engine)

    assert (False, True) == (first["ok"], second["ok"])
    problem = first["problems"][0]
    assert f"bad.yaml:{line}" in problem["where"]
    assert said in problem["what"]
    assert problem["remedy"]
    assert f"NOT READ  {bad}" in told([first])


def test_a_missing_file_is_named(tmp_path: Path, engine: Engine) -> None:
    """A file that is not there is a problem of that file, not a traceback."""
    result = replay_file(str(tmp_path / "none.yaml"), engine)
    assert (False, 1) == (result["ok"], len(result["problems"]))


# ------------------------------------------------------------------------------ readings that contradict


def _row_map(call: CallDesk, seventh: str, method: str | None = None) -> None:
    values = {str(r): {"value": seventh if r == 7 else "18", "unit": "inH2O"} for r in range(1, 13)}
    call.answer("vac_manometer_row", values=values, observer="instrument", **({"method": method} if method else {}))


def _on_site(engine: Engine) -> CallDesk:
    call = Desk(engine).new_call("site")
    call.set_machine({"axes": {"meter": "flat"}, "rows": 12})
    call.set_complaint("", [("skips_high", "chosen")])
    return call


def _chance(call: CallDesk, cause: str) -> float:
    return next(r.probability for r in call.think().judgement.ranking if r.cause == cause)


def test_of_two_sure_readings_that_contradict_neither_wins(engine: Engine) -> None:
    """One gauge finds row 7 low, another finds it right: belief lies between, and nothing breaks."""
    call = _on_site(engine)
    before = _chance(call, "seal_worn")
    _row_map(call, "13", method="first gauge")
    low = _chance(call, "seal_worn")
    _row_map(call, "18", method="second gauge")

    assert 2 * before < low
    assert before / 2 < _chance(call, "seal_worn") < low


def test_a_reading_with_the_old_part_back_says_nothing_of_now(engine: Engine) -> None:
    """It shows the cause in the write-up, and leaves the belief of now as it is."""
    call = _on_site(engine)
    _row_map(call, "13")
    call.repair(["seal_worn"], rows=[7])
    _row_map(call, "18")
    mended = [(r.cause, r.probability) for r in call.think().judgement.ranking]
    _row_map(call, "13", method="old part or setting back")

    assert mended == [(r.cause, r.probability) for r in call.think().judgement.ranking]
