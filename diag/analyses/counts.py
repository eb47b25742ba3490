"""The analyses of counts: shares, comparisons, steps, sensors, catches, leaks, holes, seed weight."""

from __future__ import annotations

import math

from diag.analyses import context as ctx
from diag.analyses.model import Analysed, Context, Reading, Result, analysis, gives
from diag.analyses.saying import analysed, percent, said, share, too_few, value, word
from diag.errors import MeasureError
from diag.measure.counting import (
    difference,
    fisher,
    needed_for_wilson_margin,
    needed_to_tell,
    of_many,
    poisson_interval,
    wilson,
)
from diag.measure.stand import count_error

CLEAR = 0.05
"""Chance of accident below which two counts are called different."""


def k_of_n(reading: Reading) -> tuple[int, int]:
    """Return k and n of a count. Raises MeasureError when either is missing or k exceeds n."""
    if reading.k is None or reading.n is None or not 0 <= reading.k <= reading.n or reading.n == 0:
        raise MeasureError(f"{reading.k} of {reading.n} is not a count.", remedy="Give k of n with k at most n.")
    return reading.k, reading.n


def _labelled(reading: Reading, *labels: str) -> list[tuple[int, int]]:
    """Return the (k, n) of each label. Raises MeasureError naming what is missing or does not fit."""
    missing = [label for label in labels if label not in reading.counts]
    if missing:
        raise MeasureError(f"Counts are missing: {', '.join(missing)}.", remedy=f"Give {', '.join(labels)}.")
    pairs = [reading.counts[label] for label in labels]
    for label, (k, n) in zip(labels, pairs, strict=True):
        if n <= 0 or k > n:
            raise MeasureError(f"{k} of {n} is not a share.", label, "Count at most as many as were looked at.")
    return pairs


@analysis(
    "share", "Share of a count", takes="count",
    uses="proof_margin rows_looked_at",
    results=(
        gives("share", "share", "k of n"),
        gives("upper", "share", "upper 95 % bound"),
        gives("lower", "share", "lower 95 % bound"),
    ),
)
def run_share(reading: Reading, context: Context) -> Analysed:
    """Return a share with its band, and how many more would bring it within a wanted margin."""
    k, n = k_of_n(reading)
    among = max(1, round(ctx.positive(context, "rows_looked_at") or 1))
    low, high = wilson(k, n, 1 - 0.05 / among)
    margin = ctx.positive(context, "proof_margin")
    more = max(0, needed_for_wilson_margin(k / n, margin) - n) if margin else 0
    picked = f"The band is widened because this was picked out of {among} rows." if among > 1 else ""
    told = f"{percent(k / n)}: {k} of {n} ({percent(low).removesuffix(' %')} to {percent(high)})."
    return analysed([share("share", k, n), value("lower", low), value("upper", high)], told,
                    notes=(picked,), needed=more or None)


def _compared(first: tuple[int, int], second: tuple[int, int]) -> tuple[float, float, float]:
    """Return difference first minus second, its standard error and the chance of accident."""
    apart, error = difference(*first, *second)
    return apart, error, fisher(*first, *second)


def _more_to_tell(first: tuple[int, int], second: tuple[int, int], chance: float) -> int | None:
    """Return how many more per side would tell the two shares as they are, None when told or hopeless."""
    p1, p2 = first[0] / first[1], second[0] / second[1]
    if chance <= CLEAR or p1 == p2:
        return None
    more = needed_to_tell(p1, p2) - min(first[1], second[1])
    return more if 0 < more <= 1000 else None


@analysis(
    "two_counts", "Two counts compared", takes="counts",
    results=(
        gives("first", "share", "share in the first"),
        gives("second", "share", "share in the second"),
        gives("difference", "share", "first minus second"),
        gives("chance", "share", "chance of such a difference when both are alike"),
    ),
)
def run_two_counts(reading: Reading, context: Context) -> Analysed:
    """Return how two labelled counts differ; labels in the order they were given."""
    if len(reading.counts) != 2:
        raise MeasureError(f"Two counts are compared, {len(reading.counts)} were given.", remedy="Give two.")
    names = list(reading.counts)
    first, second = _labelled(reading, *names)
    apart, error, chance = _compared(first, second)
    told = _difference_said(names[0], first, names[1], second, chance=chance)
    return analysed([share("first", *first), share("second", *second), value("difference", apart, error),
                     value("chance", chance)], told, needed=_more_to_tell(first, second, chance))


