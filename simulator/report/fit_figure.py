"""Figures of fitted times and of a hindcast."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from simulator.report.palette import INK, QUIET
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain
from simulator.study.trial import area_unit

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from simulator.study.fit import Fit, TaskFit
    from simulator.study.hindcast import Hindcast

_DATA, _FITTED, _BEFORE = "#3b56a5", "#b8401c", "#6b3a14"
_INSIDE, _OUTSIDE = "#12503f", "#b8401c"
_COLUMNS = 3
MOST_PANELS = 24


@styled
def fit_figure(study: Fit) -> Figure:
    """Draw measured values as steps of their cumulative share, the fitted curve, and the mean the scenario had.

    Parameters
    ----------
    study : Fit
        Result; quantities with one value only are left out.
    """
    shown = [one for one in study.fits if len(one.values) > 1][:MOST_PANELS]
    columns = max(1, min(_COLUMNS, len(shown)))
    rows = max(1, math.ceil(len(shown) / columns))
    figure = new_figure(1.0 + 2.9 * columns, 0.8 + 2.3 * rows)
    panels = figure.subplots(rows, columns, squeeze=False).ravel()
    for axes, one in zip(panels, shown, strict=False):
        _panel(axes, one)
    for axes in panels[len(shown) :]:
        axes.set_axis_off()
    if shown:
        handles, labels = panels[0].get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside upper center", ncols=3)
    figure.supylabel("share of values at most this", fontsize=9)
    return settle(figure)


def _panel(axes: Axes, one: TaskFit) -> None:
    x = np.sort(one.values)
    axes.step(np.repeat(x, 2)[1:], np.repeat(np.arange(1, len(x) + 1) / len(x), 2)[:-1], color=_DATA, label="measured")
    share = np.linspace(0.002, 0.998, 250)
    axes.plot(one.shape.distribution.ppf(share), share, color=_FITTED, linestyle="--", label="fitted")
    if one.before is not None:
        axes.axvline(one.before, color=_BEFORE, linewidth=1.0, linestyle=":", label="mean in the scenario")
    axes.set_ylim(0.0, 1.0)
    axes.grid(axis="y")
    tested = f", p = {one.shape.p:.2f}" if math.isfinite(one.shape.p) else ""
    axes.set_title(plain(one.task.replace("_", " "), 28))
    axes.set_xlabel(f"{one.unit}   ({one.shape.kind}, n = {len(x)}{tested})")


@styled
def hindcast_figure(study: Hindcast) -> Figure:
    """Draw each past day's band with what was observed, one panel a measure.

    Parameters
    ----------
    study : Hindcast
        Result.
    """
    unit = area_unit(study.units)
    measures = [str(name) for name in dict.fromkeys(study.days["measure"])]
    most = max(int((study.days["measure"] == name).sum()) for name in measures)
    figure = new_figure(min(16.0, max(6.0, 2.0 + 0.38 * most)), 1.0 + 2.7 * len(measures))
    panels = figure.subplots(len(measures), 1, squeeze=False)[:, 0]
    for axes, name in zip(panels, measures, strict=True):
        scale = 1.0 / unit.acres if name == "acres" else 1.0
        part = study.days[study.days["measure"] == name]
        x = np.arange(len(part))
        value = {
            key: part[key].to_numpy(dtype=float) * scale for key in ("observed", "predicted", "p5", "p25", "p75", "p95")
        }
        axes.vlines(x, value["p5"], value["p95"], color="#a9b4c6", linewidth=5.0, label="nine days in ten")
        axes.vlines(x, value["p25"], value["p75"], color="#5f6672", linewidth=5.0, label="middle half")
        slack = 0.005 * value["observed"]
        inside = (value["observed"] >= value["p5"] - slack) & (value["observed"] <= value["p95"] + slack)
        axes.plot(x, value["predicted"], "_", color=INK, markersize=9, label="predicted mean")
        axes.plot(x[inside], value["observed"][inside], "o", color=_INSIDE, markersize=5.5, label="observed, inside")
        axes.plot(x[~inside], value["observed"][~inside], "X", color=_OUTSIDE, markersize=7, label="observed, outside")
        axes.set_xticks(x, [plain(text, 12) for text in part["date"]], rotation=60, ha="right", fontsize=8)
        axes.set_xlim(-0.7, len(part) - 0.3)
        axes.grid(axis="y")
        axes.set_ylabel(f"{unit.name} a day" if name == "acres" else "paid hours")
    handles, labels = panels[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=3)
    figure.supxlabel(f"{study.simulated} simulated days each", fontsize=8, color=QUIET)
    return settle(figure)
