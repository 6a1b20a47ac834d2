"""Stretches of a path, the flight over them, and how far a charge or the clock carries it."""

import math
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from small_day import plan_of, table

from simulator.physics.path import FieldPath
from simulator.physics.swath import plan_rectangle
from simulator.plan.flight import Flight, furthest, to_pass_end

PLAN = plan_of(table(field=[{"name": "one", "area": "12 ha", "length_to_width": "3", "landing_zone": ["0 m", "0 m"]}]))
AIRCRAFT = PLAN.rigs[0].aircraft[0][0]
PROFILE = PLAN.profiles["big", 0]
FLIGHT = Flight(AIRCRAFT, PROFILE, 13.0, 1.0)
AREA = PROFILE.path.area_m2


def test_a_stretch_by_hand():
    # 600 m x 200 m in passes of 8 m: 25 passes of 4800 m2
    path = PROFILE.path
    assert path.area_m2 == pytest.approx(120000)
    whole = path.stretch(0.0, 120000.0)
    assert whole.path_m == pytest.approx(25 * 600)
    assert whole.turns == 24
    assert whole.gap_m == pytest.approx(0.0, abs=1e-9)
    part = path.stretch(4800 * 2.5, 4800 * 4)
    assert part.path_m == pytest.approx(1.5 * 600)
    assert part.turns == 1
    # from a pass end to a pass end: the turns at both ends belong to nobody
    assert path.stretch(4800.0, 9600.0).turns == 0
    # passes lie 4, 12, 20 ... m from the landing zone's side; the third begins there and is half flown
    assert part.out_m == pytest.approx(math.hypot(20, 300))


@given(st.lists(st.floats(0.0, AREA), min_size=1, max_size=6))
def test_stretches_add_up(cuts):
    points = [0.0, *sorted(cuts), AREA]
    parts = [PROFILE.path.stretch(low, high) for low, high in pairwise(points) if high > low]
    whole = PROFILE.path.stretch(0.0, AREA)
    assert sum(part.path_m for part in parts) == pytest.approx(whole.path_m)
    assert whole.turns - len(parts) + 1 <= sum(part.turns for part in parts) <= whole.turns


def test_given_ferry_distance_replaces_the_geometry():
    path = FieldPath(plan_rectangle(120000.0, 3.0, 8.0), [(0.0, 0.0, 0.0)], 150.0)
    assert path.stretch(30000.0, 40000.0)[3:] == (150.0, 150.0)


def test_whole_passes():
    path = PROFILE.path
    assert path.whole_passes(0.0, 4800 * 2.7) == pytest.approx(9600)
    assert path.whole_passes(0.0, 4799.0) == 4799.0
    assert path.whole_passes(4800.0, 4800 * 1.5) == 4800 * 1.5
    assert path.whole_passes(0.0, 9600.0) == pytest.approx(9600)


def test_time_of_a_flight_by_hand():
    air = FLIGHT.over(0.0, 9600.0, 20.0, 1.0)
    assert air.work_s == pytest.approx(1200 / 6)
    assert air.turn_s == pytest.approx(6)
    assert air.ferry_out_s == pytest.approx(math.hypot(4, 0) / 8)
    assert air.total_s == pytest.approx(sum(air[:6]))
    assert FLIGHT.over(0.0, 9600.0, 20.0, 1.3).total_s == pytest.approx(1.3 * air.total_s)
    assert FLIGHT.over(0.0, 9600.0, 20.0, 1.3).energy_wh == pytest.approx(1.3 * air.energy_wh)


def test_energy_lies_between_that_of_the_heaviest_and_the_lightest_state():
    air = FLIGHT.over(0.0, 20000.0, 40.0, 1.0)
    power = sorted(AIRCRAFT.model.forward_power(kg, 0.0, AIRCRAFT.density_kg_per_m3).power_w for kg in (61.0, 101.0))
    assert 0.5 * power[0] < air.energy_wh * 3600 / air.total_s < 1.02 * power[1]


@settings(max_examples=150)
@given(
    st.floats(0.0, 0.95), st.floats(0.02, 1.0), st.floats(50.0, 3000.0), st.floats(30.0, 3000.0), st.floats(0.7, 1.5),
    st.booleans(),
)  # fmt: skip
def test_furthest_keeps_both_limits_and_wastes_little(start, share, energy_wh, time_s, factor, fill):
    area_from = start * AREA
    area_to = area_from + share * (AREA - area_from)
    rate = PROFILE.rate if fill else 0.0
    end = furthest(FLIGHT, area_from, area_to, 5.0, energy_wh, time_s, factor, fill=fill)

    def over(to):
        return FLIGHT.over(area_from, to, max(5.0, rate * (to - area_from)), factor)

    assert area_from <= end <= area_to
    if end > area_from:
        assert over(end).energy_wh <= energy_wh
        assert over(end).total_s <= time_s
    if end < area_to:
        # a little further breaks a limit, but for the ferry, which falls and rises along a pass
        further = over(min(area_to, end + max(2.0, 0.01 * (end - area_from)) + PROFILE.path.mean_pass_m2))
        assert further.energy_wh > energy_wh * 0.85 or further.total_s > time_s * 0.85
    trimmed = to_pass_end(FLIGHT, area_from, end, 5.0, energy_wh, time_s, factor, fill=fill) if end > area_from else end
    assert area_from <= trimmed <= end
    if end > area_from:
        assert over(trimmed).energy_wh <= energy_wh
