"""Air density against the US Standard Atmosphere 1976."""

import numpy as np
import pytest

from simulator.physics import air


def standard_density(altitude_m):
    """Return the model's density at the standard temperature, T = 288.15 - 0.0065 h (US Standard Atmosphere 1976)."""
    return air.density_kg_per_m3(altitude_m, 15.0 - 0.0065 * altitude_m)


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
    assert standard_density(altitude_m) == pytest.approx(density, abs=2e-5)


@pytest.mark.parametrize(("altitude_ft", "slug_per_ft3"), [(0, 23.77e-4), (5000, 20.48e-4), (10000, 17.56e-4)])
def test_standard_density_table_in_slugs(altitude_ft, slug_per_ft3):
    # Published engineering table of the standard atmosphere, four digits; 1 slug/ft3 = 515.379 kg/m3.
    density = standard_density(altitude_ft * 0.3048) / 515.379
    assert density == pytest.approx(slug_per_ft3, abs=0.01e-4)


def test_hot_day():
    # Ideal gas, 300 m and 35 C: 1.1053 kg/m3.
    assert air.density_kg_per_m3(300.0, 35.0) == pytest.approx(1.1053, abs=5e-5)


def test_pressure_is_hydrostatic():
    # dp/dh = -rho g, with g = 9.80665: an equation that the two formulas must satisfy together.
    height_m = np.linspace(0.0, 4000.0, 9)
    slope = (air.standard_pressure_pa(height_m + 0.5) - air.standard_pressure_pa(height_m - 0.5)) / 1.0
    np.testing.assert_allclose(slope, -9.80665 * standard_density(height_m), rtol=2e-4)
