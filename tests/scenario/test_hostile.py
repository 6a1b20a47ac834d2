"""Hostile scenarios and files: refused with a reason, soon, and before anything is simulated."""

import copy
import json
import os
import re
import threading
from pathlib import Path

import pytest
from small_day import TABLE, table

from simulator.errors import InputError
from simulator.operation.day import simulate
from simulator.plan.day_plan import make_plan
from simulator.scenario import boundaries, csv_table, files, layers, loading
from simulator.scenario.boundaries import read_boundaries
from simulator.scenario.loading import load_scenario
from simulator.scenario.stopwatch import read_past_days, read_stopwatch
from simulator.scenario.streams import StreamBank
from simulator.scenario.toml_text import toml_document
from simulator.scenario.weather_file import read_weather

ZERO = {name: {"time": "0 s", "people": 0} for name in ("swap", "plug_in", "fill", "mix", "refuel")}
ZERO_FLIGHT = {
    "aircraft__big__turn_time": "0 s",
    "aircraft__big__take_off_time": "0 s",
    "aircraft__big__landing_time": "0 s",
    "rig__main__crew": {"tasks": ZERO},
}


def day_of(loaded):
    return simulate(make_plan(loaded.sets[0]), StreamBank(1).day(0), 0)


def refusal(call):
    with pytest.raises(InputError) as caught:
        call()
    return str(caught.value)


def fields(count, **more):
    return [{"name": f"f{place}", "area": "40 acre", **more} for place in range(count)]


@pytest.mark.parametrize(
    ("changes", "says"),
    [
        ({"field": [{"name": "a", "area": "1e9 acre"}]}, r"field.0.area: got '1e9 acre'; allowed is an area"),
        ({"field": [{"name": "a", "area": "1e-6 m^2"}]}, r"allowed is at least 1 m2"),
        ({"field": [{"name": "a", "area": "40 acre", "count": 10000}]}, r"got 10000 fields; allowed is at most"),
        ({"field": [{"name": "a", "area": "1e8 m^2", "count": 2000}]}, r"passes; allowed is at most 500000"),
        ({"aircraft__big__swath": "1 mm"}, r"more passes than can be planned"),
        ({"rig__main__packs": {"pack": 1_000_000}}, r"rig.main.packs.pack: got 1000000"),
        ({"rig__main__packs": {"pack": 10_000}}, r"got 10000 packs on one rig; allowed is at most"),
        ({"rig__main__aircraft": {"big": 10_000}}, r"got 10000 aircraft on all rigs; allowed is at most"),
        ({"rig__main__crew": {"pilots": 9_000}}, r"got 9001 people on one rig; allowed is at most"),
        ({"charger__charger__slots": 10_000}, r"got 10000 charger slots on one rig; allowed is at most"),
        ({"charger__charger__slots": 400, "rig__main__packs": {"pack": 900}}, r"360000 packs times charger slots"),
        ({"day": {"window": "4e7 s"}}, r"sorties in one day can be expected; allowed is at most 50000: give"),
        (
            {
                "field": [{"name": "a", "area": "1 m^2", "ferry_distance": "0 m"}],
                "day": {"window": "2000 h"},
                **ZERO_FLIGHT,
            },
            r"sorties in one day can be expected",
        ),
        ({"rig__main__supply": {"batch": "0.1 mL"}, "rig__main__crew": {"tasks": ZERO}}, r"mix batches in one day"),
        (
            {
                "rig__main__supply": {"nurse_water": "0.1 mL", "water_trip_time": "0 s"},
                "rig__main__crew": {"tasks": ZERO},
            },
            r"mix batches in one day",
        ),
        ({"generator__generator__fuel_tank": "1 mL"}, r"generator.generator.fuel_tank: .* allowed is at least 60 s"),
        ({"generator__generator__refuel_at": "100 %"}, r"generator.generator.fuel_tank: .* allowed is at least 60 s"),
        (
            {
                "day": {"window": "1e7 s"},
                "aircraft__big__take_off_time": "1e5 s",
                "weather": {"stoppages": {"time_between": "1 s", "length": "0 s"}},
            },
            r"stoppages in one day can be expected",
        ),
        (
            {
                "rig__main__trailer": {"yard_time": "1e8 s"},
                "weather": {"stoppages": {"time_between": "1 s", "length": "0 s"}},
            },
            r"stoppages in one day can be expected",
        ),
        ({"aircraft__big__flight_time_factor": "1e9"}, r"flight_time_factor"),
        ({"route": {"road_speed": "1e12 m/s"}}, r"route.road_speed: got '1e12 m/s', which is beyond all reason"),
        (
            {"route": {"road_speed": {"dist": "uniform", "low": "0 mph", "high": "0 mph"}}},
            r"allowed is a speed more than 0",
        ),
        ({"aircraft__big__turn_time": {"dist": "normal", "mean": "1 s", "sd": "1e300 s"}}, r"sd|beyond all reason"),
        ({"aircraft__big__turn_time": {"dist": "lognormal", "mean": "1 s", "cv": 1000}}, r"at most 10"),
        ({"aircraft__big__turn_time": {"dist": "gamma", "mean": "1 s", "cv": 1e-300}}, r"beyond all reason"),
        ({"pack__pack__cut_share": "1e-300"}, r"beyond all reason"),
        ({"generator__generator__rated_power": "1e-300 W"}, r"beyond all reason"),
        ({"weather": {"air_temperature": "nan degC"}}, r"weather.air_temperature"),
    ],
)
def test_sizes_that_would_never_end_are_refused_at_once(changes, says):
    assert re.search(says, refusal(lambda: load_scenario(table(**changes))))


