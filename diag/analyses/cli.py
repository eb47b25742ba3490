"""`diag measure ...`: readings from files or the command line, as text with small charts or as JSON."""

from __future__ import annotations

import argparse
import json
import os
import re
import sys
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from diag import figures
from diag.analyses import tools
from diag.analyses.catalogue import CATALOGUE, Analysed, Context, Reading, analyse
from diag.analyses.model import ContextValue, Sections
from diag.analyses.report import as_json, text
from diag.arguments import BAD_INPUT, Parser, complain
from diag.errors import DiagError, UsageError
from diag.figures.rows import ALL, parse_rows
from diag.figures.table import ValueTable, read_file, read_stream, read_text

GOOD = 0

Job = tuple[str, Analysed, Context]
"""Analysis name, outcome and the context it was made in."""

MAIN = {
    "spacing": ("quality_of_feed", "multiples", "misses", "true_doubles", "true_skips", "precision", "mean_spacing",
                "target", "population_factor", "drive_factor", "placement_share"),
    "rhythm": ("pattern", "part", "period", "turns", "turns_needed", "chance"),
    "gap_period": ("part", "period", "disc_turns", "chance"),
    "stand_count": ("rate", "per_length", "to_target", "counted", "lowest_row", "lowest_ratio", "rows_chance"),
    "vacuum_row_map": ("pattern", "median", "lowest", "lowest_row", "deficit", "spread", "below_reference", "factor",
                       "drift"),
    "row_compare": ("pattern", "median", "highest", "highest_row", "highest_ratio", "lowest", "lowest_row",
                    "lowest_ratio", "zero_rows"),
    "vacuum_log": ("pattern", "swing", "trend", "period", "lowest"),
}
"""Results shown without --detail."""


Generic = Callable[[str], Mapping[str, float]]
"""Limits by name (SI) that readings of a quantity are held against where nothing better is given."""


def main(argv: list[str], *, json_out: bool = False, generic: Generic = lambda quantity: {}) -> int:
    """Carry out `diag measure` with these arguments; return 0, or 2 on bad input."""
    json_out = json_out or "--json" in argv
    try:
        options = _parser().parse_args(_protected(argv))
        options.generic = generic
        found, code = options.run(options, json_out)
    except DiagError as error:
        return complain(error, as_json=json_out)
    if json_out:
        print(json.dumps(found[0] if len(found) == 1 else found, ensure_ascii=False))
    return int(code)


def _protected(argv: Sequence[str]) -> list[str]:
    """Keep a dash that means "not read", and negative values, from being taken for options."""
    return [f" {a}" if re.fullmatch(r"-|-\d.*", a) else a for a in argv]


def _parser() -> argparse.ArgumentParser:
    common = Parser(add_help=False)
    common.add_argument("--json", action="store_true", help="one JSON value instead of text")
    common.add_argument("--units", choices=("us", "metric"), default="us", help="units to show")
    common.add_argument("--detail", action="store_true", help="show every figure")
    common.add_argument("--no-chart", action="store_true", help="leave the charts out")
    parser = Parser(prog="diag measure", description="Work out readings. Files are CSV with a header line; values "
                                                      "need a unit, in the header, beside them or by --unit.")
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", parser_class=Parser, required=True)
    for name, told, add, run in (
        ("spacing", "seed or plant spacings, or tape positions", _spacing_options, _spacing),
        ("gaps", "distances between like gaps: which part repeats", _gap_options, _gaps),
        ("stand", "counts of seeds or plants in lengths of row", _stand_options, _stand),
        ("vacuum", "one vacuum reading per row, or over time", _vacuum_options, _vacuum),
        ("rows", "one reading per row of torque, current, voltage ...: which row stands out", _row_options, _rows),
    ):
        command = commands.add_parser(name, help=told, description=told.capitalize() + ".", parents=[common])
        command.add_argument("source", nargs="+", metavar="FILE|VALUE", help="files, or values with unit; - is stdin")
        command.add_argument("--unit", help="unit of values that have none")
        add(command)
        command.set_defaults(run=run)
    tools.add_commands(commands, common)
    return parser


# ------------------------------------------------------------------------------------------- sources


