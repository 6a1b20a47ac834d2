"""What hostile reading and the long fuzz runs found, each with its test: inputs that hung, ate memory or broke off.

Times are processor time, with room for a slow machine; before, each of these took minutes or never ended.
"""

import json
import math
import random

import pytest
import shapely
import shapely.affinity
from bounds import bounded
from fuzz_inputs import collection, feature
from small_day import TABLE, table

from simulator.errors import InputError
from simulator.plan.day_plan import make_plan
from simulator.scenario import boundaries, units
from simulator.scenario.boundaries import read_boundaries
from simulator.scenario.crossings import crossings, near_pairs
from simulator.scenario.loading import load_scenario

MOST_S, MOST_MB = 20.0, 1000
DEGREES_PER_M = 1.0 / 111_320.0


def refusal(call):
    with bounded(MOST_S, MOST_MB), pytest.raises(InputError) as caught:
        call()
    assert len(str(caught.value)) < 20_000
    return str(caught.value)


# --- units: powers of powers ---


@pytest.mark.parametrize(
    "unit",
    ["m^99^99^99", "m**99**99**99", "m²^99^99^99", "9^99^99^9 m", "(9^99)^99 m", "((((9^99)^99)^99)^99)^99",
     "9^(9*9*9*9*9*9*9*9*9*9)", "m^(9^9^9)", "m^ 9 ^ 9 ^ 9 ^ 9", "m* *9**9**9**9", "m^-9^9^9^9",
     "m^(99)^(99)^(99)^99", "9.**9.9**99", "2^s"],
)  # fmt: skip
def test_towers_of_powers(unit):
    assert "field.0.area" in refusal(lambda: load_scenario(table(field=[{"name": "a", "area": f"5 {unit}"}])))
    assert refusal(lambda: load_scenario(TABLE, [f"aircraft.big.swath=5 {unit}"]))
    with bounded(MOST_S, MOST_MB), pytest.raises(units.UnitError):
        units.parse(f"1 {unit}", units.LENGTH)


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("3 m^2", units.AREA, 3.0),
        ("3 m**2", units.AREA, 3.0),
        ("3 m²", units.AREA, 3.0),
        ("3 m^-1*m^2", units.LENGTH, 3.0),
        ("3 m^(-1) * m^3", units.AREA, 3.0),
        ("3 (m/s)^2/m", units.ACCELERATION, 3.0),
        ("3 m^1.5/m^0.5", units.LENGTH, 3.0),
        ("3 kg/m^2", units.DRY_RATE, 3.0),
        ("30 L/10 m^2", units.LIQUID_RATE, None),
        ("10000 cm^2", units.AREA, 1.0),
        ("9 °F", units.TEMPERATURE, round((9 - 32) / 1.8, 10)),
    ],
)
def test_powers_that_are_units(text, dimension, value):
    """Only a number beside a power is refused: it could be a base, and nobody writes it."""
    if value is None:
        with pytest.raises(units.UnitError):
            units.parse(text, dimension)
    else:
        assert units.parse(text, dimension) == pytest.approx(value, rel=1e-11)


@pytest.mark.parametrize("text", ["1e308 km", "-1e308 km", "1e300 Ym"])
def test_a_quantity_that_overflows_in_its_inner_unit(text):
    with pytest.raises(units.UnitError, match="beyond all reason"):
        units.parse(text, units.LENGTH)


# --- generators ---


@pytest.mark.parametrize(
    ("loads_kw", "uses", "says"),
    [((5, 10), (2, 0.1), "grows with load"), ((5, 10), (2, 2), "grows with load"),
     ((5, 5), (2, 2), "two different loads")],
)  # fmt: skip
def test_fuel_use_that_does_not_grow_with_the_load(loads_kw, uses, says):
    points = [{"load": f"{load} kW", "use": f"{use} L/h"} for load, use in zip(loads_kw, uses, strict=True)]
    said = refusal(lambda: load_scenario(table(generator__generator__fuel_use=points)))
    assert "generator.generator: " in said
    assert says in said


