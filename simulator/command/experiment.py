"""What ``run`` and ``compare`` do once their options are read: simulate, write the result folder, print the answer."""

from __future__ import annotations

import datetime
import hashlib
import shlex
import sys
import time
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal

import click

from simulator.command.common import Progress, note, terminal_width, use_color, write_json
from simulator.errors import InputError
from simulator.experiment.result import Result
from simulator.scenario.loading import LoadedScenario


@dataclass(frozen=True)
class Request:
    """Options of a run."""

    scenario: str
    settings: tuple[str, ...]
    fields: str | None
    days: int | None
    precision: str | None
    precise: Literal["mean", "p10", "difference"]
    budget: str | None
    one_more_days: int
    seed: int | None
    workers: int
    scheduler: str | None
    out: str | None
    force: bool
    resume: bool
    json_file: str | None
    quiet: bool


def read_share(text: str | None, option: str) -> float | None:
    """Read ``1%`` or ``0.01``.

    Raises
    ------
    InputError
        Not a share between 0 and 1.
    """
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


EMPTY_JOURNAL_BYTES = 1500
"""A journal smaller than this holds no day."""


def read_budget(text: str | None) -> float | None:
    """Read ``30s`` or ``5 min`` as seconds.

    Raises
    ------
    InputError
        Not a time of at least a second.
    """
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


def prepare_journal(target: Path, force: bool, resume: bool) -> Path:
    """Return the file that keeps finished days of a run into a folder: a hidden sibling.

    Raises
    ------
    InputError
        An unfinished run is there and neither ``--resume`` nor ``--force`` is given.
    """
    journal = target.parent / f".{target.name}.unfinished"
    if journal.exists() and not resume:
        if not force and journal.stat().st_size >= EMPTY_JOURNAL_BYTES:
            message = "an unfinished run is there; give --resume to go on with it, or --force to drop it"
            raise InputError.single(message, "--out", str(target))
        if not _in_use(journal):
            journal.unlink(missing_ok=True)
    target.parent.mkdir(parents=True, exist_ok=True)
    return journal


def _in_use(journal: Path) -> bool:
    """Tell whether another process writes a journal."""
    import fcntl

    with journal.open("rb") as handle:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            return True
    return False


def only_sets(loaded: LoadedScenario, names: tuple[str, ...], least: int) -> LoadedScenario:
    """Return the scenario with the named sets only.

    Raises
    ------
    InputError
        An unknown name, or fewer sets than needed.
    """
    chosen = tuple(loaded.equipment_set(name) for name in dict.fromkeys(names)) if names else loaded.sets
    if len(chosen) < least:
        have = ", ".join(entry.name for entry in loaded.sets)
        raise InputError.single(
            f"got {len(chosen)} equipment set; allowed is at least {least} (the scenario has {have})"
        )
    return LoadedScenario(loaded.name, chosen, loaded.folder, loaded.file)


