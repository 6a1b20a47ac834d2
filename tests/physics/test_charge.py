"""Charge curve: published worked examples, a numerical integration as outside reference, and properties."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from simulator.physics.charge import ChargeCurve

curves = st.builds(
    ChargeCurve,
    capacity_wh=st.floats(50.0, 3000.0),
    cc_power_w=st.floats(100.0, 9000.0),
    cc_share=st.one_of(st.floats(0.3, 0.98), st.just(1.0)),
    cut_share=st.floats(0.02, 0.3),
)
shares = st.floats(0.0, 1.0)
limits = st.floats(10.0, 12_000.0)


def test_energy_balance_example():
    # Published energy balance: constant current to 0.8 at 1C, then constant voltage to 0.05C: tau 0.2105 h,
    # 48 + 37.8 = 85.8 min.
    curve = ChargeCurve(capacity_wh=1000.0, cc_power_w=1000.0, cc_share=0.8, cut_share=0.05)
    assert curve.tau_h == pytest.approx(0.2 / 0.95, rel=1e-12)
    assert curve.tau_h == pytest.approx(0.2105, abs=5e-5)
    constant_current_min = curve.time_s(0.0, 800.0, 1000.0) / 60.0
    constant_voltage_min = curve.time_s(800.0, 1000.0, 1000.0) / 60.0
    assert constant_current_min == pytest.approx(48.0, rel=1e-12)
    assert constant_voltage_min == pytest.approx(60.0 * 0.2 / 0.95 * math.log(20.0), rel=1e-12)
    assert constant_voltage_min == pytest.approx(37.8, abs=0.05)
    assert curve.time_s(0.0, 1000.0, 5000.0) / 60.0 == pytest.approx(85.8, abs=0.05)


def test_half_rate_example_is_of_the_published_size():
    # Battery-tool page (low grade): 5 Ah at 0.5C, cut-off 0.05C: 96 min to 80 %, then about 45 min. The energy balance
    # gives tau ln(10) = 61 min for those same figures (the page does not balance), hence a wide band.
    curve = ChargeCurve(capacity_wh=5.0, cc_power_w=2.5, cc_share=0.8, cut_share=0.1)
    assert curve.time_s(0.0, 4.0, 2.5) / 60.0 == pytest.approx(96.0, rel=1e-12)
    assert 40.0 < curve.time_s(4.0, 5.0, 2.5) / 60.0 < 65.0


def test_edges_of_one_curve():
    # By hand: tau = 0.2 * 1000 / (1000 * 0.95) h, asymptote 1000 + 50 tau.
    curve, tau_h = ChargeCurve(1000.0, 1000.0, 0.8, 0.05), 0.2 / 0.95
    # acceptance is continuous and ends at the cut-off
    assert curve.acceptance_w(0.0) == 1000.0
    assert curve.acceptance_w(800.0 + 1e-9) == pytest.approx(1000.0, rel=1e-9)
    assert curve.acceptance_w(1000.0) == curve.acceptance_w(1000.0 + 1e-6) == pytest.approx(50.0, rel=1e-12)
    # reduced power moves the knee up, to where the acceptance is 500 W, and saves constant-voltage time
    assert curve.knee_wh(500.0) == pytest.approx(1000.0 + 50.0 * tau_h - 500.0 * tau_h)
    by_hand_h = curve.knee_wh(500.0) / 500.0 + tau_h * math.log(500.0 / 50.0)
    assert curve.time_s(0.0, 1000.0, 500.0) / 3600.0 == pytest.approx(by_hand_h)
    # halving the power does not double the time: published remark that total time is not in proportion to current
    assert curve.time_s(0.0, 1000.0, 500.0) < 2.0 * curve.time_s(0.0, 1000.0, 1000.0)
    # a limit below the cut-off fills at constant power
    assert curve.knee_wh(20.0) == 1000.0
    assert curve.time_s(100.0, 1000.0, 20.0) == pytest.approx(900.0 / 20.0 * 3600.0)
    assert curve.energy_after_wh(100.0, 3600.0, 20.0) == pytest.approx(120.0)
    # no power, no charge
    assert curve.time_s(100.0, 200.0, 0.0) == math.inf
    assert curve.time_s(200.0, 200.0, 0.0) == 0.0
    assert curve.energy_after_wh(100.0, math.inf, 0.0) == 100.0
    # full stays full
    assert curve.energy_after_wh(0.0, math.inf, 700.0) == curve.energy_after_wh(1000.0, 60.0, 700.0) == 1000.0
    assert curve.time_s(1000.0 + 1e-9, 1000.0, 700.0) == 0.0


@pytest.mark.parametrize("limit_w", [300.0, 2500.0, 8000.0])
def test_against_numerical_integration(limit_w):
    # Outside reference: scipy's solver on de/dt = min(limit, acceptance), acceptance written anew from its definition.
    capacity, power, cc, cut = 1500.0, 4000.0, 0.7, 0.06
    curve = ChargeCurve(capacity, power, cc, cut)
    tau = (1.0 - cc) * capacity / (power * (1.0 - cut))

    def slope(_, energy):
        falling = cut * power + (capacity - energy[0]) / tau
        return [min(limit_w, power, falling)]

    end_h = 0.9 * curve.time_s(200.0, capacity, limit_w) / 3600.0
    solution = solve_ivp(slope, (0.0, end_h), [200.0], rtol=1e-9, atol=1e-9, max_step=end_h / 200)
    assert curve.energy_after_wh(200.0, end_h * 3600.0, limit_w) == pytest.approx(solution.y[0, -1], rel=1e-6)


@given(curves, shares, shares, shares, limits)
def test_time_to_an_energy_and_energy_after_a_time(curve, a, b, c, limit_w):
    e0, e1, e2 = sorted(x * curve.capacity_wh for x in (a, b, c))
    first_s, second_s = curve.time_s(e0, e1, limit_w), curve.time_s(e1, e2, limit_w)
    assert min(first_s, second_s) >= 0.0
    assert curve.energy_after_wh(e0, first_s, limit_w) == pytest.approx(e1, rel=1e-9, abs=1e-9)
    # a stop between costs nothing
    assert first_s + second_s == pytest.approx(curve.time_s(e0, e2, limit_w), rel=1e-8, abs=1e-6)


@given(curves, shares, st.floats(0.0, 20_000.0), st.floats(0.0, 20_000.0), limits)
def test_time_is_additive(curve, a, first_s, second_s, limit_w):
    e0 = a * curve.capacity_wh
    in_two = curve.energy_after_wh(curve.energy_after_wh(e0, first_s, limit_w), second_s, limit_w)
    assert in_two == pytest.approx(curve.energy_after_wh(e0, first_s + second_s, limit_w), rel=1e-9)


@given(curves, shares, st.floats(0.0, 20_000.0), st.floats(0.0, 20_000.0), limits)
def test_energy_grows_with_time_within_limits(curve, a, seconds, more_s, limit_w):
    e0 = a * curve.capacity_wh
    e1 = curve.energy_after_wh(e0, seconds, limit_w)
    e2 = curve.energy_after_wh(e0, seconds + more_s, limit_w)
    assert e0 <= e1 <= e2 + 1e-9 * curve.capacity_wh
    assert e2 <= curve.capacity_wh
    # Never faster than the limit, nor than the pack accepts at the start.
    most_w = min(limit_w, curve.acceptance_w(e0))
    assert e1 - e0 <= most_w * seconds / 3600.0 * (1.0 + 1e-9) + 1e-9 * curve.capacity_wh


@given(curves, shares, shares, limits, limits)
def test_more_power_is_never_slower(curve, a, b, limit_1, limit_2):
    e0, e1 = sorted((a * curve.capacity_wh, b * curve.capacity_wh))
    low, high = sorted((limit_1, limit_2))
    assert curve.time_s(e0, e1, high) <= curve.time_s(e0, e1, low) * (1.0 + 1e-9) + 1e-9
