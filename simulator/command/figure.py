"""``acreday figure``: one publication-ready figure of a result."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from simulator.command.common import FORCE_FILE, QUIET, note, options, refuse_existing
from simulator.errors import Problem

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
    "--format",
    "formats",
    type=click.Choice(["svg", "png", "pdf"]),
    multiple=True,
    default=("svg", "png", "pdf"),
    show_default=True,
)
@options(FORCE_FILE, QUIET)
def command(
    result: str, name: str, equipment: str | None, out: str | None, formats: tuple[str, ...], force: bool, quiet: bool
) -> None:
    """Draw a figure of a result for print: acres, time-use, bottleneck, paired, or the timeline of a median day."""
    from pathlib import Path

    from simulator.errors import InputError
    from simulator.report import figures
    from simulator.report.own_files import list_own
    from simulator.report.stored import read_result

    stem = Path(out) if out is not None else Path(result) / name.replace("-", "_")
    for form in formats:
        refuse_existing(stem.with_name(f"{stem.name}.{form}") if stem.name else stem, force)
    stored = read_result(Path(result))
    document = stored.document
    if name == "acres":
        figure = figures.acres_figure(document, stored.runs, str(document.get("units", "us")))
    elif name == "time-use":
        figure = figures.time_use_figure(stored.time_use)
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
        written = figures.save_figure(figure, stem, formats)
        list_own(written)
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(stem)) from error
    note("figure: " + ", ".join(str(path) for path in written), quiet)


def _timeline(stored: StoredResult, equipment: str | None) -> Figure:
    """Simulate the median day again, from the manifest, and draw it."""
    from simulator.analysis.day_rows import DayRows
    from simulator.errors import InputError
    from simulator.experiment.run import simulate_day
    from simulator.plan.day_plan import make_plan
    from simulator.report.timeline import timeline_figure
    from simulator.scenario.loading import load_scenario
    from simulator.scenario.merge import nearest

    names = [str(entry["name"]) for entry in stored.document["equipment_sets"]]
    chosen = equipment or names[0]
    record, table = stored.day_records.get(chosen), stored.manifest.get("resolved", {}).get(chosen)
    if record is None or table is None:
        raise InputError.single(
            f"got {chosen!r}, which has no median day in the result{nearest(chosen, names)}", "--equipment"
        )
    try:
        # the copies of the files that it names lie in the result folder
        loaded = load_scenario(table, folder=stored.folder)
    except InputError as error:
        message = "cannot be simulated again from the result folder; use acreday day with the scenario"
        raise InputError([*error.problems, Problem("", message)]) from error
    run, work_day = int(record["run"]), int(record["work_day"])
    day = simulate_day(loaded, None, run, work_day, int(stored.manifest.get("seed", 1)))
    title = f"{chosen}: a median day (run {run}, work day {work_day})"
    return timeline_figure(DayRows.of(day, make_plan(loaded.sets[0])), title)
