"""A finished experiment as a result folder: its document, tables, figures, summary, median days and manifest."""

from __future__ import annotations

import datetime
from collections.abc import Callable, Mapping
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator.experiment.result import Result
from simulator.experiment.run import make_plans
from simulator.report.folder import INPUT_COPY, ResultFolder, manifest
from simulator.report.practice import practitioner_lines
from simulator.report.result_files import kept_runs, sync_files, write_parts
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.map_files import parts_beside
from simulator.study.job_cost import put_costs

if TYPE_CHECKING:
    from simulator.experiment.run import Report


def result_document(loaded: LoadedScenario, result: Result) -> dict[str, Any]:
    """Return ``result.json``: what the runs say, with costs and what a practitioner checks first."""
    document = result.to_json()
    document["units"], document["title"] = loaded.base.units, loaded.base.title
    document["day_start_s"], document["invented"] = loaded.base.day.start, loaded.base.invented
    document["product_kind"] = loaded.base.product.kind
    put_costs(document, loaded, result)
    for entry, plan in zip(document["equipment_sets"], make_plans(loaded), strict=True):
        entry["practice"] = practitioner_lines(plan)
    return document


def write_result_folder(
    loaded: LoadedScenario,
    result: Result,
    document: Mapping[str, Any],
    folder: ResultFolder,
    command: str,
    duration_s: float,
    report: Report | None = None,
) -> dict[Path, str]:
    """Write everything into a result folder that is being made; return the input files copied, by their new names."""
    inputs: dict[Path, str] = {}
    tables = {entry.name: _with_inputs(entry.resolved, loaded.folder.path, inputs) for entry in loaded.sets}
    record = manifest(
        tables,
        _input_files(loaded, inputs),
        loaded.digest(),
        result.seed,
        {entry.name: entry.runs for entry in result.sets},
        command,
        datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        duration_s,
    )
    path, units = folder.path, loaded.base.units
    writers: list[tuple[str, Callable[[], object]]] = [
        ("result.json", lambda: folder.write_json("result.json", document)),
        ("runs.csv", lambda: write_parts(path / "runs.csv", result.run_frames())),
        ("time_use.csv", lambda: folder.write_table("time_use.csv", result.time_use)),
        ("bottleneck.csv", lambda: folder.write_table("bottleneck.csv", result.bottleneck)),
        *((name, partial(_copy, source, path / name)) for source, name in inputs.items()),
        ("acres.svg", lambda: _draw_acres(result, document, units, path)),
        ("time_use.svg", lambda: _draw_time_use(result, path)),
        *(
            (f"day_{entry.name}.json", partial(_write_median_day, loaded, result.seed, entry, day, path))
            for entry, day in zip(loaded.sets, median_days(result), strict=True)
        ),
        ("summary.md", lambda: _write_summary(folder, document, record)),
        ("manifest.json", lambda: folder.write_manifest(record)),
        ("", lambda: sync_files(path)),
    ]
    for number, (name, write) in enumerate(writers):
        if report is not None:
            report("writing", number, len(writers))
        with kept_runs(folder.folder, name):
            write()
    if report is not None:
        report("writing", len(writers), len(writers))
    return inputs


def _copy(source: Path, target: Path) -> None:
    target.write_bytes(source.read_bytes())


_SHOWN = ("acres", "full_day_acres")


def _draw_acres(result: Result, document: Mapping[str, Any], units: str, path: Path) -> None:
    import numpy as np
    import pandas as pd

    from simulator.report.answer_figure import acres_figure
    from simulator.report.style import save_figure

    # a table of the measures that the figure shows, for all of them would take much memory
    names = pd.Categorical.from_codes(
        np.repeat(np.arange(len(result.sets)), [entry.runs for entry in result.sets]),
        pd.Index([entry.name for entry in result.sets]),
    )
    columns = {name: np.concatenate([entry.column(name) for entry in result.sets]) for name in _SHOWN}
    save_figure(
        acres_figure(document, pd.DataFrame({"equipment_set": names} | columns), units), path / "acres", ("svg",)
    )


def _draw_time_use(result: Result, path: Path) -> None:
    from simulator.report.figures import time_use_figure
    from simulator.report.style import save_figure

    save_figure(time_use_figure(result.time_use), path / "time_use", ("svg",))