def _difference_said(a: str, first: tuple[int, int], b: str, second: tuple[int, int], chance: float) -> str:
    shares = f"{a} {percent(first[0] / first[1])}, {b} {percent(second[0] / second[1])}"
    if chance > CLEAR:
        return f"No difference that could be told from accident: {shares} (chance {percent(chance)})."
    more = a if first[0] / first[1] > second[0] / second[1] else b
    return f"{more.capitalize()} is higher: {shares} (chance {percent(chance)})."


@analysis(
    "speed_compare", "Slow pass against normal pass", takes="counts",
    results=(
        gives("normal", "share", "skips and doubles at normal speed"),
        gives("slow", "share", "skips and doubles at slow speed"),
        gives("difference", "share", "normal minus slow: what slowing down gains"),
        gives("chance", "share", "chance of such a difference when speed does not matter"),
        gives("rate_ratio", "ratio", "seeds found slow over seeds found at normal speed, same length"),
    ),
)
def run_speed_compare(reading: Reading, context: Context) -> Analysed:
    """Return what slowing down gains: counts slow and normal are (bad spacings, spacings)."""
    slow, normal = _labelled(reading, "slow", "normal")
    gain, error, chance = _compared(normal, slow)
    results = [share("normal", *normal), share("slow", *slow), value("difference", gain, error),
               value("chance", chance)]
    if {"seeds_slow", "seeds_normal"} <= set(reading.counts):
        a, b = reading.counts["seeds_slow"][0], reading.counts["seeds_normal"][0]
        if min(a, b) > 0:
            spread = math.hypot(count_error(a) / a, count_error(b) / b)
            results.append(value("rate_ratio", a / b, a / b * spread))
    if chance > CLEAR:
        told = "Speed makes no difference that could be told from accident"
    else:
        told = "Better slow" if gain > 0 else "Worse slow"
    told += f": {percent(normal[0] / normal[1])} bad at normal speed, {percent(slow[0] / slow[1])} slow."
    return analysed(results, told, needed=_more_to_tell(normal, slow, chance))


@analysis(
    "step_test", "One setting changed", takes="counts",
    results=(
        gives("skips_before", "share", "skips before"),
        gives("skips_after", "share", "skips after"),
        gives("skips_change", "share", "after minus before"),
        gives("skips_chance", "share", "chance of such a change when nothing changed"),
        gives("doubles_before", "share", "doubles before"),
        gives("doubles_after", "share", "doubles after"),
        gives("doubles_change", "share", "after minus before"),
        gives("doubles_chance", "share", "chance of such a change when nothing changed"),
    ),
)
def run_step_test(reading: Reading, context: Context) -> Analysed:
    """Return what one changed setting did to skips and doubles; labels skips_before, doubles_after and so on."""
    results: list[Result] = []
    told, needed = [], []
    for what in ("skips", "doubles"):
        if not any(label.startswith(what) for label in reading.counts):
            continue
        before, after = _labelled(reading, f"{what}_before", f"{what}_after")
        change, error, chance = _compared(after, before)
        results += [share(f"{what}_before", *before), share(f"{what}_after", *after),
                    value(f"{what}_change", change, error), value(f"{what}_chance", chance)]
        moved = "unchanged" if chance > CLEAR else "up" if change > 0 else "down"
        told.append(f"{what} {moved} ({percent(before[0] / before[1])} to {percent(after[0] / after[1])})")
        needed.append(_more_to_tell(before, after, chance) or 0)
    if not told:
        raise MeasureError("No counts of skips or doubles were given.", remedy="Give skips_before and skips_after.")
    words = ", ".join(told)
    return analysed(results, f"{words[0].upper()}{words[1:]}.", needed=None if 0 in needed else max(needed))