@pytest.mark.parametrize("runs", ["1000000000000", "0", "-5", "1e3", "nan", "inf", "9" * 5000, "0x" + "f" * 5000])
def test_runs_beyond_reason(runs):
    assert "runs" in refusal(lambda: load_scenario(TABLE, [f"runs={runs}"]))


@pytest.mark.parametrize("value", ["nan", "inf", "-inf", "1e400", "-1e400 s", "1e308 s", "nan s", "-0.1 s", "1e-300 s"])
@pytest.mark.parametrize(
    "key",
    ["day.window", "aircraft.big.spray_speed", "pack.pack.reserve", "weather.altitude", "product.rate", "field.0.area"],
)
def test_no_number_that_is_none(key, value):
    assert key in refusal(lambda: load_scenario(TABLE, [f"{key}={value}"]))


def test_zero_times_everywhere_end():
    """A day without any duration but the spraying itself ends, within its window."""
    changes = {
        **ZERO_FLIGHT,
        "field": [{"name": "a", "area": "40 ha", "ferry_distance": "0 m", "drive_distance": "0 m"}],
    }
    day = day_of(load_scenario(table(**changes)))
    assert day.log.sorties
    assert day.log.last_landing_s <= 8 * 3600.0


@pytest.mark.parametrize("kind", ["list", "table"])
@pytest.mark.parametrize("depth", [100, 1000, 100_000])
@pytest.mark.parametrize("place", ["day", "unknown", "equipment_set"])
def test_deep_nesting(kind, depth, place):
    made = table()
    inner = 1
    for _ in range(depth):
        inner = [inner] if kind == "list" else {"a": inner}
    made[place] = {"a": {"day": inner}} if place == "equipment_set" else inner
    assert "nested more than" in refusal(lambda: load_scenario(made))


@pytest.mark.parametrize(
    ("content", "says"),
    [
        (b"a = " + b"[" * 100_000, "nested too deeply|broken TOML"),
        (b"a." * 1_000_000 + b"b = 1", "dotted key has more than 40 parts"),
        (b'"a" . ' * 500_000 + b"b = 1", "dotted key has more than 40 parts"),
        (b"a = { " + b"b." * 500_000 + b"c = 1 }", "dotted key has more than 40 parts"),
        (b"runs = 1\nruns = 2\n", "broken TOML"), (b"[day]\n[day]\n", "broken TOML"),
        (b"runs = \0", "broken TOML"), (b"title = '\xff\xfe'", "cannot be read"),
        (b"seed = " + b"9" * 5000, "cannot be read|broken"), (b"seed = 0x" + b"f" * 5000, "beyond 64 bits"),
        (b'title = "\\u0000"', "holds a NUL character"), (b'"\\u001b[2J" = 1', "printable characters"),
        ('"\u202eabc" = 1'.encode(), "printable characters"), (b"", "missing"),
    ],
)  # fmt: skip
def test_broken_and_malicious_toml(tmp_path, content, says):
    path = tmp_path / "scenario.toml"
    path.write_bytes(content)
    said = refusal(lambda: load_scenario(path))
    assert str(path) in said
    assert re.search(says, said)


