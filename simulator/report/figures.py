"""Figures of a result: acres a day, time use, the four bottleneck views, paired differences.

Each is a thin drawing over a table that stands beside it in the result folder; none needs pyplot or leaves state.
"""

from __future__ import annotations

import math
import textwrap
from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.report.day_output import day_spread, day_values, has_days
from simulator.report.numbers import mean_text, quantile_text, range_text, report_units, share_text, units_of
from simulator.report.palette import (
    AIRCRAFT_LOOKS,
    INK,
    QUIET,
    Look,
    aircraft_looks,
    resource_looks,
    text_on,
    time_use_group,
)
from simulator.report.style import new_figure, save_figure, settle, styled
from simulator.report.writing import plain

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

__all__ = ["acres_figure", "bottleneck_figure", "paired_figure", "save_figure", "time_use_figure"]

FloatArray = NDArray[np.float64]
_MOST_DOTS = 400
"""Days beyond which dots would run into a blot: a histogram takes their place."""
_LABEL_FROM = 0.04


def set_label(name: object, width: int = 18) -> str:
    """Return a set's name in at most three short lines."""
    lines = textwrap.wrap(plain(name, 3 * width), width) or [" "]
    return "\n".join(lines[:3])


@styled
def acres_figure(result_document: Mapping[str, Any], runs_frame: pd.DataFrame, units: str) -> Figure:
    """Draw the distribution of acres (or hectares) per day, a row a set.

    Dots are single full work days (a histogram when there are more than 400), the bar reaches from P10 to P90 of them
    with a tick at P50, the diamond is the mean of runs with its 95 % interval.

    Parameters
    ----------
    result_document : mapping
        ``result.json``.
    runs_frame : pandas.DataFrame
        ``runs.csv``: columns ``equipment_set``, ``acres``, ``full_day_acres``.
    units : {"us", "metric"}
        Units.

    Raises
    ------
    ValueError
        Unknown units.
    """
    shown = report_units(units)
    sets = result_document["equipment_sets"]
    figure = new_figure(8.0, 1.15 + 0.95 * len(sets))
    axes = figure.add_subplot()
    for row, entry in enumerate(sets):
        spread = day_spread(entry, shown)
        _draw_days(axes, day_values(runs_frame, entry, shown), row)
        _draw_summary(axes, spread, row)
        words = [f"mean {mean_text(spread['mean'], spread['ci95'])}"]
        words += [f"{name.upper()} {quantile_text(spread, name)}" for name in ("p10", "p50", "p90")]
        note = f"{words[0]}\n{' · '.join(words[1:])}\n{entry['runs']} runs"
        axes.annotate(note, (1.0, row), xycoords=("axes fraction", "data"), xytext=(10, 0), textcoords="offset points",
                      va="center", fontsize=8, linespacing=1.35, annotation_clip=False)  # fmt: skip
    axes.set_yticks(range(len(sets)), [set_label(entry["name"]) for entry in sets])
    axes.set_ylim(len(sets) - 0.45, -0.55)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x")
    axes.set_xlabel(f"{shown.area} per day")
    dot = "a full work day of each run" if any(map(has_days, sets)) else "a run"
    axes.set_title(f"{shown.area.capitalize() if shown.area == 'acres' else 'Hectares'} per day")
    _key(figure, [("o", dot), ("|", "P10, P50, P90 of them"), ("D", "mean of runs with 95 % interval")])
    axes.margins(x=0.04)
    return settle(figure)


def _draw_days(axes: Axes, values: FloatArray, row: int) -> None:
    if len(values) == 0:
        return
    colour = AIRCRAFT_LOOKS["ferry"].colour
    spread = float(values.max() - values.min())
    bins = max(1, min(60, round(4 * math.sqrt(len(values)))))
    counts, edges = np.histogram(values, bins if spread > 1e-9 * max(1.0, abs(float(values.max()))) else 1)
    if len(values) > _MOST_DOTS:
        height = counts / counts.max() * 0.36
        axes.bar(edges[:-1], -height, np.diff(edges), row - 0.04, align="edge", color=colour, linewidth=0)
        return
    # dots of one bin are stacked upwards, so every day is seen and nothing is drawn at random
    place = np.clip(np.searchsorted(edges, values, side="right") - 1, 0, len(counts) - 1)
    order = np.argsort(values, kind="stable")
    rank = np.zeros(len(values))
    seen = np.zeros(len(counts))
    for index in order:
        rank[index] = seen[place[index]]
        seen[place[index]] += 1
    step = min(0.07, 0.36 / counts.max())
    level = row - 0.07 - rank * step
    axes.plot(values, level, "o", markersize=3.2, color=colour, markeredgecolor=QUIET, markeredgewidth=0.3)


