"""The boundary reader: real files, every kind of broken file, and areas against the geodesic area of pyproj."""

import json
import math
from itertools import permutations
from pathlib import Path

import pyproj
import pytest
import shapely

from simulator.errors import InputError
from simulator.scenario.boundaries import read_boundaries

ROOT = Path(__file__).resolve().parents[2]
FIELDS = ROOT / "tests" / "data"
INVENTED = ROOT / "scenarios" / "fields_willow_basin.geojson"

# About 100 m at the latitude of these tests.
STEP = 0.001


def square(longitude=9.0, latitude=45.0, size=STEP):
    east, north = longitude + size, latitude + size
    return [[longitude, latitude], [east, latitude], [east, north], [longitude, north], [longitude, latitude]]


def feature(geometry, **properties):
    return {"type": "Feature", "properties": properties, "geometry": geometry}


def polygon(*rings):
    return {"type": "Polygon", "coordinates": list(rings)}


def multipolygon(*polygons):
    return {"type": "MultiPolygon", "coordinates": [list(rings) for rings in polygons]}


def collection(*features, **members):
    return {"type": "FeatureCollection", "features": list(features), **members}


@pytest.fixture
def read(tmp_path):
    def reader(document, **options):
        path = tmp_path / "fields.geojson"
        path.write_bytes(document if isinstance(document, bytes) else json.dumps(document).encode())
        return read_boundaries(path, **options)

    return reader


def geodesic_area_m2(shape, origin):
    grid = pyproj.Proj(proj="aeqd", lat_0=origin[1], lon_0=origin[0], datum="WGS84")
    geod = pyproj.Geod(ellps="WGS84")
    total = 0.0
    for part in shapely.get_parts(shape):
        for sign, ring in ((1, part.exterior), *((-1, hole) for hole in part.interiors)):
            x_m, y_m = shapely.get_coordinates(ring).T
            total += sign * abs(geod.polygon_area_perimeter(*grid(x_m, y_m, inverse=True))[0])
    return total


@pytest.mark.parametrize(
    ("name", "count", "skipped", "repaired"),
    [
        ("denmark_fields_2026.geojson", 99, ["feature 38"], []),
        (
            "us_crop_sequence_boundaries_2017_2024.geojson",
            100,
            [],
            ["feature 16", "feature 18", "feature 30", "feature 55"],
        ),
    ],
)
def test_real_files(name, count, skipped, repaired):
    read = read_boundaries(FIELDS / name)
    assert len(read.fields) == count
    assert [problem.where for problem in read.skipped] == skipped
    assert [problem.where for problem in read.warnings if problem.where] == repaired
    assert len({field.name for field in read.fields}) == count
    for field in read.fields:
        assert field.polygon.is_valid
        assert field.area_m2 >= 500.0
        assert field.area_m2 == pytest.approx(geodesic_area_m2(field.polygon, read.origin_lon_lat), rel=3e-4)


def test_spread_of_the_danish_sample_is_warned_about():
    read = read_boundaries(FIELDS / "denmark_fields_2026.geojson")
    assert any("spread over" in problem.message for problem in read.warnings)


def test_invented_place():
    read = read_boundaries(INVENTED)
    assert read.skipped == read.warnings == []
    acres = {field.name: field.area_m2 / 4046.8564224 for field in read.fields}
    assert 8 <= len(acres) <= 12
    assert min(acres.values()) * 1.001 >= 5
    assert max(acres.values()) <= 160 * 1.001
    assert any(part.interiors for field in read.fields for part in shapely.get_parts(field.polygon))
    assert any(field.polygon.geom_type == "MultiPolygon" for field in read.fields)
    assert "invented" in json.loads(INVENTED.read_text())["note"]


@pytest.mark.parametrize(
    "document",
    [
        collection(feature(polygon(square()))),
        feature(polygon(square())),
        polygon(square()),
        multipolygon([square()]),
        {"type": "GeometryCollection", "geometries": [polygon(square())]},
        collection(
            feature({"type": "GeometryCollection", "geometries": [polygon(square()), {"type": "Point"}]}),
        ),
        collection(feature(polygon([[*position, 312.5] for position in square()]))),
        collection(feature(polygon(square())), crs={"type": "name", "properties": {"name": "EPSG:4326"}}),
    ],
)
def test_every_way_to_write_one_square(read, document):
    found = read(document)
    assert len(found.fields) == 1
    field = found.fields[0]
    assert field.name == "field 1"
    assert field.feature_number == 1
    # Geodesic area of a square of 0.001 degree at 45 degrees north: 78.85 m by 111.13 m.
    assert field.area_m2 == pytest.approx(78.85 * 111.13, rel=2e-3)
    assert field.centroid_xy == pytest.approx((0.0, 0.0), abs=0.1)
    assert found.origin_lon_lat == pytest.approx((9.0005, 45.0005))


