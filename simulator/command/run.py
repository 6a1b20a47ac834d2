"""``acreday run``: many days of every equipment set."""

from __future__ import annotations

import click

from simulator.command.common import (
    DAYS, FIELDS, FORCE, JSON, OUT, QUIET, SCENARIO, SEED, SETTINGS, WORKERS, options,
)  # fmt: skip


@click.command("run")
@options(SCENARIO, DAYS)
@click.option("--precision", metavar="SHARE", help="Go on until every mean is known this well, such as 1%.")
@click.option("--one-more-days", type=int, default=50, show_default=True, help="Days for each 'one more' change; 0: none.")
@options(SEED, WORKERS, SETTINGS, FIELDS, OUT, FORCE, JSON, QUIET)
def command(
    scenario: str, days: int | None, precision: str | None, one_more_days: int, seed: int | None, workers: int,
    settings: tuple[str, ...], fields: str | None, out: str | None, force: bool, json_file: str | None, quiet: bool,
) -> None:  # fmt: skip
    """Simulate many work days of every equipment set: acres per day, where the time went, what holds it back."""
    from simulator.command.experiment import Request, run_and_report

    request = Request(scenario, settings, fields, days, precision, one_more_days, seed, workers, out, force, json_file, quiet)
    run_and_report(request)
