"""Air density against the US Standard Atmosphere 1976."""

import numpy as np
import pytest

from simulator.physics import air


@pytest.mark.parametrize(
    ("altitude_m", "density"),
    [
        # US Standard Atmosphere 1976, rho = 1.225 (1 - 0.0065 h / 288.15)^4.255876, re-computed.
        (0.0, 1.22500),
        (500.0, 1.16727),
        (1000.0, 1.11164),
        (1500.0, 1.05807),
        (2000.0, 1.00649),
        (2500.0, 0.95686),
        (3000.0, 0.90912),
    ],
)
def test_standard_density(altitude_m, density):
    assert air.standard_density_kg_per_m3(altitude_m) == pytest.approx(density, abs=5e-6)


@pytest.mark.parametrize(("altitude_ft", "slug_per_ft3"), [(0, 23.77e-4), (5000, 20.48e-4), (10000, 17.56e-4)])
def test_standard_density_table_in_slugs(altitude_ft, slug_per_ft3):
    # Published engineering table of the standard atmosphere, four digits; 1 slug/ft3 = 515.379 kg/m3.
    density = air.standard_density_kg_per_m3(altitude_ft * 0.3048) / 515.379
    assert density == pytest.approx(slug_per_ft3, abs=0.01e-4)


def test_hot_day():
    # Ideal gas, 300 m and 35 C: 1.1053 kg/m3.
    assert air.density_kg_per_m3(300.0, 35.0) == pytest.approx(1.1053, abs=5e-5)


@pytest.mark.parametrize("altitude_m", [0.0, 800.0, 3000.0])
def test_standard_temperature_gives_standard_density(altitude_m):
    # The two routes agree: T = 288.15 - 0.0065 h, US Standard Atmosphere 1976.
    celsius = 288.15 - 0.0065 * altitude_m - 273.15
    assert air.density_kg_per_m3(altitude_m, celsius) == pytest.approx(
        air.standard_density_kg_per_m3(altitude_m), rel=1e-5
    )


def test_pressure_is_hydrostatic():
    # dp/dh = -rho g, with g = 9.80665: an equation that the two formulas must satisfy together.
    height_m = np.linspace(0.0, 4000.0, 9)
    slope = (air.standard_pressure_pa(height_m + 0.5) - air.standard_pressure_pa(height_m - 0.5)) / 1.0
    np.testing.assert_allclose(slope, -9.80665 * air.standard_density_kg_per_m3(height_m), rtol=2e-4)


def test_arrays_keep_their_shape():
    heights = np.array([[0.0, 500.0], [1000.0, 1500.0]])
    assert air.standard_density_kg_per_m3(heights).shape == (2, 2)
    assert air.density_kg_per_m3(heights, 20.0)[1, 1] == air.density_kg_per_m3(1500.0, 20.0)


@pytest.mark.parametrize("altitude_m", [-2000.0, 12000.0, float("nan")])
def test_altitude_outside_the_troposphere_is_refused(altitude_m):
    with pytest.raises(ValueError, match="altitude_m: got"):
        air.standard_density_kg_per_m3(altitude_m)


@pytest.mark.parametrize("celsius", [-80.0, 95.0, float("nan")])
def test_temperature_out_of_range_is_refused(celsius):
    with pytest.raises(ValueError, match="air_temperature_c: got"):
        air.density_kg_per_m3(0.0, celsius)