def test_distances_on_the_grid(read):
    found = read(collection(feature(polygon(square())), feature(polygon(square(9.3, 45.2)))))
    one, two = (field.centroid_xy for field in found.fields)
    geod = pyproj.Geod(ellps="WGS84")
    *_, expected_m = geod.inv(9.0005, 45.0005, 9.3005, 45.2005)
    assert math.dist(one, two) == pytest.approx(expected_m, rel=1e-5)


def test_yard_on_the_grid_of_the_fields(read):
    found = read(polygon(square()))
    geod = pyproj.Geod(ellps="WGS84")
    *_, expected_m = geod.inv(*found.origin_lon_lat, 9.2, 45.1)
    x_m, y_m = found.to_grid(9.2, 45.1)
    assert math.hypot(x_m, y_m) == pytest.approx(expected_m, rel=1e-6)
    assert x_m > 0.0
    assert y_m > 0.0
    assert found.to_grid(*found.origin_lon_lat) == pytest.approx((0.0, 0.0), abs=1e-6)
    for place, text in (((200.0, 0.0), "not a longitude"), ((math.nan, 0.0), "not a longitude"), ((-9.0, 5.0), "1000")):
        with pytest.raises(InputError, match=text):
            found.to_grid(*place)


def test_names(read):
    found = read(
        collection(
            feature(polygon(square(9.00)), NAME="  North\n forty "),
            feature(polygon(square(9.01)), Id=7),
            feature(polygon(square(9.02)), name="North forty"),
            feature(polygon(square(9.03)), name=None),
            feature(polygon(square(9.04)), name="bad \ud800 sign", nested={"a": 1}, big=10**400, ok=True),
        )
    )
    assert [field.name for field in found.fields] == ["North forty", "7", "North forty (2)", "field 4", "bad ? sign"]


def test_hole_is_not_part_of_the_field(read):
    hole = square(9.0002, 45.0002, 0.0004)
    whole, holed = (read(polygon(*rings)).fields[0].area_m2 for rings in ([square()], [square(), hole]))
    assert holed == pytest.approx(whole * (1 - 0.16), rel=1e-4)


def test_parts_near_each_other_are_one_field(read):
    near = square(9.0 + STEP + 0.0003)
    together = read(collection(feature(multipolygon([square()], [near]), name="Twin"))).fields
    assert [field.name for field in together] == ["Twin"]
    assert together[0].polygon.geom_type == "MultiPolygon"
    bigger = square(9.0 + STEP + 0.002, size=0.0012)
    apart = read(collection(feature(multipolygon([square()], [bigger]), name="Twin"))).fields
    assert [field.name for field in apart] == ["Twin-a", "Twin-b"]
    assert apart[0].area_m2 > apart[1].area_m2


def test_parts_in_a_chain_are_one_field(read):
    for order in permutations(range(5)):
        chain = [[square(9.0 + k * (STEP + 0.0003))] for k in order]
        assert len(read(multipolygon(*chain)).fields) == 1


def test_overlapping_parts_count_once(read):
    found = read(multipolygon([square()], [square(9.0 + 0.5 * STEP)]))
    assert found.fields[0].area_m2 == pytest.approx(1.5 * 78.85 * 111.13, rel=2e-3)
    assert "overlap" in found.warnings[0].message


def test_self_crossing_is_skipped_and_said(read):
    bow_tie = [[9.0, 45.0], [9.002, 45.002], [9.002, 45.0], [9.0, 45.001], [9.0, 45.0]]
    document = collection(feature(polygon(square(9.01))), feature(polygon(bow_tie)))
    found = read(document)
    assert [field.feature_number for field in found.fields] == [1]
    (problem,) = found.skipped
    assert problem.where == "feature 2"
    assert "crosses itself: self-intersection at [9.00" in problem.message
    repaired = read(document, repair=True)
    assert len(repaired.fields) == 2
    assert repaired.fields[1].polygon.is_valid


def test_ring_touching_itself_is_harmless(read):
    # Two triangles drawn as one ring that meets itself in a corner.
    ring = [[9.0, 45.0], [9.001, 45.0], [9.001, 45.001], [9.002, 45.001], [9.002, 45.002], [9.001, 45.001], [9.0, 45.0]]
    found = read(polygon(ring), smallest_m2=10.0)
    assert "repaired without changing its area" in found.warnings[0].message
    assert found.fields[0].area_m2 == pytest.approx(2 * 0.5 * 78.85 * 111.13, rel=2e-3)


def test_open_ring_is_closed(read):
    found = read(polygon(square()[:-1]))
    assert "not closed" in found.warnings[0].message
    assert len(found.fields) == 1


