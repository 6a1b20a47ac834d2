"""Figures of a result, each drawn once for a desk and once for a phone, beside the table whose numbers it shows."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.analysis.digits import fixed
from simulator.report.numbers import report_units, share_text, units_of
from simulator.report.palette import (
    INK,
    MARK,
    PAPER,
    QUIET,
    Look,
    aircraft_looks,
    resource_looks,
    text_on,
    time_use_group,
)
from simulator.report.ranking import Interval, one_more, paired
from simulator.report.style import NARROW_IN, WIDE_IN, new_figure, put_beside, put_left, settle, styled
from simulator.report.writing import plain, wrap

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

_POINTS = 72.0
_NOT_LOST = ("spraying", "turning", "ferry", "take-off and landing", "service", "done")
"""Groups of aircraft time that are work, not waiting."""


def set_label(name: object, width: int = 18) -> str:
    """Return a set's name in at most three short lines."""
    return "\n".join((wrap(plain(name, 3 * width), width) or [" "])[:3])


def _edge(look: Look) -> str:
    """Return the colour of outline and hatch: dark on light grounds, light on dark ones."""
    return QUIET if text_on(look.colour) == INK else PAPER


def look_style(look: Look) -> dict[str, Any]:
    """Return how matplotlib fills a patch of a look."""
    return {"facecolor": look.colour, "hatch": look.hatch, "edgecolor": _edge(look), "linewidth": 0.5}


def look_legend(figure: Figure, looks: Sequence[Look], wide: bool) -> None:
    """Write a legend of looks below a figure."""
    from matplotlib.patches import Patch

    handles = [Patch(**look_style(look), label=look.label) for look in looks]
    size, columns = (8.0, 3) if wide else (7.0, 2)
    figure.legend(handles=handles, loc="outside lower left", ncols=columns, fontsize=size, columnspacing=1.0)


@styled
def time_use_figure(
    time_use_frame: pd.DataFrame, called: Mapping[str, str], wide: bool = True, lost: bool = False
) -> Figure:
    """Draw how the aircraft's hours of a day are used, one stacked bar a set; with ``lost``, only what is no work.

    The table is ``time_use.csv``: columns ``equipment_set``, ``state``, ``hours_per_day``; ``called`` tells what people
    are shown for each set, in order.
    """
    names = [name for name in called if name in set(time_use_frame["equipment_set"])]
    looks = {group: look for group, look in aircraft_looks().items() if not lost or group not in _NOT_LOST}
    hours: dict[str, dict[str, float]] = {name: dict.fromkeys(looks, 0.0) for name in names}
    columns = (time_use_frame[column] for column in ("equipment_set", "state", "hours_per_day"))
    whole = dict.fromkeys(names, 0.0)
    for name, state, value in zip(*columns, strict=True):
        group = time_use_group(str(state))
        whole[name] += float(value) if math.isfinite(value) else 0.0
        if group in looks and math.isfinite(value):
            hours[name][group] += float(value)
    used = [group for group in looks if any(hours[name][group] >= 0.005 for name in names)]
    figure = new_figure(
        WIDE_IN if wide else NARROW_IN, 0.9 + 0.6 * len(names) + 0.18 * math.ceil(len(used) / (3 if wide else 2))
    )
    axes = figure.add_subplot()
    most = max((sum(parts.values()) for parts in hours.values()), default=0.0) or 1.0
    for row, name in enumerate(names):
        left = 0.0
        for group in used:
            value = hours[name][group]
            axes.barh(row, value, 0.5, left, **look_style(looks[group]))
            if value >= most * (0.045 if wide else 0.09):
                look = looks[group]
                box = {"facecolor": look.colour, "edgecolor": "none", "pad": 1.0} if look.hatch else None
                middle: dict[str, Any] = {"ha": "center", "va": "center", "fontsize": 8}
                axes.text(left + value / 2, row, fixed(value, 1), color=text_on(look.colour), bbox=box, **middle)
            left += value
        put_left(
            axes, plain(called[name], 40 if wide else 30), row - 0.27, fontsize=8.5, fontweight="bold", va="bottom"
        )
        if lost:
            put_beside(axes, f"{fixed(left, 1)} of {fixed(whole[name], 1)} h", (left, row), fontsize=8.5)
    axes.set_xlim(0, most * ((1.14 if wide else 1.35) if lost else 1.0))
    axes.set_ylim(len(names) - 0.6, -0.7)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x")
    axes.set_xlabel("hours a day, all aircraft of a set together")
    look_legend(figure, [looks[group] for group in used], wide)
    return settle(figure)


