"""Figure of fragmentation: acres a day against the mean size of a field, all sets on the same axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.report.palette import PAPER, QUIET, series
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain
from simulator.scenario.units import M2_PER_ACRE

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.fragmentation import Fragmentation


@styled
def fragmentation_figure(study: Fragmentation) -> Figure:
    """Draw each case with its interval, real maps as hollow marks, and the fitted response of each set."""
    unit = study.unit
    figure = new_figure(8.0, 4.8)
    axes = figure.add_subplot()
    names = [str(name) for name in dict.fromkeys(study.cases["equipment_set"])]
    for place, name in enumerate(names):
        look = series(place)
        own = study.cases[study.cases["equipment_set"] == name].sort_values("mean_area_m2")
        for real, part in own.groupby(own["kind"] == "map"):
            mean, low, high = (part[key] / unit.acres for key in ("acres_per_day", "ci95_low", "ci95_high"))
            axes.errorbar(
                part["mean_area_m2"] / M2_PER_ACRE / unit.acres, mean, [mean - low, high - mean], fmt=look["marker"],
                markersize=7 if real else 5, color=look["color"], markerfacecolor=PAPER if real else look["color"],
                elinewidth=1.0, capsize=2, label=plain(name, 40) + (", real fields" if real else ""),
            )  # fmt: skip
        response = study.responses.get(name)
        if response is not None and own["mean_area_m2"].nunique() > 1:
            x = np.geomspace(own["mean_area_m2"].min(), own["mean_area_m2"].max(), 60)
            move, shape = float(own["move_m"].median()), float(own["length_to_width"].median())
            y = [
                response.acres_per_day(area, move, 1.0 / long, 0.5 * float(np.hypot(long, area / long)))
                for area, long in zip(x, np.sqrt(x * shape), strict=True)
            ]
            fitted = f"{plain(name, 40)}, fitted\n(off by {response.error_acres / unit.acres:.2g})"
            axes.plot(
                x / M2_PER_ACRE / unit.acres, np.asarray(y) / unit.acres, label=fitted, color=look["color"],
                linewidth=1.1, linestyle=(0, (5, 4)), alpha=0.75, zorder=1.0,
            )  # fmt: skip
    axes.set_xscale("log")
    least, most = axes.get_xlim()
    ticks = [step * 10.0**power for power in range(-2, 6) for step in (1, 2, 5)]
    ticks = [tick for tick in ticks if least <= tick <= most]
    axes.set_xticks(ticks, [f"{tick:g}" for tick in ticks])
    axes.minorticks_off()
    axes.set_ylim(bottom=0.0)
    axes.grid(axis="y")
    axes.set_xlabel(f"mean size of a field, {unit.name}")
    axes.set_ylabel(f"{unit.name} a day")
    axes.set_title("The same acres in smaller fields")
    figure.legend(loc="outside right upper")
    text = f"bars: 95 % interval, {study.runs_each} runs a case"
    if study.responses:
        text += (
            ". Dashed: fitted response for fields of the median shape and move, not drawn through the points;"
            f"\noff by: its root mean square error on a case left out, {unit.name} a day"
        )
    figure.supxlabel(text, fontsize=8, color=QUIET, x=0.02, ha="left")
    return settle(figure)