# --- shapes that cross so often, or lie so dense, that nothing would end ---


def metres(points):
    return [[round(x * DEGREES_PER_M, 9), round(y * DEGREES_PER_M, 9)] for x, y in points]


def square(x, y, side):
    return metres([(x, y), (x + side, y), (x + side, y + side), (x, y + side), (x, y)])


def comb(teeth, width_m, height_m, turned=False):
    pitch = width_m / teeth
    points = [(0.0, -10.0)]
    for place in range(teeth):
        left = place * pitch
        points += [(left, height_m), (left + pitch / 2, height_m), (left + pitch / 2, 0.0), (left + pitch, 0.0)]
    points += [(width_m, -10.0), points[0]]
    return metres([(y, x) for x, y in points] if turned else points)


def ragged(corners, noise_m):
    chooser = random.Random(1)
    turns = [2 * math.pi * place / corners for place in range(corners)]
    points = [((500 + noise_m * chooser.random()) * math.cos(turn), 500 * math.sin(turn)) for turn in turns]
    return metres([*points, points[0]])


def tangle(corners):
    chooser = random.Random(2)
    points = [(1000 * chooser.random(), 1000 * chooser.random()) for _ in range(corners)]
    return metres([*points, points[0]])


def written(tmp_path, *features, name="fields.geojson"):
    path = tmp_path / name
    path.write_text(json.dumps(collection(*features)))
    return path


def load(tmp_path, **field_file):
    made = table(field=[], field_file={"path": "fields.geojson", **field_file})
    return load_scenario(made, folder=tmp_path)


@pytest.mark.parametrize("repair", [False, True])
def test_a_boundary_that_crosses_itself_thousands_of_times_is_not_repaired(tmp_path, repair):
    path = written(tmp_path, *(feature([tangle(300)]) for _ in range(20)))
    assert "too many corners" in refusal(lambda: read_boundaries(path, repair=repair))


def test_repairs_of_a_whole_file_are_bounded(tmp_path, monkeypatch):
    path = written(tmp_path, *(feature([tangle(20)]) for _ in range(30)))
    assert len(read_boundaries(path, repair=True).fields) >= 30
    monkeypatch.setattr(boundaries, "_CROSSINGS_OF_FILE", 300)
    found = read_boundaries(path, repair=True)
    assert 0 < len({entry.feature_number for entry in found.fields}) < 30
    assert any("too many corners" in str(problem) for problem in found.skipped)


def test_thousands_of_parts_side_by_side(tmp_path):
    """Each is within reach of each other: all pairs at once would fill the memory."""
    parts = [[square(x * 0.4, y * 0.4, 0.25)] for x in range(64) for y in range(64)]
    path = written(tmp_path, feature(parts, "MultiPolygon"))
    with bounded(MOST_S, 500):
        found = read_boundaries(path, smallest_m2=100.0)
    assert [len(shapely.get_parts(entry.polygon)) for entry in found.fields] == [64 * 64]


def test_more_parts_than_any_field_has(tmp_path):
    parts = [[square(x * 5, y * 5, 3)] for x in range(150) for y in range(150)]
    path = written(tmp_path, feature(parts, "MultiPolygon"))
    assert "22500 parts" in refusal(lambda: read_boundaries(path))


def test_parts_are_grouped_as_by_all_pairs():
    """Against the definition: parts are of one field when a chain of gaps of at most 50 m joins them."""
    chooser = random.Random(4)
    boxes = [
        shapely.box(x, y, x + 30, y + 30)
        for x, y in ((chooser.random() * 2000, chooser.random() * 2000) for _ in range(90))
    ]
    parts = list(shapely.get_parts(shapely.union_all(boxes)))
    groups = boundaries._split_parts(shapely.MultiPolygon(parts))
    near = shapely.distance(parts, [[part] for part in parts]) <= 50.0
    reach = near.copy()
    for _ in range(len(parts)):
        reach = reach @ near
    expected = {frozenset(row.nonzero()[0].tolist()) for row in reach}
    order = {part.wkb: place for place, part in enumerate(parts)}
    assert {frozenset(order[part.wkb] for part in shapely.get_parts(group)) for group in groups} == expected
    assert 1 < len(groups) < len(parts)
    assert [group.area for group in groups] == sorted((group.area for group in groups), reverse=True)


