"""What the fuzzers share: the readers under test, what may come out of them, and a corpus made by code."""

import atexit
import copy
import json
import math
import os
import shutil
import sys
import tempfile
import traceback
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1] / "operation"))
sys.path.insert(0, str(Path(__file__).parents[1] / "scenario"))

import shapely
from bounds import bounded
from fuzz_results import RESULT_READERS, good, good_store, read_store
from map_files_made import geopackage, kml, packed, parts, shapefile
from small_day import TABLE, table

from simulator.errors import InputError
from simulator.operation.day import simulate
from simulator.plan.day_plan import make_plan
from simulator.scenario import units
from simulator.scenario.boundaries import parse_boundaries, read_boundaries
from simulator.scenario.loading import load_scenario
from simulator.scenario.merge import parse_setting
from simulator.scenario.stopwatch import read_past_days, read_stopwatch
from simulator.scenario.streams import StreamBank
from simulator.scenario.toml_text import toml_document
from simulator.scenario.weather_file import read_weather

MOST_S = 20.0
"""Processor time of one input; ordinary ones take milliseconds."""
MOST_MB = 1000
"""What one input may add to the process; ordinary ones add nothing."""
COLUMNS = {"time": "time", "wind": "wind", "temperature": "temperature", "humidity": "humidity", "rain": "rain"}


_FOLDER = Path(tempfile.mkdtemp(prefix="acreday_fuzz_"))
atexit.register(shutil.rmtree, _FOLDER, ignore_errors=True)


def _file(name, data):
    """Write a file anew for every input."""
    path = _FOLDER / name
    path.write_bytes(data)
    return path


def _load(name, data, **changes):
    """Load the small scenario with changes that name a file of these bytes."""
    path = _file(name, data)
    named = {key: json.loads(json.dumps(value).replace("FILE", path.name)) for key, value in changes.items()}
    return load_scenario(table(**named), folder=_FOLDER)


def _scenario_file(data):
    return load_scenario(_file("scenario.toml", data), folder=_FOLDER)


def _manifest(data):
    return load_scenario(_file("manifest.json", data), folder=_FOLDER)


def _empirical(data):
    drawn = {"dist": "empirical", "file": "FILE", "column": "turn", "unit": "s"}
    return _load("times.csv", data, aircraft__big__turn_time=drawn)


def _boundaries(data):
    found = read_boundaries(_file("boundaries.geojson", data))
    if not found.fields or not all(field.polygon.is_valid and field.area_m2 > 0.0 for field in found.fields):
        raise UnexpectedError("a field that is none")
    return found


def _field_file(data):
    return _load("fields.geojson", data, field=[], field_file={"path": "FILE", "buffer": "3 m"})


def _other_shapes(key):
    fields = _file("good.geojson", json.dumps(collection(feature([ring()], name="a"))).encode())

    def read_shapes(data):
        table = {"path": fields.name, key: "FILE", "obstacle_clearance": "4 m"}
        return _load("shapes.geojson", data, field=[], field_file=table)

    return read_shapes


def _scenario_weather(data):
    table = {"path": "FILE", "columns": COLUMNS, "months": [5, 6, 7]}
    return _load("hours.csv", data, weather={"file": table})


def _fields_given(data):
    return load_scenario(TABLE, fields=_file("list.csv", data))


def _setting(data):
    text = data.decode("utf-8", "surrogateescape")
    parse_setting(text)
    return load_scenario(TABLE, [text], folder=_FOLDER)


def _quantity(data):
    text = data.decode("utf-8", "surrogateescape")
    found = []
    for dimension in DIMENSIONS:
        try:
            value = units.parse(text, dimension)
        except units.UnitError:
            continue
        if not math.isfinite(value):
            raise UnexpectedError(f"{text!r} is {value}")
        found.append(value)
    return found or None


class UnexpectedError(AssertionError):
    """Something other than `InputError` came out of a reader, or it took too long."""


def read(kind, data):
    """Give bytes to a reader; return what it read, or None when it refused them in its own words."""
    return guarded(lambda: READERS[kind](data), f"{kind}: {data[:2000]!r}")


def guarded(call, said):
    """Call; only `InputError` with sane messages may come out, and within the bounds of time and memory."""
    try:
        with bounded(MOST_S, MOST_MB):
            return call()
    except InputError as error:
        length = len(str(error))
        if not error.problems or not 0 < length < 200_000:
            raise UnexpectedError(f"{said}: a refusal of {length} characters") from error
        return None
    except Exception as error:
        raise UnexpectedError(f"{said}\n{''.join(traceback.format_exception(error)[-3:])}") from error


