"""Headland passes: rings along the boundary, one swath wide, split into sides at their corners.

A ring is flown along its middle line and credited exactly the area between its outer and inner edge.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulator.physics.swath import FloatArray

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

# A side ends where the direction has changed by this much since it began; a corner this sharp costs a turn.
_SIDE_BEND_RAD = math.radians(30.0)
_CORNER_RAD = math.radians(45.0)


class Passes(NamedTuple):
    """Passes in flight order: ends (n, 2), m, flown length, credited area, whether each link (n-1) is a turn."""

    start_m: FloatArray
    end_m: FloatArray
    length_m: FloatArray
    area_m2: FloatArray
    is_turn: NDArray[np.bool_]

    def with_ring(self, ring: Ring) -> Passes:
        """Return the passes with a ring's sides after them, beginning at its vertex nearest to where they end."""
        vertices = ring.xy_m[:-1]
        first = int(np.argmin(np.hypot(*(vertices - self.end_m[-1]).T)))
        line = np.concatenate((vertices[first:], vertices[: first + 1]))
        step = np.diff(line, axis=0)
        direction = np.arctan2(step[:, 1], step[:, 0])
        breaks, turns = [0], [True]
        since = direction[0]
        for index in range(1, len(step)):
            if abs(_wrapped(direction[index] - since)) > _SIDE_BEND_RAD:
                breaks.append(index)
                turns.append(abs(_wrapped(direction[index] - direction[index - 1])) >= _CORNER_RAD)
                since = direction[index]
        length_m = np.add.reduceat(np.hypot(step[:, 0], step[:, 1]), breaks)
        return Passes(
            np.concatenate((self.start_m, line[breaks])),
            np.concatenate((self.end_m, line[[*breaks[1:], len(line) - 1]])),
            np.concatenate((self.length_m, length_m)),
            np.concatenate((self.area_m2, ring.area_m2 * length_m / length_m.sum())),
            np.concatenate((self.is_turn, turns)),
        )


class Ring(NamedTuple):
    """One closed headland pass: its middle line, shape (k, 2), and the area credited to it."""

    xy_m: FloatArray
    area_m2: float


def headland_passes(work: BaseGeometry, swath_m: float, count: int) -> tuple[list[Ring], BaseGeometry]:
    """Return the rings along the boundary of a polygon, outermost first, and the area left inside, never empty.

    Fewer rings than asked for come back where another would leave nothing inside; holes and parts have rings of their
    own. The areas of rings and inside sum to that of the polygon.
    """
    import shapely

    rings: list[Ring] = []
    inside = work
    for number in range(count):
        inner = shapely.buffer(work, -(number + 1) * swath_m)
        if shapely.area(inner) <= 0.0:
            break
        middle = shapely.buffer(work, -(number + 0.5) * swath_m)
        lines = shapely.get_rings(shapely.get_parts(middle))
        length_m = shapely.length(lines)
        area_m2 = float(shapely.area(inside)) - float(shapely.area(inner))
        rings.extend(
            Ring(shapely.get_coordinates(line), area_m2 * float(length) / float(length_m.sum()))
            for line, length in zip(lines, length_m, strict=True)
        )
        inside = inner
    return rings, inside


def _wrapped(angle_rad: float) -> float:
    return (angle_rad + math.pi) % (2.0 * math.pi) - math.pi