def test_byte_order_mark_and_windows_line_ends_are_no_fault(tmp_path):
    path = tmp_path / "windows.toml"
    path.write_bytes(b"\xef\xbb\xbf" + toml_document(TABLE).replace("\n", "\r\n").encode())
    assert load_scenario(path).digest() == load_scenario(TABLE).digest()


def test_like_in_a_circle_or_without_end():
    made = table()
    for kind in ("aircraft", "rig"):
        made[kind].update(first={"like": "second"}, second={"like": "first"})
    said = refusal(lambda: load_scenario(made))
    assert said.count("leads back to itself") == 4
    made = table()
    made["aircraft"].update({f"a{place}": {"like": f"a{place + 1}"} for place in range(3000)})
    assert f"more than {layers.MOST_LIKES} other entries" in refusal(lambda: load_scenario(made))


def test_thousands_of_problems_are_cut():
    made = table(**{f"daz{place}": 1 for place in range(20_000)})
    with pytest.raises(InputError) as caught:
        load_scenario(made)
    assert len(caught.value.problems) <= loading.MOST_SHOWN + 1
    made = table(equipment_set={f"s{place}": {} for place in range(5000)})
    assert f"allowed is at most {loading.MOST_SETS}" in refusal(lambda: load_scenario(made))


@pytest.mark.parametrize(
    "text",
    [
        "", "=", "a", ".=1", "a..b=1", "\0=1", "runs", "runs=" + "[" * 5000, "a." * 5000 + "b=1",
        "title=" + "x" * 50_000, "field.\u00b2.name=a", "field.-1.name=a", "field." + "9" * 5000 + ".name=a",
        "field.7.name=a", "name.x=1", "title=\udcff", "day.start=07:00:00", "title=2024-01-01",
        "equipment_set=3", "equipment_set.\x1b.runs=5",
    ],
)  # fmt: skip
def test_settings(text):
    assert refusal(lambda: load_scenario(TABLE, [text]))


@pytest.mark.parametrize("name", ["", " ", "a\nb", "a\0b", "\u202eabc", "x" * 5000, "a/b", "\x1b[2J", "\ud800"])
@pytest.mark.parametrize("what", ["aircraft", "pack", "charger", "generator", "rig", "equipment_set"])
def test_names_that_nothing_could_show(what, name):
    made = table()
    made.setdefault("equipment_set", {"one": {}})
    if (what, name) == ("equipment_set", "a/b"):
        # it stands in no log, so a slash divides nothing there: such as "2/3 packs"
        name = "a\u200bb"
    made[what][name] = copy.deepcopy(next(iter(made[what].values())))
    assert re.search("printable", refusal(lambda: load_scenario(made)))


def test_names_that_only_look_odd_are_kept():
    made = table(equipment_set={"=1+1": {}, "<b>x</b>": {}, "Größe – 2": {}, "عربي": {}})
    assert [entry.name for entry in load_scenario(made).sets] == ["=1+1", "<b>x</b>", "Größe – 2", "عربي"]


@pytest.mark.parametrize("name", ["supply", "pilot 1", "helper 12", "big 1", "pack 2"])
def test_a_power_point_called_like_something_else_in_the_log(name):
    made = table()
    made["rig"]["main"]["power"] = {name: made["rig"]["main"]["power"]["trailer"]}
    assert "something else on the rig" in refusal(lambda: load_scenario(made))


def test_a_pack_called_like_its_aircraft():
    made = table()
    made["pack"]["big"] = made["pack"].pop("pack")
    made["charger"]["charger"]["serves"] = ["big"]
    made["rig"]["main"]["packs"] = {"big": 3}
    assert "rig.main.packs.big: the name 'big' is that of an aircraft too" in refusal(lambda: load_scenario(made))


