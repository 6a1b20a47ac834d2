"""Packs: wear, usable energy, charging window and cooling."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simulator.physics.pack import (
    cooled_temperature_c,
    cooling_time_s,
    cycle_life,
    equivalent_full_cycles,
    health_share,
    life_used,
    may_charge,
    temperature_share,
    usable_energy_wh,
)


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
        assert health_share(300.0, 1.0, end_of_life_share=0.8) == pytest.approx(0.8)
        assert health_share(1e6, 1.0) == 0.0

    def test_mixed_history_adds_up(self):
        # Linear damage rule by hand: 100 of 300 and 300 of 600.
        assert life_used({1.0: 100.0, 0.6: 300.0}) == pytest.approx(1.0 / 3.0 + 0.5)
        assert life_used({}) == 0.0

    def test_full_cycles(self):
        # Twelve charges from 30 to 95 % of 1500 Wh.
        assert equivalent_full_cycles(12 * 0.65 * 1500.0, 1500.0) == pytest.approx(7.8)

    def test_refusals(self):
        for depth in (0.0, 1.1, math.nan):
            with pytest.raises(ValueError, match="depth_of_discharge: got"):
                cycle_life(depth)
        with pytest.raises(ValueError, match="cycles at depth"):
            health_share(-1.0, 0.8)
        with pytest.raises(ValueError, match="end_of_life_share: got"):
            health_share(1.0, 0.8, 0.0)
        with pytest.raises(ValueError, match="energy_wh: got"):
            equivalent_full_cycles(-1.0, 100.0)
        with pytest.raises(ValueError, match="capacity_wh: got"):
            equivalent_full_cycles(1.0, 0.0)


class TestUsableEnergy:
    def test_eighty_per_cent_rule(self):
        # Published practice: land with at least 20 % left.
        assert usable_energy_wh(1500.0, 0.2) == pytest.approx(1200.0)

    def test_all_factors(self):
        # By hand: 1500 * 0.9 * 0.8 * (0.95 - 0.2).
        assert usable_energy_wh(1500.0, 0.2, health=0.9, charged_to=0.95, temperature=0.8) == pytest.approx(810.0)
        assert usable_energy_wh(1500.0, 0.2, charged_to=0.15) == 0.0

    def test_cold_takes_energy(self):
        # Rule from memory: half at -18 C of what there is at 27 C.
        assert temperature_share(-18.0) / temperature_share(27.0) == pytest.approx(0.5, abs=0.05)
        assert temperature_share(20.0) == temperature_share(45.0) == 1.0
        assert temperature_share(10.0) == pytest.approx(0.9)

    @pytest.mark.parametrize(
        ("values", "name"),
        [
            ({"capacity_wh": 0.0}, "capacity_wh"),
            ({"reserve_share": 1.2}, "reserve_share"),
            ({"health": -0.1}, "health"),
            ({"charged_to": 95.0}, "charged_to"),
            ({"temperature": math.nan}, "temperature"),
        ],
    )
    def test_refusals(self, values, name):
        with pytest.raises(ValueError, match=f"{name}: got"):
            usable_energy_wh(**({"capacity_wh": 1000.0, "reserve_share": 0.2} | values))

    def test_impossible_temperature(self):
        with pytest.raises(ValueError, match="pack_temperature_c: got"):
            temperature_share(150.0)


class TestChargingTemperature:
    @pytest.mark.parametrize(
        ("celsius", "allowed"),
        [(-0.1, False), (0.0, True), (25.0, True), (40.0, True), (40.1, False), (math.nan, False)],
    )
    def test_fire_administration_window(self, celsius, allowed):
        # US Fire Administration and NFPA: do not charge below 0 C or above 40 C.
        assert may_charge(celsius) is allowed

    def test_other_window(self):
        # Usual device limit 0 to 45 C.
        assert may_charge(43.0, high_c=45.0)
        with pytest.raises(ValueError, match="high_c: got"):
            may_charge(20.0, 10.0, 5.0)


class TestCooling:
    def test_by_hand(self):
        # Newton's law: 60 C to 40 C in air of 20 C halves the difference: tau ln 2.
        assert cooling_time_s(60.0, 20.0, 40.0, 900.0) == pytest.approx(900.0 * math.log(2.0))

    def test_edges(self):
        assert cooling_time_s(39.0, 20.0, 40.0, 900.0) == 0.0
        assert cooling_time_s(39.0, 45.0, 40.0, 900.0) == 0.0
        assert cooling_time_s(60.0, 40.0, 40.0, 900.0) == math.inf

    @given(st.floats(41.0, 70.0), st.floats(-5.0, 39.0), st.floats(60.0, 3600.0))
    def test_after_the_time_the_limit_is_reached(self, after_c, ambient_c, tau_s):
        seconds = cooling_time_s(after_c, ambient_c, 40.0, tau_s)
        assert cooled_temperature_c(after_c, ambient_c, seconds, tau_s) == pytest.approx(40.0, abs=1e-9)

    def test_against_numerical_integration(self):
        # Outside reference: scipy's solver on dT/dt = -(T - Ta) / tau.
        solution = solve_ivp(lambda _, t: [-(t[0] - 22.0) / 700.0], (0.0, 1000.0), [58.0], rtol=1e-9, atol=1e-9)
        assert cooled_temperature_c(58.0, 22.0, 1000.0, 700.0) == pytest.approx(solution.y[0, -1], rel=1e-7)

    def test_refusals(self):
        with pytest.raises(ValueError, match="time_constant_s: got"):
            cooling_time_s(60.0, 20.0, 40.0, 0.0)
        with pytest.raises(ValueError, match="limit_c: got"):
            cooling_time_s(60.0, 20.0, math.nan, 900.0)
        with pytest.raises(ValueError, match="ambient_c: got"):
            cooling_time_s(60.0, math.nan, 40.0, 900.0)
        with pytest.raises(ValueError, match="seconds: got"):
            cooled_temperature_c(60.0, 20.0, -1.0, 900.0)
