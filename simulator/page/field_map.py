"""The fields on a map before anything is simulated: outlines, order of driving, landing zones that can be dragged."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from simulator.analysis.day_layout import lay_out
from simulator.errors import InputError
from simulator.page.edit import Change, put
from simulator.plan.day_plan import DayPlan
from simulator.report.map_figure import box_of
from simulator.report.numbers import fixed, report_units
from simulator.report.quote_fields import outlines
from simulator.scenario.boundaries import read_boundaries
from simulator.scenario.files import BOUNDARIES, ScenarioFolder
from simulator.scenario.units import M2_PER_ACRE, M_PER_FOOT, M_PER_MILE

_SCALES = {"us": (("mi", M_PER_MILE), ("ft", M_PER_FOOT)), "metric": (("km", 1000.0), ("m", 1.0))}
_MOST_NAMED = 40


@dataclass(frozen=True)
class MapField:
    """One field as it is drawn, y downwards, m."""

    place: int
    number: int
    name: str
    area: str
    path: str
    middle: tuple[float, float]
    zone: tuple[float, float]


@dataclass(frozen=True)
class FieldMap:
    """A map: what is seen of the grid, the fields, the yard, the drives in their order, and a scale."""

    box: tuple[float, float, float, float]
    mark: float
    """Size of marks, m."""
    fields: Sequence[MapField]
    yard: tuple[float, float] | None
    drives: str
    scale_m: float
    scale: str
    words: str


def field_map(plan: DayPlan) -> FieldMap:
    """Return the map of a plan's fields."""
    drawn, words = outlines(plan)
    shown = report_units(plan.scenario.units)
    layout = lay_out(plan, range(len(drawn)))
    left, bottom, right, top = box_of([ring for one in drawn for ring in one["rings"]])
    yard = (layout.yard_m[0], -layout.yard_m[1]) if layout.yard_given else None
    if yard is not None:
        left, right = min(left, yard[0]), max(right, yard[0])
        bottom, top = min(bottom, -yard[1]), max(top, -yard[1])
    size = max(right - left, top - bottom, 1.0)
    edge = 0.03 * size
    order = {place: number for number, place in enumerate(plan.geography.order, 1)}
    fields = [_map_field(place, order.get(place, place + 1), one, shown) for place, one in enumerate(drawn)]
    by_number = sorted(fields, key=lambda one: one.number)
    stops = [*([yard] if yard else []), *(one.middle for one in by_number), *([yard] if yard else [])]
    scale_m, scale = _scale(0.3 * size, plan.scenario.units)
    return FieldMap(
        (left - edge, -top - edge, right - left + 2 * edge, top - bottom + 3 * edge),
        0.012 * size,
        fields,
        yard,
        " ".join(f"{x:.1f},{y:.1f}" for x, y in stops) if layout.given else "",
        scale_m,
        scale,
        words,
    )


def _map_field(place: int, number: int, one: Mapping[str, Any], shown: Any) -> MapField:
    left, bottom, right, top = box_of(one["rings"])
    path = " ".join("M" + " L".join(f"{x:.1f},{-y:.1f}" for x, y in ring) + "Z" for ring in one["rings"])
    area = f"{fixed(one['area_m2'] / M2_PER_ACRE * shown.per_acre, 1)} {shown.area}"
    middle, zone = (0.5 * (left + right), -0.5 * (bottom + top)), (one["zone_m"][0], -one["zone_m"][1])
    return MapField(place, number, str(one["name"]), area, path, middle, zone)


def _scale(longest_m: float, units: str) -> tuple[float, str]:
    """Return the length of a scale bar, m, and its words."""
    for unit, length_m in _SCALES[units]:
        steps = [step * 10**power for power in range(-1, 4) for step in (1, 2, 5)]
        fitting = [step for step in steps if step * length_m <= longest_m and (step >= 1 or unit in ("mi", "km"))]
        if fitting and fitting[-1] >= 0.2:
            return fitting[-1] * length_m, f"{fitting[-1]:g} {unit}"
    return longest_m, f"{longest_m:.0f} m"


def move_zone(plan: DayPlan, folder: ScenarioFolder, place: int, x: float, y: float) -> list[Change]:
    """Return the changes that put the landing zone of a field where it was dragged to on the map, y downwards."""
    drawn, _ = outlines(plan)
    if not 0 <= place < len(drawn):
        raise InputError.single(f"got field {place + 1}; allowed is a field on the map")
    layout = lay_out(plan, range(len(drawn)))
    shift_x, shift_y = layout.shift_m[place]
    across, along = x - shift_x, -y - shift_y
    declared = plan.scenario.field_file
    if declared is not None:
        file = read_boundaries(folder.file(declared.path, BOUNDARIES), smallest_m2=declared.smallest)
        return [put(("field_file", "landing_zones", plan.fields[place].name), list(file.from_grid(across, along)))]
    rows = [row for row, entry in enumerate(plan.scenario.field) for _ in range(entry.count)]
    return [put(("field", rows[place], "landing_zone"), [f"{across:.0f} m", f"{along:.0f} m"])]
