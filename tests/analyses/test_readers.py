"""Readings from files, pastes and dictation: every form of the trade in, every error with line and remedy."""

from __future__ import annotations

import contextlib
import itertools
import tracemalloc
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.analyses import dictation
from diag.errors import DiagError, MeasureError
from diag.figures.table import LONGEST_LINE, MOST_VALUES, read_file, read_lines, read_text
from diag.units import Measured

SPACING = ("spacing", "position")

GOOD = [
    ("spacing_in\n6.1\n5.8\n", SPACING, None, "spacing", [0.15494, 0.14732]),
    ("Spacing (mm)\n155\n162,5\n".replace(",5", ".5"), SPACING, None, "spacing", [0.155, 0.1625]),
    ("spacing_cm;note\n15,5;ok\n16,25;x\n", SPACING, None, "spacing", [0.155, 0.1625]),
    ("spacing_cm\tnote\n15,5\tok\n", SPACING, None, "spacing", [0.155]),
    ("spacing\n6.1\n", SPACING, "in", "spacing", [0.15494]),
    ("spacing_in\n6.1\n165 mm\n6 1/2\n", SPACING, None, "spacing", [0.15494, 0.165, 0.1651]),
    ("position_mm\n0\n155\n310\n", SPACING, None, "position", [0.0, 0.155, 0.310]),
    ('"spacing_in"\n"6,1"\n', SPACING, None, "spacing", [0.15494]),
    ("\ufeffspacing_in\r\n6.1\r\n\r\n5.8\r\n".lstrip("\ufeff"), SPACING, None, "spacing", [0.15494, 0.14732]),
    ("6.1 5.8 6.4 in", SPACING, None, "spacing", [0.15494, 0.14732, 0.16256]),
    ("6.1, 5.8, 6.4 in", SPACING, None, "spacing", [0.15494, 0.14732, 0.16256]),
    ("6.1,5.8,6.4", SPACING, "in", "spacing", [0.15494, 0.14732, 0.16256]),
    ("15,5 16,2 cm", SPACING, None, "spacing", [0.155, 0.162]),
    ("15,5; 16,2 cm", SPACING, None, "spacing", [0.155, 0.162]),
    ("6 1/2 in 5.8 in", SPACING, None, "spacing", [0.1651, 0.14732]),
    ("155\n162\n", SPACING, "mm", "spacing", [0.155, 0.162]),
    ("31 32 33", ("count",), None, "count", [31.0, 32.0, 33.0]),
]


@pytest.mark.parametrize(("text", "wanted", "unit", "name", "values"), GOOD)
def test_forms_that_are_read(text: str, wanted: tuple[str, ...], unit: str | None, name: str,
                             values: list[float]) -> None:
    """Headers, units in header, cell or beside, comma or point, lists with one unit for all."""
    table = read_text(text, wanted, unit)

    assert name == table.name
    assert values == pytest.approx(list(table.values))


BAD = [
    ("spacing_in\n6,1\n", SPACING, ":2", "semicolons"),
    ("spacing\n6.1\n", SPACING, ":2", "unit"),
    ("6.1 5.8", SPACING, ":1", "unit"),
    ("width_in\n6\n", SPACING, ":1", "spacing_in"),
    ("", SPACING, "", "one spacing per line"),
    ("\n\n", SPACING, "", "one spacing per line"),
    ("spacing_in\n", SPACING, "", "below it"),
    ("spacing_in\n6.1\nnan\n", SPACING, ":3", "number"),
    ("spacing_in\n6.1\n\n-2\n", SPACING, ":4", "figure"),
    ("spacing_in\n6.1\n18 psi\n", SPACING, ":3", "in or cm"),
    ("spacing_in;x\n6.1;a\n;b\n", SPACING, ":3", "Fill it in"),
    ("spacing_psi\n6\n", SPACING, ":2", "in or cm"),
    ("spacing_in\n1e3\n", SPACING, ":2", "figures out"),
    ("position_in\n0\n6\n5\n", SPACING, ":4", "one end"),
    ("row,vacuum_inh2o\n1,18\n2,18 psi\n", ("vacuum",), ":3", "18 inH2O"),
    ("row,vacuum_inh2o\n0,18\n", ("vacuum",), ":2", "counted 1, 2, 3"),
    ("row,vacuum_inh2o\n1,18,3\n", ("vacuum",), ":2", "semicolons"),
    ("time,vacuum_kpa\n0,4.5\n0,4.6\n", ("vacuum",), ":3", "order of time"),
    ("6,1,5,8 cm", SPACING, ":1", "6.1 5.8 cm"),
    ("a\0b", SPACING, ":1", "CSV"),
]


@pytest.mark.parametrize(("text", "wanted", "place", "remedy"), BAD)
def test_bad_input_names_line_and_remedy(text: str, wanted: tuple[str, ...], place: str, remedy: str) -> None:
    """Empty, no unit, negative, not a number, wrong column, mixed dimensions: line and remedy are told."""
    with pytest.raises(DiagError) as caught:
        read_text(text, wanted, where="walk.csv")

    assert f"walk.csv{place}" == caught.value.where
    assert remedy in f"{caught.value.what} {caught.value.remedy}"


