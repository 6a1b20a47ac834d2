"""``acreday fragmentation``: output against how the same acres are split into fields."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from typing import TYPE_CHECKING

import click

from simulator.command.common import load, reads, refuse_existing, write_whole
from simulator.command.study import StudyRun, study_command
from simulator.errors import InputError

if TYPE_CHECKING:
    from simulator.study.answer import Answer


@study_command("fragmentation")
@click.argument("sets", metavar="[SET]...", nargs=-1)
@click.option(
    "--acres", metavar="AREA", callback=reads("read_area"),
    help="Area of the job that is split [default: the scenario's fields].",
)  # fmt: skip
@click.option("--number", default="1,3,6,12,24", callback=reads("read_numbers"), help="Numbers of fields.")
@click.option("--shape", default="2", callback=reads("read_shares", 0.01, 100.0), help="Lengths over widths.")
@click.option(
    "--distance", default="1 mi", callback=reads("read_distances"),
    help="Road distances from field to field, such as 0.5,2 mi.",
)  # fmt: skip
@click.option(
    "--uneven", default="0", callback=reads("read_shares", 0.0, 1.0),
    help="How unlike the sizes are: 0 all equal, to 1.",
)  # fmt: skip
@click.option(
    "--latin", type=int, metavar="POINTS", help="A Latin hypercube between the bounds instead of the full grid."
)
@click.option(
    "--map", "maps", multiple=True, metavar="FILE", help="Boundaries of real fields, as points beside; repeatable."
)
@click.option("--map-parts", type=int, default=3, help="Neighbourhoods of each map.")
@click.option("--runs", type=int, default=30, help="Runs of each case and set.")
@click.option("--parquet", metavar="FILE", help="Also write the table of runs as Parquet (needs pyarrow).")
def command(
    study: StudyRun, sets: tuple[str, ...], acres: float | None, number: list[int], shape: list[float],
    distance: list[float], uneven: list[float], latin: int | None, maps: tuple[str, ...], map_parts: int, runs: int,
    parquet: str | None,
) -> Answer:  # fmt: skip
    """See how output falls when a job of the same acres lies in more, smaller, longer or farther fields.

    All equipment sets of the scenario, or those named, on the same axes; of its own fields only the area is used.
    """
    from simulator.study.reading import read_job
    from simulator.study.splits import grid_splits, latin_splits, map_splits

    total_m2 = read_job(study.loaded, acres)
    refuse_existing(parquet, study.force, study.scenario)
    if parquet is not None and importlib.util.find_spec("pyarrow") is None:
        message = "Parquet needs the library pyarrow; without it, runs.csv of --out has the same table"
        raise InputError.single(message, "--parquet")
    if latin is None:
        splits = grid_splits(total_m2, number, shape, distance, uneven)
    elif latin < 1:
        raise InputError.single(f"got {latin}; allowed is at least 1 point", "--latin")
    else:
        splits = latin_splits(total_m2, latin, number, shape, distance, uneven, seed=study.used_seed)
    skipped: list[str] = []
    for name in maps:
        real = load(study.scenario, study.settings, fields=name).sets[0].fields
        skipped += [str(problem) for problem in real.skipped]
        splits += map_splits(Path(name).stem[:40], real, total_m2, map_parts)
    answer = study.ask(splits, runs, sets, skipped=skipped)
    if parquet is not None:
        table = answer.tables["runs.csv"]
        write_whole(Path(parquet), lambda temporary: table.to_parquet(temporary, index=False), "--parquet")
    return answer
