"""The analyses of vacuum and fan: row map, single and paired readings, gauge, log, capping, fan speed."""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence

from diag.analyses import context as ctx
from diag.analyses.charts import log as log_chart
from diag.analyses.charts import rows as row_chart
from diag.analyses.model import Analysed, Context, Reading, Result
from diag.analyses.patterns import Limits, map_of, pattern_of, scatter
from diag.analyses.saying import analysed, percent, rows_said, said, too_few, value, word
from diag.analyses.values import against, extremes, reference, two, unjudged
from diag.errors import MeasureError
from diag.measure import vacuum as vac
from diag.measure.spacing import mean, median
from diag.units import GRAVITY


def run_vacuum_row_map(reading: Reading, context: Context) -> Analysed:
    """Return the pattern of vacuum over the rows; the first row may be read again at the end of the walk."""
    rows = reading.rows or tuple(range(1, len(reading.numbers) + 1))
    walk = vac.walk(rows, reading.numbers, ctx.positive(context, "drift_limit"))
    values = walk.values
    if len(values) < 3:
        return too_few(f"{len(values)} rows were read; a map needs three.", 3 - len(values))
    if walk.drift and not walk.spread_out:
        return too_few(_drift_note(walk, rows[0], context), None)
    error = ctx.positive(context, "reading_error") or 0.0
    sections = {n: r for n, r in ctx.sections(context).items() if set(r) & set(values)}
    healthy = ctx.row_values(context, "healthy_rows")
    known, source = _map_reference(values, healthy, context)
    limits = Limits.distance(context, list(values.values()))
    found = map_of(values, limits, sections, known)
    pattern, chances = pattern_of(values, limits, sections, known, math.sqrt(2) * error)
    shape = _shape(found.pattern, values, sections, limits)
    if shape != found.pattern:
        pattern, chances = shape, None
    rest = vac.others(values, healthy, found.low, limits.low)
    results = [word("pattern", pattern, chances), *_figures(values, found.low, found.high, sections, error),
               word("reference", source), *_reference_results(values, known, error),
               word("others", rest), *_factor(values, healthy)]
    if walk.drift is not None:
        results += [value("drift", walk.drift, math.sqrt(2) * error),
                    value("drift_spread", float(walk.spread_out))]
    return analysed(
        results,
        _map_words(pattern, found.section, found.low, found.high, values, known, context),
        notes=(_drift_note(walk, rows[0], context), unjudged(limits), _others_note(rest, bool(found.low))),
        charts=lambda width: (_map_chart(values, found.low, found.high, context, width),),
    )


