"""Battery packs between flights: usable energy, wear, the charging temperature window, and cooling."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np

DEPTH_OF_DISCHARGE = (0.4, 0.6, 0.8, 1.0)
"""Depths of the published cycle-life table, as shares of the capacity."""

CYCLES_AT_DEPTH = (1000.0, 600.0, 400.0, 300.0)
"""Cycles to the end of life at each depth. Source: BU-808, table 2, as quoted on trade pages; packs used at a high rate
reach 200 to 300 cycles, so take these as the good case."""

END_OF_LIFE_SHARE = 0.7
"""Share of the first capacity at which that table's cycles end (from memory)."""

CHARGING_WINDOW_C = (0.0, 40.0)
"""Pack temperatures between which to charge, 32 to 104 F. Source: US Fire Administration and NFPA advice."""

_TEMPERATURE_C = (-20.0, 0.0, 20.0)
_TEMPERATURE_SHARE = (0.5, 0.8, 1.0)


def cycle_life(depth_of_discharge: float) -> float:
    """Return the number of cycles of one depth that a pack lasts.

    Parameters
    ----------
    depth_of_discharge : float
        Share of the capacity used in each cycle, above 0, at most 1.

    Returns
    -------
    float
        Cycles until `END_OF_LIFE_SHARE` of the capacity is left. Between the table's depths its logarithm is taken as
        linear; below the least depth the *energy* through the pack stays that of the least depth (assumption).

    Raises
    ------
    ValueError
        If the depth is out of range.

    Notes
    -----
    Source: BU-808, table 2: 100 % 300, 80 % 400, 60 % 600, 40 % 1000 cycles.
    """
    if not 0.0 < depth_of_discharge <= 1.0:
        raise ValueError(f"depth_of_discharge: got {depth_of_discharge!r}, allowed above 0, at most 1")
    if depth_of_discharge < DEPTH_OF_DISCHARGE[0]:
        return CYCLES_AT_DEPTH[0] * DEPTH_OF_DISCHARGE[0] / depth_of_discharge
    return math.exp(float(np.interp(depth_of_discharge, DEPTH_OF_DISCHARGE, np.log(CYCLES_AT_DEPTH))))


def life_used(cycles_at_depth: Mapping[float, float]) -> float:
    """Return the share of a pack's life that a mixed history of cycles has used.

    Parameters
    ----------
    cycles_at_depth : mapping of float to float
        Number of cycles, zero or more, by depth of discharge (share of the capacity).

    Returns
    -------
    float
        Sum of cycles over cycle life; 1 at the end of life, and more beyond it.

    Raises
    ------
    ValueError
        If a depth is out of range or a number of cycles is negative.

    Notes
    -----
    Assumption: wear adds up linearly (Palmgren-Miner rule), as is usual for want of better.
    """
    used = 0.0
    for depth, cycles in cycles_at_depth.items():
        if not 0.0 <= cycles < math.inf:
            raise ValueError(f"cycles at depth {depth!r}: got {cycles!r}, allowed zero or more, finite")
        used += cycles / cycle_life(depth)
    return used


def health_share(cycles: float, depth_of_discharge: float, end_of_life_share: float = END_OF_LIFE_SHARE) -> float:
    """Return the share of the first capacity that is left after cycles of one depth.

    Parameters
    ----------
    cycles : float
        Cycles done, zero or more.
    depth_of_discharge : float
        Share of the capacity used in each, above 0, at most 1.
    end_of_life_share : float
        Share left when the cycle life is over, above 0, at most 1.

    Returns
    -------
    float
        Health, 0 to 1; falls evenly with cycles (assumption), also beyond the end of life, and stops at 0.

    Raises
    ------
    ValueError
        If a value is out of range.
    """
    if not 0.0 < end_of_life_share <= 1.0:
        raise ValueError(f"end_of_life_share: got {end_of_life_share!r}, allowed above 0, at most 1")
    return max(0.0, 1.0 - (1.0 - end_of_life_share) * life_used({depth_of_discharge: cycles}))


def equivalent_full_cycles(energy_wh: float, capacity_wh: float) -> float:
    """Return energy through a pack as a number of full cycles.

    Parameters
    ----------
    energy_wh : float
        Energy charged (or used), Wh; zero or more.
    capacity_wh : float
        Energy of the full pack, Wh; above zero.

    Returns
    -------
    float
        Cycles.

    Raises
    ------
    ValueError
        If a value is out of range.
    """
    if not 0.0 <= energy_wh < math.inf:
        raise ValueError(f"energy_wh: got {energy_wh!r}, allowed zero or more, finite")
    if not 0.0 < capacity_wh < math.inf:
        raise ValueError(f"capacity_wh: got {capacity_wh!r}, allowed above 0, finite")
    return energy_wh / capacity_wh


def temperature_share(pack_temperature_c: float) -> float:
    """Return the share of the capacity that a pack gives at its temperature.

    Parameters
    ----------
    pack_temperature_c : float
        Pack temperature, degrees Celsius; -40 to 80.

    Returns
    -------
    float
        Share: 1 from 20 C up, 0.8 at 0 C, 0.5 at -20 C and below, linear between.

    Raises
    ------
    ValueError
        If the temperature is out of range.

    Notes
    -----
    Assumption, of the size of the rule that a lithium pack gives half at -18 C of what it gives at 27 C (from memory).
    """
    if not -40.0 <= pack_temperature_c <= 80.0:
        raise ValueError(f"pack_temperature_c: got {pack_temperature_c!r}, allowed -40 to 80")
    return float(np.interp(pack_temperature_c, _TEMPERATURE_C, _TEMPERATURE_SHARE))


