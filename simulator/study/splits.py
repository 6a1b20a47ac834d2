"""Ways to split the same acres into fields: full grid, Latin hypercube, and neighbourhoods of real maps."""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from simulator.physics.fragmentation import januszewski, simmons
from simulator.plan.day_plan import DayPlan
from simulator.scenario.field_list import FieldList, FieldSite

FloatArray = NDArray[np.float64]
MOST_FIELDS = 500
"""A drawn job has at most this many fields."""


@dataclass(frozen=True)
class Split:
    """One way to split the acres."""

    name: str
    kind: str
    sites: tuple[FieldSite, ...]
    factors: tuple[float, ...] = ()


def split_areas(total_m2: float, number: int, inequality: float = 0.0) -> FloatArray:
    """Return areas that sum to a total: all equal, or falling off as ``rank ** -2 inequality`` (a rank-size rule)."""
    if number < 1 or not total_m2 > 0 or not 0.0 <= inequality <= 1.0:
        got = f"got {number} fields of {total_m2} m2, inequality {inequality}"
        raise ValueError(f"{got}; allowed is 1 or more, above 0, 0 to 1")
    weights = np.arange(1, number + 1, dtype=np.float64) ** (-2.0 * inequality)
    return np.asarray(total_m2 * weights / weights.sum())


def draw_split(
    total_m2: float, number: int, length_to_width: float, distance_m: float, inequality: float = 0.0, kind: str = "grid"
) -> Split:
    """Return rectangular fields that share a total area, each a given road distance from the one before."""
    sites = tuple(
        FieldSite(f"part {place}", float(area), length_to_width, drive_distance_m=distance_m)
        for place, area in enumerate(split_areas(total_m2, number, inequality), 1)
    )
    uneven = f", uneven {inequality:.2g}" if inequality else ""
    name = f"{number} x {length_to_width:.3g}:1, {distance_m / 1609.344:.2g} mi{uneven}"
    return Split(name, kind, sites, (length_to_width, distance_m, inequality))


def grid_splits(
    total_m2: float, numbers: Sequence[int], shapes: Sequence[float], distances_m: Sequence[float],
    inequalities: Sequence[float] = (0.0,),
) -> list[Split]:  # fmt: skip
    """Return a full grid of splits; see `draw_split`."""
    return [draw_split(total_m2, *levels) for levels in itertools.product(numbers, shapes, distances_m, inequalities)]


def latin_splits(
    total_m2: float, points: int, numbers: Sequence[float], shapes: Sequence[float], distances_m: Sequence[float],
    inequalities: Sequence[float] = (0.0,), seed: int = 1,
) -> list[Split]:  # fmt: skip
    """Return a Latin hypercube from the least to the largest of each factor, in logarithms but for inequality."""

    def between(levels: Sequence[float], share: float) -> float:
        low, high = float(min(levels)), float(max(levels))
        return low * (high / low) ** share if low > 0 else low + share * (high - low)

    splits = []
    for number, shape, distance, inequality in latin_hypercube(4, points, seed):
        whole = max(1, round(between(numbers, number)))
        uneven = min(inequalities) + inequality * (max(inequalities) - min(inequalities))
        levels = (between(shapes, shape), between(distances_m, distance), float(uneven))
        splits.append(draw_split(total_m2, whole, *levels, "latin"))
    return splits


def latin_hypercube(factors: int, points: int, seed: int) -> FloatArray:
    """Return one point in each of the equal slices of each factor (McKay, Beckman & Conover 1979, Technometrics 21)."""
    if factors < 1 or points < 1:
        raise ValueError(f"got {factors} factors and {points} points; allowed is at least one of each")
    from scipy.stats import qmc

    return np.asarray(qmc.LatinHypercube(d=factors, rng=np.random.default_rng(seed)).random(points))


def map_splits(name: str, fields: FieldList, total_m2: float, most: int = 3) -> list[Split]:
    """Return neighbourhoods of a boundary file, each of about the total area: from a field to the nearest unused."""
    left = list(fields.sites)
    splits: list[Split] = []
    while left and len(splits) < most:
        here = left.pop(0)
        group, area = [here], here.area_m2
        while left and area < total_m2:
            here = left.pop(int(np.argmin([_distance(here, other) for other in left])))
            group.append(here)
            area += here.area_m2
        # the last is dropped when less than half the area is left for it, unless it is the only one
        if splits and area < 0.5 * total_m2:
            break
        splits.append(Split(f"{name} {len(splits) + 1}", "map", tuple(group)))
    return splits


def _distance(first: FieldSite, second: FieldSite) -> float:
    if first.location_m is None or second.location_m is None:
        return 0.0
    return math.dist(first.location_m, second.location_m)


def shape_of(site: FieldSite) -> float:
    """Return length over width: of the rectangle, or of the smallest rectangle around a boundary."""
    if site.polygon is None:
        return max(site.length_to_width, 1.0 / site.length_to_width)
    box = np.asarray(site.polygon.minimum_rotated_rectangle.exterior.coords)
    sides = np.hypot(*np.diff(box, axis=0).T)[:2]
    return float(max(sides) / max(min(sides), 1e-9))


def properties(split: Split, plan: DayPlan) -> dict[str, float]:
    """Return what is known of a split before anything is flown."""
    areas = np.array([site.area_m2 for site in split.sites])
    shapes = np.array([shape_of(site) for site in split.sites])
    lengths = np.sqrt(areas * shapes)
    order = plan.geography.order
    moves = [plan.geography.distance_m(here, there) for here, there in zip(order, [*order[1:], order[0]], strict=True)]
    return {
        "fields": float(len(areas)),
        "area_m2": float(areas.sum()),
        "mean_area_m2": float(areas.mean()),
        "simmons": simmons(areas),
        "januszewski": januszewski(areas),
        "length_to_width": float(np.average(shapes, weights=areas)),
        "move_m": float(np.mean(moves)) if len(areas) > 1 else 0.0,
        "reach_m": float(np.average(0.5 * np.hypot(lengths, areas / lengths), weights=areas)),
        "pass_inverse_per_m": float(np.average(1.0 / lengths, weights=areas)),
    }
