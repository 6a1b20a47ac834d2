"""How much the boundaries of shapes cross: what joining or repairing them costs, told before it is begun.

Overlaying shapes takes time and memory with the number of places where their boundaries cross, which can be the square
of the number of corners: two combs of a thousand teeth laid across each other cross four million times.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

MOST_SIDES = 2_000_000
"""Sides that are compared at all; beyond, the answer is that there are too many."""
_PAIRS_AT_ONCE = 20_000_000
_FEW_PAIRS = 2_500


def crossings(shapes: Sequence[BaseGeometry], most: int) -> int:
    """Return about how often the sides of shapes meet one another, counted no further than ``most``."""
    import shapely

    rings = [shapely.get_coordinates(ring) for ring in shapely.get_rings(list(shapes))]
    if not rings:
        return 0
    total = sum(len(ring) - 1 for ring in rings)
    if total > MOST_SIDES:
        return most + 1
    ends = np.concatenate([np.stack((ring[:-1], ring[1:]), axis=1) for ring in rings])
    sides = shapely.linestrings(ends)
    tree = shapely.STRtree(sides)
    at_once = max(1, _PAIRS_AT_ONCE // total)
    pairs = 0
    for begun in range(0, total, at_once):
        pairs += int(tree.query(sides[begun : begun + at_once]).shape[1])
        # every pair is found from both its sides; a side meets itself once and two neighbours
        if pairs > 2 * most + 3 * total:
            return most + 1
    return max(0, (pairs - 3 * total) // 2)


def near_pairs(shape: BaseGeometry, distance_m: float, most: int) -> int:
    """Return about how many pairs of sides of a shape lie within a distance: what moving its boundary by that costs."""
    import shapely

    corners = int(shapely.get_num_coordinates(shape))
    if corners**2 <= _FEW_PAIRS:
        return corners**2
    rings = shapely.get_rings(shapely.simplify(shape, 0.01 * distance_m, preserve_topology=False))
    ends = [np.stack((xy[:-1], xy[1:]), axis=1) for xy in map(shapely.get_coordinates, rings)]
    if not ends:
        return 0
    sides = shapely.linestrings(np.concatenate(ends))
    if len(sides) > MOST_SIDES:
        return most + 1
    west, south, east, north = shapely.bounds(sides).T
    near = shapely.box(west - distance_m, south - distance_m, east + distance_m, north + distance_m)
    tree = shapely.STRtree(sides)
    at_once = max(1, _PAIRS_AT_ONCE // len(sides))
    pairs = 0
    for begun in range(0, len(sides), at_once):
        pairs += int(tree.query(near[begun : begun + at_once]).shape[1])
        if pairs > most:
            return most + 1
    return pairs
