"""``acreday hindcast``: past days simulated from their inputs, observed against predicted."""

from __future__ import annotations

from pathlib import Path

import click

from simulator.command.study import StudyRun, study_command


@study_command("hindcast")
@click.argument("past", metavar="DAYS.csv")
@click.option("--runs", type=int, default=200, show_default=True, help="Runs simulated for each past day, 20 or more.")
def command(
    study: StudyRun,
    past: str,
    runs: int,
) -> None:
    """Simulate past days from what was known before them and hold the outcome against what was observed.

    The CSV has the columns date and acres, and optionally hours, equipment_set, fields, settings and dotted keys.
    """
    from simulator.command.study_output import StudyOutput, cell
    from simulator.scenario.stopwatch import read_past_days
    from simulator.study.hindcast import hindcast
    from simulator.study.trial import area_unit

    loaded = study.load()
    answer = hindcast(loaded, read_past_days(Path(past)).days, runs, study.seed, study.workers, study.progress)
    from simulator.report.fit_figure import hindcast_figure

    unit = area_unit(answer.units)
    rows = [["date", "set", "what", "observed", "predicted", "nine in ten", "inside"]]
    for row in answer.days.to_dict(orient="records"):
        acres = row["measure"] == "acres"
        scale, places = (1.0 / unit.acres, 0) if acres else (1.0, 1)
        slack = 0.005 * float(row["observed"])
        inside = float(row["p5"]) - slack <= float(row["observed"]) <= float(row["p95"]) + slack
        rows.append(
            [
                str(row["date"]),
                str(row["equipment_set"]),
                unit.name if acres else "paid hours",
                cell(float(row["observed"]) * scale, places),
                cell(float(row["predicted"]) * scale, places),
                f"{cell(float(row['p5']) * scale, places)} to {cell(float(row['p95']) * scale, places)}",
                "list done" if not row["tells"] else "yes" if inside else "no",
            ]
        )
    notes = [
        f"{entry.measure.replace('_', ' ')}: {entry.inside} of {entry.days} in the band for {100 * entry.band:.0f} % "
        f"(in the long run {100 * entry.low:.0f} to {100 * entry.high:.0f} %)."
        for entry in answer.coverage
    ]
    notes.append(f"{answer.runs} runs for each past day.")
    output = StudyOutput(
        [answer.sentence],
        rows,
        notes,
        answer.to_json(),
        {"past_days.csv": answer.days},
        {"hindcast": lambda: hindcast_figure(answer)},
        {str(name): answer.runs for name in dict.fromkeys(answer.days["equipment_set"])},
    )
    study.finish(loaded, output, answer.stopped)
