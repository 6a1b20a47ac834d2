"""Visit orders: distances by road, and orders given, nearest first, improved, exact, or within time windows.

A matrix holds the distance (or time) from row to column and need not be symmetric. An order lists every place once,
beginning with ``start``; where the end is the start (a round trip) it is repeated as the last entry, so the length of
an order is always the sum of its steps.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations, pairwise
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

DETOUR_FACTORS: Mapping[str, float] = MappingProxyType({"straight": 1.0, "typical": 1.2, "grid": 4.0 / math.pi})
"""Road over straight distance by road class: typical network 1.2 (Newell 1980); right-angled section roads 4/pi, the
mean of ``|cos| + |sin|`` over all directions."""

_EXACT_MAX = 12
_SEGMENT_MAX = 3


def distance_matrix_m(xy_m: ArrayLike, detour_factor: float) -> FloatArray:
    """Return straight distances times a detour factor.

    Parameters
    ----------
    xy_m : array_like
        Places, m, shape (n, 2).
    detour_factor : float
        Road distance over straight distance, 1 or more; see `DETOUR_FACTORS`.

    Returns
    -------
    numpy.ndarray
        Shape (n, n), m.

    Raises
    ------
    ValueError
        When a factor is below 1 or the places are not (n, 2) finite numbers.
    """
    if not (math.isfinite(detour_factor) and detour_factor >= 1.0):
        raise ValueError(f"detour_factor must be 1 or more, got {detour_factor!r}")
    step = _steps(xy_m)
    return np.asarray(detour_factor * np.hypot(step[..., 0], step[..., 1]), dtype=np.float64)


def grid_distance_matrix_m(xy_m: ArrayLike, grid_heading_rad: float = 0.0) -> FloatArray:
    """Return distances along a right-angled road grid (|across| + |along|), as on section-line roads.

    Parameters
    ----------
    xy_m : array_like
        Places, m, shape (n, 2).
    grid_heading_rad : float, optional
        Compass bearing of one family of roads, rad.

    Returns
    -------
    numpy.ndarray
        Shape (n, n), m; between 1 and sqrt(2) times the straight distance.
    """
    step = _steps(xy_m)
    cosine, sine = math.cos(grid_heading_rad), math.sin(grid_heading_rad)
    across = cosine * step[..., 0] - sine * step[..., 1]
    along = sine * step[..., 0] + cosine * step[..., 1]
    return np.asarray(np.abs(across) + np.abs(along), dtype=np.float64)


def route_length_m(order: Sequence[int], matrix: ArrayLike) -> float:
    """Return the sum of the steps of an order, in the matrix's unit (m for distances).

    Parameters
    ----------
    order : sequence of int
        Places in the order visited.
    matrix : array_like
        Shape (n, n).

    Returns
    -------
    float
    """
    table = _checked(matrix)
    return math.fsum(float(table[one, two]) for one, two in pairwise(order))


def order_nearest(matrix: ArrayLike, start: int, fixed_end: int | None = None) -> list[int]:
    """Go to the nearest place not yet visited, time and again; of two equally near, to the lower number.

    Parameters
    ----------
    matrix : array_like
        Shape (n, n).
    start : int
        First place.
    fixed_end : int, optional
        Last place; the start itself makes it a round trip; None leaves it free.

    Returns
    -------
    list of int

    Raises
    ------
    ValueError
        When the matrix or a place number is unusable.
    """
    table = _checked(matrix)
    _check_places(table, start, fixed_end)
    waiting = set(range(len(table))) - {start, fixed_end}
    order = [start]
    while waiting:
        here = table[order[-1]]
        following = min(waiting, key=lambda place: (here[place], place))
        waiting.remove(following)
        order.append(following)
    return order if fixed_end is None else [*order, fixed_end]


def order_improved(matrix: ArrayLike, start: int, fixed_end: int | None = None) -> list[int]:
    """Improve two first orders by 2-opt and or-opt moves until none helps, and return the better; deterministic.

    First orders: nearest place first, and cheapest insertion. Moves: turning a stretch (2-opt, Croes 1958) and moving
    up to three places elsewhere, either way round (or-opt, Or 1976); the best move of the whole neighbourhood is taken
    each time. Costs of reversed stretches are summed the other way, so the matrix need not be symmetric.

    Parameters
    ----------
    matrix, start, fixed_end
        As in `order_nearest`.

    Returns
    -------
    list of int

    Raises
    ------
    ValueError
        When the matrix or a place number is unusable.
    """
    table = _checked(matrix)
    _check_places(table, start, fixed_end)
    # A free end becomes a fixed one at a place that costs nothing to reach.
    free_end = len(table)
    padded = np.pad(table, ((0, 1), (0, 1)))
    end = free_end if fixed_end is None else fixed_end
    nearest = order_nearest(table, start, fixed_end)
    if fixed_end is None:
        nearest = [*nearest, free_end]
    inserted = _order_inserted(padded, start, end, sorted(set(range(len(table))) - {start, end}))
    found = [_improve(padded, np.array(order, dtype=np.int64)) for order in (nearest, inserted)]
    lengths = [float(padded[order[:-1], order[1:]].sum()) for order in found]
    best = [int(place) for place in found[int(lengths[1] < lengths[0] - 1e-9)]]
    return best[:-1] if fixed_end is None else best


def order_exact(matrix: ArrayLike, start: int, end: int | None = None) -> list[int]:
    """Return the shortest order by dynamic programming over subsets (Held & Karp 1962); at most 12 places.

    Parameters
    ----------
    matrix : array_like
        Shape (n, n).
    start : int
        First place.
    end : int, optional
        Last place; the start itself makes it a round trip; None leaves it free.

    Returns
    -------
    list of int

    Raises
    ------
    ValueError
        When there are more than 12 places, or as `order_nearest`.
    """
    table = _checked(matrix)
    _check_places(table, start, end)
    if len(table) > _EXACT_MAX:
        raise ValueError(f"order_exact takes at most {_EXACT_MAX} places, got {len(table)}")
    between = [place for place in range(len(table)) if place not in (start, end)]
    if not between:
        return [start] if end is None else [start, end]
    # best[(subset, last)]: least cost from the start through the subset to its last place, and the one before it.
    best: dict[tuple[frozenset[int], int], tuple[float, int]] = {
        (frozenset([place]), place): (float(table[start, place]), start) for place in between
    }
    for size in range(2, len(between) + 1):
        for members in combinations(between, size):
            subset = frozenset(members)
            for last in members:
                rest = subset - {last}
                best[subset, last] = min((best[rest, prior][0] + float(table[prior, last]), prior) for prior in rest)
    subset = frozenset(between)
    last = min(between, key=lambda place: best[subset, place][0] + (0.0 if end is None else float(table[place, end])))
    backward = [] if end is None else [end]
    while subset:
        backward.append(last)
        subset, last = subset - {last}, best[subset, last][1]
    return [start, *reversed(backward)]


@dataclass(frozen=True)
class WindowedRoute:
    """An order that meets time windows, and what cannot be met.

    Parameters
    ----------
    order : list of int
        Places visited, beginning with the start.
    start_of_work_s : list of float
        When work begins at each place of ``order``, s; waiting for an early window is counted.
    unmet : list of int
        Places that fit nowhere in the order within their window; they are not visited.
    """

    order: list[int]
    start_of_work_s: list[float]
    unmet: list[int]


def order_time_windows(
    travel_s: ArrayLike,
    start: int,
    windows_s: Mapping[int, tuple[float, float]],
    work_s: Sequence[float],
    start_time_s: float = 0.0,
) -> WindowedRoute:
    """Insert place after place where it delays the end least, keeping every window already promised.

    Places are taken by closing time of their window, those without one last. The rule is simple: a place that it leaves
    out may still fit in some order that it does not see.

    Parameters
    ----------
    travel_s : array_like
        Travel times, s, shape (n, n), row to column.
    start : int
        First place, where no work is done before leaving.
    windows_s : mapping of int to (float, float)
        Earliest and latest time at which work may begin at a place, s; places not named may be worked at any time.
    work_s : sequence of float
        Time worked at each place, s, shape (n,); that of the start is not used.
    start_time_s : float, optional
        When the start is left, s.

    Returns
    -------
    WindowedRoute

    Raises
    ------
    ValueError
        When a window closes before it opens or names no place, or sizes differ.
    """
    table = _checked(travel_s)
    _check_places(table, start, None)
    if len(work_s) != len(table):
        raise ValueError(f"work_s must have {len(table)} entries, got {len(work_s)}")
    for place, (earliest_s, latest_s) in windows_s.items():
        if not 0 <= place < len(table):
            raise ValueError(f"windows_s must name places 0 to {len(table) - 1}, got {place}")
        if not earliest_s <= latest_s:
            raise ValueError(f"window of place {place} must open before it closes, got {earliest_s} to {latest_s}")

    anytime = (-math.inf, math.inf)
    waiting = sorted(
        (place for place in range(len(table)) if place != start),
        key=lambda place: (windows_s.get(place, anytime)[1], windows_s.get(place, anytime)[0], place),
    )

    def times(order: list[int]) -> list[float] | None:
        """Return when work begins at each place, or None when a window is missed."""
        now_s = start_time_s
        begun = [now_s]
        for one, two in pairwise(order):
            earliest_s, latest_s = windows_s.get(two, anytime)
            now_s = max(now_s + float(table[one, two]), earliest_s)
            if now_s > latest_s:
                return None
            begun.append(now_s)
            now_s += work_s[two]
        return begun

    order, unmet = [start], []
    for place in waiting:
        best: tuple[float, int] | None = None
        for position in range(1, len(order) + 1):
            trial = [*order[:position], place, *order[position:]]
            begun = times(trial)
            if begun is not None:
                end_s = begun[-1] + work_s[trial[-1]]
                best = min(best, (end_s, position)) if best is not None else (end_s, position)
        if best is None:
            unmet.append(place)
        else:
            order.insert(best[1], place)
    return WindowedRoute(order, times(order) or [start_time_s], sorted(unmet))


def _steps(xy_m: ArrayLike) -> FloatArray:
    places = np.asarray(xy_m, dtype=np.float64)
    if places.ndim != 2 or places.shape[1] != 2 or not np.isfinite(places).all():
        raise ValueError(f"xy_m must be finite numbers of shape (n, 2), got shape {places.shape}")
    return np.asarray(places[None, :, :] - places[:, None, :], dtype=np.float64)


def _checked(matrix: ArrayLike) -> FloatArray:
    table = np.asarray(matrix, dtype=np.float64)
    if table.ndim != 2 or table.shape[0] != table.shape[1] or len(table) == 0:
        raise ValueError(f"matrix must be square, got shape {table.shape}")
    if not (np.isfinite(table).all() and (table >= 0.0).all()):
        raise ValueError("matrix must hold finite distances of zero or more")
    return table


def _check_places(table: FloatArray, start: int, end: int | None) -> None:
    for name, place in (("start", start), ("end", end)):
        if place is not None and not 0 <= place < len(table):
            raise ValueError(f"{name} must be a place from 0 to {len(table) - 1}, got {place}")


def _order_inserted(table: FloatArray, start: int, end: int, places: list[int]) -> list[int]:
    """Insert the place that lengthens the order least, where it does, until none is left."""
    order = [start, end]
    waiting = list(places)
    while waiting:
        one, two = np.array(order[:-1]), np.array(order[1:])
        free = np.array(waiting)
        added = table[one[:, None], free] + table[free, two[:, None]] - table[one, two][:, None]
        position, which = np.unravel_index(int(np.argmin(added)), added.shape)
        order.insert(int(position) + 1, waiting.pop(int(which)))
    return order


def _improve(table: FloatArray, order: NDArray[np.int64]) -> NDArray[np.int64]:
    """Take the best 2-opt or or-opt move until none shortens the order; both ends stay."""
    tolerance = 1e-9 * max(1.0, float(table.max()))
    while True:
        moves = [_best_reversal(table, order), *(_best_move(table, order, size) for size in range(1, _SEGMENT_MAX + 1))]
        gain, following = min(moves, key=lambda move: move[0])
        if gain >= -tolerance:
            return order
        order = following


def _best_reversal(table: FloatArray, order: NDArray[np.int64]) -> tuple[float, NDArray[np.int64]]:
    count = len(order)
    if count < 4:
        return 0.0, order
    forward = np.concatenate(([0.0], np.cumsum(table[order[:-1], order[1:]])))
    backward = np.concatenate(([0.0], np.cumsum(table[order[1:], order[:-1]])))
    inner = np.arange(1, count - 1)
    first, last = inner[:, None], inner[None, :]
    change = (
        table[order[first - 1], order[last]]
        + table[order[first], order[last + 1]]
        + (backward[last] - backward[first])
        - (forward[last + 1] - forward[first - 1])
    )
    change = np.where(last > first, change, 0.0)
    i, j = np.unravel_index(int(np.argmin(change)), change.shape)
    low, high = int(inner[i]), int(inner[j])
    following = order.copy()
    following[low : high + 1] = order[low : high + 1][::-1]
    return float(change[i, j]), following


def _best_move(table: FloatArray, order: NDArray[np.int64], size: int) -> tuple[float, NDArray[np.int64]]:
    """Return the best move of ``size`` neighbouring places to another gap of the order."""
    count = len(order)
    if count < size + 3:
        return 0.0, order
    begin = np.arange(1, count - size)[:, None]
    gap = np.arange(count - 1)[None, :]
    head, tail = order[begin], order[begin + size - 1]
    before, after = order[begin - 1], order[begin + size]
    removed = table[before, head] + table[tail, after] - table[before, after]
    left, right = order[gap], order[gap + 1]
    opened = table[left, right]
    same = table[left, head] + table[tail, right]
    inside_forward = sum(table[order[begin + k], order[begin + k + 1]] for k in range(size - 1))
    inside_backward = sum(table[order[begin + k + 1], order[begin + k]] for k in range(size - 1))
    turned = table[left, tail] + table[head, right] + (inside_backward - inside_forward)
    change = np.minimum(same, turned) - opened - removed
    # Gaps that touch or lie inside the moved places are not elsewhere.
    change = np.where((gap >= begin - 1) & (gap < begin + size), 0.0, change)
    i, j = np.unravel_index(int(np.argmin(change)), change.shape)
    low, target = int(begin[i, 0]), int(gap[0, j])
    moved = order[low : low + size]
    if turned[i, j] < same[i, j]:
        moved = moved[::-1]
    rest = np.delete(order, np.arange(low, low + size))
    position = target + 1 if target < low else target + 1 - size
    return float(change[i, j]), np.insert(rest, position, moved)
