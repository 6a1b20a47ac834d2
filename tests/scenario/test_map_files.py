"""KML, KMZ, shapefiles and GeoPackages: the same fields as from GeoJSON, and what is refused."""

import sqlite3
import struct
import subprocess
import sys
import tempfile
import zipfile

import numpy as np
import pytest
import shapely
from map_files_made import (
    EAST,
    NORTH,
    SHAPES,
    SYSTEMS,
    geojson,
    geopackage,
    kml,
    packed,
    parts,
    shapefile,
    written,
)
from small_day import table

from simulator.errors import InputError
from simulator.scenario import boundaries, map_files
from simulator.scenario.boundaries import parse_boundaries, read_boundaries
from simulator.scenario.loading import load_scenario


def acres(found):
    return {field.name: field.area_m2 / 4046.8564224 for field in found.fields}


WANTED = acres(parse_boundaries(geojson(), "fields.geojson"))


def same(found):
    assert found.skipped == []
    assert acres(found) == pytest.approx(WANTED, rel=1e-3)
    whole = parse_boundaries(geojson(), "")
    for one, other in zip(found.fields, whole.fields, strict=True):
        near = whole.from_other(found, one.polygon)
        # datums differ by a metre or two
        assert near.symmetric_difference(other.polygon).area < 0.02 * other.area_m2
        assert len(shapely.get_rings(one.polygon)) == len(shapely.get_rings(other.polygon))


def refusal(content):
    with pytest.raises(InputError) as caught:
        parse_boundaries(content, "dropped.zip")
    assert all(problem.file == "dropped.zip" for problem in caught.value.problems)
    return str(caught.value)


# --- the same fields ---


@pytest.mark.parametrize("system", SYSTEMS.values(), ids=SYSTEMS)
@pytest.mark.parametrize("make", [geopackage, shapefile])
def test_every_coordinate_system_gives_the_same_acres(make, system):
    found = parse_boundaries(make(system=system), "fields")
    same(found)
    assert found.warnings == []


def test_a_shapefile_beside_its_parts_in_any_case_of_letters(tmp_path):
    for ending, content in parts(system="EPSG:2264").items():
        (tmp_path / f"Fields{ending.upper()}").write_bytes(content)
    same(read_boundaries(tmp_path / "Fields.SHP"))
    (tmp_path / "Fields.PRJ").unlink()
    with pytest.raises(InputError, match=r"names no coordinate system.* in its \.prj"):
        read_boundaries(tmp_path / "Fields.SHP")
    (tmp_path / "Fields.SHX").unlink()
    with pytest.raises(InputError, match=r"needs its other parts: give \.shp, \.shx, \.dbf and \.prj"):
        read_boundaries(tmp_path / "Fields.SHP")


def test_parts_that_are_links_out_of_the_folder_are_not_read(tmp_path):
    (tmp_path / "home").mkdir()
    for ending, content in parts().items():
        (tmp_path / "home" / f"a{ending}").write_bytes(content)
    (tmp_path / "home" / "a.dbf").rename(tmp_path / "a.dbf")
    (tmp_path / "home" / "a.dbf").symlink_to(tmp_path / "a.dbf")
    assert read_boundaries(tmp_path / "home" / "a.shp").fields[0].name == "field 1"


def test_kml_and_kmz():
    same(parse_boundaries(kml(), "fields.kml"))
    same(parse_boundaries(kml().replace(b'encoding="UTF-8"', b'encoding="UTF-16"').decode().encode("utf-16"), "x"))
    same(parse_boundaries(packed({"doc.kml": kml(), "files/icon.png": b"x", "other.kml": b"<kml/>"}), "fields.kmz"))


@pytest.mark.parametrize("column", ["name", "NAME", "Field_Name", "FIELD", "fieldname", "label", "Field_ID", "id"])
def test_the_common_columns_of_names(column):
    assert set(acres(parse_boundaries(geopackage(column=column), ""))) == set(SHAPES)


