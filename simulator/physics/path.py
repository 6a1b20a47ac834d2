"""The path of one field for one swath, as flat lists: where a stretch of it starts, ends, and how long it takes."""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from typing import Any, NamedTuple

import numpy as np

from simulator.physics.swath import SwathPlan


class Stretch(NamedTuple):
    """A contiguous part of a path."""

    path_m: float
    turns: int
    gap_m: float
    out_m: float
    back_m: float


class PathLists(NamedTuple):
    """A path laid out: sums up to each pass (one more than passes), where each pass starts and ends (m), mean pass."""

    cumulative_m2: list[float]
    path_m: list[float]
    turns: list[int]
    gap_m: list[float]
    starts: list[tuple[float, float]]
    ends: list[tuple[float, float]]
    mean_pass_m2: float


def _lists(plan: SwathPlan) -> PathLists:
    turn = plan.is_turn.astype(float)
    # a turn brings the aircraft one swath over; only the way beyond that is flown as a gap
    gap = np.where(plan.is_turn, np.maximum(0.0, plan.link_m - plan.swath_m), plan.link_m)
    cumulative_m2: list[float] = plan.area_before_m2.tolist()
    starts = list(zip(plan.start_x_m.tolist(), plan.start_y_m.tolist(), strict=True))
    return PathLists(
        cumulative_m2,
        np.concatenate(([0.0], np.cumsum(plan.length_m))).tolist(),
        np.concatenate(([0], np.cumsum(turn))).astype(int).tolist(),
        np.concatenate(([0.0], np.cumsum(gap))).tolist(),
        starts,
        list(zip(plan.end_x_m.tolist(), plan.end_y_m.tolist(), strict=True)),
        cumulative_m2[-1] / len(starts),
    )


class FieldPath:
    """A swath plan laid out for quick look-up by area covered.

    The coordinate is the area from the start of the path, so aircraft of different swath can share one field; it is
    stretched where the field's area (m2) is given.
    """

    def __init__(
        self,
        plan: SwathPlan | PathLists,
        zones: list[tuple[float, float, float]],
        ferry_distance_m: float | None = None,
        area_m2: float | None = None,
    ) -> None:
        lists = plan if isinstance(plan, PathLists) else _lists(plan)
        self._zones, self._ferry_m = zones, ferry_distance_m
        self.cumulative_m2, self.path_m, self._turns, self._gap_m = lists[:4]
        self.starts, self.ends, self.mean_pass_m2 = lists[4:]
        self.zone = zones[0][1:]
        self._zone_starts = [zone[0] for zone in zones]
        if area_m2 is not None and area_m2 != self.cumulative_m2[-1]:
            scale = area_m2 / self.cumulative_m2[-1]
            self.cumulative_m2 = [*(value * scale for value in self.cumulative_m2[:-1]), area_m2]
        self.area_m2 = self.cumulative_m2[-1]

    def __reduce__(self) -> tuple[Any, ...]:
        """Pickle as lists: to add them up again elsewhere might change a last digit."""
        lists = PathLists(
            self.cumulative_m2, self.path_m, self._turns, self._gap_m, self.starts, self.ends, self.mean_pass_m2
        )
        return FieldPath, (lists, self._zones, self._ferry_m)

    def place(self, area_m2: float, *, ending: bool) -> tuple[int, float]:
        """Return the pass and the part of it flown at an area from the start."""
        total = self.cumulative_m2
        index = (bisect_left(total, area_m2) if ending else bisect_right(total, area_m2)) - 1
        index = min(max(index, 0), len(self.starts) - 1)
        size = total[index + 1] - total[index]
        return index, min(1.0, max(0.0, (area_m2 - total[index]) / size))

    def point(self, index: int, part: float) -> tuple[float, float]:
        """Return the place (m) at a part of a pass."""
        x0, y0 = self.starts[index]
        x1, y1 = self.ends[index]
        return x0 + (x1 - x0) * part, y0 + (y1 - y0) * part

    def stretch(self, area_from_m2: float, area_to_m2: float) -> Stretch:
        """Return length, turns, gaps and ferry distances of a stretch."""
        first, first_part = self.place(area_from_m2, ending=False)
        last, last_part = self.place(area_to_m2, ending=True)
        length = self._along_m(last, last_part) - self._along_m(first, first_part)
        if last < first:
            last, length = first, 0.0
        if self._ferry_m is not None:
            out = back = self._ferry_m
        else:
            zone_x, zone_y = self.zone
            if len(self._zones) > 1:
                _, zone_x, zone_y = self._zones[max(0, bisect_right(self._zone_starts, area_from_m2 * (1 + 1e-12)) - 1)]
            x, y = self.point(first, first_part)
            out = math.hypot(x - zone_x, y - zone_y)
            x, y = self.point(last, last_part)
            back = math.hypot(x - zone_x, y - zone_y)
        return Stretch(
            length, self._turns[last] - self._turns[first], self._gap_m[last] - self._gap_m[first], out, back
        )

    def _along_m(self, index: int, part: float) -> float:
        """Return the length of the passes up to a part of one."""
        path = self.path_m
        return path[index] + part * (path[index + 1] - path[index])

    def length_m(self, area_from_m2: float, area_to_m2: float) -> float:
        """Return the length of the passes within a stretch."""
        start_m = self._along_m(*self.place(area_from_m2, ending=False))
        return max(0.0, self._along_m(*self.place(area_to_m2, ending=True)) - start_m)

    def reached_m2(self, area_from_m2: float, length_m: float) -> float:
        """Return the area at which passes of some length end that begin at another; infinite beyond the path."""
        path, total = self.path_m, self.cumulative_m2
        at_m = self._along_m(*self.place(area_from_m2, ending=False)) + length_m
        if at_m >= path[-1]:
            return math.inf
        index = bisect_right(path, at_m) - 1
        part = (at_m - path[index]) / (path[index + 1] - path[index])
        return total[index] + part * (total[index + 1] - total[index])

    def pass_end(self, area_m2: float) -> float:
        """Return the end of the pass that goes on at an area from the start."""
        return self.cumulative_m2[min(bisect_right(self.cumulative_m2, area_m2 * (1 + 1e-12)), len(self.starts))]

    def whole_passes(self, area_from_m2: float, area_to_m2: float) -> float:
        """Return the last pass end in (from, to], or ``area_to_m2`` when there is none but for rounding."""
        index = bisect_right(self.cumulative_m2, area_to_m2 * (1 + 1e-12)) - 1
        border = self.cumulative_m2[index]
        within = area_from_m2 * (1 + 1e-9) + 1e-6 < border < area_to_m2 - 1e-6
        return border if within else area_to_m2
