"""The analyses of drive and electrics: slip, meter speed, disc turns, chain, volts, amps, bus."""

from __future__ import annotations

import math

from diag.analyses import context as ctx
from diag.analyses.model import Analysed, Context, Reading, analysis, gives
from diag.analyses.saying import analysed, percent, said, value
from diag.analyses.values import two
from diag.errors import MeasureError
from diag.measure import drive, electrical, kinematics


@analysis(
    "slip", "Wheel slip", takes="count numbers",
    uses="chart_slip",
    results=(
        gives("slip", "share", "turns lost over turns without slip"),
        gives("rate_factor", "ratio", "seeding rate over that on the chart's slip"),
    ),
)
def run_slip(reading: Reading, context: Context) -> Analysed:
    """Return wheel slip from loaded turns (k) and turns without slip (n), or labels loaded and free."""
    if reading.kind == "count":
        loaded, free = float(reading.k or 0), float(reading.n or 0)
    elif reading.labels:
        loaded, free = reading.at("loaded") or 0.0, reading.at("free") or 0.0
    else:
        loaded, free = two(reading)
    slip, error = drive.slip(free, loaded), drive.slip_error(free or 1.0, loaded)
    results = [value("slip", slip, error)]
    told = f"Slip {percent(slip, 3)} (+-{percent(2 * error)}): {loaded:g} turns for {free:g} without slip"
    chart = ctx.number(context, "chart_slip")
    if chart is not None:
        factor = drive.rate_factor_for_slip(slip, chart)
        results.append(value("rate_factor", factor, error / (1 - chart)))
        told += f"; the rate is {percent(factor, 3)} of the chart's"
    few = free < 20
    few_words = f"{free:g} turns are few: count over a longer course." if few else ""
    return analysed(results, f"{told}.", needed=math.ceil(20 - free) if few else None,
                    reason=no_slip(slip, error) or few_words)


def no_slip(slip: float, error: float) -> str:
    """Return why a slip cannot be, "" when it can: a wheel that is not driven never turns more than its way."""
    if slip >= -2 * error:
        return ""
    return (f"A slip of {percent(slip)} cannot be: the loaded wheel turned more than without slip. The two counts are "
            "exchanged, or were made over unequal courses or at unequal tyre pressure: count again.")


MUCH_LOST = 0.1
"""Share of the voltage from which a loss is said to be too much, whatever the limits say (estimate)."""


def much_lost(lost: float, source: float, where: str) -> str:
    """Return what is said of a loss (V) on which nothing runs well, "" of an ordinary one."""
    if lost <= MUCH_LOST * source:
        return ""
    return f"{percent(lost / source)} of the voltage is lost in {where}: too much for any motor or module."


def backwards(lost: float) -> str:
    """Return why a measured loss (V) cannot be, "" when it can."""
    if lost >= 0:
        return ""
    return "The load reads more than the source: leads exchanged, or read at different moments. Measure again."


@analysis(
    "meter_speed", "Seeds per second and disc speed", takes="number",
    needs="target_rate row_width holes",
    results=(
        gives("seeds_per_second", "seed_flow", "seeds the meter must give per second"),
        gives("disc_speed", "disc_speed", "disc speed that takes"),
        gives("hole_time", "short_time", "time from hole to hole"),
        gives("turn_distance", "length", "travel in one disc turn"),
    ),
)
def run_meter_speed(reading: Reading, context: Context) -> Analysed:
    """Return seeds per second and disc speed at a ground speed (m/s)."""
    rate, width, holes = (ctx.needed(context, n) for n in ("target_rate", "row_width", "holes"))
    speed = _one(reading)
    if speed <= 0:
        raise MeasureError("The speed must be above zero.", remedy="Give the ground speed.")
    seeds = kinematics.seeds_per_second(speed, rate, width)
    turning = kinematics.disc_speed(seeds, holes)
    distance = holes * kinematics.spacing_for(rate, width)
    return analysed(
        [value("seeds_per_second", seeds), value("disc_speed", turning), value("turn_distance", distance),
         value("hole_time", kinematics.hole_time(seeds))],
        f"{said(seeds, 'seed_flow', context)}: the disc turns at {said(turning, 'disc_speed', context)}, one hole "
        f"every {kinematics.hole_time(seeds) * 1000:.3g} ms, one turn every {said(distance, 'length', context)}.",
    )


