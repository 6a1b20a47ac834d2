"""``acreday new``: a commented scenario to start from."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from simulator.errors import InputError


@click.command("new")
@click.argument("file", metavar="FILE.toml")
@click.option("--force", is_flag=True, help="Replace the file if it exists.")
@click.option("--ask/--no-ask", default=None, help="Ask a few questions first [default: when run on a terminal].")
def command(file: str, force: bool, ask: bool | None) -> None:
    """Write a commented scenario to start from: invented equipment and fields to replace by your own.

    On a terminal it asks a few plain questions and shows what the answers imply.
    """
    import re

    from simulator.command.common import write_text_atomically
    from simulator.scenario.starter import starter_text

    path = Path(file)
    if path.exists() and not force:
        raise InputError.single("exists; give --force to replace it, or another name", file=file)
    name = re.sub(r"[^A-Za-z0-9_-]+", "_", path.stem).strip("_")[:60] or "my_fields"
    name = name if name[0].isalnum() else f"s{name}"[:60]
    wanted = sys.stdin.isatty() and sys.stdout.isatty() if ask is None else ask
    answers = None
    if wanted:
        from simulator.command.questions import ask as ask_questions

        answers = ask_questions()
    text = starter_text(name, answers)
    if wanted:
        click.echo("\n" + _implied(text))
    write_text_atomically(path, text)
    click.echo(f"{file}: written; next: acreday check {file}, then acreday run {file}")


def _implied(text: str) -> str:
    """Return what a scenario's numbers imply: what a practitioner checks of its first set."""
    import tomllib

    from simulator.command.common import terminal_width
    from simulator.plan.day_plan import make_plan
    from simulator.report.practice import practitioner_lines
    from simulator.report.tables import amounts_table
    from simulator.scenario.loading import load_scenario

    plan = make_plan(load_scenario(tomllib.loads(text)).sets[0])
    table = amounts_table([(plan.name, practitioner_lines(plan))])
    return "\n".join(["What this implies, by mean times:", *(table.lines(terminal_width()) if table else ())])