def _map_reference(values: Mapping[int, float], healthy: Mapping[int, float],
                   context: Context) -> tuple[float | None, str]:
    known = [healthy[r] for r in values if r in healthy]
    if len(known) >= max(2, len(values) // 2):
        return median(known), "healthy"
    return reference(context, "vacuum_set")


def _reference_results(values: Mapping[int, float], known: float | None, error: float) -> list[Result]:
    if known is None:
        return []
    return against(median(list(values.values())), known, "book", error)[0]


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
        if -change >= limits.low and off_line < 0.25 * abs(change):
            return "falling"
    return pattern


def _map_words(pattern: str, section: str, low: Sequence[int], high: Sequence[int], values: Mapping[int, float],
               known: float | None, context: Context) -> str:
    middle = median(list(values.values()))
    around = f"the middle row has {said(middle, 'vacuum', context)}"
    if pattern == "even":
        spread = max(values.values()) - min(values.values())
        return f"Even: {len(values)} rows within {said(spread, 'vacuum', context, 2)}; {around}."
    if pattern in ("all_low", "all_high") and known is not None:
        side = "low" if pattern == "all_low" else "high"
        return (f"All rows {side} and alike: {around}, {said(abs(known - middle), 'vacuum', context, 2)} "
                f"{'below' if side == 'low' else 'above'} the {said(known, 'vacuum', context)} wanted.")
    if pattern == "section_low":
        return f"Section {section} low ({rows_said(low)}): {_worst_said(values, low, middle, context)}."
    if pattern in ("step", "falling"):
        how = "a step along the rows" if pattern == "step" else "a steady fall along the rows"
        return f"Vacuum drops by {how}; the lowest row has {said(min(values.values()), 'vacuum', context)}, {around}."
    rows, side = (low, "low") if low else (high, "high")
    return f"{rows_said(rows).capitalize()} {side}: {_worst_said(values, rows, middle, context)}."


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
    return row_chart(values, texts, marks, width)


def run_vacuum_reading(reading: Reading, context: Context) -> Analysed:
    """Return one vacuum reading held against the healthy value or the set one."""
    if len(reading.numbers) != 1:
        raise MeasureError("Exactly one reading is taken here.", remedy="Give one value.")
    number, error = reading.numbers[0], ctx.positive(context, "reading_error")
    known, source = reference(context, "healthy", "vacuum_set")
    results = [value("value", number, error), word("reference", source)]
    told = said(number, "vacuum", context)
    if known is not None:
        found, how = against(number, known, source, error or 0.0)
        results += found
        told += f", {how}"
    return analysed(results, f"{told}.")


def run_vacuum_pair(reading: Reading, context: Context) -> Analysed:
    """Return how two vacuum readings differ (fan and far row, wing and wing)."""
    first, second = two(reading)
    error = math.sqrt(2) * (ctx.positive(context, "reading_error") or 0.0)
    names = tuple(name.replace("_", " ") for name in reading.labels) or ("first", "second")
    results = [value("first", first), value("second", second), value("difference", first - second, error),
               value("apart", abs(first - second), error)]
    if first:
        results.append(value("loss", (first - second) / first, error / abs(first)))
    lower = names[1] if second < first else names[0]
    told = (f"{names[0]} {said(first, 'vacuum', context)}, {names[1]} {said(second, 'vacuum', context)}: "
            + (f"{lower} lower by {said(abs(first - second), 'vacuum', context, 2)}." if first != second else "equal."))
    return analysed(results, told[0].upper() + told[1:])


def run_gauge_check(reading: Reading, context: Context) -> Analysed:
    """Return gauge against water column: first the gauge (Pa), then the column as if it were water (Pa).

    Labels gauge and column may name them. Fluid, temperature and tilt correct the column.
    """
    gauge, raw = (reading.at("gauge"), reading.at("column")) if reading.labels else two(reading)
    if gauge is None or raw is None:
        raise MeasureError("Gauge and column are both needed.", remedy="Give gauge and column.")
    warm, tilt = ctx.positive(context, "fluid_temperature") or 293.15, ctx.number(context, "tilt") or 0.0
    height = raw / (1000 * GRAVITY)
    column = vac.column_vacuum(height, warm, ctx.positive(context, "fluid_density"), tilt)
    span, accuracy = ctx.positive(context, "gauge_span"), ctx.positive(context, "gauge_class")
    error = vac.COLUMN_READING_ERROR / 2
    results = [value("gauge", gauge), value("column", column, error), value("difference", gauge - column, error),
               value("apart", abs(gauge - column), error)]
    told = (f"Gauge {said(gauge, 'vacuum', context)}, column {said(column, 'vacuum', context)}: the gauge reads "
            f"{said(abs(gauge - column), 'vacuum', context, 2)} {'high' if gauge > column else 'low'}")
    if span is not None and accuracy is not None:
        allowed = vac.gauge_limit(span, accuracy)
        within = abs(gauge - column) <= allowed
        results += [value("allowed", allowed), value("within", float(within))]
        told += f"; {said(allowed, 'vacuum', context, 2)} is allowed, so it is {'good' if within else 'not good'}"
    return analysed(results, f"{told}.")


def run_vacuum_log(reading: Reading, context: Context) -> Analysed:
    """Return how vacuum moves over a log of times (s) and values (Pa)."""
    times, values = reading.times or tuple(float(i) for i in range(len(reading.numbers))), reading.numbers
    if len(values) < 6:
        return too_few(f"{len(values)} readings; a log needs six.", 6 - len(values))
    if any(b <= a for a, b in itertools.pairwise(times)):
        raise MeasureError("The times of the log do not rise.", remedy="Put the readings in order of time.")
    start, trend = vac.line(values, times)
    span = times[-1] - times[0]
    left = [v - start - trend * (t - times[0]) / span for t, v in zip(times, values, strict=True)]
    swing = max(left) - min(left)
    error = ctx.positive(context, "reading_error") or 0.0
    pattern, period = _log_pattern(times, values, left, trend, context)
    results = [word("pattern", pattern), value("swing", swing, math.sqrt(2) * error), value("trend", trend, error),
               value("lowest", min(values), error), value("mean", mean(values))]
    if period:
        results.append(value("period", period))
    texts = [said(v, "vacuum", context) for v in values]
    return analysed(results, _log_words(pattern, swing, trend, period, values, context),
                    charts=lambda width: (log_chart(times, values, texts, width),))


def _log_pattern(times: Sequence[float], values: Sequence[float], left: Sequence[float], trend: float,
                 context: Context) -> tuple[str, float]:
    """Return the word for a log and the time from peak to peak (0 when it does not cycle)."""
    own = 4 * scatter(values)
    swing_limit = ctx.positive(context, "swing_limit") or own
    fall_limit = ctx.positive(context, "fall_limit") or swing_limit
    cut, height, rest = vac.step_in(values)
    if abs(height) >= swing_limit and rest < 0.2 * abs(height) and cut:
        return "steps", 0.0
    if max(left) - min(left) >= swing_limit:
        turns = [i for i in range(1, len(left)) if (left[i - 1] < 0) != (left[i] < 0)]
        if len(turns) >= 3:
            return "cycling", 2 * (times[turns[-1]] - times[turns[0]]) / (len(turns) - 1)
        return "steps", 0.0
    if abs(trend) >= fall_limit:
        return ("slow_fall" if trend < 0 else "slow_rise"), 0.0
    return "steady", 0.0


def _log_words(pattern: str, swing: float, trend: float, period: float, values: Sequence[float],
               context: Context) -> str:
    around = f"around {said(mean(values), 'vacuum', context)}"
    moved = said(swing, "vacuum", context, 2)
    return {"steady": f"Steady {around}: within {moved}.",
            "cycling": f"Up and down by {moved} {around}, about every {period:.0f} s.",
            "steps": f"Jumps by {moved} {around}.",
            "slow_fall": f"Falls slowly, by {said(abs(trend), 'vacuum', context, 2)} over the log.",
            "slow_rise": f"Rises slowly, by {said(abs(trend), 'vacuum', context, 2)} over the log."}[pattern]


def run_block_test(reading: Reading, context: Context) -> Analysed:
    """Return which cap raises the fan reading most; numbers are fan readings (Pa) with one thing capped each."""
    start = ctx.needed(context, "fan_open")
    if len(reading.numbers) < 2:
        return too_few("one capped reading; a comparison needs two.", 1)
    rises = [v - start for v in reading.numbers]
    names = reading.rows or tuple(range(1, len(rises) + 1))
    most, least = max(range(len(rises)), key=lambda i: rises[i]), min(range(len(rises)), key=lambda i: rises[i])
    rest = median([r for i, r in enumerate(rises) if i != most])
    apart = math.sqrt(2) * (ctx.positive(context, "reading_error") or 0.0)
    results = [value("largest_rise", rises[most], apart), value("which", names[most]),
               value("smallest_rise", rises[least], apart), value("smallest", names[least]),
               value("difference", rises[0] - rises[1], apart)]
    if rest > 0:
        results.append(value("rise_ratio", rises[most] / rest, apart / rest))
    label = reading.labels[most].replace("_", " ") if reading.labels else f"row {names[most]}"
    told = (f"Capping {label} raises the fan reading most: by {said(rises[most], 'vacuum', context, 2)} against "
            f"{said(rest, 'vacuum', context, 2)} for the others.")
    return analysed(results, told)


def run_fan_speed(reading: Reading, context: Context) -> Analysed:
    """Return fan speed over plate or record, and what that alone does to the vacuum."""
    if len(reading.numbers) != 1:
        raise MeasureError("Exactly one speed is taken here.", remedy="Give one value.")
    speed, wanted = reading.numbers[0], ctx.needed(context, "fan_speed_set")
    ratio = speed / wanted
    error = ctx.positive(context, "reading_error") or 0.0
    return analysed(
        [value("speed", speed, error), value("to_set", ratio, error / wanted),
         value("vacuum_factor", ratio**2, 2 * ratio * error / wanted)],
        f"{said(speed, 'fan_speed', context, 4)}, {percent(ratio, 3)} of {said(wanted, 'fan_speed', context, 4)}; "
        f"that alone gives {percent(ratio**2, 3)} of the vacuum.",
    )