def usable_energy_wh(
    capacity_wh: float, reserve_share: float, health: float = 1.0, charged_to: float = 1.0, temperature: float = 1.0
) -> float:
    """Return the energy that may be flown on a charge, with the reserve left in the pack.

    Parameters
    ----------
    capacity_wh : float
        Energy of the full new pack, Wh; above zero.
    reserve_share : float
        Share of the present capacity never used, 0 to 1; 0.2 by the usual 80 % rule.
    health : float
        Share of the first capacity left, 0 to 1; see `health_share`.
    charged_to : float
        State of charge at the start, 0 to 1.
    temperature : float
        Share of the capacity that the pack gives at its temperature, 0 to 1; see `temperature_share`.

    Returns
    -------
    float
        Energy, Wh; 0 when the charge does not reach above the reserve.

    Raises
    ------
    ValueError
        If a value is out of range.
    """
    if not 0.0 < capacity_wh < math.inf:
        raise ValueError(f"capacity_wh: got {capacity_wh!r}, allowed above 0, finite")
    for name, share in (
        ("reserve_share", reserve_share),
        ("health", health),
        ("charged_to", charged_to),
        ("temperature", temperature),
    ):
        if not 0.0 <= share <= 1.0:
            raise ValueError(f"{name}: got {share!r}, allowed 0 to 1")
    return capacity_wh * health * temperature * max(0.0, charged_to - reserve_share)


def may_charge(temperature_c: float, low_c: float = CHARGING_WINDOW_C[0], high_c: float = CHARGING_WINDOW_C[1]) -> bool:
    """Return whether a pack may be charged at its temperature.

    Parameters
    ----------
    temperature_c : float
        Pack temperature, degrees Celsius.
    low_c, high_c : float
        Window, degrees Celsius, ends included. Default 0 to 40: US Fire Administration and NFPA advice; many devices
        allow 45.

    Returns
    -------
    bool
        True inside the window.

    Raises
    ------
    ValueError
        If the window is empty.
    """
    if not low_c <= high_c:
        raise ValueError(f"high_c: got {high_c!r}, allowed at least low_c {low_c!r}")
    return low_c <= temperature_c <= high_c


def cooling_time_s(temp_after_c: float, ambient_c: float, limit_c: float, time_constant_s: float) -> float:
    """Return how long a pack cools until it may be charged.

    Parameters
    ----------
    temp_after_c : float
        Pack temperature after the flight, degrees Celsius.
    ambient_c : float
        Air (or cooler) temperature, degrees Celsius.
    limit_c : float
        Temperature to reach, degrees Celsius.
    time_constant_s : float
        Time in which the difference to ambient falls to 1/e, s; above zero.

    Returns
    -------
    float
        Time, s; 0 when cool enough already, infinite when ambient is not below the limit.

    Raises
    ------
    ValueError
        If the time constant is not above zero or a temperature is not finite.

    Notes
    -----
    Source: Newton's law of cooling, ``t = tau ln((T0 - Ta) / (T - Ta))``.
    """
    _check_cooling(temp_after_c, ambient_c, time_constant_s)
    if not math.isfinite(limit_c):
        raise ValueError(f"limit_c: got {limit_c!r}, allowed finite")
    if temp_after_c <= limit_c:
        return 0.0
    if ambient_c >= limit_c:
        return math.inf
    return time_constant_s * math.log((temp_after_c - ambient_c) / (limit_c - ambient_c))


def cooled_temperature_c(temp_after_c: float, ambient_c: float, seconds: float, time_constant_s: float) -> float:
    """Return the temperature of a pack that has rested for a time.

    Parameters
    ----------
    temp_after_c : float
        Pack temperature at the start, degrees Celsius.
    ambient_c : float
        Air (or cooler) temperature, degrees Celsius.
    seconds : float
        Rest, s; zero or more.
    time_constant_s : float
        Time in which the difference to ambient falls to 1/e, s; above zero.

    Returns
    -------
    float
        Temperature, degrees Celsius.

    Raises
    ------
    ValueError
        If the rest is negative, the time constant is not above zero or a temperature is not finite.
    """
    _check_cooling(temp_after_c, ambient_c, time_constant_s)
    if not seconds >= 0.0:
        raise ValueError(f"seconds: got {seconds!r}, allowed zero or more")
    return ambient_c + (temp_after_c - ambient_c) * math.exp(-seconds / time_constant_s)


def _check_cooling(temp_after_c: float, ambient_c: float, time_constant_s: float) -> None:
    """Refuse temperatures that are not finite and a time constant that is not above zero."""
    if not (math.isfinite(temp_after_c) and math.isfinite(ambient_c)):
        raise ValueError(f"temp_after_c, ambient_c: got {temp_after_c!r}, {ambient_c!r}, allowed finite")
    if not 0.0 < time_constant_s < math.inf:
        raise ValueError(f"time_constant_s: got {time_constant_s!r}, allowed above 0, finite")
