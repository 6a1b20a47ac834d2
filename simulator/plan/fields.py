"""Fields as paths, and the distances between them."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problem
from simulator.physics.landing import Station, best_zone, following, nearest_corner, relocations
from simulator.physics.path import FieldPath
from simulator.physics.route import DETOUR_FACTORS, order_improved, order_nearest, order_time_windows
from simulator.physics.swath import SwathPlan, plan_rectangle
from simulator.physics.swath_polygon import best_heading_rad, plan_polygon
from simulator.scenario.field_list import LARGEST_FIELD_PASSES, MOST_ORDERED, FieldList, FieldSite
from simulator.scenario.schema import Scenario


@dataclass(frozen=True)
class FieldPlan:
    """One field.

    The rate is in L/m2 or kg/m2; the product of a square metre is more where nozzles are not switched by section. The
    outline has closed rings in metres on the field's own grid; without a location only distances are known; there is
    one station unless the visual range asks for more.
    """

    name: str
    area_m2: float
    rate: float
    outline: tuple[tuple[tuple[float, float], ...], ...]
    location_m: tuple[float, float] | None
    stations: tuple[Station, ...]
    open_from_s: float = -math.inf
    open_until_s: float = math.inf
    first_day: int = 1
    last_day: float = math.inf
    """Work days of the job on which it may be flown."""
    product: str = ""
    """Name of its mix."""
    product_per_m2: float = 0.0


@dataclass(frozen=True, eq=False)
class WorkProfile:
    """One aircraft class on one field: its path, rate and speed.

    The rate is in L/m2 or kg/m2, the speed that along a pass after the flow limit, and the spray power a cubic of power
    (W) against all-up mass (kg) at that speed. Without section control each pass sprays its whole swath, also where the
    field is narrower.
    """

    path: FieldPath
    rate: float
    speed_m_per_s: float
    spray_power: tuple[float, float, float, float]
    swath_m: float
    section_control: bool

    def product(self, area_from_m2: float, area_to_m2: float) -> float:
        """Return what spraying a stretch takes, L or kg."""
        if self.section_control:
            return self.rate * (area_to_m2 - area_from_m2)
        return self.rate * self.swath_m * self.path.length_m(area_from_m2, area_to_m2)

    @property
    def product_per_m2(self) -> float:
        """The rate, with what is sprayed outside the field or twice."""
        if self.section_control:
            return self.rate
        return self.product(0.0, self.path.area_m2) / self.path.area_m2

    def reach_m2(self, area_from_m2: float, product: float) -> float:
        """Return how far an amount of product goes from an area on; infinite where it goes beyond the path."""
        if self.section_control:
            return area_from_m2 + product / self.rate
        return self.path.reached_m2(area_from_m2, product / (self.rate * self.swath_m))


@dataclass(frozen=True)
class Geography:
    """Road distances (m) between yard and fields, and the order of visits."""

    order: tuple[int, ...]
    drive_m: NDArray[np.float64] = field(compare=False)
    """Row and column 0 are the yard; field ``i`` stands at ``i + 1``."""
    yard_m: tuple[float, float] | None = None
    """Where the yard lies on the fields' grid; None where only distances are known."""

    def distance_m(self, origin: int | None, goal: int | None) -> float:
        """Return the road distance between two fields; None is the yard."""
        return float(self.drive_m[0 if origin is None else origin + 1, 0 if goal is None else goal + 1])


_GROUNDS = 4096
"""Fields whose passes are kept for the next equipment set."""


class Ferrying(NamedTuple):
    """What shifting a landing zone saves and costs: a load (L or kg), its ferry speed, the time of a shift."""

    load: float
    speed_m_per_s: float
    shift_s: float