@styled
def interval_figure(groups: Sequence[tuple[str, Sequence[Interval]]], axis: str, wide: bool = True) -> Figure:
    """Draw values with their intervals on one scale, by group; filled marks differ from nothing beyond doubt."""
    rows = sum(len(group) for _, group in groups)
    step = 21.0 if wide else 32.0
    letters = 36 if wide else 44
    figure = new_figure(WIDE_IN if wide else NARROW_IN, (60.0 + step * rows + 18.0 * len(groups)) / _POINTS)
    axes = figure.add_subplot()
    axes.axvline(0.0, color=QUIET, linewidth=0.8)
    level, ticks = 0.0, list[tuple[float, str]]()
    for heading, group in groups:
        if heading:
            level += 16.0
            ticks.append((level - 9.0, plain(heading, letters)))
        for one in group:
            y = level + step - 10.0
            known = [limit for limit in one.limits if limit is not None]
            sure = len(known) == 2 and known[0] * known[1] > 0.0
            axes.plot(known, [y] * len(known), color=INK, linewidth=1.6, solid_capstyle="butt")
            axes.plot([one.value], [y], marker="D", markersize=5, color=MARK, markerfacecolor=MARK if sure else PAPER)
            put_beside(axes, one.text, (math.inf, y), (6, 0), fontsize=8)
            label = plain(one.name, 200)
            if len(label) > letters:
                # the table has what it comes with, and what it stands for
                head, kit, _ = label.partition(" with ")
                label = f"{head} and kit" if kit else label.partition(" instead of ")[0]
            label = label if len(label) <= letters else f"{label[: letters - 1].rstrip()}…"
            ticks.append((y if wide else y - 11.0, label))
            level += step
    axes.set_ylim(level + 4.0, -2.0)
    axes.set_yticks([place for place, _ in ticks] if wide else [], [text for _, text in ticks] if wide else [])
    headings = {plain(heading, letters) for heading, _ in groups}
    for tick in axes.get_yticklabels():
        tick.set_fontweight("bold" if tick.get_text() in headings else "normal")
    for place, text in [] if wide else ticks:
        weight = "bold" if text in headings else "normal"
        put_left(axes, text, place, fontsize=8.5, va="center", fontweight=weight)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x")
    axes.margins(x=0.06)
    axes.locator_params(axis="x", nbins=7 if wide else 4)
    axes.set_xlabel(axis)
    return settle(figure)


def one_more_figure(document: Mapping[str, Any], wide: bool = True) -> Figure:
    """Draw what one more of each adds to every set, on one scale."""
    return interval_figure(one_more(document), f"{units_of(document).area} a day added", wide)


@styled
def paired_figure(document: Mapping[str, Any]) -> Figure:
    """Draw the sets compared two by two, on the same random draws; without pairs the figure says so."""
    pairs = paired(document)
    if pairs:
        return interval_figure([("", pairs)], f"{units_of(document).area} a day more, on the same random draws")
    figure = new_figure(WIDE_IN, 1.5)
    axes = figure.add_subplot()
    axes.text(0.5, 0.5, "one equipment set: nothing to compare", ha="center", va="center", transform=axes.transAxes)
    axes.set_axis_off()
    return settle(figure)


_VIEWS = (
    ("time_lost_share", "Aircraft time\nlost to it"),
    ("utilisation", "Busy share\nof its time"),
    ("active_period_share", "Share of the day\nit sets the pace"),
    ("one_more_acres_per_day", "What one more adds,\n{} per day"),
)


@styled
def bottleneck_figure(bottleneck_frame: pd.DataFrame, units: str = "us") -> Figure:
    """Draw the four views of what holds each set back, side by side by resource, a row of panels a set.

    The table is ``bottleneck.csv``; units are those of what one more adds.
    """
    shown = report_units(units)
    names = list(dict.fromkeys(bottleneck_frame["equipment_set"]))
    figure = new_figure(8.6, 0.75 + 2.05 * len(names))
    grid = figure.subplots(len(names), len(_VIEWS), squeeze=False, sharex="col", sharey=True)
    for row, name in enumerate(names):
        part = bottleneck_frame[bottleneck_frame["equipment_set"] == name].set_index("resource")
        looks = resource_looks(part.index)
        resources = list(looks)
        for column, (key, title) in enumerate(_VIEWS):
            axes, adds = grid[row][column], key.startswith("one_more")
            values = part.loc[resources, key].to_numpy(dtype=float) * (shown.per_acre if adds else 1.0)
            for place, (resource, value) in enumerate(zip(resources, values, strict=True)):
                if math.isfinite(value):
                    axes.barh(place, value, 0.7, **look_style(looks[resource]))
                if not adds:
                    at = (value if math.isfinite(value) else 0.0, place)
                    put_beside(axes, share_text(value), at, (3, 0))
            if adds:
                _whiskers(axes, part.loc[resources], shown.per_acre)
                if not np.isfinite(values).any():
                    axes.text(0.5, 0.5, "not tried", transform=axes.transAxes, ha="center", color=QUIET)
            else:
                axes.set_xlim(0, 1.25)  # room for the number beside a full bar
                axes.set_xticks([0, 0.5, 1], ["0", "50 %", "100 %"])
            axes.set_yticks(range(len(resources)), [look.label for look in looks.values()])
            axes.set_ylim(len(resources) - 0.4, -0.6)
            axes.tick_params(axis="y", length=0)
            axes.grid(axis="x")
            if row == 0:
                axes.set_title(title.format(shown.area), fontsize=8.5)
            if column == 0:
                axes.set_ylabel(set_label(name, 22), fontweight="bold", fontsize=8.5)
    return settle(figure)


def _whiskers(axes: Axes, part: pd.DataFrame, scale: float) -> None:
    axes.axvline(0.0, color=QUIET, linewidth=0.7)
    limits = part[["one_more_ci95_low", "one_more_ci95_high"]].to_numpy(dtype=float) * scale
    for place, pair in enumerate(limits):
        if np.isfinite(pair).all():
            for colour, width in ((PAPER, 3.2), (INK, 1.4)):
                axes.plot(pair, [place, place], color=colour, linewidth=width, solid_capstyle="butt")
