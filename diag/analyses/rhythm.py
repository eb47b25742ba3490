"""The analyses of rhythm: along a row, between like gaps, and by counted holes."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Mapping, Sequence

from diag.analyses import context as ctx
from diag.analyses.charts import holes as hole_chart
from diag.analyses.model import Analysed, Context, Reading, Result, analysis, gives
from diag.analyses.saying import analysed, percent, said, share, too_few, value, word
from diag.analyses.spacing import spacings_from, target_of
from diag.errors import MeasureError
from diag.measure import folding
from diag.measure import rhythm as rh
from diag.measure import spacing as sp
from diag.measure.counting import binomial_cdf, of_many
from diag.measure.passes import own_pitch

RISK = 0.01
"""Chance of accident below which a rhythm is called one, whichever way it was looked for."""
RISK_OF_A_WAVE = 0.4 * RISK
"""Where seeds scatter widely a wave is called a little too easily; the chance of a hole is on the cautious side."""

LEAST_TURNS = 3
LEAST_WAVES = 3
SHORTEST = 4
"""Spacings in the shortest wave that is looked for: below it scatter itself rises and falls from seed to seed."""


def travels(context: Context, holes: int, target: float) -> dict[str, float]:
    """Return the travel (m) in one turn of every part whose ratio is known."""
    disc = rh.turn_distance(holes, target)
    found = {"disc": disc}
    for part in ctx.PARTS[1:]:
        turns = ctx.positive(context, f"disc_turns_per_{part}_turn")
        if turns is not None:
            found[part] = disc * turns
    wheel = ctx.positive(context, "wheel_circumference")
    return found | {"wheel": wheel} if wheel is not None else found


@analysis(
    "rhythm", "Rhythm along the row", takes="spacings positions",
    needs="holes", uses=ctx.RATIOS,
    results=(
        gives("pattern", "word", "whether the trouble repeats", "one_hole", "smooth", "none", "too_few"),
        gives("kind", "word", "what repeats at one hole", "plugged", "late", "double", "wave", "none"),
        gives("part", "word", "part whose turn fits the rhythm", *ctx.PARTS, "none", "unclear"),
        gives("period", "length", "travel from one repeat to the next"),
        gives("turns", "count", "disc turns that were measured"),
        gives("turns_needed", "count", "disc turns needed to tell"),
        gives("hole", "count", "hole that stands out, counted from the first seed"),
        gives("occupancy", "count", "seeds per pass of that hole"),
        gives("shift", "spacing", "mean displacement at that hole"),
        gives("chance", "share", "chance that random gaps would show such a rhythm"),
        gives("wave_share", "share", "share of the spread in the strongest wave"),
        gives("lag_plugged", "ratio", "correlation of spacings at holes - 1, where a plugged hole repeats"),
        gives("lag_late", "ratio", "correlation of spacings at holes, where a late hole repeats"),
        gives("lag_double", "ratio", "correlation of spacings at holes + 1, where a doubling hole repeats"),
        gives("lag_band", "ratio", "correlation that chance alone may show"),
    ),
)
def run_rhythm(reading: Reading, context: Context) -> Analysed:
    """Return whether the row repeats with a hole of the disc or with a smooth wave, and the part that fits."""
    spacings, holes = spacings_from(reading), _holes(context)
    if len(spacings) < 16:
        return too_few(f"{len(spacings)} spacings show no rhythm.", LEAST_TURNS * holes - len(spacings))
    pitch = own_pitch(spacings, target_of(context, spacings)[0])
    folded = folding.fold(spacings, pitch, holes)
    wanted = folding.turns_needed(holes, folded.empty_share)
    common = [value("turns", folded.turns), value("turns_needed", wanted), *_lags(spacings, holes)]
    fault = folding.standing_out(folded) if folded.turns >= LEAST_TURNS - 0.1 else None
    stands_out = fault is not None and fault.chance <= RISK
    if fault and stands_out and fault.kind != "late":
        return _one_hole(folded, fault, common, holes, context=context)
    wave = _wave(spacings, folded, holes, context)
    if wave is not None:
        return analysed([*common, *wave[0]], wave[1])
    if fault and stands_out and folding.wavy(folded, fault.hole) <= 2 / math.sqrt(holes):
        return _one_hole(folded, fault, common, holes, context=context)
    if folded.turns < wanted:
        more = max(1, math.ceil((wanted - folded.turns) * holes))
        reason = f"{folded.turns:.1f} disc turns; {wanted} are needed to tell a bad hole from accident."
        return analysed([*common, word("pattern", "too_few"), word("kind", "none"), word("part", "none")],
                        f"Too few turns to tell: {reason}", needed=more, reason=reason)
    return analysed(
        [*common, word("pattern", "none"), word("kind", "none"), word("part", "none")],
        f"No rhythm: in {folded.turns:.1f} disc turns no hole and no wave stands out.",
        charts=lambda width: (hole_chart(folded.occupancy, width),),
    )


def _lags(spacings: Sequence[float], holes: int) -> list[Result]:
    """Return the correlation of spacings at the lag of each fault of one hole, and the band of chance."""
    if len(spacings) <= holes + 1:
        return []
    lags = [holes + off for off in rh.LAG_OF.values()]
    found = zip(rh.LAG_OF, rh.autocorrelation(spacings, lags), strict=True)
    return [*(value(f"lag_{kind}", r) for kind, r in found), value("lag_band", rh.correlation_band(len(spacings)))]


def _holes(context: Context) -> int:
    holes = round(ctx.needed(context, "holes"))
    if not 2 <= holes <= 1000:
        raise MeasureError(f"A disc with {holes} holes cannot be.", remedy="Correct the hole count of the profile.")
    return holes


def _one_hole(folded: folding.Fold, fault: folding.HoleFault, common: Sequence[Result], holes: int,
              context: Context) -> Analysed:
    period, shift = holes * folded.spacing, folded.spacing * folded.shift(fault.hole)
    passes, seeds = folded.passes[fault.hole], folded.seeds[fault.hole]
    told = {"plugged": f"empty in {passes - seeds} of {passes} turns",
            "double": f"{seeds} seeds in {passes} turns",
            "late": f"its seed lies {said(abs(shift), 'spacing', context)} "
                    f"{'late' if shift > 0 else 'early'}"}[fault.kind]
    return analysed(
        [*common, word("pattern", "one_hole"), word("kind", fault.kind), word("part", "disc"),
         value("period", period), value("hole", fault.hole + 1), value("occupancy", seeds / passes),
         value("shift", shift), value("chance", fault.chance)],
        f"Once per disc turn ({said(period, 'length', context)}): hole {fault.hole + 1}, counted from the first seed, "
        f"{told}.",
        charts=lambda width: (hole_chart(folded.occupancy, width),),
    )


def _wave(spacings: Sequence[float], folded: folding.Fold, holes: int,
          context: Context) -> tuple[list[Result], str] | None:
    """Return the results and sentence of a smooth wave, None when none stands out."""
    if len(sp.singles(spacings, folded.spacing)) < 0.6 * len(spacings):
        return None
    middle = sp.median(sp.singles(spacings, folded.spacing))
    clipped = [s if 0.5 * folded.spacing < s <= 1.5 * folded.spacing else middle for s in spacings]
    periods, shares = rh.periodogram(clipped)
    slow = [i for i in range(LEAST_WAVES - 1, len(shares)) if periods[i] >= SHORTEST]
    chances = rh.wave_chances(shares, len(slow))
    k = min(slow, key=lambda i: (chances[i], -shares[i]))
    chance = chances[k]
    if chance > RISK_OF_A_WAVE:
        return None
    pitch = sp.mean(spacings)
    period = periods[k] * pitch
    fuzzy = max(pitch, period * periods[k] / len(clipped) / 2)
    part = rh.part_of(period, fuzzy, travels(context, holes, pitch))
    fits = {"none": "no part of the profile fits", "unclear": "more than one part fits"}.get(part, f"the {part} fits")
    return (
        [word("pattern", "smooth"), word("kind", "wave"), word("part", part), value("period", period, fuzzy / 2),
         value("wave_share", shares[k]), value("chance", chance)],
        f"A smooth wave every {said(period, 'length', context)} ({periods[k]:.3g} spacings): {fits}.",
    )


@analysis(
    "gap_period", "Distance between like gaps", takes="numbers",
    needs="holes", uses=ctx.RATIOS,
    results=(
        gives("period", "length", "distance that fits all gaps as whole multiples"),
        gives("regular", "flag", "1 when the distances fit multiples of one length better than chance allows"),
        gives("part", "word", "part whose turn fits the distance", *ctx.PARTS, "none", "unclear"),
        gives("disc_turns", "count", "distance in disc turns"),
        gives("chance", "share", "chance that random gaps would fit so well"),
        gives("spread", "share", "spread of the distances over their mean"),
    ),
)
def run_gap_period(reading: Reading, context: Context) -> Analysed:
    """Return the part whose travel per turn fits the distances (m) between like gaps."""
    distances, holes = reading.numbers, _holes(context)
    if not distances:
        return too_few("no distance was given.", 3)
    if min(distances) <= 0:
        raise MeasureError("A distance between gaps must be above zero.", remedy="Measure from gap to gap.")
    target = _set_target(context)
    period, error, _ = rh.common_period(distances, target)
    part, chance = _fitting_part(distances, travels(context, holes, target), target)
    own = _free_chance(distances, period, target)
    regular = min(chance, own) <= 0.05 and len(distances) > 1
    if part == "none" and not regular:
        words = "No rhythm: the distances fit no turn of a known part and no common length."
    elif part in ("none", "unclear"):
        fitting = "no known part" if part == "none" else "more than one part"
        words = f"Regular every {said(period, 'length', context)}, but {fitting} fits that travel."
    else:
        may = "may come" if _distances_needed(holes, len(distances)) else "come"
        turn = travels(context, holes, target)[part]
        words = f"The gaps {may} with the {part}: every {said(turn, 'length', context)}."
    more = _distances_needed(holes, len(distances))
    return analysed(
        [value("period", period, error), value("regular", float(regular)), word("part", part),
         value("disc_turns", period / rh.turn_distance(holes, target), error / rh.turn_distance(holes, target)),
         value("chance", chance if part not in ("none", "unclear") else own),
         value("spread", sp.sd(distances) / sp.mean(distances))],
        words,
        needed=more or None,
        reason=f"{len(distances)} distances may fit by accident." if more else "",
    )


def _set_target(context: Context) -> float:
    if ctx.positive(context, "target_spacing") is None and ctx.positive(context, "target_rate") is None:
        raise MeasureError("The travel in a disc turn needs the seed spacing.", remedy="Give the target or the rate.")
    return target_of(context, ())[0]


def _fitting_part(distances: Sequence[float], travel: Mapping[str, float], target: float) -> tuple[str, float]:
    """Return the part whose turn fits all distances within one seed, and the chance of such a fit.

    Where several fit, the one that could least do so by accident counts if it is five times less likely.
    """
    fitting = sorted(((min(1.0, 3 * target / t)) ** len(distances), part)
                     for part, t in travel.items() if rh.fits(distances, t, 1.001 * target))
    if not fitting:
        return "none", 1.0
    if len(fitting) > 1 and fitting[1][0] < 5 * fitting[0][0]:
        return "unclear", fitting[0][0]
    return fitting[0][1], fitting[0][0]


def _free_chance(distances: Sequence[float], period: float, target: float) -> float:
    """Return the chance that random distances fit one length so well; one distance always fits itself."""
    if not rh.fits(distances, period, 1.001 * target):
        return 1.0
    return min(1.0, 3 * target / period) ** (len(distances) - 1)


def _distances_needed(holes: int, have: int) -> int:
    wanted = next(k for k in range(2, 12) if rh.coincidence(holes, k) <= 0.01 or k == 11) - 1
    return max(0, wanted - have)


@analysis(
    "empty_holes", "Empty holes by number", takes="numbers",
    needs="holes turns",
    results=(
        gives("repeating", "count", "holes empty in more turns than chance allows"),
        gives("empty_share", "share", "empty hole passes"),
        gives("same_share", "share", "empty passes that belong to repeating holes"),
        gives("worst_hole", "count", "hole found empty most often"),
        gives("chance", "share", "chance that the worst hole is empty so often by accident"),
    ),
)
def run_empty_holes(reading: Reading, context: Context) -> Analysed:
    """Return whether the same holes come round empty (numbers: hole of each empty pass, from 1)."""
    holes, turns = _holes(context), round(ctx.needed(context, "turns"))
    found = [round(n) for n in reading.numbers]
    if any(not 1 <= h <= holes for h in found):
        raise MeasureError(f"The disc has holes 1 to {holes}.", remedy="Number them from a mark on the rim.")
    times = Counter(found)
    if any(n > turns for n in times.values()):
        raise MeasureError(f"A hole cannot be empty more often than {turns} times.", remedy="Correct turns or list.")
    q = (len(found) + 0.5) / (holes * turns)
    chances = {h: of_many(1 - binomial_cdf(n - 1, turns, min(q, 1.0)), holes) for h, n in times.items()}
    same = sorted(h for h, chance in chances.items() if chance <= 0.05 and times[h] > 1)
    worst = min(times, key=lambda h: (-times[h], h), default=0)
    repeated = sum(times[h] for h in same)
    results = [value("repeating", len(same)), share("empty_share", len(found), holes * turns),
               share("same_share", repeated, len(found)), value("worst_hole", worst),
               value("chance", chances.get(worst, 1.0))]
    if turns < 2:
        return analysed(results, f"{len(found)} empty holes in one turn; turn again to see whether they repeat.",
                        needed=2, reason="One turn cannot show whether the same holes stay empty.")
    if same:
        told = f"The same holes stay empty: {', '.join(str(h) for h in same)} of {holes}."
    elif found:
        told = f"Empty holes come anywhere: {percent(len(found) / (holes * turns))} of the passes, none repeats."
    else:
        told = f"No empty hole in {turns} turns."
    return analysed(results, told)
