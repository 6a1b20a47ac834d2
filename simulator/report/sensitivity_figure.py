"""Figure of a sensitivity study: one-at-a-time bars, and Sobol indices beside them."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.report.palette import GAIN, INK, PAPER, QUIET
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from simulator.study.sensitivity import Sensitivity

_LOW, _HIGH = "#ee9a2e", "#3b56a5"
_FIRST, _TOTAL = GAIN, "#8fcfc0"
MOST_BARS = 30


@styled
def sensitivity_figure(study: Sensitivity) -> Figure:
    """Draw the widest inputs on top: what the low and the high end of each range do to the answer."""
    count = min(MOST_BARS, len(study.bars))
    table = study.sobol_table
    figure = new_figure(9.4 if table is not None else 7.6, 1.7 + 0.42 * count)
    if table is None:
        left = figure.add_subplot()
    else:
        left, right = figure.subplots(1, 2, width_ratios=(1.6, 1.0))
        _indices(right, study, count)
    _bars(left, study, count)
    handles, labels = left.get_legend_handles_labels()
    if table is not None:
        more = right.get_legend_handles_labels()
        handles, labels = [*handles, *more[0]], [*labels, *more[1]]
    figure.legend(handles, labels, loc="outside upper center", ncols=4)
    return settle(figure)


def _bars(axes: Axes, study: Sensitivity, count: int) -> None:
    unit = study.unit
    scale, name = (1.0 / unit.acres, f"{unit.name} a day") if study.measure == "acres" else (1.0, study.measure)
    part = study.bars.head(count)
    y = np.arange(count)
    for side, colour, hatch, shift in (("low", _LOW, "", -0.17), ("high", _HIGH, "////", 0.17)):
        change = part[f"change_{side}"].to_numpy() * scale
        ends = [part[f"change_{side}_ci_{end}"].to_numpy() * scale for end in ("low", "high")]
        # the ends are thin bars side by side, since both may push the answer the same way
        axes.barh(y + shift, change, 0.32, color=colour, hatch=hatch, edgecolor=PAPER, label=f"{side} end of the range")
        axes.errorbar(
            change,
            y + shift,
            xerr=[change - ends[0], ends[1] - change],
            fmt="none",
            ecolor=INK,
            elinewidth=0.9,
            capsize=2,
        )
    labels = [f"{plain(row.words, 34)}\n{plain(row.low, 18)} to {plain(row.high, 18)}" for row in part.itertuples()]
    axes.axvline(0.0, color=INK, linewidth=0.8)
    axes.set_yticks(y, labels, fontsize=8)
    axes.set_ylim(count - 0.5, -0.5)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x")
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(f"change of {plain(name)} (95 % interval, {study.runs} runs)")
    axes.set_title("One input at a time")


def _indices(axes: Axes, study: Sensitivity, count: int) -> None:
    table = study.sobol_table
    if table is None:
        return
    part = table.head(count)
    y = np.arange(len(part))
    for key, low, high, colour, shift, label in (
        ("first_order", "first_ci95_low", "first_ci95_high", _FIRST, -0.17, "Sobol first order"),
        ("total", "total_ci95_low", "total_ci95_high", _TOTAL, 0.17, "Sobol total"),
    ):
        value, ends = part[key].to_numpy(), [part[low].to_numpy(), part[high].to_numpy()]
        axes.barh(y + shift, value, 0.32, color=colour, edgecolor=PAPER, label=label)
        # a percentile interval need not hold its estimate when the sample is small
        errors = [np.maximum(0.0, value - ends[0]), np.maximum(0.0, ends[1] - value)]
        axes.errorbar(value, y + shift, xerr=errors, fmt="none", ecolor=INK, elinewidth=0.9, capsize=2)
    axes.axvline(0.0, color=INK, linewidth=0.8)
    axes.set_yticks(y, [""] * len(y))
    axes.set_ylim(len(part) - 0.5, -0.5)
    axes.tick_params(axis="y", length=0)
    axes.grid(axis="x")
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("share of the variance")
    axes.set_title("All inputs together", color=QUIET if study.noise_share > 0.5 else INK)
