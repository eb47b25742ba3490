"""Speeds, rates and times of a meter and of a falling seed. All SI: m, s, seeds per m2, rev/s. Derived."""

from __future__ import annotations

import math

from diag.errors import MeasureError
from diag.units import GRAVITY


def spacing_for(rate: float, row_width: float) -> float:
    """Return the seed spacing (m) of a rate (seeds/m2) at a row width (m)."""
    if rate <= 0 or row_width <= 0:
        raise MeasureError("Rate and row width must be above zero.", remedy="Give both.")
    return 1 / (rate * row_width)


def rate_for(spacing: float, row_width: float) -> float:
    """Return the rate (seeds/m2) of a spacing (m) at a row width (m)."""
    return spacing_for(spacing, row_width)


def seeds_per_length(rate: float, row_width: float) -> float:
    """Return seeds per metre of row."""
    return rate * row_width


def seeds_per_second(speed: float, rate: float, row_width: float) -> float:
    """Return the seeds one meter gives per second at a ground speed (m/s)."""
    return speed * rate * row_width


def speed_at(seeds_per_s: float, rate: float, row_width: float) -> float:
    """Return the ground speed (m/s) at which a meter gives so many seeds per second."""
    return seeds_per_s / (rate * row_width)


def disc_speed(seeds_per_s: float, holes: float) -> float:
    """Return the disc speed (rev/s)."""
    return seeds_per_s / holes


def hole_time(seeds_per_s: float) -> float:
    """Return the time (s) from hole to hole."""
    return 1 / seeds_per_s


def rim_speed(rev_per_s: float, circle: float) -> float:
    """Return the speed (m/s) of the holes on a circle of this diameter (m)."""
    return math.pi * circle * rev_per_s


def circle_for(rim: float, rev_per_s: float) -> float:
    """Return the hole circle (m) whose holes move at `rim` (m/s)."""
    return rim / (math.pi * rev_per_s)


def zone_time(angle: float, rev_per_s: float) -> float:
    """Return the time (s) a hole spends in a zone of this angle (rad)."""
    return angle / (2 * math.pi * rev_per_s)


# ---------------------------------------------------------------------------------------- the drop


def exit_speed(drop: float) -> float:
    """Return the speed (m/s) of a seed after a frictionless drop (m)."""
    return math.sqrt(2 * GRAVITY * drop)


def fall_time(drop: float) -> float:
    """Return the time (s) of a frictionless drop (m)."""
    return math.sqrt(2 * drop / GRAVITY)


def exit_angle(speed: float, drop: float) -> float:
    """Return the rearward angle (rad) from plumb at which a gravity tube cancels the ground speed (m/s).

    Raises MeasureError above the speed that gravity alone can cancel.
    """
    if speed > exit_speed(drop):
        raise MeasureError("At this speed a falling seed cannot be brought to rest by the tube alone.",
                           remedy="Slow down, or deliver the seed by belt.")
    return math.asin(speed / exit_speed(drop))


def residual_speed(speed: float, drop: float, angle: float) -> float:
    """Return the forward speed (m/s) left when the tube ends at this angle (rad) from plumb."""
    return speed - exit_speed(drop) * math.sin(angle)


def position_sd(speed: float, time_sd: float) -> float:
    """Return the SD (m) of seed position when the release time scatters by `time_sd` (s)."""
    return speed * time_sd


def spacing_sd(speed: float, time_sd: float) -> float:
    """Return the SD (m) of spacing for the same scatter: a spacing is a difference of two positions."""
    return math.sqrt(2) * speed * time_sd


def allowed_time_sd(speed: float, spacing: float, cv: float) -> float:
    """Return the time scatter (s) that keeps the spread of spacing over target at `cv`."""
    return cv * spacing / (math.sqrt(2) * speed)
