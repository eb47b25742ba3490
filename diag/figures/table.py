"""Readings from files and pasted text: one header line, a unit somewhere, every error with its line.

CSV columns: spacing or position, `row` with vacuum, current, depth, count or value, `time` with vacuum; a
unit as suffix (spacing_mm, vacuum_kpa) or in brackets, in a cell (which wins), or given beside. Semicolon or
tab separates where commas are decimal marks. Text without a header is read as it would be typed.
Files are read line by line; more than `MOST_VALUES` values, or a line longer than `LONGEST_LINE`, are refused.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import chain
from pathlib import Path
from typing import TextIO

from diag.errors import DiagError, MeasureError
from diag.figures.asked import AGAIN, Asked
from diag.figures.values import measured, read
from diag.text import one_line
from diag.units import QUANTITIES, UNITS, Quantity, Unit, find_unit

MOST_VALUES = 200_000
LONGEST_LINE = 1_000_000
MOST_BARE = 2_000_000
"""Most characters of values without a header line."""

NOT_READ = ("", "-", "--", "n/a", "na", "x")
"""Cells that mean: this row was not read."""

COLUMNS = {
    "spacing": "spacing", "position": "position", "vacuum": "vacuum", "count": "count", "current": "current",
    "depth": "depth", "distance": "length", "torque": "torque", "voltage": "voltage", "time": "time",
}
"""Column names and the quantity of each."""


PER_ROW = ("vacuum", "current", "torque", "voltage")
"""Columns of which a bare list holds one value per row, from row 1."""


@dataclass(frozen=True)
class ValueTable:
    """Values of one file or paste, SI.

    `name`: which column was read. `values`, `rows`, `times`, `lines`: same length; `rows` and `times` empty
    where the file has no such column. `units`: units met, as typed.
    """

    name: str
    values: tuple[float, ...]
    rows: tuple[int, ...] = ()
    times: tuple[float, ...] = ()
    lines: tuple[int, ...] = ()
    units: tuple[str, ...] = ()

    def by_row(self) -> dict[int | None, ValueTable]:
        """Return one table per row of the planter, in order of first appearance; {None: self} without rows."""
        if not self.rows:
            return {None: self}
        found: dict[int | None, list[int]] = {}
        for i, row in enumerate(self.rows):
            found.setdefault(row, []).append(i)
        return {row: ValueTable(self.name, tuple(self.values[i] for i in at), tuple(self.rows[i] for i in at), (),
                           lines=tuple(self.lines[i] for i in at), units=self.units)
                for row, at in found.items()}


@dataclass
class _Column:
    index: int
    name: str
    quantity: Quantity
    unit: str | None


@dataclass
class _Gathered:
    values: list[float] = field(default_factory=list)
    rows: list[int] = field(default_factory=list)
    times: list[float] = field(default_factory=list)
    lines: list[int] = field(default_factory=list)
    units: dict[str, None] = field(default_factory=dict)


def read_file(path: str | Path, wanted: tuple[str, ...], unit: str | None = None) -> ValueTable:
    """Return the first wanted column of a file (or its bare numbers). Raises DiagError naming file and line."""
    where = str(path)
    try:
        with open(path, "rb") as handle:
            start = handle.read(4)
            handle.seek(0)
            encoding = "utf-16" if start[:2] in (b"\xff\xfe", b"\xfe\xff") else "utf-8-sig"
            with io.TextIOWrapper(handle, encoding=encoding, newline="") as text:
                return read_lines(_limited(text, where), wanted, unit, where)
    except FileNotFoundError:
        raise MeasureError("There is no such file.", where, "Check the name.") from None
    except IsADirectoryError:
        raise MeasureError("This is a folder, not a file.", where, "Name the file in it.") from None
    except (UnicodeError, csv.Error):
        raise MeasureError("This is no text file.", where, "Save the table as CSV, encoded as UTF-8.") from None
    except OSError as error:
        raise MeasureError(f"The file cannot be read: {error.strerror}.", where, "Check its rights.") from None


def read_text(text: str, wanted: tuple[str, ...], unit: str | None = None, where: str = "pasted text") -> ValueTable:
    """Return what a paste or the words of a command hold, read like a file. Raises DiagError."""
    return read_lines(_limited(io.StringIO(text), where), wanted, unit, where)


def read_stream(stream: TextIO, wanted: tuple[str, ...], unit: str | None, where: str) -> ValueTable:
    """Return what comes through a pipe, read like a file and no further than a table may be long. Raises DiagError."""
    try:
        return read_lines(_limited(stream, where), wanted, unit, where)
    except (UnicodeError, csv.Error):
        raise MeasureError("This is no text.", where, "Send a table as CSV, encoded as UTF-8.") from None


def _limited(text: TextIO, where: str) -> Iterator[str]:
    """Yield lines, refusing one that is too long to be a table."""
    number = 0
    while line := text.readline(LONGEST_LINE + 1):
        number += 1
        if len(line) > LONGEST_LINE:
            raise MeasureError(f"The line is longer than {LONGEST_LINE} characters.", f"{where}:{number}",
                               "Put one value on each line, or give a part of the file.")
        if "\0" in line:
            raise MeasureError("This is no text file.", f"{where}:{number}", "Save the table as CSV.")
        yield line


def read_lines(lines: Iterator[str], wanted: tuple[str, ...], unit: str | None, where: str) -> ValueTable:
    """Return the table of lines: with a header when the first filled line holds letters that are no unit."""
    skipped, first = 0, ""
    for line in lines:
        if line.strip():
            first = line
            break
        skipped += 1
    if not first:
        raise MeasureError("There are no values.", where, f"Give one {wanted[0]} per line under a header line.")
    if _is_header(first):
        return _table(first, lines, wanted, unit, where=where, before=skipped + 1)
    return _bare(chain([first], lines), wanted[0], unit, where, before=skipped)


def _is_header(line: str) -> bool:
    """Tell whether a line names columns: it begins with a letter and holds no number that stands alone."""
    return bool(re.match(r'\s*"?[A-Za-z_]', line)) and not re.search(r"(?<![\w.])[0-9]", line)


def _separator(header: str) -> str:
    return next((mark for mark in (";", "\t") if mark in header), ",")


# --------------------------------------------------------------------------------------- with header


def _table(header: str, lines: Iterator[str], wanted: tuple[str, ...], unit: str | None, where: str,
           before: int) -> ValueTable:
    mark = _separator(header)
    names = [one_line(cell, limit=60) for cell in next(csv.reader([header.strip()], delimiter=mark))]
    value, row, time = _columns(names, wanted, unit, where, line=before)
    got = _Gathered()
    reader = csv.reader(lines, delimiter=mark)
    for cells in reader:
        number = before + reader.line_num
        if any(c.strip() for c in cells):
            _line(cells, names, value, row, time=time, got=got, mark=mark, where=f"{where}:{number}", number=number)
    if not got.values:
        raise MeasureError("There is a header but no value.", where, "Put one value on each line below it.")
    return _checked(ValueTable(value.name, tuple(got.values), tuple(got.rows), tuple(got.times), lines=tuple(got.lines),
                          units=tuple(got.units)), where)


def _checked(table: ValueTable, where: str) -> ValueTable:
    """Return the table when tape positions and times rise, row by row. Raises MeasureError naming the line."""
    for part in table.by_row().values() if table.name == "position" else ():
        for i, line in enumerate(part.lines[1:], 1):
            if part.values[i] < part.values[i - 1]:
                raise MeasureError("This position is smaller than the one before it.", f"{where}:{line}",
                                   "Read the tape from one end and give every position in order.")
    for i, line in enumerate(table.lines[1:], 1):
        if table.times and table.times[i] <= table.times[i - 1]:
            raise MeasureError("This time is not later than the one before it.", f"{where}:{line}",
                               "Put the readings in order of time.")
    return table


def _columns(names: list[str], wanted: tuple[str, ...], unit: str | None, where: str,
             line: int) -> tuple[_Column, _Column | None, _Column | None]:
    """Return the columns of value, row and time. Raises MeasureError naming what was found."""
    split = [_split_name(n) for n in names]
    value: _Column | None = None
    for name in wanted:
        for i, (base, suffix) in enumerate(split):
            if base == name or (base == "value" and name == wanted[0]):
                value = value or _Column(i, name, QUANTITIES[COLUMNS[name]], suffix or unit)
    if value is None:
        told = ", ".join(n for n in names if n)[:80]
        raise MeasureError(f"No column is called {' or '.join(wanted)}; found: {told}.", f"{where}:{line}",
                           f"Name the column, with its unit: {_example_name(wanted[0])}.")
    row = next((_Column(i, "row", QUANTITIES["count"], None) for i, (b, _) in enumerate(split) if b == "row"), None)
    time = next((_Column(i, "time", QUANTITIES["time"], suffix or "s")
                 for i, (base, suffix) in enumerate(split) if base == "time"), None)
    return value, row, time


def _example_name(name: str) -> str:
    unit = QUANTITIES[COLUMNS[name]].us
    return f"{name}_{unit.lower()}" if name != "count" else "count"


def _split_name(header: str) -> tuple[str, str | None]:
    """Return the column name and the unit in it: "Spacing (mm)" and spacing_mm give ("spacing", "mm")."""
    text = header.strip().casefold().replace(" ", "_")
    found = re.match(r"([a-z]+)_*(?:[_(\[]_*(.*?)[)\]]?)?\Z", text)
    if not found:
        return text, None
    base, suffix = found[1], (found[2] or "").strip("_").replace("_", " ")
    if not suffix or suffix in ("no", "nr", "number"):
        return base, None
    return base, suffix


def _line(cells: list[str], names: list[str], value: _Column, row: _Column | None, time: _Column | None,
          got: _Gathered, mark: str, where: str, number: int) -> None:
    """Take one line into what was gathered. Raises DiagError with its place."""
    if len(cells) > len(names) and any(c.strip() for c in cells[len(names):]):
        raise MeasureError(f"{len(cells)} values stand under {len(names)} columns.", where,
                           "Where commas are decimal marks, separate columns by semicolons.")
    cell = cells[value.index].strip() if value.index < len(cells) else ""
    if cell.casefold() in NOT_READ and (row is not None or time is not None):
        return
    if len(got.values) >= MOST_VALUES:
        raise MeasureError(f"There are more than {MOST_VALUES} values.", where, "Give a part of the file.")
    try:
        got.values.append(_cell(cell, value, mark, got.units))
        if row is not None:
            got.rows.append(_row_number(cells[row.index] if row.index < len(cells) else ""))
        if time is not None:
            got.times.append(_cell(cells[time.index] if time.index < len(cells) else "", time, mark, {}))
    except DiagError as error:
        raise error.at(where) from None
    got.lines.append(number)


_PLAIN = re.compile(r"[-+]?[0-9]{1,12}(?:[.,](?:[0-9]{1,2}|[0-9]{4,}))?\Z")


def _cell(cell: str, column: _Column, mark: str, units: dict[str, None]) -> float:
    """Return the SI value of a cell; a unit in it wins over that of the header. Raises UnitError."""
    text = one_line(cell, limit=60)
    if not text:
        raise MeasureError(f"The {column.quantity.label} is missing.", remedy="Fill it in or take the line out.")
    unit = _known_unit(column)
    if unit is not None and _PLAIN.match(text) and (mark != "," or "," not in text):
        units.setdefault(unit.name)
        si = float(text.replace(",", ".")) * unit.factor + unit.offset
        if column.quantity.lowest <= si <= column.quantity.highest:
            return si
    found = measured(text, column.quantity.name, default_unit=column.unit)
    units.setdefault(found.unit)
    return found.si()


def _known_unit(column: _Column) -> Unit | None:
    if column.unit is None:
        return UNITS["count"] if column.quantity.dimension == "count" else None
    unit = find_unit(column.unit)
    return unit if unit.quantity == column.quantity.dimension else None


def _row_number(cell: str) -> int:
    text = cell.strip()
    if not re.fullmatch(r"\d{1,3}", text) or int(text) < 1:
        raise MeasureError(f'"{one_line(text, limit=20)}" is not a row number.', remedy="Rows are counted 1, 2, 3.")
    return int(text)


# ------------------------------------------------------------------------------------ without header


def _bare(lines: Iterator[str], name: str, unit: str | None, where: str, before: int) -> ValueTable:
    """Return values without a header, as one types them; by row where the column is one of the rows."""
    text = "\n" * before
    for line in lines:
        text += line
        if len(text) > MOST_BARE:
            raise MeasureError(f"There are more than {MOST_BARE} characters without a header.", where,
                               "Give a part of the file, or a column with its name in the first line.")
    per_row = name in PER_ROW
    asked = Asked(QUANTITIES[COLUMNS[name]].name, unit, "rows" if per_row else "list", where=where)
    try:
        items = read(text, asked, MOST_BARE).sure().items
    except DiagError as error:
        raise error.at(where if len(text.splitlines()) > before + 1 else f"{where}:{before + 1}") from None
    got = [(i, i.value) for i in items if i.value is not None]
    first = next((int(i.place) for i, _ in got if i.place != AGAIN), 1) if per_row else 0
    return _checked(ValueTable(
        name, tuple(value.si() for _, value in got),
        tuple(first if i.place == AGAIN else int(i.place) for i, _ in got) if per_row else (), (),
        lines=tuple(i.line for i, _ in got), units=tuple(dict.fromkeys(value.unit for _, value in got))), where)
