"""``acreday compare``: equipment sets against each other on the same random draws."""

from __future__ import annotations

from typing import Any

import click

from simulator.command.common import EFFORT, SCENARIO, WHERE, options


@click.command("compare")
@options(SCENARIO)
@click.argument("sets", metavar="[SET]...", nargs=-1)
@options(*EFFORT, *WHERE)
def command(sets: tuple[str, ...], **given: Any) -> None:
    """Compare two or more equipment sets on the same random draws: differences with intervals, and who wins how often.

    Without SET all sets of the scenario are compared.
    """
    from simulator.command.experiment import Request, run_and_report

    run_and_report(Request(**given), sets, least_sets=2, suffix="-compare")
