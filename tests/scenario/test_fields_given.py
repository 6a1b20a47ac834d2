"""``--fields``: a file of any kind instead of the scenario's field list."""

import json

import pytest
from command_line import call
from map_files_made import SHAPES, geojson, geopackage, kml, packed, parts, shapefile
from small_day import TABLE, table

from simulator import run
from simulator.errors import InputError
from simulator.scenario.loading import load_scenario
from simulator.scenario.provenance import provenance
from simulator.scenario.toml_text import toml_document

M2_PER_ACRE = 4046.8564224


def acres(loaded):
    return [site.area_m2 / M2_PER_ACRE for site in loaded.sets[0].fields.sites]


def given(tmp_path, text, scenario=TABLE):
    (tmp_path / "f.csv").write_text(text)
    return load_scenario(scenario, fields=tmp_path / "f.csv")


def test_every_kind_gives_the_same_fields(tmp_path):
    kinds = {"a.geojson": geojson, "a.kml": kml, "a.zip": shapefile, "a.gpkg": geopackage}
    kinds["a.kmz"] = lambda: packed({"doc.kml": kml()})
    for name, make in kinds.items():
        (tmp_path / name).write_bytes(make())
    found = [load_scenario(TABLE, fields=tmp_path / name) for name in kinds]
    for loaded in found:
        assert [site.name for site in loaded.sets[0].fields.sites] == list(SHAPES)
        assert acres(loaded) == pytest.approx(acres(found[0]), rel=1e-3)


def test_a_table_of_fields(tmp_path):
    text = (
        "Name,Acres,length to width,Rate,count,open_from,Drive Distance,last_day\n"
        "home,80,,2.5 gal/acre,,,1.5 mi,\n,40.5,3,,2,09:00,,4\n"
    )
    drawn = table(field=[], field_file={"path": "not_read.geojson"})
    home, second, third = given(tmp_path, text, drawn).sets[0].fields.sites
    assert (home.name, second.name, third.name) == ("home", "field 2 1", "field 2 2")
    assert [site.area_m2 / M2_PER_ACRE for site in (home, second, third)] == pytest.approx([80.0, 40.5, 40.5])
    assert home.rate == pytest.approx(2.5 * 3.785411784 / M2_PER_ACRE)
    assert home.drive_distance_m == pytest.approx(1.5 * 1609.344)
    assert (second.length_to_width, second.open_from, second.last_day, second.rate) == (3.0, 9 * 3600.0, 4, None)
    assert acres(given(tmp_path, "hectares,name\n4.04686,a\n")) == pytest.approx([10.0], rel=1e-5)
    assert acres(given(tmp_path, "area\n12 ha\n10 acre\n")) == pytest.approx([29.65, 10.0], rel=1e-3)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "is no table of fields; allowed is a CSV with a row a field"),
        ("name,acres\n", "is no table of fields"),
        ("name,rate\nx,2 gal/acre\n", "is no table of fields"),
        ("acres,crop\n5,maize\n", r"line 1: got the column 'crop'; allowed is each once of name, area,"),
        ("acres,Acres\n5,6\n", "line 1: got the column 'acres'; allowed is each once"),
        ("acres,location\n5,1 mi\n", "got the column 'location'"),
        ("name,acres\na,5 ha\n", r"field.0.area: got '5 ha acre'"),
        ("name,acres\na,\n", r"field.0.area: missing"),
        ("name,acres\na,5\na,6\n", "the name 'a' stands twice"),
        ("acres,count\n5,two\n", r"field.0.count: got 'two'"),
        ("acres\n" + "5\n" * 2001, "got more than 2001 rows"),
    ],
)
def test_a_table_that_is_none(tmp_path, text, says):
    with pytest.raises(InputError, match=says):
        given(tmp_path, text)


def test_a_result_of_a_shapefile_has_all_of_its_parts(tmp_path, monkeypatch):
    for ending, content in parts().items():
        (tmp_path / f"a{ending}").write_bytes(content)
    home = tmp_path / "home"
    home.mkdir()
    (home / "s.toml").write_text(toml_document(table(day={"window": "1 h"})))
    monkeypatch.chdir(home)
    wanted = ("--runs", "2", "--one-more-runs", "0", "--out", "out", "--fields", "../a.shp")
    assert call("run", "s.toml", *wanted) == 0
    for part in tmp_path.glob("a.*"):
        part.unlink()
    manifest = json.loads((home / "out" / "manifest.json").read_text())
    assert {"input_a.shp", "input_a.shx", "input_a.dbf", "input_a.prj", "input_a.cpg"} <= set(manifest["written"])
    again = load_scenario(home / "out" / "manifest.json")
    assert [site.name for site in again.sets[0].fields.sites] == list(SHAPES)
    rows = (home / "out" / "runs.csv").read_text().splitlines()
    column = rows[0].split(",").index("acres")
    assert [float(row.split(",")[column]) for row in rows[1:]] == pytest.approx(
        run(again, runs=2, one_more_runs=0).runs["acres"].tolist(), rel=1e-6
    )


def test_where_the_fields_come_from_is_told(tmp_path):
    loaded = given(tmp_path, "name,acres\nhome,80\n")
    leaves = {leaf.key: leaf for leaf in provenance(loaded.sets[0], TABLE, fields=tmp_path / "f.csv")}
    assert (leaves["field.0.area"].value, leaves["field.0.area"].origin) == ("80 acre", "command line (--fields)")