UPRIGHT, LEVEL = ([comb(1500, 900, 800, turned)] for turned in (False, True))


@pytest.mark.parametrize(
    ("boundary", "others", "keys", "says"),
    [
        ([square(0, 0, 900)], [UPRIGHT, LEVEL], {"obstacles": "o.geojson"}, "meet or cross"),
        ([square(0, 0, 900)], [UPRIGHT, LEVEL], {"patches": "o.geojson"}, "meet or cross"),
        (UPRIGHT, [LEVEL], {"patches": "o.geojson"}, "meet or cross"),
        ([ragged(9_000, 5.0)], [], {"buffer": "50 m"}, "so ragged"),
        ([ragged(9_000, 5.0)], [], {"headland_passes": 8}, "so ragged"),
        ([comb(1000, 900, 800)], [], {"heading": 90}, "corners and up to"),
        ([ragged(100_000, 3.0)], [], {}, "corners and up to"),
    ],
    ids=["obstacles", "patches", "patches of a comb", "buffer", "headland", "passes of a comb", "many corners"],
)  # fmt: skip
def test_shapes_that_would_take_hours(tmp_path, boundary, others, keys, says):
    written(tmp_path, feature(boundary))
    written(tmp_path, *map(feature, others), name="o.geojson")
    assert says in refusal(lambda: load(tmp_path, **keys))


def test_many_small_obstacles_and_patches_are_no_fault(tmp_path):
    written(tmp_path, feature([square(0, 0, 900)]))
    grid = [feature([square(x * 9, y * 9, 4)]) for x in range(25) for y in range(25)]
    written(tmp_path, *grid, name="o.geojson")
    sites = load(tmp_path, obstacles="o.geojson", obstacle_clearance="1 m").sets[0].fields.sites
    assert sites[0].area_m2 < 900.0**2 - 625 * 16.0
    assert load(tmp_path, patches="o.geojson").sets[0].fields.sites[0].area_m2 == pytest.approx(625 * 16.0, rel=0.02)


def test_a_fine_but_smooth_boundary_is_moved(tmp_path):
    written(tmp_path, feature([ragged(20_000, 0.0)]))
    with bounded(MOST_S, MOST_MB):
        site = load(tmp_path, buffer="50 m").sets[0].fields.sites[0]
    assert site.area_m2 == pytest.approx(math.pi * 450.0**2, rel=0.02)


def test_a_boundary_of_five_thousand_corners_is_planned(tmp_path):
    written(tmp_path, feature([ragged(5_000, 1.0)]))
    with bounded(MOST_S, MOST_MB):
        make_plan(load(tmp_path).sets[0])


def test_crossings_are_counted():
    one, other = shapely.box(0, 0, 10, 10), shapely.box(5, 5, 15, 15)
    assert crossings([one], 100) == 0
    # two true crossings, each of a level side and an upright one
    assert crossings([one, other], 100) == 2
    assert crossings([one] * 30, 100) == 101
    assert crossings([], 100) == 0


def test_near_pairs_are_counted():
    triangle = shapely.Polygon([(0, 0), (10, 0), (0, 10)])
    assert near_pairs(triangle, 1.0, 100) == 16
    circle = shapely.Point(0, 0).buffer(100.0, quad_segs=200)
    # smooth: what is finer than a hundredth of the distance is not counted
    assert near_pairs(circle, 10.0, 10**6) < 10_000
    assert near_pairs(circle, 0.001, 10**6) < 10_000
    assert near_pairs(shapely.affinity.scale(shapely.Polygon(ragged(2000, 5.0)), 1e5, 1e5), 1.0, 1000) == 1001