def run_and_report(request: Request, sets: tuple[str, ...] = (), least_sets: int = 1, suffix: str = "") -> None:
    """Run a scenario, write its result folder and print the answer.

    Raises
    ------
    InputError
        Anything that the user gave cannot be used; nothing is written then.
    """
    from simulator.report.folder import check_target
    from simulator.scenario.loading import load_scenario

    begun = time.monotonic()
    precision = read_share(request.precision, "--precision")
    if not 0 <= request.one_more_days <= 100_000:
        raise InputError.single(f"got {request.one_more_days}; allowed is 0 to 100000", "--one-more-days")
    progress = Progress(request.quiet)
    progress("reading", 0, 1)
    loaded = only_sets(load_scenario(request.scenario, request.settings, fields=request.fields), sets, least_sets)
    alike = [a.name for a, b in pairwise(loaded.sets) if a.resolved == b.resolved]
    if alike and request.settings:
        note("acreday: with --set some equipment sets are the same, for it is laid over every set", request.quiet)
    target = Path(request.out) if request.out is not None else Path("reports") / f"{loaded.name}{suffix}"
    check_target(target, request.force or request.resume)
    journal = prepare_journal(target, request.force, request.resume)
    from simulator.experiment.run import Options, run

    options = Options(
        request.days,
        request.seed,
        request.workers,
        precision,
        request.precise,
        request.one_more_days,
        request.scheduler,
        read_budget(request.budget),
        journal,
    )
    try:
        result = run(loaded, options, progress)
    finally:
        progress.end()
        if journal.exists() and journal.stat().st_size < EMPTY_JOURNAL_BYTES:
            journal.unlink(missing_ok=True)
    document = result.to_json()
    document["units"], document["title"] = loaded.base.units, loaded.base.title
    document["day_start_s"], document["invented"] = loaded.base.day.start, loaded.base.invented
    document["product_kind"] = loaded.base.product.kind
    folder = write_folder(loaded, result, document, target, request, time.monotonic() - begun, progress)
    if request.json_file is not None:
        write_json(document, request.json_file)
    if not request.quiet and request.json_file != "-":
        from simulator.report.text import result_table

        click.echo(result_table(document, terminal_width(), use_color()))
    note(f"results: {folder}", request.quiet)
    if not result.stopped.startswith("interrupted"):
        journal.unlink(missing_ok=True)
    if result.stopped:
        note(f"acreday: {result.stopped}" + ("; go on with --resume" if journal.exists() else ""))
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

    digest_files = _input_files(loaded, request)
    inputs: dict[Path, str] = {}
    record = manifest(
        {entry.name: _with_inputs(entry.resolved, loaded.folder, inputs) for entry in loaded.sets},
        digest_files,
        loaded.digest(),
        result.seed,
        {entry.name: entry.days for entry in result.sets},
        shlex.join(["acreday", *sys.argv[1:]]),
        datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds"),
        duration_s,
    )
    stages = 3 + len(loaded.sets)
    progress("figures", 0, stages)
    with ResultFolder(target, request.force or request.resume) as folder:
        folder.write_json("result.json", document)
        folder.write_table("days.csv", result.days)
        folder.write_table("time_use.csv", result.time_use)
        folder.write_table("bottleneck.csv", result.bottleneck)
        folder.write_json("manifest.json", record)
        for source, name in inputs.items():
            (folder.path / name).write_bytes(source.read_bytes())
        from simulator.report.figures import acres_figure, save_figure, time_use_figure

        save_figure(acres_figure(document, result.days, loaded.base.units), folder.path / "acres")
        progress("figures", 1, stages)
        save_figure(time_use_figure(result.time_use), folder.path / "time_use")
        progress("figures", 2, stages)
        for place in range(len(loaded.sets)):
            _write_median_day(loaded, result, place, folder.path)
            progress("figures", 3 + place, stages)
        from simulator.report.summary import summary_markdown

        folder.write_text("summary.md", summary_markdown(document, record))
        progress("figures", stages, stages)
        progress.end()
        return folder.finish()


def median_replication(result: Result, place: int) -> int:
    """Return the replication whose acres are nearest the median of a set; the earliest among equals."""
    import numpy as np

    entry = result.sets[place]
    acres = entry.column("acres")
    return int(entry.replications[int(np.argmin(np.abs(acres - np.median(acres))))])


def _write_median_day(loaded: LoadedScenario, result: Result, place: int, path: Path) -> None:
    import json

    from simulator.analysis.day_record import day_record
    from simulator.experiment.run import simulate_day
    from simulator.operation.plan import make_plan
    from simulator.report.figures import save_figure
    from simulator.report.timeline import timeline_figure
    from simulator.report.writing import file_stem

    entry = loaded.sets[place]
    replication = median_replication(result, place)
    day = simulate_day(loaded, entry.name, replication, result.seed)
    plan = make_plan(entry)
    title = f"{entry.name}: a median day (replication {replication})"
    save_figure(timeline_figure(day, plan, title), path / f"timeline_{file_stem(entry.name)}")
    text = json.dumps(day_record(plan, day), allow_nan=False, separators=(",", ":"))
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
            stem = f"input_{source.name}"
            taken = {name for path, name in inputs.items() if path != source}
            while stem in taken:
                stem = f"input_{len(inputs)}_{source.name}"
            changed[key] = inputs.setdefault(source, stem)
        else:
            changed[key] = _with_inputs(value, folder, inputs)
    return changed


def _input_files(loaded: LoadedScenario, request: Request) -> list[tuple[str, str]]:
    files = []
    names = [loaded.file]
    for entry in loaded.sets:
        if entry.scenario.field_file is not None:
            names.append(str((loaded.folder / entry.scenario.field_file.path).resolve()))
    for name in dict.fromkeys(names):
        path = Path(name)
        if name and path.is_file():
            files.append((path.name, hashlib.sha256(path.read_bytes()).hexdigest()))
    return files
