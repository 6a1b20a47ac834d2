"""One stored day in lanes on one clock: rigs, aircraft, packs with their charge, chargers, people, mix, power, pace."""

from __future__ import annotations

import bisect
import itertools
import math
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from simulator.analysis.digits import fixed
from simulator.report.figures import look_legend, look_style
from simulator.report.numbers import NOTHING, clock_text, share_text
from simulator.report.palette import INK, MARK, PAPER, QUIET, RESOURCE_LOOKS, WORK_LOOKS, Look, look_of, resource_looks
from simulator.report.style import CLOCK, NARROW_IN, WIDE_IN, new_figure, put_beside, put_left, settle, styled
from simulator.report.table import Cell, DataTable, text_row
from simulator.report.writing import plain

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Record = Mapping[str, Any]
Span = tuple[float, float]
Spans = dict[Look, list[Span]]
MOST_LANES = 12
"""Lanes of a kind; of more, the last lane stands for the rest together."""
MOST_ROWS = 400
"""Rows of a table of flights."""
_LANE, _PACK = 0.76, 1.6
"""Height of what is drawn in a lane, and of a pack's lane, in lanes: it shows the charge too."""
_IDLE = frozenset({"ready", "stopped", "done", "queue", "wait", "break"})
_HATCHED_S = 240.0
"""Shorter spans have no room for a hatch."""


class Lane(NamedTuple):
    """One lane: name, spans by look, and spans in which it is not idle."""

    name: str
    spans: Spans
    busy: Sequence[Span]


def day_span(records: Iterable[Record]) -> Span:
    """Return the clock (s after midnight) from the first day's start to the last one's end, for one common axis."""
    several = list(records)
    starts = [one["day_start_s"] for one in several]
    return min(starts), max(start + one["end_s"] for start, one in zip(starts, several, strict=True))


def resources_of(records: Iterable[Record]) -> list[str]:
    """Return the names by which days of one result count the resources of their bottlenecks."""
    return max((list(record.get("resources", RESOURCE_LOOKS)) for record in records), key=len, default=[])


def _flown(record: Record, number: int) -> Iterator[tuple[float, float, str]]:
    """Yield the parts of every flight of an aircraft: take-off, ferry, passes and turns, ferry, landing."""
    for sortie in record["sorties"]:
        if sortie["aircraft"] == number:
            times, on = sortie["line"]["t_s"], sortie["line"]["on"]
            last = len(times) - 2
            for place, (begin, end) in enumerate(itertools.pairwise(times)):
                state = "spray" if on[place] == "1" else "turn"
                state = {0: "take-off", 1: "ferry out", last - 1: "ferry back", last: "landing"}.get(place, state)
                yield sortie["start_s"] + begin, sortie["start_s"] + end, state


def _lane(name: str, kind: str, rows: Iterable[tuple[float, float, str, str]]) -> Lane:
    spans: Spans = defaultdict(list)
    busy = []
    for start, end, state, reason in rows:
        if end > start:
            found = look_of(kind, state, reason)
            if found is not None:
                spans[found[1]].append((start, end))
            if state not in _IDLE and reason != "break":
                busy.append((start, end))
    return Lane(name, spans, busy)


def _sessions(record: Record, charger: Mapping[str, Any]) -> Iterator[tuple[float, float, str, str]]:
    """Yield a charger's sessions as the states that its pack is in: charging, held back, stopped."""
    for begin, until, pack, _ in charger["sessions"]:
        for start, end, state in record["packs"][pack]["states"]:
            if state in ("charge", "charge limited", "stopped"):
                yield max(start, begin), min(end, until), state, ""


def as_called(record: Record) -> dict[str, Any]:
    """Return a day's record with what people call its pieces in place of names of the log."""
    labels = record.get("labels") or {}

    def called(name: str) -> str:
        path, slash, last = name.rpartition("/")
        key, space, number = last.rpartition(" ")
        return f"{path}{slash}{plain(labels[key], 60)}{space}{number}" if key in labels else name

    return {
        **record,
        "labels": {},
        **{
            kind: [{**one, "name": called(one["name"])} for one in record[kind]]
            for kind in ("aircraft", "packs", "chargers")
        },
    }


