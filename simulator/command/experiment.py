"""What ``run`` and ``compare`` do once their options are read: simulate, write the result folder, print the answer."""

from __future__ import annotations

import datetime
import shlex
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from simulator.clean import steer
from simulator.command.common import Progress, load, note, refuse_existing, terminal_width, use_color, write_json
from simulator.command.result_files import kept_runs, sync_files, write_parts
from simulator.errors import InputError
from simulator.experiment.cluster import Certificates
from simulator.experiment.result import Result
from simulator.scenario.loading import LoadedScenario

if TYPE_CHECKING:
    from simulator.experiment.run_store import RunStore
    from simulator.report.folder import ResultFolder
    from simulator.scenario.loading import EquipmentSet


_NOTHING = "acreday: stopped; no run had finished"


@dataclass(frozen=True)
class Request:
    """Options of ``run`` and ``compare``."""

    scenario: str
    settings: tuple[str, ...]
    fields: str | None
    runs: int | None
    precision: str | None
    precise: Literal["mean", "p10", "difference"]
    budget: str | None
    one_more_runs: int
    seed: int | None
    workers: int
    scheduler: str | None
    tls: tuple[str | None, str | None, str | None]
    out: str | None
    force: bool
    resume: bool
    json_file: str | None
    quiet: bool


def read_share(text: str | None, option: str) -> float | None:
    """Read ``1%`` or ``0.01``."""
    if text is None:
        return None
    cleaned = text.strip()
    try:
        value = float(cleaned[:-1]) / 100.0 if cleaned.endswith("%") else float(cleaned)
    except ValueError:
        value = -1.0
    if not 0.0 < value < 1.0:
        raise InputError.single(f"got {text!r}; allowed is a share such as 1% or 0.01", option)
    return value


def read_budget(text: str | None) -> float | None:
    """Read ``30s`` or ``5 min`` as seconds."""
    if text is None:
        return None
    from simulator.scenario.units import TIME, UnitError, parse

    try:
        value = parse(text, TIME)
    except UnitError as error:
        raise InputError.single(str(error), "--budget") from error
    if value < 1.0:
        raise InputError.single(f"got {text!r}; allowed is at least 1 s", "--budget")
    return value


def read_certificates(tls: tuple[str | None, str | None, str | None]) -> Certificates | None:
    """Return the certificates that were named."""
    authority, certificate, key = tls
    if authority is None and certificate is None and key is None:
        return None
    if authority is None or certificate is None or key is None:
        raise InputError.single("all three are needed for tls://", "--tls-ca, --tls-cert, --tls-key")
    return Certificates(authority, certificate, key)


def _same_run(loaded: LoadedScenario, request: Request) -> dict[str, Any] | None:
    """Return what the manifest of this command's own older result says, which may be replaced by going on."""
    seed = loaded.base.seed if request.seed is None else request.seed
    return {"scenario_sha256": loaded.digest(), "seed": seed} if request.resume else None


def _check_fewer(target: Path, request: Request, result: Result) -> None:
    """Refuse to replace an older result of this scenario by one of fewer runs, unless forced."""
    from simulator.report.own_files import own_manifest

    older = (own_manifest(target) or {}).get("runs")
    runs = {entry.name: entry.runs for entry in result.sets}
    if request.resume and not request.force and isinstance(older, dict) and older.keys() == runs.keys():
        most = max((count for count in older.values() if isinstance(count, int)), default=0)
        if most > max(runs.values()):
            message = f"holds a result of {most} runs of each set; give more --runs, --force to replace it, or another"
            raise InputError.single(f"{message} --out: every finished run is kept", "--out", str(target))


def unfinished_file(target: Path, resume: bool) -> Path:
    """Return the database that keeps finished runs of a folder: a hidden sibling."""
    # beside what a link leads to, so that no two ways to a folder let two runs in
    real = target.resolve()
    path = real.parent / f".{real.name}.unfinished"
    if resume and not path.exists():
        message = "no unfinished result is there, so nothing is changed; leave out --resume to begin one"
        raise InputError.single(message, "--out", str(target))
    try:
        real.parent.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise InputError.single(f"cannot be used: {error.strerror or error}", "--out", str(path)) from error
    return path


def _refuse_unfinished(store: RunStore, target: Path, request: Request) -> None:
    """Refuse to begin where finished runs of the same scenario lie."""
    count = store.count
    if count and not request.resume and not request.force:
        message = (
            f"an unfinished result of {count} runs is there; give --resume to go on with it, or --force to drop it"
        )
        raise InputError.single(message, "--out", str(target))


def only_sets(loaded: LoadedScenario, names: tuple[str, ...], least: int) -> LoadedScenario:
    """Return the scenario with the named sets only."""
    chosen = tuple(loaded.equipment_set(name) for name in dict.fromkeys(names)) if names else loaded.sets
    if len(chosen) < least:
        have = ", ".join(entry.name for entry in loaded.sets)
        raise InputError.single(
            f"got {len(chosen)} equipment set; allowed is at least {least} (the scenario has {have})"
        )
    return LoadedScenario(loaded.name, chosen, loaded.folder, loaded.file)


