"""The result folder of ``run`` and ``compare``: tables, figures, summary, median days and manifest."""

from __future__ import annotations

import functools
import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

from simulator.experiment.result import Result
from simulator.scenario.loading import LoadedScenario

if TYPE_CHECKING:
    from simulator.experiment.run import Report
    from simulator.report.folder import ResultFolder
    from simulator.scenario.loading import EquipmentSet

_SHOWN = ("acres", "full_day_acres")
_MOST_DAYS = 100_000
"""More than a run has work days: a run and a day of it make one number."""
_FILE_KEYS = ("path", "obstacles", "patches", "distance_table", "file")
"""Keys of a scenario that name files."""


def result_document(loaded: LoadedScenario, result: Result) -> dict[str, Any]:
    """Return ``result.json``: what the runs say, with costs and what a practitioner checks first."""
    from simulator.experiment.run import make_plans
    from simulator.report.practice import practitioner_lines
    from simulator.study.day_money import put_costs

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
    document: dict[str, Any],
    folder: ResultFolder,
    begun_s: float,
    report: Report | None = None,
    command: str = "",
) -> dict[Path, str]:
    """Write what was found into its folder; return the input files copied, by their new names."""
    from simulator.report.figures import time_use_figure
    from simulator.report.folder import manifest
    from simulator.report.ranking import called_sets
    from simulator.report.summary import summary_markdown

    inputs: dict[Path, str] = {}
    tables = {entry.name: _with_inputs(entry.resolved, loaded.folder.path, inputs) for entry in loaded.sets}
    runs = {entry.name: entry.runs for entry in result.sets}
    record = manifest(loaded, result.seed, runs, begun_s, tables, _input_files(loaded, inputs), command)
    days = zip(loaded.sets, median_days(result), strict=True)
    writers: list[Callable[[], object]] = [
        lambda: folder.write_json("result.json", document),
        lambda: folder.write_table("runs.csv", parts=result.run_frames()),
        lambda: folder.write_table("time_use.csv", result.time_use),
        lambda: folder.write_table("bottleneck.csv", result.bottleneck),
        *(functools.partial(_copy, folder, source, name) for source, name in inputs.items()),
        lambda: _draw_acres(result, document, loaded.base.units, folder),
        lambda: folder.write_figure("time_use", time_use_figure(result.time_use, called_sets(document)), ("svg",)),
        *(functools.partial(_write_median_day, loaded, result.seed, entry, day, folder) for entry, day in days),
        lambda: folder.write_text("summary.md", summary_markdown(document, record)),
        lambda: folder.write_manifest(record),
        folder.finish,
    ]
    for number, write in enumerate(writers):
        if report is not None:
            report("writing", number, len(writers))
        write()
    return inputs


def _copy(folder: ResultFolder, source: Path, name: str) -> None:
    folder.write_bytes(name, source.read_bytes())


def _draw_acres(result: Result, document: dict[str, object], units: str, folder: ResultFolder) -> None:
    import numpy as np
    import pandas as pd

    from simulator.report.answer_figure import acres_figure

    # a table of the measures that the figure shows, for all of them would take much memory
    names = pd.Categorical.from_codes(
        np.repeat(np.arange(len(result.sets)), [entry.runs for entry in result.sets]),
        pd.Index([entry.name for entry in result.sets]),
    )
    columns = {name: np.concatenate([entry.column(name) for entry in result.sets]) for name in _SHOWN}
    frame = pd.DataFrame({"equipment_set": names} | columns)
    folder.write_figure("acres", acres_figure(document, frame, units), ("svg",))


def median_days(result: Result) -> list[tuple[int, int]]:
    """Return run and work day of a day near the median of every set: one that all have in full, else each its own."""
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


def _write_median_day(
    loaded: LoadedScenario, seed: int, entry: EquipmentSet, chosen: tuple[int, int], folder: ResultFolder
) -> None:
    from simulator.analysis.day_record import day_record
    from simulator.experiment.run import simulate_day
    from simulator.plan.day_plan import make_plan
    from simulator.report.day_figure import day_figure
    from simulator.report.writing import file_stem

    day = simulate_day(loaded, entry.name, *chosen, seed=seed)
    title = f"{entry.scenario.label or entry.name}: a median day (run {day.replication}, work day {day.work_day})"
    record, stem = day_record(make_plan(entry), day), file_stem(entry.name)
    folder.write_figure(f"timeline_{stem}", day_figure(record, title), ("svg",))
    folder.write_text(f"day_{stem}.json", json.dumps(record, allow_nan=False, separators=(",", ":")) + "\n")


def _with_inputs(table: Any, folder: Path, inputs: dict[Path, str]) -> Any:
    """Name a scenario's files as the copies beside the manifest; the copies to make go to ``inputs``."""
    from simulator.report.folder import INPUT_COPY
    from simulator.scenario.map_files import parts_beside

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
