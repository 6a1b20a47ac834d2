"""What people have is read: files of any editor and spreadsheet; what is another kind of map is named."""

import json

import pytest
from small_day import table

from simulator.errors import InputError
from simulator.scenario.boundaries import read_boundaries
from simulator.scenario.loading import load_scenario
from simulator.scenario.starter import starter_text
from simulator.scenario.stopwatch import read_stopwatch


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_scenario_files_of_any_editor(tmp_path, encoding):
    path = tmp_path / "mine.toml"
    text = starter_text("mine").replace('units = "us"', "units = “us”").replace('kind = "liquid"', "kind = ‘liquid’")
    path.write_bytes(text.encode(encoding))
    assert load_scenario(path).name == "mine"


def test_quotes_within_a_text_stay(tmp_path):
    path = tmp_path / "mine.toml"
    path.write_text(starter_text("mine").replace("Our fields", "Our “best” fields"), encoding="utf-8")
    assert "“best”" in load_scenario(path).base.title


def test_tables_of_spreadsheets(tmp_path):
    path = tmp_path / "times.csv"
    for encoding in ("utf-8-sig", "utf-16"):
        path.write_bytes("task,time\r\nswap,62 s\r\n".encode(encoding))
        assert len(read_stopwatch(path).timings) == 1


KML = '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document/></kml>'


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("fields.kml", KML, "holds no polygon"),
        ("fields.geojson", KML, "holds no polygon"),
        ("fields.json", "<gpx/>", "is XML, but not KML"),
        ("fields.geojson", "PK\x03\x04", "is a damaged zip file"),
    ],
)
def test_other_files_of_boundaries_are_named(tmp_path, name, content, says):
    path = tmp_path / name
    path.write_text(content)
    with pytest.raises(InputError, match=says):
        load_scenario(table(field=[], field_file={"path": name}), folder=tmp_path)
    with pytest.raises(InputError, match=says):
        load_scenario(table(), fields=path)


def boundary(path, corners):
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [[*corners, corners[0]]]}))
    return path


def test_latitude_and_longitude_exchanged(tmp_path):
    corners = [[-93.60, 41.50], [-93.59, 41.50], [-93.59, 41.51]]
    path = boundary(tmp_path / "a.geojson", corners)
    made = table(field=[], field_file={"path": path.name}, yard={"lon_lat": [41.5, -93.6]})
    with pytest.raises(InputError, match="latitude and longitude are exchanged"):
        load_scenario(made, folder=tmp_path)
    near = read_boundaries(boundary(path, [[9.6, 51.5], [9.61, 51.5], [9.61, 51.51]]))
    with pytest.raises(InputError, match="latitude and longitude are exchanged"):
        near.to_grid(51.5, 9.6)
    with pytest.raises(InputError, match=r"more than 1000 km from the fields$"):
        near.to_grid(100.0, 9.6)
    with pytest.raises(InputError, match="Latitude and longitude are exchanged"):
        read_boundaries(boundary(path, [[y, x] for x, y in corners]))
