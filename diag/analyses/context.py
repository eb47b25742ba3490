"""The one list of context names: settings, machine figures and limits that analyses may be given.

Values are SI floats or words; values per row are by row, sections are rows by name. Limits stand here by name
only; their values come from the knowledge.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import cast

from diag.analyses.model import ByRow, Context, Sections
from diag.errors import MeasureError
from diag.units import System


@dataclass(frozen=True)
class ContextSpec:
    """One context name: `quantity` as in ResultSpec, or "row_values", "sections"."""

    name: str
    quantity: str
    meaning: str
    asks: str = ""
    """The question for it, in the words to be said; "" for what is never asked by itself."""


_LIST = (
    ContextSpec("units", "word", "system in which verdict sentences give values"),
    ContextSpec("quantity", "word", "quantity of the check's own answer, so that its values can be shown"),
    # what was set
    ContextSpec("target_spacing", "spacing", "seed spacing that holes, ratio, wheel or command should give",
                "How far apart should the seeds lie?"),
    ContextSpec("target_rate", "rate", "seeds per area the setting should give",
                "How many seeds an acre or hectare is it set for?"),
    ContextSpec("row_width", "row_width", "distance between rows",
                "How far apart are the rows?"),
    ContextSpec("holes", "count", "holes or cells of the disc",
                "How many holes or cells has the seed disc?"),
    ContextSpec("speed", "speed", "ground speed",
                "How fast is it planting?"),
    ContextSpec("vacuum_set", "vacuum", "vacuum that was set, or that the book asks for",
                "What vacuum is it set to?"),
    ContextSpec("fan_speed_set", "fan_speed", "fan speed on the plate or in the record",
                "What fan speed does the plate or the record name?"),
    ContextSpec("depth_set", "depth", "planting depth that was set"),
    ContextSpec("book", "reading", "book or plate value of the same quantity as the reading",
                "What should it read, by the book or the plate?"),
    ContextSpec("generic", "reading", "generic value for such machines, when nothing better is known"),
    ContextSpec("healthy", "reading", "the same reading on this machine when it was healthy"),
    ContextSpec("healthy_rows", "row_values", "the same readings per row when the machine was healthy"),
    ContextSpec("healthy_fan", "vacuum", "reading at the fan when the machine was healthy"),
    # machine profile
    ContextSpec("rows", "count", "number of rows"),
    ContextSpec("sections", "sections", "which rows hang on which wing, hose or circuit"),
    ContextSpec("delivery", "word", "how seed reaches the ground"),
    ContextSpec("crop", "word", "crop name"),
    ContextSpec("plants", "flag", "1 when plants were measured, not seeds"),
    ContextSpec("emergence", "share", "share of seeds that became plants"),
    ContextSpec("disc_turns_per_wheel_turn", "ratio", "disc turns for one turn of the drive wheel"),
    ContextSpec("disc_turns_per_shaft_turn", "ratio", "disc turns for one turn of the drive shaft"),
    ContextSpec("disc_turns_per_sprocket_turn", "ratio", "disc turns for one turn of the sprocket in doubt"),
    ContextSpec("disc_turns_per_chain_turn", "ratio", "disc turns for one round of the chain"),
    ContextSpec("disc_turns_per_belt_turn", "ratio", "disc turns for one round of the seed belt"),
    ContextSpec("disc_turns_per_gearbox_turn", "ratio", "disc turns for one turn of the row gearbox input"),
    ContextSpec("wheel_circumference", "circumference", "travel of the drive wheel in one loaded turn"),
    ContextSpec("system_voltage", "voltage", "nominal voltage of the system"),
    ContextSpec("wire_area", "hole_area", "copper cross-section of the wire"),
    ContextSpec("wire_length", "length", "one-way length of the wire"),
    ContextSpec("load_current", "current", "current through the wire"),
    ContextSpec("wire_temperature", "temperature", "temperature of the wire"),
    # how it was measured
    ContextSpec("row_length", "length", "length of row that was counted; without it 1/1000 acre or 1/1000 hectare"),
    ContextSpec("per", "word", "the count is per 1/1000 of this area"),
    ContextSpec("turns", "count", "disc turns that were caught",
                "How many turns of the disc was it counted over?"),
    ContextSpec("minutes", "duration", "how long was counted"),
    ContextSpec("sample_size", "count", "seeds in one weighed sample"),
    ContextSpec("tag_seeds_per_mass", "seeds_per_mass", "seeds per weight on the tag, or of the last lot"),
    ContextSpec("planted_area", "area", "area that was planted"),
    ContextSpec("gauge_span", "vacuum", "full scale of the gauge"),
    ContextSpec("gauge_class", "percent", "accuracy class of the gauge, share of its span"),
    ContextSpec("reading_error", "reading", "standard error of one reading taken with the same instrument"),
    ContextSpec("fluid_density", "density", "density of the fluid in the column; without it water"),
    ContextSpec("fluid_temperature", "temperature", "temperature of the water in the column"),
    ContextSpec("tilt", "angle", "angle of the column from plumb, when read along the tube"),
    ContextSpec("fan_open", "vacuum", "reading at the fan with nothing capped",
                "What does the gauge at the fan read with nothing capped?"),
    ContextSpec("chart_slip", "share", "wheel slip on which the rate chart is based"),
    ContextSpec("pitches", "count", "chain pitches that were measured",
                "Over how many pitches was the chain measured?"),
    ContextSpec("pitch", "size", "pitch of the chain when new",
                "What pitch has the chain?"),
    ContextSpec("altitude", "altitude", "altitude"),
    ContextSpec("air_temperature", "temperature", "air temperature"),
    ContextSpec("rows_looked_at", "count", "rows among which this one was picked as the worst"),
    # limits that only the knowledge may set
    ContextSpec("row_low_below_median", "reading", "a row counts as low when this far below the median row"),
    ContextSpec("row_high_above_median", "reading", "a row counts as high when this far above the median row"),
    ContextSpec("section_low_below_rest", "reading", "a section is low when its median is this far below the rest"),
    ContextSpec("all_low_below_reference", "reading", "all rows are low this far below the reference"),
    ContextSpec("row_low_ratio", "ratio", "a row counts as low below this ratio to the median row"),
    ContextSpec("row_high_ratio", "ratio", "a row counts as high above this ratio to the median row"),
    ContextSpec("usual_low", "reading", "less than this is little for such machines"),
    ContextSpec("usual_high", "reading", "more than this is much for such machines"),
    ContextSpec("drift_limit", "reading", "largest change of the first row, read again, to be spread out"),
    ContextSpec("swing_limit", "reading", "a log swings when it goes up and down by more than this"),
    ContextSpec("fall_limit", "reading", "a log falls when its trend over the whole log is more than this"),
    ContextSpec("miss_limit", "share", "share of misses that the sample should be able to tell from the seen one"),
    ContextSpec("proof_margin", "share", "half-width of the 95 % band that is wanted"),
)

CONTEXT: Mapping[str, ContextSpec] = MappingProxyType({g.name: g for g in _LIST})

PARTS = ("disc", "wheel", "shaft", "sprocket", "chain", "belt", "gearbox")
"""Parts whose turn can show as a rhythm in the row."""

TARGET = "target_spacing target_rate row_width"
RATIOS = " ".join([TARGET, "wheel_circumference", *(f"disc_turns_per_{p}_turn" for p in PARTS[1:])])
ROW_LIMITS = "row_low_below_median row_high_above_median section_low_below_rest all_low_below_reference"
"""Names that several analyses use together."""


def number(context: Context, name: str) -> float | None:
    """Return a numeric context value, None where it is not given. Raises MeasureError when no number."""
    value = context.get(name)
    if value is None:
        return None
    if not isinstance(value, int | float) or not math.isfinite(value):
        told = f"{name} must be a number, not {value!r}."
        raise MeasureError(told, remedy=f"It is the {CONTEXT[name].meaning}.")
    return float(value)


def positive(context: Context, name: str) -> float | None:
    """Return a context value above zero, None where it is not given. Raises MeasureError otherwise."""
    value = number(context, name)
    if value is not None and value <= 0:
        raise MeasureError(f"{name} must be above zero.", remedy=f"It is the {CONTEXT[name].meaning}.")
    return value


def needed(context: Context, name: str) -> float:
    """Return a context value above zero. Raises MeasureError when it is missing."""
    value = positive(context, name)
    if value is None:
        raise MeasureError(f"{name} is not known.", remedy=f"Give the {CONTEXT[name].meaning}.")
    return value


def units(context: Context) -> System:
    """Return the system in which values are shown, US unless "metric" is asked for."""
    return "metric" if context.get("units") == "metric" else "us"


def sections(context: Context) -> Sections:
    """Return the sections of the machine by name; empty when they are not known."""
    return cast(Sections, context.get("sections", {}))


def row_values(context: Context, name: str) -> ByRow:
    """Return values per row (SI); empty when they are not known."""
    return cast(ByRow, context.get(name, {}))
