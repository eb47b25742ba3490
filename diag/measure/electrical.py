"""Voltage drop, bad pins, motors under load, bus resistance. SI: V, A, ohm, m, m2, K.

Wire: NEC chapter 9 table 8 at 75 C as quoted in public code and documents; sizes marked in
`WIRE_FROM_MEMORY` are from memory, as is the temperature factor of the note to the table.
"""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from diag.errors import MeasureError
from diag.units import UNITS

STRANDED: Mapping[int, float] = MappingProxyType(
    {18: 7.95, 16: 4.99, 14: 3.14, 12: 1.98, 10: 1.24, 8: 0.778, 6: 0.491, 4: 0.308, 2: 0.194}
)
"""Ohm per 1000 ft at 75 C of stranded uncoated copper, by American wire size."""

WIRE_FROM_MEMORY = (18, 16, 14, 8)
"""Sizes whose stranded figure is from memory."""

COPPER_RESISTIVITY = 0.017241e-6
"""Of annealed copper at 20 C, ohm m."""

_T75 = 348.15
_PER_KELVIN = 0.00323


def temperature_factor(temperature: float) -> float:
    """Return resistance at a temperature (K) over that at 75 C."""
    return 1 + _PER_KELVIN * (temperature - _T75)


def wire_resistance(size: int, length: float, temperature: float = _T75) -> float:
    """Return the resistance (ohm) of a stranded wire of this American size and one-way length (m).

    Raises MeasureError when the size is not in the table.
    """
    if size not in STRANDED:
        raise MeasureError(f"Wire size {size} is not in the table.",
                           remedy=f"Known sizes: {', '.join(str(s) for s in STRANDED)}.")
    return STRANDED[size] * UNITS["ohm/kft"].factor * length * temperature_factor(temperature)


def wire_resistance_by_area(area: float, length: float, temperature: float = 293.15) -> float:
    """Return the resistance (ohm) of copper of this cross-section (m2) and one-way length (m)."""
    return COPPER_RESISTIVITY * length / area * (1 + 0.00393 * (temperature - 293.15))


NOMINAL = 12.0
"""Voltage (V) of a machine whose voltage is not told."""


def drop(one_way: float, current: float) -> float:
    """Return the voltage lost out and back over a one-way resistance (ohm) at a current (A)."""
    return 2 * one_way * current


