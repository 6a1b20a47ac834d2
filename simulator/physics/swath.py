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

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

# A width beyond whole swaths by less than this share of a swath, about a centimetre, is rounding (of an area as it was
# written, of a projection) and needs no further pass: the last one is credited with it.
WHOLE_PASS_TOLERANCE = 1e-3


@dataclass(frozen=True, eq=False)
class SwathPlan:
    """Ordered passes over one field; all arrays are read-only.

    Parameters
    ----------
    start_x_m, start_y_m, end_x_m, end_y_m : numpy.ndarray
        Ends of each pass in flight order, m, shape (n,).
    length_m : numpy.ndarray
        Sprayed length of each pass, m, shape (n,). Longer than start to end only for a bent headland pass.
    area_m2 : numpy.ndarray
        Area credited to each pass, m2, shape (n,); overlap is counted once, so the sum is the covered area.
    is_turn : numpy.ndarray
        Shape (n-1,). True where the link to the next pass is a turn onto another strip, False where it is a
        straight-ahead gap (hole, notch, obstacle) inside the same strip.
    link_m : numpy.ndarray
        Straight distance from the end of pass i to the start of pass i+1, m, shape (n-1,).
    swath_m : float
        Spacing of the passes, m.
    heading_rad : float
        Compass bearing of the passes, rad, in [0, pi).
    area_total_m2 : float
        Sum of ``area_m2``, m2.
    outline : tuple of numpy.ndarray
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
    link_m: FloatArray
    swath_m: float
    heading_rad: float
    area_total_m2: float
    outline: tuple[FloatArray, ...]

    def __post_init__(self) -> None:
        count = len(self.length_m)
        if count == 0:
            raise ValueError("a swath plan needs at least one pass, got none")
        for name in ("start_x_m", "start_y_m", "end_x_m", "end_y_m", "length_m", "area_m2"):
            _check_shape(name, getattr(self, name), count)
        for name in ("is_turn", "link_m"):
            _check_shape(name, getattr(self, name), count - 1)
        for name in ("start_x_m", "start_y_m", "end_x_m", "end_y_m", "length_m", "area_m2", "is_turn", "link_m"):
            getattr(self, name).setflags(write=False)
        for ring in self.outline:
            ring.setflags(write=False)

    @property
    def pass_count(self) -> int:
        """Number of passes."""
        return len(self.length_m)

    @property
    def turn_count(self) -> int:
        """Number of turns onto another strip; gaps flown straight ahead are not turns."""
        return int(np.count_nonzero(self.is_turn))

    @property
    def area_before_m2(self) -> FloatArray:
        """Area covered before each pass and after the last, m2, shape (n+1,)."""
        return np.concatenate(([0.0], np.cumsum(self.area_m2)))

    def position_m(self, area_m2: ArrayLike) -> FloatArray:
        """Return where the aircraft is when it has covered ``area_m2`` of the plan.

        Inside a pass the area is taken as uniform along it. At the seam of two passes the end of the earlier one is
        returned; at zero the start of the first.

        Parameters
        ----------
        area_m2 : array_like
            Covered area, m2, any shape, in [0, area_total_m2] (values beyond are clipped).

        Returns
        -------
        numpy.ndarray
            Position, m, shape of ``area_m2`` with a last axis (x, y).
        """
        before_m2 = self.area_before_m2
        area = np.clip(np.asarray(area_m2, dtype=np.float64), 0.0, before_m2[-1])
        index = np.clip(np.searchsorted(before_m2, area, side="left") - 1, 0, self.pass_count - 1)
        share = np.clip((area - before_m2[index]) / np.maximum(self.area_m2[index], 1e-300), 0.0, 1.0)
        x_m = self.start_x_m[index] + share * (self.end_x_m[index] - self.start_x_m[index])
        y_m = self.start_y_m[index] + share * (self.end_y_m[index] - self.start_y_m[index])
        return np.stack((x_m, y_m), axis=-1)


def _check_shape(name: str, array: NDArray[np.generic], count: int) -> None:
    if array.shape != (count,):
        raise ValueError(f"{name} must have shape ({count},), got {array.shape}")


def check_positive(name: str, value: float) -> None:
    """Refuse a value that is not a positive finite number.

    Raises
    ------
    ValueError
        When ``value`` is zero, negative, infinite or not a number.
    """
    if not (math.isfinite(value) and value > 0.0):
        raise ValueError(f"{name} must be a positive number, got {value!r}")


def make_plan(
    start_xy_m: FloatArray,
    end_xy_m: FloatArray,
    length_m: FloatArray,
    area_m2: FloatArray,
    is_turn: BoolArray,
    *,
    swath_m: float,
    heading_rad: float,
    outline: tuple[FloatArray, ...],
) -> SwathPlan:
    """Assemble a plan from pass ends; links and the total area are derived.

    Parameters
    ----------
    start_xy_m, end_xy_m : numpy.ndarray
        Pass ends, m, shape (n, 2).
    length_m, area_m2 : numpy.ndarray
        Shape (n,).
    is_turn : numpy.ndarray
        Shape (n-1,).
    swath_m, heading_rad, outline
        As in `SwathPlan`.

    Returns
    -------
    SwathPlan
    """
    link_m = np.hypot(*(start_xy_m[1:] - end_xy_m[:-1]).T)
    return SwathPlan(
        start_x_m=start_xy_m[:, 0].copy(),
        start_y_m=start_xy_m[:, 1].copy(),
        end_x_m=end_xy_m[:, 0].copy(),
        end_y_m=end_xy_m[:, 1].copy(),
        length_m=length_m,
        area_m2=area_m2,
        is_turn=is_turn,
        link_m=link_m,
        swath_m=swath_m,
        heading_rad=heading_rad,
        area_total_m2=float(area_m2.sum()),
        outline=outline,
    )


def plan_rectangle(area_m2: float, length_to_width: float, swath_m: float) -> SwathPlan:
    """Plan a rectangle with a corner at (0, 0), its length along +y, and serpentine passes along the length.

    Parameters
    ----------
    area_m2 : float
        Field area, m2.
    length_to_width : float
        Length of the passes divided by the width across them.
    swath_m : float
        Spacing of the passes, m. The last pass is credited only the width that is left.

    Returns
    -------
    SwathPlan
        ``ceil(width / swath)`` passes.

    Raises
    ------
    ValueError
        When an argument is not a positive number.
    """
    check_positive("area_m2", area_m2)
    check_positive("length_to_width", length_to_width)
    check_positive("swath_m", swath_m)
    width_m = math.sqrt(area_m2 / length_to_width)
    length_m = length_to_width * width_m
    count = max(1, math.ceil(width_m / swath_m - WHOLE_PASS_TOLERANCE))
    left_m = swath_m * np.arange(count, dtype=np.float64)
    right_m = np.append(left_m[1:], width_m)
    centre_m = 0.5 * (left_m + right_m)
    upward = np.arange(count) % 2 == 0
    start_xy_m = np.column_stack((centre_m, np.where(upward, 0.0, length_m)))
    end_xy_m = np.column_stack((centre_m, np.where(upward, length_m, 0.0)))
    corners = np.array([[0.0, 0.0], [width_m, 0.0], [width_m, length_m], [0.0, length_m], [0.0, 0.0]])
    return make_plan(
        start_xy_m,
        end_xy_m,
        np.full(count, length_m),
        (right_m - left_m) * length_m,
        np.ones(count - 1, dtype=np.bool_),
        swath_m=swath_m,
        heading_rad=0.0,
        outline=(corners,),
    )


def field_work_time_s(
    plan: SwathPlan, speed_m_s: float, turn_time_s: float, transit_speed_m_s: float | None = None
) -> float:
    """Return the time one aircraft needs for the whole plan without ever landing.

    Every turn costs ``turn_time_s``, which includes the shift by one swath; a link longer than the swath (slanted
    boundary, next part of the field) is flown in addition. Gaps inside a strip are flown at transit speed.

    Parameters
    ----------
    plan : SwathPlan
        The passes.
    speed_m_s : float
        Spraying speed, m/s.
    turn_time_s : float
        Time of one turn, s, zero or more.
    transit_speed_m_s : float, optional
        Speed over gaps and long links, m/s; the spraying speed when None.

    Returns
    -------
    float
        Time, s.

    Raises
    ------
    ValueError
        When a speed is not positive or the turn time is negative.
    """
    check_positive("speed_m_s", speed_m_s)
    transit_m_s = speed_m_s if transit_speed_m_s is None else transit_speed_m_s
    check_positive("transit_speed_m_s", transit_m_s)
    if not (math.isfinite(turn_time_s) and turn_time_s >= 0.0):
        raise ValueError(f"turn_time_s must be zero or more, got {turn_time_s!r}")
    beyond_m = np.where(plan.is_turn, np.maximum(plan.link_m - plan.swath_m, 0.0), plan.link_m)
    return float(
        plan.length_m.sum() / speed_m_s + plan.turn_count * turn_time_s + beyond_m.sum() / transit_m_s,
    )


def turn_efficiency(length_m: float, speed_m_s: float, turn_time_s: float) -> float:
    """Return the share of pass-and-turn time that sprays: ``(L/v) / (L/v + t_turn)``.

    Elementary relation of one pass and one turn.

    Parameters
    ----------
    length_m : float
        Pass length, m.
    speed_m_s : float
        Spraying speed, m/s.
    turn_time_s : float
        Time of one turn, s.

    Returns
    -------
    float
        Efficiency in (0, 1].
    """
    check_positive("length_m", length_m)
    check_positive("speed_m_s", speed_m_s)
    pass_time_s = length_m / speed_m_s
    return pass_time_s / (pass_time_s + turn_time_s)


def turn_time_s(swath_m: float, speed_m_s: float, acceleration_m_s2: float, radius_min_m: float = 0.0) -> float:
    """Return the time of a 180 degree turn onto the next strip, from speed, acceleration and radius limits.

    The quicker of two ways a multirotor can turn:

    * stop and shift: brake (v/a), move sideways by one swath from rest to rest (2 sqrt(S/a)), accelerate (v/a);
    * fly round at constant speed with radius r = max(v2/a, ``radius_min_m``): a half circle and a straight piece when
      2 r <= S, else the bulb of three arcs of length r (pi + 4 arccos((S + 2 r) / (4 r))) (shortest path of bounded
      curvature between opposite headings, L. E. Dubins 1957, the left-right-left form).

    Parameters
    ----------
    swath_m : float
        Distance between the strips, m.
    speed_m_s : float
        Spraying speed, m/s.
    acceleration_m_s2 : float
        Greatest horizontal acceleration, along or across, m/s2.
    radius_min_m : float, optional
        Smallest allowed turn radius in continuous flight, m.

    Returns
    -------
    float
        Turn time, s.

    Raises
    ------
    ValueError
        When an argument is not positive (``radius_min_m``: negative).
    """
    check_positive("swath_m", swath_m)
    check_positive("speed_m_s", speed_m_s)
    check_positive("acceleration_m_s2", acceleration_m_s2)
    if not (math.isfinite(radius_min_m) and radius_min_m >= 0.0):
        raise ValueError(f"radius_min_m must be zero or more, got {radius_min_m!r}")
    stop_s = 2.0 * speed_m_s / acceleration_m_s2 + 2.0 * math.sqrt(swath_m / acceleration_m_s2)
    radius_m = max(speed_m_s**2 / acceleration_m_s2, radius_min_m)
    if 2.0 * radius_m <= swath_m:
        path_m = math.pi * radius_m + (swath_m - 2.0 * radius_m)
    else:
        path_m = radius_m * (math.pi + 4.0 * math.acos((swath_m + 2.0 * radius_m) / (4.0 * radius_m)))
    return min(stop_s, path_m / speed_m_s)