def test_what_is_no_field_is_skipped_with_its_reason(read):
    document = collection(
        feature(polygon(square())),
        feature(None),
        feature({"type": "Point", "coordinates": [9.0, 45.0]}),
        feature(polygon([[9.0, 45.0], [9.001, 45.0], [9.0, 45.0]])),
        feature(polygon([])),
        feature(polygon([[9.0, 45.0], [9.001, 45.0], [9.002, 45.0], [9.0, 45.0]])),
        feature(polygon(square(size=0.0001))),
    )
    found = read(document)
    assert [problem.where for problem in found.skipped] == [f"feature {number}" for number in range(2, 8)]
    for problem, text in zip(
        found.skipped,
        [
            "no geometry",
            "Point is not an area",
            "3 distinct corners",
            "3 distinct corners",
            "0 m2 is below",
            "88 m2 is below",
        ],
        strict=True,
    ):
        assert text in problem.message


def test_fields_on_both_sides_of_the_date_line(read):
    found = read(collection(feature(polygon(square(179.99))), feature(polygon(square(-179.99)))))
    one, two = (field.centroid_xy for field in found.fields)
    assert math.dist(one, two) < 2000.0


@pytest.mark.parametrize(
    ("document", "message"),
    [
        (b"", r"not valid JSON: Expecting value at line 1, column 1"),
        (b'{"type":\n "FeatureCollection",,', r"line 2, column"),
        (b"\xff\xfe\x00", "not UTF-8"),
        (b"[" * 200_000, "nested too deeply"),
        (b'{"type": "Polygon", "coordinates": [[[NaN, 1]]]}', "NaN is not a number"),
        (b'{"type": "Polygon", "coordinates": [[[' + b"9" * 5000 + b", 1]]]}", "not valid JSON"),
        (b'{"type": "Polygon", "coordinates": [[[1e999, 1]]]}', r"\[inf, 1\] is not a longitude"),
        (b'{"type": "Polygon", "coordinates": [[[' + b"9" * 400 + b", 1]]]}", "is not a longitude"),
        ([1, 2], "expected an object with a type, got a list"),
        ({"type": "Topology"}, "type must be FeatureCollection.* got 'Topology'"),
        ({"type": ["x"]}, "type must be"),
        ({"type": "FeatureCollection"}, "'features' must be a list, got nothing"),
        (collection(), "'features' is empty"),
        (collection(7), "feature 1: must be an object of type 'Feature', got a number"),
        (collection({"type": "Polygon"}), "got type 'Polygon'"),
        (collection(feature("x")), "geometry must be an object, got text"),
        (collection(feature({"type": "Circle"})), "got 'Circle'"),
        (collection(feature({"type": "GeometryCollection"})), "'geometries'"),
        (collection(feature({"type": "MultiPolygon", "coordinates": {}})), "list of polygons, got an object"),
        (collection(feature({"type": "Polygon"})), "list of rings, got nothing"),
        (collection(feature(polygon("abc"))), "a ring must be a list"),
        (collection(feature(polygon([1, 2]))), "a position must be"),
        (collection(feature(polygon([["9", "45"]]))), "two numbers"),
        (collection(feature(polygon([[True, 45.0]]))), "two numbers"),
        (collection(feature(polygon([[512000.0, 6200000.0]]))), r"WGS 84 \(EPSG:4326\), not on a metre"),
        (collection(feature(polygon(square(latitude=90.5)))), "is not a longitude"),
        (
            collection(feature(polygon(square())), crs={"type": "name", "properties": {"name": "EPSG:25832"}}),
            "coordinate system 'EPSG:25832'",
        ),
        (collection(feature({"type": "Point", "coordinates": [1, 2]})), "holds no polygon"),
        (collection(feature(polygon(square(size=1e-5)))), "holds no usable field"),
        (collection(feature(polygon(square())), feature(polygon(square(30.0)))), "more than 1000 km"),
        (polygon([[-170, -60], [0, -60], [170, -60], [170, 60], [-170, 60], [-170, -60]]), "more than 1000 km"),
    ],
)
def test_broken_files_are_refused_in_words(read, document, message):
    with pytest.raises(InputError, match=message) as caught:
        read(document)
    assert all(problem.file.endswith("fields.geojson") for problem in caught.value.problems)


def test_all_problems_at_once(read):
    with pytest.raises(InputError) as caught:
        read(collection(feature("x"), feature(polygon(square())), feature(polygon([[200, 0]])), 5))
    assert [problem.where for problem in caught.value.problems] == ["feature 1", "feature 3", "feature 4"]
    with pytest.raises(InputError, match="and 80 more problems"):
        read(collection(*[5] * 100))
