"""One day as a picture: a lane for every aircraft, pack, charger slot, person, rig and power supply."""

from __future__ import annotations

import itertools
import math
from collections import defaultdict
from collections.abc import Sequence
from typing import TYPE_CHECKING

from simulator.analysis.day_rows import DayRows, Interval
from simulator.report.numbers import clock_text
from simulator.report.palette import (
    INK,
    PACK_LOOKS,
    QUIET,
    WORK_LOOKS,
    Look,
    aircraft_looks,
    look_of,
    text_on,
)
from simulator.report.style import new_figure, settle, styled
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

MOST_LANES = 12
"""Lanes of a kind; of more, the last lane stands for the rest together."""
_LANE = 0.76
_TITLES = {
    "rig": "rig",
    "aircraft": "aircraft",
    "pack": "packs",
    "charger": "chargers",
    "power": "power",
    "person": "crew",
    "supply": "mix",
}
"""Kinds of lanes in their order, and what several of a kind are called; kinds added to the model come after them."""
_HALF_HOUR_S = 1800.0
_IDLE = frozenset({"ready", "stopped", "done", "queue", "wait", "break"})

Spans = dict[str, list[tuple[float, float]]]


@styled
def timeline_figure(rows: DayRows, title: str) -> Figure:
    """Draw a day's log on a clock axis.

    Parameters
    ----------
    rows : DayRows
        The day's intervals. With a plan they give the clock, the capacity of each power supply, and single passes and
        turns; without it the axis counts from the start of the day.
    title : str
        Heading.
    """
    lanes = _lanes(rows)
    figure = new_figure(10.0, 1.65 + 0.235 * sum(len(names) for _, names in lanes) + 0.1 * len(lanes))
    axes = figure.add_subplot()
    end_s = max(rows.paid_until_s, 1.0)
    used: dict[str, Look] = {}
    ticks: list[tuple[float, str]] = []
    level = 0.0
    for kind, names in lanes:
        for names_of_lane, label in names:
            ticks.append((level, label))
            if kind == "power":
                _draw_power(axes, rows, names_of_lane, level, used)
            elif len(names_of_lane) > 1:
                _draw_rest(axes, rows, names_of_lane, kind, level)
            else:
                _draw_lane(axes, rows, names_of_lane[0], kind, level, used)
            level += 1.0
        level += 0.45
    axes.set_ylim(level - 0.9, -0.6)
    axes.set_yticks([place for place, _ in ticks], [label for _, label in ticks])
    axes.tick_params(axis="y", length=0, labelsize=8)
    axes.spines["left"].set_visible(False)
    _clock_axis(axes, end_s, rows.day_start_s)
    axes.set_title("\n".join(_wrapped(title, 110)))
    _legend(figure, used)
    return settle(figure)


def _wrapped(text: str, width: int) -> list[str]:
    import textwrap

    return textwrap.wrap(plain(text, 2 * width), width) or [" "]


def _lanes(rows: DayRows) -> list[tuple[str, list[tuple[list[str], str]]]]:
    """Return, by kind, which entities share a lane, and the lane's label."""
    by_kind: dict[str, list[str]] = defaultdict(list)
    for name, kind in rows.kinds.items():
        by_kind[kind].append(name)
    several = len(by_kind["rig"]) > 1
    lanes = []
    for kind in dict.fromkeys([*_TITLES, *by_kind]):
        names = by_kind[kind] if kind != "weather" else []
        if kind == "supply":
            names = [name for name in names if rows.of_entity(name)]
        if not names:
            continue
        shown, rest = names, list[str]()
        if len(names) > MOST_LANES:
            shown, rest = names[: MOST_LANES - 1], names[MOST_LANES - 1 :]
        labels = [([name], _lane_label(name, kind, several)) for name in shown]
        if rest:
            what = "power supplies" if kind == "power" else _TITLES.get(kind, kind)
            labels.append((rest, f"{len(rest)} more {what} together"))
        lanes.append((kind, labels))
    return lanes


