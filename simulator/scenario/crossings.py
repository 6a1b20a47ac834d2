"""How much the boundaries of shapes cross: what joining or repairing them costs, told before it is begun.

Overlaying shapes takes time and memory with the number of places where their boundaries cross, which can be the square
of the number of corners: two combs of a thousand teeth laid across each other cross four million times.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

MOST_SIDES = 2_000_000
"""Sides that are compared at all; beyond, the answer is that there are too many."""
_PAIRS_AT_ONCE = 20_000_000
_FEW_PAIRS = 2_500


def crossings(shapes: Sequence[BaseGeometry], most: int) -> int:
    """Return about how often the sides of shapes meet one another, counted no further than ``most`` and one.

    Sides are counted as meeting when their upright boxes do, so the number is never too small. Each side's meetings
    with itself and with its two neighbours are left out; shapes that merely touch count a few a side.
    """
    import shapely

    sides = _sides(shapely.get_rings(list(shapes)))
    # every pair is found from both its sides
    own = 3 * len(sides)
    pairs = _meetings(sides, sides, 2 * most + own)
    return most + 1 if pairs > 2 * most + own else max(0, (pairs - own) // 2)


def near_pairs(shape: BaseGeometry, distance_m: float, most: int) -> int:
    """Return about how many pairs of sides lie within a distance, which tells what moving the boundary costs."""
    import shapely

    corners = int(shapely.get_num_coordinates(shape))
    if corners**2 <= _FEW_PAIRS:
        return corners**2
    sides = _sides(shapely.get_rings(shapely.simplify(shape, 0.01 * distance_m, preserve_topology=False)))
    west, south, east, north = shapely.bounds(sides).T
    near = shapely.box(west - distance_m, south - distance_m, east + distance_m, north + distance_m)
    return min(most + 1, _meetings(sides, near, most))


def _sides(rings: Any) -> Any:
    import shapely

    corners = [shapely.get_coordinates(ring) for ring in rings]
    ends = [np.stack((xy[:-1], xy[1:]), axis=1) for xy in corners]
    return shapely.linestrings(np.concatenate(ends)) if ends else np.empty(0, dtype=object)


def _meetings(sides: Any, boxes: Any, most: int) -> int:
    """Return how many sides the boxes meet, counted until they are more than ``most``."""
    import shapely

    if len(sides) > MOST_SIDES:
        return most + 1
    tree, pairs = shapely.STRtree(sides), 0
    at_once = max(1, _PAIRS_AT_ONCE // max(1, len(sides)))
    for begun in range(0, len(sides), at_once):
        pairs += int(tree.query(boxes[begun : begun + at_once]).shape[1])
        if pairs > most:
            break
    return pairs
