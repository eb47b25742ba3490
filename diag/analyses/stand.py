"""The analyses of stand counts and of seed used against area."""

from __future__ import annotations

import math
from collections.abc import Mapping

from diag.analyses import context as ctx
from diag.analyses.model import ROW_PATTERN, Analysed, Context, Reading, Result, analysis, gives
from diag.analyses.patterns import Limits, pattern_of
from diag.analyses.saying import analysed, percent, plus_minus, said, value, word
from diag.errors import MeasureError
from diag.measure.stand import compare_rows, count_error, rate_from_count, thousandth_length
from diag.text import rows_words
from diag.units import ACRE, HECTARE, feet_inches

CLEAR = 0.05
FEWEST = 100
"""Seeds below which one count says little: one seed of 32 is already 3 %."""


def counted_length(context: Context) -> float:
    """Return the length (m) that was counted: given, or 1/1000 acre (hectare) at the row width."""
    length = ctx.positive(context, "row_length")
    area = HECTARE if context.get("per") == "hectare" else ACRE
    return length if length is not None else thousandth_length(ctx.needed(context, "row_width"), area)


@analysis(
    "stand_count", "Stand count", takes="number count numbers",
    needs="row_width", uses="row_length per target_rate sections row_low_ratio row_high_ratio",
    results=(
        gives("rate", "rate", "seeds or plants per area"),
        gives("per_length", "seeds_per_length", "seeds or plants per length of row"),
        gives("to_target", "ratio", "counted over target"),
        gives("rows_pattern", "word", "how rows compare; needs row_low_ratio and row_high_ratio", *ROW_PATTERN),
        gives("lowest_row", "count", "row with the fewest"),
        gives("lowest_ratio", "ratio", "fewest over the median of the rows"),
        gives("highest_row", "count", "row with the most"),
        gives("highest_ratio", "ratio", "most over the median of the rows"),
        gives("rows_chance", "share", "chance that equal rows differ as much as this, all rows looked at"),
        gives("counted", "count", "seeds or plants counted"),
    ),
)
def run_stand_count(reading: Reading, context: Context) -> Analysed:
    """Return rate and row comparison of counts in equal lengths: one count, or one or more per row."""
    width, length = ctx.needed(context, "row_width"), counted_length(context)
    counts = [float(reading.k)] if reading.kind == "count" and reading.k is not None else list(reading.numbers)
    if not counts or min(counts) < 0:
        raise MeasureError("No count was given.", remedy="Count seeds or plants in the length of row.")
    total = math.fsum(counts)
    rate = rate_from_count(total, length * len(counts), width)
    error = rate_from_count(math.sqrt(len(counts)) * count_error(total / len(counts)), length * len(counts), width)
    results = [value("rate", rate, error), value("per_length", rate * width, error * width),
               value("counted", total)]
    target = ctx.positive(context, "target_rate")
    if target is not None:
        results.append(value("to_target", rate / target, error / target))
    rows, told = _rows(reading, counts, context)
    few = total < FEWEST
    return analysed(
        results + rows,
        _rate_said(rate, error, target, context) + told,
        notes=(f"Counted length: {_length_said(length, context)}, {len(counts)} times.",),
        needed=max(1, math.ceil(FEWEST * len(counts) / max(total, 1)) - len(counts)) if few else None,
        reason=f"{total:.0f} counted: one seed more or less is {percent(1 / max(total, 1))}." if few else "",
    )


def _length_said(length: float, context: Context) -> str:
    return feet_inches(length) if ctx.units(context) == "us" else said(length, "length", context)


def _rate_said(rate: float, error: float, target: float | None, context: Context) -> str:
    told = plus_minus(rate, error, "rate", context)
    if target is None:
        return f"Counted {told}."
    side = "On target" if abs(rate - target) <= 2 * error else "Below target" if rate < target else "Above target"
    return f"{side}: {told}, {percent(rate / target, 3)} of what was wanted."


def _rows(reading: Reading, counts: list[float], context: Context) -> tuple[list[Result], str]:
    """Return the results and words on how rows compare; nothing with fewer than two rows."""
    places: dict[int, list[float]] = {}
    for row, count in zip(reading.rows, counts, strict=False):
        places.setdefault(row, []).append(count)
    if len(places) < 2:
        return [], ""
    if len({len(v) for v in places.values()}) > 1:
        raise MeasureError("Rows were counted at unequal numbers of places.", remedy="Count each row equally often.")
    each = {row: math.fsum(v) for row, v in places.items()}
    found = compare_rows(each)
    middle = found.middle or 1.0
    spread = count_error(middle) / middle
    results = [value("lowest_row", found.lowest), value("lowest_ratio", each[found.lowest] / middle, spread),
               value("highest_row", found.highest), value("highest_ratio", each[found.highest] / middle, spread),
               value("rows_chance", found.chance)]
    pattern = _pattern(each, context, spread)
    if pattern is not None:
        results.append(pattern)
    if found.apart:
        verb = "differs" if len(found.apart) == 1 else "differ"
        return results, f" {rows_words(found.apart).capitalize()} {verb} from the rest."
    return results, " No row differs more than counting allows."


def _pattern(each: Mapping[int, float], context: Context, spread: float) -> Result | None:
    limits = Limits.ratio(context)
    if limits is None:
        return None
    return word("rows_pattern", *pattern_of(each, limits, ctx.sections(context), reading_error=spread))


@analysis(
    "seed_use", "Seed used against area", takes="number numbers",
    needs="target_rate", uses="planted_area tag_seeds_per_mass",
    results=(
        gives("rate", "rate", "seeds used per area"),
        gives("to_target", "ratio", "used over target"),
    ),
)
def run_seed_use(reading: Reading, context: Context) -> Analysed:
    """Return seed used per area over target: the rate itself, or labels used (seeds, or kg with the tag) and area."""
    target = ctx.needed(context, "target_rate")
    used, area = reading.at("used"), reading.at("area") or ctx.positive(context, "planted_area")
    mass = reading.at("mass")
    if mass is not None:
        used = mass * ctx.needed(context, "tag_seeds_per_mass")
    if used is not None and area:
        rate = used / area
    elif len(reading.numbers) == 1:
        rate = reading.numbers[0] / area if area else reading.numbers[0]
    else:
        raise MeasureError("Seed used and area are both needed.", remedy="Give used and area.")
    ratio = rate / target
    side = "more" if ratio > 1 else "less"
    return analysed([value("rate", rate), value("to_target", ratio)],
                    f"{percent(abs(ratio - 1))} {side} seed used than wanted: {said(rate, 'rate', context)} against "
                    f"{said(target, 'rate', context)}.")
