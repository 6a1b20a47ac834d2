"""``acreday explain``: what to check of a set; every number that the model uses, from where, and what it implies."""

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
@click.option("--all", "everything", is_flag=True, help="Print every value and figure, not only what to check.")
@options(FORCE_FILE, QUIET)
def command(
    scenario: str, equipment: str | None, field_name: str | None, settings: tuple[str, ...], fields: str | None,
    markdown_file: str | None, json_file: str | None, everything: bool, force: bool, quiet: bool,
) -> None:  # fmt: skip
    """Print what a practitioner checks of a set, and with --all every number with its origin and what it comes to.

    Acres and minutes of a load, loads a charge, charge left at landing, minutes a charge takes, power asked of the
    source and given, what is lifted and by how many, acres an hour; files hold everything.
    """
    from pathlib import Path

    from simulator.analysis.explain import explain, page_json
    from simulator.command.common import terminal_width, write_json, write_text_atomically
    from simulator.experiment.rehearsal import rehearsed
    from simulator.plan.day_plan import make_plan
    from simulator.report.explain_text import page_markdown, page_text

    for name in (markdown_file, json_file):
        refuse_existing(name, force, scenario)
    loaded = load(scenario, settings, fields=fields)
    entry = loaded.sets[0] if equipment is None else loaded.equipment_set(equipment)
    page = explain(loaded, rehearsed(make_plan(entry)), field_name, settings=settings, field_file=fields)
    if markdown_file is not None:
        if markdown_file == "-":
            click.echo(page_markdown(page), nl=False)
        else:
            write_text_atomically(Path(markdown_file), page_markdown(page))
    if json_file is not None:
        write_json(page_json(page), json_file)
    # a document on standard output stands there alone
    if not quiet and "-" not in (markdown_file, json_file):
        click.echo(page_text(page, terminal_width(), everything), nl=False)
