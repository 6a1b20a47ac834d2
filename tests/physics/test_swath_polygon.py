"""Plans of polygons: exact rectangles, bounds for convex shapes, holes, headlands, and 200 real boundaries."""

import math
from pathlib import Path

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from simulator.errors import InputError
from simulator.physics.path import FieldPath
from simulator.physics.swath import plan_rectangle
from simulator.physics.swath_polygon import best_heading_rad, outline_rings, plan_polygon
from simulator.scenario.boundaries import read_boundaries

FIELDS = Path(__file__).resolve().parents[1] / "data"
U_SHAPE = shapely.Polygon([(0, 0), (300, 0), (300, 200), (200, 200), (200, 50), (100, 50), (100, 200), (0, 200)])


def turned(shape, heading_rad, x_m=0.0, y_m=0.0):
    """Turn clockwise by a compass bearing, then shift."""
    cosine, sine = math.cos(heading_rad), math.sin(heading_rad)
    matrix = np.array([[cosine, -sine], [sine, cosine]])
    return shapely.transform(shape, lambda xy: xy @ matrix + (x_m, y_m))


def strips_across(shape, swath_m, heading_rad):
    x_m, y_m = shapely.get_coordinates(shape).T
    across = x_m * math.cos(heading_rad) - y_m * math.sin(heading_rad)
    return math.ceil(np.ptp(across) / swath_m - 1e-6)


def sprayed(polygon, plan, heading_rad):
    """Return the part of the polygon inside the strip of each pass and between its ends, passes along the grid's y."""
    frame = turned(polygon, -heading_rad)
    start, end = (
        shapely.get_coordinates(turned(shapely.multipoints(np.column_stack(places)), -heading_rad))
        for places in ((plan.start_x_m, plan.start_y_m), (plan.end_x_m, plan.end_y_m))
    )
    centre, least = start[:, 0], shapely.bounds(frame)[0]
    left = least + plan.swath_m * np.floor((centre - least) / plan.swath_m)
    boxes = shapely.box(left, np.minimum(start, end)[:, 1], 2 * centre - left, np.maximum(start, end)[:, 1])
    return shapely.intersection(boxes, frame)


@given(st.floats(4e3, 4e5), st.floats(1.0, 8.0), st.floats(4.0, 12.0), st.floats(0.0, 3.14), st.floats(-1e5, 1e5))
@settings(max_examples=60)
def test_turned_rectangle_equals_plan_rectangle(area_m2, ratio, swath_m, heading_rad, shift_m):
    width_m = math.sqrt(area_m2 / ratio)
    # A width within a micrometre of whole swaths may round either way.
    assume(abs(width_m / swath_m - round(width_m / swath_m)) > 1e-5)
    reference = plan_rectangle(area_m2, ratio, swath_m)
    field = turned(shapely.box(0, 0, width_m, width_m * ratio), heading_rad, shift_m, -shift_m)
    plan = plan_polygon(field, swath_m, heading_rad)
    assert plan.pass_count == reference.pass_count
    assert plan.is_turn.sum() == reference.is_turn.sum()
    assert np.allclose(plan.length_m, reference.length_m, rtol=1e-8, atol=1e-6)
    # Corners 100 km from the origin carry about 1e-11 m of rounding: times a side, far below a square millimetre each.
    assert np.allclose(plan.area_m2, reference.area_m2, rtol=1e-7, atol=1e-4)
    assert np.allclose(plan.link_m, reference.link_m, atol=1e-6)
    corner = turned(shapely.points(reference.start_x_m[0], reference.start_y_m[0]), heading_rad, shift_m, -shift_m)
    assert (plan.start_x_m[0], plan.start_y_m[0]) == pytest.approx((corner.x, corner.y), abs=1e-5)
    best = plan_polygon(field, swath_m)
    assert best.is_turn.sum() == reference.is_turn.sum()


convex_shapes = st.lists(st.tuples(st.floats(0, 600), st.floats(0, 600)), min_size=4, max_size=12, unique=True).map(
    lambda points: shapely.convex_hull(shapely.multipoints(points))
)


