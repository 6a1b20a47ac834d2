"""Readers of a stranger's result folder: one of its JSON files is given, and all that is made of a folder is made."""

import atexit
import copy
import functools
import json
import shutil
import tempfile
from pathlib import Path
from types import SimpleNamespace

import numpy as np
from mutations import mutate_some
from small_day import TABLE

from simulator import run, simulate_day
from simulator.analysis.day_record import day_record
from simulator.command.figure import _timeline
from simulator.experiment.run import make_plans
from simulator.experiment.run_store import RunStore
from simulator.plan.day_plan import make_plan
from simulator.report.html import report_page
from simulator.report.html_comparison import comparison_page
from simulator.report.own_files import foreign_files, whose
from simulator.report.quote_content import Asked, quote_content
from simulator.report.stored import read_result
from simulator.report.summary import summary_markdown
from simulator.report.text import result_table
from simulator.scenario.loading import load_scenario

NAMES = {"result": "result.json", "result manifest": "manifest.json", "day record": "day_one.json"}
"""Reader to the file of the folder that is given."""


@functools.cache
def good():
    """Return the JSON files of a small result, and the folder that holds it."""
    sets = {"one": {}, "two": {"rig": {"main": {"packs": {"pack": 4}}}}}
    loaded = load_scenario({**TABLE, "equipment_set": sets, "day": {"window": "2 h"}})
    result = run(loaded, runs=3, one_more_runs=2)
    folder = Path(tempfile.mkdtemp(prefix="acreday_fuzz_result_"))
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    result.runs.to_csv(folder / "runs.csv", index=False)
    result.time_use.to_csv(folder / "time_use.csv", index=False)
    result.bottleneck.to_csv(folder / "bottleneck.csv", index=False)
    plan = make_plans(loaded)[0]
    files = {
        "result": {**result.to_json(), "units": "us", "day_start_s": 25_200.0, "title": "A", "invented": True},
        "result manifest": {
            "acreday_version": "0.1.0", "python": "3.11", "packages": {"simpy": "4"}, "engine": "simpy",
            "created": "2026-01-01T00:00:00", "duration_s": 1.5, "command": "acreday run x", "seed": 1,
            "runs": {"one": 3, "two": 3}, "scenario_sha256": "ab", "files": {"x.toml": "cd"}, "written": {"x": "ef"},
            "resolved": {entry.name: json.loads(json.dumps(entry.resolved)) for entry in loaded.sets},
        },
        "day record": json.loads(json.dumps(day_record(plan, simulate_day(loaded)))),
    }  # fmt: skip
    return SimpleNamespace(files=files, folder=folder)


def reader(kind):
    """Return what reads the bytes of one file of a result folder, and makes of it all that can be made."""

    def read_folder(data):
        base = good()
        for name, file in NAMES.items():
            (base.folder / file).write_bytes(data if name == kind else json.dumps(base.files[name]).encode())
        whose(base.folder)
        foreign_files(base.folder)
        stored = read_result(base.folder)
        if kind == "result manifest":
            load_scenario(base.folder / "manifest.json")
        if "one" in stored.day_records:
            _timeline(stored, "one")
        report_page(stored)
        comparison_page([stored, stored])
        first = stored.document["equipment_sets"][0]["name"]
        quote_content(stored, {first: make_plan(stored.scenario_of(first))}, Asked("A customer"))
        summary_markdown(stored.document, stored.manifest)
        result_table(stored.document, 80)
        return stored

    return read_folder


@functools.cache
def good_store():
    """Return the bytes of a small database of finished days."""
    path = good().folder / "good.unfinished"
    store = RunStore(5, path, "mine")
    for first in range(0, 60, 3):
        store.add(first % 2, first, np.full((3, 5), float(first)))
    store.close()
    return path.read_bytes()


def read_store(data):
    """Open a database of these bytes, and read every day that it says it has."""
    path = good().folder / "given.unfinished"
    for one in (path, Path(f"{path}-journal")):
        one.unlink(missing_ok=True)
    path.write_bytes(data)
    store = RunStore(5, path, "mine")
    try:
        for plan, numbers, rows in store.load():
            found = store.rows(plan, numbers)
            if not (found == rows).all() or not (rows == rows[:, :1]).all():
                raise AssertionError("a day is not as it was written")
        return store
    finally:
        store.close()


RESULT_READERS = {kind: reader(kind) for kind in NAMES}


def mutated(kind, chooser):
    """Return the bytes of a good file with one to four things in it changed."""
    table = copy.deepcopy(good().files[kind])
    mutate_some(table, chooser)
    try:
        return json.dumps(table).encode()
    except (ValueError, RecursionError):
        return b"9" * 5000
