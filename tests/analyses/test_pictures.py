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