@given(convex_shapes, st.floats(4.0, 12.0), st.floats(0.0, 3.14))
@settings(max_examples=60)
def test_convex_bounds(shape, swath_m, heading_rad):
    assume(shape.geom_type == "Polygon" and shape.area > 2000.0)
    plan = plan_polygon(shape, swath_m, heading_rad)
    assert plan.area_total_m2 == pytest.approx(shape.area, rel=0.01)
    assert plan.area_total_m2 <= shape.area * (1 + 1e-9)
    # One pass a strip; where the shape is shorter than a metre (a sharp tip, which may lie in several strips) it may be
    # left out, so what is missing is less than a metre times a swath a strip.
    strips = strips_across(shape, swath_m, heading_rad)
    assert plan.pass_count <= strips
    assert shape.area - plan.area_total_m2 <= (strips - plan.pass_count) * swath_m * 1.0 + 1e-6 * shape.area
    assert plan.is_turn.sum() == plan.pass_count - 1
    assert np.all(plan.area_m2 <= plan.length_m * swath_m * (1 + 1e-6))
    # The upper and the lower edge each rise and fall by at most the extent along the heading, so the passes together
    # are longer than area / swath by at most four extents.
    extent_m = np.ptp(shapely.get_coordinates(turned(shape, -heading_rad))[:, 1])
    sprayed_m = plan.length_m.sum()
    assert plan.area_total_m2 / swath_m <= sprayed_m * (1 + 1e-9)
    assert sprayed_m <= shape.area / swath_m + 4 * extent_m + 1e-6


@given(convex_shapes, st.floats(4.0, 12.0))
@settings(max_examples=25)
def test_no_heading_has_fewer_strips_than_the_best(shape, swath_m):
    assume(shape.geom_type == "Polygon" and shape.area > 2000.0)
    assert best_heading_rad(turned(shapely.box(0, 0, 100, 400), 0.5), swath_m) == pytest.approx(0.5, abs=1e-6)
    best = strips_across(shape, swath_m, best_heading_rad(shape, swath_m))
    assert all(strips_across(shape, swath_m, math.radians(angle)) >= best for angle in range(180))


def test_hole_makes_gaps_not_turns():
    field = shapely.box(0, 0, 100, 100) - shapely.box(40, 40, 60, 70)
    plan = plan_polygon(field, 10.0, 0.0)
    # Ten strips; the hole splits strips 4 and 5 (x 40 to 60): 12 passes, nine turns, two gaps of 30 m.
    assert plan.pass_count == 12
    assert plan.is_turn.sum() == 9
    assert plan.link_m[~plan.is_turn].tolist() == pytest.approx([30.0, 30.0])
    assert plan.length_m.sum() == pytest.approx(940.0)
    assert plan.area_total_m2 == pytest.approx(9400.0)
    # Straight ahead: the pass after a gap keeps its direction.
    before = np.flatnonzero(~plan.is_turn)
    sign = np.sign(plan.end_y_m - plan.start_y_m)
    assert np.all(sign[before] == sign[before + 1])


def test_arms_of_a_u_are_crossed_straight_ahead():
    plan = plan_polygon(U_SHAPE, 10.0, math.pi / 2)
    # Strips of 10 m from the north (right of an eastward heading is south): 15 in the arms, 5 in the base.
    assert plan.is_turn.sum() == 19
    assert plan.pass_count == 15 * 2 + 5
    assert plan.link_m[~plan.is_turn].tolist() == pytest.approx([100.0] * 15)
    assert plan.start_y_m[0] == pytest.approx(195.0)


@pytest.mark.parametrize(
    ("field", "passes", "area_m2"),
    [
        # pieces side by side in one strip, and short ones beside a long one, are flown over together
        (shapely.box(0, 0, 10, 100) - shapely.box(4, 20, 6, 100), 1, 1000.0 - 160.0),
        (
            shapely.MultiPolygon([shapely.box(0, 0, 4, 100), shapely.box(6, 10, 10, 20), shapely.box(6, 60, 10, 70)]),
            1,
            480.0,
        ),
        # a short gap is sprayed through
        (shapely.box(0, 0, 40, 100) - shapely.box(0, 50.0, 40, 50.5), 4, 3980.0),
        # no headland fits in (two are asked for)
        (shapely.box(0, 0, 15, 300), 2, 4500.0),
    ],
)
def test_what_is_flown_in_one_pass(field, passes, area_m2):
    plan = plan_polygon(field, 10.0, 0.0, headland_passes=2 if passes == 2 else 0)
    assert plan.pass_count == passes
    assert plan.length_m == pytest.approx([shapely.bounds(field)[3]] * passes)
    assert plan.area_total_m2 == pytest.approx(area_m2)


def test_slivers_are_left_out_only_while_negligible():
    teeth = [shapely.box(x, 100, x + 2, 100.4) for x in range(2, 96, 6)]
    islets = [shapely.box(x, 110, x + 2, 110.5) for x in range(2, 96, 10)]
    field = shapely.union_all([shapely.box(0, 0, 100, 100), *teeth, *islets])
    plan = plan_polygon(field, 10.0, 0.0)
    assert plan.pass_count == 10
    assert plan.area_total_m2 == pytest.approx(field.area, rel=0.005)
    # A field of nothing but short pieces is not thrown away.
    specks = shapely.union_all([shapely.box(20 * k, 0, 20 * k + 3, 0.5) for k in range(5)])
    assert plan_polygon(specks, 10.0, 0.0).area_total_m2 == pytest.approx(specks.area, rel=0.01)


