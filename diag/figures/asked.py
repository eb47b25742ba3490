"""What is asked for, and what was read: values by place, how they are understood, how they can be typed again."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Literal

from diag.errors import AmbiguousError, UsageError
from diag.units import UNITS, Measured, is_usual, value_words

AGAIN = "again"
"""Place of a reading of the first row, taken again at the end of a walk."""
NOT_READ = "-"
MOST_ROWS = 200
READINGS = ("value", "values", "spacings", "positions", "log")
"""Fields of an answer that hold figures."""


@dataclass(frozen=True)
class Asked:
    """What is wanted: the quantity, the unit of the gauge where none is typed, and by what values are told apart.

    `rows`: how many rows the machine has, None where it is not known. `labels`: names of the places, in order.
    `least`: fewest values worth taking. `kind` "one" wants exactly one value, "list" any number in order.
    `where`: name of the file, for errors. `loose`: anything measured in the quantity's units, of any size.
    """

    quantity: str
    unit: str | None = None
    kind: Literal["one", "list", "rows", "labels"] = "one"
    rows: int | None = None
    labels: tuple[str, ...] = ()
    least: int = 1
    where: str = ""
    loose: bool = False


@dataclass(frozen=True, slots=True)
class PlacedValue:
    """One value with its place ("7", "again", a label); `value` None: marked as not read. `line`: where it stands."""

    place: str
    value: Measured | None
    line: int = 1


@dataclass(frozen=True)
class Understood:
    """Values as they were understood. `assumed`: no unit was typed. `other`: a second reading that is as good."""

    asked: Asked
    items: tuple[PlacedValue, ...]
    assumed: bool = False
    other: Understood | None = field(default=None, compare=False)

    @property
    def values(self) -> dict[str, Measured]:
        """The values that were read, by place."""
        return {i.place: i.value for i in self.items if i.value is not None}

    @property
    def usual(self) -> bool:
        """True when every value is of the size people measure."""
        return all(is_usual(v, self.asked.quantity) for v in self.values.values())

    @property
    def understood(self) -> str:
        """The reading in words, as it is read back."""
        places = self.asked.kind in ("rows", "labels")
        return understood({i.place: i.value and i.value.as_json() for i in self.items}) if places else self.typed

    @property
    def typed(self) -> str:
        """The reading as it can be typed without a doubt."""
        return typed([(i.place, i.value) for i in self.items], places=self.asked.kind in ("rows", "labels"))

    def sure(self) -> Understood:
        """Return the reading. Raises AmbiguousError with both readings where there are two."""
        if self.other is None:
            return self
        raise AmbiguousError(f"This may mean {self.understood}; or {self.other.understood}.",
                             remedy=f'Type "{self.typed}" or "{self.other.typed}".')


def check_row(row: int, count: int | None, where: str = "") -> int:
    """Return a row that the machine has; `count` None: not known. Raises UsageError naming its number of rows."""
    most = MOST_ROWS if count is None else count
    remedy = f"Name rows from 1 to {most}."
    if 1 <= row <= most:
        return row
    if row < 1:
        raise UsageError("There is no row 0: rows are counted from 1 at the left.", where, remedy)
    machine = f"no planter has more than {MOST_ROWS}" if count is None else f"this machine has {count} rows"
    raise UsageError(f"There is no row {row}: {machine}.", where, remedy)


def understood(values: Mapping[str, object]) -> str:
    """Return stored values by place in words: "row 6 18.2, row 7 not read inH2O", "rows 12 to 1: 18, 17 inH2O"."""
    units = {v["unit"] if isinstance(v, Mapping) and "unit" in v else "" for v in values.values() if v is not None}
    unit = units.pop() if len(units) == 1 else ""
    told = {p: "" if v is None else v["value"] if unit and isinstance(v, Mapping) else value_words(v)
            for p, v in values.items()}
    rows = [int(p) for p in values if p.isdigit()]
    steps = {b - a for a, b in pairwise(rows)}
    if len(rows) == len(values) > 2 and steps in ({1}, {-1}):
        text = f"rows {rows[0]} to {rows[-1]}: {', '.join(t or NOT_READ for t in told.values())}"
    else:
        text = ", ".join(f"{place_words(p)} {t or 'not read'}" for p, t in told.items())
    return f"{text} {_label(unit)}".strip()


def reading_words(body: Mapping[str, Any]) -> str:
    """Return what an answer's body holds in figures, as it was understood; "" for an answer without any."""
    if body.get("values"):
        return understood(body["values"])
    for kind in ("spacings", "positions"):
        if body.get(kind):
            told = body[kind]["values"]
            return f"{len(told)} {kind}, {told[0]} to {told[-1]} {_label(body[kind]['unit'])}" if told else f"no {kind}"
    if body.get("log") and body["log"]["points"]:
        log = body["log"]
        (_, first), (time, last) = log["points"][0], log["points"][-1]
        return (f"{len(log['points'])} readings in {time} {_label(log['time_unit'])}, "
                f"{first} to {last} {_label(log['unit'])}")
    return value_words(body.get("value"))


def _label(unit: str) -> str:
    return UNITS[unit].label if unit in UNITS else unit


def place_words(place: str) -> str:
    """Return a place in words: "row 7", "the first row again", "left wing"."""
    if place == AGAIN:
        return "the first row again"
    return f"row {place}" if place.isdigit() else place.replace("_", " ")


def typed(items: Iterable[tuple[str, Measured | None]], *, places: bool) -> str:
    """Return values as one types them, with their places or in order; the unit once at the end where it is one."""
    items = list(items)
    unit = _one_unit(v for _, v in items)
    told = [NOT_READ if v is None else v.value if unit else f"{v.value} {v.unit}" for _, v in items]
    if places:
        told = [f"{place}: {text}" for (place, _), text in zip(items, told, strict=True)]
    label = unit if unit and UNITS[unit].label else ""
    return f"{(', ' if places else ' ' if unit else '; ').join(told)} {label}".strip()


def _one_unit(values: Iterable[Measured | None]) -> str | None:
    units = {v.unit for v in values if v is not None}
    return units.pop() if len(units) == 1 else None
