"""Where the aircraft lands and reloads: the landing zone of a field, and its moves to keep the aircraft in sight."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from simulator.physics.swath import FloatArray, SwathPlan

# Points a pass at which ferry distance is sampled.
_SAMPLES_PER_PASS = 8
_MOST_ZONES = 256
_MOST_PARTS = 12
# Where no zone keeps a pass within range, one that is this little further than the best is kept rather than moved.
_BEST_POSSIBLE_SLACK = 1.1


class Station(NamedTuple):
    """A stretch of the plan, by covered area, and the landing zone that serves it."""

    area_from_m2: float
    area_to_m2: float
    x_m: float
    y_m: float


def nearest_corner(plan: SwathPlan, road_xy_m: tuple[float, float] | None = None) -> tuple[float, float]:
    """Return the corner (m) of the outline nearest to the road, or to where the passes start when no road is given."""
    corners = _exterior_corners(plan)
    x_m, y_m = (plan.start_x_m[0], plan.start_y_m[0]) if road_xy_m is None else road_xy_m
    nearest = corners[int(np.argmin(np.hypot(*(corners - (x_m, y_m)).T)))]
    return float(nearest[0]), float(nearest[1])


def best_zone(plan: SwathPlan) -> tuple[float, float]:
    """Return the corner or middle of a side (m) with the least ferry distance."""
    candidates = zone_candidates(plan)
    best = candidates[int(np.argmin(np.round(ferry_distance_m(plan, candidates), 6)))]
    return float(best[0]), float(best[1])


def zone_candidates(plan: SwathPlan) -> FloatArray:
    """Return the corners of the field's exterior and the middles of its sides, m, (k, 2); of very many, some."""
    middles = [0.5 * (ring[:-1] + ring[1:]) for ring in _exteriors(plan)]
    every = np.concatenate((_exterior_corners(plan), *middles))
    return every[:: math.ceil(len(every) / _MOST_ZONES)]


def ferry_distance_m(plan: SwathPlan, zones_m: FloatArray, passes: slice = slice(None)) -> FloatArray:
    """Return the mean straight distance from each landing zone (k, 2) to the work, or what some passes add to it.

    Sorties end and resume at places spread evenly over the covered area, so this is the mean length of a ferry flight.
    """
    share = (np.arange(_SAMPLES_PER_PASS) + 0.5) / _SAMPLES_PER_PASS
    x_m = plan.start_x_m[passes, None] + share * (plan.end_x_m - plan.start_x_m)[passes, None]
    y_m = plan.start_y_m[passes, None] + share * (plan.end_y_m - plan.start_y_m)[passes, None]
    weight = plan.area_m2[passes, None] / plan.area_total_m2 / _SAMPLES_PER_PASS
    # One zone at a time: outlines of hundreds of corners times thousands of samples would be a large table.
    return np.array([float((np.hypot(x_m - x, y_m - y) * weight).sum()) for x, y in zones_m])


def relocations(plan: SwathPlan, zone_xy: tuple[float, float], visual_range_m: float) -> list[Station]:
    """Split the plan into contiguous stretches, each worked from one landing zone within visual range of all of it.

    Whole passes are assigned, in flight order, and each zone is kept as long as it can be, which gives the fewest
    moves; the first is left at once only when the first pass is out of its range. A pass that no zone (of
    `zone_candidates`) has wholly in range is worked from the least far away.
    """
    zones = np.concatenate((np.array([zone_xy]), zone_candidates(plan)))
    reach_m = np.maximum(
        np.hypot(plan.start_x_m - zones[:, 0:1], plan.start_y_m - zones[:, 1:2]),
        np.hypot(plan.end_x_m - zones[:, 0:1], plan.end_y_m - zones[:, 1:2]),
    )
    limit_m = np.maximum(visual_range_m, reach_m.min(axis=0) * _BEST_POSSIBLE_SLACK)
    # a column that nobody serves ends every row
    served = np.column_stack((reach_m <= limit_m, np.zeros(len(zones), dtype=np.bool_)))
    before_m2 = plan.area_before_m2

    stretches: list[Station] = []
    index, zone = 0, 0
    while index < plan.pass_count:
        until = np.argmin(served[:, index:], axis=1) + index
        if index > 0 or until[0] == index:
            # Longest service first; among equals the zone nearest to what it serves.
            longest = np.flatnonzero(until == until.max())
            zone = int(longest[np.argmin(np.round(reach_m[longest, index : until.max()].mean(axis=1), 6))])
        end = int(until[zone])
        x_m, y_m = (float(value) for value in zones[zone])
        stretches.append(Station(float(before_m2[index]), float(before_m2[end]), x_m, y_m))
        index = end
    return stretches


def following(plan: SwathPlan, stretches: Sequence[Station], ferry_s_per_m: float, shift_s: float) -> list[Station]:
    """Split stretches further where a landing zone that follows the work saves more time than its shifts take.

    Each stretch is cut into equal numbers of whole passes, each served from an end of its middle pass; the first may
    keep its zone. With n parts the mean ferry distance falls and n - 1 shifts are paid; n grows while the sum falls. A
    metre of mean ferry distance on the whole field costs ``ferry_s_per_m``. Common practice, no source.
    """
    found: list[Station] = []
    for stretch in stretches:
        borders = np.searchsorted(plan.area_before_m2, np.array(stretch[:2]) - 1e-6)
        first, last = (int(border) for border in borders)
        zone = np.array([[stretch.x_m, stretch.y_m]])
        best, best_s = [stretch], ferry_s_per_m * float(ferry_distance_m(plan, zone, slice(first, last))[0])
        for number in range(2, min(_MOST_PARTS, last - first) + 1):
            parts, whole_s = [], (number - 1) * shift_s
            for part in range(number):
                begin, end = (first + round(cut * (last - first) / number) for cut in (part, part + 1))
                middle = (begin + end) // 2
                zones = np.array(
                    [
                        *(zone if part == 0 else ()),
                        (plan.start_x_m[middle], plan.start_y_m[middle]),
                        (plan.end_x_m[middle], plan.end_y_m[middle]),
                    ]
                )
                ferry_m = ferry_distance_m(plan, zones, slice(begin, end))
                nearest = int(np.argmin(np.round(ferry_m, 6)))
                whole_s += ferry_s_per_m * float(ferry_m[nearest])
                border_m2 = plan.area_before_m2[begin], plan.area_before_m2[end]
                parts.append(Station(*(float(one) for one in (*border_m2, *zones[nearest]))))
            if whole_s >= best_s:
                break
            best, best_s = parts, whole_s
        found += best
    return found


def _exteriors(plan: SwathPlan) -> Sequence[FloatArray]:
    """Return the anticlockwise rings: holes run clockwise."""
    found = []
    for ring in plan.outline:
        x_m, y_m = (ring - ring[0]).T
        if float(np.sum(x_m[:-1] * y_m[1:] - x_m[1:] * y_m[:-1])) > 0.0:
            found.append(ring)
    return found


def _exterior_corners(plan: SwathPlan) -> FloatArray:
    return np.concatenate([ring[:-1] for ring in _exteriors(plan)])
