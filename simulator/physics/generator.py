"""Engine generators: power left after derating, and fuel by load."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from simulator.physics.air import ZERO_CELSIUS_K, standard_pressure_pa

FOOT_M = 0.3048
"""International foot, m."""

DerateRule = Literal[
    "none", "naturally_aspirated", "alternator", "msha_naturally_aspirated", "msha_turbocharged", "turbocharged",
    "petrol_customary", "iso3046_naturally_aspirated", "iso3046_spark_ignition", "iso3046_turbocharged",
    "iso3046_aftercooled",
]  # fmt: skip
"""Rules by which an engine generator loses power with altitude and temperature; sources stand beside their numbers."""

_LINEAR: dict[DerateRule, tuple[float, float, float, float]] = {
    # rule: loss per metre, above metres, loss per kelvin, above degrees Celsius
    # grid supply, or a rating already stated for the site
    "none": (0.0, 0.0, 0.0, 0.0),
    # 3 % per 1000 ft above 500 ft (agricultural engineering handbook, altitude section)
    "naturally_aspirated": (0.03 / (1000.0 * FOOT_M), 500.0 * FOOT_M, 0.0, 0.0),
    # 3 % per 500 m above 1000 m, times 3 % per 5 C above 40 C (generator sizing rule; multipliers cumulative)
    "alternator": (0.03 / 500.0, 1000.0, 0.03 / 5.0, 40.0),
    # 1 % per 100 m above 305 m, or above 1000 m (US Mine Safety and Health Administration)
    "msha_naturally_aspirated": (0.01 / 100.0, 305.0, 0.0, 0.0),
    "msha_turbocharged": (0.01 / 100.0, 1000.0, 0.0, 0.0),
    # 4 % per 300 m above 1525 m, times 2 % per 11 C above 40 C (a turbocharged engine's data sheet)
    "turbocharged": (0.04 / 300.0, 1525.0, 0.02 / 11.0, 40.0),
    # 3.5 % per 1000 ft, times 1 % per 10 F above 77 F (US rule of thumb for petrol sets, from memory)
    "petrol_customary": (0.035 / (1000.0 * FOOT_M), 0.0, 0.01 / (10.0 / 1.8), 25.0),
}

_ISO3046: dict[DerateRule, tuple[float, float, float, float]] = {
    # rule: humidity factor a, pressure exponent m, temperature exponent n, coolant exponent s (ISO 3046-1, from memory)
    "iso3046_naturally_aspirated": (1.0, 1.0, 0.75, 0.0),  # diesel limited by air
    "iso3046_spark_ignition": (1.0, 1.0, 0.5, 0.0),
    "iso3046_turbocharged": (0.0, 0.7, 2.0, 0.0),  # diesel
    "iso3046_aftercooled": (0.0, 0.7, 1.2, 1.0),  # turbocharged diesel
}

_ISO_PRESSURE_PA = 100_000.0
_ISO_TEMPERATURE_K = 298.0
_ISO_HUMIDITY = 0.3


def saturation_pressure_pa(air_temperature_c: float) -> float:
    """Return the saturation pressure of water vapour in air of -45 to 60 C.

    Source: Magnus form with the constants of Alduchov and Eskridge (1996), J. Appl. Meteorol. 35:601-609, eq. 21 (from
    memory): ``610.94 exp(17.625 t / (t + 243.04))``.
    """
    return 610.94 * math.exp(17.625 * air_temperature_c / (air_temperature_c + 243.04))


def iso3046_alpha(power_ratio: float, mechanical_efficiency: float = 0.8) -> float:
    """Return the brake power at site conditions over that at reference conditions, from the ratio k of indicated power.

    Source: ISO 3046-1, ``alpha = k - 0.7 (1 - k) (1 / eta_m - 1)``; its example: k = 1.056, eta_m = 0.85 give 1.063.
    Mechanical efficiency 0.8 is the standard's where none is stated (from memory). Below zero when the site leaves less
    than friction takes.
    """
    return power_ratio - 0.7 * (1.0 - power_ratio) * (1.0 / mechanical_efficiency - 1.0)


def iso3046_power_ratio(rule: DerateRule, pressure_pa: float, air_temperature_c: float) -> float:
    """Return the ratio k of indicated power at site conditions; 1 at the reference (100 kPa, 298 K, 30 % humidity).

    Source: ISO 3046-1, ``k = [(p - a phi ps) / (pr - a phir psr)]^m (Tr / T)^n (Tcr / Tc)^s`` (exponents from memory).
    Assumptions: humidity is that of the reference, and the charge-air coolant is as warm above ambient as there, so Tcr
    / Tc = Tr / T.
    """
    humidity_factor, pressure_exponent, temperature_exponent, coolant_exponent = _ISO3046[rule]
    site_pa = pressure_pa - humidity_factor * _ISO_HUMIDITY * saturation_pressure_pa(air_temperature_c)
    reference_c = _ISO_TEMPERATURE_K - ZERO_CELSIUS_K
    reference_pa = _ISO_PRESSURE_PA - humidity_factor * _ISO_HUMIDITY * saturation_pressure_pa(reference_c)
    temperature_ratio = _ISO_TEMPERATURE_K / (air_temperature_c + ZERO_CELSIUS_K)
    return math.pow(site_pa / reference_pa, pressure_exponent) * math.pow(
        temperature_ratio, temperature_exponent + coolant_exponent
    )


def derate_share(rule: DerateRule, altitude_m: float, temperature_c: float) -> float:
    """Return the share of the rated power that is left at an altitude in the troposphere and air temperature, 0 to 1.

    A rule that would raise the power (cold, low ground) gives 1, since the rating also binds the alternator.
    """
    pressure_pa = standard_pressure_pa(altitude_m)
    if rule in _ISO3046:
        share = iso3046_alpha(iso3046_power_ratio(rule, pressure_pa, temperature_c))
    else:
        per_m, above_m, per_k, above_c = _LINEAR[rule]
        share_altitude = max(0.0, 1.0 - per_m * max(0.0, altitude_m - above_m))
        share = share_altitude * max(0.0, 1.0 - per_k * max(0.0, temperature_c - above_c))
    return min(1.0, max(0.0, share))


@dataclass(frozen=True, slots=True)
class FuelLine:
    """Fuel use as a straight line of load (Willans line): ``a * kWh + b * hours``, whatever the load's course."""

    litre_per_kwh: float
    litre_per_hour_no_load: float

    def litres(self, energy_kwh: float, hours: float) -> float:
        """Return the fuel for an energy delivered over a running time."""
        return self.litre_per_kwh * energy_kwh + self.litre_per_hour_no_load * hours

    def litre_per_hour(self, load_w: float) -> float:
        """Return the rate of fuel use at a delivered power."""
        return self.litre_per_kwh * load_w / 1000.0 + self.litre_per_hour_no_load


