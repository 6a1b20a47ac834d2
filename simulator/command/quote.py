"""``acreday quote``: a sheet for a customer."""

from __future__ import annotations

import click

from simulator.command.common import FORCE_FILE, QUIET, note, options, refuse_existing


@click.command("quote")
@click.argument("result", metavar="RESULT")
@click.option("--customer", metavar="NAME", required=True, help="Who it is for.")
@click.option("--equipment", metavar="SET", help="Equipment set [default: the only one].")
@click.option(
    "--price",
    type=click.FloatRange(0.0, 1e9),
    help="Price of the work per acre (per hectare on a metric sheet), instead of the scenario's.",
)
@click.option(
    "--valid-days", type=click.IntRange(1, 365), default=30, show_default=True, help="Days that the offer holds."
)
@click.option("--notes", default="", help="Text to add.")
@click.option("--out", metavar="FILE.pdf", help="Where to write it [default: quote_<set>.pdf in the result folder].")
@options(FORCE_FILE, QUIET)
def command(
    result: str,
    customer: str,
    equipment: str | None,
    price: float | None,
    valid_days: int,
    notes: str,
    out: str | None,
    force: bool,
    quiet: bool,
) -> None:
    """Write a quote sheet (PDF and HTML): what to expect of an equipment set, what limits it, what was assumed."""
    from pathlib import Path

    from simulator.errors import InputError
    from simulator.report.own_files import list_own
    from simulator.report.quote import write_quote
    from simulator.report.stored import read_result
    from simulator.report.writing import file_stem
    from simulator.scenario.merge import nearest

    stored = read_result(Path(result))
    names = [str(entry["name"]) for entry in stored.document["equipment_sets"]]
    if equipment is None and len(names) > 1:
        raise InputError.single(f"the result has several sets ({', '.join(names)}); name one", "--equipment")
    chosen = equipment or names[0]
    if chosen not in names:
        raise InputError.single(
            f"got {chosen!r}, which is no equipment set of the result{nearest(chosen, names)}", "--equipment"
        )
    target = Path(out) if out is not None else Path(result) / f"quote_{file_stem(chosen)}.pdf"
    for path in (target, target.with_suffix(".html")):
        refuse_existing(path, force)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        written = write_quote(stored, chosen, customer, target, price, valid_days, notes)
        list_own(written)
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(target)) from error
    note("quote: " + ", ".join(str(path) for path in written), quiet)
