"""``acreday report``: a result as one HTML file, with the day replayed."""

from __future__ import annotations

import click

from simulator.command.common import FORCE_FILE, QUIET, note, options, refuse_existing


@click.command("report")
@click.argument("results", metavar="RESULT...", nargs=-1, required=True)
@click.option("--out", metavar="FILE.html", help="Where to write it [default: report.html in the result folder].")
@options(FORCE_FILE, QUIET)
def command(results: tuple[str, ...], out: str | None, force: bool, quiet: bool) -> None:
    """Write a result folder as one HTML file that needs no network: the answer, figures, tables, a day replayed.

    With several result folders: a page that sets them side by side, and says what changed in the inputs. With the
    folder of a study (payoff, ladder, size ...): its answer, figures and table.
    """
    from pathlib import Path

    from simulator.errors import InputError
    from simulator.report.html import write_report
    from simulator.report.html_comparison import write_comparison
    from simulator.report.html_study import STUDY, write_study
    from simulator.report.own_files import list_own
    from simulator.report.stored import read_result

    study = len(results) == 1 and (Path(results[0]) / STUDY).is_file()
    stored = [] if study else [read_result(Path(name)) for name in results]
    default = Path(results[0]) / ("report.html" if len(results) == 1 else "comparison.html")
    target = Path(out) if out is not None else default
    refuse_existing(target, force)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        if study:
            write_study(Path(results[0]), target)
        elif len(stored) == 1:
            write_report(stored[0], target)
        else:
            write_comparison(stored, target)
        list_own([target])
    except OSError as error:
        raise InputError.single(f"cannot be written: {error.strerror or error}", "--out", str(target)) from error
    note(f"report: {target}", quiet)
