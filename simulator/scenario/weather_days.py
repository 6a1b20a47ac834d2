"""From an hourly weather file to the hours of each date in which take-offs are allowed."""

from __future__ import annotations

import numpy as np

from simulator.errors import InputError, Problem
from simulator.physics.workable import WorkLimits, solar_elevation_deg, windows_s, workable_hours
from simulator.scenario.files import CSV, ScenarioFolder
from simulator.scenario.schema import Scenario
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
    try:
        limits = WorkLimits(
            table.wind_least, table.wind_most, table.delta_t_least, table.delta_t_most,
            table.temperature_least, table.temperature_most, table.rain_most, table.daylight_only,
        )  # fmt: skip
    except ValueError as error:
        raise InputError.single(str(error), "weather.file") from error
    notes = [Problem("weather.file", text, path.name) for text in record.notes]
    place = (record.latitude_deg, record.longitude_deg, record.utc_offset_h)
    if table.daylight_only and None in place:
        notes.append(
            Problem(
                "weather.file.daylight_only",
                "the file does not say the place, so dark hours are not taken off",
                path.name,
            )
        )
    days = []
    for date in record.whole_days():
        if date.month not in table.months:
            continue
        hours = record.on(date)
        allowed = workable_hours(
            hours.wind_m_per_s, hours.temperature_c, hours.humidity_percent, hours.rain_mm, _daylight(hours), limits
        )
        days.append(tuple((start - scenario.day.start, end - scenario.day.start) for start, end in windows_s(allowed)))
    if not days:
        raise InputError.single(f"holds no whole day of the months {table.months}", "weather.file.months", str(path))
    return tuple(days), tuple(notes)


def _daylight(hours: HourlyWeather) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
    if hours.latitude_deg is None or hours.longitude_deg is None or hours.utc_offset_h is None:
        return np.ones(len(hours), dtype=np.bool_)
    middle = hours.clock_s() + 1800.0
    elevation = solar_elevation_deg(
        hours.day_of_year(), middle, hours.latitude_deg, hours.longitude_deg, hours.utc_offset_h
    )
    return np.asarray(elevation > 0.0)
