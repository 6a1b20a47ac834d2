"""Engine generators: power left after derating, and fuel by load."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np

from simulator.physics.air import ZERO_CELSIUS_K, standard_pressure_pa

FOOT_M = 0.3048
"""International foot, m."""


class DerateRule(StrEnum):
    """Rules by which an engine generator loses power with altitude and temperature; each with its source."""

    NONE = "none"
    """No loss: grid supply, or a rating already stated for the site."""

    NATURALLY_ASPIRATED = "naturally_aspirated"
    """3 % per 1000 ft above 500 ft (agricultural engineering handbook, altitude section)."""

    ALTERNATOR = "alternator"
    """3 % per 500 m above 1000 m, times 3 % per 5 C above 40 C (generator sizing rule; multipliers cumulative)."""

    MSHA_NATURALLY_ASPIRATED = "msha_naturally_aspirated"
    """1 % per 100 m above 305 m (US Mine Safety and Health Administration)."""

    MSHA_TURBOCHARGED = "msha_turbocharged"
    """1 % per 100 m above 1000 m (US Mine Safety and Health Administration)."""

    TURBOCHARGED = "turbocharged"
    """4 % per 300 m above 1525 m, times 2 % per 11 C above 40 C (a turbocharged engine's data sheet)."""

    PETROL_CUSTOMARY = "petrol_customary"
    """3.5 % per 1000 ft, times 1 % per 10 F above 77 F (US rule of thumb for petrol sets, from memory)."""

    ISO3046_NATURALLY_ASPIRATED = "iso3046_naturally_aspirated"
    """ISO 3046-1, naturally aspirated diesel limited by air: a=1, m=1, n=0.75, s=0 (exponents from memory)."""

    ISO3046_SPARK_IGNITION = "iso3046_spark_ignition"
    """ISO 3046-1, naturally aspirated spark ignition: a=1, m=1, n=0.5, s=0 (exponents from memory)."""

    ISO3046_TURBOCHARGED = "iso3046_turbocharged"
    """ISO 3046-1, turbocharged diesel: a=0, m=0.7, n=2, s=0 (exponents from memory)."""

    ISO3046_AFTERCOOLED = "iso3046_aftercooled"
    """ISO 3046-1, turbocharged diesel with aftercooler: a=0, m=0.7, n=1.2, s=1 (exponents from memory)."""


_LINEAR: dict[DerateRule, tuple[float, float, float, float]] = {
    # rule: loss per metre, above metres, loss per kelvin, above degrees Celsius
    DerateRule.NONE: (0.0, 0.0, 0.0, 0.0),
    DerateRule.NATURALLY_ASPIRATED: (0.03 / (1000.0 * FOOT_M), 500.0 * FOOT_M, 0.0, 0.0),
    DerateRule.ALTERNATOR: (0.03 / 500.0, 1000.0, 0.03 / 5.0, 40.0),
    DerateRule.MSHA_NATURALLY_ASPIRATED: (0.01 / 100.0, 305.0, 0.0, 0.0),
    DerateRule.MSHA_TURBOCHARGED: (0.01 / 100.0, 1000.0, 0.0, 0.0),
    DerateRule.TURBOCHARGED: (0.04 / 300.0, 1525.0, 0.02 / 11.0, 40.0),
    DerateRule.PETROL_CUSTOMARY: (0.035 / (1000.0 * FOOT_M), 0.0, 0.01 / (10.0 / 1.8), 25.0),
}

_ISO3046: dict[DerateRule, tuple[float, float, float, float]] = {
    # rule: humidity factor a, pressure exponent m, temperature exponent n, coolant exponent s
    DerateRule.ISO3046_NATURALLY_ASPIRATED: (1.0, 1.0, 0.75, 0.0),
    DerateRule.ISO3046_SPARK_IGNITION: (1.0, 1.0, 0.5, 0.0),
    DerateRule.ISO3046_TURBOCHARGED: (0.0, 0.7, 2.0, 0.0),
    DerateRule.ISO3046_AFTERCOOLED: (0.0, 0.7, 1.2, 1.0),
}

_ISO_PRESSURE_PA = 100_000.0
_ISO_TEMPERATURE_K = 298.0
_ISO_HUMIDITY = 0.3


def saturation_pressure_pa(air_temperature_c: float) -> float:
    """Return the saturation pressure of water vapour.

    Parameters
    ----------
    air_temperature_c : float
        Air temperature, degrees Celsius; -45 to 60.

    Returns
    -------
    float
        Pressure, Pa.

    Raises
    ------
    ValueError
        If the temperature is outside the range.

    Notes
    -----
    Source: Magnus form with the constants of Alduchov and Eskridge (1996), J. Appl. Meteorol. 35:601-609, eq. 21 (from
    memory): ``610.94 exp(17.625 t / (t + 243.04))``.
    """
    if not -45.0 <= air_temperature_c <= 60.0:
        raise ValueError(f"air_temperature_c: got {air_temperature_c!r}, allowed -45 to 60")
    return 610.94 * math.exp(17.625 * air_temperature_c / (air_temperature_c + 243.04))


def iso3046_alpha(power_ratio: float, mechanical_efficiency: float = 0.8) -> float:
    """Return the brake power at site conditions over that at reference conditions.

    Parameters
    ----------
    power_ratio : float
        Ratio of indicated power k, above zero; see `iso3046_power_ratio`.
    mechanical_efficiency : float
        Mechanical efficiency of the engine; above 0, at most 1. Default 0.8: the standard's value where none is stated
        (from memory).

    Returns
    -------
    float
        alpha; below zero when the site leaves less than friction takes.

    Raises
    ------
    ValueError
        If a value is outside its range.

    Notes
    -----
    Source: ISO 3046-1, ``alpha = k - 0.7 (1 - k) (1 / eta_m - 1)``; its example: k = 1.056, eta_m = 0.85 give 1.063.
    """
    if not 0.0 < power_ratio < math.inf:
        raise ValueError(f"power_ratio: got {power_ratio!r}, allowed above 0, finite")
    if not 0.0 < mechanical_efficiency <= 1.0:
        raise ValueError(f"mechanical_efficiency: got {mechanical_efficiency!r}, allowed above 0, at most 1")
    return power_ratio - 0.7 * (1.0 - power_ratio) * (1.0 / mechanical_efficiency - 1.0)


def iso3046_power_ratio(
    rule: DerateRule, pressure_pa: float, air_temperature_c: float, relative_humidity: float = _ISO_HUMIDITY
) -> float:
    """Return the ratio of indicated power k at site conditions.

    Parameters
    ----------
    rule : DerateRule
        One of the ISO 3046 rules.
    pressure_pa : float
        Air pressure at the site, Pa; above zero.
    air_temperature_c : float
        Air temperature at the site, degrees Celsius; -45 to 60.
    relative_humidity : float
        Relative humidity at the site, 0 to 1. Default 0.3: the standard's reference.

    Returns
    -------
    float
        k, 1 at reference conditions (100 kPa, 298 K, 30 %).

    Raises
    ------
    ValueError
        If the rule is not of ISO 3046 or a value is outside its range.

    Notes
    -----
    Source: ISO 3046-1, ``k = [(p - a phi ps) / (pr - a phir psr)]^m (Tr / T)^n (Tcr / Tc)^s`` (exponents from memory).
    Assumption: the charge-air coolant is as warm above ambient as at reference, so Tcr / Tc = Tr / T.
    """
    if rule not in _ISO3046:
        raise ValueError(f"rule: got {rule!r}, allowed one of {[str(known) for known in _ISO3046]}")
    if not 0.0 < pressure_pa < math.inf:
        raise ValueError(f"pressure_pa: got {pressure_pa!r}, allowed above 0, finite")
    if not 0.0 <= relative_humidity <= 1.0:
        raise ValueError(f"relative_humidity: got {relative_humidity!r}, allowed 0 to 1")
    humidity_factor, pressure_exponent, temperature_exponent, coolant_exponent = _ISO3046[rule]
    site_pa = pressure_pa - humidity_factor * relative_humidity * saturation_pressure_pa(air_temperature_c)
    reference_c = _ISO_TEMPERATURE_K - ZERO_CELSIUS_K
    reference_pa = _ISO_PRESSURE_PA - humidity_factor * _ISO_HUMIDITY * saturation_pressure_pa(reference_c)
    temperature_ratio = _ISO_TEMPERATURE_K / (air_temperature_c + ZERO_CELSIUS_K)
    return math.pow(site_pa / reference_pa, pressure_exponent) * math.pow(
        temperature_ratio, temperature_exponent + coolant_exponent
    )


def derate_share(rule: DerateRule | str, altitude_m: float, temperature_c: float) -> float:
    """Return the share of the rated power that is left at an altitude and air temperature.

    Parameters
    ----------
    rule : DerateRule or str
        Rule to use, or its value.
    altitude_m : float
        Height above sea level, m; -1000 to 11000.
    temperature_c : float
        Air temperature, degrees Celsius; -45 to 60.

    Returns
    -------
    float
        Share from 0 to 1. A rule that would raise the power (cold, low ground) gives 1, since the rating also binds the
        alternator.

    Raises
    ------
    ValueError
        If the rule is unknown, or altitude or temperature is out of range.
    """
    try:
        rule = DerateRule(rule)
    except ValueError:
        raise ValueError(f"rule: got {rule!r}, allowed one of {[str(known) for known in DerateRule]}") from None
    if not -45.0 <= temperature_c <= 60.0:
        raise ValueError(f"temperature_c: got {temperature_c!r}, allowed -45 to 60")
    pressure_pa = standard_pressure_pa(altitude_m)
    if rule in _ISO3046:
        share = iso3046_alpha(iso3046_power_ratio(rule, pressure_pa, temperature_c))
    else:
        per_m, above_m, per_k, above_c = _LINEAR[rule]
        share_altitude = max(0.0, 1.0 - per_m * max(0.0, altitude_m - above_m))
        share = share_altitude * max(0.0, 1.0 - per_k * max(0.0, temperature_c - above_c))
    return min(1.0, max(0.0, share))


def continuous_power_w(rated_w: float, continuous_share: float, derate: float) -> float:
    """Return the power that a generator may be asked for hour after hour.

    Parameters
    ----------
    rated_w : float
        Rated power, W; zero or more.
    continuous_share : float
        Share of it for continuous use, 0 to 1; 0.8 is a common rule (from memory), ISO 8528-1 prime power averages 0.7.
    derate : float
        Share left at the site, 0 to 1; see `derate_share`.

    Returns
    -------
    float
        Power, W.

    Raises
    ------
    ValueError
        If a value is outside its range.
    """
    if not 0.0 <= rated_w < math.inf:
        raise ValueError(f"rated_w: got {rated_w!r}, allowed zero or more, finite")
    for name, share in (("continuous_share", continuous_share), ("derate", derate)):
        if not 0.0 <= share <= 1.0:
            raise ValueError(f"{name}: got {share!r}, allowed 0 to 1")
    return rated_w * continuous_share * derate


@dataclass(frozen=True, slots=True)
class FuelLine:
    """Fuel use as a straight line of load (Willans line): ``litres = a * kWh + b * hours``, whatever the load's course.

    Parameters
    ----------
    litre_per_kwh : float
        Fuel for each delivered kilowatt-hour, l/kWh; zero or more.
    litre_per_hour_no_load : float
        Fuel for each running hour, l/h; zero or more.

    Raises
    ------
    ValueError
        If a value is negative or not finite.
    """

    litre_per_kwh: float
    litre_per_hour_no_load: float

    def __post_init__(self) -> None:
        """Check the ranges."""
        for name in ("litre_per_kwh", "litre_per_hour_no_load"):
            if not 0.0 <= getattr(self, name) < math.inf:
                raise ValueError(f"{name}: got {getattr(self, name)!r}, allowed zero or more, finite")

    def litres(self, energy_kwh: float, hours: float) -> float:
        """Return the fuel for an energy delivered over a running time.

        Parameters
        ----------
        energy_kwh : float
            Energy delivered, kWh.
        hours : float
            Running time, h.

        Returns
        -------
        float
            Fuel, l.
        """
        return self.litre_per_kwh * energy_kwh + self.litre_per_hour_no_load * hours

    def litre_per_hour(self, load_w: float) -> float:
        """Return the rate of fuel use at a load.

        Parameters
        ----------
        load_w : float
            Delivered power, W.

        Returns
        -------
        float
            Fuel, l/h.
        """
        return self.litre_per_kwh * load_w / 1000.0 + self.litre_per_hour_no_load

    def seconds_to_use(self, fuel_l: float, load_w: float) -> float:
        """Return how long an amount of fuel lasts at a steady load.

        Parameters
        ----------
        fuel_l : float
            Fuel, l.
        load_w : float
            Delivered power, W.

        Returns
        -------
        float
            Time, s; infinite when nothing is used.
        """
        rate_l_per_h = self.litre_per_hour(load_w)
        return fuel_l / rate_l_per_h * 3600.0 if rate_l_per_h > 0.0 else math.inf


def fit_fuel_line(loads_w: Sequence[float], litres_per_hour: Sequence[float]) -> FuelLine:
    """Fit a fuel line to a part-load table by least squares.

    Parameters
    ----------
    loads_w : sequence of float
        Delivered powers, W, zero or more; at least two different ones; shape ``(n,)``.
    litres_per_hour : sequence of float
        Fuel use at each, l/h; shape ``(n,)``.

    Returns
    -------
    FuelLine
        Best line; through the origin when the best one would burn less than nothing at no load.

    Raises
    ------
    ValueError
        If the table is malformed, or fuel use does not grow with load.
    """
    load_kw = np.asarray(loads_w, dtype=np.float64) / 1000.0
    rate_l_per_h = np.asarray(litres_per_hour, dtype=np.float64)
    if load_kw.shape != rate_l_per_h.shape or load_kw.ndim != 1:
        raise ValueError(f"litres_per_hour: got shape {rate_l_per_h.shape}, allowed that of loads_w, {load_kw.shape}")
    if not (
        np.all((load_kw >= 0.0) & np.isfinite(load_kw)) and np.all((rate_l_per_h >= 0.0) & np.isfinite(rate_l_per_h))
    ):
        raise ValueError("loads_w, litres_per_hour: got a negative or infinite value, allowed zero or more, finite")
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

    Parameters
    ----------
    rated_w : float
        Rated power, W; above zero.
    fuel : {"diesel", "petrol"}
        Fuel.

    Returns
    -------
    FuelLine
        Fuel by delivered energy and running time.

    Raises
    ------
    ValueError
        If the rating is not above zero or the fuel is unknown.

    Notes
    -----
    Sources: diesel: ASABE D497 / EP496 in the form of R. Grisso (Virginia Tech), ``Q = (0.22 X + 0.096) P_rated`` l/h
    with X the share of rated power (constants from memory). Petrol: the older D497.4, ``2.74 X + 3.15 - 0.203
    sqrt(697 X)`` l/kWh (from memory), whose l/h at a quarter, half, three quarters and full load are fitted by a line.
    Both are for tractor engines at the PTO; alternator losses (about 10 %) are within their spread (assumption).
    """
    if not 0.0 < rated_w < math.inf:
        raise ValueError(f"rated_w: got {rated_w!r}, allowed above 0, finite")
    if fuel == "diesel":
        return FuelLine(0.22, 0.096 * rated_w / 1000.0)
    if fuel == "petrol":
        return fit_fuel_line(
            [share * rated_w for share in _PETROL_SHARES],
            [
                (2.74 * share + 3.15 - 0.203 * math.sqrt(697.0 * share)) * share * rated_w / 1000.0
                for share in _PETROL_SHARES
            ],
        )
    raise ValueError(f"fuel: got {fuel!r}, allowed 'diesel' or 'petrol'")
