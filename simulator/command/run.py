"""``acreday run``: many days of every equipment set."""

from __future__ import annotations

from typing import Literal

import click

from simulator.command.common import (
    BUDGET,
    DAYS,
    FIELDS,
    FORCE,
    JSON,
    OUT,
    PRECISE,
    PRECISION,
    QUIET,
    RESUME,
    SCENARIO,
    SCHEDULER,
    SEED,
    SETTINGS,
    TLS,
    WORKERS,
    options,
)

Precise = Literal["mean", "p10", "difference"]


@click.command("run")
@options(SCENARIO, DAYS, PRECISION, PRECISE, BUDGET)
@click.option(
    "--one-more-days", type=int, default=50, show_default=True, help="Days for each 'one more' change; 0: none."
)
@options(SEED, WORKERS, SCHEDULER, *TLS, SETTINGS, FIELDS, OUT, FORCE, RESUME, JSON, QUIET)
def command(
    scenario: str,
    days: int | None,
    precision: str | None,
    precise: Precise,
    budget: str | None,
    one_more_days: int,
    seed: int | None,
    workers: int,
    scheduler: str | None,
    tls_ca: str | None,
    tls_cert: str | None,
    tls_key: str | None,
    settings: tuple[str, ...],
    fields: str | None,
    out: str | None,
    force: bool,
    resume: bool,
    json_file: str | None,
    quiet: bool,
) -> None:
    """Simulate many work days of every equipment set: acres per day, where the time went, what holds it back."""
    from simulator.command.experiment import Request, run_and_report

    request = Request(
        scenario,
        settings,
        fields,
        days,
        precision,
        precise,
        budget,
        one_more_days,
        seed,
        workers,
        scheduler,
        (tls_ca, tls_cert, tls_key),
        out,
        force,
        resume,
        json_file,
        quiet,
    )
    run_and_report(request)
