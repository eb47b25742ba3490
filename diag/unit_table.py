"""The units of the trade and the kinds of value measured in them.

A `Unit` belongs to one dimension, named after its plainest quantity ("length"); several quantities
("spacing", "depth", "altitude") may share a dimension and differ in what is possible and in the units
people expect. Inside the program every value is SI: SI = number x factor + offset.

Factors: NIST SP 811 appendix B.8/B.9 and the exact definitions inch = 25.4 mm, pound = 453.59237 g,
US gallon = 231 in3, acre = 43,560 ft2. Inches and millimetres of water are the conventional ones
(1000 kg/m3, 9.80665 m/s2).
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

INCH = 0.0254
FOOT = 12 * INCH
ACRE = 43_560 * FOOT**2
HECTARE = 10_000.0
POUND = 0.45359237
GRAVITY = 9.80665
POUND_FORCE = POUND * GRAVITY
PSI = POUND_FORCE / INCH**2
IN_H2O = INCH * 1000 * GRAVITY
GALLON = 231 * INCH**3
ATMOSPHERE = 101_325.0
CORN_BUSHEL = 56 * POUND


@dataclass(frozen=True)
class Unit:
    """One unit; `quantity` is its dimension, SI = number x `factor` + `offset`, `label` is printed."""

    name: str
    quantity: str
    factor: float
    offset: float
    aliases: tuple[str, ...]
    label: str


@dataclass(frozen=True)
class Quantity:
    """A kind of measured value.

    `si`: name of its SI unit. `lowest`, `highest`: what is physically possible, SI; outside is refused.
    `us`, `metric`: units to show it in. `usual`: SI range outside which a slip of unit is suspected.
    """

    name: str
    si: str
    lowest: float
    highest: float
    us: str
    metric: str
    label: str
    usual: tuple[float, float] = (-math.inf, math.inf)

    @property
    def dimension(self) -> str:
        """Name of the dimension, the same for every quantity that may be converted into this one."""
        return UNITS[self.si].quantity


def _unit(dimension: str, name: str, factor: float, aliases: str = "", label: str | None = None,
          offset: float = 0.0) -> Unit:
    names = tuple(a.strip() for a in aliases.split("|") if a.strip())
    return Unit(name, dimension, factor, offset, aliases=names, label=name if label is None else label)


_UNITS = (
    _unit("pressure", "Pa", 1.0, "pascal | pascals"),
    _unit("pressure", "kPa", 1000.0, "kilopascal | kilopascals"),
    _unit("pressure", "MPa", 1e6, "megapascal"),
    _unit("pressure", "hPa", 100.0, "hectopascal"),
    _unit("pressure", "mbar", 100.0, "millibar | millibars"),
    _unit("pressure", "bar", 1e5, "bars"),
    _unit("pressure", "inH2O", IN_H2O,
          "inH20 | in of water | inch of water | inches of water | inches water | in water | inWC | in of WC"
          " | iwc | inches wc | inches H2O | inch H2O | inch wc | in aq | inaq | \"H2O | \"H20 | \"wc"
          " | inches water column"),
    _unit("pressure", "mmH2O", GRAVITY, "mm of water | mmH20 | mmwc | mm water"),
    _unit("pressure", "cmH2O", 10 * GRAVITY, "cm of water | cmH20 | cmwc | cm water"),
    _unit("pressure", "inHg", 3386.389, "in of mercury | inches of mercury | inches Hg"),
    _unit("pressure", "mmHg", 133.3224, "torr | mm of mercury"),
    _unit("pressure", "psi", PSI, "psig | lb/in2 | lbs/in2 | lbf/in2 | pounds per square inch"),
    _unit("pressure", "atm", ATMOSPHERE, "atmosphere | atmospheres"),
    _unit("length", "m", 1.0, "metre | metres | meter | meters"),
    _unit("length", "mm", 1e-3, "millimetre | millimetres | millimeter | millimeters"),
    _unit("length", "cm", 1e-2, "centimetre | centimetres | centimeter | centimeters"),
    _unit("length", "km", 1e3, "kilometre | kilometres | kilometer | kilometers"),
    _unit("length", "in", INCH, "inch | inches | ins | \""),
    _unit("length", "ft", FOOT, "foot | feet | '"),
    _unit("length", "yd", 3 * FOOT, "yard | yards"),
    _unit("length", "mi", 5280 * FOOT, "mile | miles"),
    _unit("speed", "m/s", 1.0, "meters per second | metres per second"),
    _unit("speed", "km/h", 1 / 3.6, "kmh | kph | km/hr | kilometres per hour | kilometers per hour"),
    _unit("speed", "mph", 5280 * FOOT / 3600, "mi/h | mile/h | miles per hour | miles an hour"),
    _unit("speed", "ft/s", FOOT, "fps | feet per second"),
    _unit("speed", "ft/min", FOOT / 60, "fpm | feet per minute"),
    _unit("speed", "mm/s", 1e-3),
    _unit("rate", "seeds/m2", 1.0, "/m2 | plants/m2 | seeds per square metre | seeds per square meter"),
    _unit("rate", "seeds/ac", 1 / ACRE,
          "/ac | /acre | per acre | per ac | seeds/acre | seed/ac | seeds per acre | seeds an acre"
          " | plants/ac | plants/acre | plants per acre | kernels/ac | kernels per acre"),
    _unit("rate", "seeds/ha", 1 / HECTARE,
          "/ha | per ha | per hectare | seeds/hectare | seed/ha | seeds per hectare | plants/ha"
          " | plants per hectare | kernels/ha"),
    _unit("seeds_per_length", "seeds/m", 1.0, "plants/m | seeds per metre | seeds per meter | /m | per m"),
    _unit("seeds_per_length", "seeds/ft", 1 / FOOT, "plants/ft | seeds per foot | /ft | per ft | seeds/foot"),
    _unit("seeds_per_mass", "seeds/kg", 1.0, "/kg | per kg | seeds per kilogram | kernels/kg"),
    _unit("seeds_per_mass", "seeds/lb", 1 / POUND,
          "/lb | per lb | seeds per pound | kernels/lb | seeds/pound"),
    _unit("seed_mass", "kg/seed", 1.0),
    _unit("seed_mass", "g/seed", 1e-3),
    _unit("seed_mass", "g/1000", 1e-6,
          "g per 1000 | g/1000 seeds | grams per thousand | g/thousand | grams per thousand seeds"),
    _unit("mass_rate", "kg/m2", 1.0),
    _unit("mass_rate", "lb/ac", POUND / ACRE, "lbs/ac | lb/acre | lbs/acre | pounds per acre"),
    _unit("mass_rate", "kg/ha", 1 / HECTARE, "kilograms per hectare"),
    _unit("mass_rate", "bu/ac", CORN_BUSHEL / ACRE, "bushels per acre | bu/acre", "bu/ac"),
    _unit("seed_flow", "seeds/s", 1.0, "seeds per second | seeds/sec | seed/s"),
    _unit("seed_flow", "seeds/min", 1 / 60, "seeds per minute | seed/min"),
    _unit("rotation", "rev/s", 1.0, "r/s | turns/s | turns per second"),
    _unit("rotation", "rpm", 1 / 60, "r/min | rev/min | turns/min | turns per minute | revs"),
    _unit("flow", "m3/s", 1.0),
    _unit("flow", "L/s", 1e-3, "litres per second | liters per second"),
    _unit("flow", "L/min", 1e-3 / 60, "lpm | litres per minute | liters per minute"),
    _unit("flow", "mL/min", 1e-6 / 60),
    _unit("flow", "gal/min", GALLON / 60, "gpm | gallons per minute | US gal/min"),
    _unit("flow", "ft3/min", FOOT**3 / 60, "cfm | cubic feet per minute"),
    _unit("volume", "m3", 1.0, "cubic metre | cubic meter"),
    _unit("volume", "L", 1e-3, "litre | litres | liter | liters"),
    _unit("volume", "cm3", 1e-6, "cc | mL | cm3/rev | cc/rev"),
    _unit("volume", "in3", INCH**3, "cu in | cubic inch | cubic inches | in3/rev"),
    _unit("volume", "gal", GALLON, "gallon | gallons | US gal"),
    _unit("voltage", "V", 1.0, "volt | volts | vdc"),
    _unit("voltage", "mV", 1e-3, "millivolt | millivolts"),
    _unit("current", "A", 1.0, "amp | amps | ampere | amperes"),
    _unit("current", "mA", 1e-3, "milliamp | milliamps"),
    _unit("resistance", "ohm", 1.0, "ohms | \u03a9"),
    _unit("resistance", "kohm", 1e3, "kohms | k\u03a9 | kiloohm"),
    _unit("wire_resistance", "ohm/m", 1.0),
    _unit("wire_resistance", "ohm/km", 1e-3),
    _unit("wire_resistance", "ohm/kft", 1 / (1000 * FOOT), "ohm/1000 ft | ohm per 1000 ft"),
    _unit("temperature", "K", 1.0, "kelvin"),
    _unit("temperature", "degC", 1.0,
          "\u00b0C | C | deg C | celsius | degrees C | degrees celsius", "\u00b0C", 273.15),
    _unit("temperature", "degF", 5 / 9,
          "\u00b0F | F | deg F | fahrenheit | degrees F | degrees fahrenheit", "\u00b0F", 459.67 * 5 / 9),
    _unit("mass", "kg", 1.0, "kilogram | kilograms | kilo | kilos"),
    _unit("mass", "g", 1e-3, "gram | grams | gm"),
    _unit("mass", "mg", 1e-6, "milligram | milligrams"),
    _unit("mass", "t", 1e3, "tonne | tonnes"),
    _unit("mass", "lb", POUND, "lbs | pound | pounds"),
    _unit("mass", "oz", POUND / 16, "ounce | ounces"),
    _unit("area", "m2", 1.0, "sq m | square metre | square meter | square metres | square meters"),
    _unit("area", "mm2", 1e-6, "sq mm"),
    _unit("area", "cm2", 1e-4, "sq cm"),
    _unit("area", "in2", INCH**2, "sq in | square inch | square inches"),
    _unit("area", "ft2", FOOT**2, "sq ft | square foot | square feet"),
    _unit("area", "ac", ACRE, "acre | acres"),
    _unit("area", "ha", HECTARE, "hectare | hectares"),
    _unit("work_rate", "m2/s", 1.0),
    _unit("work_rate", "ac/h", ACRE / 3600, "ac/hr | acres per hour | acres/h"),
    _unit("work_rate", "ha/h", HECTARE / 3600, "ha/hr | hectares per hour"),
    _unit("time", "s", 1.0, "sec | secs | second | seconds"),
    _unit("time", "ms", 1e-3, "millisecond | milliseconds"),
    _unit("time", "min", 60.0, "mins | minute | minutes"),
    _unit("time", "h", 3600.0, "hr | hrs | hour | hours"),
    _unit("time", "day", 86_400.0, "days"),
    _unit("angle", "rad", 1.0, "radian | radians"),
    _unit("angle", "deg", math.pi / 180, "degree | degrees | \u00b0", "\u00b0"),
    _unit("torque", "N m", 1.0, "Nm | N.m | N-m | newton metre | newton meter"),
    _unit("torque", "lbf ft", POUND_FORCE * FOOT, "ft lb | lb ft | ft lbf | ft-lb | lb-ft | ft lbs | ft-lbs | "
          "ft-lbf | foot pound | foot pounds"),
    _unit("torque", "lbf in", POUND_FORCE * INCH, "in lb | lb in | in lbf | in-lb | lb-in | in lbs | in-lbs | "
          "in-lbf | inch pound | inch pounds"),
    _unit("force", "N", 1.0, "newton | newtons"),
    _unit("force", "lbf", POUND_FORCE, "pound force | pounds force"),
    _unit("force", "kgf", GRAVITY, "kilogram force"),
    _unit("power", "W", 1.0, "watt | watts"),
    _unit("power", "kW", 1e3, "kilowatt | kilowatts"),
    _unit("power", "hp", 550 * POUND_FORCE * FOOT, "horsepower"),
    _unit("density", "kg/m3", 1.0),
    _unit("density", "g/cm3", 1e3, "g/mL"),
    _unit("density", "lb/ft3", POUND / FOOT**3, "lb/cu ft"),
    _unit("percent", "fraction", 1.0, "share"),
    _unit("percent", "percent", 0.01, "% | pct | per cent", "%"),
    _unit("percent", "ppm", 1e-6),
    _unit("count", "count", 1.0,
          "seeds | seed | plants | plant | kernels | turns | turn | teeth | tooth | holes | hole | rows", ""),
)


def _quantity(name: str, si: str, lowest: float, highest: float, us: str, metric: str, label: str,
              usual: tuple[float, float] | None = None) -> Quantity:
    return Quantity(name, si, lowest, highest, us=us, metric=metric, label=label, usual=usual or (lowest, highest))


_QUANTITIES = (
    # A gauge with a zero error may rest slightly below zero; no vacuum exceeds one atmosphere.
    _quantity("vacuum", "Pa", -1500, ATMOSPHERE, "inH2O", "kPa", "vacuum", (-500, 20_000)),
    _quantity("pressure", "Pa", -ATMOSPHERE, 1e8, "psi", "kPa", "pressure", (0, 3.5e7)),
    _quantity("oil_pressure", "Pa", -ATMOSPHERE, 1e8, "psi", "bar", "oil pressure", (0, 3.5e7)),
    _quantity("air_pressure", "Pa", -25_000, 1e5, "inH2O", "kPa", "air pressure", (0, 20_000)),
    _quantity("barometer", "Pa", 30_000, 110_000, "inHg", "hPa", "air pressure outside", (60_000, 106_000)),
    _quantity("length", "m", 0, 1e5, "ft", "m", "length", (0.001, 5000)),
    _quantity("distance", "m", 0, 5e6, "mi", "km", "distance", (100, 1e6)),
    _quantity("altitude", "m", -450, 9000, "ft", "m", "altitude", (-430, 4000)),
    _quantity("spacing", "m", 0, 60, "in", "cm", "seed spacing", (0.002, 10)),
    _quantity("position", "m", 0, 1e5, "in", "cm", "position on the tape", (0, 2000)),
    _quantity("row_width", "m", 0.05, 5, "in", "cm", "row width", (0.15, 2.5)),
    _quantity("depth", "m", 0, 0.5, "in", "cm", "depth", (0.005, 0.15)),
    _quantity("size", "m", 0, 5, "in", "mm", "size", (0.0001, 1)),
    _quantity("circumference", "m", 0.05, 20, "in", "m", "travel in one turn", (0.3, 8)),
    _quantity("speed", "m/s", 0, 30, "mph", "km/h", "speed", (0.1, 9)),
    _quantity("rate", "seeds/m2", 0, 2000, "seeds/ac", "seeds/ha", "seeding rate", (0.1, 400)),
    _quantity("seeds_per_length", "seeds/m", 0, 2000, "seeds/ft", "seeds/m", "seeds per length", (0.2, 400)),
    _quantity("seeds_per_mass", "seeds/kg", 100, 2e7, "seeds/lb", "seeds/kg", "seeds per weight", (500, 4e6)),
    _quantity("seed_mass", "kg/seed", 5e-8, 1e-2, "g/1000", "g/1000", "seed weight", (2.5e-7, 2e-3)),
    _quantity("mass_rate", "kg/m2", 0, 100, "lb/ac", "kg/ha", "weight per area", (0, 1)),
    _quantity("yield", "kg/m2", 0, 10, "bu/ac", "kg/ha", "yield", (0, 3)),
    _quantity("seed_flow", "seeds/s", 0, 2000, "seeds/s", "seeds/s", "seeds per second", (0, 300)),
    _quantity("leak_flow", "seeds/s", 0, 2000, "seeds/min", "seeds/min", "seeds lost per minute", (0, 50)),
    _quantity("rotation", "rev/s", 0, 2000, "rpm", "rpm", "turning speed", (0.01, 250)),
    _quantity("fan_speed", "rev/s", 0, 2000, "rpm", "rpm", "fan speed", (5, 250)),
    _quantity("disc_speed", "rev/s", 0, 100, "rpm", "rpm", "disc speed", (0.005, 5)),
    _quantity("flow", "m3/s", 0, 10, "gal/min", "L/min", "oil flow", (0, 0.01)),
    _quantity("air_flow", "m3/s", 0, 100, "ft3/min", "L/s", "air flow", (0, 5)),
    _quantity("volume", "m3", 0, 1e4, "in3", "cm3", "volume", (0, 50)),
    _quantity("voltage", "V", -1000, 1000, "V", "V", "voltage", (-1, 60)),
    _quantity("current", "A", -5000, 5000, "A", "A", "current", (0, 500)),
    _quantity("resistance", "ohm", 0, 1e10, "ohm", "ohm", "resistance", (0, 1e7)),
    _quantity("wire_resistance", "ohm/m", 0, 1e3, "ohm/kft", "ohm/km", "wire resistance", (0, 1)),
    _quantity("temperature", "K", 150, 800, "degF", "degC", "temperature", (233, 420)),
    _quantity("mass", "kg", 0, 1e6, "lb", "kg", "weight", (0, 1e5)),
    _quantity("sample_mass", "kg", 0, 1e3, "g", "g", "weight of a sample", (1e-5, 20)),
    _quantity("area", "m2", 0, 1e10, "ac", "ha", "area", (0, 1e9)),
    _quantity("hole_area", "m2", 0, 1, "mm2", "mm2", "opening", (0, 0.1)),
    _quantity("work_rate", "m2/s", 0, 1e4, "ac/h", "ha/h", "area per hour", (0, 100)),
    _quantity("time", "s", 0, 1e10, "s", "s", "time", (0, 1e9)),
    _quantity("short_time", "s", 0, 3600, "ms", "ms", "time", (0, 100)),
    _quantity("duration", "s", 0, 1e10, "min", "min", "time", (0, 1e9)),
    _quantity("angle", "rad", -7, 7, "deg", "deg", "angle"),
    _quantity("torque", "N m", 0, 1e6, "lbf ft", "N m", "torque", (0, 5000)),
    _quantity("force", "N", 0, 1e7, "lbf", "N", "force", (0, 1e5)),
    _quantity("small_force", "N", 0, 1e4, "N", "N", "force", (0, 100)),
    _quantity("heat", "W", 0, 1e7, "W", "W", "heat", (0, 1e5)),
    _quantity("power", "W", 0, 1e7, "hp", "kW", "power", (0, 5e5)),
    _quantity("density", "kg/m3", 0, 25_000, "kg/m3", "kg/m3", "density", (0.5, 2000)),
    _quantity("percent", "fraction", -10, 100, "percent", "percent", "share", (-1, 2)),
    _quantity("count", "count", 0, 1e12, "count", "count", "count"),
)

UNITS: Mapping[str, Unit] = MappingProxyType({u.name: u for u in _UNITS})
QUANTITIES: Mapping[str, Quantity] = MappingProxyType({q.name: q for q in _QUANTITIES})
