"""``acreday ladder``: what to buy next, and next after that."""

from __future__ import annotations

from typing import Any

import click

from simulator.command.common import RUNS
from simulator.command.study import StudyRun, study_command


@study_command("ladder", fields=True)
@click.option("--from", "set_name", metavar="SET", help="Equipment set to start from [default: the first].")
@click.option(
    "--by", type=click.Choice(["money", "acres"]),
    help="What a step must bring [default: money when the scenario has costs].",
)  # fmt: skip
@click.option("--rungs", "most_rungs", type=int, default=6, help="Steps at most.")
@click.option("--pairs", is_flag=True, help="Try two changes together where no single one pays.")
@RUNS
def command(study: StudyRun, **given: Any) -> Any:
    """Find what to buy next, and next after that, until nothing pays; the bottleneck is named at each rung."""
    return study.ask(**given)
