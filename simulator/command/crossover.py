"""``acreday crossover``: which of two equipment sets wins over field size and application rate."""

from __future__ import annotations

import click

from simulator.command.study import StudyRun, study_command


@study_command("crossover")
@click.argument("first", metavar="A")
@click.argument("second", metavar="B")
@click.option(
    "--sizes",
    default="10,20,40,80,160 acre",
    show_default=True,
    help="Field sizes with their unit: a list, or a range such as 10..160 acre for five sizes evenly in ratio.",
)
@click.option(
    "--rates",
    default="1,2,3,5 gal/acre",
    show_default=True,
    help="Application rates with their unit: a list, or a range such as 1..5 gal/acre.",
)
@click.option("--acres", metavar="AREA", help="Area of the job [default: the scenario's fields].")
@click.option("--shape", type=float, default=2.0, show_default=True, help="Length over width of the fields.")
@click.option("--distance", help="Road distance between fields [default: the scenario's route.between_field_distance].")
@click.option("--runs", type=int, default=16, show_default=True, help="Runs of each cell and set at first.")
@click.option("--most-runs", type=int, default=128, show_default=True, help="Runs of a cell that stays undecided.")
def command(
    study: StudyRun,
    first: str,
    second: str,
    sizes: str,
    rates: str,
    acres: str | None,
    shape: float,
    distance: str | None,
    runs: int,
    most_runs: int,
) -> None:
    """Map where set A beats set B: per day, per person-hour and (with costs) per dollar, by field size and rate.

    Each cell is a job of like fields, as many as come nearest to its area, worked off once.
    Where an interval straddles zero more runs are simulated; what stays open is shown as too close to call.
    """
    from simulator.command.study_output import StudyOutput, cell, never_done, read_area, read_job
    from simulator.experiment.estimates import format_estimate
    from simulator.scenario.units import M2_PER_ACRE
    from simulator.study.crossover import crossover
    from simulator.study.design import read_levels
    from simulator.study.splits import read_distances, read_shares
    from simulator.study.trial import area_unit

    loaded = study.load()
    areas = [read_area(text, "--sizes") * M2_PER_ACRE for text in read_levels(sizes, "--sizes")]
    shape = read_shares(str(shape), "--shape", 0.01, 100.0)[0]
    apart = None if distance is None else read_distances(distance, "--distance")[0]
    levels = read_levels(rates, "--rates")
    answer = crossover(
        loaded,
        first,
        second,
        areas,
        levels,
        runs,
        most_runs,
        apart,
        shape,
        read_job(loaded, acres),
        study.seed,
        study.workers,
        study.progress,
    )
    from simulator.report.crossover_figure import crossover_figure

    unit = area_unit(answer.units)
    money = loaded.base.costs.currency if loaded.base.costs is not None else ""
    labels = {
        "day": f"{unit.name}/day",
        "person_hour": f"{unit.name}/person-hour",
        "cost": f"{money}/{unit.one} (less wins)",
    }
    rows = [
        [
            f"fields, {unit.name}",
            "rate",
            "measure",
            answer.a,
            answer.b,
            f"in favour of {answer.a}",
            "winner",
            "work days",
            "runs",
        ]
    ]
    for row in answer.cells.to_dict(orient="records"):
        scale = unit.acres if row["measure"] == "cost" else 1.0 / unit.acres
        lead = (float(row[key]) * scale for key in ("difference", "low", "high"))
        rows.append(
            [
                f"{row['fields']} x {cell(float(row['field_area_m2']) / M2_PER_ACRE / unit.acres, 1)}",
                str(row["rate"]),
                labels[str(row["measure"])],
                f"{float(row['a_value']) * scale:.4g}",
                f"{float(row['b_value']) * scale:.4g}",
                format_estimate(*lead),
                str(row["winner"]) or "open",
                f"{float(row['a_work_days']):.3g}, {float(row['b_work_days']):.3g}",
                cell(float(row["runs"])),
            ]
        )
    often = "once" if answer.looks == 1 else f"up to {answer.looks} times"
    notes = [
        f"Every cell was looked at {often}; each interval holds at {100 * answer.level:.3g} %, "
        "so that a border holds at 95 %.",
    ]
    for side, name in (("a", answer.a), ("b", answer.b)):
        one_a_cell = answer.cells[answer.cells["measure"] == "day"]
        notes += never_done(name, one_a_cell[f"{side}_done_share"], "cell")
    if "cost" not in answer.measures:
        notes.append("Per dollar is left out: the scenario has no [costs].")
    if answer.unpriced:
        notes.append(f"Costs leave out what has no price: {', '.join(answer.unpriced)}.")
    output = StudyOutput(
        [answer.sentence],
        rows,
        notes,
        answer.to_json(),
        {"cells.csv": answer.cells},
        {"crossover": lambda: crossover_figure(answer)},
        {name: int(answer.cells["runs"].max()) for name in (answer.a, answer.b)},
    )
    study.finish(loaded, output, answer.stopped)
