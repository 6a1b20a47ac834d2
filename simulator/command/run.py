"""``acreday run``: many runs of the whole job with every equipment set."""

from __future__ import annotations

from typing import Any

import click

from simulator.command.common import EFFORT, SCENARIO, WHERE, options


@click.command("run")
@options(SCENARIO, *EFFORT)
@click.option("--one-more-runs", type=int, default=20, help="Runs for each 'one more' change; 0: none.")
@options(*WHERE)
def command(**given: Any) -> None:
    """Simulate the whole job many times with every equipment set: acres per day, work days, and what holds it back."""
    from simulator.command.experiment import Request, run_and_report

    run_and_report(Request(**given))
