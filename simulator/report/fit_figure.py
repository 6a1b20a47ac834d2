"""Figures of fitted times and of a hindcast."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from simulator.report.palette import GAIN, INK, MARK, PAPER, QUIET
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from simulator.study.fit import Fit, TaskFit
    from simulator.study.hindcast import Hindcast

_DATA, _BEFORE = "#3b56a5", "#6b3a14"
_COLUMNS = 3
MOST_PANELS = 24


@styled
def fit_figure(study: Fit) -> Figure:
    """Draw measured values as steps of their cumulative share, the fitted curve, and the mean the scenario had."""
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
    axes.plot(one.shape.distribution.ppf(share), share, color=MARK, linestyle="--", label="fitted")
    if one.before is not None:
        axes.axvline(one.before, color=_BEFORE, linewidth=1.0, linestyle=":", label="mean in the scenario")
    axes.set_ylim(0.0, 1.0)
    axes.grid(axis="y")
    tested = f", p = {one.shape.p:.2f}" if math.isfinite(one.shape.p) else ""
    axes.set_title(plain(one.task.replace("_", " "), 28))
    axes.set_xlabel(f"{one.unit}   ({one.shape.kind}, n = {len(x)}{tested})")


@styled
def hindcast_figure(study: Hindcast) -> Figure:
    """Draw each past day's band with what was observed, one panel a measure."""
    measures = [str(name) for name in dict.fromkeys(study.days["measure"])]
    dates = study.days.drop_duplicates("line")
    lines = {line: place for place, line in enumerate(dates["line"])}
    figure = new_figure(min(16.0, max(6.4, 2.0 + 0.38 * len(lines))), 1.4 + 2.2 * len(measures))
    panels = figure.subplots(len(measures), 1, squeeze=False, sharex=True)[:, 0]
    for axes, name in zip(panels, measures, strict=True):
        part = study.days[study.days["measure"] == name]
        x = np.array([lines[line] for line in part["line"]])
        value = {key: part[key].to_numpy(dtype=float) for key in ("observed", "predicted", "p5", "p25", "p75", "p95")}
        slack = 0.005 * value["observed"]
        inside = (value["observed"] >= value["p5"] - slack) & (value["observed"] <= value["p95"] + slack)
        tells = part["tells"].to_numpy(dtype=bool)
        # per cent of the predicted mean: days of any size on one scale
        off = {key: 100.0 * (values / value["predicted"] - 1.0) for key, values in value.items()}
        axes.axhline(0.0, color=INK, linewidth=0.8)
        axes.vlines(x, off["p5"], off["p95"], color="#c3cbd8", linewidth=8.0, label="nine days in ten")
        axes.vlines(x, off["p25"], off["p75"], color="#7d8794", linewidth=8.0, label="middle half")
        for kept, marker, colour, label in (
            (inside & tells, "o", GAIN, "observed, inside"),
            (~inside & tells, "X", MARK, "observed, outside"),
        ):
            axes.plot(x[kept], off["observed"][kept], marker, color=colour, markersize=6, label=label)
        axes.plot(
            x[~tells], off["observed"][~tells], "o", color=QUIET, markerfacecolor=PAPER, label="list done: no evidence"
        )
        axes.grid(axis="y")
        axes.set_title(f"{study.unit.name} a day" if name == "acres" else "paid hours")
        axes.set_ylabel("% off predicted mean")
    panels[-1].set_xticks(np.arange(len(lines)), [plain(text, 12) for text in dates["date"]], rotation=60, ha="right")
    panels[-1].set_xlim(-0.7, len(lines) - 0.3)
    handles, labels = panels[0].get_legend_handles_labels()
    figure.legend(handles, labels, loc="outside upper center", ncols=3)
    figure.supxlabel(f"{study.runs} runs each", fontsize=8, color=QUIET)
    return settle(figure)
