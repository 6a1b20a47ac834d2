"""Files that a scenario names: in its own folder, of the expected kind, and not quoted where they are not."""

import json
from pathlib import Path

import pytest
from command_line import call
from small_day import table

from simulator.errors import InputError
from simulator.scenario.loading import load_scenario, vary
from simulator.scenario.toml_text import toml_document

SECRET = "root:x:0:0:hunter2"
RING = [[0.0, 0.0], [0.01, 0.0], [0.01, 0.01], [0.0, 0.01], [0.0, 0.0]]
BOUNDARIES = json.dumps({"type": "Polygon", "coordinates": [RING]})
HOURS = "time,wind,temperature,humidity,secret\n" + "".join(
    f"2024-06-01 {hour:02d}:00,3,21,55,{SECRET}\n" for hour in range(24)
)
COLUMNS = {"time": "time", "wind": "wind", "temperature": "temperature", "humidity": "humidity"}


def drawn(name, column="turn"):
    return {"dist": "empirical", "file": name, "column": column, "unit": "s"}


def scenario(kind, name):
    made = table(day={"window": "1 h"})
    if kind == "times":
        made["aircraft"]["big"]["turn_time"] = drawn(name)
    elif kind == "boundaries":
        made |= {"field": [], "field_file": {"path": name}}
    elif kind == "obstacles":
        made |= {"field": [], "field_file": {"path": "good.geojson", "obstacles": name}}
    elif kind == "distances":
        made["route"] = {**made.get("route", {}), "distance_table": name}
    else:
        made["weather"] = {"file": {"path": name, "columns": COLUMNS, "months": [6]}}
    return made


GOOD = {
    "times": ("t.csv", "turn,secret\n5,hunter2\n6,x\n"),
    "boundaries": ("b.geojson", BOUNDARIES),
    "obstacles": ("o.geojson", BOUNDARIES.replace("0.01", "0.002")),
    "distances": ("d.csv", ",yard,one\nyard,0,3\none,3,0\n"),
    "weather": ("w.csv", HOURS),
}


@pytest.fixture
def folder(tmp_path):
    home = tmp_path / "home"
    home.mkdir()
    (home / "good.geojson").write_text(BOUNDARIES)
    return home


@pytest.mark.parametrize("kind", GOOD)
@pytest.mark.parametrize("way", ["relative", "absolute", "link"])
def test_a_file_out_of_the_folder_is_read_only_when_allowed(folder, kind, way):
    name, text = GOOD[kind]
    (folder / name).write_text(text)
    load_scenario(scenario(kind, name), folder=folder)
    outside = folder.parent / name
    (folder / name).rename(outside)
    named = {"relative": f"../{name}", "absolute": str(outside), "link": f"link{name}"}[way]
    if way == "link":
        (folder / named).symlink_to(outside)
    with pytest.raises(InputError, match=r"not in the scenario's folder.*--allow-files-outside") as caught:
        load_scenario(scenario(kind, named), folder=folder)
    assert "hunter2" not in str(caught.value)
    loaded = load_scenario(scenario(kind, named), folder=folder, allow_files_outside=True)
    # what was allowed stays so when a value is varied
    vary(loaded.sets[0], ["rig.main.packs.pack=4"], loaded.folder)


@pytest.mark.parametrize("kind", GOOD)
@pytest.mark.parametrize("name", ["passwd", "id.pem", "notes.txt", ".netrc", "x.toml", "w.xlsx"])
def test_a_file_of_another_kind_is_not_even_opened(folder, kind, name):
    (folder / name).write_text(f"{SECRET}\n{SECRET}\n")
    (folder / name).chmod(0)
    for outside in (False, True):
        with pytest.raises(InputError, match=r"allowed is a (CSV|boundary) file") as caught:
            load_scenario(scenario(kind, name), folder=folder, allow_files_outside=outside)
        assert "hunter2" not in str(caught.value)


@pytest.mark.parametrize("kind", GOOD)
@pytest.mark.parametrize(
    "text",
    [
        f"{SECRET}\n" * 30, f"a,{SECRET}\n" * 30, json.dumps({"type": SECRET, "key": SECRET}),
        json.dumps({"type": SECRET, "crs": {"properties": {"name": SECRET}}}), json.dumps([SECRET]),
        f"turn,time,wind,temperature,humidity,yard,one\n{','.join([SECRET] * 7)}\nyard,{','.join([SECRET] * 6)}\n",
    ],
)  # fmt: skip
def test_what_is_not_of_the_kind_is_not_quoted(folder, kind, text):
    name = f"secret{Path(GOOD[kind][0]).suffix}"
    (folder / name).write_text(text)
    with pytest.raises(InputError) as caught:
        load_scenario(scenario(kind, name), folder=folder)
    assert "hunter2" not in str(caught.value)


def test_files_of_the_command_line_may_lie_anywhere(folder, monkeypatch, capsys):
    (folder / "s.toml").write_text(toml_document(scenario("times", "../t.csv")))
    (folder.parent / "t.csv").write_text(GOOD["times"][1])
    (folder.parent / "b.json").write_text(BOUNDARIES)
    monkeypatch.chdir(folder)
    run = ("run", "s.toml", "--runs", "2", "--one-more-runs", "2", "--out", "out", "--fields", "../b.json")
    for more, code in (((), 2), (("--allow-files-outside",), 0)):
        assert call(*run, *more) == code
        said = capsys.readouterr().err
    # what is copied is said and listed
    assert "copied into the result: " in said
    manifest = json.loads((folder / "out/manifest.json").read_text())
    for name in ("input_t.csv", "input_b.json"):
        assert f"as {name}" in said
        assert name in manifest["files"]
        assert name in manifest["written"]
    assert json.loads((folder / "out/result.json").read_text())["equipment_sets"][0]["bottleneck"]["one_more"]
    # the result alone is enough to make it again
    (folder / "out").rename(folder.parent / "moved")
    monkeypatch.chdir(folder.parent)
    assert call("run", "moved/manifest.json", "--out", "again", "--one-more-runs", "2") == 0
