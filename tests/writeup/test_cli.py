"""`diag writeup` and `diag load-list` from the command line: files, formats, stored calls, bad input."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from writeup import alder_flat

from diag.cli import main
from diag.knowledge.load import load
from diag.reason.judge import Engine
from diag.store.open import open_store
from diag.writeup.page.json_form import FORMAT

TRANSCRIPT = """
title: Row 7 low, seal renewed
invented: true
events:
  - {kind: opened, by: technician, channel: site, customer: Alder Flat, contact: owner}
  - {kind: machine, rows: 12, axes: {meter: flat}, serial: INV-1}
  - {kind: situation, crop: corn, rows: 7, target: 34000 seeds/ac, speed: 5 mph}
  - {kind: complaint, words: Row 7 is leaving gaps since Tuesday., accepted: [skips_high]}
  - {kind: answer, as: before, check: vac_manometer_row, observer: instrument,
     values: {unit: inH2O, 5: 20, 6: 20, 7: 12, 8: 20}}
  - {kind: repair, as: mended, causes: seal_worn, rows: 7, words: New seal in row 7., parts: [vacuum seal]}
  - {kind: answer, as: after, check: vac_manometer_row, observer: instrument,
     values: {unit: inH2O, 5: 20, 6: 20, 7: 20, 8: 20}}
  - {kind: proof, target: mended, answers: [after], verdict: accepted}
  - {kind: note, item: follow_up, value: even, text: over 60 ac}
expect: {top: seal_worn}
"""


@pytest.fixture
def transcript(tmp_path: Path) -> str:
    """A transcript file of an invented call."""
    path = tmp_path / "row7.yaml"
    path.write_text(TRANSCRIPT, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    """(store, call id) of the good call, kept in a store."""
    place = str(tmp_path_factory.mktemp("store") / "calls.db")
    store = open_store(place)
    return place, alder_flat.good(Engine(load(), counter=True), store).call.call


@pytest.mark.parametrize("suffix", ["pdf", "html", "md", "txt", "json", "short"])
def test_each_format_is_written(transcript: str, tmp_path: Path, suffix: str) -> None:
    """A transcript gives each kind of file; the words of the complaint are in those that hold text."""
    out = tmp_path / f"out.{suffix}"
    assert 0 == main(["writeup", transcript, "-o", str(out)])
    data = out.read_bytes()
    assert data.startswith(b"%PDF") if suffix == "pdf" else b"Row 7 is leaving gaps since Tuesday" in data


def test_an_older_file_is_not_lost(transcript: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is there stays until its replacement is asked for; the path is said; nothing is left beside it."""
    out = tmp_path / "out.txt"
    out.write_text("older", encoding="utf-8")
    assert 2 == main(["writeup", transcript, "-o", str(out)])
    assert "There is such a file already." in capsys.readouterr().err
    assert "older" == out.read_text(encoding="utf-8")
    assert 0 == main(["writeup", transcript, "-o", str(out), "--replace"])
    assert str(out.resolve()) in capsys.readouterr().out
    assert "Row 7" in out.read_text(encoding="utf-8")
    assert {"out.txt", "row7.yaml"} == {p.name for p in tmp_path.iterdir()}


def test_without_a_file_it_is_printed(transcript: str, capsys: pytest.CaptureFixture[str]) -> None:
    """No file named: plain text in the width asked for; with --json one JSON value."""
    assert 0 == main(["writeup", transcript, "--width", "60", "--for", "claim"])
    text = capsys.readouterr().out
    assert max(map(len, text.splitlines())) <= 60
    assert "Demonstration, not a stored call." in text
    assert 0 == main(["writeup", transcript, "--json", "--for", "customer"])
    data = json.loads(capsys.readouterr().out)
    assert (FORMAT, "customer") == (data["format"], data["audience"])


def test_personal_data_can_be_left_out(transcript: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The switch leaves out name, serial number and the caller's words."""
    assert 0 == main(["writeup", transcript, "--no-personal"])
    text = capsys.readouterr().out
    assert [] == [w for w in ("Alder Flat", "INV-1", "leaving gaps", "New seal") if w in text]
    assert "Too many skips" in text


def test_a_stored_call_prints_its_head(stored: tuple[str, str], capsys: pytest.CaptureFixture[str]) -> None:
    """A stored call prints the head of its record for the claim, and `calls verify --head` takes it."""
    place, call = stored
    assert 0 == main(["writeup", call[:6], "--store", place, "--for", "claim", "--width", "200"])
    text = capsys.readouterr().out
    assert "Demonstration" not in text
    (line,) = [ln for ln in text.splitlines() if ln.startswith("head of the record")]
    assert 0 == main(["calls", "verify", call, "--head", line.split()[-1], "--store", place])


def test_printing_twice_adds_nothing(stored: tuple[str, str], tmp_path: Path) -> None:
    """The first write-up records what was believed; a second one of the unchanged call gives the same bytes."""
    place, call = stored
    files = [tmp_path / "a.pdf", tmp_path / "b.pdf"]
    for out in files:
        assert 0 == main(["writeup", call, "--store", place, "-o", str(out)])
    assert files[0].read_bytes() == files[1].read_bytes()
    kinds = [e.kind for e in open_store(place).events(call)]
    assert "judged" == kinds[-1]
    assert 2 == kinds.count("judged")  # one at the proof, one here


def test_load_list_as_text_and_json(transcript: str, capsys: pytest.CaptureFixture[str]) -> None:
    """The list to print or send, and as one JSON value."""
    assert 0 == main(["load-list", transcript])
    assert "A second trip costs about 90 min." in capsys.readouterr().out
    assert 0 == main(["load-list", transcript, "--json"])
    assert {"entries", "always"} <= set(json.loads(capsys.readouterr().out))


BAD = [
    (["-o", "out.docx"], "no known ending"),
    (["-o", "no/such/folder/out.txt"], "Cannot be written"),
    (["--width", "10"], "at least 40"),
]


@pytest.mark.parametrize(("more", "says"), BAD, ids=[b[1] for b in BAD])
def test_bad_options_are_told(transcript: str, more: list[str], says: str, capsys: pytest.CaptureFixture[str]) -> None:
    """An ending nobody knows, a folder that is not there, a width too small: exit 2, what, where, remedy."""
    assert 2 == main(["writeup", transcript, *more])
    assert says in capsys.readouterr().err


def test_bad_transcript_and_unknown_call(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file that is not there, an unknown check, a call the store does not hold: exit 2, no traceback."""
    assert 2 == main(["writeup", str(tmp_path / "none.yaml")])
    odd = tmp_path / "odd.yaml"
    odd.write_text(TRANSCRIPT.replace("vac_manometer_row", "vac_horoscope"), encoding="utf-8")
    assert 2 == main(["writeup", str(odd)])
    assert "odd.yaml:9" in capsys.readouterr().err
    assert 2 == main(["load-list", "ZZZZ", "--store", str(tmp_path / "calls.db"), "--json"])
    assert {"error"} == set(json.loads(capsys.readouterr().out))
