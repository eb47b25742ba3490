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


def seeds_per_second(speed: float, rate: float, row_width: float) -> float:
    """Return the seeds one meter gives per second at a ground speed (m/s)."""
    return speed * rate * row_width


def disc_speed(seeds_per_s: float, holes: float) -> float:
    """Return the disc speed (rev/s)."""
    return seeds_per_s / holes


def hole_time(seeds_per_s: float) -> float:
    """Return the time (s) from hole to hole."""
    return 1 / seeds_per_s


# ---------------------------------------------------------------------------------------- the drop


def exit_speed(drop: float) -> float:
    """Return the speed (m/s) of a seed after a frictionless drop (m)."""
    return math.sqrt(2 * GRAVITY * drop)


def fall_time(drop: float) -> float:
    """Return the time (s) of a frictionless drop (m)."""
    return math.sqrt(2 * drop / GRAVITY)


def spacing_sd(speed: float, time_sd: float) -> float:
    """Return the SD (m) of spacing for the same scatter: a spacing is a difference of two positions."""
    return math.sqrt(2) * speed * time_sd


