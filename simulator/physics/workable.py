"""Hours in which spraying is allowed: wind, delta T, temperature, rain and daylight.

A temperature inversion is not among the limits: it cannot be told from hourly surface records. Calm air near sunrise
and sunset is when to look for one, which is why a least wind speed stands here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.physics.wet_bulb import delta_t_c

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


@dataclass(frozen=True)
class WorkLimits:
    """Weather in which work goes on; every limit itself is allowed, and None is no limit. Rain is that of an hour."""

    wind_least_m_per_s: float | None
    wind_most_m_per_s: float | None
    delta_t_least_c: float | None
    delta_t_most_c: float | None
    temperature_least_c: float | None
    temperature_most_c: float | None
    rain_most_mm: float | None
    daylight_only: bool

    def __post_init__(self) -> None:
        pairs = (
            ("wind_most_m_per_s", self.wind_least_m_per_s, self.wind_most_m_per_s),
            ("delta_t_most_c", self.delta_t_least_c, self.delta_t_most_c),
            ("temperature_most_c", self.temperature_least_c, self.temperature_most_c),
        )
        for name, least, most in pairs:
            if least is not None and most is not None and not most >= least:
                raise ValueError(f"got {name} = {most!r}; allowed is at least the lower limit {least!r}")


def workable_hours(
    wind_m_per_s: ArrayLike,
    temperature_c: ArrayLike,
    humidity_percent: ArrayLike,
    rain_mm: ArrayLike,
    daylight: ArrayLike,
    limits: WorkLimits,
) -> BoolArray:
    """Return in which hours all limits hold; NaN is unknown and breaks any limit set on it. All of shape (n,)."""
    good = np.asarray(daylight, dtype=np.bool_) | (not limits.daylight_only)
    for weather, least, most in (
        (wind_m_per_s, limits.wind_least_m_per_s, limits.wind_most_m_per_s),
        (temperature_c, limits.temperature_least_c, limits.temperature_most_c),
        (rain_mm, None, limits.rain_most_mm),
        (delta_t_c(temperature_c, humidity_percent), limits.delta_t_least_c, limits.delta_t_most_c),
    ):
        values = np.asarray(weather, dtype=np.float64)
        if least is not None:
            good = good & (values >= least)
        if most is not None:
            good = good & (values <= most)
    return good


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
