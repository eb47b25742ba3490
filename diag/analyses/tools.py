"""Calculators of `diag measure`: drive, fan, wire, slip, hole, proof, cost. Values in, a short table out."""

from __future__ import annotations

import argparse
from collections.abc import Callable
from typing import Any

from diag import figures
from diag.analyses.drive import backwards, much_lost, no_slip
from diag.analyses.report import note as hanging
from diag.analyses.saying import percent
from diag.analyses.vacuum import too_fast
from diag.errors import DiagError, UsageError
from diag.measure import drive, economics, electrical, fan, holes, kinematics, proof, vacuum
from diag.units import System, show

Row = tuple[str, str, float, str]
"""JSON name, label, SI value, quantity ("share" for a plain share)."""


class Values:
    """The options of one calculator, read as they are asked for."""

    def __init__(self, options: argparse.Namespace) -> None:
        self._options = options

    def __call__(self, option: str, quantity: str) -> float | None:
        """Return an option in SI, None when it was not given. Raises UnitError naming the option."""
        said = getattr(self._options, option)
        if said is None:
            return None
        unit = {"percent": "percent", "count": "count"}.get(quantity)
        try:
            return figures.measured(said, quantity, default_unit=unit).si()
        except DiagError as error:
            raise error.at(f"--{option.replace('_', '-')}") from None

    def need(self, option: str, quantity: str) -> float:
        """Return an option that must be given. Raises UsageError."""
        found = self(option, quantity)
        if found is None:
            name = option.replace("_", "-")
            raise UsageError(f"--{name} is missing.", "diag measure", f"Add --{name} with its unit.")
        return found

    @property
    def system(self) -> System:
        """The units to show."""
        return "metric" if self._options.units == "metric" else "us"

    def word(self, option: str) -> str | None:
        """Return an option as typed."""
        said: str | None = getattr(self._options, option)
        return said


Out = tuple[list[Row], list[str]]

_OPTIONS: dict[str, tuple[str, str, Callable[[Values], Out]]] = {}


def _tool(name: str, told: str, options: str) -> Callable[[Callable[[Values], Out]], Callable[[Values], Out]]:
    def keep(run: Callable[[Values], Out]) -> Callable[[Values], Out]:
        _OPTIONS[name] = (told, options, run)
        return run

    return keep


def add_commands(commands: Any, common: argparse.ArgumentParser) -> None:
    """Add the calculators to the commands of `diag measure`."""
    for name, (told, options, run) in _OPTIONS.items():
        command = commands.add_parser(name, help=told, description=told.capitalize() + ".", parents=[common])
        for option, _, example in (o.partition("=") for o in options.split()):
            command.add_argument(f"--{option}", help=f"such as {example.replace('%', '%%')}")
        command.set_defaults(run=_runner(name, run))


def _runner(name: str, run: Callable[[Values], Out]) -> Callable[[argparse.Namespace, bool], tuple[list[Any], int]]:
    def carry_out(options: argparse.Namespace, json_out: bool) -> tuple[list[Any], int]:
        rows, notes = run(Values(options))
        if json_out:
            results = {key: {"value": v, "quantity": q, "shown": _shown(v, q, options.units)} for key, _, v, q in rows}
            return [{"tool": name, "results": results, "notes": notes}], 0
        for _, label, v, quantity in rows:
            print(f"  {label:44s}{_shown(v, quantity, options.units):>18s}")
        for note in notes:
            print(hanging(note))
        return [], 0

    return carry_out


def _shown(v: float, quantity: str, system: System) -> str:
    return percent(v, 3) if quantity == "share" else show(v, quantity, system)


def _teeth(pair: str) -> tuple[float, float]:
    driver, _, driven = pair.partition("/")
    try:
        return float(driver), float(driven)
    except ValueError:
        raise UsageError(f'"{pair[:20]}" is not a pair of sprockets.', "--sprockets", "Write 20/29.") from None


# -------------------------------------------------------------------------------------- calculators


@_tool("drive", "seeds per second, disc speed, ground drive, drop",
       "rate=32000/ac row-width=30in holes=40 speed=5mph wheel=90in fixed=0.5 sprockets=20/29 extra-slip=5% drop=0.45m "
       "jitter=10ms")