def simulate_one(loaded):
    """Plan and simulate one day of a scenario that was found valid; only `InputError` may come out."""

    def day():
        plan = make_plan(loaded.sets[0])
        return simulate(plan, StreamBank(1).day(0), 0)

    return guarded(day, json.dumps(loaded.sets[0].resolved, default=str)[:6000])


def ring(x=0.0, y=0.0, size=0.01, corners=4):
    """Return a closed ring of longitude and latitude."""
    turns = [2 * math.pi * place / corners for place in range(corners)]
    points = [[x + size * math.cos(turn), y + size * math.sin(turn)] for turn in turns]
    return [*points, points[0]]


def feature(rings, kind="Polygon", **properties):
    return {"type": "Feature", "properties": properties, "geometry": {"type": kind, "coordinates": rings}}


def collection(*features):
    return {"type": "FeatureCollection", "features": list(features)}


def weather_rows(hours=30):
    rows = ["time,wind,temperature,humidity,rain"]
    rows += [f"2024-06-{1 + hour // 24:02d} {hour % 24:02d}:00,3.1,21,55,0" for hour in range(hours)]
    return "\n".join(rows)


def typical_rows(hours=26):
    head = '724776,"TOWN",UT,-7.0,38.58,-109.54,1000\n'
    head += "Date (MM/DD/YYYY),Time (HH:MM),Wspd (m/s),Dry-bulb (C),RHum (%),Lprecip depth (mm),Lprecip quantity (hr)\n"
    rows = [f"01/{1 + hour // 24:02d}/1997,{hour % 24 + 1:02d}:00,3,12,50,0,1" for hour in range(hours)]
    return head + "\n".join(rows)


READERS = {
    "scenario": _scenario_file, "manifest": _manifest,
    "geojson": _boundaries,
    **dict.fromkeys(("kml", "zip", "geopackage"), lambda data: parse_boundaries(data, "dropped")),
    "field table": _fields_given,
    "field file": _field_file, "obstacles": _other_shapes("obstacles"), "patches": _other_shapes("patches"),
    "stopwatch": lambda data: read_stopwatch(_file("stopwatch.csv", data)),
    "past days": lambda data: read_past_days(_file("past.csv", data)),
    "empirical": _empirical,
    "distances": lambda data: _load("km.csv", data, route__distance_table="FILE"),
    "weather": lambda data: read_weather(_file("weather.csv", data), COLUMNS, least_hours=2),
    "scenario weather": _scenario_weather,
    "typical year": lambda data: read_weather(_file("typical.csv", data), least_hours=2),
    "setting": _setting, "quantity": _quantity, "unfinished run": read_store, **RESULT_READERS,
}  # fmt: skip
"""Kind of input to what reads its bytes."""
DIMENSIONS = [value for value in vars(units).values() if isinstance(value, units.Dimension)]


def wide_table():
    """Return a valid scenario that writes out nearly every key that there is."""
    made = copy.deepcopy(TABLE)
    made = copy.deepcopy(load_scenario(made).sets[0].resolved)
    for kind in ("aircraft", "pack", "charger", "generator", "rig"):
        for entry in made[kind].values():
            entry.pop("like", None)
    item = {"purchase": 1000.0, "life_years": "5", "life_cycles": "800", "life_hours": "900"}
    made.update(
        title="A title",
        notes="Invented.",
        invented=True,
        costs={
            "price_per_acre": 15.0, "season_demand": "9000 acre", "pump": item,
            **{kind: {name: dict(item) for name in made[kind]} for kind in ("aircraft", "pack", "charger", "rig")},
        },
        range={"pack.pack.cooling_time": ["1 min", "9 min"], "aircraft.big.swath": ["7 m", "9 m"]},
        rigs_used=["main"],
        equipment_set={"base": {}, "four": {"rig": {"main": {"packs": {"pack": 4}}}, "seed": 3}},
    )  # fmt: skip
    made["day"]["breaks"] = [{"start": "12:00", "length": "30 min"}]
    made["weather"]["stoppages"] = {
        "time_between": {"dist": "exponential", "mean": "3 h"},
        "length": {"dist": "weibull", "mean": "20 min", "shape": 1.5},
    }
    made["field"] += [
        {
            "name": "two", "area": "12 ha", "count": 2, "location": ["2 km", "-1 km"], "open_from": "08:00",
            "open_until": "16:00", "rate": "25 L/ha", "landing_zone": ["0 m", "-5 m"],
        }
    ]  # fmt: skip
    made["flying"]["visual_range"] = "500 m"
    made["route"]["roads"] = "typical"
    made["aircraft"]["big"].update(
        take_off_mass_max="110 kg",
        flow_max="12 L/min",
        hover={"pack": "pack", "full_time": "9 min", "empty_time": "18 min"},
        turn_limits={"acceleration": "2 m/s^2", "radius_least": "1 m"},
        breakdown={"airborne_time_between": {"dist": "gamma", "mean": "9 h", "cv": 1.0}, "repair_time": "20 min"},
        landing_time={"dist": "triangular", "low": "9 s", "mode": "12 s", "high": "30 s"},
        take_off_time={"dist": "empirical", "values": ["9 s", "12 s", "15 s"]},
    )
    made["pack"]["pack"]["cooling"] = {"after_flight": "45 degC", "limit": "38 degC", "time_constant": "20 min"}
    made["generator"]["generator"]["fuel_use"] = [{"load": "5 kW", "use": "2 L/h"}, {"load": "15 kW", "use": "5 L/h"}]
    return made


