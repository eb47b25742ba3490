"""Calls of a file played by the desk's own policy."""

from __future__ import annotations

import json
import random
from dataclasses import replace
from pathlib import Path

import pytest
from conftest import SMALL

from diag.cli import main
from diag.errors import UsageError
from diag.knowledge.base import Knowledge
from diag.reason.judge import Engine
from diag.reason.next_check import LEADS_FROM
from diag.trial.case_file import Scripted, not_known, read_calls
from diag.trial.play import Player, ScriptedMachine, play_file, report

CALLS = Path(__file__).parents[1] / "outside" / "calls"
CALL = """\
- id: one
  channel: site
  axes: {drive: electric, fill: bulk}
  rows: 8
  trouble: [3]
  words: Row three is thin.
  symptoms: [thin]
  truth: [alpha]
  ans: {plain: red, open_one: bad, what_changed.bolt: 'yes'}
"""


def calls(folder: Path, text: str) -> list[Scripted]:
    """Return the calls of a file with this text."""
    path = folder / "calls.yaml"
    path.write_text(text, encoding="utf-8")
    return read_calls(path)


def test_the_tools_own_offers_are_followed_to_the_repair(tmp_path: Path, small: Knowledge) -> None:
    """alpha shows itself in two checks: it is mended in the end, and every step tells what it brought."""
    played = Player(Engine(small, counter=True)).play(calls(tmp_path, CALL)[0])

    assert ("mended", 1, []) == (played["stopped"], played["rank"], played["not_known"])
    assert ["thin"] == played["heard"]
    assert {"given", "normal", "unsure"} >= {s["how"] for s in played["steps"]}
    assert played["advice"][-1]["repair"] == "alpha"
    assert played["minutes"]["site"] >= max(s["minutes"] for s in played["steps"])


def test_answers_are_the_calls_own_then_normal_then_not_sure(tmp_path: Path, small: Knowledge) -> None:
    """Listed: as given. Not listed: normal, but "not sure" where the true cause would speak."""
    call = calls(tmp_path, CALL.replace("plain: red, ", ""))[0]
    machine = ScriptedMachine(Engine(small, counter=True).tables, call)
    how = {key: machine.answer(key, "site") for key in ("open_one", "plain", "motor_amps", "split")}

    assert ("bad", "given") == (how["open_one"].outcome, how["open_one"].how)
    assert (None, "unsure") == (how["plain"].outcome, how["plain"].how)
    assert ("ok", "normal") == (how["motor_amps"].outcome, how["motor_amps"].how)
    assert (None, "unsure") == (how["split"].outcome, how["split"].how)


def test_chances_answer_with_the_likeliest_or_by_lot(tmp_path: Path, small: Knowledge) -> None:
    """{red: .6}: the rest, .4, is normal; with a seed both come, about as often as told; symptoms likewise."""
    text = "- {cause: alpha, machine: {drive: electric}, symptoms: {thin: .8, thick: .3}, shows: {plain: {red: .6}}}\n"
    call = calls(tmp_path, text)[0]
    tables = Engine(small, counter=True).tables
    drawn = [ScriptedMachine(tables, call, random.Random(n)).answer("plain", "site").outcome for n in range(300)]
    likeliest = ScriptedMachine(tables, call)

    assert ("alpha", ("alpha",)) == (call.id, call.truth)
    assert "red" == likeliest.answer("plain", "site").outcome
    assert {"red", "ok"} == set(drawn)
    assert drawn.count("red") / 300 == pytest.approx(0.6, abs=4 * (0.24 / 300) ** 0.5)
    assert "normal" == likeliest.answer("open_one", "site").how
    assert ("thin",) == call.told(None)
    assert {("thin",), ("thick",), ("thin", "thick")} == {call.told(random.Random(n)) for n in range(60)}


def test_a_wrong_repair_is_advice_against_it_and_the_call_goes_on(tmp_path: Path, small: Knowledge) -> None:
    """beta shows blue and alpha is at fault: beta is mended in vain, which counts as wrong first advice."""
    text = CALL.replace("plain: red, open_one: bad", "plain: blue, split: upper, open_one: ok")
    played = Player(Engine(small, counter=True)).play(calls(tmp_path, text)[0])

    assert "beta" == played["advice"][0]["repair"]
    assert 1 == report([played])["wrong_first_advice"]
    assert played["stopped"] != ""