def test_numbers_as_names_and_columns_of_no_name():
    shapes = dict(zip([7, 8.0, 9.5], SHAPES.values(), strict=True))
    assert list(acres(parse_boundaries(shapefile(shapes=shapes, column="ID"), ""))) == ["7", "8", "9.5"]
    assert list(acres(parse_boundaries(geopackage(column="crop"), ""))) == ["field 1", "field 2", "field 3"]


def test_names_of_kml():
    data = '<ExtendedData><SchemaData><SimpleData name="FIELD">{}</SimpleData></SchemaData></ExtendedData>'
    given = '<ExtendedData><Data name="Field_Name"><value>{}</value></Data></ExtendedData>'
    text = kml().decode()
    text = text.replace("<name>home</name>", data.format("north")).replace("<name>pond</name>", given.format("mill"))
    assert list(acres(parse_boundaries(text.encode(), ""))) == ["north", "mill", "two parts"]


def test_all_layers_are_used_and_said(tmp_path):
    for name in ("west", "east"):
        written(tmp_path / "a.gpkg", {name: SHAPES["home"]}, layer=name)
    written(tmp_path / "a.gpkg", {"well": shapely.Point(EAST, NORTH)}, kind="Point", layer="wells")
    found = read_boundaries(tmp_path / "a.gpkg")
    assert [field.name for field in found.fields] == ["west", "east"]
    assert [problem.message for problem in found.warnings] == ["holds 2 layers, and all are used: 'west', 'east'"]
    files = {f"{stem}{ending}": data for stem in ("A/b", "c") for ending, data in parts(shapes=SHAPES).items()}
    found = parse_boundaries(packed(files | {"__MACOSX/._c.shp": b"x"}), "")
    assert len(found.fields) == 6
    assert [problem.message for problem in found.warnings] == ["holds 2 shapefiles, and all are used: 'b', 'c'"]


def test_curves_become_lines(tmp_path):
    """A circle of 200 m, drawn as a curve, has the area of one; GDAL's lines follow it every four degrees."""
    path = written(tmp_path / "a.gpkg", {"home": SHAPES["home"]}, kind="Polygon")
    corners = [(500_000, 3_900_000), (500_200, 3_900_200), (500_400, 3_900_000), (500_200, 3_899_800)]
    circle = struct.pack("<BIIBII", 1, 10, 1, 1, 8, 5)
    circle += b"".join(struct.pack("<dd", *corner) for corner in [*corners, corners[0]])
    with sqlite3.connect(path) as base:
        for (name,) in base.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            base.execute(f'DROP TRIGGER "{name}"')
        (blob,) = base.execute("SELECT geom FROM a").fetchone()
        base.execute("UPDATE a SET geom = ?", (blob[:40] + circle,))
    (field,) = read_boundaries(path).fields
    # the scale of a zone's middle is 0.9996
    assert field.area_m2 == pytest.approx(np.pi * 200.0**2 / 0.9996**2, rel=2e-3)


def test_what_is_no_field_is_skipped_with_its_reason():
    shapes = {"none": None, "empty": shapely.MultiPolygon(), "home": SHAPES["home"]}
    found = parse_boundaries(geopackage(shapes=shapes), "a.gpkg")
    assert [str(problem) for problem in found.skipped] == [
        "a.gpkg: feature 1: skipped: it has no geometry",
        "a.gpkg: feature 2: skipped: fewer than 3 distinct corners, so it encloses no area",
    ]
    places = "<coordinates>-80,35 -80.1,35.1</coordinates>"
    others = [f"<Point>{places}</Point>", f"<LineString>{places}</LineString>", "<description>x</description>"]
    found = parse_boundaries(kml(more="".join(f"<Placemark>{one}</Placemark>" for one in others)), "a.kml")
    for problem, text in zip(found.skipped, ["Point is not", "LineString is not", "no geometry"], strict=True):
        assert text in problem.message


def test_degrees_without_a_coordinate_system_are_taken_as_such_and_said():
    for make in (shapefile, geopackage):
        found = parse_boundaries(make(system=None), "")
        assert acres(found) == pytest.approx(WANTED, rel=1e-9)
        assert "taken as longitude and latitude" in found.warnings[0].message


