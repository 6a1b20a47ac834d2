"""Landing zones and their moves for visual range."""

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
import shapely
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.physics.landing import best_zone, ferry_distance_m, nearest_corner, relocations, zone_candidates
from simulator.physics.swath import plan_rectangle
from simulator.physics.swath_polygon import plan_polygon


def test_choices_on_a_rectangle():
    # 200 m wide, 400 m long, corner at the origin.
    plan = plan_rectangle(80_000.0, 2.0, 10.0)
    assert nearest_corner(plan) == pytest.approx((0.0, 0.0))
    assert nearest_corner(plan, (230.0, 380.0)) == pytest.approx((200.0, 400.0))
    # The middle of a long side is nearest to the area on average.
    assert best_zone(plan) in [pytest.approx((0.0, 200.0)), pytest.approx((200.0, 200.0))]


def test_mean_ferry_distance_of_a_square_from_its_corner():
    # Mean distance of a unit square to a corner: (sqrt(2) + ln(1 + sqrt(2))) / 3 = 0.7652 (elementary integral).
    side_m = 1000.0
    plan = plan_rectangle(side_m**2, 1.0, 10.0)
    expected = side_m * (math.sqrt(2) + math.log(1 + math.sqrt(2))) / 3
    assert ferry_distance_m(plan, [(0.0, 0.0)])[0] == pytest.approx(expected, rel=2e-3)


def test_best_is_never_beaten_by_a_candidate():
    field = shapely.Polygon([(0, 0), (520, 0), (520, 200), (210, 200), (210, 560), (0, 560)])
    plan = plan_polygon(field, 9.0)
    distances = ferry_distance_m(plan, zone_candidates(plan))
    assert len(distances) == 12
    assert ferry_distance_m(plan, [best_zone(plan)])[0] == pytest.approx(distances.min())


def test_holes_offer_no_landing_zone():
    field = shapely.box(0, 0, 400, 400) - shapely.box(180, 180, 220, 220)
    candidates = zone_candidates(plan_polygon(field, 10.0))
    assert len(candidates) == 8
    assert all(shapely.Point(place).distance(shapely.box(0, 0, 400, 400).exterior) < 1e-9 for place in candidates)


@given(st.floats(2e4, 2e6), st.floats(0.3, 5.0), st.floats(150.0, 2000.0))
@settings(max_examples=60)
def test_relocations_cover_the_plan_in_sequence(area_m2, ratio, visual_range_m):
    plan = plan_rectangle(area_m2, ratio, 12.0)
    stretches = relocations(plan, (0.0, 0.0), visual_range_m)
    assert stretches[0].area_from_m2 == 0.0
    assert stretches[-1].area_to_m2 == pytest.approx(plan.area_total_m2)
    for one, two in pairwise(stretches):
        assert one.area_to_m2 == two.area_from_m2
        assert one.area_to_m2 > one.area_from_m2
    zones = np.concatenate(([[0.0, 0.0]], zone_candidates(plan)))
    for low_m2, high_m2, x_m, y_m in stretches:
        inside = (plan.area_before_m2[:-1] >= low_m2 - 1e-6) & (plan.area_before_m2[1:] <= high_m2 + 1e-6)
        for index in np.flatnonzero(inside):
            ends = np.array(
                [[plan.start_x_m[index], plan.start_y_m[index]], [plan.end_x_m[index], plan.end_y_m[index]]]
            )
            reach_m = np.hypot(*(ends - (x_m, y_m)).T).max()
            possible_m = min(np.hypot(*(ends - zone).T).max() for zone in zones)
            # In range, or no further than a tenth beyond the least that any zone allows.
            assert reach_m <= max(visual_range_m, 1.1 * possible_m) + 1e-6


def test_no_move_while_everything_is_in_sight():
    plan = plan_rectangle(80_000.0, 2.0, 10.0)
    stretches = relocations(plan, (0.0, 0.0), 1000.0)
    assert stretches == [(0.0, pytest.approx(80_000.0), 0.0, 0.0)]


@pytest.mark.parametrize("seed", range(20))
def test_fewest_stretches_of_all_splits(seed):
    # Reference: shortest split by dynamic programming over all places to change the zone.
    places = np.random.default_rng(seed).uniform((0.0, 0.0), (1200.0, 200.0), (25, 2))
    ring = shapely.get_coordinates(shapely.convex_hull(shapely.multipoints(places)).reverse())
    plan = replace(plan_rectangle(240_000.0, 1 / 6, 40.0), outline=(ring,))
    zones = zone_candidates(plan)
    visual_range_m = 350.0
    reach_m = np.maximum(
        np.hypot(plan.start_x_m - zones[:, :1], plan.start_y_m - zones[:, 1:]),
        np.hypot(plan.end_x_m - zones[:, :1], plan.end_y_m - zones[:, 1:]),
    )
    seen = reach_m <= np.maximum(visual_range_m, 1.1 * reach_m.min(axis=0))
    fewest = [0] + [99] * plan.pass_count
    for end in range(1, plan.pass_count + 1):
        splits = [fewest[begin] + 1 for begin in range(end) if seen[:, begin:end].all(axis=1).any()]
        fewest[end] = min(splits)
    stretches = relocations(plan, (-5000.0, 0.0), visual_range_m)
    assert len(stretches) == fewest[-1]