def _draw_summary(axes: Axes, spread: Mapping[str, Any], row: int) -> None:
    level = row + 0.2
    axes.plot([spread["p10"], spread["p90"]], [level, level], color=INK, linewidth=1.6, solid_capstyle="butt")
    for name, height in (("p10", 0.07), ("p50", 0.11), ("p90", 0.07)):
        axes.plot([spread[name]] * 2, [level - height, level + height], color=INK, linewidth=1.6)
    low, high = spread["ci95"]
    below = row + 0.38
    if low is not None and high is not None:
        axes.plot([low, high], [below, below], color="#b8401c", linewidth=2.0, solid_capstyle="butt")
    axes.plot([spread["mean"]], [below], marker="D", markersize=4.5, color="#b8401c")


def _key(figure: Figure, marks: list[tuple[str, str]]) -> None:
    from matplotlib.lines import Line2D

    colours = {"o": AIRCRAFT_LOOKS["ferry"].colour, "|": INK, "D": "#b8401c"}
    handles = [
        Line2D(
            [], [], linestyle="" if mark != "|" else "-", marker=mark, color=colours[mark], markersize=5, label=label
        )
        for mark, label in marks
    ]
    figure.legend(handles=handles, loc="outside lower left", ncols=len(marks), fontsize=8)


@styled
def time_use_figure(time_use_frame: pd.DataFrame) -> Figure:
    """Draw how the aircraft's time is used, one stacked bar a set.

    Parameters
    ----------
    time_use_frame : pandas.DataFrame
        ``time_use.csv``: columns ``equipment_set``, ``state``, ``share``.
    """
    from matplotlib.patches import Patch

    names = list(dict.fromkeys(time_use_frame["equipment_set"]))
    looks = aircraft_looks()
    shares: dict[str, dict[str, float]] = {name: dict.fromkeys(looks, 0.0) for name in names}
    for name, state, share in zip(
        time_use_frame["equipment_set"], time_use_frame["state"], time_use_frame["share"], strict=True
    ):
        shares[name][time_use_group(str(state))] += float(share) if math.isfinite(share) else 0.0
    used = [group for group in looks if any(shares[name][group] >= 0.0005 for name in names)]
    figure = new_figure(8.0, 1.2 + 0.62 * len(names) + 0.22 * math.ceil(len(used) / 3))
    axes = figure.add_subplot()
    for row, name in enumerate(names):
        left = 0.0
        for group in used:
            share = shares[name][group]
            if share <= 0.0:
                continue
            look = looks[group]
            axes.barh(row, share, 0.62, left, color=look.colour, hatch=look.hatch, edgecolor=_edge(look), linewidth=0.5)
            if share >= _LABEL_FROM:
                _bar_label(axes, left + share / 2, row, f"{100 * share:.0f}", look)
            left += share
    axes.set_xlim(0, 1)
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.set_yticks(range(len(names)), [set_label(name) for name in names])
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.set_xticks(np.linspace(0, 1, 6), [f"{100 * tick:.0f} %" for tick in np.linspace(0, 1, 6)])
    axes.set_xlabel("share of the aircraft's paid day; numbers are per cent")
    axes.set_title("Where the aircraft's time goes")
    handles = [
        Patch(facecolor=look.colour, hatch=look.hatch, edgecolor=_edge(look), label=look.label)
        for look in (looks[group] for group in used)
    ]
    figure.legend(handles=handles, loc="outside lower center", ncols=3, fontsize=8, columnspacing=1.4)
    return settle(figure)


def _edge(look: Look) -> str:
    """Return the colour of outline and hatch: dark on light grounds, light on dark ones."""
    return QUIET if text_on(look.colour) == INK else "#f2f4f5"


def _bar_label(axes: Axes, x: float, y: float, text: str, look: Look) -> None:
    box = {"facecolor": look.colour, "edgecolor": "none", "pad": 1.0} if look.hatch else None
    axes.text(x, y, text, ha="center", va="center", fontsize=8, color=text_on(look.colour), bbox=box)


_VIEWS = (
    ("time_lost_share", "Aircraft time\nlost to it"),
    ("utilisation", "Busy share\nof its time"),
    ("active_period_share", "Share of the day as\nmomentary bottleneck"),
    ("one_more_acres_per_day", "What one more adds,\n{} per day"),
)


