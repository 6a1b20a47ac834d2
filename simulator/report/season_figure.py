"""Figure of a season: acres by date with the range of eight in ten seasons, and cost per area by season size."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.report.palette import QUIET
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.season import Season

_COLOURS = ("#12503f", "#b8401c", "#3b56a5", "#ee9a2e", "#9c79b8", "#5f6672", "#d6457f", "#6b3a14")
_LINES = ("-", "--", "-.", ":")


@styled
def season_figure(answer: Season) -> Figure:
    """Draw how far each set gets by date, and what an acre costs.

    Parameters
    ----------
    answer : Season
        Result.
    """
    priced = any(entry.costs_by_size for entry in answer.sets)
    figure = new_figure(9.0 if priced else 6.4, 4.0)
    left, right = figure.subplots(1, 2, width_ratios=[1.4, 1.0]) if priced else (figure.add_subplot(), None)
    x, per = np.arange(len(answer.dates)), answer.unit.acres
    for place, entry in enumerate(answer.sets):
        colour, line = _COLOURS[place % len(_COLOURS)], _LINES[place // len(_COLOURS) % len(_LINES)]
        left.fill_between(x, entry.by_date[:, 1] / per, entry.by_date[:, 3] / per, color=colour, alpha=0.2, linewidth=0)
        left.plot(x, entry.by_date[:, 2] / per, color=colour, linestyle=line, label=plain(entry.name, 28))
        if right is not None:
            sizes = [one.acres / per for one in entry.costs_by_size]
            costs = [one.cost_per_acre.mean * per for one in entry.costs_by_size]
            right.plot(sizes, costs, color=colour, linestyle=line)
            for one in entry.costs_by_size:
                right.plot([one.acres / per], [one.cost_per_acre.mean * per], marker="o", markersize=5, color=colour,
                           markerfacecolor=colour if one.fits else "white")  # fmt: skip
    for goal in sorted({goal.acres for entry in answer.sets for goal in entry.goals}):
        left.axhline(goal / per, color=QUIET, linewidth=0.8, linestyle="--")
        left.annotate(f"{goal / per:,.0f}", (0.0, goal / per), xycoords=("axes fraction", "data"), xytext=(4, 2),
                      textcoords="offset points", fontsize=8, color=QUIET)  # fmt: skip
    step = max(1, len(x) // 6)
    left.set_xticks(x[::step], answer.dates[::step])
    left.set_xlim(0, max(1, len(x) - 1))
    left.set_ylim(bottom=0)
    left.yaxis.set_major_formatter(_amount)
    left.set_xlabel("date (month-day)")
    left.set_ylabel(f"{answer.unit.name} done")
    left.set_title(f"Done by date: middle, and 8 in 10 of {answer.worlds:,} seasons")
    left.grid(axis="y")
    left.legend(loc="upper left")
    if right is not None and answer.costs is not None:
        right.set_xscale("log")
        sizes = sorted({one.acres / per for entry in answer.sets for one in entry.costs_by_size})
        right.set_xticks(sizes, [f"{size:,.0f}" for size in sizes], rotation=40)
        right.minorticks_off()
        right.set_ylim(bottom=0)
        right.set_xlabel(f"{answer.unit.name} a season (hollow: out of reach)")
        right.set_ylabel(f"{plain(answer.costs.currency, 5)} per {answer.unit.one}")
        right.set_title("Cost by season size")
        right.grid(axis="y")
    return settle(figure)


def _amount(value: float, _: object) -> str:
    return f"{value:,.0f}"