def plan_fields(
    scenario: Scenario, fields: FieldList, swaths_m: dict[str, float], ferrying: Ferrying
) -> tuple[tuple[FieldPlan, ...], dict[tuple[float, int], FieldPath], Geography]:
    """Plan every field for every swath, by which and its number paths are; an `InputError` tells of too large ones."""
    plans: list[FieldPlan] = []
    paths: dict[tuple[float, int], FieldPath] = {}
    problems = []
    swaths, ways = tuple(sorted(set(swaths_m.values()))), _Ways.of(scenario)
    for index, site in enumerate(fields.sites):
        passes = math.sqrt(site.area_m2) * 2.0 / swaths[0]
        if passes > LARGEST_FIELD_PASSES or site.area_m2 / swaths[0] > 1e8:
            size = f"{site.area_m2 / 4046.8564224:.4g} acres at a swath of {swaths[0]:.3g} m"
            problems.append(Problem("field", f"{site.name}: {size} are more passes than can be planned"))
            continue
        rate = _rate(scenario, site)
        ground = _ground(site, swaths, ways, fields.yard_m, ferrying, rate)
        paths |= {(swath, index): path for swath, path in zip(swaths, ground.paths, strict=True)}
        start = scenario.day.start
        opens = -math.inf if site.open_from is None else site.open_from - start
        shuts = math.inf if site.open_until is None else site.open_until - start
        last_day = math.inf if site.last_day is None else site.last_day
        plans.append(
            FieldPlan(
                site.name, ground.paths[-1].area_m2, rate, ground.outline, site.location_m, ground.stations, opens,
                shuts, site.first_day, last_day, site.product,
            )
        )  # fmt: skip
    if problems:
        raise InputError(problems)
    return tuple(plans), paths, _geography(scenario, fields, plans, swaths[0])


class _Ways(NamedTuple):
    """What of a scenario decides how fields are covered and where is landed."""

    heading: float | None
    headland_passes: int
    nearest_corner: bool
    visual_range_m: float | None
    follows: bool

    @staticmethod
    def of(scenario: Scenario) -> _Ways:
        """Return those of a scenario."""
        file, flying = scenario.field_file, scenario.flying
        heading = None if file is None or file.heading is None else math.radians(file.heading)
        passes, corner = (0, False) if file is None else (file.headland_passes, file.landing_zone == "nearest corner")
        return _Ways(heading, passes, corner, flying.visual_range, flying.landing_zone == "follows")


class _Ground(NamedTuple):
    """A field's path for each swath, from the finest on, its outline, and where is landed."""

    paths: tuple[FieldPath, ...]
    outline: tuple[tuple[tuple[float, float], ...], ...]
    stations: tuple[Station, ...]


@lru_cache(maxsize=_GROUNDS)
def _ground(
    site: FieldSite,
    swaths_m: tuple[float, ...],
    ways: _Ways,
    yard_m: tuple[float, float] | None,
    ferrying: Ferrying,
    rate: float,
) -> _Ground:
    """Return a field's ground; equipment sets on the same fields share it."""
    if site.polygon is None:
        swaths = [plan_rectangle(site.area_m2, site.length_to_width, swath_m) for swath_m in swaths_m]
    else:
        heading = best_heading_rad(site.polygon, swaths_m[0]) if ways.heading is None else ways.heading
        swaths = [
            plan_polygon(site.polygon, swath_m, heading, headland_passes=ways.headland_passes) for swath_m in swaths_m
        ]
    # the covered area of a field is that of its widest swath for every one: they differ by slivers left out
    area_m2 = swaths[-1].area_total_m2
    stations = _stations(site, swaths[0], ways, yard_m, ferrying, rate)
    zones = [(one.area_from_m2, one.x_m, one.y_m) for one in stations]
    paths = tuple(FieldPath(plan, zones, site.ferry_distance_m, area_m2) for plan in swaths)
    outline = tuple(tuple(map(tuple, ring.tolist())) for ring in swaths[-1].outline)
    return _Ground(paths, outline, (*stations[:-1], stations[-1]._replace(area_to_m2=area_m2)))


def _stations(
    site: FieldSite,
    plan: SwathPlan,
    ways: _Ways,
    yard_m: tuple[float, float] | None,
    ferrying: Ferrying,
    rate: float,
) -> list[Station]:
    """Return where a field is worked from, cut on its finest swath."""
    zone = site.landing_zone_m or (nearest_corner(plan, yard_m) if ways.nearest_corner else best_zone(plan))
    whole = Station(0.0, plan.area_total_m2, *zone)
    if site.ferry_distance_m is not None:
        return [whole]
    stretches = [whole] if ways.visual_range_m is None else relocations(plan, zone, ways.visual_range_m)
    if ways.follows:
        ferry_s_per_m = 2.0 * plan.area_total_m2 * rate / ferrying.load / ferrying.speed_m_per_s
        stretches = following(plan, stretches, ferry_s_per_m, ferrying.shift_s)
    return stretches