@pytest.mark.parametrize(
    "values", [[], ["0 s"] * 3, ["-1 s"], ["nan s"], ["1e300 s"], [float("nan")], [None], [[]], "5 s", ["5 m"]]
)
def test_empirical_values(values):
    made = table(route__road_speed={"dist": "empirical", "values": values})
    assert "route.road_speed" in refusal(lambda: load_scenario(made))


# --- files that a scenario names ---


def anywhere(**changes):
    """Load a scenario that may name files out of its folder."""
    return load_scenario(table(**changes), allow_files_outside=True)


def with_shapes(key, path):
    """Load a scenario whose fields are good and whose obstacles or patches are in the file."""
    fields = Path(__file__).parents[2] / "scenarios" / "fields_willow_basin.geojson"
    return anywhere(field=[], field_file={"path": str(fields), "most": 2, key: str(path)})


READERS = {
    "scenario": lambda path: load_scenario(path),
    "manifest": lambda path: loading._load_manifest(path, [], None),
    "field file": lambda path: anywhere(field=[], field_file={"path": str(path)}),
    "--fields": lambda path: load_scenario(TABLE, fields=path),
    "obstacles": lambda path: with_shapes("obstacles", path),
    "patches": lambda path: with_shapes("patches", path),
    "distances": lambda path: anywhere(route__distance_table=str(path)),
    "scenario weather": lambda path: anywhere(weather={"file": {"path": str(path)}}),
    "boundaries": lambda path: read_boundaries(path),
    "stopwatch": lambda path: read_stopwatch(path),
    "past days": lambda path: read_past_days(path),
    "weather": lambda path: read_weather(path),
    "empirical": lambda path: anywhere(
        aircraft__big__turn_time={"dist": "empirical", "file": str(path), "column": "x", "unit": "s"}
    ),
}
SHAPES = ("field file", "obstacles", "patches")


def ending(kind):
    """Return how the name of a file ends that a scenario may name for a reader."""
    return ".geojson" if kind in SHAPES else ".csv"


@pytest.mark.parametrize("kind", READERS)
def test_devices_pipes_folders_and_loops_are_not_read(kind, tmp_path):
    """Reading outside the scenario's folder is allowed, for ordinary files; nothing else may hang or fill memory."""
    pipe, loop, link, folder = (tmp_path / f"{name}{ending(kind)}" for name in ("pipe", "loop", "link", "folder"))
    folder.mkdir()
    os.mkfifo(pipe)
    loop.symlink_to(loop)
    link.symlink_to("/dev/zero")
    for path in ("/dev/zero", "/dev/stdin", pipe, loop, link, tmp_path, folder, tmp_path / "none", "x" * 5000, "a\0b"):
        if os.path.exists(path) or not str(path).startswith("/dev"):  # noqa: PTH110  a Path would refuse some of these
            finished = threading.Event()
            said = []

            def attempt(path=path, finished=finished, said=said):
                said.append(refusal(lambda: READERS[kind](Path(path))))
                finished.set()

            thread = threading.Thread(target=attempt, daemon=True)
            thread.start()
            assert finished.wait(60.0), f"{kind} hangs on {str(path)[:40]}"
            assert said[0]


@pytest.mark.parametrize("kind", READERS)
def test_a_file_of_200_mb_is_refused_unread(kind, tmp_path, monkeypatch):
    path = tmp_path / f"huge{ending(kind)}"
    with path.open("wb") as handle:
        handle.truncate(200_000_000)  # sparse: it takes no room on the disk

    honest = os.fdopen

    def no_reading(number, *more, **named):
        if os.fstat(number).st_size > 150_000_000:
            raise AssertionError("a file that is too large was opened for reading")
        return honest(number, *more, **named)

    monkeypatch.setattr(files.os, "fdopen", no_reading)
    assert "larger than" in refusal(lambda: READERS[kind](path))