_TWO = collection(feature([ring()], name="a"), feature([[ring(0.05)], [ring(0.09)]], "MultiPolygon", id=7))
_STOPWATCH = (
    "task,time,of,amount,date\nswap,62 s,,,2024-05-01\nfill,1:02,big,38 L,\nturn,5 s,big,,\nPlug in,0:00,,,\n"
    "drive,9 min,main,2.5 mi,\ncharge,14 min,,75 %,\nwater-trip,1.5 min,,,\nmix,62.5 s,,,"
)
_PAST_DAYS = (
    "date,acres,hours,fields,product.rate,settings\n2024-05-01,140,9,80 acre; 45 acre x 2,2 gal/acre,runs=5\n"
    "2024-05-02,900,10.5,home = 12 ha; mill = 3 ha,20 L/ha,rig.main.packs.pack=4; seed=3\n2024-05-02,0,,80 acre,,"
)
GOOD = {
    "scenario": [
        toml_document(TABLE), toml_document(wide_table()), 'name = "x"\n[product]\nrate = "2 gal/acre"\n',
        "[[field]]\n" * 3,
    ],
    "geojson": [json.dumps(_TWO), json.dumps(feature([ring(corners=60), ring(size=0.001)]))],
    "field file": [json.dumps(_TWO)],
    "obstacles": [json.dumps(collection(feature([ring(size=0.002)])))],
    "patches": [json.dumps(collection(feature([ring(size=0.005)]), feature([ring(0.004, size=0.003)])))],
    "manifest": [json.dumps({"resolved": {"base": TABLE, "wide": wide_table()}, "seed": 3, "runs": {"base": 5}})],
    "distances": [",yard,one\nyard,0,3.5\none,3,0\n", ",yard,one,mill\nyard,0,3.5,9\none,3,0,2\nmill,9,2,0"],
    "scenario weather": [weather_rows()],
    "kml": [kml().decode()],
    "field table": ["name,acres,rate,count\nhome,80,2 gal/acre,\nmill,12.5,,3\n", "area\n5 ha\n"],
    "quantity": ["5 m", "2 gal/acre", "80 %", "3 m/s^2", "-4.5e-3 degC", "1.05", "15 kg/m**3 * m"],
    "stopwatch": [_STOPWATCH, "# made up\ntask,time_s\nturn,5\n"],
    "past days": [_PAST_DAYS],
    "empirical": ["turn,who\n5,a\n6.5,b\n", "\ufeffturn\r\n5\r\n"],
    "weather": [weather_rows(), weather_rows(2), weather_rows(49)],
    "typical year": [typical_rows()],
    "setting": ["runs=5", "route.road_speed={dist='normal',mean='20 mph',sd='3 mph'}", "field.0.area=12 ha"],
}  # fmt: skip
"""Reader to valid and nearly valid texts."""


BOX = {"home": shapely.box(0.0, 0.0, 0.01, 0.01)}
SHAPEFILE = parts()


def corpus():
    """Return (kind of reader, bytes) of valid and nearly valid inputs, for a fuzzer to start from."""
    whole = GOOD | {kind: [json.dumps(table)] for kind, table in good().files.items()}
    return [
        *((kind, text.encode()) for kind, texts in whole.items() for text in texts),
        ("unfinished run", good_store()),
        *(("zip", data) for data in (shapefile(), packed({"doc.kml": kml()}), packed({}))),
        *(("geopackage", data) for data in (geopackage(), geopackage(kind="Polygon", shapes=BOX, system=None))),
    ]


def inputs_wanted(ordinary):
    """Return how many inputs to try: ``ACREDAY_FUZZ`` inputs where that is set, else the ordinary number."""
    text = os.environ.get("ACREDAY_FUZZ", "")
    return int(text) if text.isdigit() else ordinary