def fit_fuel_line(loads_w: Sequence[float], litres_per_hour: Sequence[float]) -> FuelLine:
    """Fit a fuel line to a part-load table by least squares; through the origin if it would go below it at no load.

    Raises
    ------
    ValueError
        There are not two different loads, or fuel use does not grow with load.
    """
    load_kw = np.asarray(loads_w, dtype=np.float64) / 1000.0
    rate_l_per_h = np.asarray(litres_per_hour, dtype=np.float64)
    if len(np.unique(load_kw)) < 2:
        raise ValueError(f"loads_w: got {list(loads_w)!r}, allowed at least two different loads")
    columns = np.column_stack([load_kw, np.ones_like(load_kw)])
    slope, no_load = np.linalg.lstsq(columns, rate_l_per_h, rcond=None)[0].tolist()
    if slope <= 0.0:
        raise ValueError(f"litres_per_hour: got {list(litres_per_hour)!r}, allowed fuel use that grows with load")
    if no_load < 0.0:
        slope = float(load_kw @ rate_l_per_h / (load_kw @ load_kw))
        no_load = 0.0
    return FuelLine(slope, no_load)


_PETROL_SHARES = (0.25, 0.5, 0.75, 1.0)


def asabe_fuel_line(rated_w: float, fuel: Literal["diesel", "petrol"] = "diesel") -> FuelLine:
    """Return the fuel line of a typical engine of a given rating.

    Sources: diesel: ASABE D497 / EP496 in the form of R. Grisso (Virginia Tech), ``Q = (0.22 X + 0.096) P_rated`` l/h
    with X the share of rated power (constants from memory). Petrol: the older D497.4, ``2.74 X + 3.15 - 0.203 sqrt(697
    X)`` l/kWh (from memory), whose l/h at a quarter, half, three quarters and full load are fitted by a line. Both are
    for tractor engines at the PTO; alternator losses (about 10 %) are within their spread (assumption).
    """
    if fuel == "diesel":
        return FuelLine(0.22, 0.096 * rated_w / 1000.0)
    return fit_fuel_line(
        [share * rated_w for share in _PETROL_SHARES],
        [
            (2.74 * share + 3.15 - 0.203 * math.sqrt(697.0 * share)) * share * rated_w / 1000.0
            for share in _PETROL_SHARES
        ],
    )