@pytest.mark.parametrize("kind", READERS)
@pytest.mark.parametrize(
    "content",
    [
        b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR" + bytes(range(256)), b"\x7fELF\x02\x01\x01" + b"\0" * 100,
        b"PK\x03\x04" + bytes(range(128, 256)),
        "name = 'x'\nturn,task,time,date,acres\n5,fill,5 s,1,1\n".encode("utf-16"),
        '{"type": "FeatureCollection", "features": []}'.encode("utf-16-le"),
        '{"type": "Feature"}'.encode("utf-32"), b"\xef\xbb\xbf", b"\xef\xbb\xbf\xef\xbb\xbfx = 1", b"\xc0\x80",
        b"\xed\xa0\x80 = 1", b"\0" * 10_000, b"\r" * 10_000,
    ],
)  # fmt: skip
def test_what_is_no_text_is_refused(kind, content, tmp_path):
    path = tmp_path / f"file{ending(kind)}"
    path.write_bytes(content)
    assert 0 < len(refusal(lambda: READERS[kind](path))) < 20_000


def test_a_file_that_grows_while_it_is_read_is_still_bounded(tmp_path, monkeypatch):
    path = tmp_path / "grows"
    path.write_bytes(b"x" * 100)
    real = os.fstat

    def small(number):
        status = list(real(number))
        status[6] = 5
        return os.stat_result(status)

    monkeypatch.setattr(files.os, "fstat", small)
    with pytest.raises(InputError, match="larger than"):
        files.read_ordinary_file(path, 50, "anything")


@pytest.mark.parametrize("name", ["", " ", "\0", "a\nb", "\u202e.csv", "x" * 5000, "../" * 400 + "etc"])
@pytest.mark.parametrize("key", ["field_file", "weather"])
def test_names_of_files(key, name):
    made = (
        table(field=[], field_file={"path": name}) if key == "field_file" else table(weather={"file": {"path": name}})
    )
    assert refusal(lambda: load_scenario(made))


def test_a_table_of_short_rows_does_not_take_the_product_of_rows_and_columns(tmp_path):
    """Forty thousand columns times forty thousand rows would be filled with nothing, cell by cell."""
    (tmp_path / "t.csv").write_text("x," + "y," * 40_000 + "\n" + "1\n" * 40_000)
    drawn = {"dist": "empirical", "file": "t.csv", "column": "x", "unit": "s"}
    loaded = load_scenario(table(aircraft__big__turn_time=drawn), folder=tmp_path)
    assert loaded.base.aircraft["big"].turn_time.mean() == 1.0


@pytest.mark.parametrize(
    ("text", "cells"), [("x,y\n5,1\n7,2\n", [5, 7]), ("x,y,x\n5,1,9\n5,1\n", [9]), ("\n\n  x,x\n1,3\n\n,\n", [3])]
)
def test_columns_of_measured_values(tmp_path, text, cells):
    """The last of two columns of one name counts, and short rows have none of it."""
    (tmp_path / "t.csv").write_text(text)
    drawn = {"dist": "empirical", "file": "t.csv", "column": "x", "unit": "s"}
    loaded = load_scenario(table(aircraft__big__turn_time=drawn), folder=tmp_path)
    assert loaded.base.aircraft["big"].turn_time.values == tuple(float(cell) for cell in cells)
    made = table(aircraft__big__turn_time={**drawn, "column": "xx"})
    assert "no column 'xx'; nearest known is 'x'" in refusal(lambda: load_scenario(made, folder=tmp_path))


@pytest.mark.parametrize("columns", [200_000, 3])
def test_no_search_for_the_nearest_among_thousands_of_columns(tmp_path, columns):
    path = tmp_path / "weather.csv"
    path.write_text(",".join(f"wi{place:05x}" for place in range(columns)) + "\n")
    names = {name: name for name in ("time", "wind", "temperature", "humidity")}
    assert "no column 'wind' for wind" in refusal(lambda: read_weather(path, names))


def test_long_cells_are_cut_in_messages(tmp_path):
    path = tmp_path / "weather.csv"
    long = "9" * 100_000
    for row in (f"{long},3,20,50", f"2024-06-01 00:00,{long},20,50", f"2024-06-01 00:00,5{'0' * 250},20,50"):
        path.write_text("time,wind,temperature,humidity\n" + f"{row}\n" * 20)
        columns = {name: name for name in ("time", "wind", "temperature", "humidity")}
        assert len(refusal(lambda columns=columns: read_weather(path, columns, least_hours=1))) < 20_000


# --- distance tables ---


def distances(tmp_path, text, **changes):
    (tmp_path / "km.csv").write_text(text)
    return load_scenario(table(route__distance_table="km.csv", **changes), folder=tmp_path)


