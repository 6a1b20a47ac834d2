"""Wet-bulb temperature and delta T, the dryness of the air that decides how fast droplets evaporate."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def wet_bulb_c(temperature_c: ArrayLike, humidity_percent: ArrayLike) -> FloatArray:
    """Return the wet-bulb temperature at sea-level pressure, from -20 to 50 degC; NaN outside or where an input is NaN.

    Stull (2011), "Wet-bulb temperature from relative humidity and air temperature", J. Appl. Meteor. Climatol.
    50:2267-2269; error from -1 to +0.65 degC. The formula holds for a humidity of 5 to 99 percent, and values beyond
    are taken as those. The result, in the common shape, is never above the air temperature.
    """
    T, given = np.broadcast_arrays(
        np.asarray(temperature_c, dtype=np.float64), np.asarray(humidity_percent, dtype=np.float64)
    )
    RH = np.clip(given, 5.0, 99.0)
    wet = (
        T * np.arctan(0.151977 * np.sqrt(RH + 8.313659))
        + np.arctan(T + RH)
        - np.arctan(RH - 1.676331)
        + 0.00391838 * RH**1.5 * np.arctan(0.023101 * RH)
        - 4.686035
    )
    valid = (T >= -20.0) & (T <= 50.0)
    result: FloatArray = np.where(valid, np.minimum(wet, T), np.nan)
    return result


def delta_t_c(temperature_c: ArrayLike, humidity_percent: ArrayLike) -> FloatArray:
    """Return delta T, the dry-bulb less the wet-bulb temperature; at least 0, NaN where `wet_bulb_c` is."""
    result: FloatArray = np.asarray(temperature_c, dtype=np.float64) - wet_bulb_c(temperature_c, humidity_percent)
    return result
