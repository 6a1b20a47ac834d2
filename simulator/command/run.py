"""``acreday run``: many runs of the whole job with every equipment set."""

from __future__ import annotations

from typing import Literal

import click

from simulator.command.common import (
    BUDGET,
    FIELDS,
    FORCE,
    JSON,
    OUT,
    PRECISE,
    PRECISION,
    QUIET,
    RESUME,
    RUNS,
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
@options(SCENARIO, RUNS, PRECISION, PRECISE, BUDGET)
@click.option(
    "--one-more-runs", type=int, default=20, show_default=True, help="Runs for each 'one more' change; 0: none."
)
@options(SEED, WORKERS, SCHEDULER, *TLS, SETTINGS, FIELDS, OUT, FORCE, RESUME, JSON, QUIET)
def command(
    scenario: str,
    runs: int | None,
    precision: str | None,
    precise: Precise,
    budget: str | None,
    one_more_runs: int,
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
    """Simulate the whole job many times with every equipment set: acres per day, work days, and what holds it back."""
    from simulator.command.experiment import Request, run_and_report

    request = Request(
        scenario,
        settings,
        fields,
        runs,
        precision,
        precise,
        budget,
        one_more_runs,
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