def test_a_distance_table(tmp_path):
    loaded = distances(tmp_path, ",yard,one\nyard,0,3\none,4,0\n")
    assert loaded.sets[0].fields.drive_m == ((0.0, 3000.0), (4000.0, 0.0))


@pytest.mark.parametrize(
    "cell", ["1e308", "1e6", "-1", "nan", "inf", "", "x", "1e999", "9" * 400, "5 km", "=1+1", "\0"]
)
def test_distances_that_are_none(tmp_path, cell):
    assert re.search(
        "yard to one: got|NUL", refusal(lambda: distances(tmp_path, f",yard,one\nyard,0,{cell}\none,3,0\n"))
    )


@pytest.mark.parametrize(
    "text", ["", "\n", ",yard\n", ",yard,one\n", "yard,one\nyard,one\n", ",one,yard\none,1,1\n", '"']
)
def test_distance_tables_that_miss_a_place(tmp_path, text):
    assert re.search("no column for|no row for|cannot be read as CSV", refusal(lambda: distances(tmp_path, text)))


def test_a_distance_table_of_thousands_of_places(tmp_path):
    names = [f"a {place}" for place in range(1, 301)]
    rows = [",".join([name, *["3.25"] * 301]) for name in ("yard", *names)]
    more = {"field": [{"name": "a", "area": "1 ha", "count": 300}]}
    loaded = distances(tmp_path, "\n".join([",".join(["", "yard", *names]), *rows]), **more)
    assert len(loaded.sets[0].fields.drive_m) == 301
    header = ",yard," + ",".join(f"f{place}" for place in range(300_000))
    assert "no column for 'a 1'" in refusal(lambda: distances(tmp_path, f"{header}\nyard,0\n", **more))


# --- manifests ---


def manifest(tmp_path, document):
    path = tmp_path / "manifest.json"
    path.write_text(document if isinstance(document, str) else json.dumps(document))
    return load_scenario(path)


def test_a_manifest_is_a_scenario(tmp_path):
    loaded = manifest(tmp_path, {"resolved": {"=1+1": TABLE}, "seed": 5, "runs": {"=1+1": 7}})
    assert [entry.name for entry in loaded.sets] == ["=1+1"]
    assert (loaded.base.seed, loaded.base.runs) == (5, 7)


@pytest.mark.parametrize(
    "document",
    [
        "", "[" * 100_000, '{"a":' * 100_000, '{"resolved": {"a": ' + "9" * 5000 + "}}",
        {"resolved": {"a": {**TABLE, "runs": 1e999}}}, {"resolved": {"a": {**TABLE, "seed": float("nan")}}},
        {"resolved": {"a": TABLE}, "seed": [1]}, {"resolved": {"a": TABLE}, "runs": {"a": 10**30}},
        {"resolved": {"": TABLE}}, {"resolved": {"\u202eabc": TABLE}}, {"resolved": {"\x1b[2J": TABLE}},
        {"resolved": {"\ud800": TABLE}}, {"resolved": {"x" * 5000: TABLE}},
        {"resolved": {f"s{place}": {} for place in range(5000)}},
        {"resolved": {"a": {**TABLE, "day": json.loads('{"a":' * 900 + "1" + "}" * 900)}}},
    ],
    ids=range(15),
)  # fmt: skip
def test_hostile_manifests(tmp_path, document):
    assert len(refusal(lambda: manifest(tmp_path, document))) < 20_000


# --- many equipment sets ---


def test_sets_times_values_are_bounded():
    many = [{"name": f"f{place}", "area": "40 acre"} for place in range(900)]
    made = table(field=many, equipment_set={f"s{place}": {} for place in range(900)})
    assert "sets of so many values" in refusal(lambda: load_scenario(made))


