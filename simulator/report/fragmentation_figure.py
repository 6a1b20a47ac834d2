"""Figure of fragmentation: acres a day against the mean size of a field, all sets on the same axes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from simulator.report.palette import PAPER, QUIET, series
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.trial import area_unit

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from simulator.study.fragmentation import Fragmentation


@styled
def fragmentation_figure(study: Fragmentation) -> Figure:
    """Draw each case with its interval, real maps as hollow marks, and the fitted response of each set."""
    unit = area_unit(study.units)
    figure = new_figure(8.0, 4.8)
    axes = figure.add_subplot()
    names = [str(name) for name in dict.fromkeys(study.cases["equipment_set"])]
    for place, name in enumerate(names):
        look = series(place)
        colour, marker = look["color"], look["marker"]
        own = study.cases[study.cases["equipment_set"] == name].sort_values("mean_area_m2")
        for real in (False, True):
            part = own[(own["kind"] == "map") == real]
            if not len(part):
                continue
            size = part["mean_area_m2"].to_numpy() / M2_PER_ACRE / unit.acres
            mean, low, high = (part[key].to_numpy() / unit.acres for key in ("acres_per_day", "ci95_low", "ci95_high"))
            axes.errorbar(
                size,
                mean,
                yerr=[mean - low, high - mean],
                fmt=marker,
                markersize=7 if real else 5,
                color=colour,
                markerfacecolor=PAPER if real else colour,
                elinewidth=1.0,
                capsize=2,
                linestyle="none",
                label=plain(name, 40) + (", real fields" if real else ""),
            )
        response = study.responses.get(name)
        if response is not None and own["mean_area_m2"].nunique() > 1:
            x = np.geomspace(own["mean_area_m2"].min(), own["mean_area_m2"].max(), 60)
            move, shape = float(own["move_m"].median()), float(own["length_to_width"].median())
            length = np.sqrt(x * shape)
            y = [
                response.acres_per_day(area, move, 1.0 / long, 0.5 * float(np.hypot(long, area / long)))
                for area, long in zip(x, length, strict=True)
            ]
            axes.plot(
                x / M2_PER_ACRE / unit.acres,
                np.asarray(y) / unit.acres,
                color=colour,
                linewidth=1.1,
                linestyle=look["linestyle"],
                alpha=0.75,
                zorder=1.0,
                label=f"{plain(name, 40)}, fitted\n(off by {response.error_acres / unit.acres:.2g})",
            )
    axes.set_xscale("log")
    least, most = axes.get_xlim()
    ticks = [
        tick
        for power in range(-2, 6)
        for tick in (10.0**power, 2 * 10.0**power, 5 * 10.0**power)
        if least <= tick <= most
    ]
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
            ". Lines: fitted response for fields of the median shape and move, not drawn through the points;"
            f"\noff by: its root mean square error on a case left out, {unit.name} a day"
        )
    figure.supxlabel(text, fontsize=8, color=QUIET, x=0.02, ha="left")
    return settle(figure)
