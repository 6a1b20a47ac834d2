"""A small real result, in memory and as a result folder, for the tests of reports."""

import copy
import functools
import json
from pathlib import Path

from simulator import load_scenario, run, simulate_day
from simulator.analysis.day_record import day_record
from simulator.plan.day_plan import make_plan
from simulator.report.folder import ResultFolder
from simulator.report.own_files import MANIFEST, WRITTEN, json_bytes, sha256_of
from simulator.report.writing import file_stem, safe_cell

SCENARIOS = Path(__file__).parents[2] / "scenarios"
HOSTILE = "=1+1</script><script>alert(1)</script> & | `x` $\\frac{$ \x1b[31m _a_ \u202e\u0007"


@functools.cache
def sample_loaded():
    """Load the shipped scenario with 2, 3 and 4 packs, with mornings for days."""
    return load_scenario(SCENARIOS / "third_pack.toml", ["day.last_landing=10:00", "work_days=2"])


@functools.cache
def sample_result():
    return run(sample_loaded(), runs=12, one_more_runs=3)


@functools.cache
def sample_resolved():
    """Return the resolved scenario of every set, as a manifest holds it."""
    return {entry.name: json.loads(json.dumps(entry.resolved, default=str)) for entry in sample_loaded().sets}


@functools.cache
def sample_day(name="third_pack"):
    """Return the plan and one day of a shipped scenario's first set."""
    loaded = load_scenario(SCENARIOS / f"{name}.toml")
    return make_plan(loaded.sets[0]), simulate_day(loaded)


def sample_job():
    """Return the job of one equipment set: 760 acres, done by 15:30 or 16:00 on work day 4."""
    finish = {"p50": {"work_day": 4, "hour_of_day": 8.5}, "p90": {"work_day": 4, "hour_of_day": 9.0}}
    return {
        "work": "once", "acres": 760.0, "list_acres": 760.0, "most_work_days": 60, "unreached_fields": [],
        "work_days": {"mean": 3.4, "ci95": [3.35, 3.45], "p50": 3.4, "p90": 3.6}, "done_share": 1.0,
        "done_by_work_day": [0.0, 0.0, 0.0, 1.0], "finish": finish, "paid_hours": 40.0, "crew_hours": 80.0,
        "generator_fuel_l": 150.0, "out_of_reach_acres": 0.0, "currency": "$",
        "cost_per_acre": {"mean": 8.4, "ci95": [8.3, 8.5]},
    }  # fmt: skip


def sample_document(units="us"):
    """Return a fresh ``result.json``."""
    document = copy.deepcopy(sample_result().to_json())
    for entry in document["equipment_sets"]:
        entry["label"] = ""  # sets show their names, unless a test gives one
    document |= {"units": units, "day_start_s": 7 * 3600.0, "title": "Third pack", "invented": True}
    return document


def sample_manifest():
    """Return a fresh ``manifest.json``."""
    return {
        "acreday_version": "0.1.0",
        "python": "3.11",
        "engine": "simpy",
        "created": "2026-05-04T06:00:00+00:00",
        "command": "acreday run third_pack.toml",
        "scenario_sha256": "ab" * 32,
        "resolved": copy.deepcopy(sample_resolved()),
    }


@functools.cache
def _record():
    plan, day = sample_day()
    return dict(json.loads(json.dumps(day_record(plan, day))))


def sample_record():
    """Return a fresh record of a day, with two fields of known names and outlines."""
    square = [[0.0, 0.0], [400.0, 0.0], [400.0, 800.0], [0.0, 800.0], [0.0, 0.0]]
    record = copy.deepcopy(_record())
    for name, shift, entry in zip(("east bench", "creek quarter"), (0.0, 600.0), record["fields"], strict=False):
        entry |= {"name": name, "area_m2": 320_000.0, "rings": [[[x + shift, y] for x, y in square]]}
    record["fields"] = record["fields"][:2]
    record["layout"], record["fields_left_out"] = "invented", 0
    return record


def write_folder(folder, rename=None, units="us"):
    """Write the sample as a result folder, with sets renamed if asked."""
    rename = rename or {}
    folder.mkdir(parents=True)
    result, document, manifest = sample_result(), sample_document(units), sample_manifest()
    for entry in document["equipment_sets"]:
        entry["name"] = rename.get(entry["name"], entry["name"])
        (folder / f"day_{file_stem(entry['name'])}.json").write_text(json.dumps(sample_record()), encoding="utf-8")
    for pair in document["paired"]:
        pair["a"], pair["b"] = rename.get(pair["a"], pair["a"]), rename.get(pair["b"], pair["b"])
    manifest["resolved"] = {rename.get(name, name): table for name, table in manifest["resolved"].items()}
    (folder / "result.json").write_text(json.dumps(document), encoding="utf-8")
    (folder / "manifest.json").write_text(json.dumps(manifest), encoding="utf-8")
    for name, frame in renamed_tables(result, rename).items():
        safe = frame.map(safe_cell)
        safe.to_csv(folder / f"{name}.csv", index=False, lineterminator="\n")
    return folder


def renamed_tables(result, rename):
    """Return the three tables with sets renamed."""
    tables = {"runs": result.runs, "time_use": result.time_use, "bottleneck": result.bottleneck}
    return {
        name: frame.assign(equipment_set=[rename.get(one, one) for one in frame["equipment_set"]])
        for name, frame in tables.items()
    }


def assert_nothing_cut_off(figure):
    """Check that all that is drawn lies within the sheet."""
    figure.draw_without_rendering()
    box = figure.get_tightbbox()
    width, height = figure.get_size_inches()
    assert box.width > 0.5 * width
    assert box.x0 >= -0.01, box
    assert box.y0 >= -0.01, box
    assert box.x1 <= width + 0.01, box
    assert box.y1 <= height + 0.01, box


OWN = {"acreday_version": "0.1.0"}


def own(folder):
    """Return the manifest of a folder that holds runs.csv."""
    return json_bytes({**OWN, WRITTEN: {"runs.csv": sha256_of(folder / "runs.csv")}}).decode()


def older_result(folder, text="old"):
    """Make a folder that acreday may have written."""
    folder.mkdir(parents=True)
    (folder / "runs.csv").write_text(text)
    (folder / MANIFEST).write_text(own(folder))
    return folder


def write_result(folder, force=False):
    """Write a result of one file."""
    with ResultFolder(folder, force) as result:
        result.write_text("runs.csv", "new")
        result.write_manifest(OWN)
        result.finish()