def test_files_that_sets_share_are_read_once(tmp_path, monkeypatch):
    read = []
    honest = files.read_ordinary_file
    for module in (boundaries, csv_table):
        monkeypatch.setattr(
            module, "read_ordinary_file", lambda path, *more: (read.append(path.name), honest(path, *more))[1]
        )
    geojson(tmp_path, SQUARE)
    (tmp_path / "w.csv").write_text("t,w,c,h\n" + "\n".join(f"2024-06-01 {hour:02d}:00,3,20,50" for hour in range(24)))
    columns = {"time": "t", "wind": "w", "temperature": "c", "humidity": "h"}
    made = table(
        field=[],
        field_file={"path": "fields.geojson"},
        weather={"file": {"path": "w.csv", "columns": columns}},
        equipment_set={
            **{f"s{place}": {"rig": {"main": {"packs": {"pack": place}}}} for place in range(1, 30)},
            "buffered": {"field_file": {"buffer": "9 m"}},
            "later": {"day": {"start": "08:00"}},
        },
    )
    loaded = load_scenario(made, folder=tmp_path)
    assert read == ["fields.geojson", "w.csv", "fields.geojson", "w.csv"]
    areas = {entry.name: entry.fields.sites[0].area_m2 for entry in loaded.sets}
    assert areas["buffered"] < areas["s1"] == areas["later"]
    windows = {entry.name: entry.weather_days[0][0][0] for entry in loaded.sets}
    assert windows["later"] == windows["s1"] - 3600.0
    # what a file refuses is refused once, and said
    read.clear()
    (tmp_path / "w.csv").write_text("t,w,c,h\n")
    assert "w.csv" in refusal(lambda: load_scenario(made, folder=tmp_path))
    assert read.count("w.csv") == 2


# --- GeoJSON ---


def geojson(tmp_path, rings, kind="Polygon", count=1, **properties):
    one = {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": rings}}
    path = tmp_path / "fields.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [one] * count}))
    return path


SQUARE = [[[0, 0], [0.01, 0], [0.01, 0.01], [0, 0.01], [0, 0]]]


def test_thousands_of_parts_and_of_equal_names(tmp_path):
    squares = [
        [[[x * 0.002 + dx, y * 0.002 + dy] for dx, dy in ((0, 0), (0.001, 0), (0.001, 0.001), (0, 0.001), (0, 0))]]
        for x in range(60)
        for y in range(60)
    ]
    found = read_boundaries(geojson(tmp_path, squares, "MultiPolygon"))
    assert len(found.fields) == 3600
    found = read_boundaries(geojson(tmp_path, SQUARE, count=4000, name="home"))
    assert len({entry.name for entry in found.fields}) == 4000
    made = table(field=[], field_file={"path": "fields.geojson"})
    assert "allowed is at most 2000" in refusal(lambda: load_scenario(made, folder=tmp_path))


def test_names_from_geojson_are_printable(tmp_path):
    found = read_boundaries(geojson(tmp_path, SQUARE, name="\u202e\x1b[2J<b>=home\n\0" + "x" * 5000))
    assert found.fields[0].name.isprintable()
    assert len(found.fields[0].name) <= 60


# --- CSV ---


@pytest.mark.parametrize("reader", [read_stopwatch, read_past_days])
@pytest.mark.parametrize(
    "content",
    [
        b"", b"\n\n", b"#\n", b"\0", b"\xff", b'"', b"task,time\n" + b'"' + b"x" * 200_000, b"a," * 300_000,
        b"task,task,time\nfill,1,2\n", b"task,time\nfill,nan\n", b"task,time\nfill,inf s\n",
        b"task,time\nfill,1e999 s\n", b"task,time\nfill,-5 s\n", b"date,acres\n1,nan\n", b"date,acres\n1,-1\n",
        b"date,acres,fields\n1,5,1 acre x 9999; 1 acre x 9999\n", b"task,time\n" + b"x\n" * 10_000,
    ],
)  # fmt: skip
def test_csv(reader, content, tmp_path):
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    assert len(refusal(lambda: reader(path))) < 20_000


@pytest.mark.parametrize("date", ["9" * 30 + "/01/1997", "01/" + "9" * 30 + "/1997", "9" * 5000, "13/45/1", "//", ""])
def test_dates_of_a_typical_year(date, tmp_path):
    path = tmp_path / "typical.csv"
    head = "1,TOWN,UT,-7,38,-109,1000\nDate (MM/DD/YYYY),Time (HH:MM),Wspd (m/s),Dry-bulb (C),RHum (%)\n"
    path.write_text(f"{head}{date},01:00,3,12,50\n")
    assert "such as '06/01/1997'" in refusal(lambda: read_weather(path, least_hours=1))
