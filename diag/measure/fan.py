"""Fan laws, air density and the drives that turn a fan. All SI: Pa, kg/m3, K, rev/s, m3/s, W.

Fan laws: "The fan laws", ElectronicsCooling; Process Heating, "Fan laws and formulas". Standard
atmosphere: 15 C, 1013.25 hPa, 6.5 K/km, as in the US Standard Atmosphere 1976. Fluid power forms are
from memory of fluid-power texts.
"""

from __future__ import annotations

import math

from diag.errors import MeasureError
from diag.units import ATMOSPHERE, GRAVITY

GAS_CONSTANT = 287.053
"""Of dry air, J/(kg K)."""
STANDARD_DENSITY = 1.225
"""kg/m3 at 15 C and 1013.25 hPa."""
_LAPSE = 0.0065
_T0 = 288.15


def power_at_speed(power: float, speed_ratio: float, density_ratio: float = 1.0) -> float:
    """Return the power after the fan speed and the air density changed by these ratios."""
    return power * speed_ratio**3 * density_ratio


def speed_for_vacuum(speed: float, vacuum: float, wanted: float) -> float:
    """Return the fan speed that turns this vacuum into the wanted one. Raises MeasureError at no vacuum."""
    if vacuum <= 0 or wanted <= 0:
        raise MeasureError("The fan laws need a vacuum above zero.", remedy="Give both readings.")
    return speed * math.sqrt(wanted / vacuum)


def standard_pressure(altitude: float) -> float:
    """Return the pressure (Pa) of the standard atmosphere at an altitude (m, geopotential, up to 11 km)."""
    exponent = GRAVITY / (GAS_CONSTANT * _LAPSE)
    return ATMOSPHERE * math.pow(standard_temperature(altitude) / _T0, exponent)


def standard_temperature(altitude: float) -> float:
    """Return the temperature (K) of the standard atmosphere. Raises MeasureError above 11 km."""
    if not -1000 <= altitude <= 11_000:
        raise MeasureError(f"{altitude:.0f} m is outside the lower air.", remedy="Give -1000 to 11000.")
    return _T0 - _LAPSE * altitude


def air_density(pressure: float, temperature: float, humidity: float = 0.0) -> float:
    """Return the density (kg/m3) of air at a pressure (Pa), temperature (K) and relative humidity (0 to 1).

    Vapour pressure by the Magnus formula (from memory).
    """
    celsius = temperature - 273.15
    vapour = humidity * 611.2 * math.exp(17.62 * celsius / (243.12 + celsius))
    return (pressure - 0.378 * vapour) / (GAS_CONSTANT * temperature)


def density_at(altitude: float, temperature: float | None = None) -> float:
    """Return the density (kg/m3) at an altitude (m), at the standard or a given temperature (K)."""
    warm = standard_temperature(altitude) if temperature is None else temperature
    return air_density(standard_pressure(altitude), warm)


def density_ratio(altitude: float, temperature: float | None = None) -> float:
    """Return that density over 1.225 kg/m3."""
    return density_at(altitude, temperature) / STANDARD_DENSITY


def speed_factor(sigma: float) -> float:
    """Return the fan speed factor that makes up for a density ratio."""
    return 1 / math.sqrt(sigma)


# ------------------------------------------------------------------------------- what turns the fan


def motor_speed(flow: float, displacement: float, efficiency: float = 1.0) -> float:
    """Return the speed (rev/s) of a hydraulic motor: flow (m3/s), displacement (m3/rev), volumetric share."""
    return flow / displacement * efficiency


def case_drain(flow: float, efficiency: float) -> float:
    """Return about the leakage flow (m3/s) of a motor of this volumetric efficiency."""
    return flow * (1 - efficiency)