def run_and_report(request: Request, sets: tuple[str, ...] = (), least_sets: int = 1, suffix: str = "") -> None:
    """Run a scenario, write its result folder and print the answer."""
    from simulator.report.folder import check_target

    begun = time.monotonic()
    precision = read_share(request.precision, "--precision")
    if not 0 <= request.one_more_runs <= 100_000:
        raise InputError.single(f"got {request.one_more_runs}; allowed is 0 to 100000", "--one-more-runs")
    progress = Progress(request.quiet)
    progress("reading", 0, 1)
    loaded = only_sets(load(request.scenario, request.settings, fields=request.fields), sets, least_sets)
    alike = [a.name for a, b in pairwise(loaded.sets) if a.resolved == b.resolved]
    if alike and request.settings:
        note("acreday: with --set some equipment sets are the same, for it is laid over every set", request.quiet)
    target = Path(request.out) if request.out is not None else Path("reports") / f"{loaded.name}{suffix}"
    refuse_existing(request.json_file, request.force, request.scenario)
    check_target(target, request.force, _same_run(loaded, request))
    path = unfinished_file(target, request.resume)
    from simulator.experiment.disk import sync_folder
    from simulator.experiment.run import Options, make_plans, open_store, run
    from simulator.report.practice import practitioner_lines
    from simulator.study.job_cost import put_costs

    budget_s, certificates = read_budget(request.budget), read_certificates(request.tls)
    finished = False
    # held until the folder is written, so that no other run comes between
    store = open_store(loaded, path, request.seed, fresh=request.force and not request.resume)
    try:
        _refuse_unfinished(store, target, request)
        options = Options(
            request.runs,
            request.seed,
            request.workers,
            precision,
            request.precise,
            request.one_more_runs,
            request.scheduler,
            budget_s,
            store,
            certificates,
        )
        try:
            result = run(loaded, options, progress)
        finally:
            progress.end()
        if result.resumed:
            note(f"acreday: went on with an unfinished result: {result.resumed}")
        document = result.to_json()
        document["units"], document["title"] = loaded.base.units, loaded.base.title
        document["day_start_s"], document["invented"] = loaded.base.day.start, loaded.base.invented
        document["product_kind"] = loaded.base.product.kind
        put_costs(document, loaded, result)
        for entry, plan in zip(document["equipment_sets"], make_plans(loaded), strict=True):
            entry["practice"] = practitioner_lines(plan)
        if not request.quiet and request.json_file != "-":
            from simulator.report.text import result_table

            steer(result_table(document, terminal_width(), use_color()) + "\n", sys.stdout)
        folder = write_folder(loaded, result, document, target, request, time.monotonic() - begun, progress)
        # its name must be on the disk before the runs that it was made of go
        sync_folder(folder.resolve().parent)
        if request.json_file is not None:
            write_json(document, request.json_file)
        # what time cut short may go on, too, and runs beyond those asked for may be wanted later
        cut_short = result.stopped.startswith(("interrupted", "the time was over"))
        finished = not cut_short and result.beyond <= 0
        store.close(remove=finished)
    except KeyboardInterrupt:
        progress.end()
        kept = store.count
        note(f"acreday: stopped; {kept} finished runs are kept, go on with --resume" if kept else _NOTHING)
        sys.exit(130)
    finally:
        store.close(remove=finished or store.count == 0)
    note(f"results: {folder}", request.quiet)
    if not cut_short and result.beyond > 0:
        note(f"acreday: {result.beyond} more finished runs are kept; --resume with a larger --runs takes them in")
    if result.stopped:
        note(f"acreday: {result.stopped}" + ("; go on with --resume" if path.exists() else ""))
    if result.stopped.startswith("interrupted"):
        sys.exit(130)


def write_folder(
    loaded: LoadedScenario,
    result: Result,
    document: dict[str, object],
    target: Path,
    request: Request,
    duration_s: float,
    progress: Progress,
) -> Path:
    """Write tables, figures, summary, median days and manifest; return the folder."""
    from simulator.report.folder import ResultFolder, manifest

    inputs: dict[Path, str] = {}
    tables = {entry.name: _with_inputs(entry.resolved, loaded.folder.path, inputs) for entry in loaded.sets}
    record = manifest(
        tables,
        _input_files(loaded, inputs),
        loaded.digest(),
        result.seed,
        {entry.name: entry.runs for entry in result.sets},
        shlex.join(["acreday", *sys.argv[1:]]),
        datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        duration_s,
    )
    _check_fewer(target, request, result)
    with ResultFolder(target, request.force, _same_run(loaded, request)) as folder:
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
            progress("writing", number, len(writers))
            with kept_runs(target, name):
                write()
        progress("writing", len(writers), len(writers))
        progress.end()
        if inputs:
            note("copied into the result: " + ", ".join(f"{path} as {name}" for path, name in inputs.items()))
        return folder.finish()


def _copy(source: Path, target: Path) -> None:
    target.write_bytes(source.read_bytes())


_SHOWN = ("acres", "full_day_acres")


def _draw_acres(result: Result, document: dict[str, object], units: str, path: Path) -> None:
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


def _write_summary(folder: ResultFolder, document: dict[str, object], record: dict[str, Any]) -> None:
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
    from simulator.report.folder import INPUT_COPY

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
