"""``acreday ladder``: what to buy next, and next after that."""

from __future__ import annotations

import click

from simulator.command.common import RUNS
from simulator.command.study import StudyRun, study_command


@study_command("ladder", fields=True)
@click.option("--from", "set_name", metavar="SET", help="Equipment set to start from [default: the first].")
@click.option(
    "--by",
    type=click.Choice(["money", "acres"]),
    help="What a step must bring [default: money when the scenario has costs].",
)
@click.option("--rungs", type=int, default=6, show_default=True, help="Steps at most.")
@click.option("--pairs", is_flag=True, help="Try two changes together where no single one pays.")
@RUNS
def command(
    study: StudyRun,
    set_name: str | None,
    by: str | None,
    rungs: int,
    pairs: bool,
    runs: int | None,
) -> None:
    """Find what to buy next, and next after that, until nothing pays; the bottleneck is named at each rung."""
    from simulator.command.study_output import StudyOutput, cell
    from simulator.study.ladder import ladder
    from simulator.study.words import interval_text

    loaded = study.load()
    answer = ladder(loaded, set_name, runs, study.seed, study.workers, rungs, by, pairs, study.progress)
    from simulator.report.ladder_figure import ladder_figure

    money = "" if answer.costs is None else answer.costs.currency
    rows = [
        [
            "rung",
            f"{answer.unit.name}/day",
            "held back by",
            "next",
            "adds a day",
            f"price {money}".strip(),
            f"worth {money}".strip(),
        ]
    ]
    for rung in answer.rungs:
        step = rung.taken
        value = None if step is None else step.net_present_value
        rows.append(
            [
                str(rung.number),
                cell(rung.acres_per_day / answer.unit.acres),
                " or ".join(rung.bottleneck.resources),
                "nothing" if step is None else step.change,
                "–" if step is None else interval_text(step.extra_acres_per_day, answer.unit.acres),
                "–" if step is None or step.price is None else cell(step.price),
                "–" if value is None else interval_text(value),
            ]
        )
    output = StudyOutput(
        [answer.sentence],
        rows,
        [*(answer.rung_sentence(rung) for rung in answer.rungs), *answer.notes],
        answer.to_json(),
        {"ladder.csv": answer.table, "tried.csv": answer.tried},
        {"ladder": lambda: ladder_figure(answer)},
        {answer.set_name: answer.runs},
    )
    study.finish(loaded, output)
