"""Rectangle plans, work time, turns; published_checks sections 2 and 3."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.physics.path import FieldPath
from simulator.physics.swath import plan_rectangle, turn_of

ACRE_M2 = 4046.8564224  # international acre, NIST SP 811 (from memory)
FOOT_M = 0.3048
MPH_M_S = 0.44704

areas = st.floats(2e3, 8e5)
ratios = st.floats(0.2, 12.0)
swaths = st.floats(2.0, 15.0)


def work_time_s(plan, speed_m_s, turn_s):
    """Return the time of one aircraft that never lands."""
    whole = FieldPath(plan, [(0.0, 0.0, 0.0)]).stretch(0.0, plan.area_total_m2)
    return (whole.path_m + whole.gap_m) / speed_m_s + whole.turns * turn_s


@given(areas, ratios, swaths)
def test_rectangle_is_covered_once(area_m2, ratio, swath_m):
    plan = plan_rectangle(area_m2, ratio, swath_m)
    width_m = math.sqrt(area_m2 / ratio)
    assert plan.area_total_m2 == pytest.approx(area_m2, rel=1e-12)
    assert plan.area_m2.sum() == pytest.approx(plan.area_total_m2, rel=1e-12)
    assert plan.pass_count - 1 < width_m / swath_m + 1e-6
    assert plan.pass_count >= width_m / swath_m - 1e-6
    assert np.allclose(plan.length_m, width_m * ratio)
    assert np.allclose(plan.area_m2[:-1], swath_m * width_m * ratio)
    assert plan.area_m2[-1] <= plan.length_m[-1] * swath_m * (1 + 1e-9)
    assert plan.is_turn.all()
    # Serpentine: every link is one shift across, so at most one swath.
    assert np.all(plan.link_m <= swath_m * (1 + 1e-9))
    assert np.all(plan.start_y_m[1:] == plan.end_y_m[:-1])


def test_rectangle_by_hand():
    # 100 m x 25 m at 10 m: passes of 1000, 1000 and 500 m2 at 5, 15 and 22.5 m.
    plan = plan_rectangle(2500.0, 4.0, 10.0)
    assert plan.area_m2.tolist() == pytest.approx([1000.0, 1000.0, 500.0])
    assert plan.start_x_m.tolist() == pytest.approx([5.0, 15.0, 22.5])
    assert plan.start_y_m.tolist() == pytest.approx([0.0, 100.0, 0.0])
    assert plan.end_y_m.tolist() == pytest.approx([100.0, 0.0, 100.0])
    assert plan.link_m.tolist() == pytest.approx([10.0, 7.5])


def test_whole_number_of_swaths_needs_no_sliver_pass():
    assert plan_rectangle(100.0 * 30.0, 100.0 / 30.0, 10.0).pass_count == 3
    assert plan_rectangle(0.3 * 100, 100 / 0.3, 0.1).pass_count == 3


@pytest.mark.parametrize(("length_m", "efficiency"), [(100.0, 0.735), (300.0, 0.893), (1000.0, 0.965)])
def test_turn_efficiency_relation(length_m, efficiency):
    # published_checks section 2, elementary relation E = (L/v) / (L/v + t), v = 6 m/s, t = 6 s.
    # With n passes there are n - 1 turns, so E is met as n grows.
    plan = plan_rectangle(length_m * 8.0 * 400, length_m / (8.0 * 400), 8.0)
    spraying_s = plan.length_m.sum() / 6.0
    assert spraying_s / (work_time_s(plan, 6.0, 6.0) + 6.0) == pytest.approx(efficiency, abs=5e-4)


@pytest.mark.parametrize(("efficiency", "acres_per_hour"), [(1.0, 18.2), (0.8, 14.5), (0.6, 10.9)])
def test_field_capacity_worked_example(efficiency, acres_per_hour):
    # Progressive Forage, "Farm field equipment: efficiency versus capacity": 30 ft x 5 mph. EP496.3: C = SWE/8.25.
    swath_m, speed_m_s, length_m, count = 30 * FOOT_M, 5 * MPH_M_S, 400.0, 500
    plan = plan_rectangle(length_m * swath_m * count, length_m / (swath_m * count), swath_m)
    turn_s = length_m / speed_m_s * (1 / efficiency - 1) * count / (count - 1)
    hours = work_time_s(plan, speed_m_s, turn_s) / 3600
    assert plan.area_total_m2 / ACRE_M2 / hours == pytest.approx(acres_per_hour, abs=0.05)
    assert plan.area_total_m2 / ACRE_M2 / hours == pytest.approx(5 * 30 * efficiency / 8.25, rel=1e-6)
    km_h, metric = 3.6 * speed_m_s, plan.area_total_m2 / 1e4 / hours
    assert metric == pytest.approx(km_h * swath_m * efficiency / 10, rel=1e-9)


@pytest.mark.parametrize(
    ("mph", "swath_ft", "gal_acre", "acre_min", "gal_min"),
    [(120, 50, 3, 12.121, 36.36), (15, 30, 2, 0.9091, 1.818)],
)
def test_flow_and_land_rate(mph, swath_ft, gal_acre, acre_min, gal_min):
    # GPM = GPA * mph * swath / 495 (Mesa County) and acres/min = mph * swath * 0.0020202 (US Army TM 5-3740-218-13P).
    swath_m = swath_ft * FOOT_M
    plan = plan_rectangle(500.0 * swath_m * 40, 500.0 / (swath_m * 40), swath_m)
    minutes = work_time_s(plan, mph * MPH_M_S, 0.0) / 60
    acres = plan.area_total_m2 / ACRE_M2
    assert acres / minutes == pytest.approx(acre_min, rel=1e-4)
    assert acres / minutes == pytest.approx(mph * swath_ft * 0.0020202, rel=1e-4)
    assert acres * gal_acre / minutes == pytest.approx(gal_min, rel=3e-4)
    assert acres * gal_acre / minutes == pytest.approx(gal_acre * mph * swath_ft / 495, rel=1e-6)


def test_turn_time_limits():
    # Radius far below half the swath: half circle and a straight piece.
    assert turn_of(20.0, 2.0, 4.0).time_s == pytest.approx(min((math.pi * 1 + 18) / 2, 1.0 + 2 * math.sqrt(5)))
    # Turning back onto the same line at bounded radius is 7 pi r / 3 (Dubins 1957, from memory).
    slow_to_stop = turn_of(1e-9, 10.0, 10.0, radius_min_m=0.1).time_s
    assert slow_to_stop == pytest.approx(min(2.0 + 2 * math.sqrt(1e-10), 7 * math.pi / 3), rel=1e-6)
    # A gentle radius limit leaves stopping as the quicker way.
    assert turn_of(8.0, 6.0, 2.0, radius_min_m=1e4).time_s == pytest.approx(6.0 + 2 * 2.0)


def test_bulb_turn_is_continuous_and_closes():
    # At S = 2 r the bulb is the half circle; the three arcs end one swath away with opposite heading.
    radius_m = 2.0
    around = [turn_of(2 * radius_m + shift, 1.0, 0.5).time_s for shift in (-1e-9, 1e-9)]
    assert around[0] == pytest.approx(around[1], rel=1e-4)
    swath_m, arcs_m = 3.8, 0.0
    angle = math.acos((swath_m + 2 * radius_m) / (4 * radius_m))
    position, heading = 0j, math.pi / 2
    for turn, sign in ((angle, 1), (math.pi + 2 * angle, -1), (angle, 1)):
        centre = position + sign * radius_m * 1j * complex(math.cos(heading), math.sin(heading))
        position = centre + (position - centre) * complex(math.cos(sign * turn), math.sin(sign * turn))
        heading += sign * turn
        arcs_m += radius_m * turn
    assert position == pytest.approx(complex(swath_m, 0.0), abs=1e-9)
    assert math.cos(heading - math.pi / 2) == pytest.approx(-1.0)
    # At 2 m/s and 2 m/s2 the radius is 2 m, and flying round is quicker than stopping: 4.0 s against 4.8 s.
    assert turn_of(swath_m, 2.0, 2.0).time_s == pytest.approx(arcs_m / 2.0)


@settings(max_examples=50)
@given(st.floats(3.0, 15.0), st.floats(1.0, 12.0), st.floats(0.5, 6.0))
def test_stronger_aircraft_never_turns_slower(swath_m, speed_m_s, acceleration):
    weaker, stronger = (turn_of(swath_m, speed_m_s, one * acceleration).time_s for one in (1.0, 1.2))
    assert stronger <= weaker + 1e-9
