"""The analyses of values of any kind: one reading, two readings, rows compared, distances, depths."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from diag.analyses import context as ctx
from diag.analyses.charts import rows as row_chart
from diag.analyses.model import ROW_PATTERN, Analysed, Context, Reading, Result, analysis, gives
from diag.analyses.patterns import Limits, map_of, pattern_of
from diag.analyses.saying import analysed, percent, said, too_few, value, word
from diag.errors import MeasureError
from diag.measure.spacing import mean, median, sd
from diag.text import rows_words
from diag.units import QUANTITIES


def reference(context: Context, *names: str) -> tuple[float | None, str]:
    """Return the first known value and its name without "_set": healthy before book before generic."""
    for name in names:
        known = ctx.number(context, name)
        if known is not None:
            return known, {"vacuum_set": "book", "fan_speed_set": "book"}.get(name, name)
    return None, "none"


def against(reading: float, known: float, source: str, error: float) -> tuple[list[Result], str]:
    """Return results and words of a reading held against a reference."""
    results = [value("below_reference", known - reading, error)]
    if known:
        results.append(value("to_reference", reading / known, error / abs(known)))
    told = {"healthy": "when healthy", "book": "by the book", "generic": "on such machines in general"}[source]
    return results, f"{percent(reading / known, 3)} of the value {told}" if known else f"the value {told} is zero"


@analysis(
    "single", "One reading", takes="number",
    uses="healthy book generic reading_error",
    results=(
        gives("value", "reading", "the reading"),
        gives("below_reference", "reading", "reference minus reading"),
        gives("to_reference", "ratio", "reading over reference"),
        gives("reference", "word", "what it was held against", "healthy", "book", "generic", "none"),
    ),
)
def run_single(reading: Reading, context: Context) -> Analysed:
    """Return one reading, held against the best reference known."""
    if len(reading.numbers) != 1:
        raise MeasureError("Exactly one value is taken here.", remedy="Give one value.")
    number, error = reading.numbers[0], ctx.positive(context, "reading_error")
    known, source = reference(context, "healthy", "book", "generic")
    results, told = [value("value", number, error), word("reference", source)], "Nothing to hold this reading against"
    if known is not None:
        found, told = against(number, known, source, error or 0.0)
        results += found
        told = told[0].upper() + told[1:]
    return analysed(results, f"{told}.")


def by_row(reading: Reading) -> dict[int, float]:
    """Return one value per row. Raises MeasureError when a row stands twice or rows are missing."""
    rows = reading.rows or tuple(range(1, len(reading.numbers) + 1))
    twice = sorted({r for r in rows if rows.count(r) > 1})
    if twice:
        raise MeasureError(f"Row {twice[0]} stands twice.", remedy="Give one value per row.")
    return dict(zip(rows, reading.numbers, strict=True))


@analysis(
    "row_compare", "Rows compared", takes="numbers",
    uses="sections row_low_ratio row_high_ratio row_low_below_median row_high_above_median healthy_rows quantity "
         "reading_error",
    results=(
        gives("median", "reading", "median of the rows"),
        gives("highest", "reading", "highest reading"),
        gives("highest_row", "count", "its row"),
        gives("highest_ratio", "ratio", "highest over median"),
        gives("lowest", "reading", "lowest reading"),
        gives("lowest_row", "count", "its row"),
        gives("lowest_ratio", "ratio", "lowest over median"),
        gives("spread", "reading", "highest minus lowest"),
        gives("zero_rows", "count", "rows that read nothing"),
        gives("pattern", "word", "how rows compare", *ROW_PATTERN),
    ),
)
def run_row_compare(reading: Reading, context: Context) -> Analysed:
    """Return which rows stand out of values of any quantity, and in what pattern.

    The middle row is that of the rows that read anything. Where every row's healthy value is known, each row is
    held against its own.
    """
    read = by_row(reading)
    if len(read) < 3:
        return too_few(f"{len(read)} rows; a comparison needs three.", 3 - len(read))
    idle = [r for r, v in read.items() if v == 0]
    if len(idle) == len(read):
        return analysed([value("zero_rows", len(idle))], "No row reads anything.")
    values, own = _own_level(read, context)
    error = ctx.positive(context, "reading_error") or 0.0
    middle = median([v for v in values.values() if v != 0])
    low, high = extremes(values)
    results = [value("median", middle), value("highest", values[high], error), value("highest_row", high),
               value("lowest", values[low], error), value("lowest_row", low),
               value("spread", values[high] - values[low], error * math.sqrt(2)), value("zero_rows", len(idle)),
               value("highest_ratio", values[high] / middle, error / abs(middle)),
               value("lowest_ratio", values[low] / middle, error / abs(middle))]
    limits = Limits.ratio(context) or Limits.distance(context, list(values.values()))
    spread = error * math.sqrt(2) / abs(middle) if limits.by_ratio else error * math.sqrt(2)
    pattern, chances = pattern_of(values, limits, ctx.sections(context), reading_error=spread)
    results.append(word("pattern", pattern, chances))
    found = map_of(values, limits, ctx.sections(context))
    texts = {r: _shown(v, context) for r, v in read.items()}
    lows = [r for r in found.low if r not in idle]
    return analysed(results, _rows_verdict(lows, found.high, idle, values, texts=texts),
                    notes=(unjudged(limits), own),
                    charts=lambda width: (row_chart(texts, dict.fromkeys(found.low, "low")
                                                    | dict.fromkeys(found.high, "high"), ctx.sections(context),
                                                    width=width),))


def _own_level(read: Mapping[int, float], context: Context) -> tuple[Mapping[int, float], str]:
    """Return the values, each with what its row differed by when healthy taken out, and the note that says so."""
    healthy = ctx.row_values(context, "healthy_rows")
    if not all(healthy.get(r) for r in read):
        return read, ""
    usual = median([healthy[r] for r in read])
    return {r: v * usual / healthy[r] for r, v in read.items()}, "Each row is held against its own healthy value."


def _shown(number: float, context: Context) -> str:
    known = str(context.get("quantity", ""))
    return said(number, known, context) if known in QUANTITIES else f"{number:.3g}"


def extremes(values: Mapping[int, float]) -> tuple[int, int]:
    """Return the row with the lowest and the row with the highest value, the first where several tie."""
    return min(values, key=lambda r: (values[r], r)), max(values, key=lambda r: (values[r], -r))


def unjudged(limits: Limits) -> str:
    """Return the note that no limit was given, "" where one was."""
    return "" if limits.judged else "No limit was given: rows were judged by the scatter of the others."


def _rows_verdict(low: Sequence[int], high: Sequence[int], idle: Sequence[int], values: Mapping[int, float],
                  texts: Mapping[int, str]) -> str:
    """Return every odd row with its reading and what that is of the middle row."""
    middle = median([v for v in values.values() if v != 0])
    told = [f"{rows_words(rows)} {side} ({', '.join(f'{texts[r]}, {percent(values[r] / middle)}' for r in rows)} "
            "of the middle row)" for rows, side in ((low, "low"), (high, "high")) if rows]
    if idle:
        told.append(f"{rows_words(idle)} {'reads' if len(idle) == 1 else 'read'} nothing")
    words = "; ".join(told) or f"even: no row of {len(values)} stands out"
    return f"{words[0].upper()}{words[1:]}."


@analysis(
    "pair", "Two readings compared", takes="numbers",
    uses="reading_error",
    results=(
        gives("first", "reading", "first reading"),
        gives("second", "reading", "second reading"),
        gives("difference", "reading", "first minus second"),
        gives("ratio", "ratio", "second over first"),
        gives("loss", "ratio", "one minus that"),
    ),
)
def run_pair(reading: Reading, context: Context) -> Analysed:
    """Return how two readings differ."""
    first, second = two(reading)
    error = math.sqrt(2) * (ctx.positive(context, "reading_error") or 0.0)
    results = [value("first", first), value("second", second), value("difference", first - second, error)]
    if first:
        results += [value("ratio", second / first, error / abs(first)), value("loss", 1 - second / first,
                                                                                 error / abs(first))]
    told = f"The second reading is {percent(second / first, 3)} of the first" if first else "The first reading is zero"
    return analysed(results, f"{told}.")


def two(reading: Reading) -> tuple[float, float]:
    """Return the two values of a reading. Raises MeasureError."""
    if len(reading.numbers) != 2:
        raise MeasureError(f"Two readings are compared, {len(reading.numbers)} were given.", remedy="Give two.")
    return reading.numbers[0], reading.numbers[1]


@analysis(
    "distances", "Distances at the line", takes="numbers",
    results=(
        gives("largest", "length", "largest distance"),
        gives("smallest", "length", "smallest distance"),
        gives("mean", "length", "mean distance"),
        gives("median", "length", "median distance"),
        gives("spread", "length", "standard deviation"),
        gives("rows_off", "count", "values farther from the median than the median itself"),
    ),
)
def run_distances(reading: Reading, context: Context) -> Analysed:
    """Return the spread of distances (m) to a line: first seeds, starts and stops."""
    values = reading.numbers
    if not values:
        return too_few("no distance was given.", 3)
    middle = median(values)
    off = sum(abs(v - middle) > abs(middle) for v in values)
    error = sd(values) / math.sqrt(len(values)) if len(values) > 1 else None
    results = [value("largest", max(values)), value("smallest", min(values)), value("mean", mean(values), error),
               value("median", middle), value("spread", sd(values)), value("rows_off", off)]
    words = (f"From {said(min(values), 'length', context)} to {said(max(values), 'length', context)}, "
             f"mean {said(mean(values), 'length', context)}.")
    return analysed(results, words)


@analysis(
    "depth", "Seed depth", takes="numbers",
    uses="depth_set",
    results=(
        gives("mean", "depth", "mean depth"),
        gives("row_difference", "depth", "largest difference between row means"),
        gives("spread_in_row", "depth", "largest spread, deepest minus shallowest, within one row"),
        gives("off_set", "depth", "largest distance of a row mean from the set depth"),
        gives("scatter_rows", "count", "rows whose spread is above half of the mean depth"),
        gives("shallowest_row", "count", "row with the smallest mean"),
        gives("deepest_row", "count", "row with the largest mean"),
    ),
)
def run_depth(reading: Reading, context: Context) -> Analysed:
    """Return depth means and spreads: several depths (m) per row."""
    rows: dict[int, list[float]] = {}
    for row, depth in zip(reading.rows or (1,) * len(reading.numbers), reading.numbers, strict=True):
        rows.setdefault(row, []).append(depth)
    if not rows or min(reading.numbers) < 0:
        raise MeasureError("No depth was given.", remedy="Measure ten seeds in each of two rows.")
    means = {r: mean(v) for r, v in rows.items()}
    spreads = {r: max(v) - min(v) for r, v in rows.items()}
    errors = {r: sd(v) / math.sqrt(len(v)) for r, v in rows.items()}
    shallow, deep = extremes(means)
    overall = mean(reading.numbers)
    results = [
        value("mean", overall, sd(reading.numbers) / math.sqrt(len(reading.numbers))),
        value("row_difference", means[deep] - means[shallow], math.hypot(errors[deep], errors[shallow])),
        value("spread_in_row", max(spreads.values())), value("shallowest_row", shallow), value("deepest_row", deep),
        value("scatter_rows", sum(s > overall / 2 for s in spreads.values())),
    ]
    wanted = ctx.positive(context, "depth_set")
    if wanted is not None:
        far = max(means, key=lambda r: abs(means[r] - wanted))
        results.append(value("off_set", abs(means[far] - wanted), errors[far]))
    few = min(len(v) for v in rows.values())
    words = (f"{said(overall, 'depth', context)} deep on average; rows differ by "
             f"{said(means[deep] - means[shallow], 'depth', context, 2)}, seeds within one row by up to "
             f"{said(max(spreads.values()), 'depth', context, 2)}.")
    return analysed(results, words, needed=10 - few if few < 10 else None,
                    reason=f"{few} seeds in a row are too few." if few < 3 else "",
                    charts=lambda width: (_depth_chart(means, context, width),))


def _depth_chart(means: Mapping[int, float], context: Context, width: int) -> str:
    return row_chart({r: said(v, "depth", context) for r, v in means.items()}, {}, ctx.sections(context), width)