def lanes_of(record: Record) -> list[tuple[str, list[Lane]]]:
    """Return the lanes of a day by kind, in the order in which they are drawn."""
    rigs = [
        _lane(one["name"], "rig", ((*move[:2], "move", move[2]) for move in one["moves"])) for one in record["rigs"]
    ]
    aircraft = [
        _lane(
            one["name"],
            "aircraft",
            [*(row for row in one["states"] if row[2] != "flight"), *((*part, "") for part in _flown(record, number))],
        )
        for number, one in enumerate(record["aircraft"])
    ]
    packs = [_lane(one["name"], "pack", ((*row, "") for row in one["states"])) for one in record["packs"]]
    chargers = [_lane(one["name"], "charger", _sessions(record, one)) for one in record["chargers"]]
    people = [
        _lane(one["name"], kind, ((start, end, "task", task) for start, end, task, _ in one["tasks"]))
        for key, kind in (("people", "person"), ("supplies", "supply"))
        for one in record.get(key, ())
        if one["tasks"] or key == "people"
    ]
    others = [_lane(one["name"], one["kind"], one["states"]) for one in record.get("others", ())]
    names, pace = resources_of([record]), dict[str, list[Span]]()
    looks = resource_looks(names)
    for start, end, *numbers in record["bottleneck"]:
        for number in dict.fromkeys(numbers):
            pace.setdefault(names[number], []).append((start, end))
    setters = [Lane(name, {looks[name]: pace[name]}, pace[name]) for name in looks if name in pace]
    kinds = [("rigs", rigs), ("aircraft", aircraft), ("packs", packs), ("chargers", chargers), ("people", people)]
    return [(kind, lanes) for kind, lanes in [*kinds, ("others", others), ("pace", setters)] if lanes]


@styled
def day_figure(record: Record, title: str = "", wide: bool = True, span: Span | None = None) -> Figure:
    """Draw a day's record by the clock; ``span`` (s after midnight) gives several days one axis."""
    record = as_called(record)
    kinds, points = lanes_of(record), record["power"][:MOST_LANES]
    heights = {kind: _PACK if kind == "packs" else 1.0 for kind, _ in kinds}
    count = sum(min(len(lanes), MOST_LANES) * heights[kind] + 0.9 for kind, lanes in kinds) + 1.8 * len(points)
    looks = (look for kind, lanes in kinds if kind != "pace" for lane in lanes[:MOST_LANES] for look in lane.spans)
    used = list(dict.fromkeys(looks))
    used += [WORK_LOOKS["power"]] if points else []
    legend_in = 0.165 * math.ceil(len(used) / (3 if wide else 2))
    figure = new_figure(WIDE_IN if wide else NARROW_IN, 0.75 + 0.2 * count + legend_in)
    axes = figure.add_subplot()
    begin, until = span or day_span([record])
    shift = record["day_start_s"]
    several, level, ticks = len(record["rigs"]) > 1, 0.0, list[tuple[float, str]]()
    for kind, lanes in kinds:
        if kind == "pace":
            put_left(axes, "sets the pace:", level - 0.1, ha="right", fontsize=8, fontweight="bold", va="center")
            level += 0.9
        shown = lanes if len(lanes) <= MOST_LANES else lanes[: MOST_LANES - 1]
        tall = heights[kind]
        for number, lane in enumerate(shown):
            own, middle = lane.name.partition("/")[2], level + 0.5 * (tall - 1.0)
            ticks.append((middle, plain(lane.name if several or not own else own, 30 if wide else 16)))
            _draw_lane(axes, lane, middle, shift, tall - 1.0 + _LANE)
            if kind == "rigs":
                _name_fields(
                    axes, record, record["rigs"][number]["moves"], level, (92 if wide else 38) / (until - begin)
                )
            elif kind == "packs":
                _draw_charge(axes, record["packs"][number], middle, shift, tall - 1.0 + _LANE)
            level += tall
        if len(lanes) > len(shown):
            rest = lanes[len(shown) :]
            ticks.append((level, f"{len(rest)} more {kind} together" if wide else f"{len(rest)} more {kind}"))
            _draw_steps(
                axes, [(*span, 1.0 / len(rest)) for lane in rest for span in lane.busy], level, shift, "#8b949a", _LANE
            )
            put_beside(axes, "height:\nshare busy", (math.inf, level), (3, 0), fontsize=7)
            level += 1.0
        level += 0.45
    for point in points:
        top = max([point["capacity_kw"], *(kw for *_, kw in point["load_kw"])]) or 1.0
        ticks.append((level + 0.3, plain(point["name"].partition("/")[2] or point["name"], 30 if wide else 16)))
        loads = [(start, end, kw / top) for start, end, kw in point["load_kw"]]
        _draw_steps(axes, loads, level + 0.35, shift, WORK_LOOKS["power"].colour, 1.4)
        words = "at hand" if top <= point["capacity_kw"] else "peak"
        put_beside(axes, f"{fixed(top, 1)} kW\n{words}", (math.inf, level + 0.3), (3, 0), fontsize=7, color=QUIET)
        level += 1.8
    axes.set_ylim(level - 0.5, -0.6)
    axes.set_yticks([place for place, _ in ticks], [label for _, label in ticks])
    axes.tick_params(axis="y", length=0, labelsize=8 if wide else 7.5)
    axes.spines["left"].set_visible(False)
    _clock_axis(axes, begin, until, 14 if wide else 5)
    if title:
        axes.set_title(plain(title, 110))
    look_legend(figure, used, wide)
    figure.set_gid(CLOCK)
    return settle(figure)