def _drive(v: Values) -> Out:
    width = v.need("row_width", "row_width")
    hole_count = v.need("holes", "count")
    rows: list[Row] = []
    rate, wheel, sprockets = v("rate", "rate"), v("wheel", "circumference"), v.word("sprockets")
    if wheel is not None and sprockets is not None:
        turns = drive.ratio(_teeth(sprockets), (v("fixed", "count") or 1.0, 1.0))
        spacing = drive.ground_spacing(wheel, turns, hole_count, v("extra_slip", "percent") or 0.0)
        rate = kinematics.rate_for(spacing, width)
        rows += [("disc_turns", "disc turns per wheel turn", turns, "count"),
                 ("seeds_per_turn", "seeds per wheel turn", drive.seeds_per_turn(turns, hole_count), "count"),
                 ("rate", "seeding rate of this drive", rate, "rate")]
    if rate is None:
        raise UsageError("A rate, or wheel and sprockets, are needed.", "diag measure drive", "Add --rate 32000/ac.")
    spacing = kinematics.spacing_for(rate, width)
    rows += [("spacing", "seed spacing", spacing, "spacing"),
             ("turn_distance", "travel in one disc turn", hole_count * spacing, "length"),
             ("dead_hole", "loss by one dead hole", 1 / hole_count, "share")]
    speed = v("speed", "speed")
    if speed:
        rows += _at_speed(v, speed, rate, width, hole_count=hole_count, spacing=spacing)
    return rows, []


def _at_speed(v: Values, speed: float, rate: float, width: float, hole_count: float, spacing: float) -> list[Row]:
    seeds = kinematics.seeds_per_second(speed, rate, width)
    rows: list[Row] = [("seeds_per_second", "seeds per second", seeds, "seed_flow"),
                       ("disc_speed", "disc speed", kinematics.disc_speed(seeds, hole_count), "disc_speed"),
                       ("hole_time", "time from hole to hole", kinematics.hole_time(seeds), "short_time")]
    drop, jitter = v("drop", "length"), v("jitter", "time")
    if drop:
        rows += [("fall_time", "fall time, no friction", kinematics.fall_time(drop), "short_time"),
                 ("gravity_speed", "speed that a gravity tube can cancel", kinematics.exit_speed(drop), "speed")]
    if jitter:
        scatter = kinematics.spacing_sd(speed, jitter)
        rows += [("spacing_sd", "scatter of spacing by that jitter", scatter, "spacing"),
                 ("scatter", "that over the target", scatter / spacing, "share")]
    return rows


@_tool("fan", "fan laws, air density, hydraulic motor",
       "vacuum=16inH2O wanted=20inH2O rpm=4000rpm rated=4400rpm altitude=5000ft temperature=95degF flow=8gal/min "
       "motor=0.5in3 efficiency=92% crop=corn")
def _fan(v: Values) -> Out:
    rows: list[Row] = []
    notes = ["Holds while nothing else changes: same leaks, discs equally full."]
    now, wanted, rpm, rated = (v(o, q) for o, q in (("vacuum", "vacuum"), ("wanted", "vacuum"), ("rpm", "fan_speed"),
                                                    ("rated", "fan_speed")))
    if now and wanted:
        factor = fan.speed_for_vacuum(1.0, now, wanted)
        rows += [("speed_factor", "fan speed must change to", factor, "share"),
                 ("power_factor", "power then changes to", fan.power_at_speed(1.0, factor), "share")]
        if rpm:
            rows.append(("rpm_needed", "fan speed needed", rpm * factor, "fan_speed"))
            notes += _too_fast(rpm * factor, rated, v)
    if rpm and rated:
        rows += [("to_rated", "speed over the rated one", rpm / rated, "share"),
                 ("vacuum_factor", "vacuum over that at the rated speed", (rpm / rated) ** 2, "share")]
        notes += _too_fast(rpm, rated, v)
    altitude, warm = v("altitude", "altitude"), v("temperature", "temperature")
    if altitude is not None or warm is not None:
        sigma = fan.density_ratio(altitude or 0.0, warm)
        rows += [("density_factor", "air density over sea level at 15 C", sigma, "share"),
                 ("altitude_speed", "fan speed that makes up for it", fan.speed_factor(sigma), "share")]
        notes += _too_fast((rpm or 0.0) * fan.speed_factor(sigma), rated, v)
        if now:
            rows.append(("vacuum_here", "vacuum of a fan set so at sea level", now * sigma, "vacuum"))
    flow, motor, efficiency = v("flow", "flow"), v("motor", "volume"), v("efficiency", "percent") or 1.0
    if flow and motor:
        rows += [("motor_speed", "motor speed at that flow", fan.motor_speed(flow, motor, efficiency), "fan_speed"),
                 ("case_drain", "case drain flow, about", fan.case_drain(flow, efficiency), "flow")]
    if (crop := v.word("crop")) is not None:
        book = vacuum.book_vacuum(crop)
        if book is not None:
            rows.append(("study_vacuum", "best vacuum on one meter in one study", book, "vacuum"))
            notes.append("Study: Karayel, Barut & Ozmerzi 2004. The machine's own chart outranks it.")
    if not rows:
        raise UsageError("Too little was given.", "diag measure fan", "Add --vacuum and --wanted, or --rpm, --rated.")
    return rows, notes


