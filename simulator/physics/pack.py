"""Battery packs between flights: wear, cold and cooling."""

from __future__ import annotations

import math

import numpy as np

DEPTH_OF_DISCHARGE = (0.4, 0.6, 0.8, 1.0)
"""Depths of the published cycle-life table, as shares of the capacity."""

CYCLES_AT_DEPTH = (1000.0, 600.0, 400.0, 300.0)
"""Cycles to the end of life at each depth. Source: BU-808, table 2, as quoted on trade pages; packs used at a high rate
reach 200 to 300 cycles, so take these as the good case."""

END_OF_LIFE_SHARE = 0.7
"""Share of the first capacity at which that table's cycles end (from memory)."""

_TEMPERATURE_C = (-20.0, 0.0, 20.0)
_TEMPERATURE_SHARE = (0.5, 0.8, 1.0)


def cycle_life(depth_of_discharge: float) -> float:
    """Return the cycles of one depth that a pack lasts, until `END_OF_LIFE_SHARE` of the capacity is left.

    Source: BU-808, table 2: 100 % 300, 80 % 400, 60 % 600, 40 % 1000 cycles. Between the table's depths its logarithm
    is taken as linear; below the least depth the *energy* through the pack stays that of the least depth (assumption).
    """
    if depth_of_discharge < DEPTH_OF_DISCHARGE[0]:
        return CYCLES_AT_DEPTH[0] * DEPTH_OF_DISCHARGE[0] / depth_of_discharge
    return math.exp(float(np.interp(depth_of_discharge, DEPTH_OF_DISCHARGE, np.log(CYCLES_AT_DEPTH))))


def health_share(cycles: float, depth_of_discharge: float) -> float:
    """Return the share of the first capacity left after cycles of one depth.

    It falls evenly with cycles (assumption), also beyond the end of life, and stops at 0.
    """
    return max(0.0, 1.0 - (1.0 - END_OF_LIFE_SHARE) * (cycles / cycle_life(depth_of_discharge)))


def temperature_share(pack_temperature_c: float) -> float:
    """Return the share of its capacity that a pack gives: 1 from 20 C up, 0.8 at 0, 0.5 from -20 down, linear between.

    Assumption, of the size of the rule that a lithium pack gives half at -18 C of what it gives at 27 C (from memory).
    """
    return float(np.interp(pack_temperature_c, _TEMPERATURE_C, _TEMPERATURE_SHARE))


def cooling_time_s(temp_after_c: float, ambient_c: float, limit_c: float, time_constant_s: float) -> float:
    """Return how long a pack cools to a limit: Newton's law of cooling, ``t = tau ln((T0 - Ta) / (T - Ta))``.

    0 when cool enough already, infinite when ambient is not below the limit.
    """
    if temp_after_c <= limit_c:
        return 0.0
    if ambient_c >= limit_c:
        return math.inf
    return time_constant_s * math.log((temp_after_c - ambient_c) / (limit_c - ambient_c))
