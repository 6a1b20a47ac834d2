"""``acreday size``: the least-cost equipment set that reaches a target."""

from __future__ import annotations

import click

from simulator.command.study import StudyRun, study_command


@study_command("size", fields=True)
@click.option(
    "--choose",
    "choices",
    metavar="KEY=2..5|a,b",
    multiple=True,
    required=True,
    help="A key to choose over; may be given several times.",
)
@click.option("--acres-per-day", "daily", metavar="AREA", help='Target a day, such as "150 acre".')
@click.option("--season-acres", "season", metavar="AREA", help='Instead: target a season, such as "4000 acre".')
@click.option("--season-days", type=float, help="Work days for it [default: costs.season_days].")
@click.option(
    "--within", metavar="DAYS", help='Instead: the whole list of fields in so many work days, such as "4 days".'
)
@click.option(
    "--share", default="90%", show_default=True, help="Share of days (seasons, runs) that must reach the target."
)
@click.option("--from", "set_name", metavar="SET", help="Equipment set that the choices vary [default: the first].")
@click.option(
    "--runs", type=int, default=200, show_default=True, help="Runs by which a set is shown to reach the target."
)
@click.option("--confidence", default="95%", show_default=True, help="Of each statement of the guarantee.")
@click.option("--indifference", type=float, help="Least cost difference worth finding [default: 1% of the cheapest].")
def command(
    study: StudyRun,
    choices: tuple[str, ...],
    daily: str | None,
    season: str | None,
    season_days: float | None,
    within: str | None,
    share: str,
    set_name: str | None,
    runs: int,
    confidence: str,
    indifference: float | None,
) -> None:
    """Find the least-cost equipment set that reaches a target, over all combinations of the choices."""
    from simulator.command.experiment import read_share
    from simulator.command.study_output import StudyOutput, cell, read_area
    from simulator.errors import InputError
    from simulator.study.choices import parse_choice
    from simulator.study.size import size
    from simulator.study.words import interval_text, money_range

    chosen = [parse_choice(text, "--choose") for text in choices]
    if sum(one is not None for one in (daily, season, within)) != 1:
        raise InputError.single("allowed is one of --acres-per-day, --season-acres and --within", "target")
    a_day = None if daily is None else read_area(daily, "--acres-per-day")
    a_season = None if season is None else read_area(season, "--season-acres")
    days = None if within is None else _read_days(within)
    parts, sure = read_share(share, "--share") or 0.9, read_share(confidence, "--confidence") or 0.95
    loaded = study.load()
    answer = size(
        loaded,
        chosen,
        a_day,
        a_season,
        season_days,
        days,
        parts,
        set_name,
        runs,
        study.seed,
        study.workers,
        sure,
        indifference,
        study.progress,
    )
    from simulator.report.size_figure import size_figure

    table = answer.table
    scale = answer.target.scale(answer.unit)[0]
    rows = [
        [
            "set",
            "status",
            answer.target.column(answer.unit),
            "chance",
            f"cost {answer.target.cost_of}, {answer.costs.currency}",
            "runs",
        ]
    ]
    shown = sorted(answer.candidates, key=lambda one: (one is not answer.best, one.cost.mean if one.cost else 0.0))[:15]
    for one in shown:
        verdict, cost = one.verdict, one.cost
        rows.append(
            [
                one.label,
                "chosen" if one is answer.best else one.status,
                "–" if verdict is None else cell(verdict.reached / scale),
                "–" if verdict is None else f"{100 * verdict.chance:.0f} %",
                "–" if cost is None else interval_text(cost),
                str(len(one.rows)),
            ]
        )
    notes = [answer.legend, answer.guarantee, *([answer.open_question] if answer.open_question else [])]
    for near in answer.near_misses:
        if near.verdict is not None and near.cost is not None:
            price = money_range(near.cost, answer.costs.currency)
            reached = answer.target.shown(near.verdict.reached, answer.unit)
            notes.append(f"Near: {near.label} ({near.status}) with {reached}, at {price} {answer.target.cost_of}.")
    if len(answer.candidates) > len(shown):
        notes.append(f"{len(answer.candidates) - len(shown)} more sets were tried; see size.csv (--out).")
    if answer.refused:
        settings_refused, reason = answer.refused[0]
        notes.append(f"{len(answer.refused)} combinations are no valid set, such as {settings_refused}: {reason}")
    output = StudyOutput(
        [answer.sentence],
        rows,
        notes,
        answer.to_json(),
        {"size.csv": table},
        {"size": lambda: size_figure(answer)},
        {one.label: len(one.rows) for one in answer.candidates},
    )
    study.finish(loaded, output, answer.stopped)


def _read_days(text: str) -> int:
    """Read ``4 days`` or ``4``."""
    from simulator.errors import InputError

    number, _, word = text.strip().partition(" ")
    if not number.isdecimal() or len(number) > 5 or int(number) < 1 or word.strip() not in ("", "day", "days"):
        raise InputError.single(f"got {text!r}; allowed is a number of work days such as '4 days'", "--within")
    return int(number)