def _too_fast(speed: float, rated: float | None, v: Values) -> list[str]:
    told = too_fast(speed, rated, {"units": v.system}) if rated else ""
    return [f"WARNING: {told}"] if told else []


@_tool("wire", "voltage drop of a wire, out and back",
       "size=8 length=30ft current=20A temperature=75degC source=13.5V load=12.1V")
def _wire(v: Values) -> Out:
    rows: list[Row] = []
    source, load, current = v("source", "voltage"), v("load", "voltage"), v("current", "current")
    notes = []
    sound = None
    if (size := v("size", "count")) is not None and current:
        warm = v("temperature", "temperature") or 348.15
        one_way = electrical.wire_resistance(round(size), v.need("length", "length"), warm)
        sound = electrical.drop(one_way, current)
        rows += [("resistance", "resistance out and back", 2 * one_way, "resistance"),
                 ("wire_drop", "drop of a sound wire", sound, "voltage")]
        if size in electrical.WIRE_FROM_MEMORY:
            notes.append("The table value of this wire size is from memory.")
        given = source or electrical.NOMINAL
        if sound >= given:
            notes.append(f"{sound:.3g} V lost of {given:.3g} V cannot be: no wire of this kind carries that current.")
        else:
            notes.append(much_lost(sound, given, "a sound wire of this kind"))
    if source is not None and load is not None:
        rows += [("drop", "drop that was measured", source - load, "voltage")]
        lost = source - load
        notes.append(backwards(lost) or much_lost(lost, source, "what lies between the two readings"))
        if current:
            extra = max(0.0, source - load - (sound or 0.0))
            rows += [("extra_resistance", "resistance beyond the wire", extra / current, "resistance"),
                     ("heat", "heat made there", extra * current, "heat")]
    if not rows:
        raise UsageError("Too little was given.", "diag measure wire", "Add --size, --length and --current.")
    return rows, [*filter(None, notes), "Measure under load, supply side and ground side apart."]


@_tool("slip", "wheel slip from turns counted over one course", "free=40 loaded=37 chart=4%")
def _slip(v: Values) -> Out:
    free, loaded, chart = v.need("free", "count"), v.need("loaded", "count"), v("chart", "percent")
    found = drive.slip(free, loaded)
    impossible = no_slip(found, drive.slip_error(free, loaded))
    rows: list[Row] = [("slip", "wheel slip", found, "share"),
                       ("error", "give or take", 1.96 * drive.slip_error(free, loaded), "share")]
    if chart is not None:
        rows.append(("rate_factor", "seeding rate over the chart's", drive.rate_factor_for_slip(found, chart), "share"))
    return rows, [impossible] if impossible else []


@_tool("hole", "how much of a hole a singulator covers, and what holds a seed",
       "covered=25% area=25% diameter=4.5mm lobe=5mm vacuum=16inH2O")
def _hole(v: Values) -> Out:
    rows: list[Row] = []
    k, area, diameter = v("covered", "percent"), v("area", "percent"), v("diameter", "size")
    if k is not None:
        rows.append(("area", "area behind a straight edge over that diameter", holes.covered_area(k), "share"))
        lobe = v("lobe", "size")
        if lobe and diameter:
            rows.append(("lobe_area", "area behind a lobe of that radius",
                         holes.covered_by_lobe(k, diameter / 2, lobe), "share"))
    if area is not None:
        rows.append(("diameter_share", "diameter to cover for that area", holes.covered_diameter(area), "share"))
    pull = v("vacuum", "vacuum")
    if diameter and pull:
        force = holes.suction(pull, diameter)
        rows.append(("suction", "pull on a seed that seals the hole, at most", force, "small_force"))
    if not rows:
        raise UsageError("Too little was given.", "diag measure hole", "Add --covered 25%, or --diameter and --vacuum.")
    return rows, ["A third of the diameter is not a third of the area: say which one is meant."]


