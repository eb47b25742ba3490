"""The analysis of seed spacings: indices, what is really missing or extra, what the scatter is made of."""

from __future__ import annotations

import math
from collections.abc import Sequence

from diag.analyses import context as ctx
from diag.analyses.charts import histogram, strip
from diag.analyses.model import Analysed, Context, Reading, Result, analysis, gives
from diag.analyses.saying import analysed, band, percent, said, share, too_few, value, word
from diag.measure import spacing as sp
from diag.measure.counting import needed_for_wilson_margin, sd_factors, wilson
from diag.measure.kinematics import spacing_for
from diag.measure.passes import Account, account, less_scatter, own_pitch, place_scatter
from diag.text import count

FEWEST = 20
"""Below this the 95 % band of any share is wider than +-20 points: no verdict."""


RAGGED = 0.25
"""Scatter of single spacings from which a row is not called even."""
EVEN_OFF = 0.05
"""How far a row's own spacing is off its target before that is said."""


def spacings_from(reading: Reading) -> list[float]:
    """Return the spacings (m) of a reading of spacings or tape positions. Raises MeasureError."""
    return sp.spacings_of(reading.numbers) if reading.kind == "positions" else list(reading.numbers)


def target_of(context: Context, spacings: Sequence[float]) -> tuple[float, str]:
    """Return the reference spacing (m) and where it comes from: setting, rate or estimated."""
    given = ctx.positive(context, "target_spacing")
    if given is not None:
        return given, "setting"
    rate, width = ctx.positive(context, "target_rate"), ctx.positive(context, "row_width")
    if rate is not None and width is not None:
        return spacing_for(rate, width), "rate"
    return sp.estimated_target(spacings), "estimated"


@analysis(
    "spacing", "Seed spacing", takes="spacings positions",
    uses=f"{ctx.TARGET} holes plants emergence miss_limit proof_margin",
    results=(
        gives("quality_of_feed", "share", "spacings from 0.5 to 1.5 times the target (index over spacings)"),
        gives("multiples", "share", "spacings up to 0.5 times the target"),
        gives("misses", "share", "spacings above 1.5 times the target; a long gap counts once"),
        gives("faults", "share", "multiples and misses together"),
        gives("quality_by_position", "share", "single seeds over intended seed positions"),
        gives("multiples_by_position", "share", "extra seeds over intended seed positions"),
        gives("misses_by_position", "share", "missing seeds over intended seed positions"),
        gives("precision", "share", "spread of the normal spacings over the target; near 29 % is no control"),
        gives("cv_whole", "share", "spread of all spacings over their mean; mixes skips, doubles and placement"),
        gives("mean_spacing", "spacing", "mean of all spacings"),
        gives("median_single", "spacing", "median of the normal spacings"),
        gives("spacing_sd", "spacing", "standard deviation of all spacings"),
        gives("cp3", "share", "spacings within 15 mm of the target"),
        gives("target", "spacing", "reference spacing that was used"),
        gives("target_source", "word", "where the reference spacing comes from", "setting", "rate", "estimated"),
        gives("population_factor", "ratio", "seeds in the row over seeds wanted"),
        gives("drive_factor", "ratio", "part of it due to drive, speed, slip or hole count"),
        gives("singulation_factor", "ratio", "part of it due to skips and doubles"),
        gives("between_share", "share", "share of the spread due to skips and doubles rather than placement"),
        gives("displaced_share", "share", "spacings in pairs of one short and one long that make two targets"),
        gives("true_doubles", "share", "real extra seeds over intended seed positions, by hole pass"),
        gives("true_skips", "share", "real missing seeds over intended seed positions, by hole pass"),
        gives("net_missing", "count", "seeds missing (minus: too many) over the whole run"),
        gives("lag1", "ratio", "correlation of one normal spacing with the next; -0.5 is pure placement"),
        gives("placement_share", "share", "share of the spread of normal spacings that is placement"),
        gives("emergence_floor", "share", "spread that plants would show even with perfectly spaced seeds"),
        gives("spacings", "count", "spacings measured"),
        gives("longest_gap", "spacing", "longest gap"),
    ),
)
def run_spacing(reading: Reading, context: Context) -> Analysed:
    """Return indices, sum rule, population split, placement share and verdict of a run of spacings."""
    spacings = spacings_from(reading)
    if len(spacings) < 5:
        return too_few(f"{len(spacings)} spacings.", FEWEST - len(spacings))
    target, source = target_of(context, spacings)
    counts, own = sp.classes(spacings, target), own_pitch(spacings, target)
    rule = less_scatter(account(spacings, own), spacings, own)
    results = [*_indices(counts), *_spread(spacings, target), *_account(rule, len(spacings)),
               *_population(spacings, target), *_placement(spacings, target),
               value("target", target), word("target_source", source), value("spacings", len(spacings)),
               value("longest_gap", max(spacings))]
    results += _emergence(spacings, target, context)
    short = len(spacings) < FEWEST
    return analysed(
        results,
        _verdict(spacings, target, own, rule),
        notes=_notes(spacings, target, source, counts, context=context),
        needed=FEWEST - len(spacings) if short else _more(counts, context),
        reason=f"{len(spacings)} spacings cannot carry a verdict; {FEWEST} are the least." if short else "",
        charts=lambda width: (strip(spacings, target, width), histogram(spacings, target, width)),
    )


