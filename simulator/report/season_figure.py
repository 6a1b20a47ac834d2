"""Figure of a season: acres by date with the range of eight in ten seasons, and cost per area by season size."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.report.palette import PAPER, QUIET, series
from simulator.report.style import new_figure, put_beside, settle, styled, thousands
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.season_answer import Season


@styled
def season_figure(answer: Season) -> Figure:
    """Draw how far each set gets by date, and what an acre costs."""
    priced = any(entry.costs_by_size for entry in answer.sets)
    figure = new_figure(9.0 if priced else 6.4, 4.0)
    left, right = figure.subplots(1, 2, width_ratios=[1.4, 1.0]) if priced else (figure.add_subplot(), None)
    x, per = np.arange(len(answer.dates)), answer.unit.acres
    for place, entry in enumerate(answer.sets):
        look = series(place)
        every: dict[str, Any] = {"markevery": (place, max(1, len(x) // 8)), "markersize": 4}
        left.fill_between(
            x, entry.by_date[:, 1] / per, entry.by_date[:, 3] / per, color=look["color"], alpha=0.2, linewidth=0
        )
        left.plot(x, entry.by_date[:, 2] / per, label=plain(entry.name, 28), **look, **every)
        if right is not None:
            costs = [(one.acres / per, one.cost_per_acre.mean * per, one.fits) for one in entry.costs_by_size]
            right.plot([size for size, *_ in costs], [cost for _, cost, _ in costs], **look | {"marker": ""})
            for size, cost, fits in costs:
                right.plot(size, cost, **look, markersize=5, markerfacecolor=look["color"] if fits else PAPER)
    for goal in sorted({goal.acres for entry in answer.sets for goal in entry.goals}):
        left.axhline(goal / per, color=QUIET, linewidth=0.8, linestyle="--")
        put_beside(left, thousands(goal / per), (0.0, goal / per), (4, 6), fontsize=8, color=QUIET)
    step = max(1, len(x) // 6)
    left.set_xticks(x[::step], answer.dates[::step])
    left.set_xlim(0, max(1, len(x) - 1))
    left.set_ylim(bottom=0)
    left.yaxis.set_major_formatter(thousands)
    left.set_xlabel("date (month-day)")
    left.set_ylabel(f"{answer.unit.name} done")
    left.set_title(f"Done by date: middle, and 8 in 10 of {answer.worlds:,} seasons")
    left.grid(axis="y")
    left.legend(loc="upper left")
    if right is not None and answer.costs is not None:
        right.set_xscale("log")
        sizes = sorted({one.acres / per for entry in answer.sets for one in entry.costs_by_size})
        right.set_xticks(sizes, [thousands(size) for size in sizes], rotation=40)
        right.minorticks_off()
        right.set_ylim(bottom=0)
        right.set_xlabel(f"{answer.unit.name} a season (hollow: out of reach)")
        right.set_ylabel(f"{plain(answer.costs.currency, 5)} per {answer.unit.one}")
        right.set_title("Cost by season size")
        right.grid(axis="y")
    return settle(figure)
