"""``acreday figure``: one publication-ready figure of a result."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from simulator.command.common import FORCE_FILE, QUIET, note, options, refuse_existing

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.report.stored import StoredResult

FIGURES = ("acres", "time-use", "bottleneck", "paired", "timeline")


@click.command("figure")
@click.argument("result", metavar="RESULT")
@click.argument("name", metavar="NAME", type=click.Choice(FIGURES))
@click.option("--equipment", metavar="SET", help="Equipment set of the timeline [default: the first].")
@click.option("--out", metavar="STEM", help="File name without ending [default: NAME in the result folder].")
@click.option(
    "--format", "formats", type=click.Choice(["svg", "png", "pdf"]), multiple=True, default=("svg", "png", "pdf")
)
@options(FORCE_FILE, QUIET)
def command(
    result: str, name: str, equipment: str | None, out: str | None, formats: tuple[str, ...], force: bool, quiet: bool
) -> None:
    """Draw a figure of a result for print: acres, time-use, bottleneck, paired, or the timeline of a median day."""
    from pathlib import Path

    from simulator.errors import InputError
    from simulator.report import answer_figure, figures
    from simulator.report.own_files import list_own
    from simulator.report.ranking import called_sets
    from simulator.report.stored import read_result
    from simulator.report.style import save_figure

    stem = Path(out) if out is not None else Path(result) / name.replace("-", "_")
    for form in formats:
        refuse_existing(stem.with_name(f"{stem.name}.{form}") if stem.name else stem, force)
    stored = read_result(Path(result))
    document = stored.document
    if name == "acres":
        figure = answer_figure.acres_figure(document, stored.runs, str(document.get("units", "us")))
    elif name == "time-use":
        figure = figures.time_use_figure(stored.time_use, called_sets(document))
    elif name == "bottleneck":
        figure = figures.bottleneck_figure(stored.bottleneck)
    elif name == "paired":
        if not document["paired"]:
            raise InputError.single("the result has one equipment set; a paired figure needs two", "NAME", result)
        figure = figures.paired_figure(document)
    else:
        figure = _timeline(stored, equipment)
    try:
        stem.parent.mkdir(parents=True, exist_ok=True)
        written = save_figure(figure, stem, formats)
        list_own(written)
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(stem)) from error
    note("figure: " + ", ".join(str(path) for path in written), quiet)


def _timeline(stored: StoredResult, equipment: str | None) -> Figure:
    """Draw the stored median day."""
    from simulator.errors import InputError
    from simulator.report.day_figure import day_figure
    from simulator.report.numbers import shown_name
    from simulator.scenario.merge import nearest

    called = {str(entry["name"]): shown_name(entry) for entry in stored.document["equipment_sets"]}
    chosen = equipment or next(iter(called))
    record = stored.day_records.get(chosen)
    if record is None:
        message = f"got {chosen!r}, which has no median day in the result{nearest(chosen, list(called))}"
        raise InputError.single(message, "--equipment")
    return day_figure(record, f"{called[chosen]}: a median day (run {record['run']}, work day {record['work_day']})")