def _indices(c: sp.Classes) -> list[Result]:
    seeds, gone = max(0, c.spacings - 2 * c.multiples), min(c.missing, c.positions)
    found = [share("quality_of_feed", c.singles, c.spacings), share("multiples", c.multiples, c.spacings),
             share("misses", c.misses, c.spacings), share("faults", c.multiples + c.misses, c.spacings)]
    if c.positions:
        found += [share("quality_by_position", min(seeds, c.positions), c.positions),
                  share("multiples_by_position", min(c.multiples, c.positions), c.positions),
                  share("misses_by_position", gone, c.positions)]
    return found


def _spread(spacings: Sequence[float], target: float) -> list[Result]:
    n, middle, spread = len(spacings), sp.mean(spacings), sp.sd(spacings)
    per_sd = 1 / math.sqrt(2 * (n - 1))
    found = [value("mean_spacing", middle, spread / math.sqrt(n)),
             value("spacing_sd", spread, spread * per_sd),
             value("between_share", sp.between_share(spacings, target))]
    if middle > 0:
        found.append(value("cv_whole", spread / middle, spread / middle * per_sd))
    inside = sum(abs(s - target) <= sp.CP3_HALF_WIDTH * (1 + 1e-9) for s in spacings)
    found.append(share("cp3", inside, n))
    ones = sp.singles(spacings, target)
    if len(ones) > 1:
        c = sp.sd(ones) / target
        found += [value("precision", c, c / math.sqrt(2 * (len(ones) - 1))),
                  value("median_single", sp.median(ones), 1.2533 * sp.sd(ones) / math.sqrt(len(ones)))]
    return found


def _account(rule: Account, n: int) -> list[Result]:
    doubles, skips = round(rule.doubles), round(rule.skips)
    return [share("displaced_share", min(n, 2 * round(rule.displaced)), n), value("net_missing", skips - doubles),
            share("true_doubles", min(rule.passes, doubles), rule.passes),
            share("true_skips", min(rule.passes, skips), rule.passes)]


def _population(spacings: Sequence[float], target: float) -> list[Result]:
    whole, drive, singulation = sp.population_factors(spacings, target)
    ones = sp.singles(spacings, target)
    n = len(spacings)
    of_mean = sp.sd(spacings) / sp.mean(spacings) / math.sqrt(n)
    of_median = 1.2533 * sp.sd(ones) / sp.median(ones) / math.sqrt(len(ones)) if len(ones) > 1 else of_mean
    return [value("population_factor", whole, whole * of_mean),
            value("drive_factor", drive, drive * of_median),
            value("singulation_factor", singulation, singulation * of_mean)]


def _placement(spacings: Sequence[float], target: float) -> list[Result]:
    found = sp.lag1(spacings, target)
    if found is None:
        return []
    r1, pairs = found
    error = math.sqrt(max(0.0, 1 - r1 * r1) / pairs)
    return [value("lag1", r1, error), value("placement_share", sp.placement_share(r1), min(0.5, 2 * error))]


def _emergence(spacings: Sequence[float], target: float, context: Context) -> list[Result]:
    if not ctx.number(context, "plants"):
        return []
    emergence = ctx.positive(context, "emergence")
    if emergence is None or emergence > 1:
        return []
    floor = sp.emergence_sd(target, emergence)
    return [value("emergence_floor", floor * emergence / target)]


def _notes(spacings: Sequence[float], target: float, source: str, c: sp.Classes,
           context: Context) -> list[str]:
    ones, notes = sp.singles(spacings, target), []
    if source == "estimated":
        notes.append(f"The target ({said(target, 'spacing', context)}) was estimated from the spacings: a "
                     "fault in the rate cannot show. Give the target or the rate to see one.")
    else:
        notes.append(_off_target(spacings, target, ones))
    if ctx.number(context, "plants"):
        notes.append("Plants were measured: a seed that did not come up looks like a skip. Dig in the gaps.")
    holes = ctx.number(context, "holes")
    if holes and len(spacings) < 3 * holes:
        notes.append("Less than three disc turns: a fault that comes with each turn needs "
                     f"{3 * round(holes)} spacings in one piece.")
    if len(ones) >= FEWEST:
        low, high = sd_factors(len(ones))
        cv = sp.sd(ones) / target
        notes.append(f"Scatter of the single spacings {percent(cv)} ({percent(cv * low)} to "
                     f"{percent(cv * high)}), of all spacings with gaps and pairs "
                     f"{percent(sp.sd(spacings) / sp.mean(spacings))}: two different figures.")
    return notes