def _lane_label(name: str, kind: str, several: bool) -> str:
    rig, _, own = name.partition("/")
    label = name if several or not own else own
    if kind == "rig":
        label = f"rig {rig}"
    elif kind == "power":
        label = f"power {label}"
    return plain(label, 30)


def _draw_lane(axes: Axes, rows: DayRows, name: str, kind: str, level: float, used: dict[str, Look]) -> None:
    groups: Spans = defaultdict(list)
    looks: dict[str, Look] = {}
    for row in _sessions(rows, name) if kind == "charger" else rows.of_entity(name):
        found = look_of(kind, row.state, row.reason)
        if found is not None and row.end_s > row.start_s:
            group, looks[group] = found
            groups[group].append((row.start_s, row.end_s))
    if kind == "rig":
        _name_fields(axes, rows, name, level)
    for group, spans in groups.items():
        _draw_spans(axes, _joined(spans), level, looks[group])
        used[group] = looks[group]


def _sessions(rows: DayRows, charger: str) -> list[Interval]:
    """Return a charger slot's sessions as the states that its pack is in: charging, held back, stopped."""
    parts = []
    for session in rows.of_entity(charger):
        for row in rows.of_entity(session.field):
            start, end = max(row.start_s, session.start_s), min(row.end_s, session.end_s)
            if end > start and row.state in ("charge", "charge limited", "stopped"):
                parts.append(row._replace(start_s=start, end_s=end))
    return parts


def _joined(spans: Sequence[tuple[float, float]]) -> list[tuple[float, float]]:
    """Join spans that touch, so that no hairline shows between them."""
    joined: list[tuple[float, float]] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1] + 0.5:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def _draw_spans(axes: Axes, spans: list[tuple[float, float]], level: float, look: Look) -> None:
    """Draw spans of one look; only those long enough to show it carry the hatch."""
    long_s = 240.0
    edge = QUIET if text_on(look.colour) == INK else "#f2f4f5"
    for hatched in (False, True):
        part = [(start, end - start) for start, end in spans if (bool(look.hatch) and end - start >= long_s) is hatched]
        if part:
            hatch = look.hatch if hatched else None
            height = (level - _LANE / 2, _LANE)
            axes.broken_barh(part, height, facecolor=look.colour, linewidth=0, hatch=hatch, edgecolor=edge)


def _name_fields(axes: Axes, rows: DayRows, name: str, level: float) -> None:
    """Write the field's name over each stay of a rig."""
    moves = _joined([(row.start_s, row.end_s) for row in rows.of_entity(name) if row.state == "move"])
    width_s = max(rows.paid_until_s, 1.0)
    for (_, begin), (end, _) in itertools.pairwise(moves):
        seconds: dict[str, float] = defaultdict(float)
        for field, start, stop in rows.stays.get(name, ()):
            seconds[field] += max(0.0, min(stop, end) - max(start, begin))
        field = max(seconds, key=lambda key: seconds[key], default="")
        letters = int((end - begin) / width_s * 115)
        if field and letters >= 5:
            axes.text(
                0.5 * (begin + end), level, plain(field, letters), ha="center", va="center", fontsize=7.5, color=INK
            )


def _draw_rest(axes: Axes, rows: DayRows, names: list[str], kind: str, level: float) -> None:
    """Draw how large a part of many entities is busy, as a step line over one lane."""
    changes: dict[float, int] = defaultdict(int)
    for name in names:
        for row in _sessions(rows, name) if kind == "charger" else rows.of_entity(name):
            if row.end_s > row.start_s and row.state not in _IDLE:
                changes[row.start_s] += 1
                changes[row.end_s] -= 1
    times, heights, busy = [0.0], [0.0], 0
    for time in sorted(changes):
        busy += changes[time]
        times.append(time)
        heights.append(busy / len(names))
    _draw_steps(axes, times, heights, level, "#8b949a")
    _remark(axes, rows.paid_until_s, level, "height: share busy")


def _remark(axes: Axes, time_s: float, level: float, text: str) -> None:
    axes.text(time_s, level, f" {text}", fontsize=7, va="center", ha="left", color=QUIET, clip_on=False)


