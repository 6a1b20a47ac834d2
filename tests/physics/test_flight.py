"""Flight power: momentum theory, the published forward-flight model, calibration and the closed-form energy."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.optimize import brentq, minimize_scalar

from simulator.physics.flight import (
    COAXIAL_INTERFERENCE,
    GRAVITY_M_PER_S2,
    FlightModel,
    calibrate,
    calibrate_from_load_use,
    cubic_mean,
    cubic_power,
    cubic_value,
)

SEA_LEVEL = 1.225
LARGE = FlightModel(8, 1.4, coaxial=True, figure_of_merit=0.6, fixed_power_w=200.0)
ROTORS = FlightModel(6, 1.0, coaxial=False, figure_of_merit=0.5)
SMALL = FlightModel(6, 1.0, coaxial=False, figure_of_merit=0.55, fixed_power_w=100.0)

# The paper's mean rotor induced velocity before it was rounded to 4.03 m/s in its table I.
ZENG_INDUCED = math.sqrt(20.0 / (2.0 * 1.225 * 0.503))


ZENG_PROFILE_W = 0.012 / 8.0 * 1.225 * 0.05 * 0.503 * (300.0 * 0.4) ** 3


def zeng(speed):
    """Return the power (W) of the aircraft of Zeng, Xu and Zhang (2019), eq. 12 and table I."""
    induced_w = 1.1 * 20.0**1.5 / math.sqrt(2.0 * 1.225 * 0.503)
    x = speed**2 / (2.0 * ZENG_INDUCED**2)
    profile_w = ZENG_PROFILE_W * (1.0 + 3.0 * speed**2 / 120.0**2)
    return profile_w + induced_w * math.sqrt(math.sqrt(1.0 + x**2) - x) + 0.5 * 0.6 * 1.225 * 0.05 * 0.503 * speed**3


def hover_w(model, mass_kg, density):
    return model.forward_power(mass_kg, 0.0, density).power_w


class TestHover:
    @pytest.mark.parametrize(
        ("mass_kg", "rotors", "diameter_m", "ideal_w", "electric_w"),
        [
            # Momentum theory, P = T^1.5 / sqrt(2 rho A); electrical at an overall efficiency of 0.6, re-computed.
            (25.0, 6, 0.76, 1487.0, 2478.0),
            (50.0, 8, 1.0, 2767.0, 4612.0),
            (90.0, 8, 1.37, 4878.0, 8130.0),
        ],
    )
    def test_momentum_theory(self, mass_kg, rotors, diameter_m, ideal_w, electric_w):
        model = FlightModel(rotors, diameter_m, coaxial=False, figure_of_merit=0.6)
        assert model.momentum_limit_w(mass_kg, SEA_LEVEL) == pytest.approx(ideal_w, abs=0.6)
        assert hover_w(model, mass_kg, SEA_LEVEL) == pytest.approx(electric_w, abs=0.6)

    def test_disc_area(self):
        # 6 rotors of 0.76 m: 2.722 m2.
        assert FlightModel(6, 0.76, False, 0.6).disc_area_m2 == pytest.approx(2.722, abs=5e-4)
        assert LARGE.disc_area_m2 == pytest.approx(4 * math.pi * 0.7**2)

    @given(st.floats(2.0, 200.0), st.floats(1.05, 4.0), st.floats(0.7, 1.3))
    def test_scaling(self, mass_kg, ratio, density):
        # Momentum theory: mass^1.5, density^-0.5 (without fixed power).
        model = FlightModel(6, 1.0, False, 0.6)
        base = hover_w(model, mass_kg, density)
        assert hover_w(model, mass_kg * ratio, density) == pytest.approx(base * ratio**1.5)
        assert hover_w(model, mass_kg, density * ratio) == pytest.approx(base / math.sqrt(ratio))

    def test_published_ratios(self):
        # 50 kg falling to 30 kg takes 0.465 of the power; 1500 m (1.05807 kg/m3) takes 1.076 times that of sea level.
        model = FlightModel(8, 1.0, False, 0.6)
        full = hover_w(model, 50.0, SEA_LEVEL)
        assert hover_w(model, 30.0, SEA_LEVEL) / full == pytest.approx(0.465, abs=5e-4)
        assert hover_w(model, 50.0, 1.05807) / full == pytest.approx(1.076, abs=5e-4)


class TestCoaxial:
    def test_interference_factor_from_momentum_theory(self):
        # Leishman (2006), section 2.14 (from memory), derived anew: equal thrusts T, upper rotor v = sqrt(T / 2 rho A);
        # the lower takes the contracted wake (half its disc, speed 2v) besides fresh air. With x = (v + v_lower) / v
        # the momentum balance gives the far-wake speed w = 4v / x, and the energy balance below fixes x.
        def energy_balance(x):
            mass_flow, wake = x, 4.0 / x  # in units of rho A v and v; thrust is 2 rho A v^2
            power_lower = 2.0 * x
            return power_lower - (0.5 * mass_flow * wake**2 - 0.5 * 1.0 * 2.0**2)

        x = brentq(energy_balance, 1.0, 3.0)
        assert pytest.approx((1.0 + x) / 2.0, rel=1e-9) == COAXIAL_INTERFERENCE
        assert pytest.approx(1.281, abs=5e-4) == COAXIAL_INTERFERENCE

    def test_rotors_in_one_plane_act_as_one_disc_under_all_the_thrust(self):
        # Factor sqrt(2): ideal power of four discs carrying all, as Leishman's first case (from memory).
        pair = FlightModel(8, 1.4, True, 0.6, coaxial_factor=math.sqrt(2.0))
        assert pair.momentum_limit_w(90.0, SEA_LEVEL) == pytest.approx(
            FlightModel(4, 1.4, False, 0.6).momentum_limit_w(90.0, SEA_LEVEL)
        )

    def test_pair_takes_the_factor_of_the_same_rotors_apart(self):
        pair = LARGE.momentum_limit_w(90.0, SEA_LEVEL)
        apart = FlightModel(8, 1.4, False, 0.6).momentum_limit_w(90.0, SEA_LEVEL)
        assert pair / apart == pytest.approx(COAXIAL_INTERFERENCE)


class TestForward:
    def test_the_published_model_itself(self):
        # Zeng, Xu and Zhang (2019): P0 = 79.86 W, Pi = 88.63 W, hover 168.48 W; powers re-computed from eq. 12.
        assert (ZENG_PROFILE_W, zeng(0.0) - ZENG_PROFILE_W) == pytest.approx((79.86, 88.63), abs=0.01)
        assert abs(ZENG_INDUCED - 4.03) < 0.005
        powers_w = {0.0: 168.48, 5.0: 143.59, 10.0: 126.02, 15.0: 138.53, 20.0: 178.29, 30.0: 356.28}
        assert {speed: zeng(speed) for speed in powers_w} == pytest.approx(powers_w, abs=0.01)
        # Longest time at 10.2 m/s, longest way at 18.3 m/s (from memory); 125.99, 161.47 W and 8.828 J/m re-computed.
        time = minimize_scalar(zeng, bounds=(1.0, 40.0), method="bounded")
        assert (time.x, time.fun) == pytest.approx((10.21, 125.99), abs=0.02)
        way = minimize_scalar(lambda v: zeng(v) / v, bounds=(1.0, 40.0), method="bounded")
        assert (way.x, zeng(way.x)) == pytest.approx((18.29, 161.47), abs=0.05)
        assert way.fun == pytest.approx(8.828, abs=0.001)

    @pytest.mark.parametrize("speed", [0.0, 2.0, 5.0, 10.0, 20.0, 30.0])
    def test_model_is_the_published_one_with_its_parameters(self, speed):
        # The paper's aircraft in this model's terms: one rotor, drive 1, merit and profile share from P0 and Pi.
        diameter = 2.0 * math.sqrt(0.503 / math.pi)
        ideal_w = 20.0**1.5 / math.sqrt(2.0 * 1.225 * 0.503)
        model = FlightModel(
            1, diameter, False, ideal_w / zeng(0.0), profile_share=ZENG_PROFILE_W / zeng(0.0), tip_speed_m_per_s=120.0,
            drag_area_m2=0.6 * 0.05 * 0.503, drive_efficiency=1.0,
        )  # fmt: skip
        assert model.forward_power(20.0 / GRAVITY_M_PER_S2, speed, 1.225).power_w == pytest.approx(
            zeng(speed), rel=1e-9
        )

    def test_induced_power_falls_as_glauert_says_at_high_speed(self):
        # Glauert's high-speed limit: induced power -> T^2 / (2 rho A V).
        model = FlightModel(4, 1.0, False, 1.0, profile_share=0.0, drag_area_m2=0.0)
        thrust = 30.0 * GRAVITY_M_PER_S2
        expected = thrust**2 / (2.0 * SEA_LEVEL * model.disc_area_m2 * 80.0)
        assert model.forward_power(30.0, 80.0, SEA_LEVEL).power_w == pytest.approx(expected, rel=1e-3)

    def test_wind(self):
        still = SMALL.forward_power(40.0, 7.0, SEA_LEVEL).power_w
        assert SMALL.forward_power(40.0, 5.0, SEA_LEVEL, headwind_m_per_s=2.0).power_w == pytest.approx(still)
        assert SMALL.forward_power(40.0, 9.0, SEA_LEVEL, headwind_m_per_s=-2.0).power_w == pytest.approx(still)
        # A tail wind as fast as the flight: no airspeed, so hover.
        assert SMALL.forward_power(40.0, 7.0, SEA_LEVEL, headwind_m_per_s=-7.0).power_w == hover_w(
            SMALL, 40.0, SEA_LEVEL
        )


class TestCalibration:
    def test_half_a_pair_of_rotors_is_refused(self):
        with pytest.raises(ValueError, match="rotor_count: got 7"):
            FlightModel(7, 1.0, True, 0.6)

    def test_two_hover_points_come_back(self):
        # Outside reference: minutes made by hand from momentum theory with figure of merit 0.62 and 180 W fixed.
        area = 6 * math.pi * 0.5**2
        powers = [(m * 9.80665) ** 1.5 / math.sqrt(2 * 1.225 * area) / 0.62 + 180.0 for m in (28.0, 45.0)]
        points = [(m, 1500.0 * 0.9 / p * 60.0) for m, p in zip((28.0, 45.0), powers, strict=True)]
        model = calibrate(ROTORS, 1500.0, 0.9, points)
        assert model.figure_of_merit == pytest.approx(0.62)
        assert model.fixed_power_w == pytest.approx(180.0)

    @given(st.floats(0.35, 0.8), st.floats(0.0, 500.0), st.booleans(), st.floats(0.9, 1.3))
    def test_round_trip(self, merit, fixed_w, coaxial, density):
        true = FlightModel(8, 1.3, coaxial, merit, fixed_w)
        points = [(m, 2000.0 * 0.8 / hover_w(true, m, density) * 60.0) for m in (45.0, 65.0, 85.0)]
        fitted = calibrate(FlightModel(8, 1.3, coaxial, 0.5), 2000.0, 0.8, points, density)
        assert fitted.figure_of_merit == pytest.approx(merit, rel=1e-6)
        assert fitted.fixed_power_w == pytest.approx(fixed_w, abs=1e-3)

    def test_one_point_has_no_fixed_power(self):
        true = FlightModel(6, 1.0, False, 0.6)
        minutes = 1400.0 * 0.8 / hover_w(true, 40.0, SEA_LEVEL) * 60.0
        fitted = calibrate(replace(true, drag_area_m2=0.7), 1400.0, 0.8, [(40.0, minutes)])
        assert fitted.figure_of_merit == pytest.approx(0.6)
        assert fitted.fixed_power_w == 0.0
        assert fitted.drag_area_m2 == 0.7

    def test_rounded_minutes_do_not_make_a_negative_fixed_power(self):
        true = FlightModel(6, 1.0, False, 0.6)
        minutes = [1400.0 / hover_w(true, m, SEA_LEVEL) * 60.0 for m in (25.0, 40.0)]
        fitted = calibrate(ROTORS, 1400.0, 1.0, [(25.0, minutes[0] * 1.015), (40.0, minutes[1])])
        assert fitted.fixed_power_w == 0.0
        for mass_kg, minute in zip((25.0, 40.0), minutes, strict=True):
            assert 1400.0 / hover_w(fitted, mass_kg, SEA_LEVEL) * 60.0 == pytest.approx(minute, rel=0.02)

    @pytest.mark.parametrize(
        ("points", "reason"),
        [
            ([(40.0, 40.0)], "the hover time is too long"),  # 2.1 kW for 40 kg on 4.7 m2, which need 2.3 kW
            ([(40.0, 34.0)], "of the power, 93% would lift"),
            ([(40.0, 4.0)], "of the power, 11% would lift"),
            ([(25.0, 30.0), (40.0, 11.0)], "mass-independent power of -"),
            ([(25.0, 16.0), (40.0, 15.0)], "figure of merit"),
            ([(25.0, 16.0), (25.0, 15.0)], "each mass once"),
        ],
    )
    def test_implausible_points_are_refused_with_the_reason(self, points, reason):
        with pytest.raises(ValueError, match=reason):
            calibrate(ROTORS, 1400.0, 1.0, points)

    @pytest.mark.parametrize("speed", [0.0, 6.0])
    def test_load_log_comes_back(self, speed):
        # Outside reference: energy of each flight by scipy's quadrature over the falling load.
        true = FlightModel(6, 1.0, False, 0.58, 150.0)
        log = []
        for load_kg, minutes in ((20.0, 6.0), (16.0, 5.0), (8.0, 3.0)):
            mean_w = quad(lambda x, load=load_kg: true.forward_power(24.0 + load * x, speed, 1.15).power_w, 0.0, 1.0)[0]
            log.append((load_kg, minutes, mean_w * minutes / 60.0 / 1400.0))
        fitted = calibrate_from_load_use(replace(ROTORS, fixed_power_w=150.0), 1400.0, 24.0, log, 1.15, speed)
        assert fitted.figure_of_merit == pytest.approx(0.58, rel=1e-4)
        assert fitted.fixed_power_w == 150.0

    @pytest.mark.parametrize(
        ("log", "reason"),
        [((20.0, 6.0, 0.02), "the minutes are too long"), ((20.0, 1.0, 0.5), "of the power, 4% would lift")],
    )
    def test_implausible_logs_are_refused_with_the_reason(self, log, reason):
        with pytest.raises(ValueError, match=reason):
            calibrate_from_load_use(ROTORS, 1400.0, 24.0, [log])


class TestCubic:
    @pytest.mark.parametrize(
        ("model", "low_kg"), [(LARGE, 50.0), (SMALL, 22.0), (FlightModel(4, 1.4, False, 0.6), 15.0)]
    )
    @pytest.mark.parametrize("speed", [0.0, 2.0, 4.0, 7.0, 12.0, 20.0])
    @pytest.mark.parametrize(("ratio", "most"), [(1.01, 1e-9), (1.6, 3e-5), (2.3, 2e-4), (3.0, 6e-4)])
    def test_error_of_the_fit(self, model, low_kg, speed, ratio, most):
        coefficients = cubic_power(model, speed, 1.1, low_kg, low_kg * ratio)
        masses = np.linspace(low_kg, low_kg * ratio, 101)
        exact = model.forward_power(masses, speed, 1.1).power_w
        fitted = np.array([cubic_value(coefficients, float(mass)) for mass in masses])
        assert np.max(np.abs(fitted / exact - 1.0)) < most

    def test_mean_is_the_integral(self):
        # Outside reference: scipy's quadrature of the exact power.
        coefficients = cubic_power(SMALL, 6.0, 1.1, 22.0, 44.0)
        exact = quad(lambda m: SMALL.forward_power(m, 6.0, 1.1).power_w, 25.0, 42.0)[0] / 17.0
        assert cubic_mean(coefficients, 42.0, 25.0) == pytest.approx(exact, rel=1e-4)

    def test_mean_is_the_difference_quotient_of_the_antiderivative(self):
        c = (3.0, -2.0, 0.5, 0.25)

        def antiderivative(m):
            return 3.0 * m - m**2 + 0.5 * m**3 / 3.0 + 0.25 * m**4 / 4.0

        expected = (antiderivative(7.0) - antiderivative(4.0)) / 3.0
        assert cubic_mean(c, 7.0, 4.0) == pytest.approx(expected)
        assert cubic_mean(c, 4.0, 7.0) == cubic_mean(c, 7.0, 4.0)

    @given(st.floats(22.0, 44.0), st.floats(0.0, 1e-6))
    def test_mean_of_equal_masses_is_the_value(self, mass_kg, less_kg):
        coefficients = cubic_power(SMALL, 6.0, 1.1, 22.0, 44.0)
        value_w = cubic_value(coefficients, mass_kg)
        assert cubic_mean(coefficients, mass_kg, mass_kg) == pytest.approx(value_w, rel=1e-12)
        assert cubic_mean(coefficients, mass_kg, mass_kg - less_kg) == pytest.approx(value_w, rel=1e-6)

    def test_one_mass(self):
        coefficients = cubic_power(SMALL, 6.0, 1.1, 30.0, 30.0)
        assert cubic_value(coefficients, 30.0) == SMALL.forward_power(30.0, 6.0, 1.1).power_w


class TestFieldEnergy:
    @pytest.mark.parametrize(
        ("tank_l", "empty_kg", "rotors", "diameter_m", "swath_m", "speed", "published_kwh_per_ha"),
        [
            # Vasylkovska, Andriienko and Malakhovska (2023), doi 10.32515/2414-3820.2023.53.131-138: 16 L class 0.41,
            # 30 L class 0.31 kWh/ha (printed kW/ha). Masses, rotors, swath, speed: common practice, no source.
            (16.0, 26.0, 6, 0.84, 5.0, 6.0, 0.41),
            (30.0, 40.0, 8, 0.99, 7.0, 7.0, 0.31),
        ],
    )
    def test_energy_per_hectare_is_of_the_measured_size(
        self, tank_l, empty_kg, rotors, diameter_m, swath_m, speed, published_kwh_per_ha
    ):
        model = FlightModel(rotors, diameter_m, False, 0.55, 100.0)
        coefficients = cubic_power(model, speed, 1.2, empty_kg, empty_kg + tank_l)
        mean_w = cubic_mean(coefficients, empty_kg + tank_l, empty_kg)
        # 75 % of airborne time on the swath, the rest turns and ferry (common practice, no source).
        hours_per_ha = 10_000.0 / (swath_m * speed) / 0.75 / 3600.0
        assert mean_w / 1000.0 * hours_per_ha == pytest.approx(published_kwh_per_ha, rel=0.4)

    def test_large_class_lands_with_charge_left(self):
        # Common practice, no source: a 40 L class flies one load a charge and lands with 20 to 60 % left. Pack, masses
        # and rotors of the class are assumptions; a load of 40 L at 2 gal/acre takes about 6 to 9 minutes airborne.
        coefficients = cubic_power(LARGE, 7.0, 1.2, 55.0, 95.0)
        used = cubic_mean(coefficients, 95.0, 55.0) * 7.5 / 60.0 / 1600.0
        assert 0.4 < used < 0.8
