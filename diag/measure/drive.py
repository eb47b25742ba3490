"""Ground drive: ratios, sprockets, wheel slip, tyres, chains, calibration runs. SI. Derived."""

from __future__ import annotations

import math

from diag.errors import MeasureError


def ratio(*stages: tuple[float, float]) -> float:
    """Return disc turns per wheel turn: the product of (driver teeth, driven teeth) over the stages."""
    if any(driver <= 0 or driven <= 0 for driver, driven in stages):
        raise MeasureError("A sprocket has at least one tooth.", remedy="Count the teeth again.")
    return math.prod(driver / driven for driver, driven in stages)


def seeds_per_turn(disc_turns: float, holes: float) -> float:
    """Return the seeds per wheel turn."""
    return disc_turns * holes


def ground_spacing(circumference: float, disc_turns: float, holes: float, slip: float = 0.0) -> float:
    """Return the seed spacing (m) of a ground drive.

    `circumference`: loaded travel (m) in one wheel turn; `slip`: share of turns lost beyond it.
    """
    return circumference / (disc_turns * holes) / (1 - slip)


def slip(free_turns: float, loaded_turns: float) -> float:
    """Return the share of turns lost against turns without slip. Raises MeasureError without free turns."""
    if free_turns <= 0 or loaded_turns < 0:
        raise MeasureError("Wheel slip needs turns counted without slip.",
                           remedy="Count the turns over the same course, wheel rolling free.")
    return 1 - loaded_turns / free_turns


def slip_error(free_turns: float, loaded_turns: float, reading: float = 0.25) -> float:
    """Return the standard error of slip when each count is read to +-`reading` turn (evenly spread)."""
    each = reading / math.sqrt(3)
    return math.hypot(each / free_turns, each * loaded_turns / free_turns**2)


def rate_factor_for_slip(now: float, chart: float) -> float:
    """Return the population factor when slip is `now` where the chart was made for `chart`."""
    return (1 - now) / (1 - chart)


def chain_stretch(length: float, pitches: float, pitch: float) -> float:
    """Return by what share a chain of so many pitches (m each) is longer than new."""
    return length / (pitches * pitch) - 1


