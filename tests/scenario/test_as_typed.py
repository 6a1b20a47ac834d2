"""What people type is read: units in any case, fractions, commas, smart quotes, files of spreadsheets and of maps."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from small_day import table

from simulator.errors import InputError
from simulator.scenario import units
from simulator.scenario.boundaries import read_boundaries
from simulator.scenario.loading import load_scenario
from simulator.scenario.starter import starter_text
from simulator.scenario.stopwatch import read_stopwatch
from simulator.scenario.units import UnitError, parse

MI = units.M_PER_MILE
GPA = units.LITRE_PER_GALLON / units.M2_PER_ACRE


@pytest.mark.parametrize(
    ("text", "dimension", "value"),
    [
        ("85 F", units.TEMPERATURE, 29.4444),
        ("85 °F", units.TEMPERATURE, 29.4444),
        ("85 degrees F", units.TEMPERATURE, 29.4444),
        ("29 C", units.TEMPERATURE, 29.0),
        ("\u22125 Celsius", units.TEMPERATURE, -5.0),
        ("2 GPA", units.LIQUID_RATE, 2 * GPA),
        ("2 Gal/Acre", units.LIQUID_RATE, 2 * GPA),
        ("2 gal per acre", units.LIQUID_RATE, 2 * GPA),
        ("10 gpm", units.LIQUID_FLOW, 10 * units.LITRE_PER_GALLON / 60),
        ("10 GPM", units.LIQUID_FLOW, 10 * units.LITRE_PER_GALLON / 60),
        ("75 percent", units.SHARE, 0.75),
        ("75 pct", units.SHARE, 0.75),
        ("3/4", units.SHARE, 0.75),
        ("3/4 mi", units.LENGTH, 0.75 * MI),
        ("1 1/2 mi", units.LENGTH, 1.5 * MI),
        ("1½ mi", units.LENGTH, 1.5 * MI),
        ("½ mi", units.LENGTH, 0.5 * MI),
        ("-1 1/2 degC", units.TEMPERATURE, -1.5),
        ("1,200 acres", units.AREA, 1200 * units.M2_PER_ACRE),
        ("1,234,567.5 acres", units.AREA, 1234567.5 * units.M2_PER_ACRE),
        ("“40 acre”", units.AREA, 40 * units.M2_PER_ACRE),
        ("40\u00a0acre", units.AREA, 40 * units.M2_PER_ACRE),
        ("15 MPH", units.SPEED, 15 * MI / 3600),
        ("9 KW", units.POWER, 9000.0),
        ("9 mW", units.POWER, 0.009),
        ("30 lbs/ac", units.DRY_RATE, 30 * units.KG_PER_POUND / units.M2_PER_ACRE),
        ("30 Feet", units.LENGTH, 9.144),
        ("2 m/s²", units.ACCELERATION, 2.0),
    ],
)
def test_quantities(text: str, dimension: units.Dimension, value: float) -> None:
    assert parse(text, dimension) == pytest.approx(value, rel=1e-5)


@pytest.mark.parametrize(
    ("text", "dimension", "example"),
    [
        ("85 m", units.TEMPERATURE, "'85 degF'"),
        ("10 gpm", units.LIQUID_RATE, "'2 gal/acre'"),
        ("1,5 ha", units.AREA, "'40 acre'"),
        ("1,20,000 acre", units.AREA, "'40 acre'"),
        ("1/0 mi", units.LENGTH, "'30 ft'"),
        ("5 1 m", units.LENGTH, "'30 ft'"),
        ("a lot", units.SHARE, "'20 %'"),
    ],
)
def test_what_cannot_be_read_names_a_unit_of_the_right_kind(
    text: str, dimension: units.Dimension, example: str
) -> None:
    with pytest.raises(UnitError, match="such as") as caught:
        parse(text, dimension)
    assert example in str(caught.value)


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_scenario_files_of_any_editor(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "mine.toml"
    text = starter_text("mine").replace('units = "us"', "units = “us”").replace('kind = "liquid"', "kind = ‘liquid’")
    path.write_bytes(text.encode(encoding))
    assert load_scenario(path).name == "mine"


def test_quotes_within_a_text_stay(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(starter_text("mine").replace("Our fields", "Our “best” fields"), encoding="utf-8")
    assert "“best”" in load_scenario(path).base.title


def test_tables_of_spreadsheets(tmp_path: Path) -> None:
    path = tmp_path / "times.csv"
    for encoding in ("utf-8-sig", "utf-16"):
        path.write_bytes("task,time\r\nswap,62 s\r\n".encode(encoding))
        assert len(read_stopwatch(path).timings) == 1


KML = '<?xml version="1.0"?><kml xmlns="http://www.opengis.net/kml/2.2"><Document/></kml>'


@pytest.mark.parametrize(
    ("name", "content", "says"),
    [
        ("fields.kml", KML, "KML"),
        ("fields.geojson", KML, "KML"),
        ("fields.json", "<gpx/>", "XML"),
        ("fields.geojson", "PK\x03\x04", "zip"),
    ],
)
def test_other_files_of_boundaries_are_named(tmp_path: Path, name: str, content: str, says: str) -> None:
    path = tmp_path / name
    path.write_text(content)
    with pytest.raises(InputError, match="export") as caught:
        load_scenario(table(field=[], field_file={"path": name}), folder=tmp_path)
    assert says in str(caught.value)
    with pytest.raises(InputError, match="export"):
        load_scenario(table(), fields=path)


def boundary(path: Path, corners: list[list[float]]) -> Path:
    path.write_text(json.dumps({"type": "Polygon", "coordinates": [[*corners, corners[0]]]}))
    return path


def test_latitude_and_longitude_exchanged(tmp_path: Path) -> None:
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
