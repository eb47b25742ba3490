"""What holds for every text: a value spelt in any accepted form comes back, and time grows with the length alone."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from decimal import Decimal
from functools import partial
from types import FrameType
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from diag import figures
from diag.errors import DiagError
from diag.figures import Asked, counts, marks, numbers, places, scan, table, values
from diag.units import UNITS, Measured

PRESSURE = ("inH2O", "kPa", "mbar", "in. w.c.", "inches of water", "Pa")
LENGTH = ("in", '"', "inches", "mm", "cm")


@st.composite
def numbers_spelt(draw: st.DrawFn) -> tuple[str, Decimal]:
    """Return a number in some spelling, and the number; never a form that has two meanings."""
    whole, part = draw(st.integers(1, 40)), draw(st.integers(0, 15))
    how = draw(st.sampled_from(["decimal", "fraction", "dashed", "sign", "plain"]))
    if how == "plain" or (part == 0 and how != "decimal"):
        return str(whole), Decimal(whole)
    if how == "decimal":
        mark = draw(st.sampled_from(".,"))
        return f"{whole}{mark}{part:02d}", Decimal(f"{whole}.{part:02d}")
    if how == "sign":
        return f"{whole}{draw(st.sampled_from(['', ' ']))}\u00bd", whole + Decimal("0.5")
    return f"{whole}{' ' if how == 'fraction' else '-'}{part}/16", whole + Decimal(part) / 16


def unit_of(name: str) -> str:
    """Return the canonical name of a spelling."""
    return figures.measured(f"1 {name}", "pressure" if name in PRESSURE else "length").unit


@given(numbers_spelt(), st.sampled_from(PRESSURE + LENGTH),
       st.sampled_from(["{n} {u}", "{n}{u}", "{u} {n}", "{u}: {n}"]))
def test_a_value_comes_back(number: tuple[str, Decimal], unit: str, form: str) -> None:
    """Number and unit in any order and spelling are one value."""
    found = figures.measured(form.format(n=number[0], u=unit), "pressure" if unit in PRESSURE else "position")
    assert (Decimal(found.value), found.unit) == (number[1], unit_of(unit))


def spell_rows(draw: Any, told: dict[int, tuple[str, Decimal]], unit: str) -> str:
    """Return values by row in some accepted form."""
    rows = list(told)
    form = draw(st.sampled_from(["colon", "word", "pairs", "lines", "from", "equals"]))
    texts = {r: told[r][0] for r in rows}
    end = f" {unit}"
    if form == "from" and rows == list(range(rows[0], rows[-1] + 1)):
        return f"from {rows[0]}: " + draw(st.sampled_from([" ", "; "])).join(texts.values()) + end
    mark = {"colon": ": ", "word": " ", "pairs": " ", "lines": "\t", "equals": " = ", "from": ": "}[form]
    word = "row " if form == "word" else ""
    between = "\n" if form == "lines" else draw(st.sampled_from(["; ", ", "]))
    each = draw(st.booleans())
    listed = between.join(f"{word}{r}{mark}{texts[r]}{end if each else ''}" for r in rows)
    return listed if each else listed + end


@given(st.data(), st.lists(st.integers(1, 24), min_size=2, max_size=12, unique=True), st.sampled_from(PRESSURE[:3]))
def test_values_by_row_come_back(data: st.DataObject, rows: list[int], unit: str) -> None:
    """Rows and values in any accepted form are the same reading, or both readings are given."""
    told = {r: data.draw(numbers_spelt()) for r in sorted(rows)}
    read = figures.read(spell_rows(data.draw, told, unit), Asked("pressure", kind="rows", rows=24))
    wanted = {str(r): n for r, (_, n) in told.items()}
    assert wanted in [{k: Decimal(v.value) for k, v in r.values.items()} for r in (read, read.other) if r]
    assert read.other is None


@given(st.lists(numbers_spelt(), min_size=2, max_size=20), st.sampled_from(["; ", "\n", ";"]), st.sampled_from(LENGTH))
def test_a_list_comes_back(told: list[tuple[str, Decimal]], between: str, unit: str) -> None:
    """Values in order, the unit once for all."""
    read = figures.read(between.join(t for t, _ in told) + f" {unit}", Asked("position", kind="list"))
    assert [n for _, n in told] == [Decimal(v.value) for v in read.values.values()]
    assert read.other is None


@given(st.dictionaries(st.integers(1, 24).map(str), st.none() | st.decimals(0, 99, places=1).map(
    lambda n: Measured(f"{n:f}", "inH2O")), min_size=1, max_size=24))
def test_what_is_typed_out_is_read_again(values: dict[str, Measured | None]) -> None:
    """The unmistakable spelling of a reading is read as that reading."""
    text = figures.typed(values.items(), places=True)
    if any(values.values()):
        read = figures.read(text, Asked("vacuum", kind="rows", rows=24))
        assert (values, None) == ({i.place: i.value for i in read.items}, read.other)


def read_or_remedy(text: str, asked: Asked) -> tuple[figures.Understood | None, str]:
    """Return the reading, or what to do about it."""
    try:
        return figures.read(text, asked), ""
    except DiagError as error:
        return None, error.remedy


PIECES = ("6", "18.2", "7", "18,5", "1/2", "row", ":", ",", ";", "\n", "-", "inH2O", "kPa", "from", "again", "of",
          "left", "000", "'", '"', "ft", "k", "\u00b2", "x", "down", "=")


@given(st.lists(st.sampled_from(PIECES), max_size=14))
def test_any_mixture_is_read_or_refused(pieces: list[str]) -> None:
    """Whatever is typed gives a reading or a remedy, in every kind; two readings differ and can each be typed."""
    text = " ".join(pieces)
    for quantity in ("vacuum", "position", "rate"):
        for kind in ("one", "list", "rows", "labels"):
            asked = Asked(quantity, None, kind, 12, ("left", "right"))  # type: ignore[arg-type]
            read, remedy = read_or_remedy(text, asked)
            assert read or remedy
            assert not (read and read.other) or read.values != read.other.values
            for one in filter(None, (read, read.other if read else None)):
                again = figures.read(one.typed, asked)
                assert [(i.place, i.value) for i in one.items] == [(i.place, i.value) for i in again.items]
    for take in (figures.count, lambda t: figures.counts(t, ("left", "right")), figures.setting,
                 lambda t: figures.log(t, Asked("vacuum"))):
        with suppress(DiagError):
            take(text)


# --- time -----------------------------------------------------------------------------------------------

OVER_AND_OVER = (
    "18 ", "1,", "in ", "a", "1/", "(", "-", "1 1/2 ", "6: 18 ", "1' ", " ", "k", "1 k ", "row 6 ", "per ", "in.",
    "g per 1000 ", "1 000 ", "1:", "1\n", "1;2 ", "6 18, ", "left ", "of 1 ", "1 of ", "5 ft 3 in ", "x ", "0",
)


def steps(work: Callable[[], object]) -> int:
    """Return how many calls, of Python and of C, some work makes."""
    made = 0

    def count(frame: FrameType, event: str, argument: object) -> None:
        nonlocal made
        made += event in ("call", "c_call")

    sys.setprofile(count)
    try:
        with suppress(DiagError):
            work()
    finally:
        sys.setprofile(None)
    return made


@pytest.mark.parametrize("piece", OVER_AND_OVER)
def test_twice_the_text_takes_at_most_twice_the_steps(piece: str) -> None:
    """Linear in the length, for every kind that is asked."""
    kinds = [lambda t, k=k: figures.read(t, Asked("length", "in", k, 12, ("left", "right")))
             for k in ("one", "list", "rows", "labels")]
    kinds += [figures.count, lambda t: figures.counts(t, ("left", "right")), figures.setting,
              lambda t: figures.log(t, Asked("vacuum", "inH2O")), lambda t: table.read_text(t, ("vacuum",), "inH2O")]
    for read in kinds:
        short, long = (steps(partial(read, piece * n)) for n in (500, 1000))
        assert long <= 2.1 * short + 200


def patterns() -> Iterator[tuple[str, str]]:
    """Yield every pattern of the package by its name."""
    for module in (marks, numbers, places, scan, values, table, sys.modules[counts.__module__]):
        for name, value in vars(module).items():
            if isinstance(value, re.Pattern):
                yield f"{module.__name__}.{name}", value.pattern


def open_repeats(parsed: Any, inside: bool = False) -> Iterator[bool]:
    """Yield, for every repeat without end that can give back, whether it stands inside another one."""
    for name, argument in parsed:
        repeat = str(name) == "MAX_REPEAT" and argument[1] == re._constants.MAXREPEAT  # type: ignore[attr-defined]
        if repeat:
            yield inside
        for part in argument if isinstance(argument, tuple | list) else (argument,):
            for deeper in part if isinstance(part, list) else (part,):
                if isinstance(deeper, re._parser.SubPattern):  # type: ignore[attr-defined]
                    yield from open_repeats(deeper, inside or repeat)


def test_no_pattern_repeats_a_repeat() -> None:
    """The time within a pattern is linear too: no repeat that can give back stands inside another."""
    bad = [name for name, text in patterns() if any(open_repeats(re._parser.parse(text)))]  # type: ignore[attr-defined]
    assert bad == []
    assert any(open_repeats(re._parser.parse("(?:a+)+")))  # type: ignore[attr-defined]


def test_too_long_a_text_is_refused() -> None:
    """Typed text has an end; a file may be longer."""
    with pytest.raises(DiagError, match=f"longer than {scan.MOST_TYPED}"):
        figures.read("1 " * scan.MOST_TYPED, Asked("count", kind="list"))


def test_every_quantity_and_unit_can_be_read() -> None:
    """Each unit of each dimension, typed after a number, is that unit."""
    for unit in UNITS.values():
        for name in (unit.name, *unit.aliases):
            read = figures.read(f"7 {name}", Asked(unit.quantity, loose=True))
            assert read.values == {"1": Measured("7", unit.name)}
