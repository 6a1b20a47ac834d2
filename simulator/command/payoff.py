"""``acreday payoff``: does a change pay off."""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence

import click

from simulator.command.common import RUNS
from simulator.command.study import StudyRun, study_command


@study_command("payoff", fields=True)
@click.argument("changes", metavar="[KEY=VALUE]...", nargs=-1)
@click.option("--from", "set_name", metavar="SET", help="Equipment set to change [default: the first].")
@click.option("--to", "other", metavar="SET", help="Another set of the scenario to change to, instead of KEY=VALUE.")
@click.option("--price", type=float, help="What the change costs as a whole, instead of the prices in the scenario.")
@click.option(
    "--one-more-runs", type=int, default=30, show_default=True, help="Runs to find the bottleneck before and after."
)
@RUNS
def command(
    study: StudyRun,
    changes: tuple[str, ...],
    set_name: str | None,
    other: str | None,
    price: float | None,
    one_more_runs: int,
    runs: int | None,
) -> None:
    """Ask whether a change pays off: a third pack, a charger, a larger generator, a helper, a second rig.

    The change is KEY=VALUE, such as rig.main.packs.big=3, or another equipment set (--to). The scenario needs [costs].
    """
    from simulator.command.study_output import StudyOutput
    from simulator.study.payoff import payoff

    loaded = study.load()
    answer = payoff(
        loaded, set_name, changes, other, price, runs, study.seed, study.workers, one_more_runs, report=study.progress
    )
    from simulator.report.payoff_figure import payoff_figure

    table = answer.table
    output = StudyOutput(
        [answer.sentence],
        _rows(table.to_dict("records")),
        [
            *answer.notes,
            f"What holds it back before: {answer.sentence_before}",
            f"And after: {answer.sentence_after}",
            _common(answer.noise_reduction),
        ],
        answer.to_json(),
        {"payoff.csv": table, "futures.csv": answer.futures, "cash.csv": answer.cash},
        {"payoff": lambda: payoff_figure(answer)},
        {"before": answer.runs, "after": answer.runs},
    )
    study.finish(loaded, output)


def _common(reduction: float) -> str:
    if not math.isfinite(reduction):
        return "Both sets saw the same random runs."
    same = "Both sets saw the same random runs, which makes the variance of the difference"
    return f"{same} {reduction:.1f} times smaller than with runs drawn apart."


def _rows(records: Sequence[Mapping[Hashable, object]]) -> list[list[str]]:
    from simulator.analysis.digits import supported_decimals

    rows = [["quantity", "value", "from", "to", "unit", "from and to are"]]
    for record in records:
        value, low, high = (float(str(record[key])) for key in ("value", "low", "high"))
        half = 0.5 * (high - low)
        if math.isfinite(half) and half > 1e-9 * max(1.0, abs(value)):
            places = supported_decimals(half)
        else:
            places = 0 if abs(value) >= 100 else (2 if record["unit"] == "share" or "$" in str(record["unit"]) else 1)
        name, unit = str(record["quantity"]), str(record["unit"])
        rows.append([name, *(_amount(number, places) for number in (value, low, high)), unit, str(record["limits"])])
    return rows


def _amount(value: float, places: int) -> str:
    if math.isnan(value):
        return "–"
    return "never" if math.isinf(value) else f"{round(value, places) + 0.0:,.{max(0, places)}f}"
