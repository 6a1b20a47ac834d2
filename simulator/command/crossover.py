"""``acreday crossover``: which of two equipment sets wins over field size and application rate."""

from __future__ import annotations

from typing import Any

import click

from simulator.command.common import reads
from simulator.command.study import StudyRun, study_command


@study_command("crossover")
@click.argument("a", metavar="A")
@click.argument("b", metavar="B")
@click.option(
    "--sizes", "areas_m2", default="10,20,40,80,160 acre", callback=reads("read_field_sizes"),
    help="Field sizes with their unit: a list, or a range such as 10..160 acre for five sizes evenly in ratio.",
)  # fmt: skip
@click.option(
    "--rates", default="1,2,3,5 gal/acre", callback=reads("read_levels"),
    help="Application rates with their unit: a list, or a range such as 1..5 gal/acre.",
)  # fmt: skip
@click.option(
    "--acres", metavar="AREA", callback=reads("read_area"), help="Area of the job [default: the scenario's fields]."
)
@click.option("--shape", type=float, default=2.0, callback=reads("read_ratio"), help="Length over width of the fields.")
@click.option(
    "--distance", callback=reads("read_distances"),
    help="Road distance between fields [default: the scenario's route.between_field_distance].",
)  # fmt: skip
@click.option("--runs", type=int, default=16, help="Runs of each cell and set at first.")
@click.option("--most-runs", type=int, default=128, help="Runs of a cell that stays undecided.")
def command(study: StudyRun, acres: float | None, shape: float, distance: list[float] | None, **given: Any) -> Any:
    """Map where set A beats set B: per day, per person-hour and (with costs) per dollar, by field size and rate.

    Each cell is a job of like fields, as many as come nearest to its area, worked off once.
    Where an interval straddles zero more runs are simulated; what stays open is shown as too close to call.
    """
    from simulator.study.reading import read_job

    apart, job_m2 = distance[0] if distance else None, read_job(study.loaded, acres)
    return study.ask(**given, distance_m=apart, length_to_width=shape, job_m2=job_m2)
