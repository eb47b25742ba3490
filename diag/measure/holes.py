"""The hole of a disc: how much a singulator covers, what holds a seed, how much vacuum that takes. SI."""

from __future__ import annotations

import math

from diag.errors import MeasureError


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