def test_what_nobody_knew_is_told_apart_from_what_moved_nothing(tmp_path: Path, small: Knowledge) -> None:
    """Of five questions two were not known, of the three answered one moved nothing: .6 idle, .4 not known, 1 in 3."""
    played = Player(Engine(small, counter=True)).play(calls(tmp_path, CALL)[0])
    asked = [("unsure", True), ("given", False), ("normal", True), ("unsure", True), ("given", False)]
    steps = [{**played["steps"][0], "how": how, "idle": idle} for how, idle in asked]
    figures = report([{**played, "steps": steps}])

    assert (0.6, 0.4, 0.3333) == tuple(figures[n] for n in ("idle_share", "not_known_share", "idle_of_answered"))
    assert (0.0, 0.0, 0.0) == tuple(
        report([{**played, "steps": []}])[n] for n in ("idle_share", "not_known_share", "idle_of_answered"))


def test_words_are_heard_when_there_are_no_symptoms(tmp_path: Path, whole: Knowledge) -> None:
    """What an untouched intake takes over stands in the call, its facts too."""
    text = "- {id: w, words: Row seven of sixteen skips on the planter since the rain., truth: [], ans: {}}\n"
    call = Player(Engine(whole, counter=True)).taken(calls(tmp_path, text)[0])

    assert "skips_high" in [s for s, _ in call.state.accepted]
    assert call.text_of("complaint", "words").startswith("Row seven")


def test_what_the_knowledge_lacks_is_told_and_moves_nothing(tmp_path: Path, small: Knowledge) -> None:
    """Ids of another knowledge do not stop a play; a call without a known cause counts as foreign."""
    text = CALL.replace("plain: red", "plain: purple, no_such: yes").replace("[alpha]", "[no_cause]")
    call = calls(tmp_path, text)[0]
    figures = report([Player(Engine(small, counter=True)).play(call)])

    assert ["outcome plain: purple", "check no_such"] == not_known(small, call)
    assert (0, 1) == (figures["with_cause"], figures["foreign"]["calls"])


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("id: one", "name: one", "needs an id"),
        ("ans:", "answers:", "either `ans` or `shows`"),
        ("channel: site", "channel: letter", "Say phone or site"),
        ("truth: [alpha]", "truth: alpha", "truth: expected a list"),
        ("symptoms: [thin]", "symptoms: {thin: 2}", "symptoms.thin: expected a chance"),
    ],
)
def test_a_call_that_cannot_be_read_names_its_place(tmp_path: Path, old: str, new: str, told: str) -> None:
    """File, line and call are named, with the remedy."""
    with pytest.raises(UsageError) as error:
        calls(tmp_path, "# calls\n" + CALL.replace(old, new))
    assert told in str(error.value)
    assert "calls.yaml:2" in str(error.value)


def test_two_calls_of_one_name_are_refused(tmp_path: Path) -> None:
    """Results are told by id."""
    with pytest.raises(UsageError, match="'one'"):
        calls(tmp_path, CALL + CALL)


def test_any_split_over_processes_gives_the_same(tmp_path: Path) -> None:
    """One process or two: the same report."""
    path = tmp_path / "calls.yaml"
    path.write_text("".join(CALL.replace("id: one", f"id: c{n}") for n in range(11)), encoding="utf-8")
    assert play_file([SMALL], path, workers=1) == play_file([SMALL], path, workers=2)


def test_command_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """JSON holds what the contract names; without it one line a call and the figures; no checks allowed: no steps."""
    path = tmp_path / "calls.yaml"
    path.write_text(CALL, encoding="utf-8")
    command = ["knowledge", "play", str(path), "--knowledge", str(SMALL)]

    assert 0 == main([*command, "--json", "--most", "0", "--channel", "phone"])
    result = json.loads(capsys.readouterr().out)
    assert {"calls", "first", "top3", "wrong_first_advice", "idle_share", "minutes_median"} <= set(result)
    assert ([], "phone") == (result["calls"][0]["steps"], result["calls"][0]["channel"])
    assert 0 == main(command)
    assert "first 1 of 1" in capsys.readouterr().out
    assert 2 == main([*command, "--most", "-1"])


@pytest.mark.parametrize(
    ("file", "name", "channel", "cause", "test"),
    [
        ("masters", "b16_stiff_chain", "site", "chain_stiff", "chain_link_feel"),
        ("hand_a", "ca12_late_quartet", "site", "clutch_slip", "clutch_test"),
        ("hand_b", "cb24_starter_on_thin_sand", "phone", "fertiliser_injury", "fert_band_look"),
    ],
)
def test_what_leads_is_tested_within_three_questions(
    whole: Knowledge, file: str, name: str, channel: str, cause: str, test: str
) -> None:
    """Cheaper questions that only move belief a little wait for the test that decides (17 of 209 calls were late)."""
    call = next(c for c in read_calls(CALLS / f"{file}.yaml") if c.id == name)
    steps = Player(Engine(whole, counter=True)).play(replace(call, channel=channel))["steps"]
    led = next(n for n, s in enumerate(steps) if s["leader"] == cause and s["belief"] >= LEADS_FROM)

    assert test in [s["check"] for s in steps[: led + 4]]
