"""Where fields stand on the one grid of a day's map, and outlines with no more corners than a map can show."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from simulator.analysis.digits import tenth
from simulator.plan.day_plan import DayPlan

Point = tuple[float, float]

_GAP_SHARE = 0.12
"""Free strip between fields of an invented row, over the largest field's side."""


@dataclass(frozen=True)
class Layout:
    """Places on the common grid, m: shifts of the drawn fields' coordinates, their landing zones in these, the yard.

    Fields are laid out in rows, and the yard beside them, where the scenario does not place them. Bends of an outline
    smaller than the tolerance need not be drawn.
    """

    given: bool
    shift_m: tuple[Point, ...]
    zone_m: tuple[Point, ...]
    yard_m: Point
    tolerance_m: float
    yard_given: bool = True


def lay_out(plan: DayPlan, used: Sequence[int]) -> Layout:
    """Return where each field that is drawn stands."""
    fields = [plan.fields[index] for index in used]
    boxes = [_box(field.outline) for field in fields]
    zones = {index: profile.path.zone for (_, index), profile in reversed(plan.profiles.items())}
    drawn = plan.scenario.field_file is not None
    given = drawn or all(field.location_m is not None for field in plan.fields)
    yard = plan.geography.yard_m if drawn else None
    if drawn:
        shifts = [(0.0, 0.0)] * len(fields)
    elif given:
        # a rectangle is known by its first corner, which is the landing zone unless another is given
        shifts = [field.location_m or (0.0, 0.0) for field in fields]
        yard = (0.0, 0.0)
    else:
        shifts = _rows(boxes)
    left, bottom = (min(box[at] + shift[at] for box, shift in zip(boxes, shifts, strict=True)) for at in (0, 1))
    right, top = (max(box[at + 2] + shift[at] for box, shift in zip(boxes, shifts, strict=True)) for at in (0, 1))
    size = max(right - left, top - bottom, 1.0)
    placed_yard = yard is not None
    if yard is None:
        yard = (left - 0.08 * size, bottom)
    origin_x, origin_y = min(left, yard[0]), min(bottom, yard[1])
    return Layout(
        given,
        tuple((x - origin_x, y - origin_y) for x, y in shifts),
        tuple(zones[index] for index in used),
        (yard[0] - origin_x, yard[1] - origin_y),
        max(0.3, 0.0004 * size) if len(fields) > 1 else 0.3,
        placed_yard,
    )


def _box(outline: Sequence[Sequence[Point]]) -> tuple[float, float, float, float]:
    points = [point for ring in outline for point in ring] or [(0.0, 0.0), (1.0, 1.0)]
    xs, ys = [x for x, _ in points], [y for _, y in points]
    return min(xs), min(ys), max(xs), max(ys)


def _rows(boxes: Sequence[tuple[float, float, float, float]]) -> list[Point]:
    """Lay rectangles in rows from left to right, top row first, about one and a half times as wide as high."""
    sides = [(box[2] - box[0], box[3] - box[1]) for box in boxes]
    gap = _GAP_SHARE * max(max(side) for side in sides)
    whole = sum((width + gap) * (height + gap) for width, height in sides)
    widest = max(math.sqrt(1.5 * whole), max(width for width, _ in sides) + gap)
    shifts: list[Point] = []
    x, y, row_height = 0.0, 0.0, 0.0
    for box, (width, height) in zip(boxes, sides, strict=True):
        if x > 0.0 and x + width > widest:
            x, y, row_height = 0.0, y - row_height - gap, 0.0
        shifts.append((x - box[0], y - height - box[1]))
        x += width + gap
        row_height = max(row_height, height)
    return shifts


def thin_ring(ring: Sequence[Point], tolerance_m: float) -> list[Point]:
    """Return a closed ring without small bends (Douglas & Peucker 1973, Cartographica 10:112-122)."""
    if len(ring) <= 5:
        return list(ring)
    import shapely

    far = max(range(1, len(ring) - 1), key=lambda place: math.dist(ring[0], ring[place]))
    halves = [
        shapely.LineString(part).simplify(tolerance_m, preserve_topology=False)
        for part in (ring[: far + 1], ring[far:])
    ]
    return [*halves[0].coords, *halves[1].coords[1:]]


def field_records(plan: DayPlan, used: Sequence[int], layout: Layout) -> list[dict[str, Any]]:
    """Return name, area, outline and landing zone of each drawn field, on the common grid."""
    records = []
    for number, index in enumerate(used):
        field = plan.fields[index]
        shift_x, shift_y = layout.shift_m[number]
        rings = [
            [[tenth(x + shift_x), tenth(y + shift_y)] for x, y in thin_ring(ring, layout.tolerance_m)]
            for ring in field.outline
        ]
        zone_x, zone_y = layout.zone_m[number]
        records.append(
            {
                "name": field.name,
                "area_m2": tenth(field.area_m2),
                "rings": rings,
                "zone_m": [tenth(zone_x + shift_x), tenth(zone_y + shift_y)],
            }
        )
    return records
