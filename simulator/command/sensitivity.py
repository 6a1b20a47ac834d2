"""``acreday sensitivity``: which assumptions matter, and what to measure to be sure."""

from __future__ import annotations

import click

from simulator.command.study import StudyRun, study_command


@study_command("sensitivity", fields=True)
@click.argument("set_name", metavar="[SET]", required=False)
@click.option("--against", metavar="SET", help="Ask about the lead over this set instead: does the choice hold?")
@click.option(
    "--range",
    "ranges",
    multiple=True,
    metavar="KEY=LOW..HIGH",
    help="What an input may be, such as rig.main.crew.tasks.swap.time=40..90 s; adds to the scenario's [range].",
)
@click.option("--measure", default="acres", show_default=True, help="Measure, a column of runs.csv.")
@click.option("--runs", type=int, default=40, show_default=True, help="Runs of each point of the bars.")
@click.option(
    "--sobol", "points", type=int, default=0, show_default=True, help="Points for Sobol indices, a power of two."
)
@click.option("--sobol-runs", type=int, default=4, show_default=True, help="Runs of each point for Sobol indices.")
@click.option("--target", default="2%", show_default=True, help="How well the answer is to be known.")
def command(
    study: StudyRun,
    set_name: str | None,
    against: str | None,
    ranges: tuple[str, ...],
    measure: str,
    runs: int,
    points: int,
    sobol_runs: int,
    target: str,
) -> None:
    """Find which assumptions matter: one at a time, and with --sobol all together; and what to measure to be sure."""
    from simulator.command.experiment import read_share
    from simulator.command.study_output import StudyOutput, cell
    from simulator.experiment.estimates import format_estimate
    from simulator.study.design import ranges_of
    from simulator.study.sensitivity import sensitivity
    from simulator.study.trial import area_unit, one_set

    loaded = study.load()
    share = read_share(target, "--target") or 0.02
    answer = sensitivity(
        loaded,
        ranges_of(loaded, ranges),
        set_name,
        against,
        measure,
        runs,
        points,
        sobol_runs,
        share,
        study.seed,
        study.workers,
        study.progress,
    )
    from simulator.report.sensitivity_figure import sensitivity_figure

    unit = area_unit(answer.units)
    scale, word = (1.0 / unit.acres, f"{unit.name}/day") if measure == "acres" else (1.0, measure)
    table = answer.sobol_table()
    rows = [
        [
            "input",
            "range",
            f"change at its low end, {word}",
            f"change at its high end, {word}",
            f"widest difference, {word}",
            "must be known to within",
            "timings for that",
        ]
    ]
    if table is not None:
        rows[0] += ["share alone (first order)", "share in all (total)"]
    for place, (bar, need) in enumerate(
        zip(answer.bars.to_dict(orient="records"), answer.needs.to_dict(orient="records"), strict=True)
    ):
        changes = [
            format_estimate(*(scale * float(bar[f"change_{side}{end}"]) for end in ("", "_ci_low", "_ci_high")))
            for side in ("low", "high")
        ]
        counted = float(need["plus_minus"]) != float(need["plus_minus"])
        within = f"{need['plus_minus']:.2g} {need['unit']}".strip()
        enough = "count it" if counted else "range will do" if need["enough"] else within
        row = [str(bar["words"]), f"{bar['low']} to {bar['high']}", *changes]
        timings = "–" if need["enough"] else cell(float(need["timings"]))
        row += [f"{scale * float(bar['swing']):.3g}", enough, timings]
        if table is not None:
            indices = table.iloc[place]
            for name, short in (("first_order", "first"), ("total", "total")):
                keys = (name, f"{short}_ci95_low", f"{short}_ci95_high")
                row.append(format_estimate(*(float(indices[key]) for key in keys)))
        rows.append(row)
    notes = [
        f"{answer.runs} runs of each point, the same random runs for all; changes are from the scenario's own values, "
        "with 95 % intervals; the widest difference is between any two of low end, own value and high end.",
        f"Must be known to within: so that the answer is sure to {100 * answer.target:.2g} %, if it changes evenly "
        "through the range; timings for that: stopwatch times whose mean is so sure; range will do: the range given is "
        "narrow enough.",
        "A drawn time keeps its shape: its mean moves through the range.",
    ]
    if answer.indices is not None:
        notes.append(
            "Share alone: of the variance, what the input explains by itself; share in all: with all that it does "
            f"together with others (Sobol indices), from {answer.indices.evaluations} points of {sobol_runs} runs; "
            f"{100 * answer.noise_share:.0f} % of their variance is chance of the runs."
        )
    tables = {"inputs.csv": answer.bars.drop(columns="place"), "to_measure.csv": answer.needs}
    if table is not None:
        tables["sobol.csv"] = table
    output = StudyOutput(
        [answer.sentence],
        rows,
        notes,
        answer.to_json(),
        tables,
        {"sensitivity": lambda: sensitivity_figure(answer)},
        {one_set(loaded, name).name: answer.runs for name in (set_name, against) if name or name is set_name},
    )
    study.finish(loaded, output, answer.stopped)
