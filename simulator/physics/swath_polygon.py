"""Swath plans of real boundaries: parallel strips clipped to a polygon with holes.

The polygon is cut into strips one swath wide, starting at its left edge as seen along the heading. Inside a strip every
stretch where the polygon is not empty is one pass; its length is its extent along the heading and its area that of the
polygon inside it, so nothing outside is sprayed and no overlap is counted. shapely is imported only when a function of
this file is called.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError
from simulator.physics.headland import Passes
from simulator.physics.headland import headland_passes as plan_headland
from simulator.physics.swath import WHOLE_PASS_TOLERANCE, FloatArray, SwathPlan

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

IntArray = NDArray[np.int64]

# Gaps shorter than this are sprayed through as one pass, and pieces shorter than this are left out while all of them
# together stay below a share of the area.
_SHORTEST_PIECE_M = 1.0
_SKIPPED_SHARE_MAX = 0.005
# Headings compared at most, and those with equally few strips whose flown distance is compared.
_HEADINGS_MAX = 24
_TIED_HEADINGS_MAX = 6
# Far beyond any field (100 km at 5 m); a boundary this large is a mistake that would take minutes to plan.
_STRIPS_MAX = 20_000
_MANY_CORNERS = 1000


class _Cut(NamedTuple):
    """Passes in the turned frame: u across (to the right of the heading), v along; ordered by strip, then v."""

    centre_u_m: FloatArray
    from_v_m: FloatArray
    to_v_m: FloatArray
    area_m2: FloatArray
    strip: IntArray


def plan_polygon(
    polygon: BaseGeometry, swath_m: float, heading_rad: float | None = None, *, headland_passes: int = 0
) -> SwathPlan:
    """Plan serpentine passes over a polygon on a metre grid, strip by strip, and headland passes after them.

    Plans of one field for aircraft of different swath must be given the same heading (compass bearing; by default
    `best_heading_rad`) to share their area coordinate. Fewer headland passes are flown where the field is too narrow.

    Raises
    ------
    InputError
        The boundary is not a valid polygon, or needs too many strips.
    """
    _check_valid(polygon)
    headland, inside = plan_headland(polygon, swath_m, headland_passes)
    heading = best_heading_rad(inside, swath_m) if heading_rad is None else heading_rad % math.pi
    passes = _serpentine(_cut(inside, swath_m, heading, _SHORTEST_PIECE_M))
    passes = passes._replace(start_m=_turn(passes.start_m, -heading), end_m=_turn(passes.end_m, -heading))
    for ring in headland:
        passes = passes.with_ring(ring)
    (start_x_m, start_y_m), (end_x_m, end_y_m) = passes.start_m.T, passes.end_m.T
    rings, whole = outline_rings(polygon), (passes.length_m, passes.area_m2, passes.is_turn)
    return SwathPlan(start_x_m, start_y_m, end_x_m, end_y_m, *whole, swath_m, rings)


def best_heading_rad(polygon: BaseGeometry, swath_m: float) -> float:
    """Return the heading in [0, pi) with the fewest turns, and among those the shortest flown distance.

    A convex shape is narrowest across one of its edges (rotating calipers, M. Shamos 1978, from memory), and the number
    of strips depends on the width alone, so only directions of hull edges are compared (at most 24).

    Raises
    ------
    InputError
        The boundary is not a valid polygon.
    """
    import shapely

    _check_valid(polygon)
    hull = shapely.get_coordinates(shapely.convex_hull(polygon))
    edges = np.diff(hull, axis=0)
    edges = edges[np.hypot(edges[:, 0], edges[:, 1]) > 1e-9]
    # Rounded so that the two long sides of a parallelogram are one candidate.
    headings = np.unique(np.round(np.mod(np.arctan2(edges[:, 0], edges[:, 1]), math.pi), 9))
    headings = np.unique(np.where(headings >= math.pi - 1e-9, 0.0, headings))
    across = np.outer(np.cos(headings), hull[:, 0]) - np.outer(np.sin(headings), hull[:, 1])
    width_m = across.max(axis=1) - across.min(axis=1)
    strips = np.maximum(np.ceil(width_m / swath_m - WHOLE_PASS_TOLERANCE), 1.0)
    order = np.lexsort((headings, np.round(width_m, 6), strips))[:_HEADINGS_MAX]
    tied = order[strips[order] == strips[order[0]]][:_TIED_HEADINGS_MAX]
    if len(tied) == 1:
        return float(headings[tied[0]])
    flown_m = [_flown_distance_m(polygon, swath_m, float(headings[index])) for index in tied]
    return float(headings[tied[int(np.argmin(np.round(flown_m, 3)))]])


def outline_rings(polygon: BaseGeometry) -> tuple[FloatArray, ...]:
    """Return the closed rings (k, 2) of a shape: per part the exterior (anticlockwise), then its holes (clockwise)."""
    import shapely

    rings: list[FloatArray] = []
    for part in shapely.get_parts(shapely.orient_polygons(polygon)):
        rings.append(np.array(part.exterior.coords, dtype=np.float64)[:, :2])
        rings.extend(np.array(hole.coords, dtype=np.float64)[:, :2] for hole in part.interiors)
    return tuple(rings)


def _check_valid(polygon: BaseGeometry) -> None:
    import shapely

    if not shapely.is_valid(polygon):
        raise InputError.single(f"the boundary is not a valid polygon: {shapely.is_valid_reason(polygon)}")


def _turn(xy_m: FloatArray, angle_rad: float) -> FloatArray:
    """Turn points anticlockwise; by the heading, this takes (x, y) to (across, along)."""
    cosine, sine = math.cos(angle_rad), math.sin(angle_rad)
    return np.column_stack((cosine * xy_m[:, 0] - sine * xy_m[:, 1], sine * xy_m[:, 0] + cosine * xy_m[:, 1]))


def _strip_edges(u_min_m: float, u_max_m: float, swath_m: float) -> FloatArray:
    count = max(1, math.ceil((u_max_m - u_min_m) / swath_m - WHOLE_PASS_TOLERANCE))
    if count > _STRIPS_MAX:
        message = f"{(u_max_m - u_min_m) / 1000:.0f} km across needs {count} strips of {swath_m:g} m"
        raise InputError.single(f"the field is too large: {message}; the limit is {_STRIPS_MAX}")
    edges = u_min_m + swath_m * np.arange(count + 1, dtype=np.float64)
    edges[-1] = u_max_m
    return edges


def _intersections(boxes: NDArray[np.object_], work: BaseGeometry) -> NDArray[np.object_]:
    """Return what of an area is in each of boxes side by side; an outline of very many corners is halved first."""
    import shapely

    if len(boxes) < 4 or shapely.get_num_coordinates(work) < _MANY_CORNERS:
        strips: NDArray[np.object_] = shapely.intersection(boxes, work)
        return strips
    middle = len(boxes) // 2
    halves = [boxes[:middle], boxes[middle:]]
    bounds = [shapely.box(*shapely.total_bounds(half)) for half in halves]
    return np.concatenate(
        [_intersections(*one) for one in zip(halves, shapely.intersection(bounds, work), strict=True)]
    )


def _cut(work: BaseGeometry, swath_m: float, heading_rad: float, shortest_piece_m: float) -> _Cut:
    import shapely

    turned = shapely.transform(work, lambda xy: _turn(xy, heading_rad))
    u_min, v_min, u_max, v_max = (float(value) for value in shapely.bounds(turned))
    edges = _strip_edges(u_min, u_max, swath_m)
    # The outermost boxes reach beyond the area so that no rounding sliver is lost at its edge.
    left, right = edges[:-1].copy(), edges[1:].copy()
    left[0] -= 1.0
    right[-1] += 1.0
    boxes = shapely.box(left, v_min - 1.0, right, v_max + 1.0)
    pieces, strip = shapely.get_parts(_intersections(boxes, turned), return_index=True)
    area = shapely.area(pieces)
    keep = area > 0.0
    pieces, strip, area = pieces[keep], strip[keep].astype(np.int64), area[keep]
    low, high = shapely.bounds(pieces)[:, [1, 3]].T
    order = np.lexsort((low, strip))
    strip, area, low, high = strip[order], area[order], low[order], high[order]

    # Pieces side by side in a strip are flown over together; one offset per strip lets a running maximum find them all.
    offset = strip * (v_max - v_min + 2.0 * shortest_piece_m + 10.0)
    reach = np.maximum.accumulate(high + offset)
    opens = np.append(True, (low + offset)[1:] > reach[:-1] + shortest_piece_m)
    first = np.flatnonzero(opens)
    strip_pass = strip[first]
    from_v, to_v = np.minimum.reduceat(low, first), np.maximum.reduceat(high, first)
    area_pass = np.add.reduceat(area, first)

    kept = _without_slivers(to_v - from_v, area_pass, shortest_piece_m)
    return _Cut(
        centre_u_m=(0.5 * (edges[:-1] + edges[1:]))[strip_pass[kept]],
        from_v_m=from_v[kept],
        to_v_m=to_v[kept],
        area_m2=area_pass[kept],
        strip=strip_pass[kept],
    )


def _without_slivers(extent_m: FloatArray, area_m2: FloatArray, shortest_m: float) -> NDArray[np.bool_]:
    """Mark the passes to keep: short ones go, smallest first, while they sum to a negligible share of the area."""
    kept = np.ones(len(extent_m), dtype=np.bool_)
    short = np.flatnonzero(extent_m < shortest_m)
    short = short[np.argsort(area_m2[short], kind="stable")]
    negligible = np.cumsum(area_m2[short]) <= _SKIPPED_SHARE_MAX * area_m2.sum()
    kept[short[negligible]] = False
    return kept


def _serpentine(cut: _Cut) -> Passes:
    """Return the passes in flight order, in the turned frame."""
    # Parity counts strips that hold a pass: an empty strip between two parts of a field is not flown.
    rank = np.cumsum(np.append(0, np.diff(cut.strip) != 0))
    order = np.lexsort((np.where(rank % 2 == 0, cut.from_v_m, -cut.from_v_m), rank))
    upward = rank[order] % 2 == 0
    u_m, low_m, high_m = cut.centre_u_m[order], cut.from_v_m[order], cut.to_v_m[order]
    return Passes(
        np.column_stack((u_m, np.where(upward, low_m, high_m))),
        np.column_stack((u_m, np.where(upward, high_m, low_m))),
        high_m - low_m,
        cut.area_m2[order],
        np.diff(cut.strip[order]) != 0,
    )


def _flown_distance_m(polygon: BaseGeometry, swath_m: float, heading_rad: float) -> float:
    passes = _serpentine(_cut(polygon, swath_m, heading_rad, 0.0))
    links_m = np.hypot(*(passes.start_m[1:] - passes.end_m[:-1]).T)
    return float(passes.length_m.sum() + links_m.sum())
