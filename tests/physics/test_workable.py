"""Workable hours, windows and the sun's elevation."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.workable import solar_elevation_deg, windows_s
from simulator.scenario.schema_weather import WeatherFile
from simulator.scenario.weather_days import workable_hours

GOOD = {"wind_m_per_s": 2.5, "temperature_c": 20.0, "humidity_percent": 60.0, "rain_mm": 0.0, "daylight": True}
LIMITS = WeatherFile(path="a file")


def allowed(limits=LIMITS, **changes):
    weather = {key: [value] for key, value in {**GOOD, **changes}.items()}
    return bool(workable_hours(**weather, limits=limits)[0])


@pytest.mark.parametrize(
    ("changes", "expected"),
    [
        ({}, True),
        ({"wind_m_per_s": 3 * 0.44704}, True),  # labels and extension: 3 to 10 mph
        ({"wind_m_per_s": 2.9 * 0.44704}, False),
        ({"wind_m_per_s": 10 * 0.44704}, True),
        ({"wind_m_per_s": 10.1 * 0.44704}, False),
        ({"temperature_c": 28.0}, True),  # weather service: avoid above 28 degC
        ({"temperature_c": 28.1}, False),
        ({"temperature_c": -1.0, "humidity_percent": 20.0}, False),
        ({"temperature_c": 27.0, "humidity_percent": 30.0}, False),  # delta T above 10
        ({"temperature_c": 15.0, "humidity_percent": 90.0}, False),  # delta T 1.16, below 2
        ({"rain_mm": 0.2}, False),
        ({"daylight": False}, False),
        ({"wind_m_per_s": math.nan}, False),
        ({"temperature_c": math.nan}, False),
        ({"rain_mm": math.nan}, False),
    ],
)
def test_limits(changes, expected):
    assert allowed(**changes) is expected


def test_no_limit():
    limits = [f"{name}_{end}" for name in ("wind", "delta_t", "temperature") for end in ("least", "most")]
    free = WeatherFile(path="a file", rain_most=None, daylight_only=False, **dict.fromkeys(limits))
    assert allowed(free, wind_m_per_s=40.0, temperature_c=-50.0, rain_mm=30.0, daylight=False)
    assert allowed(free, wind_m_per_s=math.nan, humidity_percent=math.nan)


@pytest.mark.parametrize("limit", [{"wind_least": "5 m/s"}, {"delta_t_least": 11.0}, {"temperature_least": "30 degC"}])
def test_impossible_limits_are_refused(limit):
    with pytest.raises(ValueError, match="allowed is"):
        WeatherFile(path="a file", **limit)


def test_windows():
    hours = [0, 1, 1, 0, 0, 1, 0, 1]
    assert windows_s(hours) == [(3600, 10800), (18000, 21600), (25200, 28800)]
    assert windows_s([]) == []
    assert windows_s([1, 1]) == [(0, 7200)]


@given(st.lists(st.booleans(), max_size=60))
def test_windows_hold_every_workable_hour_once(hours):
    spans = windows_s(hours)
    inside = [any(begin <= 3600 * h and 3600 * (h + 1) <= end for begin, end in spans) for h in range(len(hours))]
    assert inside == hours
    assert sum(end - begin for begin, end in spans) == 3600 * sum(hours)
    assert all(first[1] < second[0] for first, second in itertools.pairwise(spans))


def highest(day, latitude, longitude=0.0, offset=0.0):
    clock_s = np.arange(0, 86400, 60.0)
    elevation = solar_elevation_deg(day, clock_s, latitude, longitude, offset)
    return float(elevation.max()), float(clock_s[elevation.argmax()])


@pytest.mark.parametrize(
    ("day", "declination_deg"),
    [(79.5, 0.0), (172, 23.44), (265.5, 0.0), (355, -23.44)],
)
@pytest.mark.parametrize("latitude", [0.0, 40.0, -35.0])
def test_noon_elevation(day, declination_deg, latitude):
    """At noon the sun stands 90 degrees less the distance of latitude and declination; 23.44 at the solstices."""
    assert highest(day, latitude)[0] == pytest.approx(90 - abs(latitude - declination_deg), abs=0.6)


@pytest.mark.parametrize(("day", "minutes"), [(42, -14.2), (134, 3.7), (207, -6.5), (307, 16.4)])
def test_equation_of_time(day, minutes):
    """The four extremes of the equation of time (sundial ahead of the clock: earlier noon); from memory."""
    assert highest(day, 40.0)[1] == pytest.approx(12 * 3600 - 60 * minutes, abs=45)


def test_place_and_clock():
    """Fifteen degrees west delay noon by an hour, and so does a clock an hour ahead."""
    noon_s = highest(100, 40.0)[1]
    assert highest(100, 40.0, longitude=-15.0)[1] == pytest.approx(noon_s + 3600, abs=61)
    assert highest(100, 40.0, offset=1.0)[1] == pytest.approx(noon_s + 3600, abs=61)
    assert highest(100, 40.0, longitude=-90.0, offset=-6.0)[1] == pytest.approx(noon_s, abs=61)


def test_day_length_at_the_equator_and_beyond_the_polar_circle():
    clock_s = np.arange(0, 86400, 60.0)
    assert (solar_elevation_deg(100, clock_s, 0.0, 0.0, 0.0) > 0).mean() == pytest.approx(0.5, abs=0.002)
    assert (solar_elevation_deg(172, clock_s, 75.0, 0.0, 0.0) > 0).all()
    assert not (solar_elevation_deg(355, clock_s, 75.0, 0.0, 0.0) > 0).any()
