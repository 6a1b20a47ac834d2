"""Wet-bulb temperature and delta T against Stull (2011) and the values worked out from its formula."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.wet_bulb import delta_t_c, wet_bulb_c


def test_papers_own_example():
    """Stull 2011: 20 degC and 50 % give 13.7 degC (from memory)."""
    assert float(wet_bulb_c(20.0, 50.0)) == pytest.approx(13.7, abs=0.05)


@pytest.mark.parametrize(
    ("temperature_c", "humidity", "wet_c", "delta_c"),
    [
        (20, 50, 13.699, 6.30),
        (30, 50, 22.297, 7.70),
        (25, 40, 16.384, 8.62),
        (28, 45, 19.721, 8.28),
        (30, 30, 18.368, 11.63),
        (15, 90, 13.845, 1.16),
        (20, 80, 17.529, 2.47),
    ],
)
def test_values(temperature_c, humidity, wet_c, delta_c):
    """Own arithmetic on Stull's formula; a web page that prints 21.92 for 30 degC and 50 % is wrong."""
    assert float(wet_bulb_c(temperature_c, humidity)) == pytest.approx(wet_c, abs=0.0005)
    assert float(delta_t_c(temperature_c, humidity)) == pytest.approx(delta_c, abs=0.006)


def psychrometer_c(temperature_c, humidity):
    """Return the wet bulb by the psychrometer equation at 1013.25 hPa (constants of Magnus form; from memory)."""

    def saturation_hpa(t):
        return 6.112 * math.exp(17.62 * t / (243.12 + t))

    vapour = humidity / 100 * saturation_hpa(temperature_c)
    low, high = temperature_c - 40.0, float(temperature_c)
    for _ in range(60):
        middle = 0.5 * (low + high)
        balance = saturation_hpa(middle) - 6.62e-4 * 1013.25 * (1 + 0.000944 * middle) * (temperature_c - middle)
        low, high = (middle, high) if balance < vapour else (low, middle)
    return 0.5 * (low + high)


@pytest.mark.parametrize("temperature_c", [5, 15, 25, 35])
@pytest.mark.parametrize("humidity", [20, 50, 80, 95])
def test_within_stated_error_of_the_psychrometer(temperature_c, humidity):
    """Stull states an error from -1 to +0.65 degC; the psychrometer equation is another route to the wet bulb."""
    error = float(wet_bulb_c(temperature_c, humidity)) - psychrometer_c(temperature_c, humidity)
    assert -1.1 < error < 0.75


@given(st.floats(-20, 50), st.floats(0, 100))
def test_never_above_the_air(temperature_c, humidity):
    assert float(delta_t_c(temperature_c, humidity)) >= 0.0


def test_shapes_and_outside_the_formula():
    grid = wet_bulb_c(np.array([[10.0], [20.0]]), np.array([30.0, 60.0, 100.0]))
    assert grid.shape == (2, 3)
    assert grid[0, 2] == pytest.approx(float(wet_bulb_c(10.0, 99.0)))
    assert np.isnan(wet_bulb_c([-30.0, 60.0, math.nan], 50.0)).all()
    assert np.isnan(wet_bulb_c(20.0, math.nan))
