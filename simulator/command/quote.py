"""``acreday quote``: price and days of a job, for a customer."""

from __future__ import annotations

import click

from simulator.command.common import FORCE_FILE, QUIET, note, options, refuse_existing


@click.command("quote")
@click.argument("result", metavar="RESULT")
@click.option("--customer", metavar="NAME", required=True, help="Who it is for.")
@click.option(
    "--equipment", metavar="SET", multiple=True, help="Equipment set; several side by side [default: the only one]."
)
@click.option("--dealer", metavar="NAME", default="", show_default=False, help="Who it is from.")
@click.option("--logo", metavar="FILE", help="The dealer's logo (PNG, JPEG, or SVG of shapes).")
@click.option(
    "--price",
    type=click.FloatRange(0.0, 1e9),
    help="Price of the work per acre (per hectare on a metric sheet), instead of the scenario's.",
)
@click.option("--valid-days", type=click.IntRange(1, 365), default=30, help="Days that the offer holds.")
@click.option("--notes", default="", show_default=False, help="Text to add.")
@click.option("--paper", type=click.Choice(["letter", "a4"]), help="Sheet [default: a4 for metric units, else letter].")
@click.option("--out", metavar="FILE.pdf", help="Where to write it [default: quote_<set>.pdf in the result folder].")
@options(FORCE_FILE, QUIET)
def command(
    result: str, customer: str, equipment: tuple[str, ...], dealer: str, logo: str | None, price: float | None,
    valid_days: int, notes: str, paper: str | None, out: str | None, force: bool, quiet: bool,
) -> None:  # fmt: skip
    """Write a quote (PDF and HTML): price and days of the whole job, what they rest on, fields and equipment."""
    from pathlib import Path

    from simulator.errors import InputError
    from simulator.experiment.rehearsal import rehearsed
    from simulator.plan.day_plan import make_plan
    from simulator.report.own_files import list_own
    from simulator.report.quote import write_quote
    from simulator.report.quote_content import Asked
    from simulator.report.quote_logo import read_logo
    from simulator.report.stored import read_result
    from simulator.report.writing import file_stem
    from simulator.scenario.merge import nearest

    stored = read_result(Path(result))
    names = [str(entry["name"]) for entry in stored.document["equipment_sets"]]
    if not equipment and len(names) > 1:
        raise InputError.single(f"the result has several sets ({', '.join(names)}); name one or more", "--equipment")
    chosen = list(dict.fromkeys(equipment or names))
    for name in chosen:
        if name not in names:
            message = f"got {name!r}, which is no equipment set of the result{nearest(name, names)}"
            raise InputError.single(message, "--equipment")
    picture = read_logo(Path(logo)) if logo is not None else None
    asked = Asked(customer, dealer, price, valid_days, notes, paper or "", logo=picture)
    target = Path(out) if out is not None else Path(result) / f"quote_{file_stem('_and_'.join(chosen))}.pdf"
    for path in (target, target.with_suffix(".html")):
        refuse_existing(path, force)
    plans = {name: rehearsed(make_plan(stored.scenario_of(name))) for name in chosen}
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        written, message = write_quote(stored, plans, asked, target)
        list_own(written)
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(target)) from error
    if message:
        click.echo(message, err=True)
    note("quote: " + ", ".join(str(path) for path in written), quiet)
