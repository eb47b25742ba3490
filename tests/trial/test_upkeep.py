"""A shop's own cause as DEVELOPERS.md tells it: printed, filled in, linted, found first on the shop's own call."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from diag.cli import main
from diag.knowledge.load import knowledge_folder

FILLED = {
    "cause": {
        "SUBSYSTEM": "vacuum", "KIND": "assembly", "follows: meter": "follows: row", "SYMPTOM": "skips_high",
        "CHECK": "tee_look",
        "OUTCOME: almost_always}": "left_open: almost_always}\n    q_when_began: {meter_work: often}",
        "VERIFICATION": "row_meter",
    },
    "check": {
        "wrong: {says": "left_open: {says", "right: {says": "whole_hose: {says", "wrong: sometimes": "left_open: never",
        'phone: "One question of at most twenty words?"': 'phone: "Is a tee of the gauge still in that hose?"\n'
        "  yes: left_open\n  no: whole_hose\n  deciding: true\n  applies: vacuum_meter",
    },
}
CALL = """\
- id: since_the_gauge
  channel: phone
  axes: {meter: flat, delivery: tube, crop: corn}
  rows: 8
  trouble: [3]
  words: Row three skips since we measured the vacuum.
  symptoms: [skips_high]
  changes: [meter_work]
  truth: [tee_left]
  ans: {tee_look: left_open, q_row_pattern: one, q_time_pattern: constant, q_gap_length: single_places,
        dig_behind_row: seed_thin, q_last_repair: nothing_tried, cab_rows_bar: one_low, vac_manometer_row: one_low}
"""


def printed(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str]:
    """Return the code and what a command prints."""
    code = main(list(argv))
    return code, capsys.readouterr().out


def test_an_added_cause_is_first_on_its_own_call(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Template, words filled in, lint clean, the folder of the shop's calls played: first, mended, nothing in vain."""
    for kind, key in (("cause", "tee_left"), ("check", "tee_look")):
        _, text = printed(capsys, "knowledge", "new", kind, key)
        for old, new in FILLED[kind].items():
            assert old in text
            text = text.replace(old, new)
        place = tmp_path / "ours" / f"{kind}s" / "shop.yaml"
        place.parent.mkdir(parents=True)
        place.write_text(text, encoding="utf-8")
    calls = tmp_path / "calls"
    calls.mkdir()
    (calls / "spring.yaml").write_text(CALL, encoding="utf-8")
    both = ("--knowledge", str(knowledge_folder()), "--knowledge", str(tmp_path / "ours"))
    code, told = printed(capsys, "knowledge", "lint", *both)
    assert 0 == code, told

    code, told = printed(capsys, "knowledge", "play", str(calls), *both, "--json")
    result = json.loads(told)
    played = result["calls"][0]
    assert (0, 1, "mended", []) == (code, played["rank"], played["stopped"], played["not_known"]), played
    assert 0 == result["wrong_first_advice"]


def test_calls_of_a_folder_have_ids_of_their_own(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All its files are played; two calls of one name, in one file or two, and an empty folder are refused."""
    played = ("knowledge", "play", str(tmp_path), "--most", "0")
    assert 2 == main(list(played))
    assert "No files of calls here" in capsys.readouterr().err
    (tmp_path / "a.yaml").write_text(CALL, encoding="utf-8")
    (tmp_path / "b.yaml").write_text(CALL.replace("since_the_gauge", "another"), encoding="utf-8")
    code, told = printed(capsys, *played, "--json")
    assert (0, ["since_the_gauge", "another"]) == (code, [c["id"] for c in json.loads(told)["calls"]])
    (tmp_path / "b.yaml").write_text(CALL, encoding="utf-8")
    assert 2 == main(list(played))
    refused = capsys.readouterr().err
    told = ("'since_the_gauge'", "a.yaml", "b.yaml")
    assert told == tuple(word for word in told if word in refused)
