"""The swath plan: the ordered passes that cover a field, as arrays.

A plan is made once a field and swath, never per event. Passes sweep the field in one direction, so the area covered so
far is a coordinate that aircraft of different swath share: two plans of one field with one heading start on the same
side.

Headings are compass bearings in radians: 0 runs along +y (north), pi/2 along +x (east). Successive strips lie further
to the right of the heading.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# A width beyond whole swaths by less than this share of a swath, about a centimetre, is rounding (of an area as it was
# written, of a projection) and needs no further pass: the last one is credited with it.
WHOLE_PASS_TOLERANCE = 1e-3


@dataclass(frozen=True, eq=False)
class SwathPlan:
    """Ordered passes over one field of n passes.

    Attributes
    ----------
    length_m
        Sprayed length, shape (n,). Longer than start to end only for a bent headland pass.
    area_m2
        Area credited, shape (n,); overlap is counted once, so the sum is the covered area.
    is_turn
        Shape (n-1,): whether the link to the next pass is a turn onto another strip, else a straight-ahead gap (hole,
        notch, obstacle) inside the same strip.
    swath_m
        Spacing of the passes.
    outline
        Closed rings for drawing, each (k, 2), m: per polygon its exterior first (anticlockwise), then its holes
        (clockwise).
    """

    start_x_m: FloatArray
    start_y_m: FloatArray
    end_x_m: FloatArray
    end_y_m: FloatArray
    length_m: FloatArray
    area_m2: FloatArray
    is_turn: BoolArray
    swath_m: float
    outline: tuple[FloatArray, ...]

    @property
    def pass_count(self) -> int:
        """Number of passes."""
        return len(self.length_m)

    @property
    def link_m(self) -> FloatArray:
        """Straight distance from the end of each pass to the start of the next, shape (n-1,)."""
        return np.hypot(self.start_x_m[1:] - self.end_x_m[:-1], self.start_y_m[1:] - self.end_y_m[:-1])

    @property
    def area_total_m2(self) -> float:
        """Area covered."""
        return float(self.area_m2.sum())

    @property
    def area_before_m2(self) -> FloatArray:
        """Area covered before each pass and after the last, shape (n+1,)."""
        return np.concatenate(([0.0], np.cumsum(self.area_m2)))


def plan_rectangle(area_m2: float, length_to_width: float, swath_m: float) -> SwathPlan:
    """Plan a rectangle from (0, 0) with ``ceil(width / swath)`` serpentine passes along its length, which is +y.

    The last pass is credited only the width that is left.
    """
    width_m = math.sqrt(area_m2 / length_to_width)
    length_m = length_to_width * width_m
    count = max(1, math.ceil(width_m / swath_m - WHOLE_PASS_TOLERANCE))
    left_m = swath_m * np.arange(count, dtype=np.float64)
    right_m = np.append(left_m[1:], width_m)
    centre_m = 0.5 * (left_m + right_m)
    upward = np.arange(count) % 2 == 0
    corners = np.array([[0.0, 0.0], [width_m, 0.0], [width_m, length_m], [0.0, length_m], [0.0, 0.0]])
    return SwathPlan(
        start_x_m=centre_m,
        start_y_m=np.where(upward, 0.0, length_m),
        end_x_m=centre_m,
        end_y_m=np.where(upward, length_m, 0.0),
        length_m=np.full(count, length_m),
        area_m2=(right_m - left_m) * length_m,
        is_turn=np.ones(count - 1, dtype=np.bool_),
        swath_m=swath_m,
        outline=(corners,),
    )


class Turn(NamedTuple):
    """A turn by stopping (s), by flying round (m), and its time (s), that of the quicker."""

    stop_s: float
    radius_m: float
    round_m: float
    time_s: float


def turn_of(swath_m: float, speed_m_s: float, acceleration_m_s2: float, radius_min_m: float = 0.0) -> Turn:
    """Return a 180 degree turn onto the next strip, from speed, acceleration (along or across) and radius limits.

    The quicker of two ways a multirotor can turn:

    * stop and shift: brake (v/a), move sideways by one swath from rest to rest (2 sqrt(S/a)), accelerate (v/a);
    * fly round at constant speed with radius r = max(v2/a, ``radius_min_m``): a half circle and a straight piece when
      2 r <= S, else the bulb of three arcs of length r (pi + 4 arccos((S + 2 r) / (4 r))) (shortest path of bounded
      curvature between opposite headings, L. E. Dubins 1957, the left-right-left form).
    """
    stop_s = 2.0 * speed_m_s / acceleration_m_s2 + 2.0 * math.sqrt(swath_m / acceleration_m_s2)
    radius_m = max(speed_m_s**2 / acceleration_m_s2, radius_min_m)
    if 2.0 * radius_m <= swath_m:
        path_m = math.pi * radius_m + (swath_m - 2.0 * radius_m)
    else:
        path_m = radius_m * (math.pi + 4.0 * math.acos((swath_m + 2.0 * radius_m) / (4.0 * radius_m)))
    return Turn(stop_s, radius_m, path_m, min(stop_s, path_m / speed_m_s))
