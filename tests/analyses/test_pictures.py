"""Pictures of readings in text: a strip of seeds to scale, the rows as they stand on the machine."""

from __future__ import annotations

from diag.analyses import charts


def test_a_strip_of_seeds_is_to_scale() -> None:
    """Four columns to a target spacing; a gap is drawn and named, a close pair marked beneath it."""
    drawn = charts.strip([6.5, 13.0, 6.5, 1.0], 6.5, 40).splitlines()
    assert drawn[1:] == ["o   o-------o   oo", "      gap        2"]


def test_rows_stand_wing_by_wing_and_odd_ones_are_named() -> None:
    """Numbers above, values beneath; a row that stands out is in brackets and told with its value."""
    drawn = charts.rows({1: "18 inH2O", 2: "11 inH2O", 3: "18.2 inH2O"}, {2: "low"}, {"left": (1, 2)}, 40)
    assert drawn.splitlines() == ["left", "     1     [2]", "    18     11", "other rows", "     3", "  18.2",
                                  "row 2: 11 inH2O, low"]


def test_a_log_is_dots_over_time() -> None:
    """The highest stands on top, the lowest at the bottom, each dot above its second; one reading is one dot."""
    drawn = charts.log([0, 10, 20, 30], [18, 15, 17, 16.5], ["18 inH2O", "15 inH2O", "17 inH2O", "16.5 inH2O"], 22)
    assert drawn.splitlines() == [
        "18 inH2O o", "", "         " + "        o", "         " + "            o", "", "",
        "15 inH2O     o", "         0 s      30 s",
    ]
    assert charts.log([5], [18], ["18 inH2O"], 40).splitlines() == ["18 inH2O o", "         5 s"]
    level = charts.log([0, 9], [18, 18], ["18 inH2O"] * 2, 20).splitlines()
    assert level == ["18 inH2O o         o", "         0 s     9 s"]


def test_a_wing_stands_on_one_line_where_it_can() -> None:
    """Rows move closer before one of them goes to a line of its own; too many of them keep their distance."""
    texts = {row: f"2.{row} A" for row in range(1, 17)}
    wings = {"left": range(1, 9), "right": range(9, 17)}
    drawn = charts.rows(texts, {12: "high"}, wings, 46).splitlines()
    assert [line.split() for line in drawn[1:2] + drawn[4:5]] == [
        [str(r) for r in range(1, 9)], ["9", "10", "11", "[12]", *map(str, range(13, 17))]]
    assert max(map(len, drawn)) <= 46
    assert charts.rows(texts, {}, {}, 46).splitlines()[0] == "".join(f"{r} ".rjust(7) for r in range(1, 7)).rstrip()
