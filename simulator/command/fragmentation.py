"""``acreday fragmentation``: output against how the same acres are split into fields."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simulator.command.common import load, refuse_existing, write_whole
from simulator.command.study import StudyRun, study_command
from simulator.errors import InputError

if TYPE_CHECKING:
    import pandas as pd


@study_command("fragmentation")
@click.argument("sets", metavar="[SET]...", nargs=-1)
@click.option("--acres", metavar="AREA", help="Area of the job that is split [default: the scenario's fields].")
@click.option("--number", default="1,3,6,12,24", show_default=True, help="Numbers of fields.")
@click.option("--shape", default="2", show_default=True, help="Lengths over widths.")
@click.option(
    "--distance", default="1 mi", show_default=True, help="Road distances from field to field, such as 0.5,2 mi."
)
@click.option("--uneven", default="0", show_default=True, help="How unlike the sizes are: 0 all equal, to 1.")
@click.option(
    "--latin", type=int, metavar="POINTS", help="A Latin hypercube between the bounds instead of the full grid."
)
@click.option(
    "--map", "maps", multiple=True, metavar="FILE", help="GeoJSON of real fields, as points beside; repeatable."
)
@click.option("--map-parts", type=int, default=3, show_default=True, help="Neighbourhoods of each map.")
@click.option("--runs", type=int, default=30, show_default=True, help="Runs of each case and set.")
@click.option("--parquet", metavar="FILE", help="Also write the table of runs as Parquet (needs pyarrow).")
def command(
    study: StudyRun,
    sets: tuple[str, ...],
    acres: str | None,
    number: str,
    shape: str,
    distance: str,
    uneven: str,
    latin: int | None,
    maps: tuple[str, ...],
    map_parts: int,
    runs: int,
    parquet: str | None,
) -> None:
    """See how output falls when a job of the same acres lies in more, smaller, longer or farther fields.

    All equipment sets of the scenario, or those named, on the same axes; of its own fields only the area is used.
    """
    from simulator.command.study_output import StudyOutput, cell, never_done, read_job
    from simulator.scenario.units import M2_PER_ACRE
    from simulator.study.fragmentation import fragmentation
    from simulator.study.splits import (
        Split,
        grid_splits,
        latin_splits,
        map_splits,
        read_distances,
        read_numbers,
        read_shares,
    )
    from simulator.study.trial import area_unit

    loaded = study.load()
    refuse_existing(parquet, study.force, study.scenario)
    if parquet is not None and importlib.util.find_spec("pyarrow") is None:
        message = "Parquet needs the library pyarrow; without it, runs.csv of --out has the same table"
        raise InputError.single(message, "--parquet")
    total_m2 = read_job(loaded, acres)
    numbers, shapes = read_numbers(number, "--number", least=1), read_shares(shape, "--shape", 0.01, 100.0)
    distances, inequalities = read_distances(distance, "--distance"), read_shares(uneven, "--uneven", 0.0, 1.0)
    splits: list[Split] = []
    if latin is None:
        splits += grid_splits(total_m2, numbers, shapes, distances, inequalities)
    elif latin < 1:
        raise InputError.single(f"got {latin}; allowed is at least 1 point", "--latin")
    else:
        used = loaded.base.seed if study.seed is None else study.seed
        splits += latin_splits(total_m2, latin, numbers, shapes, distances, inequalities, seed=used)
    skipped = []
    for name in maps:
        real = load(study.scenario, study.settings, fields=name).sets[0].fields
        skipped += [str(problem) for problem in real.skipped]
        splits += map_splits(Path(name).stem[:40], real, total_m2, map_parts)
    answer = fragmentation(loaded, splits, runs, sets, study.seed, study.workers, study.progress)
    if parquet is not None:
        _write_parquet(answer.runs, parquet)
    from simulator.experiment.estimates import format_estimate
    from simulator.report.fragmentation_figure import fragmentation_figure

    unit = area_unit(answer.units)
    rows = [["set", "case", "fields", f"mean {unit.name}", "Simmons", "Januszewski", f"{unit.name}/day", "work days"]]
    for row in answer.cases.to_dict(orient="records"):
        values = (float(row[key]) / unit.acres for key in ("acres_per_day", "ci95_low", "ci95_high"))
        rows.append(
            [
                str(row["equipment_set"]),
                str(row["case"]),
                cell(float(row["fields"])),
                cell(float(row["mean_area_m2"]) / M2_PER_ACRE / unit.acres, 1),
                cell(float(row["simmons"]), 3),
                cell(float(row["januszewski"]), 3),
                _estimate(*values),
                format_estimate(*(float(row[f"work_days{end}"]) for end in ("", "_ci95_low", "_ci95_high"))),
            ]
        )
    notes = [
        f"{answer.runs_each} runs of each case, the same random runs for all; each case is a job that is worked off "
        "once.",
    ]
    for title, own in answer.cases.groupby("equipment_set", sort=False):
        notes += never_done(str(title), own["done_share"], "case")
    if any(split.kind != "map" for split in splits):
        notes.append("A case such as 3 x 2:1, 1 mi: three fields twice as long as wide, each 1 mi from the one before.")
    for name, response in answer.responses.items():
        error = response.error_acres / unit.acres
        notes.append(
            f"Fitted response of {name} (the dashed line of the figure): a case left out is foretold to within "
            f"{error:.2g} {unit.name} a day (root mean square), R2 {response.r2:.2f}, {response.cases} cases."
        )
    if skipped:
        notes.append(f"{len(skipped)} parts of maps were skipped or mended, such as: {skipped[0]}")
    output = StudyOutput(
        [answer.sentence],
        rows,
        notes,
        answer.to_json(),
        {"runs.csv": answer.runs, "cases.csv": answer.cases},
        {"fragmentation": lambda: fragmentation_figure(answer)},
        {str(name): runs for name in dict.fromkeys(answer.cases["equipment_set"])},
    )
    study.finish(loaded, output, answer.stopped)


def _estimate(value: float, low: float, high: float) -> str:
    """Return an estimate; days that hardly differ are no reason for more than one decimal."""
    from simulator.experiment.estimates import format_estimate

    if high - low < 0.1:
        return f"{value:.1f} ({low:.1f} to {high:.1f})"
    return format_estimate(value, low, high)


def _write_parquet(frame: pd.DataFrame, file: str) -> None:
    """Write a table as Parquet, whole or not at all."""
    write_whole(Path(file), lambda temporary: frame.to_parquet(temporary, index=False), "--parquet")
