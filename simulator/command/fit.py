"""``acreday fit``: stopwatch times turned into a scenario's distributions."""

from __future__ import annotations

from pathlib import Path

import click

from simulator.command.common import note, refuse_existing, write_text_atomically
from simulator.command.study import StudyRun, study_command


@study_command("fit", seeded=False)
@click.argument("times", metavar="TIMES.csv")
@click.option("--equipment-set", metavar="SET", help="Set that was timed [default: the first].")
@click.option("--kind", default="auto", show_default=True, help="Distribution: auto, empirical, lognormal, gamma, ...")
@click.option("--write", "fragment_file", metavar="FILE", help="Write the fitted part of a scenario (TOML) there.")
@click.option("--merged", "merged_file", metavar="FILE", help="Write the whole scenario with it laid over there.")
def command(
    study: StudyRun,
    times: str,
    equipment_set: str | None,
    kind: str,
    fragment_file: str | None,
    merged_file: str | None,
) -> None:
    """Fit distributions to measured times (columns task, time, and amount where something was filled or driven).

    A CSV of past days (columns date and acres) is described as well; to hold a simulation against it, use hindcast.
    """
    from simulator.command.study_output import StudyOutput, cell
    from simulator.experiment.estimates import format_estimate
    from simulator.scenario.loading import read_toml
    from simulator.scenario.stopwatch import is_past_days, read_past_days, read_stopwatch
    from simulator.study.fit import fit, fit_past

    loaded = study.load(times)
    for target in (fragment_file, merged_file):
        refuse_existing(target, study.force, study.scenario, times)
    path = Path(times)
    if is_past_days(path):
        answer = fit_past(read_past_days(path), kind)
    else:
        answer = fit(loaded, read_stopwatch(path), equipment_set, kind)
    from simulator.report.fit_figure import fit_figure

    if fragment_file is not None:
        write_text_atomically(Path(fragment_file), answer.fragment_text())
    if merged_file is not None:
        # file names inside stay relative to the scenario, so the merged one belongs beside it
        write_text_atomically(Path(merged_file), answer.merged_text(read_toml(Path(study.scenario))))
    rows = [["what", "values", "mean", "scenario had", "distribution", "p", "why"]]
    for one in answer.fits:
        rows.append(
            [
                one.task.replace("_", " "),
                str(len(one.values)),
                f"{format_estimate(one.mean.mean, one.mean.low, one.mean.high)} {one.unit}",
                "–" if one.before is None else f"{one.before:.3g}",
                one.shape.kind,
                cell(one.shape.p, 2),
                one.shape.why,
            ]
        )
    notes = [f"{one.task.replace('_', ' ')}: {one.note}." for one in answer.fits if one.note]
    notes.append("p: Anderson-Darling test with the parameters fitted; below 0.05 the shape does not fit.")
    output = StudyOutput(
        [answer.sentence],
        rows,
        notes,
        {**answer.to_json(), "fragment": answer.fragment_text()},
        {"fits.csv": answer.table},
        {"fit": lambda: fit_figure(answer)},
    )
    study.finish(loaded, output)
    for name in (fragment_file, merged_file):
        if name is not None:
            note(f"written: {name}", study.quiet)