def _draw_lane(axes: Axes, lane: Lane, level: float, shift: float, height: float) -> None:
    """Draw the spans of each look as one shape; only those long enough to show it carry the hatch."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    base, top = level - height / 2, level + height / 2
    for look, spans in lane.spans.items():
        parts = _joined(spans)
        for hatched in (False, True):
            part = [one for one in parts if (bool(look.hatch) and one[1] - one[0] >= _HATCHED_S) is hatched]
            if part:
                corners = [
                    (x + shift, y) for a, b in part for x, y in ((a, base), (b, base), (b, top), (a, top), (a, base))
                ]
                codes = [Path.MOVETO, Path.LINETO, Path.LINETO, Path.LINETO, Path.CLOSEPOLY] * len(part)
                style = look_style(look) | ({} if hatched else {"hatch": None}) | {"linewidth": 0}
                axes.add_patch(PathPatch(Path(corners, codes), **style))


def _joined(spans: Iterable[Span]) -> list[Span]:
    """Join spans that touch, so that no hairline shows between them."""
    joined: list[Span] = []
    for start, end in sorted(spans):
        if joined and start <= joined[-1][1] + 0.5:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((start, end))
    return joined


def _name_fields(
    axes: Axes, record: Record, moves: Sequence[Sequence[Any]], level: float, letters_per_s: float
) -> None:
    """Write the field's name over each stay of a rig, where it has room."""
    for before, after in itertools.pairwise(moves):
        letters = int((after[0] - before[1]) * letters_per_s)
        if before[4] >= 0 and letters >= 4:
            name = plain(record["fields"][before[4]]["name"], letters)
            x = record["day_start_s"] + 0.5 * (before[1] + after[0])
            axes.text(x, level, name, ha="center", va="center", fontsize=7.5, color=INK)


def _draw_charge(axes: Axes, pack: Mapping[str, Any], level: float, shift: float, height: float) -> None:
    """Draw a pack's charge over its lane, full at the top, with the reserve as a dashed line."""
    base = level + height / 2
    times = [time + shift for time, _ in pack["charge"]]
    heights = [base - height * energy / pack["capacity_wh"] for _, energy in pack["charge"]]
    axes.plot(times, heights, color=PAPER, linewidth=2.2)
    axes.plot(times, heights, color=INK, linewidth=1.0)
    reserve = base - height * pack["reserve_wh"] / pack["capacity_wh"]
    axes.plot([times[0], times[-1]], [reserve, reserve], color=MARK, linewidth=0.7, linestyle=(0, (4, 3)))


