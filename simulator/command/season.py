"""``acreday season``: how far in a season, and what an acre costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from simulator.command.common import RUNS
from simulator.command.study import StudyRun, study_command

if TYPE_CHECKING:
    from simulator.scenario.distributions import Distribution


@study_command("season", fields=True)
@click.argument("sets", metavar="[SET]...", nargs=-1)
@click.option(
    "--acres",
    "goals",
    metavar="AREA",
    multiple=True,
    help='Area to finish, such as "4000 acre"; may be given several times.',
)
@click.option(
    "--workable-days",
    metavar="NUMBER|MIN..MAX",
    help="Work days of the season [default: weather.file, or costs.season_days].",
)
@click.option("--first", metavar="MM-DD", default="06-01", show_default=True, help="First date.")
@click.option("--last", metavar="MM-DD", default="08-31", show_default=True, help="Last date.")
@click.option(
    "--least-hours",
    type=float,
    default=3.0,
    show_default=True,
    help="Dates of a weather file with fewer workable hours are not worked.",
)
@RUNS
def command(
    study: StudyRun,
    sets: tuple[str, ...],
    goals: tuple[str, ...],
    workable_days: str | None,
    first: str,
    last: str,
    least_hours: float,
    runs: int | None,
) -> None:
    """Ask how far equipment sets get in a season: acres by date, the chance to finish, days needed, cost per acre.

    The dates that can be worked come from the scenario's weather file, or from a number of work days.
    """
    from simulator.command.study_output import StudyOutput, cell, read_area
    from simulator.study.season import season

    areas = [read_area(text, "--acres") for text in goals]
    number = read_days(workable_days)
    loaded = study.load()
    answer = season(
        loaded,
        sets,
        number,
        first,
        last,
        areas,
        least_hours=least_hours,
        runs=runs,
        seed=study.seed,
        workers=study.workers,
        report=study.progress,
    )
    from simulator.report.season_figure import season_figure

    per, unit = answer.unit.acres, answer.unit
    rows = [
        [
            "set",
            f"{unit.name}/season",
            "in 9 of 10",
            "goal",
            "chance",
            "half done by",
            "9 in 10 by",
            "work days",
            "cycles/pack",
        ]
    ]
    for entry in answer.sets:
        for goal in entry.goals or (None,):
            rows.append(
                [
                    entry.name,
                    cell(entry.total[1] / per, -1),
                    cell(entry.total[0] / per, -1),
                    *(
                        ["–"] * 5
                        if goal is None
                        else [
                            cell(goal.acres / per),
                            f"{100 * goal.chance:.0f} %",
                            goal.half_done_by or "–",
                            goal.safe_by or "–",
                            cell(goal.days_half),
                        ]
                    ),
                    cell(entry.cycles_per_pack[1]),
                ]
            )
    costs = answer.cost_sentence()
    notes = [text for entry in answer.sets for text in _wear(entry.name, entry.life_used_share)] + list(answer.notes)
    output = StudyOutput(
        [answer.sentence, *([costs] if costs else [])],
        rows,
        notes,
        answer.to_json(),
        {"season.csv": answer.table, "by_date.csv": answer.by_date, "cost_by_size.csv": answer.cost_by_size},
        {"season": lambda: season_figure(answer)},
        {entry.name: entry.runs for entry in answer.sets},
    )
    study.finish(loaded, output)


def _wear(name: str, share: float) -> list[str]:
    return [f"{name}: a middle season takes {100 * share:.0f} % of a pack's life in cycles."] if share == share else []


def read_days(text: str | None) -> float | Distribution | None:
    """Read ``40`` or ``30..50`` (any number between is as likely)."""
    from simulator.errors import InputError
    from simulator.scenario.distributions import Uniform

    if text is None:
        return None
    low, dots, high = text.partition("..")
    try:
        values = [float(low), float(high)] if dots else [float(low)]
    except ValueError:
        values = [-1.0]
    if not all(0 < value <= 366 for value in values) or (dots and not values[0] < values[1]):
        raise InputError.single(
            f"got {text!r}; allowed is a number such as 40, or a range such as 30..50", "--workable-days"
        )
    return Uniform(values[0], values[1]) if dots else values[0]
