"""`diag measure`: text that fits a small terminal, JSON, exit codes, charts."""

from __future__ import annotations

import json
import re
from pathlib import Path
from typing import Any

import pytest
from measure.simulated_meter import Meter

from diag.analyses import charts
from diag.analyses.cli import main
from diag.analyses.report import note

T1 = re.findall(r"\S+", """
6.1 5.8 6.4 0.9 5.3 6.0 11.8 6.2 5.7 6.3 3.0 9.0 6.0 5.9 6.1 18.1 5.6 6.2 6.4 5.5 2.4 9.6 6.0 6.2 5.8 1.2 4.9 6.1
6.3 24.3 5.9 6.0 5.4 6.6 6.1 5.8 12.1 6.0 5.7 6.5""")


@pytest.fixture
def t1(tmp_path: Path) -> str:
    """A CSV file of forty spacings."""
    path = tmp_path / "t1.csv"
    path.write_text("spacing_in\n" + "\n".join(T1) + "\n")
    return str(path)


def told(capsys: pytest.CaptureFixture[str], *argv: str) -> tuple[int, str, str]:
    """Return exit code, stdout and stderr of a command; every line fits 80 columns of ASCII."""
    code = main(list(argv))
    out, err = capsys.readouterr()
    if "--json" not in argv:
        assert max((len(line) for line in out.splitlines()), default=0) <= 80
        assert out.replace("\u00b0", "").isascii()
    return code, out, err


def read(capsys: pytest.CaptureFixture[str], *argv: str) -> object:
    """Return the one JSON value a command prints."""
    code, out, err = told(capsys, *argv, "--json")
    assert (0, "") == (code, err)
    return json.loads(out)


def test_spacing_of_a_file(capsys: pytest.CaptureFixture[str], t1: str) -> None:
    """The verdict comes first, then the main figures, the histogram with its class limits, and notes."""
    code, out, _ = told(capsys, "spacing", t1, "--target", "6in", "--holes", "40")

    assert 0 == code
    assert "Gaps and close pairs" in out.splitlines()[2]
    assert "quality of feed" in out
    assert "-------- 0.5 ---" in out
    assert "Too few turns to tell" in out


def test_spacing_json(capsys: pytest.CaptureFixture[str], t1: str) -> None:
    """JSON holds SI values with unit, counts and the text shown."""
    data = read(capsys, "spacing", t1, "--target", "6in")

    assert {"value": 0.775, "k": 31, "n": 40, "shown": "77.5 %"}.items() <= data["results"]["quality_of_feed"].items()
    assert {"unit": "m", "shown": "6 in"}.items() <= data["results"]["target"].items()
    assert 0.1524 == pytest.approx(data["results"]["target"]["value"])
    assert "setting" == data["results"]["target_source"]["value"]


def test_values_beside_files_and_metric(capsys: pytest.CaptureFixture[str], t1: str) -> None:
    """Values typed give what the file gives; metric shows centimetres."""
    typed = read(capsys, "spacing", *T1, "in", "--target", "6 in", "--units", "metric")
    filed = read(capsys, "spacing", t1, "--target", "6in", "--units", "metric")

    assert typed["results"] == filed["results"]
    assert "15.2 cm" == filed["results"]["target"]["shown"]


def test_rate_instead_of_target(capsys: pytest.CaptureFixture[str], t1: str) -> None:
    """32k/ac in 30 in rows is the target 6.53 in; a rate without row width is refused."""
    data = read(capsys, "spacing", t1, "--rate", "32k/ac", "--row-width", "30in")

    assert "6.53 in" == data["results"]["target"]["shown"]
    assert 2 == told(capsys, "spacing", t1, "--rate", "32k/ac")[0]


def test_several_files_are_all_done_and_the_worst_code_counts(capsys: pytest.CaptureFixture[str], t1: str) -> None:
    """One good and one missing file: both are answered, exit 2."""
    code, out, _ = told(capsys, "spacing", t1, "missing.csv", "--target", "6in", "--json")
    good, bad = json.loads(out)

    assert 2 == code
    assert "spacing" == good["analysis"]
    assert {"what", "where", "remedy"} == set(bad["error"])


