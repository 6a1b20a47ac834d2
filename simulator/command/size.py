"""``acreday size``: the least-cost equipment set that reaches a target."""

from __future__ import annotations

from typing import Any

import click

from simulator.command.common import reads
from simulator.command.study import StudyRun, study_command
from simulator.errors import InputError

_AREA, _SHARE = reads("read_area"), reads("read_share")


@study_command("size", fields=True)
@click.option(
    "--choose", "choices", metavar="KEY=2..5|a,b", multiple=True, required=True, callback=reads("parse_choices"),
    help="A key to choose over; may be given several times.",
)  # fmt: skip
@click.option("--acres-per-day", metavar="AREA", callback=_AREA, help='Target a day, such as "150 acre".')
@click.option("--season-acres", metavar="AREA", callback=_AREA, help='Instead: target a season, such as "4000 acre".')
@click.option("--season-days", type=float, help="Work days for it [default: costs.season_days].")
@click.option(
    "--within", "within_days", metavar="DAYS", callback=reads("read_work_days"),
    help='Instead: the whole list of fields in so many work days, such as "4 days".',
)  # fmt: skip
@click.option(
    "--share", default="90%", callback=_SHARE, help="Share of days (seasons, runs) that must reach the target."
)
@click.option("--from", "set_name", metavar="SET", help="Equipment set that the choices vary [default: the first].")
@click.option("--runs", type=int, default=200, help="Runs by which a set is shown to reach the target.")
@click.option("--confidence", default="95%", callback=_SHARE, help="Of each statement of the guarantee.")
@click.option("--indifference", type=float, help="Least cost difference worth finding [default: 1% of the cheapest].")
def command(study: StudyRun, **given: Any) -> Any:
    """Find the least-cost equipment set that reaches a target, over all combinations of the choices."""
    if sum(given[name] is not None for name in ("acres_per_day", "season_acres", "within_days")) != 1:
        raise InputError.single("allowed is one of --acres-per-day, --season-acres and --within", "target")
    return study.ask(**given)