def _inputs(options: argparse.Namespace, wanted: tuple[str, ...]) -> list[tuple[str, Callable[[], ValueTable]]]:
    """Return (name, reader) of every file, or of all values together."""
    alone = len(options.source) == 1
    files = [s for s in options.source if _is_file(s) and (alone or s.strip() != "-")]
    if not files:
        return [("values", lambda: read_text(" ".join(options.source), wanted, options.unit, "values"))]
    if len(files) < len(options.source):
        odd = next(s for s in options.source if not _is_file(s))
        raise UsageError(f'"{odd[:40]}" stands among files.', "diag measure", "Give files, or values, not both.")
    return [(f, _reader(f, wanted, options.unit)) for f in files]


def _reader(name: str, wanted: tuple[str, ...], unit: str | None) -> Callable[[], ValueTable]:
    if name.strip() == "-":
        return lambda: read_stream(sys.stdin, wanted, unit, "stdin")
    return lambda: read_file(name, wanted, unit)


def _is_file(source: str) -> bool:
    """Return whether an argument names a file: a path, a suffix, or something that exists."""
    source = source.strip()
    if source == "-" or re.search(r"\.(csv|tsv|txt|dat)\Z", source, re.IGNORECASE):
        return True
    if os.path.exists(source):
        return True
    return not re.match(r"[-+\d]", source) and bool(re.search(r"[/\\]|\.[A-Za-z]\w*\Z", source))


def _each(options: argparse.Namespace, json_out: bool, wanted: tuple[str, ...],
          work: Callable[[ValueTable, Context], list[Job]], context: Context) -> tuple[list[Any], int]:
    """Do the work for every input (and every row of a file that holds several); the worst code counts."""
    found: list[Any] = []
    code, first = GOOD, True
    for name, read in _inputs(options, wanted):
        try:
            jobs = work(read(), context)
        except DiagError as error:
            code = BAD_INPUT
            found.append({"file": name, "error": error.as_json()})
            if not json_out:
                print(f"diag: {error}", file=sys.stderr)
            continue
        found += _told(name, jobs, options, json_out, first=first)
        first = False
    if json_out and code == BAD_INPUT and len(found) == 1:
        found = [{"error": found[0]["error"]}]
    return found, code


def _told(name: str, jobs: list[Job], options: argparse.Namespace, json_out: bool, first: bool) -> list[Any]:
    """Print the jobs of one input as text, or return their JSON."""
    data = []
    for job, done, context in jobs:
        row = str(context.get("row", ""))
        if json_out:
            data.append({"file": name, **({"row": int(row)} if row else {}), **as_json(CATALOGUE[job], done, context)})
            continue
        place = "" if name == "values" else name if len(name) <= 44 else f"...{name[-41:]}"
        head = ", ".join(p for p in (CATALOGUE[job].title, place, f"row {row}" if row else "") if p)
        print("" if first else "\n", end="")
        print(f"{head}\n{'=' * len(head)}")
        print(text(CATALOGUE[job], done, context, main=MAIN.get(job, ()), detail=options.detail,
                   charts=not options.no_chart))
        first = False
    return data


def value(text_: str | None, quantity: str, default_unit: str | None = None) -> float | None:
    """Return an option's value in SI, None when it was not given. Raises UnitError."""
    return None if text_ is None else figures.measured(text_, quantity, default_unit=default_unit).si()


def _given(options: argparse.Namespace, **names: str) -> dict[str, ContextValue]:
    """Return the context of the options that were given: context name = "option quantity"."""
    found: dict[str, ContextValue] = {"units": options.units}
    for name, spec in names.items():
        option, quantity = spec.split()
        said = getattr(options, option)
        if said is not None:
            try:
                unit = "percent" if quantity == "percent" else None
                found[name] = figures.measured(said, quantity, default_unit=unit).si()
            except DiagError as error:
                raise error.at(f"--{option.replace('_', '-')}") from None
    return found