def _draw_steps(axes: Axes, times: Sequence[float], heights: Sequence[float], level: float, colour: str) -> None:
    base = level + _LANE / 2
    tops = [base - _LANE * min(1.0, height) for height in heights]
    axes.fill_between(list(times), [base] * len(times), tops, step="post", color=colour, linewidth=0)
    axes.plot([times[0], times[-1]], [base, base], color=QUIET, linewidth=0.4)


def _draw_power(axes: Axes, rows: DayRows, names: list[str], level: float, used: dict[str, Look]) -> None:
    """Draw average power over each interval against what the supplies can give."""
    capacity_w = sum(rows.capacity_w.get(name, 0.0) for name in names)
    changes: dict[float, float] = defaultdict(float)
    peak_w = 0.0
    for name in names:
        for row in rows.of_entity(name):
            length = row.end_s - row.start_s
            if row.state == "run" and length > 1.0 and row.reason == "":
                power_w = row.amount * 3600.0 / length
                peak_w = max(peak_w, power_w)
                changes[row.start_s] += power_w
                changes[row.end_s] -= power_w
    whole_w = max(capacity_w, peak_w, 1.0)
    times, heights, power_w = [0.0], [0.0], 0.0
    for time in sorted(changes):
        power_w += changes[time]
        times.append(time)
        heights.append(max(0.0, power_w) / whole_w)
    look = WORK_LOOKS["power"]
    _draw_steps(axes, times, heights, level, look.colour)
    used["power"] = look
    words = "at hand" if peak_w <= capacity_w * 1.001 else "peak"
    _remark(axes, rows.paid_until_s, level, f"{whole_w / 1000:.3g} kW {words}")


def _clock_axis(axes: Axes, end_s: float, day_start_s: float | None) -> None:
    axes.set_xlim(0.0, end_s)
    step = _HALF_HOUR_S
    while end_s / step > 14:
        step *= 2
    origin = day_start_s or 0.0
    first = math.ceil(origin / step) * step - origin
    places = [first + step * number for number in range(int((end_s - first) / step) + 1)]
    labels = [clock_text(origin + place) for place in places]
    axes.set_xticks(places, labels)
    axes.grid(axis="x")
    axes.set_xlabel("time of day" if day_start_s is not None else "hours and minutes since the start of the day")


def _legend(figure: Figure, used: dict[str, Look]) -> None:
    """Write one legend in columns: what aircraft do (two columns), packs and chargers, and the rest."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    flown = [f"aircraft {group}" for group in aircraft_looks() if f"aircraft {group}" in used]
    half = (len(flown) + 1) // 2
    columns: list[tuple[str, list[str]]] = [
        ("Aircraft and crew", flown[:half]),
        ("", flown[half:]),
        ("Packs and chargers", packs := [f"pack {group}" for group in PACK_LOOKS if f"pack {group}" in used]),
        ("Supply", [group for group in ("work supply", "power") if group in used]),
        ("Other", [group for group in used if group not in {*flown, *packs, "work supply", "power"}]),
    ]
    columns = [(title, groups) for title, groups in columns if groups]
    height = max((len(groups) for _, groups in columns), default=0)
    blank = Line2D([], [], linestyle="", label=" ")
    handles: list[Patch | Line2D] = []
    for title, groups in columns:
        handles.append(Line2D([], [], linestyle="", label=title or " "))
        for group in groups:
            look = used[group]
            edge = QUIET if text_on(look.colour) == INK else "#f2f4f5"
            handles.append(Patch(facecolor=look.colour, hatch=look.hatch, edgecolor=edge, label=look.label))
        handles += [blank] * (height - len(groups))
    if handles:
        legend = figure.legend(
            handles=handles, loc="outside lower center", ncols=len(columns), fontsize=7.5, columnspacing=1.6
        )
        for text in legend.get_texts():
            if text.get_text() in {title for title, _ in columns}:
                text.set_fontweight("bold")
