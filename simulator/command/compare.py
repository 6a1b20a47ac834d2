"""``acreday compare``: equipment sets against each other on the same random days."""

from __future__ import annotations

import click

from simulator.command.common import (
    DAYS, FIELDS, FORCE, JSON, OUT, QUIET, SCENARIO, SEED, SETTINGS, WORKERS, options,
)  # fmt: skip


@click.command("compare")
@options(SCENARIO)
@click.argument("sets", metavar="[SET]...", nargs=-1)
@options(DAYS)
@click.option("--precision", metavar="SHARE", help="Go on until every mean is known this well, such as 1%.")
@options(SEED, WORKERS, SETTINGS, FIELDS, OUT, FORCE, JSON, QUIET)
def command(
    scenario: str, sets: tuple[str, ...], days: int | None, precision: str | None, seed: int | None, workers: int,
    settings: tuple[str, ...], fields: str | None, out: str | None, force: bool, json_file: str | None, quiet: bool,
) -> None:  # fmt: skip
    """Compare two or more equipment sets on the same random days: differences with intervals, and who wins how often.

    Without SET all sets of the scenario are compared.
    """
    from simulator.command.experiment import Request, run_and_report

    request = Request(scenario, settings, fields, days, precision, 0, seed, workers, out, force, json_file, quiet)
    run_and_report(request, sets=sets, least_sets=2)
