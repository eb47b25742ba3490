"""The analysis of vacuum row by row: which rows stand out, in what pattern, and how the rest moved."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

from diag.analyses import context as ctx
from diag.analyses.charts import rows as row_chart
from diag.analyses.model import ROW_PATTERN, Analysed, Context, Reading, Result, analysis, gives
from diag.analyses.patterns import Limits, map_of, pattern_of
from diag.analyses.saying import analysed, said, too_few, value, word
from diag.analyses.values import against, extremes, reference, unjudged
from diag.measure import vacuum as vac
from diag.measure.spacing import mean, median
from diag.text import rows_words

WORDS = {"all_low": "both below what is wanted", "all_high": "both above what is wanted"}
"""How two rows lie that are alike."""


@analysis(
    "vacuum_row_map", "Vacuum row by row", takes="numbers",
    uses=f"{ctx.ROW_LIMITS} sections vacuum_set usual_low usual_high healthy_rows "
         "drift_limit reading_error",
    results=(
        gives("pattern", "word", "what the map looks like", *ROW_PATTERN, "step", "falling"),
        gives("median", "vacuum", "median of the rows"),
        gives("lowest", "vacuum", "lowest row"),
        gives("lowest_row", "count", "its number"),
        gives("deficit", "vacuum", "median minus lowest"),
        gives("highest_row", "count", "row with the highest reading"),
        gives("excess", "vacuum", "highest minus median"),
        gives("spread", "vacuum", "highest minus lowest"),
        gives("low_rows", "count", "rows counted as low"),
        gives("high_rows", "count", "rows counted as high"),
        gives("section_gap", "vacuum", "median of the other rows minus median of the lowest section"),
        gives("fall", "vacuum", "largest fall from first to last row of a section, by a straight line"),
        gives("below_reference", "vacuum", "reference minus median"),
        gives("to_reference", "ratio", "median over reference"),
        gives("reference", "word", "what the median was held against", "healthy", "book", "generic", "none"),
        gives("others", "word", "the rows that are not low, held against their healthy values",
              "lower", "same", "higher", "unknown"),
        gives("factor", "ratio", "rows over their healthy values, median"),
        gives("factor_spread", "ratio", "largest minus smallest of these ratios; near 0 is one common factor"),
        gives("drift", "vacuum", "change of the first row, read again at the end"),
        gives("drift_spread", "flag", "1 when that change was taken out over the walk"),
    ),
)
def run_vacuum_row_map(reading: Reading, context: Context) -> Analysed:
    """Return the pattern of vacuum over the rows; the first row may be read again at the end of the walk."""
    rows = reading.rows or tuple(range(1, len(reading.numbers) + 1))
    walk = vac.walk(rows, reading.numbers, ctx.positive(context, "drift_limit"))
    values = walk.values
    if len(values) < 2:
        return too_few(f"{len(values)} rows were read; one is held against another.", 2 - len(values))
    if walk.drift and not walk.spread_out:
        return too_few(_drift_note(walk, rows[0], context), None)
    error = ctx.positive(context, "reading_error") or 0.0
    if len(values) == 2:
        return _two_rows(values, context, error)
    sections = {n: r for n, r in ctx.sections(context).items() if set(r) & set(values)}
    healthy = ctx.row_values(context, "healthy_rows")
    limits = Limits.distance(context, list(values.values()))
    known, source = _map_reference(values, healthy, context)
    if source == "generic":
        limits = replace(limits, all_low=1e-9)
    found = map_of(values, limits, sections, known)
    pattern, chances = pattern_of(values, limits, sections, known, reading_error=math.sqrt(2) * error)
    shape = _shape(found.pattern, values, sections, limits)
    if shape != found.pattern:
        pattern, chances = shape, None
    rest = vac.others(values, healthy, found.low, limits.low)
    results = [word("pattern", pattern, chances), *_figures(values, found.low, found.high, sections, error=error),
               word("reference", source), *_reference_results(values, known, source, error),
               word("others", rest), *_factor(values, healthy)]
    if walk.drift is not None:
        results += [value("drift", walk.drift, math.sqrt(2) * error),
                    value("drift_spread", float(walk.spread_out))]
    return analysed(
        results,
        _map_words(pattern, found, values, limits, known=known, source=source, context=context),
        notes=(_drift_note(walk, rows[0], context), unjudged(limits), _others_note(rest, bool(found.low))),
        charts=lambda width: (_map_chart(values, found.low, found.high, context, width=width),),
    )


def _two_rows(values: Mapping[int, float], context: Context, error: float) -> Analysed:
    """Return the lower of two rows held against the other: that one stands for the rows that were not read."""
    low, good = extremes(values)
    known, source = _map_reference({good: values[good]}, {}, context)
    limits = Limits.distance(context, [values[good]])
    if source == "generic":
        limits = replace(limits, all_low=1e-9)
    judged = {low: values[low], good: values[good], max(values) + 1: values[good]}
    pattern, chances = pattern_of(judged, limits, {}, known, reading_error=math.sqrt(2) * error)
    gap = values[low] - values[good]
    told = f"{said(values[low], 'vacuum', context)}, {said(-gap, 'vacuum', context, 2)} below row {good}"
    head = f"Row {low} low" if pattern == "one_low" else f"Rows {low} and {good} {WORDS.get(pattern, 'alike')}"
    return analysed(
        [word("pattern", pattern, chances), value("median", values[good], error),
         value("lowest", values[low], error), value("lowest_row", low),
         value("deficit", -gap, math.sqrt(2) * error), value("spread", -gap, math.sqrt(2) * error),
         word("reference", source), *_reference_results({good: values[good]}, known, source, error)],
        f"{head}: {told}.", notes=(f"Only two rows were read: row {good} stands for the others.", unjudged(limits)),
    )


def _map_reference(values: Mapping[int, float], healthy: Mapping[int, float],
                   context: Context) -> tuple[float | None, str]:
    """Return what the rows are held against: healthy values, what was set or the book asks for, what is usual."""
    known = [healthy[r] for r in values if r in healthy]
    if len(known) >= max(2, len(values) // 2):
        return median(known), "healthy"
    set_, source = reference(context, "vacuum_set")
    if set_ is not None:
        return set_, source
    middle = median(list(values.values()))
    usual = [ctx.positive(context, name) for name in ("usual_low", "usual_high")]
    beyond = [u for u, side in zip(usual, (-1, 1), strict=True) if u is not None and side * (middle - u) > 0]
    return (beyond[0], "generic") if beyond else (None, "none")


def _reference_results(values: Mapping[int, float], known: float | None, source: str, error: float) -> list[Result]:
    if known is None:
        return []
    return against(median(list(values.values())), known, source, error)[0]


def _figures(values: Mapping[int, float], low: Sequence[int], high: Sequence[int],
             sections: Mapping[str, Sequence[int]], error: float) -> list[Result]:
    middle, apart = median(list(values.values())), math.sqrt(2) * error
    least, most = extremes(values)
    gap, _ = vac.section_gap(values, sections)
    fall = max(vac.section_falls(values, sections).values(), default=0.0)
    return [value("median", middle, error), value("lowest", values[least], error), value("lowest_row", least),
            value("deficit", middle - values[least], apart), value("highest_row", most),
            value("excess", values[most] - middle, apart), value("spread", values[most] - values[least], apart),
            value("low_rows", len(low)), value("high_rows", len(high)), value("section_gap", gap, apart),
            value("fall", fall, apart)]


def _shape(pattern: str, values: Mapping[int, float], sections: Mapping[str, Sequence[int]],
           limits: Limits) -> str:
    """Return "step" or "falling" where several low rows of one section lie that way, else the pattern."""
    if pattern not in ("some_low", "some_high", "even"):
        return pattern
    for rows in (sections or {"all": sorted(values)}).values():
        along = [values[r] for r in rows if r in values]
        if len(along) < 5:
            continue
        cut, height, left = vac.step_in(along)
        start, change = vac.line(along)
        off_line = math.sqrt(mean([(v - start - change * i / (len(along) - 1)) ** 2 for i, v in enumerate(along)]))
        if abs(height) >= limits.low and left < 0.25 * abs(height) and left < 0.7 * off_line and cut:
            return "step"
        if abs(change) >= limits.low and off_line < 0.25 * abs(change):
            return "falling"
    return pattern


def _map_words(pattern: str, found: vac.RowMap, values: Mapping[int, float], limits: Limits, known: float | None,
               source: str, context: Context) -> str:
    """Return every odd row and how the rows together lie against what they were held against."""
    middle = median(list(values.values()))
    told = []
    if found.section:
        told.append(f"section {found.section} low ({rows_words(found.low)}): "
                    f"{_worst_said(values, found.low, middle, context)}")
    elif pattern in ("step", "falling"):
        told.append(_along(pattern, values, context))
    else:
        told += [f"{rows_words(rows)} {side}: {_worst_said(values, rows, middle, context)}"
                 for rows, side in ((found.low, "low"), (found.high, "high")) if rows]
    told += _together(bool(told), values, limits.low, known, source=source,
                      all_limit=limits.all_low or limits.low, context=context)
    if not told:
        spread = max(values.values()) - min(values.values())
        told.append(f"even: {len(values)} rows within {said(spread, 'vacuum', context, 2)}; "
                    f"the middle row has {said(middle, 'vacuum', context)}")
    words = "; ".join(told)
    return f"{words[0].upper()}{words[1:]}."


def _along(pattern: str, values: Mapping[int, float], context: Context) -> str:
    rows = sorted(values)
    lowest, highest = extremes(values)
    first, last = (rows[0], rows[-1]) if values[rows[0]] > values[rows[-1]] else (rows[-1], rows[0])
    how = "drops by a step" if pattern == "step" else "falls steadily"
    return (f"vacuum {how} from row {first} to row {last}: {said(values[highest], 'vacuum', context)} to "
            f"{said(values[lowest], 'vacuum', context)}")


def _together(odd: bool, values: Mapping[int, float], near: float, known: float | None, source: str, all_limit: float,
              context: Context) -> list[str]:
    """Return how far the rows lie from the reference together, and which of them do not; nothing where they agree."""
    middle = median(list(values.values()))
    if known is None or abs(known - middle) < all_limit:
        return []
    side, away = ("low", "below") if middle < known else ("high", "above")
    than = {"healthy": "they had when healthy", "generic": "usual for such discs"}.get(source, "wanted")
    right = [r for r, v in values.items() if abs(v - known) < near]
    head = f"the others {side}" if odd else f"all rows but {rows_words(right)} {side}" if right else (
        f"all rows {side} and alike")
    return [f"{head}: the middle row has {said(middle, 'vacuum', context)}, "
            f"{said(abs(known - middle), 'vacuum', context, 2)} {away} the {said(known, 'vacuum', context)} {than}"]


def _worst_said(values: Mapping[int, float], rows: Sequence[int], middle: float, context: Context) -> str:
    far = max(rows, key=lambda r: abs(values[r] - middle))
    side = "below" if values[far] < middle else "above"
    place = f" in row {far}" if len(rows) > 1 else ""
    return (f"{said(values[far], 'vacuum', context)}{place}, "
            f"{said(abs(values[far] - middle), 'vacuum', context, 2)} {side} the middle row")


def _drift_note(walk: vac.Walk, first: int, context: Context) -> str:
    if walk.drift is None:
        return f"Row {first} was not read again at the end of the walk: drift while walking cannot show."
    if walk.drift == 0:
        return f"Row {first} read the same at the end of the walk: no drift."
    told = f"Row {first} changed by {said(abs(walk.drift), 'vacuum', context, 2)} while walking"
    if walk.spread_out:
        return f"{told}; that was taken out evenly over the rows."
    return f"{told}, more than can be spread out: read the rows again with warm oil and full discs."


def _others_note(rest: str, some_low: bool) -> str:
    if rest == "unknown":
        return ""
    if not some_low:
        return "The rows read as when healthy." if rest == "same" else f"The rows read {rest} than when healthy."
    if rest == "same":
        return "The rows that are not low read as when healthy."
    return (f"The rows that are not low read {rest} than when healthy: a leak lowers everyone, a restriction "
            "lowers what lies beyond it and raises the rest.")


def _factor(values: Mapping[int, float], healthy: Mapping[int, float]) -> list[Result]:
    """Return by which common factor the rows changed since they were healthy, and how unlike that factor is."""
    ratios = [values[r] / healthy[r] for r in values if healthy.get(r)]
    if len(ratios) < 2:
        return []
    return [value("factor", median(ratios)), value("factor_spread", max(ratios) - min(ratios))]


def _map_chart(values: Mapping[int, float], low: Sequence[int], high: Sequence[int], context: Context,
               width: int) -> str:
    texts = {r: said(v, "vacuum", context) for r, v in values.items()}
    marks = dict.fromkeys(low, "low") | dict.fromkeys(high, "high")
    return row_chart(texts, marks, ctx.sections(context), width)
