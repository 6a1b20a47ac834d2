"""``acreday hindcast``: past days simulated from their inputs, observed against predicted."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import click

from simulator.command.study import StudyRun, study_command


@study_command("hindcast")
@click.argument("past", metavar="DAYS.csv")
@click.option("--runs", type=int, default=200, help="Runs simulated for each past day, 20 or more.")
def command(study: StudyRun, past: str, runs: int) -> Any:
    """Simulate past days from what was known before them and hold the outcome against what was observed.

    The CSV has the columns date and acres, and optionally hours, equipment_set, fields, settings and dotted keys.
    """
    from simulator.scenario.stopwatch import read_past_days

    return study.ask(read_past_days(Path(past)).days, runs)