@analysis(
    "sweep", "Several settings tried", takes="counts",
    results=(
        gives("best", "count", "place in the list of the setting with the fewest skips and doubles"),
        gives("best_share", "share", "skips and doubles there"),
        gives("worst_share", "share", "skips and doubles at the worst setting"),
        gives("gain", "share", "worst minus best"),
        gives("place", "word", "where the best setting lies in the list", "inside", "first", "last"),
        gives("chance", "share", "chance of such differences when the setting does not matter"),
    ),
)
def run_sweep(reading: Reading, context: Context) -> Analysed:
    """Return the best of several settings; counts in the order of the settings are (bad, seeds)."""
    names = list(reading.counts)
    if len(names) < 3:
        return too_few(f"{len(names)} settings; a low point needs three.", 3 - len(names))
    pairs = _labelled(reading, *names)
    shares = [k / n for k, n in pairs]
    best, worst = shares.index(min(shares)), shares.index(max(shares))
    gain, error, chance = _compared(pairs[worst], pairs[best])
    chance = of_many(chance, len(names) * (len(names) - 1) // 2)
    place = "first" if best == 0 else "last" if best == len(names) - 1 else "inside"
    if chance > CLEAR:
        told = f"No clear low point: from {percent(shares[best])} to {percent(shares[worst])} over the settings."
    else:
        end = "" if place == "inside" else ", at the end of what was tried: go one step farther"
        told = f"Best at {names[best]}: {percent(shares[best])} skips and doubles{end}."
    return analysed([value("best", best + 1), share("best_share", *pairs[best]), share("worst_share", *pairs[worst]),
                     value("gain", gain, error), word("place", place), value("chance", chance)], told)


@analysis(
    "sensor_compare", "Screen against hand count", takes="count counts",
    results=(
        gives("ratio", "ratio", "screen over hand count"),
        gives("difference", "ratio", "screen over hand count, minus one"),
        gives("counted", "count", "seeds counted by hand"),
    ),
)
def run_sensor_compare(reading: Reading, context: Context) -> Analysed:
    """Return screen over hand count: count k (screen) of n (hand), or counts screen and hand."""
    if reading.kind == "counts":
        if not {"screen", "hand"} <= set(reading.counts):
            raise MeasureError("Both counts are needed.", remedy="Give screen and hand.")
        screen, hand = reading.counts["screen"][0], reading.counts["hand"][0]
    else:
        screen, hand = reading.k or 0, reading.n or 0
    if hand <= 0:
        raise MeasureError("The hand count is missing.", remedy="Count the seeds that were caught.")
    ratio = screen / hand
    error = math.sqrt(max(abs(1 - ratio), 1 / hand) / hand)
    few = hand < 100
    side = "reads right" if abs(ratio - 1) <= 2 * error else "reads low" if ratio < 1 else "reads high"
    return analysed(
        [value("ratio", ratio, error), value("difference", ratio - 1, error), value("counted", hand)],
        f"The screen {side}: {screen} for {hand} counted by hand ({percent(ratio, 3)}, +-{percent(2 * error)}).",
        needed=300 - hand if hand < 300 else None,
        reason=f"{hand} seeds are too few to judge a sensor." if few else "",
    )


@analysis(
    "catch_test", "Seeds caught in known disc turns", takes="count number",
    uses="holes turns",
    results=(
        gives("caught", "ratio", "seeds caught over holes passed"),
        gives("short", "ratio", "one minus that; minus means too many"),
        gives("passed", "count", "holes passed"),
    ),
)
def run_catch_test(reading: Reading, context: Context) -> Analysed:
    """Return seeds caught over holes passed: k of n, or a number with turns and holes known."""
    if reading.kind == "count" and reading.k is not None and reading.n:
        caught, passed = reading.k, reading.n
    else:
        caught = reading.k if reading.k is not None else round(reading.numbers[0]) if reading.numbers else 0
        passed = round(ctx.needed(context, "turns") * ctx.needed(context, "holes"))
    ratio = caught / passed
    # Skips and doubles cancel in the sum; the error counts one more of each than the sum shows.
    error = math.sqrt(max(abs(1 - ratio), 2 / passed) / passed)
    side = "right" if abs(ratio - 1) <= 2 * error else "short" if ratio < 1 else "too many"
    return analysed(
        [value("caught", ratio, error), value("short", 1 - ratio, error), value("passed", passed)],
        f"The catch is {side}: {caught} seeds from {passed} holes ({percent(ratio, 3)}, +-{percent(2 * error)}).",
        notes=("Equal skips and doubles cancel in a catch: watch three turns for empty holes and twins.",),
        reason=f"{passed} holes are too few." if passed < 50 else "",
        needed=300 - passed if passed < 300 else None,
    )


@analysis(
    "leak_rate", "Seed falling from a still meter", takes="number count",
    uses="minutes",
    results=(gives("leak", "leak_flow", "seeds falling per time"),),
)
def run_leak_rate(reading: Reading, context: Context) -> Analysed:
    """Return the seeds falling per second from a still meter: a count over known minutes, or the rate itself."""
    if reading.numbers:
        return analysed([value("leak", reading.numbers[0])], f"{said(reading.numbers[0], 'leak_flow', context)} fall.")
    seconds, seeds = ctx.needed(context, "minutes"), reading.k or 0
    low, high = poisson_interval(seeds)
    rate = seeds / seconds
    return analysed(
        [value("leak", rate, math.sqrt(max(seeds, 1)) / seconds)],
        f"{said(rate, 'leak_flow', context, 2)} fall ({seeds} seeds; "
        f"{low / seconds * 60:.2g} to {high / seconds * 60:.2g}).",
    )
