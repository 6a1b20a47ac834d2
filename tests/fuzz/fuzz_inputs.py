"""What the fuzzers share: the readers under test, what may come out of them, and a corpus made by code."""

import copy
import json
import os
import sys
import tempfile
import time
import traceback
from pathlib import Path

from simulator.errors import InputError
from simulator.experiment.streams import StreamBank
from simulator.operation.day import simulate
from simulator.operation.plan import make_plan
from simulator.scenario.boundaries import read_boundaries
from simulator.scenario.loading import load_scenario, read_toml
from simulator.scenario.merge import parse_setting
from simulator.scenario.stopwatch import read_past_days, read_stopwatch
from simulator.scenario.toml_text import toml_document
from simulator.scenario.weather_file import read_weather

sys.path.insert(0, str(Path(__file__).parents[1] / "operation"))

from small_day import TABLE

MOST_S = 20.0
"""A single input that keeps a reader longer than this counts as a hang; ordinary ones take milliseconds."""
COLUMNS = {"time": "time", "wind": "wind", "temperature": "temperature", "humidity": "humidity", "rain": "rain"}


class _Scratch:
    """One file that is written anew for every input."""

    def __init__(self):
        self.folder = Path(tempfile.mkdtemp(prefix="acreday_fuzz_"))

    def file(self, name, data):
        path = self.folder / name
        path.write_bytes(data)
        return path


_scratch = _Scratch()


def _scenario_file(data):
    path = _scratch.file("scenario.toml", data)
    return load_scenario(read_toml(path), folder=_scratch.folder)


def _empirical(data):
    _scratch.file("times.csv", data)
    table = copy.deepcopy(TABLE)
    table["aircraft"]["big"]["turn_time"] = {"dist": "empirical", "file": "times.csv", "column": "turn", "unit": "s"}
    return load_scenario(table, folder=_scratch.folder)


def _field_file(data):
    _scratch.file("fields.geojson", data)
    table = copy.deepcopy(TABLE)
    table["field"], table["field_file"] = [], {"path": "fields.geojson", "buffer": "3 m"}
    return load_scenario(table, folder=_scratch.folder)


def _setting(data):
    text = data.decode("utf-8", "surrogateescape")
    parse_setting(text)
    return load_scenario(TABLE, [text], folder=_scratch.folder)


READERS = {
    "scenario": _scenario_file,
    "geojson": lambda data: read_boundaries(_scratch.file("boundaries.geojson", data)),
    "field file": _field_file,
    "stopwatch": lambda data: read_stopwatch(_scratch.file("stopwatch.csv", data)),
    "past days": lambda data: read_past_days(_scratch.file("past.csv", data)),
    "empirical": _empirical,
    "weather": lambda data: read_weather(_scratch.file("weather.csv", data), COLUMNS, least_hours=2),
    "typical year": lambda data: read_weather(_scratch.file("typical.csv", data), least_hours=2),
    "setting": _setting,
}


class UnexpectedError(AssertionError):
    """Something other than `InputError` came out of a reader, or it took too long."""


def read(kind, data):
    """Give bytes to a reader; return what it read, or None when it refused them in its own words."""
    return guarded(lambda: READERS[kind](data), f"{kind}: {data[:2000]!r}")


def guarded(call, said):
    """Call; only `InputError` with sane messages may come out, and within the time."""
    begun = time.perf_counter()
    try:
        return call()
    except InputError as error:
        length = len(str(error))
        if not error.problems or not 0 < length < 200_000:
            raise UnexpectedError(f"{said}: a refusal of {length} characters") from error
        return None
    except Exception as error:
        raise UnexpectedError(f"{said}\n{''.join(traceback.format_exception(error)[-3:])}") from error
    finally:
        spent = time.perf_counter() - begun
        if spent > MOST_S:
            raise UnexpectedError(f"{said}: {spent:.1f} s")


def simulate_one(loaded):
    """Plan and simulate one day of a scenario that was found valid; only `InputError` may come out."""

    def day():
        plan = make_plan(loaded.sets[0])
        return simulate(plan, StreamBank(1).day(0), 0)

    return guarded(day, json.dumps(loaded.sets[0].resolved, default=str)[:6000])


def ring(x=0.0, y=0.0, size=0.01, corners=4):
    """Return a closed ring of longitude and latitude."""
    import math

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


def corpus():
    """Return (kind of reader, bytes) of valid and nearly valid inputs, for a fuzzer to start from."""
    two = collection(feature([ring()], name="a"), feature([[ring(0.05)], [ring(0.09)]], "MultiPolygon", id=7))
    entries = {
        "scenario": [toml_document(TABLE), 'name = "x"\n[product]\nrate = "2 gal/acre"\n', "[[field]]\n" * 3],
        "geojson": [json.dumps(two), json.dumps(feature([ring(corners=60), ring(size=0.001)]))],
        "field file": [json.dumps(two)],
        "stopwatch": ["task,time,of\nswap,62 s,\nfill,1:02,big\n", "# made up\ntask,time_s\nturn,5\n"],
        "past days": ["date,acres,hours,fields,product.rate\n2024-05-01,140,9,80 acre; 45 acre x 2,2 gal/acre\n"],
        "empirical": ["turn,who\n5,a\n6.5,b\n", "\ufeffturn\r\n5\r\n"],
        "weather": [weather_rows()],
        "typical year": [typical_rows()],
        "setting": ["days=5", "route.road_speed={dist='normal',mean='20 mph',sd='3 mph'}", "field.0.area=12 ha"],
    }
    return [(kind, text.encode()) for kind, texts in entries.items() for text in texts]


def inputs_wanted(ordinary):
    """Return how many inputs to try: ``ACREDAY_FUZZ`` inputs where that is set, else the ordinary number."""
    text = os.environ.get("ACREDAY_FUZZ", "")
    return int(text) if text.isdigit() else ordinary
