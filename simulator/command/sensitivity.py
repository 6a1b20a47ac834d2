"""``acreday sensitivity``: which assumptions matter, and what to measure to be sure."""

from __future__ import annotations

from typing import Any

import click

from simulator.command.common import reads
from simulator.command.study import StudyRun, study_command


@study_command("sensitivity", fields=True)
@click.argument("equipment_set", metavar="[SET]", required=False)
@click.option("--against", metavar="SET", help="Ask about the lead over this set instead: does the choice hold?")
@click.option(
    "--range", "ranges", multiple=True, metavar="KEY=LOW..HIGH",
    help="What an input may be, such as rig.main.crew.tasks.swap.time=40..90 s; adds to the scenario's [range].",
)  # fmt: skip
@click.option("--measure", default="acres", help="Measure, a column of runs.csv.")
@click.option("--runs", type=int, default=40, help="Runs of each point of the bars.")
@click.option("--sobol", "sobol_points", type=int, default=0, help="Points for Sobol indices, a power of two.")
@click.option("--sobol-runs", type=int, default=4, help="Runs of each point for Sobol indices.")
@click.option("--target", default="2%", callback=reads("read_share"), help="How well the answer is to be known.")
def command(study: StudyRun, ranges: tuple[str, ...], **given: Any) -> Any:
    """Find which assumptions matter: one at a time, and with --sobol all together; and what to measure to be sure."""
    from simulator.study.reading import ranges_of

    return study.ask(ranges_of(study.loaded, ranges), **given)
