"""The hole of a disc: how much a singulator covers, what holds a seed, how much vacuum that takes. SI."""

from __future__ import annotations

import math

from diag.errors import MeasureError
from diag.units import GRAVITY


def segment_area(radius: float, height: float) -> float:
    """Return the area of a circular segment, in the squared unit of the arguments.

    Formula: CRC Concise Encyclopedia of Mathematics, circular segment. Raises MeasureError outside 0 to
    2 radii.
    """
    if not 0 <= height <= 2 * radius:
        raise MeasureError("A segment is at most as high as its circle.", remedy="Give 0 to the diameter.")
    return (radius**2 * math.acos((radius - height) / radius)
            - (radius - height) * math.sqrt(max(0.0, 2 * radius * height - height**2)))


def covered_area(k: float) -> float:
    """Return the share of the hole's area behind a straight edge that covers share k of its diameter."""
    if not 0 <= k <= 1:
        raise MeasureError(f"{k:g} is not a share of the diameter.", remedy="Give 0 to 1.")
    return (math.acos(1 - 2 * k) - 2 * (1 - 2 * k) * math.sqrt(k * (1 - k))) / math.pi


def covered_diameter(area_share: float) -> float:
    """Return the share of the diameter that covers this share of the area (inverse of `covered_area`)."""
    if not 0 <= area_share <= 1:
        raise MeasureError(f"{area_share:g} is not a share of the area.", remedy="Give 0 to 1.")
    low, high = 0.0, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if covered_area(middle) < area_share else (low, middle)
    return (low + high) / 2


def covered_by_lobe(k: float, hole_radius: float, lobe_radius: float) -> float:
    """Return the share of the hole's area behind a rounded lobe that reaches over share k of its diameter."""
    apart = hole_radius + lobe_radius - 2 * hole_radius * k
    if apart >= hole_radius + lobe_radius:
        return 0.0
    if apart <= abs(lobe_radius - hole_radius):
        return min(1.0, (lobe_radius / hole_radius) ** 2)
    a = (apart**2 + hole_radius**2 - lobe_radius**2) / (2 * apart * hole_radius)
    b = (apart**2 + lobe_radius**2 - hole_radius**2) / (2 * apart * lobe_radius)
    kite = 0.5 * math.sqrt(
        (-apart + hole_radius + lobe_radius) * (apart + hole_radius - lobe_radius)
        * (apart - hole_radius + lobe_radius) * (apart + hole_radius + lobe_radius)
    )
    overlap = hole_radius**2 * math.acos(a) + lobe_radius**2 * math.acos(b) - kite
    return overlap / (math.pi * hole_radius**2)


def hole_area(diameter: float) -> float:
    """Return the area (m2) of a round hole (m)."""
    return math.pi * diameter**2 / 4


def suction(vacuum: float, diameter: float) -> float:
    """Return the force (N) that holds a seed sealing the hole, at a vacuum (Pa): an upper bound."""
    return vacuum * hole_area(diameter)


def centrifugal_ratio(rim_speed: float, radius: float) -> float:
    """Return the centrifugal load over the weight at a rim speed (m/s) and radius (m)."""
    return rim_speed**2 / (GRAVITY * radius)


def tilt_off_vacuum(seed_mass: float, diameter: float, centre: float, centrifugal: float = 0.0,
                    friction: float = 0.0, reliability: float = 1.0) -> float:
    """Return the vacuum (Pa) below which a seed tilts off the rim of its hole.

    `seed_mass` kg, `diameter` of the hole m, `centre`: distance of the seed's centre from the disc m,
    `centrifugal`: centrifugal load over weight, `friction`: load of seed on seed over weight, `reliability`:
    product of handbook factors. The factors are from memory (Agricultural Machinery Design Manual, China).
    """
    load = 8 * seed_mass * GRAVITY * centre * (1 + centrifugal + friction)
    return reliability * load / (math.pi * diameter**3)
