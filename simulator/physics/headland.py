"""Headland passes: rings along the boundary, one swath wide, split into sides at their corners.

A ring is flown along its middle line and credited exactly the area between its outer and inner edge.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from simulator.physics.swath import FloatArray

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

# A side ends where the direction has changed by this much since it began; a corner this sharp costs a turn.
_SIDE_BEND_RAD = math.radians(30.0)
_CORNER_RAD = math.radians(45.0)


@dataclass(frozen=True, eq=False)
class Sides:
    """The sides of one ring in flight order.

    Parameters
    ----------
    start_xy_m, end_xy_m : numpy.ndarray
        Ends of each side, m, shape (n, 2).
    length_m, area_m2 : numpy.ndarray
        Flown length, m, and credited area, m2, shape (n,).
    is_turn : numpy.ndarray
        Shape (n-1,): True where two sides meet in a corner of 45 degrees or more.
    """

    start_xy_m: FloatArray
    end_xy_m: FloatArray
    length_m: FloatArray
    area_m2: FloatArray
    is_turn: NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Ring:
    """One closed headland pass.

    Parameters
    ----------
    xy_m : numpy.ndarray
        Closed middle line, m, shape (k, 2).
    area_m2 : float
        Area credited to the whole ring, m2.
    """

    xy_m: FloatArray
    area_m2: float

    def starting_near(self, point_xy_m: FloatArray) -> Sides:
        """Split the ring into sides, beginning at the vertex nearest to a point.

        Parameters
        ----------
        point_xy_m : numpy.ndarray
            Where the aircraft comes from, m, shape (2,).

        Returns
        -------
        Sides
        """
        vertices = self.xy_m[:-1]
        first = int(np.argmin(np.hypot(*(vertices - point_xy_m).T)))
        line = np.concatenate((vertices[first:], vertices[: first + 1]))
        step = np.diff(line, axis=0)
        step_m = np.hypot(step[:, 0], step[:, 1])
        direction = np.arctan2(step[:, 1], step[:, 0])
        breaks, turns = [0], []
        since = direction[0]
        for index in range(1, len(step)):
            if abs(_wrapped(direction[index] - since)) > _SIDE_BEND_RAD:
                breaks.append(index)
                turns.append(abs(_wrapped(direction[index] - direction[index - 1])) >= _CORNER_RAD)
                since = direction[index]
        length_m = np.add.reduceat(step_m, breaks)
        return Sides(
            start_xy_m=line[breaks],
            end_xy_m=line[[*breaks[1:], len(line) - 1]],
            length_m=length_m,
            area_m2=self.area_m2 * length_m / length_m.sum(),
            is_turn=np.array(turns, dtype=np.bool_),
        )


def headland_passes(work: BaseGeometry, swath_m: float, count: int) -> tuple[list[Ring], BaseGeometry]:
    """Return the rings along a boundary, outermost first, and the area left inside them.

    Parameters
    ----------
    work : shapely.Polygon or shapely.MultiPolygon
        Area to be covered, m.
    swath_m : float
        Width of a ring, m.
    count : int
        Rings wanted; fewer come back where another would leave nothing inside.

    Returns
    -------
    rings : list of Ring
        Holes and parts have rings of their own.
    inside : shapely.Polygon or shapely.MultiPolygon
        Never empty; the areas of ``rings`` and ``inside`` sum to that of ``work``.
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
