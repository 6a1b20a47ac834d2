"""Visit orders: nearest first, improved, or within time windows.

A matrix holds the distance (or time) from row to column, finite and not negative, and need not be symmetric. An order
begins with place 0 and lists every place once; its end is free.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from itertools import pairwise
from types import MappingProxyType

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

DETOUR_FACTORS: Mapping[str, float] = MappingProxyType({"straight": 1.0, "typical": 1.2, "grid": 4.0 / math.pi})
"""Road over straight distance by road class: typical network 1.2 (Newell 1980); right-angled section roads 4/pi, the
mean of ``|cos| + |sin|`` over all directions."""

_SEGMENT_MAX = 3


def order_nearest(matrix: ArrayLike) -> list[int]:
    """Go to the nearest place not yet visited, time and again; of two equally near, to the lower number."""
    table = np.asarray(matrix, dtype=np.float64)
    waiting = set(range(1, len(table)))
    order = [0]
    while waiting:
        here = table[order[-1]]
        following = min(waiting, key=lambda place: (here[place], place))
        waiting.remove(following)
        order.append(following)
    return order


def order_improved(matrix: ArrayLike) -> list[int]:
    """Improve two first orders by 2-opt and or-opt moves until none helps, and return the better; deterministic.

    First orders: nearest place first, and cheapest insertion. Moves: turning a stretch (2-opt, Croes 1958) and moving
    up to three places elsewhere, either way round (or-opt, Or 1976); the best move of the whole neighbourhood is taken
    each time. Costs of reversed stretches are summed the other way, so the matrix need not be symmetric.
    """
    # the free end becomes a fixed one at a place that costs nothing to reach
    padded = np.pad(np.asarray(matrix, dtype=np.float64), ((0, 1), (0, 1)))
    first = ([*order_nearest(matrix), len(padded) - 1], _order_inserted(padded))
    found = [_improve(padded, np.array(order, dtype=np.int64)) for order in first]
    lengths = [float(padded[order[:-1], order[1:]].sum()) for order in found]
    return [int(place) for place in found[int(lengths[1] < lengths[0] - 1e-9)][:-1]]


def order_time_windows(
    travel_s: ArrayLike, windows_s: Mapping[int, tuple[float, float]], work_s: Sequence[float]
) -> list[int]:
    """Insert place after place where it delays the end least, keeping every window already promised.

    Place 0 is left at 0 s. Windows are the earliest and latest time at which work may begin at a place, any time at one
    that has none. Places are taken by closing time of their window, those without one last; those that fit nowhere are
    left out. The rule is simple: a place that it leaves out may still fit in some order that it does not see.
    """
    table = np.asarray(travel_s, dtype=np.float64)
    anytime = (-math.inf, math.inf)

    def end_s(order: list[int]) -> float | None:
        """Return when the last work ends, or None when a window is missed."""
        now_s = 0.0
        for one, two in pairwise(order):
            earliest_s, latest_s = windows_s.get(two, anytime)
            now_s = max(now_s + float(table[one, two]), earliest_s)
            if now_s > latest_s:
                return None
            now_s += work_s[two]
        return now_s

    order = [0]
    for place in sorted(range(1, len(table)), key=lambda place: (*reversed(windows_s.get(place, anytime)), place)):
        ends = [
            (end, position)
            for position in range(1, len(order) + 1)
            if (end := end_s([*order[:position], place, *order[position:]])) is not None
        ]
        if ends:
            order.insert(min(ends)[1], place)
    return order


def _order_inserted(table: FloatArray) -> list[int]:
    """Between first and last, insert the place that lengthens the order least, where it does, until none is left."""
    *waiting, end = range(1, len(table))
    order = [0, end]
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