def test_network_links_are_not_followed_and_that_is_said():
    link = "<NetworkLink><Link><href>http://127.0.0.1:1/fields.kml</href></Link></NetworkLink>"
    found = parse_boundaries(kml(more=2 * link), "")
    assert [problem.message for problem in found.warnings] == [
        "its network links (2) are not followed: what they lead to is left out"
    ]
    assert "holds no polygon" in refusal(kml({}, link))
    assert "network links (1) are not followed" in refusal(kml({}, link))


# --- refused ---

LINES = shapely.box(EAST, NORTH, EAST + 0.01, NORTH + 0.01)
BROKEN_KML = kml({"a": LINES}).replace(b"-80.0,", b"west,", 1)


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"%PDF-1.7\xff", "not UTF-8 text.*allowed is GeoJSON, KML, KMZ, a shapefile or a GeoPackage"),
        (packed({"readme.txt": b"x"}), "zip file with 0 shapefiles and no KML"),
        (packed({"a.shp": b"\0\0\x27\x0a"}), "'a.shp' needs its other parts"),
        (b"PK\x03\x04", "damaged zip file"),
        (shapefile()[:-300], "damaged zip file"),
        (packed({f"{number}.shp": b"" for number in range(101)}), "101 shapefiles.*at most 100"),
        (b"PK" + b"PK\x01\x02" * 10_001, "more than 10000 files"),
        (parts()[".shp"], "the shapefile needs its other parts"),
        (b"<gpx></gpx>", "is XML, but not KML"),
        (b"<kml><Placemark></kml>", "is not valid XML: 'mismatched tag"),
        (b"<kml></kml>", "holds no polygon"),
        (b'<?xml version="1.0" encoding="klingon"?><kml></kml>', "is not valid XML"),
        (b'<!DOCTYPE kml [<!ENTITY a "b">]><kml>&a;</kml>', "declares a document type or entities"),
        (b'<!DOCTYPE kml SYSTEM "file:///etc/passwd"><kml/>', "declares a document type or entities"),
        (BROKEN_KML, "feature 1: a position must be two numbers"),
        (kml({"a": LINES}).replace(b"-80.0,", b"-280.0,"), r"feature 1: \[-280.0, 35.01\] is not a longitude"),
        (shapefile(system=None, shapes={"a": shapely.box(5e5, 4e6, 6e5, 5e6)}), "names no coordinate system"),
        (geopackage(system=None, shapes={"a": shapely.box(5e5, 4e6, 6e5, 5e6)}), "names no coordinate system"),
        (geopackage(shapes={"a": shapely.Point(EAST, NORTH)}, kind="Point"), "holds no polygon"),
        (geopackage()[:9000], "is a damaged GeoPackage"),
        (b"SQLite format 3\0" + bytes(4000), "is a damaged GeoPackage"),
    ],
)  # fmt: skip
def test_broken_files_are_refused_in_words(content, says):
    with pytest.raises(InputError, match=says):
        parse_boundaries(content, "")
    refusal(content)


def test_a_system_of_no_place_on_earth_is_refused():
    made = parts()
    made[".prj"] = b'LOCAL_CS["barn",UNIT["metre",1]]'
    assert "cannot be converted; allowed are those with a place on Earth" in refusal(
        packed({f"a{ending}": content for ending, content in made.items()})
    )


def test_a_system_whose_name_is_no_utf8(tmp_path):
    prj = parts()[".prj"].replace(b'PROJCS["', 'PROJCS["Krüger_'.encode("latin-1"))
    same(parse_boundaries(shapefile_with(prj=prj), ""))
    path = tmp_path / "a.gpkg"
    path.write_bytes(geopackage())
    with sqlite3.connect(path) as base:
        base.execute("UPDATE gpkg_spatial_ref_sys SET organization = 'x', definition = CAST(x'ff00fe' AS TEXT)")
    refusal(path.read_bytes())


