"""The analyses of vacuum and fan: single and paired readings, gauge, log, capping, fan speed."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence

from diag.analyses import context as ctx
from diag.analyses.charts import log as log_chart
from diag.analyses.model import Analysed, Context, Reading, analysis, gives
from diag.analyses.patterns import scatter
from diag.analyses.saying import analysed, percent, said, too_few, value, word
from diag.analyses.values import against, reference, two
from diag.errors import MeasureError
from diag.measure import vacuum as vac
from diag.measure.spacing import mean, median
from diag.units import GRAVITY


@analysis(
    "vacuum_reading", "One vacuum reading", takes="number",
    uses="healthy vacuum_set reading_error",
    results=(
        gives("value", "vacuum", "the reading"),
        gives("below_reference", "vacuum", "reference minus reading"),
        gives("to_reference", "ratio", "reading over reference"),
        gives("reference", "word", "what it was held against", "healthy", "book", "none"),
    ),
)
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


@analysis(
    "vacuum_pair", "Two vacuum readings", takes="numbers",
    uses="reading_error",
    results=(
        gives("first", "vacuum", "first reading"),
        gives("second", "vacuum", "second reading"),
        gives("difference", "vacuum", "first minus second"),
        gives("apart", "vacuum", "size of the difference"),
        gives("loss", "ratio", "difference over the first reading"),
    ),
)
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


@analysis(
    "gauge_check", "Gauge against water column", takes="numbers",
    uses="gauge_span gauge_class fluid_density fluid_temperature tilt",
    results=(
        gives("column", "vacuum", "true vacuum from the column, corrected"),
        gives("gauge", "vacuum", "gauge reading"),
        gives("difference", "vacuum", "gauge minus column"),
        gives("apart", "vacuum", "size of the difference"),
        gives("allowed", "vacuum", "class error of the gauge plus reading error of the column"),
        gives("within", "flag", "1 when the difference is within what is allowed"),
    ),
)
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


@analysis(
    "vacuum_log", "Vacuum over time", takes="log",
    uses="swing_limit fall_limit reading_error",
    results=(
        gives("pattern", "word", "how it moves", "steady", "cycling", "steps", "slow_fall", "slow_rise"),
        gives("swing", "vacuum", "highest minus lowest, trend taken out"),
        gives("trend", "vacuum", "change over the whole log by a straight line; minus falls"),
        gives("period", "time", "time from peak to peak"),
        gives("lowest", "vacuum", "lowest value"),
        gives("mean", "vacuum", "mean value"),
    ),
)
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
    pattern, period = _log_pattern(times, values, left, trend, context=context)
    results = [word("pattern", pattern), value("swing", swing, math.sqrt(2) * error), value("trend", trend, error),
               value("lowest", min(values), error), value("mean", mean(values))]
    if period:
        results.append(value("period", period))
    texts = [said(v, "vacuum", context) for v in values]
    return analysed(results, _log_words(pattern, swing, trend, period, values=values, context=context),
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


@analysis(
    "block_test", "Capping one at a time", takes="numbers",
    needs="fan_open", uses="reading_error",
    results=(
        gives("largest_rise", "vacuum", "largest rise at the fan"),
        gives("which", "count", "row or place in the list that raises it most"),
        gives("rise_ratio", "ratio", "largest rise over the median of the others"),
        gives("smallest_rise", "vacuum", "smallest rise"),
        gives("smallest", "count", "row or place in the list that raises it least"),
        gives("difference", "vacuum", "first rise minus second, for two halves"),
    ),
)
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


@analysis(
    "fan_speed", "Fan speed", takes="number",
    needs="fan_speed_set",
    results=(
        gives("speed", "fan_speed", "the reading"),
        gives("to_set", "ratio", "reading over plate or record"),
        gives("vacuum_factor", "ratio", "vacuum at this speed over that at the set speed, all else equal"),
    ),
)
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
        notes=(too_fast(speed, wanted, context),),
    )


def too_fast(speed: float, rated: float, context: Context) -> str:
    """Return the warning that a fan turns, or would turn, faster than it may; "" where it does not."""
    if speed <= rated:
        return ""
    return (f"{said(speed, 'fan_speed', context, 4)} is above the {said(rated, 'fan_speed', context, 4)} on plate or "
            "record. No fan runs beyond its rated speed: the operator's manual has the last word. Look for where the "
            "vacuum is lost instead.")
