"""``acreday explain``: every number that the model uses, from where, and what it implies."""

from __future__ import annotations

import click

from simulator.command.common import FIELDS, FORCE_FILE, QUIET, SCENARIO, SETTINGS, load, options, refuse_existing


@click.command("explain")
@options(SCENARIO)
@click.option("--equipment", metavar="SET", help="Equipment set [default: the first].")
@click.option(
    "--field", "field_name", metavar="NAME", help="Field to work the loads out on [default: one of about mean area]."
)
@options(SETTINGS, FIELDS)
@click.option(
    "--markdown", "markdown_file", metavar="FILE", help="Also write the page there as Markdown; - for standard output."
)
@click.option("--json", "json_file", metavar="FILE", help="Also write the page there as JSON; - for standard output.")
@options(FORCE_FILE, QUIET)
def command(
    scenario: str, equipment: str | None, field_name: str | None, settings: tuple[str, ...], fields: str | None,
    markdown_file: str | None, json_file: str | None, force: bool, quiet: bool,
) -> None:  # fmt: skip
    """Print the evidence: every number of a scenario with its origin, and the arithmetic of what it implies.

    Minutes, acres and watt-hours of a load, loads a charge, charge minutes, kW asked of the generator, crew seconds,
    and the most that each resource allows in a day. Each line can be followed with a pocket calculator.
    """
    from pathlib import Path

    from simulator.analysis.explain import explain, page_json
    from simulator.analysis.explain_text import page_markdown, page_text
    from simulator.command.common import terminal_width, write_json, write_text_atomically
    from simulator.plan.day_plan import make_plan

    for name in (markdown_file, json_file):
        refuse_existing(name, force, scenario)
    loaded = load(scenario, settings, fields=fields)
    entry = loaded.sets[0] if equipment is None else loaded.equipment_set(equipment)
    page = explain(loaded, make_plan(entry), field_name, settings=settings, field_file=fields)
    if markdown_file is not None:
        if markdown_file == "-":
            click.echo(page_markdown(page), nl=False)
        else:
            write_text_atomically(Path(markdown_file), page_markdown(page))
    if json_file is not None:
        write_json(page_json(page), json_file)
    # a document on standard output stands there alone
    if not quiet and "-" not in (markdown_file, json_file):
        click.echo(page_text(page, terminal_width()), nl=False)