@analysis(
    "disc_turns", "Disc turns counted", takes="number",
    needs="target_rate row_width holes speed",
    results=(
        gives("disc_speed", "disc_speed", "disc speed that was counted"),
        gives("wanted", "disc_speed", "disc speed that the setting asks for"),
        gives("to_wanted", "ratio", "counted over wanted"),
    ),
)
def run_disc_turns(reading: Reading, context: Context) -> Analysed:
    """Return counted disc speed (rev/s) over the one the setting asks for."""
    rate, width, holes, speed = (ctx.needed(context, n) for n in ("target_rate", "row_width", "holes", "speed"))
    wanted = kinematics.disc_speed(kinematics.seeds_per_second(speed, rate, width), holes)
    counted = _one(reading)
    ratio = counted / wanted
    # A minute's count of turns is read to a quarter turn.
    error = 0.25 / math.sqrt(3) / 60 / wanted
    return analysed(
        [value("disc_speed", counted), value("wanted", wanted), value("to_wanted", ratio, error)],
        f"The disc turns at {said(counted, 'disc_speed', context)}, {percent(ratio, 3)} of the "
        f"{said(wanted, 'disc_speed', context)} that the setting asks for.",
    )


@analysis(
    "chain_wear", "Chain stretch", takes="number",
    needs="pitches pitch",
    results=(gives("stretch", "share", "length over new length, minus one"),),
)
def run_chain_wear(reading: Reading, context: Context) -> Analysed:
    """Return the stretch of a chain from its length (m) over known pitches."""
    stretch = drive.chain_stretch(_one(reading), ctx.needed(context, "pitches"), ctx.needed(context, "pitch"))
    return analysed([value("stretch", stretch)], f"The chain is {percent(stretch)} longer than new.")


@analysis(
    "voltage_drop", "Voltage under load", takes="numbers",
    uses="wire_area wire_length load_current wire_temperature",
    results=(
        gives("source", "voltage", "voltage at the source"),
        gives("load", "voltage", "voltage at the load"),
        gives("drop", "voltage", "voltage lost between them"),
        gives("drop_share", "ratio", "that over the source voltage"),
        gives("wire_drop", "voltage", "drop of a sound wire of this size, length and current"),
        gives("extra_resistance", "resistance", "resistance beyond the sound wire"),
    ),
)
def run_voltage_drop(reading: Reading, context: Context) -> Analysed:
    """Return volts lost from source to load, held against a sound wire where the profile knows it."""
    if reading.labels:
        source, load = reading.at("source"), reading.at("load")
        if source is None or load is None:
            raise MeasureError("Both voltages are needed.", remedy="Give source and load.")
    else:
        source, load = two(reading)
    lost = source - load
    results = [value("source", source), value("load", load), value("drop", lost)]
    if source:
        results.append(value("drop_share", lost / source))
    lost_v, source_v, load_v = (said(v, "voltage", context) for v in (lost, source, load))
    told = f"{lost_v} lost of {source_v}; {load_v} arrive"
    area, length, current = (ctx.positive(context, n) for n in ("wire_area", "wire_length", "load_current"))
    if area and length and current:
        warm = ctx.positive(context, "wire_temperature") or 293.15
        sound = electrical.drop(electrical.wire_resistance_by_area(area, length, warm), current)
        results += [value("wire_drop", sound), value("extra_resistance", max(0.0, (lost - sound) / current))]
        told += f"; a sound wire would lose {said(sound, 'voltage', context)}"
    return analysed(results, f"{told}.", reason=backwards(lost),
                    notes=(much_lost(lost, source, "what lies between the two readings"),))


def _one(reading: Reading) -> float:
    if len(reading.numbers) != 1:
        raise MeasureError(f"One value is taken here, {len(reading.numbers)} were given.", remedy="Give one value.")
    return reading.numbers[0]
