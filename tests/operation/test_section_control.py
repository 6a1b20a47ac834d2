"""Nozzles switched by section, or not: what falls outside the field or twice is applied, flown and mixed."""

import math

import numpy as np
import pytest
import shapely
from small_day import day_of, plan_of, table

from simulator.analysis.summary import place_of, summarise
from simulator.physics.path import FieldPath
from simulator.physics.swath_polygon import plan_polygon

# 100 m by 800 m under a swath of 8 m: 12 whole passes, and one for the last 4 m
FIELD = {"name": "one", "area": "8 ha", "length_to_width": "8", "drive_distance": "0 m", "ferry_distance": "150 m"}


def made(section_control, **changes):
    return table(work="once", field=[FIELD], aircraft__big__section_control=section_control, **changes)


def measures(scenario):
    day = day_of(scenario)
    row = summarise(plan_of(scenario), day)
    return day, {name: row[place_of(name)] for name in ("area_m2", "applied", "overspray", "left_over", "loads")}


def test_by_hand_on_a_rectangle():
    day, without = measures(made(False))
    rate = 20.0 / 10_000.0
    assert without["area_m2"] == pytest.approx(80_000.0)
    assert without["applied"] == pytest.approx(13 * 8 * 800 * rate)
    assert without["overspray"] == pytest.approx(4 * 800 * rate)
    # 166.4 L in loads of 40 L, where 160 L are four
    assert without["loads"] == math.ceil(166.4 / 40)
    _, switched = measures(made(True))
    assert switched["applied"] == pytest.approx(160.0)
    assert switched["overspray"] == 0.0
    assert switched["loads"] == 4
    # the same passes are flown either way
    assert sum(one.path_m for one in day.log.sorties) == pytest.approx(13 * 800)


def test_granules_too():
    changes = {"product": {"kind": "granules", "dry_rate": "25 kg/ha"}, "rig__main__supply": {"dry_stock": "1000 kg"}}
    _, without = measures(made(False, **changes))
    assert without["overspray"] == pytest.approx(4 * 800 * 25 / 10_000)


def test_slanted_boundaries_take_more_than_area_times_rate():
    """A right triangle of 60 m by 900 m: each pass runs from the base to where its longer side meets the slope."""
    triangle = shapely.Polygon([(0, 0), (60, 0), (0, 900)])
    plan = plan_polygon(triangle, 10.0, 0.0)
    path = FieldPath(plan, [(0.0, 0.0, 0.0)])
    # the strip from u to u + 10 m is as long as the field is at u: 900 - 15 u
    assert path.length_m(0.0, path.area_m2) == pytest.approx(sum(900 - 15 * u for u in range(0, 60, 10)))
    assert path.length_m(0.0, path.area_m2) * 10.0 / path.area_m2 == pytest.approx(7 / 6)


def test_length_and_reach_undo_each_other():
    path = FieldPath(plan_polygon(shapely.Polygon([(0, 0), (60, 0), (0, 900)]), 10.0, 0.0), [(0.0, 0.0, 0.0)])
    for start, end in np.sort(np.random.default_rng(3).uniform(0.0, path.area_m2, (200, 2)), axis=1):
        assert path.reached_m2(start, path.length_m(start, end)) == pytest.approx(end, abs=1e-6)
    assert path.reached_m2(100.0, 1e6) == math.inf


def test_with_a_short_charge_and_small_reserve_all_adds_up():
    """Loads cut by the charge, and flights that stop early, are settled by what was sprayed."""
    scenario = made(False, pack__pack__energy="700 Wh", flying={"energy_margin": "0 %"})
    scenario["aircraft"]["big"]["flight_time_factor"] = {"dist": "uniform", "low": "0.8", "high": "1.3"}
    day, found = measures(scenario)
    assert len(day.log.sorties) > 5
    assert found["overspray"] == pytest.approx(4 * 800 * 20 / 10_000, rel=1e-6)
