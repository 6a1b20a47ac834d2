"""``acreday compare``: equipment sets against each other on the same random draws."""

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


@click.command("compare")
@options(SCENARIO)
@click.argument("sets", metavar="[SET]...", nargs=-1)
@options(RUNS, PRECISION, PRECISE, BUDGET)
@options(SEED, WORKERS, SCHEDULER, *TLS, SETTINGS, FIELDS, OUT, FORCE, RESUME, JSON, QUIET)
def command(
    scenario: str,
    sets: tuple[str, ...],
    runs: int | None,
    precision: str | None,
    precise: Precise,
    budget: str | None,
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
    """Compare two or more equipment sets on the same random draws: differences with intervals, and who wins how often.

    Without SET all sets of the scenario are compared.
    """
    from simulator.command.experiment import Request, run_and_report

    request = Request(
        scenario,
        settings,
        fields,
        runs,
        precision,
        precise,
        budget,
        0,
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
    run_and_report(request, sets=sets, least_sets=2, suffix="-compare")
