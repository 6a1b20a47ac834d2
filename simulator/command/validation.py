"""``acreday validation``: write the page that holds the model against published numbers."""

from __future__ import annotations

import click

from simulator.command.common import FORCE_FILE, QUIET, options, refuse_existing


@click.command("validation")
@click.option("--days", type=int, default=40, show_default=True, help="Days of each random case.")
@click.option("--seed", type=click.IntRange(0), default=2024, show_default=True, help="Seed of the random streams.")
@click.option("--out", metavar="FILE", default="reports/validation.md", show_default=True, help="Page to write.")
@options(FORCE_FILE, QUIET)
def command(days: int, seed: int, out: str, force: bool, quiet: bool) -> None:
    """Simulate the cases of published papers and formulas, and write both numbers side by side."""
    from pathlib import Path

    from simulator.command.common import Progress, note, write_text_atomically
    from simulator.report.validation_page import validation_page
    from simulator.study.validation import validate_model

    refuse_existing(out, force)
    progress = Progress(quiet)
    checks = validate_model(days, seed, progress)
    progress.end()
    line = "acreday validation"
    line += "" if days == 40 else f" --days {days}"
    line += "" if seed == 2024 else f" --seed {seed}"
    write_text_atomically(Path(out), validation_page(checks, days, seed, line))
    missed = [check.key for check in checks if check.verdict in ("above", "below")]
    if not quiet:
        click.echo(f"{out}: {len(checks)} numbers; {len(missed)} miss" + (f": {', '.join(missed)}" if missed else ""))
    note("misses are explained on the page, and are no error", quiet or not missed)