@_tool("proof", "how many seeds prove a repair", "limit=2% target=6.53in seen=2/100 before=15/300")
def _proof(v: Values) -> Out:
    limit = v("limit", "percent")
    limit = 0.02 if limit is None else limit
    rows: list[Row] = []
    notes = []
    for step in proof.steps(limit, v("target", "spacing") or 0.0):
        p = step.plan
        rows += [(f"{step.name}_seeds", f"{step.title}: seeds", p.n, "count"),
                 (f"{step.name}_accept", "  bad ones allowed among them", p.accept, "count"),
                 (f"{step.name}_minutes", "  time to dig and measure, about", step.minutes * 60, "duration")]
        if step.length:
            rows.append((f"{step.name}_length", "  row to dig", step.length, "length"))
        notes.append(f"{step.title.capitalize()}: {step.cannot_show}")
    seen = _k_of_n(v.word("seen"), "--seen")
    if seen:
        notes.append(proof.shown_by(*seen))
        before = _k_of_n(v.word("before"), "--before")
        if before:
            notes.append(proof.repaired(before, seen)[1])
        state = proof.sequential(*seen, limit / 2, limit * 2)
        so_far = {"accepted": "enough to accept", "not_accepted": "enough to refuse", "go_on": "go on"}[state.verdict]
        notes.append(f"Stopping early ({percent(limit / 2)} good, {percent(limit * 2)} bad, risks 5 %): {so_far}"
                     + (f", {state.least_more} more good ones would end it." if state.verdict == "go_on" else "."))
    return rows, notes


def _k_of_n(said: str | None, option: str) -> tuple[int, int] | None:
    if said is None:
        return None
    found = figures.count(said)
    if isinstance(found, int) or not found["count"] <= found["of"] != 0:
        raise UsageError(f'"{said[:20]}" is no count.', option, "Write bad over all, such as 2/100.")
    return found["count"], found["of"]


@_tool("cost", "what uneven spacing, skips and doubles may cost in corn: a range",
       "sd=4.5in skips=3% doubles=2% stand=30000/ac yield=211bu/ac rate=32000/ac late=two-leaves")
def _cost(v: Values) -> Out:
    rows: list[Row] = []
    notes = ["Studies disagree; nothing here is a promise. Corn only. Do not add the two estimates."]
    spread = v("sd", "spacing")
    if spread is not None:
        found = economics.spacing_cost(spread)
        rows += [("sd_low", "by spacing scatter: lowest", found.low, "yield"),
                 ("sd_usual", "  rule of thumb", found.usual, "yield"),
                 ("sd_high", "  highest", found.high, "yield")]
        notes += [f"{rule.per_inch:g} bu/ac per inch above 2.0 in: {rule.source}." for rule in economics.SPACING_RULES]
        notes.append(found.why)
    skips, doubles, stand = v("skips", "percent"), v("doubles", "percent"), v("stand", "rate")
    if skips is not None and stand:
        net = economics.skip_loss(skips, doubles or 0.0, stand)
        rows.append(("skip_loss", "by skips less doubles", net, "share"))
        crop = v("yield", "yield")
        if crop:
            found = economics.skip_cost(skips, doubles or 0.0, stand, crop)
            rows += [("skip_low", "  lowest", found.low, "yield"), ("skip_high", "  skips alone", found.high, "yield")]
            notes.append(found.why)
    rate = v("rate", "rate")
    if doubles and rate:
        rows.append(("seed_wasted", "seed that doubles cost", economics.seed_wasted(doubles, rate), "rate"))
    late = v.word("late")
    if late is not None:
        low, high = economics.late_cost(late.replace("-", " "))
        rows += [("late_low", "part of the stand late: lowest", low, "share"),
                 ("late_high", "  highest", high, "share")]
        notes += [f"{percent(r.late)} of the plants {r.by} late: {r.source}." for r in economics.LATE
                  if r.by == late.replace("-", " ")]
    if not rows:
        raise UsageError("Too little was given.", "diag measure cost", "Add --sd 4.5in, or --skips 3% and --stand.")
    return rows, notes