def _draw_steps(
    axes: Axes, loads: Iterable[Sequence[float]], level: float, shift: float, colour: str, height: float
) -> None:
    """Draw the sum of (start, end, share) as a step line, a share of 1 as high as the lane."""
    changes: dict[float, float] = defaultdict(float)
    for start, end, share in loads:
        changes[start] += share
        changes[end] -= share
    times, tops, total = [shift], [level + height / 2], 0.0
    for time in sorted(changes):
        total += changes[time]
        times.append(time + shift)
        tops.append(level + height / 2 - height * min(1.0, max(0.0, total)))
    axes.fill_between(times, [level + height / 2] * len(times), tops, step="post", color=colour, linewidth=0)
    axes.plot([times[0], times[-1]], [level + height / 2] * 2, color=QUIET, linewidth=0.4)


def _clock_axis(axes: Axes, begin: float, until: float, most: int) -> None:
    axes.set_xlim(begin, max(until, begin + 1.0))
    step = next(
        (hours * 3600.0 for hours in (0.5, 1, 2, 3, 6, 12, 24) if (until - begin) / 3600.0 <= most * hours), 86_400.0
    )
    places = [step * number for number in range(math.ceil(begin / step), int(until / step) + 1)]
    axes.set_xticks(places[:1000], [clock_text(place) for place in places[:1000]])
    axes.grid(axis="x")
    axes.set_xlabel("time of day")


def flight_table(name: str, record: Record) -> DataTable:
    """Return the flights of a day."""
    rows = [
        text_row(
            clock_text(record["day_start_s"] + sortie["start_s"], with_seconds=True),
            record["aircraft"][sortie["aircraft"]]["name"],
            record["fields"][sortie["field"]]["name"],
            f"{fixed((sortie['end_s'] - sortie['start_s']) / 60, 1)} min",
            f"{fixed(sortie['applied'], 1)} {record['product_unit']}",
            f"{fixed(sortie['energy_wh'], 0)} Wh",
        )
        for sortie in record["sorties"][:MOST_ROWS]
    ]
    left_out = len(record["sorties"]) - len(rows)
    title = f"Flights of the day, {name}" + (f" (the first {MOST_ROWS}; {left_out} more)" if left_out > 0 else "")
    return DataTable(title, ("take-off", "aircraft", "field", "in the air", "applied", "energy"), tuple(rows), words=3)


def hour_table(name: str, record: Record) -> DataTable:
    """Return power, the charge of each pack, and which resource set the pace, by the hour."""
    names, points, packs = resources_of([record]), record["power"][:MOST_LANES], record["packs"][:MOST_LANES]
    rows = []
    for hour in range(math.ceil(record["end_s"] / 3600.0)):
        low, high = hour * 3600.0, min((hour + 1) * 3600.0, record["end_s"])
        cells = [Cell(clock_text(record["day_start_s"] + low))]
        for point in points:
            energy = sum(max(0.0, min(end, high) - max(start, low)) * kw for start, end, kw in point["load_kw"])
            cells.append(Cell(f"{fixed(energy / (high - low), 1)} kW"))
        for pack in packs:
            energy_wh = charge_at(pack["charge"], low)
            cells.append(Cell(NOTHING if energy_wh is None else share_text(energy_wh / pack["capacity_wh"])))
        held: dict[str, float] = defaultdict(float)
        for start, end, *numbers in record["bottleneck"]:
            for number in numbers:
                held[names[number]] += max(0.0, min(end, high) - max(start, low))
        cells.append(Cell(max(held, key=lambda one: held[one], default=NOTHING)))
        rows.append(tuple(cells))
    heads = ("hour from", *(one["name"] for one in points), *(one["name"] for one in packs), "sets the pace")
    return DataTable(
        f"By the hour, {name}: mean power, charge of each pack, longest-running resource", heads, tuple(rows)
    )


def charge_at(points: Sequence[Sequence[float]], time_s: float) -> float | None:
    """Return a pack's energy (Wh) at a time, on straight lines between the points of its record."""
    if not points:
        return None
    place = bisect.bisect_left(points, time_s, key=lambda point: point[0])
    if place == 0 or place == len(points):
        return float(points[min(place, len(points) - 1)][1])
    (before, low), (after, high) = points[place - 1], points[place]
    return float(low + (high - low) * (time_s - before) / (after - before)) if after > before else float(high)