@styled
def bottleneck_figure(bottleneck_frame: pd.DataFrame, units: str = "us") -> Figure:
    """Draw the four views of what holds each set back, side by side by resource, a row of panels a set.

    Parameters
    ----------
    bottleneck_frame : pandas.DataFrame
        ``bottleneck.csv``.
    units : {"us", "metric"}
        Units of what one more adds.

    Raises
    ------
    ValueError
        Unknown units.
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
            axes = grid[row][column]
            values = part.loc[resources, key].to_numpy(dtype=float)
            adds = key.startswith("one_more")
            scale = shown.per_acre if adds else 1.0
            for place, (resource, value) in enumerate(zip(resources, values * scale, strict=True)):
                look = looks[resource]
                if math.isfinite(value):
                    axes.barh(
                        place, value, 0.7, color=look.colour, hatch=look.hatch, edgecolor=_edge(look), linewidth=0.5
                    )
            if adds:
                _whiskers(axes, part, resources, scale)
                if not np.isfinite(values).any():
                    axes.text(0.5, 0.5, "not tried", transform=axes.transAxes, ha="center", color=QUIET)
            else:
                axes.set_xlim(0, 1.25)  # room for the number beside a full bar
                axes.set_xticks([0, 0.5, 1], ["0", "50 %", "100 %"])
                for place, value in enumerate(values):
                    at = (value if math.isfinite(value) else 0.0, place)
                    axes.annotate(
                        share_text(value), at, xytext=(3, 0), textcoords="offset points", va="center", fontsize=7.5
                    )
            axes.set_yticks(range(len(resources)), [look.label for look in looks.values()])
            axes.set_ylim(len(resources) - 0.4, -0.6)
            axes.tick_params(axis="y", length=0)
            axes.grid(axis="x")
            if row == 0:
                axes.set_title(title.format(shown.area), fontsize=8.5)
            if column == 0:
                axes.set_ylabel(set_label(name, 22), fontweight="bold", fontsize=8.5)
    return settle(figure)


def _whiskers(axes: Axes, part: pd.DataFrame, resources: list[str], scale: float) -> None:
    axes.axvline(0.0, color=QUIET, linewidth=0.7)
    lows = part.loc[resources, "one_more_ci95_low"].to_numpy(dtype=float) * scale
    highs = part.loc[resources, "one_more_ci95_high"].to_numpy(dtype=float) * scale
    for place, (low, high) in enumerate(zip(lows, highs, strict=True)):
        if math.isfinite(low) and math.isfinite(high):
            axes.plot([low, high], [place, place], color="white", linewidth=3.2, solid_capstyle="butt")
            axes.plot([low, high], [place, place], color=INK, linewidth=1.4, solid_capstyle="butt")


@styled
def paired_figure(document: Mapping[str, Any]) -> Figure:
    """Draw the paired differences between sets, on the same random draws, with 95 % intervals.

    Parameters
    ----------
    document : mapping
        ``result.json``; without pairs the figure says so.
    """
    shown = units_of(document)
    pairs = document.get("paired") or []
    figure = new_figure(8.0, 1.0 + 0.62 * max(1, len(pairs)))
    axes = figure.add_subplot()
    axes.set_title("Differences between sets on the same random draws")
    if not pairs:
        axes.text(0.5, 0.5, "one equipment set: nothing to compare", ha="center", va="center", transform=axes.transAxes)
        axes.set_axis_off()
        return settle(figure)
    labels = []
    for row, pair in enumerate(pairs):
        value = pair["difference"] * shown.per_acre
        limits = [None if limit is None else limit * shown.per_acre for limit in pair["ci95"]]
        known = [limit for limit in limits if limit is not None]
        if len(known) == 2:
            axes.plot(known, [row, row], color=INK, linewidth=2.0, solid_capstyle="butt")
        axes.plot([value], [row], marker="D", markersize=5, color="#b8401c")
        amount = range_text(value, limits, sign=True).replace("-", "\N{MINUS SIGN}")
        note = f"{amount} {shown.area}\nfirst is ahead on {share_text(pair['a_wins_share'])} of runs"
        axes.annotate(note, (1.0, row), xycoords=("axes fraction", "data"), xytext=(8, 0), textcoords="offset points",
                      va="center", fontsize=8, linespacing=1.35, annotation_clip=False)  # fmt: skip
        labels.append(f"{plain(pair['a'], 22)}\nless {plain(pair['b'], 22)}")
    axes.axvline(0.0, color=QUIET, linewidth=0.8)
    axes.set_yticks(range(len(pairs)), labels)
    axes.set_ylim(len(pairs) - 0.5, -0.5)
    axes.tick_params(axis="y", length=0)
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x")
    axes.margins(x=0.08)
    axes.set_xlabel(f"difference in {shown.area} per day, with 95 % interval")
    return settle(figure)