def _sections(text_: str) -> Sections:
    """Return the rows of each section in "left=1-6;right=7-12". Raises UsageError."""
    found = {}
    for part in filter(None, (p.strip() for p in text_.split(";"))):
        name, _, said = part.partition("=")
        rows = parse_rows(said, where="--sections")
        if rows == ALL:
            raise UsageError(f'"{name.strip()}" names no rows.', "--sections", "Write left=1-6;right=7-12.")
        found[name.strip()] = rows
    return found


# ------------------------------------------------------------------------------------------ commands


def _target_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--target", help="spacing the setting should give, such as 6.53in")
    command.add_argument("--rate", help="seeding rate, such as 32000/ac (with --row-width)")
    command.add_argument("--row-width", help="distance between rows, such as 30in")


_TARGET = {"target_spacing": "target spacing", "target_rate": "rate rate", "row_width": "row_width row_width"}


def _spacing_options(command: argparse.ArgumentParser) -> None:
    _target_options(command)
    command.add_argument("--holes", help="holes of the disc; looks for a rhythm too")
    command.add_argument("--wheel", help="travel in one turn of the drive wheel")
    command.add_argument("--positions", action="store_true", help="values are tape positions")
    command.add_argument("--plants", action="store_true", help="plants were measured, not seeds")
    command.add_argument("--limit", help="share of gaps to decide about, such as 5%%")


def _spacing(options: argparse.Namespace, json_out: bool) -> tuple[list[Any], int]:
    context = _given(options, **_TARGET, holes="holes count", miss_limit="limit percent",
                     wheel_circumference="wheel circumference")
    if options.rate and not options.row_width:
        raise UsageError("A rate needs the row width.", "--rate", "Add --row-width, such as 30in.")
    if options.plants:
        context["plants"] = 1.0
    wanted = ("position", "spacing") if options.positions else ("spacing", "position")
    return _each(options, json_out, wanted, _spacing_jobs, context=context)


def _spacing_jobs(table: ValueTable, context: Context) -> list[Job]:
    jobs: list[Job] = []
    for row, part in table.by_row().items():
        here = dict(context) | ({"row": str(row)} if row is not None else {})
        reading = Reading("positions" if part.name == "position" else "spacings", part.values)
        for job in ("spacing", "rhythm") if "holes" in context else ("spacing",):
            jobs.append((job, analyse(job, reading, here), here))
    return jobs


def _gap_options(command: argparse.ArgumentParser) -> None:
    _target_options(command)
    command.add_argument("--holes", help="holes of the disc", required=True)
    command.add_argument("--wheel", help="travel in one turn of the drive wheel")


def _gaps(options: argparse.Namespace, json_out: bool) -> tuple[list[Any], int]:
    context = _given(options, **_TARGET, holes="holes count", wheel_circumference="wheel circumference")

    def work(table: ValueTable, here: Context) -> list[Job]:
        return [("gap_period", analyse("gap_period", Reading("numbers", table.values), here), here)]

    return _each(options, json_out, ("distance",), work, context=context)


def _stand_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--row-width", help="distance between rows, such as 30in", required=True)
    command.add_argument("--rate", help="rate that was wanted, such as 32000/ac")
    command.add_argument("--length", help="length of row counted each time; else 1/1000 acre")
    command.add_argument("--hectare", action="store_true", help="counts are per 1/1000 hectare")
    command.add_argument("--rows", action="store_true", help="values are rows 1, 2, 3 ... of the planter")


def _stand(options: argparse.Namespace, json_out: bool) -> tuple[list[Any], int]:
    context = _given(options, target_rate="rate rate", row_width="row_width row_width", row_length="length length")
    if options.hectare:
        context["per"] = "hectare"

    def work(table: ValueTable, here: Context) -> list[Job]:
        rows = table.rows or (tuple(range(1, len(table.values) + 1)) if options.rows else ())
        return [("stand_count", analyse("stand_count", Reading("numbers", table.values, rows), here), here)]

    return _each(options, json_out, ("count",), work, context=context)


def _vacuum_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--set", dest="wanted", help="vacuum that was set, such as 18inH2O")
    command.add_argument("--healthy", metavar="FILE", help="row readings from when the machine was sound")
    command.add_argument("--sections", help="wings or hoses, such as left=1-6;right=7-12")
    command.add_argument("--limit", help="how far below the middle row a row is low, such as 1inH2O")
    command.add_argument("--all-limit", help="how far below the set value all rows are low; else as --limit")
    command.add_argument("--drift-limit", help="largest drift over the walk that is spread out")
    command.add_argument("--reading-error", help="how well one reading repeats, such as 0.2inH2O")


