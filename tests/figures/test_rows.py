"""Rows as typed and as stored."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag.errors import UsageError
from diag.figures.rows import (
    MOST_ROWS,
    Rows,
    check_row,
    expand,
    from_stored,
    is_stored,
    parse_rows,
    show_rows,
    to_stored,
)

WINGS = {"left wing": [1, 2, 3, 4], "Right Wing": [9, 10, 11, 12], "between, units": [2, 4]}


@pytest.mark.parametrize(
    ("typed", "rows"),
    [
        ("7", (7,)),
        ("row 7", (7,)),
        ("3, 7-9", (3, 7, 8, 9)),
        ("9,3,3", (3, 9)),
        ("3 to 5", (3, 4, 5)),
        ("rows 3 – 5", (3, 4, 5)),
        ("7 and 9", (7, 9)),
        ("all", "all"),
        ("All rows", "all"),
        ("1-12", "all"),
        ("all but 4", (1, 2, 3, 5, 6, 7, 8, 9, 10, 11, 12)),
        ("all except 2-12", (1,)),
        ("all but left wing, 12", (5, 6, 7, 8, 9, 10, 11)),
        ("left wing", (1, 2, 3, 4)),
        ("LEFT  wing, right wing", (1, 2, 3, 4, 9, 10, 11, 12)),
        ("between, units", (2, 4)),
        ("every 2nd", (2, 4, 6, 8, 10, 12)),
        ("every 2nd from 1", (1, 3, 5, 7, 9, 11)),
        ("every other", (2, 4, 6, 8, 10, 12)),
        ("every 5th", (5, 10)),
        ("every 1st", "all"),
    ],
)
def test_typed_forms(typed: str, rows: Rows) -> None:
    """Every form people type, on a machine of twelve rows with two wings."""
    assert rows == parse_rows(typed, 12, WINGS)


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("13", "There is no row 13: this machine has 12 rows."),
        ("2-40", "There is no row 40: this machine has 12 rows."),
        ("0", "counted from 1"),
        ("9-7", "runs backwards"),
        ("all but 1-12", "leaves no row"),
        ("", "is not a row"),
        ("3,", "is not a row"),
        ("-3", "is not a row"),
        ("seven", '"seven" is not a row'),
        ("middle wing", "is not a row"),
        ("every 0th", "takes no row"),
        ("every 20th", "There is no row 20"),
        ("1e9", "is not a row"),
        ("999999999999", "is not a row"),
    ],
)
def test_refused_with_place(typed: str, said: str) -> None:
    """What cannot be says why, names the machine's rows, the place and a way out."""
    with pytest.raises(UsageError) as caught:
        parse_rows(typed, 12, WINGS, where="seed gap, rows")

    assert said in caught.value.what
    assert "seed gap, rows" == caught.value.where
    assert caught.value.remedy


def test_number_of_rows_unknown() -> None:
    """Without N plain rows and "all" go; what must count the rest asks for N."""
    assert (3, 7) == parse_rows("3, 7", None)
    assert "all" == parse_rows("all", None)
    for typed in ("all but 4", "every 2nd"):
        with pytest.raises(UsageError, match="needs the number of rows"):
            parse_rows(typed, None)
    with pytest.raises(UsageError, match="no planter has more"):
        parse_rows(f"{MOST_ROWS + 1}", None)


def test_sections_are_offered() -> None:
    """A wrong section name is answered with the ones there are."""
    with pytest.raises(UsageError, match="left wing"):
        parse_rows("lft wing", 12, WINGS)


def test_expand_and_check() -> None:
    """"all" stands for every row once N is known; stored rows are held against N."""
    assert (1, 2, 3) == expand("all", 3)
    assert (2, 9) == expand((2, 9), None)
    with pytest.raises(UsageError):
        expand("all", None)
    assert 9 == check_row(9, 12)
    with pytest.raises(UsageError, match="8 rows"):
        check_row(9, 8)


@pytest.mark.parametrize("value", [[], [0], [2, 1], [1, 1], ["1"], [True], [1.0], "some", None, {}, [999]])
def test_not_the_stored_form(value: object) -> None:
    """Anything else than "all" or a sorted list of whole numbers is no stored form."""
    assert not is_stored(value)


rows = st.sets(st.integers(1, 24), min_size=1, max_size=23).map(lambda s: tuple(sorted(s)))


@given(rows | st.just("all"))
def test_shown_rows_can_be_typed_again(value: Rows) -> None:
    """show_rows and parse_rows, to_stored and from_stored undo each other."""
    assert value == parse_rows(show_rows(value), 24)
    assert value == from_stored(to_stored(value))
    assert is_stored(to_stored(value))


@given(rows)
def test_all_but_is_the_rest(left_out: tuple[int, ...]) -> None:
    """`all but X` and X share no row and make up the machine."""
    rest = parse_rows(f"all but {show_rows(left_out)}", 24)

    assert set(range(1, 25)) == set(expand(rest, 24)) | set(left_out)
    assert not set(expand(rest, 24)) & set(left_out)
