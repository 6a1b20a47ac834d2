"""The fields of a day as a map: numbered in order of driving, what was sprayed, and the drives with their times."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from simulator.analysis.digits import fixed
from simulator.report.numbers import NOTHING, ReportUnits, clock_text, share_text
from simulator.report.palette import AIRCRAFT_LOOKS, INK, MARK, PAPER, Look
from simulator.report.style import NARROW_IN, WIDE_IN, new_figure, put_beside, settle, styled
from simulator.report.table import DataTable, text_row
from simulator.report.writing import plain
from simulator.scenario.units import M2_PER_ACRE, M_PER_FOOT, M_PER_MILE

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Record = Mapping[str, Any]
Point = tuple[float, float]
YARD = -1
DONE = Look("sprayed this day", AIRCRAFT_LOOKS["ferry"].colour)
PART = Look("partly sprayed", AIRCRAFT_LOOKS["take-off and landing"].colour, "////")
REST = Look("not flown this day", PAPER)
_FULL = 0.995
"""Share of a field from which it counts as sprayed."""
_MOST_NAMED = 14
"""Fields named on the map; with more, names stand in the table alone."""
_SMALL = 0.07
"""Part of the map's width below which a field's outline shows nothing: it is drawn again, larger."""
_MOST_LARGER = 12
_RING = {"boxstyle": "round,pad=0.2,rounding_size=0.6", "facecolor": PAPER, "edgecolor": INK, "linewidth": 0.7}
_ARROW: dict[str, Any] = {
    "arrowstyle": "-|>", "connectionstyle": "arc3,rad=0.18", "color": MARK, "linewidth": 1.1,
    "shrinkA": 5, "shrinkB": 5, "mutation_scale": 9,
}  # fmt: skip
PLACED = "Only distances are known: the fields are placed for drawing only."


class Drive(NamedTuple):
    """A drive of a rig: its number, start and end (s), places, and road (m; None where it is not known)."""

    rig: int
    start_s: float
    end_s: float
    origin: int
    goal: int
    road_m: float | None


def drives_of(record: Record) -> list[Drive]:
    """Return the drives of all rigs in order of time."""
    drives = []
    for number, rig in enumerate(record["rigs"]):
        roads = iter(rig.get("roads_m", ()))
        for start, end, what, origin, goal in rig["moves"]:
            if what == "drive":
                drives.append(Drive(number, start, end, origin, goal, next(roads, None)))
    return sorted(drives, key=lambda one: one.start_s)


def driving_order(record: Record) -> dict[int, int]:
    """Return the number of each field: from 1 in order of driving, then those that nobody drove to."""
    visited = dict.fromkeys(drive.goal for drive in drives_of(record) if drive.goal != YARD)
    order = [*visited, *(place for place in range(len(record["fields"])) if place not in visited)]
    return {place: number for number, place in enumerate(order, 1)}


def sprayed_shares(record: Record) -> list[float]:
    """Return how much of each field was sprayed on its last visit of the day."""
    visits: dict[int, int] = {}
    for sortie in record["sorties"]:
        visits[sortie["field"]] = max(sortie["visit"], visits.get(sortie["field"], 0))
    done = [0.0] * len(record["fields"])
    for sortie in record["sorties"]:
        if sortie["visit"] == visits[sortie["field"]]:
            done[sortie["field"]] += sortie["area_m2"]
    return [area / max(one["area_m2"], 1e-9) for area, one in zip(done, record["fields"], strict=True)]


def box_of(rings: Sequence[Sequence[Sequence[float]]]) -> tuple[float, float, float, float]:
    """Return least x, least y, greatest x, greatest y of some outlines, m."""
    xs, ys = [x for ring in rings for x, _ in ring], [y for ring in rings for _, y in ring]
    return (min(xs), min(ys), max(xs), max(ys)) if xs else (0.0, 0.0, 1.0, 1.0)


def _middle(rings: Sequence[Sequence[Point]]) -> Point:
    left, bottom, right, top = box_of(rings)
    return 0.5 * (left + right), 0.5 * (bottom + top)


def draw_fields(
    axes: Axes, fields: Sequence[Mapping[str, Any]], numbers: Mapping[int, int], shares: Sequence[float] | None = None
) -> None:
    """Draw outlines to scale with their numbers (0: none); without shares sprayed, all in one look."""
    from matplotlib.patches import PathPatch
    from matplotlib.path import Path

    for place in numbers:
        rings = [ring for ring in fields[place]["rings"] if len(ring) >= 3]
        look = DONE if shares is None else _look(shares[place])
        if rings:
            path = Path.make_compound_path(*(Path([*ring, ring[0]], closed=True) for ring in rings))
            dashed = {"linestyle": (0, (4, 3))} if look is REST else {}
            axes.add_patch(
                PathPatch(path, facecolor=look.colour, hatch=look.hatch, edgecolor=INK, linewidth=0.8, **dashed)
            )
    for (x, y), places in stacked(fields, [place for place, number in numbers.items() if number]).items():
        text = ", ".join(str(numbers[place]) for place in places[:3]) + (" …" if len(places) > 3 else "")
        middle: dict[str, Any] = {"ha": "center", "va": "center", "zorder": 5}
        axes.text(x, y, text, fontsize=8, fontweight="bold", color=INK, bbox=_RING, **middle)
    axes.set_aspect("equal", anchor="N")
    axes.set_axis_off()


def stacked(fields: Sequence[Mapping[str, Any]], places: Sequence[int]) -> dict[Point, list[int]]:
    """Return the fields by their middles; those of one middle lie over one another."""
    found: dict[Point, list[int]] = {}
    for place in places:
        found.setdefault(_middle(fields[place]["rings"]), []).append(place)
    return found


def _look(share: float) -> Look:
    return DONE if share >= _FULL else PART if share > 0.0 else REST


@styled
def map_figure(record: Record, shown: ReportUnits, wide: bool = True) -> Figure:
    """Draw the fields of a day with the drives between them; fields too small to be seen are drawn again, larger."""
    numbers, shares, fields = driving_order(record), sprayed_shares(record), record["fields"]
    boxes = [box_of(one["rings"]) for one in fields]
    places = [*boxes, (*record["yard_m"], *record["yard_m"])]
    left, bottom = min(box[0] for box in places), min(box[1] for box in places)
    right, top = max(box[2] for box in places), max(box[3] for box in places)
    size = max(right - left, top - bottom, 1.0)
    width_in = WIDE_IN if wide else NARROW_IN
    small = [
        place
        for place in numbers
        if max(boxes[place][2] - boxes[place][0], boxes[place][3] - boxes[place][1]) < _SMALL * size
    ]
    larger = len(small) * 2 > len(fields) and len(fields) <= _MOST_LARGER
    height_in = min(width_in * (0.62 if wide else 1.1), width_in * max(0.3, (top - bottom) / max(right - left, 1.0)))
    extra_in = (1.5 if wide else 2.4) if larger else 0.0
    figure = new_figure(width_in, height_in + extra_in + (0.75 if wide else 1.0))
    ratios = [height_in, extra_in] if larger else [1.0]
    grid = figure.add_gridspec(len(ratios), 1, height_ratios=ratios)
    axes = figure.add_subplot(grid[0])
    draw_fields(axes, fields, numbers, shares)
    named = len(fields) <= _MOST_NAMED and not (larger and not wide)
    for (x, _), same in stacked(fields, list(numbers) if named else []).items():
        more = f" and {len(same) - 1} more" if len(same) > 1 else ""
        name = plain(fields[same[0]]["name"], 24 if wide else 14) + more
        at = (x, boxes[same[0]][3])
        put_beside(axes, name, at, (0, 3), zorder=6, ha="center", va="bottom", bbox=_ground())
    _draw_drives(axes, record, wide)
    yard_x, yard_y = record["yard_m"]
    axes.plot([yard_x], [yard_y], marker="s", markersize=7, color=INK, markerfacecolor=PAPER, zorder=5)
    put_beside(axes, "yard", (yard_x, yard_y), (0, -7), ha="center", va="top")
    rim = 0.06 * size
    axes.set_xlim(left - rim, right + rim)
    axes.set_ylim(bottom - rim, top + rim)
    _draw_scale(axes, shown, right - left)
    if larger:
        _draw_larger(figure.add_subplot(grid[1]), record, numbers, shares, 6 if wide else 3)
    _key(figure, shares, wide)
    return settle(figure)


def _ground() -> dict[str, Any]:
    return {"facecolor": PAPER, "edgecolor": "none", "alpha": 0.8, "pad": 0.6}


def _spot(record: Record, place: int) -> Point:
    x, y = record["yard_m"] if place == YARD else record["fields"][place]["zone_m"]
    return x, y


def _draw_drives(axes: Axes, record: Record, wide: bool) -> None:
    """Draw each drive as a bent arrow, with its minutes where there is room."""
    drives = [drive for drive in drives_of(record) if drive.origin != drive.goal]
    for drive in drives:
        start, end = _spot(record, drive.origin), _spot(record, drive.goal)
        style = ("-", (0, (5, 2)), (0, (1, 2)))[drive.rig % 3]
        axes.annotate("", end, start, zorder=4, arrowprops=_ARROW | {"linestyle": style})
        if len(drives) <= (12 if wide else 5):
            # a quadratic arc of that bend passes half as far from the middle of its chord
            x = 0.5 * (start[0] + end[0]) + 0.09 * (end[1] - start[1])
            y = 0.5 * (start[1] + end[1]) - 0.09 * (end[0] - start[0])
            minutes = f"{fixed((drive.end_s - drive.start_s) / 60.0, 0)} min"
            text = f"{clock_text(record['day_start_s'] + drive.start_s)}, {minutes}" if wide else minutes
            axes.text(x, y, text, fontsize=7, ha="center", va="center", color=MARK, zorder=6, bbox=_ground())


def scale_of(shown: ReportUnits, width_m: float) -> tuple[float, str]:
    """Return the round length (m) of a scale bar for a map of a width, and its words in miles or feet, km or m."""
    us = shown.name == "us"
    large, small = (("mi", M_PER_MILE), ("ft", M_PER_FOOT)) if us else (("km", 1000.0), ("m", 1.0))
    unit, metres = large if 0.3 * width_m >= 0.25 * large[1] else small
    most = 0.3 * max(width_m, 1.0) / metres
    power = 10.0 ** math.floor(math.log10(most))
    length = next((step * power for step in (5.0, 2.0, 1.0) if step * power <= most), power)
    return length * metres, f"{length:g} {unit}"


def _draw_scale(axes: Axes, shown: ReportUnits, width_m: float) -> None:
    length_m, words = scale_of(shown, width_m)
    (left, right), (bottom, top) = axes.get_xlim(), axes.get_ylim()
    x, y = right - 0.02 * (right - left) - length_m, bottom + 0.01 * (top - bottom)
    axes.plot([x, x + length_m], [y, y], color=INK, linewidth=2.0, solid_capstyle="butt", zorder=6)
    middle = (x + 0.5 * length_m, y)
    put_beside(axes, words, middle, (0, 3), ha="center", va="bottom", zorder=6, bbox=_ground())


def _draw_larger(axes: Axes, record: Record, numbers: Mapping[int, int], shares: Sequence[float], columns: int) -> None:
    """Draw the fields side by side to one larger scale."""
    fields = record["fields"]
    boxes = {place: box_of(fields[place]["rings"]) for place in numbers}
    side = 1.25 * max(max(box[2] - box[0], box[3] - box[1]) for box in boxes.values())
    moved = []
    for count, (place, box) in enumerate(boxes.items()):
        dx = side * (count % columns) - 0.5 * (box[0] + box[2])
        dy = -side * (count // columns) - 0.5 * (box[1] + box[3])
        moved.append({"rings": [[(x + dx, y + dy) for x, y in ring] for ring in fields[place]["rings"]]})
    draw_fields(axes, moved, dict(enumerate(numbers.values())), [shares[place] for place in numbers])
    axes.set_xlim(-0.6 * side, side * (min(columns, len(moved)) - 0.4))
    axes.set_ylim(-side * (math.ceil(len(moved) / columns) - 0.4), 0.6 * side)
    axes.set_title("The same fields, larger, to one scale", fontsize=8)


def _key(figure: Figure, shares: Sequence[float], wide: bool) -> None:
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    used = dict.fromkeys(_look(share) for share in shares)
    handles: list[Patch | Line2D] = [
        Patch(
            facecolor=look.colour,
            hatch=look.hatch,
            edgecolor=INK,
            label=look.label,
            linestyle="--" if look is REST else "-",
        )
        for look in (DONE, PART, REST)
        if look in used
    ]
    handles.append(Line2D([], [], color=MARK, linewidth=1.1, label="drive, with its time"))
    figure.legend(handles=handles, loc="outside lower left", ncols=4 if wide else 2, fontsize=8)


def map_words(record: Record) -> str:
    """Return how the map is to be read."""
    placed = "North is up. " if record.get("yard_given", True) else "North is up; the yard's place is not known. "
    placed = f"{PLACED} " if record["layout"] == "invented" else placed
    left_out = record.get("fields_left_out", 0)
    return f"{placed}Numbers follow the order of driving; drives are drawn as arcs, not along roads." + (
        f" {left_out} further fields are not drawn." if left_out else ""
    )


def visit_table(name: str, record: Record, shown: ReportUnits) -> DataTable:
    """Return the fields in the order of driving: when each was reached, by what drive, and how much was sprayed."""
    numbers, shares = driving_order(record), sprayed_shares(record)
    goals: dict[int, list[Drive | None]] = {}
    for drive in drives_of(record):
        goals.setdefault(drive.goal, []).append(drive)
    rows = []
    for place, number in numbers.items():
        field = record["fields"][place]
        size = f"{fixed(field['area_m2'] / M2_PER_ACRE * shown.per_acre, 1)} {shown.area}"
        for count, trip in enumerate(goals.get(place, [None])):
            name_text = f"{number} {field['name']}{'' if count == 0 else ' (again)'}"
            rows.append(text_row(name_text, size, share_text(min(1.0, shares[place])), *_trip(record, trip, shown)))
    rows += [text_row("the yard", "", "", *_trip(record, trip, shown)) for trip in goals.get(YARD, [])]
    columns = ("field", "area", "sprayed, last visit", "drive begins", "drive takes", "road")
    return DataTable(f"Fields and drives of the day, {name}", columns, tuple(rows))


def _trip(record: Record, drive: Drive | None, shown: ReportUnits) -> tuple[str, str, str]:
    if drive is None:
        return NOTHING, NOTHING, NOTHING
    road = NOTHING
    if drive.road_m is not None:
        unit, metres = ("mi", M_PER_MILE) if shown.name == "us" else ("km", 1000.0)
        road = f"{fixed(drive.road_m / metres, 1)} {unit}"
    start = clock_text(record["day_start_s"] + drive.start_s)
    return start, f"{fixed((drive.end_s - drive.start_s) / 60.0, 0)} min", road
