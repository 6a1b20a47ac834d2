"""Packs: wear, cold and cooling."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simulator.physics.pack import cooling_time_s, cycle_life, health_share, temperature_share


class TestWear:
    @pytest.mark.parametrize(("depth", "cycles"), [(1.0, 300.0), (0.8, 400.0), (0.6, 600.0), (0.4, 1000.0)])
    def test_published_cycle_life(self, depth, cycles):
        # BU-808, table 2, as quoted on trade pages.
        assert cycle_life(depth) == pytest.approx(cycles)

    def test_between_and_below_the_table(self):
        # Geometric mean half-way between two depths; the energy of 40 % cycles below them (assumptions of the model).
        assert cycle_life(0.9) == pytest.approx(math.sqrt(300.0 * 400.0))
        assert cycle_life(0.1) == pytest.approx(4000.0)

    @given(st.floats(0.01, 1.0), st.floats(0.01, 1.0))
    def test_deeper_cycles_never_last_longer(self, a, b):
        shallow, deep = sorted((a, b))
        assert cycle_life(deep) <= cycle_life(shallow) * (1.0 + 1e-12)

    def test_health_ends_at_seventy_per_cent(self):
        # The table's end of life: 70 % of the capacity (from memory).
        assert health_share(0.0, 0.8) == 1.0
        assert health_share(400.0, 0.8) == pytest.approx(0.7)
        assert health_share(200.0, 0.8) == pytest.approx(0.85)
        assert health_share(1e6, 1.0) == 0.0


def test_cold_takes_energy():
    # Rule from memory: half at -18 C of what there is at 27 C.
    assert temperature_share(-18.0) / temperature_share(27.0) == pytest.approx(0.5, abs=0.05)
    assert temperature_share(20.0) == temperature_share(45.0) == 1.0
    assert temperature_share(10.0) == pytest.approx(0.9)


class TestCooling:
    def test_by_hand(self):
        # Newton's law: 60 C to 40 C in air of 20 C halves the difference: tau ln 2.
        assert cooling_time_s(60.0, 20.0, 40.0, 900.0) == pytest.approx(900.0 * math.log(2.0))

    def test_edges(self):
        assert cooling_time_s(39.0, 20.0, 40.0, 900.0) == 0.0
        assert cooling_time_s(39.0, 45.0, 40.0, 900.0) == 0.0
        assert cooling_time_s(60.0, 40.0, 40.0, 900.0) == math.inf

    def test_against_numerical_integration(self):
        # Outside reference: scipy's solver on dT/dt = -(T - Ta) / tau.
        seconds = cooling_time_s(58.0, 22.0, 40.0, 700.0)
        solution = solve_ivp(lambda _, t: [-(t[0] - 22.0) / 700.0], (0.0, seconds), [58.0], rtol=1e-9, atol=1e-9)
        assert solution.y[0, -1] == pytest.approx(40.0, rel=1e-7)