def _write_summary(folder: ResultFolder, document: Mapping[str, Any], record: dict[str, Any]) -> None:
    from simulator.report.summary import summary_markdown

    folder.write_text("summary.md", summary_markdown(document, record))


def median_days(result: Result) -> list[tuple[int, int]]:
    """Return run and work day of a day near the median of every set: one that all have in full, else each its own."""
    import functools

    import numpy as np

    keys, gaps = [], []
    for entry in result.sets:
        acres, days = entry.column("full_day_acres"), entry.column("full_day")
        if np.isnan(acres).all():
            acres, days = entry.column("acres"), np.ones(entry.runs)
        known = ~np.isnan(acres)
        keys.append(entry.replications[known].astype(np.int64) * _MOST_DAYS + days[known].astype(np.int64))
        gaps.append((acres[known] / max(float(np.median(acres[known])), 1e-9) - 1.0) ** 2)
    shared = functools.reduce(np.intersect1d, keys)
    if len(shared):
        off = sum(gap[np.searchsorted(key, shared)] for key, gap in zip(keys, gaps, strict=True))
        chosen = [shared[np.argmin(off)]] * len(keys)
    else:
        chosen = [key[np.argmin(gap)] for key, gap in zip(keys, gaps, strict=True)]
    return [divmod(int(one), _MOST_DAYS) for one in chosen]


_MOST_DAYS = 100_000
"""More than a run has work days: a run and a day of it make one number."""


def _write_median_day(
    loaded: LoadedScenario, seed: int, entry: EquipmentSet, chosen: tuple[int, int], path: Path
) -> None:
    import json

    from simulator.analysis.day_record import day_record
    from simulator.experiment.run import simulate_day
    from simulator.plan.day_plan import make_plan
    from simulator.report.day_figure import day_figure
    from simulator.report.style import save_figure
    from simulator.report.writing import file_stem

    day = simulate_day(loaded, entry.name, *chosen, seed=seed)
    plan = make_plan(entry)
    title = f"{entry.name}: a median day (run {day.replication}, work day {day.work_day})"
    record = day_record(plan, day)
    save_figure(day_figure(record, title), path / f"timeline_{file_stem(entry.name)}", ("svg",))
    text = json.dumps(record, allow_nan=False, separators=(",", ":"))
    (path / f"day_{file_stem(entry.name)}.json").write_text(text + "\n", encoding="utf-8")


_FILE_KEYS = ("path", "obstacles", "patches", "distance_table", "file")
"""Keys of a scenario that name files."""


def _with_inputs(table: Any, folder: Path, inputs: dict[Path, str]) -> Any:
    """Name a scenario's files as the copies beside the manifest; the copies to make go to ``inputs``."""
    if isinstance(table, list):
        return [_with_inputs(item, folder, inputs) for item in table]
    if not isinstance(table, dict):
        return table
    changed = {}
    for key, value in table.items():
        source = (folder / value).resolve() if key in _FILE_KEYS and isinstance(value, str) and value else None
        if source is not None and source.is_file():
            # a copy of a copy keeps its name, or the names would grow with every run
            stem = bare = source.name if source.name.startswith(INPUT_COPY) else f"{INPUT_COPY}{source.name}"
            taken = {name for path, name in inputs.items() if path != source}
            number = 1
            while stem in taken:
                number += 1
                stem = f"{INPUT_COPY}{number}_{bare[len(INPUT_COPY) :]}"
            changed[key] = inputs.setdefault(source, stem)
            for part in parts_beside(source):
                inputs.setdefault(part, Path(changed[key]).stem + part.suffix)
        else:
            changed[key] = _with_inputs(value, folder, inputs)
    return changed


def _input_files(loaded: LoadedScenario, inputs: dict[Path, str]) -> list[tuple[str, str]]:
    """Return names and checksums of the scenario's file and of the copies that the result holds."""
    from simulator.report.own_files import sha256_of

    files = {name: path for path, name in inputs.items()}
    if loaded.file:
        files[Path(loaded.file).name] = Path(loaded.file)
    return [(name, sha256_of(path)) for name, path in files.items()]