def test_a_file_that_is_too_large(monkeypatch):
    contents = [geojson(), kml(), shapefile(), geopackage()]
    monkeypatch.setattr(map_files, "MOST_FEATURES", 2)
    assert all("more than 2 features" in refusal(content) for content in contents[1:])
    monkeypatch.setattr(map_files, "MOST_FEATURES", 100)
    monkeypatch.setattr(map_files, "MOST_CORNERS", 20)
    assert all("more than 20 corners" in refusal(content) for content in contents[2:])
    monkeypatch.setattr(boundaries, "FILE_LIMIT_BYTES", 100)
    assert all("larger than the limit" in refusal(content) for content in contents)


# --- hostile ---


def test_a_zip_bomb_is_not_unpacked(monkeypatch):
    monkeypatch.setattr(map_files, "MOST_UNZIPPED_BYTES", 1_000_000)
    assert "more than 1 MB unzipped" in refusal(packed({"a.kml": b" " * 5_000_000}))
    # what is too much together
    bomb = {f"{number}.{ending}": b" " * 300_000 for number in range(2) for ending in ("shp", "shx", "dbf")}
    assert "more than 1 MB unzipped" in refusal(packed(bomb))
    # what nobody asks for is not even looked at
    same(parse_boundaries(packed({"a.kml": kml(), "b.png": b" " * 5_000_000}), ""))


def test_a_password_or_a_rare_compression(tmp_path):
    path = tmp_path / "a.zip"
    with zipfile.ZipFile(path, "w", zipfile.ZIP_LZMA) as archive:
        archive.writestr("a.kml", kml())
    assert "password or a rare compression" in refusal(path.read_bytes())
    locked = bytearray(packed({"a.kml": kml()}))
    for mark, place in ((b"PK\x01\x02", 8), (b"PK\x03\x04", 6)):
        locked[locked.index(mark) + place] |= 1
    assert "password" in refusal(bytes(locked))


def test_names_in_a_zip_lead_nowhere(tmp_path, monkeypatch):
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "inner" / "temporary"))
    (tmp_path / "inner" / "temporary").mkdir(parents=True)
    for stem in ("../../out", str(tmp_path / "out"), "C:\\out", "a/../../../out"):
        same(parse_boundaries(shapefile(stem), ""))
    assert [path.name for path in tmp_path.rglob("*")] == ["inner", "temporary"]


def shapefile_with(**changes):
    made = parts() | {f".{ending}": content for ending, content in changes.items()}
    return packed({f"a{ending}": content for ending, content in made.items()})


