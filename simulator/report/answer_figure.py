"""The figures that open a report: output of each set, best first; days to the end of the job, and cost."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulator.report.answer import step_text
from simulator.report.day_output import bad_text, day_spread, day_values, days_word, output_texts
from simulator.report.job_text import cost_text, days_text, finish_text, job_area, limit_text
from simulator.report.numbers import ReportUnits, report_units, shown_name, units_of
from simulator.report.palette import AIRCRAFT_LOOKS, INK, MARK, QUIET
from simulator.report.ranking import best_first
from simulator.report.style import NARROW_IN, WIDE_IN, new_figure, put_beside, put_left, settle, styled
from simulator.report.writing import wrap
from simulator.study.words import capital

if TYPE_CHECKING:
    import pandas as pd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FloatArray = NDArray[np.float64]
_MOST_DOTS = 400
"""Days beyond which dots would run into a blot: a histogram takes their place."""
_POINTS = 72.0
_LINE = 12.0
"""Height of a line of text, points."""


class SpreadRow(NamedTuple):
    """What is drawn of one set: its entry, name, spread of its days, output of each, words beside the numbers."""

    entry: Mapping[str, Any]
    name: str
    spread: Mapping[str, Any]
    days: FloatArray
    remark: str


def _letters(wide: bool) -> int:
    """Return how many letters of small type stand side by side in a figure."""
    return 118 if wide else 54


@styled
def acres_figure(document: Mapping[str, Any], runs_frame: pd.DataFrame, units: str, wide: bool = True) -> Figure:
    """Draw the output of each set, best first: its days, mean and bad day, the step to the next, and what limits it."""
    shown = report_units(units)
    ranked = [entry for _, entry in best_first(document)]
    rows = []
    for place, entry in enumerate(ranked):
        remark = f"{capital(step_text(document, entry, ranked[place + 1]))}. " if place + 1 < len(ranked) else ""
        limits = f"{remark}{limit_text(entry)}"
        spread = day_spread(entry, ranked, shown)
        rows.append(
            SpreadRow(entry, shown_name(entry, 80), spread, day_values(runs_frame, entry, ranked, shown), limits)
        )
    return spread_figure(rows, shown, wide)


@styled
def spread_figure(rows: Sequence[SpreadRow], shown: ReportUnits, wide: bool = True) -> Figure:
    """Draw days, bad day and mean of each row, with its words below: dots are days, a histogram where they are many."""
    letters = _letters(wide)
    texts = []
    sets = [row.entry for row in rows]
    for row, numbers in zip(rows, output_texts(sets, shown), strict=True):
        mean, bad = f"{numbers['interval']} {shown.area} a day", bad_text(sets, numbers)
        texts.append((wrap(row.name, letters // 1.15)[:2], wrap(f"{mean}; {bad}. {row.remark}", letters)))
    heights = [_LINE * (len(name) + len(words)) + 46.0 for name, words in texts]
    figure = new_figure(WIDE_IN if wide else NARROW_IN, (sum(heights) + (70.0 if wide else 96.0)) / _POINTS)
    axes = figure.add_subplot()
    top = 0.0
    for row, (name, words), height in zip(rows, texts, heights, strict=True):
        base = top + _LINE * len(name) + 24.0
        put_left(axes, "\n".join(name), top, va="top", fontweight="bold")
        _draw_days(axes, row.days, base)
        axes.plot([row.spread["p10"], row.spread["mean"]], [base + 5] * 2, color=INK, linewidth=1.6)
        axes.plot([row.spread["p10"]] * 2, [base + 1, base + 9], color=INK, linewidth=1.6)
        known = [limit for limit in row.spread["ci95"] if limit is not None]
        axes.plot(known, [base + 5] * len(known), color=MARK, linewidth=2.0, solid_capstyle="butt")
        axes.plot([row.spread["mean"]], [base + 5], marker="D", markersize=5, color=MARK)
        put_left(axes, "\n".join(words), base + 11, va="top", fontsize=8.5)
        top += height
    axes.set_ylim(top - 8.0, -2.0)
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.grid(axis="x")
    axes.margins(x=0.04)
    axes.locator_params(axis="x", nbins=8 if wide else 5)
    axes.set_xlabel(f"{shown.area} a day")
    marks = (
        ("o", AIRCRAFT_LOOKS["ferry"].colour, f"one {days_word(sets)}"),
        ("|", INK, f"a bad {days_word(sets)}: 9 in 10 reach it (P10)"),
        ("D", MARK, "mean of all runs, with its 95 % interval"),
    )
    _marks(figure, marks, 3 if wide else 1)
    return settle(figure)


def _marks(figure: Figure, marks: Sequence[tuple[str, str, str]], columns: int) -> None:
    """Write a legend of (marker, colour, words)."""
    from matplotlib.lines import Line2D

    handles = [
        Line2D([], [], marker=marker, linestyle="", color=colour, markersize=5, label=words)
        for marker, colour, words in marks
    ]
    figure.legend(handles=handles, loc="outside lower left", ncols=columns, fontsize=8)


def _draw_days(axes: Axes, values: FloatArray, base: float) -> None:
    """Draw each day as a dot, those of one bin stacked upwards; nothing is placed at random."""
    if len(values) == 0:
        return
    colour = AIRCRAFT_LOOKS["ferry"].colour
    spread = float(values.max() - values.min())
    bins = max(1, min(60, round(4 * math.sqrt(len(values)))))
    counts, edges = np.histogram(values, bins if spread > 1e-9 * max(1.0, abs(float(values.max()))) else 1)
    if len(values) > _MOST_DOTS:
        axes.bar(
            edges[:-1], -counts / counts.max() * 20.0, np.diff(edges), base, align="edge", color=colour, linewidth=0
        )
        return
    place = np.clip(np.searchsorted(edges, values, side="right") - 1, 0, len(counts) - 1)
    rank, seen = np.zeros(len(values)), np.zeros(len(counts))
    for index in np.argsort(values, kind="stable"):
        rank[index] = seen[place[index]]
        seen[place[index]] += 1
    level = base - 2.0 - rank * min(3.4, 20.0 / counts.max())
    axes.plot(values, level, "o", markersize=3.2, color=colour, markeredgecolor=QUIET, markeredgewidth=0.3)


Bars = list[tuple[float | None, str]]


def job_panels(document: Mapping[str, Any]) -> list[tuple[str, Bars]]:
    """Return heading and bars, in the order of the answer, of work days to the end of the job, and of cost per acre."""
    shown, sets = units_of(document), [entry for _, entry in best_first(document)]
    panels: list[tuple[str, Bars]] = []
    if job_area(document):
        panels.append((f"Work days for {job_area(document)}", [_days_bar(document, entry) for entry in sets]))
    costs = [(entry.get("job") or {}).get("cost_per_acre") for entry in sets]
    if any(costs):
        bars: Bars = []
        for entry, cost in zip(sets, costs, strict=True):
            text = "no prices" if cost is None else cost_text(document, entry)
            bars.append((None if cost is None else cost["mean"] / shown.per_acre, text))
        panels.append((f"Cost per {shown.area_one}", bars))
    return panels


@styled
def job_figure(document: Mapping[str, Any], wide: bool = True) -> Figure:
    """Draw what :func:`job_panels` returns, which must not be empty."""
    panels, sets = job_panels(document), [entry for _, entry in best_first(document)]
    side_by_side = wide and len(panels) > 1
    height = 0.75 + 0.62 * len(sets)
    figure = new_figure(WIDE_IN if wide else NARROW_IN, height * (1 if side_by_side else len(panels)))
    shape = (1, len(panels)) if side_by_side else (len(panels), 1)
    for axes, (title, bars) in zip(figure.subplots(*shape, squeeze=False).flat, panels, strict=True):
        most = max((value for value, _ in bars if value is not None), default=1.0)
        for row, (entry, (value, text)) in enumerate(zip(sets, bars, strict=True)):
            put_left(axes, shown_name(entry, 34), row - 0.24, fontsize=8.5, fontweight="bold", va="bottom")
            axes.barh(row, value or 0.0, 0.42, color=AIRCRAFT_LOOKS["ferry"].colour)
            put_beside(axes, text, (0.0, row), fontsize=8.5)
        axes.set_xlim(0, 1.05 * most)
        axes.set_ylim(len(sets) - 0.6, -0.75)
        axes.set_yticks([])
        axes.locator_params(axis="x", nbins=6)
        axes.grid(axis="x")
        axes.set_title(title, fontsize=9)
    return settle(figure)


def _days_bar(document: Mapping[str, Any], entry: Mapping[str, Any]) -> tuple[float | None, str]:
    """Return how many work days a set takes, and the words on its bar."""
    job = entry.get("job") or {}
    if job.get("work") != "once":
        return None, "works no list to its end"
    if job["done_share"] == 0.0:
        return None, "cannot do the job"
    text, late = days_text(document, entry), job["finish"]["p90"]
    late_text = "" if late is None else f"; 9 in 10 by {finish_text(document, late, 'day {day}, {time}')}"
    return job["work_days"]["mean"], f"{text}{late_text}"