def test_rows_not_read_are_left_out() -> None:
    """A dash means not read; in a bare list the later rows keep their numbers."""
    table = read_text("row,vacuum_inh2o\n1,18\n2,-\n3,17\n1,18.1\n", ("vacuum",))
    bare = read_text("18 - 17 inH2O", ("vacuum",))

    assert (1, 3, 1) == table.rows
    assert (1, 3) == bare.rows


def test_a_file_of_several_rows_is_split() -> None:
    """Spacings of several rows in one file are never run into each other."""
    table = read_text("row,spacing_in\n1,6\n2,7\n1,8\n", ("spacing",))

    assert {1: (0.1524, 0.2032), 2: (0.1778,)} == {
        r: pytest.approx(t.values) for r, t in table.by_row().items()}


def test_files_in_other_encodings(tmp_path: Path) -> None:
    """UTF-16 from a spreadsheet is read; bytes that are no text are refused."""
    (tmp_path / "wide.csv").write_text("spacing_in\n6.1\n", encoding="utf-16")
    (tmp_path / "bytes.csv").write_bytes(b"spacing_in\n6.1\xff\xfe\x80\n")

    assert 1 == len(read_file(tmp_path / "wide.csv", SPACING).values)
    with pytest.raises(MeasureError, match="no text file"):
        read_file(tmp_path / "bytes.csv", SPACING)


@pytest.mark.parametrize("name", ["missing.csv", "."])
def test_no_such_file(tmp_path: Path, name: str) -> None:
    """A missing file and a folder are refused with a remedy."""
    with pytest.raises(MeasureError) as caught:
        read_file(tmp_path / name, SPACING)

    assert caught.value.remedy


def test_endless_input_is_refused_at_its_limit() -> None:
    """A column without end (ten million values or more) says no at the limit, naming the line."""
    taken = itertools.count()
    endless = itertools.chain(["spacing_in\n"], ("6.5\n" for _ in taken))
    with pytest.raises(MeasureError, match=f"more than {MOST_VALUES}") as caught:
        read_lines(endless, SPACING, None, "huge.csv")

    assert f"huge.csv:{MOST_VALUES + 2}" == caught.value.where
    assert MOST_VALUES + 1 == next(taken)


def test_an_endless_line_is_refused_unread(tmp_path: Path) -> None:
    """Ten million values on one line are refused after the first million characters, in little memory."""
    path = tmp_path / "line.csv"
    with open(path, "w") as handle:
        for _ in range(100):
            handle.write("6.5 " * 100_000)
    tracemalloc.start()
    with pytest.raises(MeasureError, match=f"longer than {LONGEST_LINE}"):
        read_file(path, SPACING)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()

    assert peak < 20e6


@given(st.lists(st.integers(1, 99_999), min_size=1, max_size=30), st.sampled_from(["in", "mm", "cm"]),
       st.sampled_from([".", ","]))
def test_what_was_written_is_read(tenths: list[int], unit: str, mark: str) -> None:
    """A column of decimals comes back whatever the decimal mark and the unit."""
    cells = [f"{t // 10}{mark}{t % 10}" for t in tenths if t / 10 < 2000]
    if not cells:
        return
    table = read_text(f"spacing_{unit};note\n" + "".join(f"{c};x\n" for c in cells), SPACING)

    assert [Measured(c.replace(",", "."), unit).si() for c in cells] == pytest.approx(list(table.values))


@given(st.text(max_size=80))
def test_any_text_is_read_or_refused(text: str) -> None:
    """No paste whatever gives a traceback."""
    for wanted in (SPACING, ("vacuum",), ("count",)):
        with contextlib.suppress(DiagError):
            assert read_text(text, wanted, "in" if wanted == SPACING else None).values


# ----------------------------------------------------------------------------------------- dictation


def test_tally_by_keys_counts_and_tells() -> None:
    """One key for each spacing, a running count with its band, and undo."""
    tally = dictation.tally_of("ggcg lgg,g")

    assert (6, 1, 1) == (tally.good, tally.close, tally.gap)
    assert "8 spacings: 6 good, 1 close, 1 gaps" in tally.running()
    assert tally == tally.add("l").add("l", -1)
    assert {"good": (6, 8), "close": (1, 8), "gap": (1, 8)} == tally.counts()


def test_a_wrong_key_is_named() -> None:
    """A key that means nothing is refused with its place."""
    with pytest.raises(MeasureError, match=r"key 3"):
        dictation.tally_of("ggz")


def test_tape_positions_must_rise_at_once() -> None:
    """A position that does not lie beyond the last is refused as it is typed; the unit carries on."""
    first = dictation.next_position((), "6.1 in")
    second = dictation.next_position((first,), "12,4")

    assert Measured("12.4", "in") == second
    with pytest.raises(MeasureError, match="position 3"):
        dictation.next_position((first, second), "12.4")


def test_values_are_read_back_figure_by_figure() -> None:
    """Read back aloud, 18.5 cannot be taken for 80.5."""
    assert "one eight point five inches of water" == dictation.read_back(Measured("18.5", "inH2O"))
    assert "row one two: not read" == dictation.read_back_row(12, None)


def test_a_misheard_value_is_asked_for_again() -> None:
    """80.1 among values near 18 is doubtful; a slow trend is not."""
    called = [Measured(v, "inH2O") for v in ("18.1", "80.1", "18.0", "17.9")]

    assert [1] == dictation.doubtful(called)
    assert [] == dictation.doubtful([Measured(str(v), "inH2O") for v in (12, 14, 16, 18, 20)])