def test_records_on_one_another_are_refused():
    """An index of many records that are one and the same large one would make a small file fill the memory."""
    index = parts()[".shx"]
    again = index + 1000 * index[100:108]
    length = struct.pack(">i", len(again) // 2)
    assert "holds less than its .shx says" in refusal(shapefile_with(shx=again[:24] + length + again[28:]))
    assert "its .shx is not as long as it says" in refusal(shapefile_with(shx=index[:-8]))
    beyond = index[:100] + struct.pack(">ii", 2**30, 50) + index[108:]
    assert "holds less than its .shx says" in refusal(shapefile_with(shx=beyond))
    negative = index[:100] + struct.pack(">ii", -50, 50) + index[108:]
    assert "holds less than its .shx says" in refusal(shapefile_with(shx=negative))
    assert "holds less than its .shx says" in refusal(shapefile_with(shp=parts()[".shp"][:-10]))


def test_an_area_of_thousands_of_rings_is_refused():
    shapes = bytearray(parts()[".shp"])
    shapes[144:148] = struct.pack("<i", 30_000)
    assert "areas of up to 30000 rings; allowed are simpler ones" in refusal(shapefile_with(shp=bytes(shapes)))


@pytest.mark.parametrize(
    "statement",
    [
        "CREATE VIEW endless AS WITH RECURSIVE n(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM n) SELECT x FROM n",
        "CREATE TABLE large (a, b GENERATED ALWAYS AS (zeroblob(1000000000)))",
        "CREATE VIRTUAL TABLE words USING fts5(a)",
    ],
)
def test_a_database_that_computes_is_refused(tmp_path, statement):
    path = tmp_path / "a.gpkg"
    path.write_bytes(geopackage())
    with sqlite3.connect(path) as base:
        base.execute(statement)
    assert "holds views or computed columns" in refusal(path.read_bytes())


def test_another_database_is_no_geopackage(tmp_path):
    with sqlite3.connect(tmp_path / "a.gpkg") as base:
        base.execute("CREATE TABLE passwords (a)")
    said = refusal((tmp_path / "a.gpkg").read_bytes())
    assert "is a database, but no GeoPackage" in said
    assert "passwords" not in said


def test_pages_that_are_counted_again_and_again_are_refused(tmp_path):
    """A tree whose branches all lead to one page holds, level by level, hundreds of times more rows than its file."""
    path = tmp_path / "a.gpkg"
    path.write_bytes(geopackage())
    with sqlite3.connect(path) as base:
        base.execute("CREATE TABLE long (a)")
        base.executemany("INSERT INTO long VALUES (?)", [("x" * 3000,)] * 20)
        (root,) = base.execute("SELECT rootpage FROM sqlite_master WHERE name = 'long'").fetchone()
    content = bytearray(path.read_bytes())
    page = 4096 * (root - 1)
    assert content[page] == 5  # an inner page of a table
    (cells,) = struct.unpack(">H", content[page + 3 : page + 5])
    places = struct.unpack(f">{cells}H", content[page + 12 : page + 12 + 2 * cells])
    for place in places:
        content[page + place : page + place + 4] = content[page + places[0] : page + places[0] + 4]
    assert "is a damaged GeoPackage" in refusal(bytes(content))


def test_a_database_that_never_ends_is_broken_off(monkeypatch):
    monkeypatch.setattr(map_files, "_SQLITE_STEPS", 0)
    monkeypatch.setattr(map_files, "_STEPS_AT_ONCE", 10)
    assert "is a damaged GeoPackage: 'interrupted'" in refusal(geopackage())


def test_deeply_nested_placemarks_are_read_once():
    polygon = kml({"a": LINES}).decode().partition("<Placemark>")[2].partition("</Placemark>")[0]
    nested = f"<kml>{'<Placemark>' * 20_000}{polygon}{'</Placemark>' * 20_000}</kml>"
    found = parse_boundaries(nested.encode(), "")
    assert len(found.fields) == 1
    assert len(found.skipped) == 19_999


# --- in a scenario ---


@pytest.mark.parametrize("name", ["a.kml", "a.KMZ", "a.zip", "a.gpkg"])
def test_a_scenario_names_any_of_them(tmp_path, name):
    content = {"kml": kml, "kmz": lambda: packed({"a.kml": kml()}), "zip": shapefile, "gpkg": geopackage}
    (tmp_path / name).write_bytes(content[name[2:].lower()]())
    obstacle = {"shed": shapely.box(EAST + 0.001, NORTH + 0.001, EAST + 0.002, NORTH + 0.002)}
    (tmp_path / "o.zip").write_bytes(shapefile(shapes=obstacle))
    made = table(field=[], field_file={"path": name, "obstacles": "o.zip"})
    sites = load_scenario(made, folder=tmp_path).sets[0].fields.sites
    assert [site.name for site in sites] == list(SHAPES)
    assert sites[0].area_m2 / 4046.8564224 < WANTED["home"] - 2.0
    assert sites[1].area_m2 / 4046.8564224 == pytest.approx(WANTED["pond"], rel=1e-3)


def test_the_library_is_loaded_for_its_files_only(tmp_path):
    (tmp_path / "a.geojson").write_bytes(geojson())
    (tmp_path / "a.kml").write_bytes(kml())
    (tmp_path / "a.gpkg").write_bytes(geopackage())
    program = (
        "import sys; from pathlib import Path; from simulator.scenario.boundaries import read_boundaries as read\n"
        "read(Path('a.geojson')); read(Path('a.kml')); print('pyogrio' in sys.modules)\n"
        "read(Path('a.gpkg')); print('pyogrio' in sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "True"]