def test_empty_strip_between_parts_keeps_the_serpentine():
    field = shapely.MultiPolygon([shapely.box(0, 0, 10, 100), shapely.box(21, 0, 31, 100)])
    plan = plan_polygon(field, 10.0, 0.0)
    assert np.all(np.sign(plan.end_y_m - plan.start_y_m)[:2] == [1, -1])


def test_headland_is_flown_last_and_credited_its_ring():
    field = shapely.box(0, 0, 200, 300)
    plan = plan_polygon(field, 10.0, 0.0, headland_passes=1)
    inside = plan_rectangle(180 * 280, 280 / 180, 10.0)
    count = inside.pass_count
    assert plan.area_total_m2 == pytest.approx(field.area)
    assert np.allclose(plan.length_m[:count], inside.length_m)
    assert plan.pass_count == count + 4
    # Middle line of the ring: 190 m by 290 m; ring area 60000 - 50400.
    assert plan.length_m[count:].sum() == pytest.approx(2 * (190 + 290))
    assert plan.area_m2[count:].sum() == pytest.approx(9600.0)
    # Three corners between the four sides, and the turn that leads to the ring.
    assert plan.is_turn.sum() == inside.is_turn.sum() + 4
    two = plan_polygon(field, 10.0, 0.0, headland_passes=2)
    assert two.area_total_m2 == pytest.approx(field.area)


@pytest.mark.parametrize("pair", [(5.0, 9.0), (4.0, 12.0)])
def test_aircraft_of_different_swath_share_the_area_coordinate(pair):
    field = turned(U_SHAPE, 0.7)
    heading_rad = best_heading_rad(field, pair[0])
    plans = [plan_polygon(field, swath_m, heading_rad) for swath_m in pair]
    area_m2 = np.linspace(0.0, field.area, 200)
    paths = [FieldPath(plan, [(0.0, 0.0, 0.0)]) for plan in plans]
    places = [np.array([path.point(*path.place(area, ending=True)) for area in area_m2]) for path in paths]
    across = (places[0] - places[1]) @ (math.cos(heading_rad), -math.sin(heading_rad))
    assert np.abs(across).max() <= max(pair)


def test_outline_tells_holes_from_exteriors():
    rings = outline_rings(shapely.box(0, 0, 10, 10) - shapely.box(4, 4, 6, 6))
    assert [shapely.LinearRing(ring).is_ccw for ring in rings] == [True, False]


def test_user_faults_are_named():
    bow_tie = shapely.Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])
    with pytest.raises(InputError, match=r"not a valid polygon: Self-intersection"):
        plan_polygon(bow_tie, 8.0)
    with pytest.raises(InputError, match="too large"):
        plan_polygon(shapely.box(0, 0, 500_000, 500_000), 8.0)


@pytest.fixture(scope="module")
def real_fields():
    return [
        field for file in sorted(FIELDS.glob("*.geojson")) for field in read_boundaries(file, smallest_m2=0.0).fields
    ]


@pytest.mark.parametrize("swath_m", [5.0, 9.0])
def test_real_boundaries_are_covered_once_within_one_percent(real_fields, swath_m):
    # Danish field register 2026 (CC0) and USDA NASS Crop Sequence Boundaries 2017-2024: 200 features.
    assert len(real_fields) >= 200
    for field in real_fields:
        heading_rad = best_heading_rad(field.polygon, swath_m)
        plan = plan_polygon(field.polygon, swath_m, heading_rad)
        passes = sprayed(field.polygon, plan, heading_rad)
        union = shapely.union_all(passes)
        assert np.allclose(shapely.area(passes), plan.area_m2, rtol=1e-6, atol=1e-3), field.name
        assert union.area == pytest.approx(field.area_m2, rel=0.01), field.name
        assert shapely.area(passes).sum() == pytest.approx(union.area, rel=1e-6), f"{field.name}: overlap"
        assert np.all(plan.area_m2 <= plan.length_m * swath_m * (1 + 1e-6) + 1e-6), field.name


def test_real_boundaries_with_headland(real_fields):
    for field in real_fields[::4]:
        plan = plan_polygon(field.polygon, 8.0, headland_passes=1)
        assert plan.area_total_m2 == pytest.approx(field.area_m2, rel=0.01), field.name
        assert np.all(np.isfinite(plan.link_m))
