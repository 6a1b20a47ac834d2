"""``acreday season``: how far in a season, and what an acre costs."""

from __future__ import annotations

from typing import Any

import click

from simulator.command.common import RUNS, reads
from simulator.command.study import StudyRun, study_command


@study_command("season", fields=True)
@click.argument("set_names", metavar="[SET]...", nargs=-1)
@click.option(
    "--acres", metavar="AREA", multiple=True, callback=reads("read_areas"),
    help='Area to finish, such as "4000 acre"; may be given several times.',
)  # fmt: skip
@click.option(
    "--workable-days", metavar="NUMBER|MIN..MAX", callback=reads("read_workable_days"),
    help="Work days of the season [default: weather.file, or costs.season_days].",
)  # fmt: skip
@click.option("--first", metavar="MM-DD", default="06-01", help="First date.")
@click.option("--last", metavar="MM-DD", default="08-31", help="Last date.")
@click.option(
    "--least-hours", type=float, default=3.0, help="Dates of a weather file with fewer workable hours are not worked."
)
@RUNS
def command(study: StudyRun, **given: Any) -> Any:
    """Ask how far equipment sets get in a season: acres by date, the chance to finish, days needed, cost per acre.

    The dates that can be worked come from the scenario's weather file, or from a number of work days.
    """
    return study.ask(**given)
