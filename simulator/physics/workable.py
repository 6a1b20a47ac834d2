"""Stretches of workable hours, and the sun's elevation, which tells daylight."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]


def windows_s(workable: ArrayLike) -> list[tuple[float, float]]:
    """Return start and end of each stretch of workable hours, in seconds after the first hour began."""
    flags = np.asarray(workable, dtype=np.bool_)
    edges = np.diff(np.concatenate(([0], flags.astype(np.int8), [0])))
    starts, ends = np.flatnonzero(edges == 1).tolist(), np.flatnonzero(edges == -1).tolist()
    return [(first * 3600.0, last * 3600.0) for first, last in zip(starts, ends, strict=True)]


def solar_elevation_deg(
    day_of_year: ArrayLike,
    clock_s: ArrayLike,
    latitude_deg: float,
    longitude_deg: float,
    utc_offset_h: float,
) -> FloatArray:
    """Return the sun's elevation above the horizon, without refraction, in the common shape of day and clock.

    NOAA Global Monitoring Laboratory, "General Solar Position Calculations" (Spencer's series for declination and
    equation of time; coefficients from memory); good to about half a degree. Day 1 is the first of January, the clock
    local standard time; north and east are positive.
    """
    hour = np.asarray(clock_s, dtype=np.float64) / 3600.0
    year_rad = 2.0 * math.pi / 365.0 * (np.asarray(day_of_year, dtype=np.float64) - 1.0 + (hour - 12.0) / 24.0)
    equation_min = 229.18 * (
        0.000075
        + 0.001868 * np.cos(year_rad)
        - 0.032077 * np.sin(year_rad)
        - 0.014615 * np.cos(2 * year_rad)
        - 0.040849 * np.sin(2 * year_rad)
    )
    declination_rad = (
        0.006918
        - 0.399912 * np.cos(year_rad)
        + 0.070257 * np.sin(year_rad)
        - 0.006758 * np.cos(2 * year_rad)
        + 0.000907 * np.sin(2 * year_rad)
        - 0.002697 * np.cos(3 * year_rad)
        + 0.00148 * np.sin(3 * year_rad)
    )
    solar_min = 60.0 * hour + equation_min + 4.0 * longitude_deg - 60.0 * utc_offset_h
    hour_angle_rad = np.radians(solar_min / 4.0 - 180.0)
    latitude_rad = math.radians(latitude_deg)
    sine = math.sin(latitude_rad) * np.sin(declination_rad)
    sine = sine + math.cos(latitude_rad) * np.cos(declination_rad) * np.cos(hour_angle_rad)
    result: FloatArray = np.degrees(np.arcsin(np.clip(sine, -1.0, 1.0)))
    return result
