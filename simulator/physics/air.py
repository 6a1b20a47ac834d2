"""Air density and pressure with altitude and temperature."""

from __future__ import annotations

SEA_LEVEL_PRESSURE_PA = 101_325.0
"""Standard pressure at sea level: US Standard Atmosphere 1976."""

GAS_CONSTANT_J_PER_KG_K = 287.053
"""Specific gas constant of dry air: US Standard Atmosphere 1976."""

ZERO_CELSIUS_K = 273.15
"""Ice point, K."""

_SCALE_M = 288.15 / 0.0065
"""Sea-level temperature over lapse rate; often printed rounded as 44329 or 44331 m."""


def standard_pressure_pa(altitude_m: float) -> float:
    """Return the pressure of the US Standard Atmosphere 1976 within the troposphere.

    ``p = 101325 (1 - 0.0065 h / 288.15)^5.255876``
    """
    pressure_pa: float = SEA_LEVEL_PRESSURE_PA * (1.0 - altitude_m / _SCALE_M) ** 5.255876
    return pressure_pa


def density_kg_per_m3(altitude_m: float, air_temperature_c: float) -> float:
    """Return the density of dry air at an altitude within the troposphere, of standard pressure: ``p / (287.053 T)``.

    Source: ideal gas. Humidity is left out: at 35 C and saturation it takes about 2 % off the density, 1 % off the
    power that hover needs (assumption: dry).
    """
    return standard_pressure_pa(altitude_m) / (GAS_CONSTANT_J_PER_KG_K * (air_temperature_c + ZERO_CELSIUS_K))