def test_rows_of_one_file_are_judged_apart(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A file with a row column gives one result per row."""
    lines = [f"{row},{s:.3f}" for row in (3, 4) for s in Meter(jitter=0.05).spacings(1, seed=row, target=0.166)]
    path = tmp_path / "rows.csv"
    path.write_text("row,spacing_m\n" + "\n".join(lines) + "\n")

    assert [3, 4] == [d["row"] for d in read(capsys, "spacing", str(path), "--target", "16.6cm")]


def test_rhythm_from_positions(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A plugged hole in a file of tape positions is named with its chart."""
    places = Meter(plugged=frozenset([7]), jitter=0.05).positions(6, seed=1, target=6.534)
    path = tmp_path / "tape.csv"
    path.write_text("position_in\n" + "\n".join(f"{p:.2f}" for p in places) + "\n")
    _, out, _ = told(capsys, "spacing", str(path), "--target", "6.534in", "--holes", "40")

    assert "hole 8" in out
    assert "# # # # # # # . #" in out


def test_vacuum_map_with_drift_and_limits(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A walk over rows, the first read again, against healthy values and a limit."""
    walk, sound = tmp_path / "walk.csv", tmp_path / "sound.csv"
    rows = [f"{r},{20.0 - 0.1 * r - (4 if r == 5 else 0)}\n" for r in range(1, 9)]
    walk.write_text("row,vacuum_inh2o\n" + "".join(rows) + "1,19.1\n")
    sound.write_text("row,vacuum_inh2o\n" + "".join(f"{r},20.4\n" for r in range(1, 9)))
    data = read(capsys, "vacuum", str(walk), "--healthy", str(sound), "--limit", "1inH2O", "--set", "20inH2O",
                "--drift-limit", "2 inH2O", "--sections", "left=1-4;right=5-8")
    _, out, _ = told(capsys, "vacuum", str(walk), "--limit", "1inH2O")

    assert "one_low" == data["results"]["pattern"]["value"]
    assert "healthy" == data["results"]["reference"]["value"]
    assert "-0.8 inH2O" == data["results"]["drift"]["shown"]
    assert "low" in next(line for line in out.splitlines() if line.startswith("row 5: "))


@pytest.mark.parametrize("sections", ["left=a", "left=3-1", "left=0", "left=1-", "left", "left=all"])
def test_sections_that_are_no_rows_are_refused(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, sections: str
) -> None:
    """Sections are typed as rows are everywhere; what is none is refused with its option."""
    walk = tmp_path / "walk.csv"
    walk.write_text("row,vacuum_inh2o\n" + "".join(f"{r},20\n" for r in range(1, 9)))
    code, _, err = told(capsys, "vacuum", str(walk), "--sections", sections)

    assert 2 == code
    assert "--sections" in err


def test_vacuum_over_time_and_single(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A time column makes a log, one value a reading against the set one."""
    log = tmp_path / "log.csv"
    log.write_text("time_s,vacuum_inh2o\n" + "".join(f"{10 * i},{18 + (i % 4 > 1)}\n" for i in range(13)))

    assert "vacuum_log" == read(capsys, "vacuum", str(log))["analysis"]
    assert "vacuum_reading" == read(capsys, "vacuum", "17.2 inH2O", "--set", "18 inH2O")["analysis"]


def test_dash_means_not_read(capsys: pytest.CaptureFixture[str]) -> None:
    """A dash among values leaves that row out and keeps the numbers of the others."""
    data = read(capsys, "vacuum", "20.5", "20.4", "-", "17", "20.3", "inH2O")

    assert 4.0 == data["results"]["lowest_row"]["value"]


def test_stand_and_gaps(capsys: pytest.CaptureFixture[str]) -> None:
    """Counts per 1/1000 acre and distances between gaps."""
    stand = read(capsys, "stand", "31", "30", "33", "32", "--row-width", "30in", "--rate", "32000/ac")
    gaps = read(capsys, "gaps", "21.8", "43.5", "21.7", "ft", "--target", "6.534in", "--holes", "40")

    assert "31,500 seeds/ac" == stand["results"]["rate"]["shown"]
    assert "disc" == gaps["results"]["part"]["value"]


TOOLS = [
    (("drive", "--rate", "32000/ac", "--row-width", "30in", "--holes", "40", "--speed", "5mph"),
     "disc_speed", "20.2 rpm"),
    (("drive", "--wheel", "90in", "--fixed", "0.5", "--sprockets", "20/29", "--holes", "40", "--row-width", "30in"),
     "rate", "32,000 seeds/ac"),
    (("fan", "--vacuum", "16inH2O", "--wanted", "20inH2O", "--rpm", "4,000rpm"), "rpm_needed", "4470 rpm"),
    (("fan", "--vacuum", "20inH2O", "--altitude", "1500m"), "vacuum_here", "17.3 inH2O"),
    (("fan", "--flow", "45L/min", "--motor", "11cc", "--efficiency", "90%"), "motor_speed", "3680 rpm"),
    (("wire", "--size", "8", "--length", "30ft", "--current", "20A"), "wire_drop", "0.934 V"),
    (("wire", "--source", "13.5V", "--load", "12.5V", "--current", "20A"), "extra_resistance", "0.05 ohm"),
    (("slip", "--free", "40", "--loaded", "37"), "slip", "7.5 %"),
    (("hole", "--covered", "25%"), "area", "19.6 %"),
    (("hole", "--area", "25"), "diameter_share", "29.8 %"),
    (("proof", "--limit", "2%"), "claim_seeds", "227"),
    (("cost", "--sd", "4.5in"), "sd_high", "10 bu/ac"),
    (("cost", "--skips", "3%", "--doubles", "2%", "--stand", "30k/ac", "--yield", "211bu/ac"), "skip_loss", "1.57 %"),
]


@pytest.mark.parametrize(("argv", "name", "shown"), TOOLS)
def test_calculators(capsys: pytest.CaptureFixture[str], argv: tuple[str, ...], name: str, shown: str) -> None:
    """Each calculator gives its figure as JSON and as a table that fits the terminal."""
    data = read(capsys, *argv)
    _, out, _ = told(capsys, *argv)

    assert shown == data["results"][name]["shown"]
    assert shown in out


def test_proof_says_what_was_shown(capsys: pytest.CaptureFixture[str]) -> None:
    """Seeds seen and the count before are told in plain words, with what would end the test."""
    _, out, _ = told(capsys, "proof", "--limit", "2%", "--target", "6.53in", "--seen", "2/100", "--before", "15/300")

    assert "true share lies between" in out
    assert "more good ones would end it" in " ".join(out.split())


BAD = [
    ("spacing",), ("spacing", "6.1", "5.8"), ("spacing", "nofile.csv"), ("spacing", "6 psi", "--target", "6in"),
    ("spacing", "6.1 in", "--target", "6"), ("spacing", "6.1 in", "--target", "6 inH2O"), ("nothing",), (),
    ("vacuum", "18 psi"), ("drive", "--holes", "40"), ("drive", "--row-width", "30in", "--holes", "40"), ("fan",),
    ("wire",), ("slip", "--free", "40"), ("hole",), ("proof", "--seen", "x"), ("proof", "--seen", "5/3"), ("cost",),
    ("drive", "--row-width", "30in", "--holes", "40", "--wheel", "90in", "--sprockets", "20-29"),
    ("spacing", "6.1 in", "a.csv"), ("hole", "--covered", "130%"), ("proof", "--limit", "50%"),
    ("spacing", "6.1 in", "--target", "6in", "--limit", "x"),
]


@pytest.mark.parametrize("argv", BAD)
def test_bad_commands_tell_what_and_remedy(capsys: pytest.CaptureFixture[str], argv: tuple[str, ...]) -> None:
    """Bad input ends with exit code 2 and a message, as JSON when JSON was asked for."""
    code, _, err = told(capsys, *argv)
    as_json = told(capsys, *argv, "--json")

    assert (2, 2) == (code, as_json[0])
    assert err.startswith("diag: ")
    error = json.loads(as_json[1])["error"]
    assert {"what", "where", "remedy"} == set(error)
    assert error["what"]
    assert error["remedy"]


def test_stdin_is_a_file(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """A single dash reads standard input."""
    import io

    monkeypatch.setattr("sys.stdin", io.StringIO("spacing_in\n" + "6.1\n" * 30))

    assert 30 == read(capsys, "spacing", "-", "--target", "6in")["results"]["spacings"]["value"]


# -------------------------------------------------------------------------------------------- charts


def test_histogram_counts_all_and_draws_the_limits() -> None:
    """The counts of the lines are all spacings; values on a class limit lie below its line."""
    drawn = charts.histogram([0.5, 1.0, 1.5, 9.9], 1.0, 60)
    lines = drawn.splitlines()

    assert 4 == sum(int(line[13:20]) for line in lines[1:] if not line.startswith("-"))
    assert 2 == sum(line.startswith("--------") for line in lines)
    assert "0.25 to 0.50      1" in drawn
    assert "1.25 to 1.50      1" in drawn


@pytest.mark.parametrize("width", [40, 60, 78])
def test_charts_keep_their_width(width: int) -> None:
    """No chart is wider than it was asked to be."""
    drawn = [
        charts.histogram([0.3] * 50 + [1.0] * 400, 1.0, width),
        charts.rows({1: "20 inH2O", 12: "18 inH2O"}, {12: "low"}, {}, width),
        charts.strip([1.0, 2.1, 0.3] * 20, 1.0, width),
        charts.holes([1.0] * 60 + [0.0, 2.0, 0.5], width),
        charts.log([0.0, 10.0], [18.0, 20.0], ["18 inH2O", "20 inH2O"], width),
    ]

    assert all(len(line) <= max(width, 56) for chart in drawn for line in chart.splitlines())


def test_bars_show_something_for_anything() -> None:
    """The smallest share still has a mark, nothing has none."""
    assert ["", "#", "#" * 10] == [charts.bar(v, 10) for v in (0.0, 0.001, 1.0)]


def test_notes_hang() -> None:
    """A folded note is indented below its dash."""
    assert "- aaa bbb\n  ccc" == note("aaa bbb ccc", 10)


def test_through_the_whole_command_line(capsys: pytest.CaptureFixture[str]) -> None:
    """Options of `diag measure` that begin like common ones reach it, and so does --help."""
    from diag.cli import main as diag

    code = diag(["measure", "spacing", *T1, "--unit", "in", "--target", "6in", "--units", "metric", "--json"])
    data = json.loads(capsys.readouterr().out)
    with pytest.raises(SystemExit) as left:
        diag(["measure", "vacuum", "--help"])

    assert (0, "15.2 cm", 0) == (code, data["results"]["target"]["shown"], left.value.code)
    assert "--healthy" in capsys.readouterr().out


def whole(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any] | list[Any]:
    """What the whole command line gives, with the limits of the shipped knowledge, as JSON."""
    from diag.cli import main

    assert main(["measure", *words, "--json"]) == 0
    found: dict[str, Any] | list[Any] = json.loads(capsys.readouterr().out)
    return found


def test_rows_of_any_quantity_by_command(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Typed or from a file, judged by the limits for that quantity; one row against another with --pair."""
    typed = whole(capsys, "rows", "18 19 18 41 18 in-lb", "--quantity", "torque", "--pair", "4,3")
    assert isinstance(typed, list)
    assert [("one_high", "row_compare"), (41 / 18, "pair")] == [
        (typed[0]["results"]["pattern"]["value"], typed[0]["analysis"]),
        (pytest.approx(typed[1]["results"]["ratio"]["value"]), typed[1]["analysis"])]
    table = tmp_path / "amps.csv"
    table.write_text("row,current_a\n3,2.0\n4,2.1\n5,0.9\n6,2.0\n", encoding="utf-8")
    read_ = whole(capsys, "rows", str(table))
    assert isinstance(read_, dict)
    assert "Row 5 low (0.9 A" in read_["words"]


def test_vacuum_by_command_is_held_against_set_and_limits(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a limit on the command line those of the knowledge hold; one that is given stands above them."""
    typed = ("vacuum", "13.9 14 13.8 13.9 13.9 inH2O", "--set", "18inH2O")
    by_knowledge, by_hand = whole(capsys, *typed), whole(capsys, *typed, "--all-limit", "5inH2O")
    assert isinstance(by_knowledge, dict)
    assert isinstance(by_hand, dict)
    assert ("all_low", "even") == tuple(d["results"]["pattern"]["value"] for d in (by_knowledge, by_hand))
