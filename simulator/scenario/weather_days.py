"""From an hourly weather file to the hours of each date in which take-offs are allowed."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.errors import InputError, Problem
from simulator.physics.wet_bulb import delta_t_c
from simulator.physics.workable import solar_elevation_deg, windows_s
from simulator.scenario.files import CSV, ScenarioFolder
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_weather import WeatherFile
from simulator.scenario.weather_file import HourlyWeather, read_weather

Windows = tuple[tuple[float, float], ...]
"""Stretches (s after the day's start) in which take-offs are allowed."""


def weather_days(scenario: Scenario, folder: ScenarioFolder) -> tuple[tuple[Windows, ...] | None, tuple[Problem, ...]]:
    """Return the workable stretches of every date that a simulated day may take, and notes on the file."""
    table = scenario.weather.file
    if table is None:
        return None, ()
    path = folder.file(table.path, CSV)
    record = read_weather(path, table.columns, table.column_units)
    notes = [Problem("weather.file", text, path.name) for text in record.notes]
    if table.daylight_only and None in (record.latitude_deg, record.longitude_deg, record.utc_offset_h):
        text = "the file does not say the place, so dark hours are not taken off"
        notes.append(Problem("weather.file.daylight_only", text, path.name))
    start = scenario.day.start
    days = [
        tuple((begin - start, end - start) for begin, end in workable_spans_s(record, day, table))
        for day in record.whole_days()
        if day.month in table.months
    ]
    if not days:
        raise InputError.single(f"holds no whole day of the months {table.months}", "weather.file.months", str(path))
    return tuple(days), tuple(notes)


def workable_hours(
    wind_m_per_s: ArrayLike,
    temperature_c: ArrayLike,
    humidity_percent: ArrayLike,
    rain_mm: ArrayLike,
    daylight: ArrayLike,
    limits: WeatherFile,
) -> NDArray[np.bool_]:
    """Return in which hours all limits hold; NaN is unknown and breaks any limit set on it. All of shape (n,)."""
    good = np.asarray(daylight, dtype=np.bool_) | (not limits.daylight_only)
    for weather, least, most in (
        (wind_m_per_s, limits.wind_least, limits.wind_most),
        (temperature_c, limits.temperature_least, limits.temperature_most),
        (rain_mm, None, limits.rain_most),
        (delta_t_c(temperature_c, humidity_percent), limits.delta_t_least, limits.delta_t_most),
    ):
        values = np.asarray(weather, dtype=np.float64)
        if least is not None:
            good = good & (values >= least)
        if most is not None:
            good = good & (values <= most)
    return good


def workable_spans_s(record: HourlyWeather, day: date, limits: WeatherFile) -> Sequence[tuple[float, float]]:
    """Return the stretches of a date in which take-offs are allowed, s after midnight."""
    hours = record.on(day)
    daylight = np.ones(len(hours), dtype=np.bool_)
    if hours.latitude_deg is not None and hours.longitude_deg is not None and hours.utc_offset_h is not None:
        middle = hours.clock_s() + 1800.0
        elevation = solar_elevation_deg(
            hours.day_of_year(), middle, hours.latitude_deg, hours.longitude_deg, hours.utc_offset_h
        )
        daylight = np.asarray(elevation > 0.0)
    weather = (hours.wind_m_per_s, hours.temperature_c, hours.humidity_percent, hours.rain_mm)
    return windows_s(workable_hours(*weather, daylight, limits))