def _rate(scenario: Scenario, site: FieldSite) -> float:
    if scenario.product.kind == "granules":
        return float(site.dry_rate or scenario.product.dry_rate or 0.0)
    return float(site.rate or scenario.product.rate or 0.0)


def _geography(scenario: Scenario, fields: FieldList, plans: list[FieldPlan], swath_m: float) -> Geography:
    route = scenario.route
    detour = route.detour_factor if route.roads is None else DETOUR_FACTORS[route.roads]
    drive = _drive_m(fields, detour, route.between_field_distance, scenario.yard.drive_distance)
    located = fields.drive_m is not None or all(site.location_m is not None for site in fields.sites)
    return Geography(_order(scenario, drive, located, plans, swath_m), drive, fields.yard_m)


@lru_cache(maxsize=2)
def _drive_m(fields: FieldList, detour: float, between_m: float, yard_m: float) -> NDArray[np.float64]:
    """Return the table of road distances, yard first; equipment sets on the same fields share it: it may be large."""
    if fields.drive_m is not None:
        drive = np.array(fields.drive_m)
    else:
        sites = fields.sites
        drive = np.zeros((len(sites) + 1, len(sites) + 1))
        if all(site.location_m is not None for site in sites):
            east_m, north_m = np.array([site.location_m for site in sites]).T
            away_m = np.subtract.outer(east_m, east_m)
            drive[1:, 1:] = np.hypot(away_m, np.subtract.outer(north_m, north_m), out=away_m)
            drive[1:, 1:] *= detour
            if fields.yard_m is not None:
                drive[0, 1:] = np.hypot(east_m - fields.yard_m[0], north_m - fields.yard_m[1]) * detour
                drive[1:, 0] = drive[0, 1:]
            else:
                drive[0, 1:] = drive[1:, 0] = yard_m
            for index, site in enumerate(sites, start=1):
                if site.drive_distance_m is not None:
                    drive[1:, index] = site.drive_distance_m
        else:
            drive[:, 1:] = [between_m if site.drive_distance_m is None else site.drive_distance_m for site in sites]
            drive[0, 1:] = drive[1:, 0] = yard_m
    np.fill_diagonal(drive, 0.0)
    drive.flags.writeable = False
    return drive


def _order(
    scenario: Scenario, drive: NDArray[np.float64], located: bool, plans: list[FieldPlan], swath_m: float
) -> tuple[int, ...]:
    """Return the order of the visits; as given where nothing says which is better."""
    given = tuple(range(len(plans)))
    windowed = any(math.isfinite(plan.open_from_s) or math.isfinite(plan.open_until_s) for plan in plans)
    if scenario.route.order == "as given" or len(plans) < 2 or not (windowed or located):
        return given
    # by distance and name first, so that the order of the tables decides nothing where distances are equal
    named = sorted(given, key=lambda place: (drive[0, place + 1], plans[place].name))
    stops = [0, *(place + 1 for place in named)]
    table = drive[np.ix_(stops, stops)]
    if windowed:
        ordered = _windowed_order(scenario, table, [plans[place] for place in named], swath_m)
    else:
        best = scenario.route.order == "best" and len(plans) <= MOST_ORDERED
        ordered = [place - 1 for place in (order_improved(table) if best else order_nearest(table))[1:]]
    return tuple(named[place] for place in ordered)


def _windowed_order(
    scenario: Scenario, drive: NDArray[np.float64], plans: list[FieldPlan], swath_m: float
) -> list[int]:
    """Order the fields so that their time windows are met as far as can be; those that cannot be come last."""
    trailer = next(iter(scenario.rig.values())).trailer
    travel = drive / scenario.route.road_speed.mean() + trailer.pack_up_time.mean() + trailer.set_up_time.mean()
    np.fill_diagonal(travel, 0.0)
    speed = next(iter(scenario.aircraft.values())).spray_speed
    # half of the time at a field is spraying, roughly: only the order depends on it
    work = [0.0, *(2.0 * plan.area_m2 / (swath_m * speed) for plan in plans)]
    last = scenario.day.last_landing_s
    windows = {
        index + 1: (max(0.0, plan.open_from_s), min(last, plan.open_until_s))
        for index, plan in enumerate(plans)
        if max(0.0, plan.open_from_s) <= min(last, plan.open_until_s)
    }
    placed = [place - 1 for place in order_time_windows(travel, windows, work)[1:]]
    return placed + [index for index in range(len(plans)) if index not in placed]