def _off_target(spacings: Sequence[float], target: float, ones: Sequence[float]) -> str:
    """Return the warning that the singles lie off the target, "" when they do not."""
    if len(ones) < 10:
        return ""
    ratio, error = sp.median(ones) / target, 1.2533 * sp.sd(ones) / target / math.sqrt(len(ones))
    if abs(ratio - 1) <= max(0.02, 2 * error):
        return ""
    own, n = sp.classes(spacings, sp.median(ones)), len(spacings)
    return (f"Single seeds lie {percent(abs(ratio - 1))} {'wider' if ratio > 1 else 'closer'} than the target: "
            "drive, speed, slip, hole count or the target itself. Against their own spacing "
            f"{percent(own.misses / n)} are gaps and {percent(own.multiples / n)} close pairs.")


def _more(c: sp.Classes, context: Context) -> int | None:
    """Return how many more spacings would settle the question that was asked, None when it is settled."""
    n, limit, margin = c.spacings, ctx.positive(context, "miss_limit"), ctx.positive(context, "proof_margin")
    if limit is not None:
        low, high = wilson(c.misses, n)
        if high < limit or low > limit:
            return None
        apart = max(0.005, abs(c.misses / n - limit))
        return max(1, needed_for_wilson_margin(c.misses / n, apart) - n)
    if margin is not None:
        faults = (c.multiples + c.misses) / n
        return max(0, needed_for_wilson_margin(faults, margin) - n) or None
    return None


@analysis(
    "spacing_tally", "Spacings called out", takes="counts",
    uses="miss_limit",
    results=(
        gives("quality_of_feed", "share", "spacings called good"),
        gives("multiples", "share", "spacings called close"),
        gives("misses", "share", "spacings called gaps"),
        gives("faults", "share", "close and gaps together"),
        gives("spacings", "count", "spacings called"),
    ),
)
def run_spacing_tally(reading: Reading, context: Context) -> Analysed:
    """Return shares of spacings called out as good, close or gap (labelled counts; only k is used)."""
    good, close, gap = (reading.counts.get(label, (0, 0))[0] for label in ("good", "close", "gap"))
    c = sp.Classes(close, good, gap, 0, skips3=0)
    n = c.spacings
    if n == 0:
        return too_few("no spacing was called.", FEWEST)
    results = [share("quality_of_feed", good, n), share("multiples", close, n), share("misses", gap, n),
               share("faults", close + gap, n), value("spacings", n)]
    return analysed(
        results,
        f"{percent(gap / n)} of {n} spacings are gaps ({band(gap, n)}), {percent(close / n)} close pairs.",
        notes=("Called by eye: close is up to half a target, a gap more than one and a half.",),
        needed=FEWEST - n if n < FEWEST else _more(c, context),
        reason=f"{n} spacings cannot carry a verdict; {FEWEST} are the least." if n < FEWEST else "",
    )


def _by_scatter_alone(spacings: Sequence[float], own: float) -> tuple[float, float, float]:
    """Return the shares of close, single and long spacings that the scatter around the row's own spacing gives."""
    return sp.normal_scatter(place_scatter(spacings, own) * math.sqrt(2))


def _verdict(spacings: Sequence[float], target: float, own: float, rule: Account) -> str:
    """Return what stands out at the row's own spacing, and how far that spacing is off."""
    told, off = _at_own_spacing(spacings, own, rule), own / target - 1
    if abs(off) <= EVEN_OFF:
        return told
    return f"{told} The row's own spacing is {percent(abs(off))} {'wider' if off > 0 else 'closer'} than the target."


def _at_own_spacing(spacings: Sequence[float], own: float, rule: Account) -> str:
    """Return what stands out beyond what the scatter of the seeds alone would give."""
    c, ones, n = sp.classes(spacings, own), sp.singles(spacings, own), len(spacings)
    cv = sp.sd(ones) / own
    if len(ones) > 9 and cv > 0.9 / math.sqrt(12):
        return f"No spacing control: the single spacings scatter {percent(cv)}, near the 29 % of pure chance."
    close, _, far = _by_scatter_alone(spacings, own)
    gaps = c.misses and wilson(c.misses, n)[0] > far
    pairs = c.multiples and wilson(c.multiples, n)[0] > close
    gap_words = f"{percent(c.misses / n)} of {n} spacings are gaps ({band(c.misses, n)})" if n else ""
    pair_words = f"{percent(c.multiples / n)} are close pairs ({band(c.multiples, n)})"
    displaced, doubles, skips = round(rule.displaced), round(rule.doubles), round(rule.skips)
    if (gaps or pairs) and displaced > doubles + skips:
        return (f"Seeds out of place: {displaced} pairs of one close and one long space among {n} spacings; only "
                f"{count(skips, 'seed')} really missing, {doubles} too many.")
    tail = f", {displaced} of them only a seed out of place" if displaced else ""
    if gaps and pairs:
        return f"Gaps and close pairs: {gap_words}, {pair_words}{tail}."
    if gaps:
        return f"Gaps: {gap_words}, more than scatter gives."
    if pairs:
        return f"Close pairs: of {n} spacings {pair_words}{tail}."
    if cv > RAGGED:
        return f"Ragged: the single spacings scatter {percent(cv)}; gaps and close pairs are what such scatter gives."
    return f"Even: {percent(c.singles / n, 3)} of {n} spacings are single ({band(c.singles, n)})."