def _vacuum(options: argparse.Namespace, json_out: bool) -> tuple[list[Any], int]:
    context = _given(options, vacuum_set="wanted vacuum", row_low_below_median="limit vacuum",
                     all_low_below_reference="all_limit vacuum", drift_limit="drift_limit vacuum",
                     reading_error="reading_error vacuum")
    if "row_low_below_median" in context:
        context["row_high_above_median"] = context["row_low_below_median"]
        context.setdefault("all_low_below_reference", context["row_low_below_median"])
    context = {**options.generic("vacuum"), **context}
    if options.sections:
        context["sections"] = _sections(options.sections)
    if options.healthy:
        sound = read_file(options.healthy, ("vacuum",), options.unit)
        context["healthy_rows"] = dict(zip(_numbered(sound), sound.values, strict=True))
    return _each(options, json_out, ("vacuum",), _vacuum_jobs, context=context)


def _vacuum_jobs(table: ValueTable, context: Context) -> list[Job]:
    if table.times:
        job, reading = "vacuum_log", Reading("log", table.values, times=table.times)
    elif len(table.values) == 1:
        job, reading = "vacuum_reading", Reading("number", table.values)
    else:
        job, reading = "vacuum_row_map", Reading("numbers", table.values, _numbered(table))
    return [(job, analyse(job, reading, context), context)]


def _row_options(command: argparse.ArgumentParser) -> None:
    command.add_argument("--quantity", choices=BY_ROW, help="what was read; else it follows from the column's name")
    command.add_argument("--healthy", metavar="FILE", help="the same readings from when the machine was sound")
    command.add_argument("--sections", help="wings or hoses, such as left=1-6;right=7-12")
    command.add_argument("--low", help="part of the middle row below which a row is low, such as 70%%")
    command.add_argument("--high", help="part of the middle row above which a row is high, such as 150%%")
    command.add_argument("--pair", metavar="BAD,GOOD", help="hold one row against another, such as 7,6")


BY_ROW = ("torque", "current", "voltage", "vacuum", "depth", "count")
"""Columns with one reading per row."""


def _rows(options: argparse.Namespace, json_out: bool) -> tuple[list[Any], int]:
    given = _given(options, row_low_ratio="low percent", row_high_ratio="high percent")
    if options.sections:
        given["sections"] = _sections(options.sections)
    wanted = (options.quantity,) if options.quantity else BY_ROW
    if options.healthy:
        sound = read_file(options.healthy, wanted, options.unit)
        given["healthy_rows"] = dict(zip(_numbered(sound), sound.values, strict=True))

    def work(table: ValueTable, context: Context) -> list[Job]:
        here = {**options.generic(table.name), **context, "quantity": table.name}
        reading = Reading("numbers", table.values, _numbered(table))
        jobs: list[Job] = [("row_compare", analyse("row_compare", reading, here), here)]
        if options.pair:
            values = dict(zip(reading.rows, reading.numbers, strict=True))
            two = Reading("numbers", tuple(values[row] for row in _pair(options.pair, values)))
            jobs.append(("pair", analyse("pair", two, here), here))
        return jobs

    return _each(options, json_out, wanted, work, context=given)


def _numbered(table: ValueTable) -> tuple[int, ...]:
    """Return the row of each value: as read, else counted from 1."""
    return table.rows or tuple(range(1, len(table.values) + 1))


def _pair(said: str, values: Mapping[int, float]) -> tuple[int, int]:
    """Return the good and the bad row of "BAD,GOOD". Raises UsageError."""
    bad, _, good = said.partition(",")
    rows = [int(r) for r in (good, bad) if r.strip().isdigit() and int(r) in values]
    if len(rows) != 2:
        raise UsageError(f'"{said[:20]}" is not a pair of rows that were read.', "--pair", "Write --pair 7,6.")
    return rows[0], rows[1]
