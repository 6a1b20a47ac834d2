"""The fields on a map before anything is simulated: outlines, order of driving, landing zones that can be dragged."""

from __future__ import annotations

from typing import Any

from simulator.analysis.day_layout import lay_out
from simulator.analysis.digits import fixed
from simulator.errors import InputError
from simulator.page.edit import Change, put
from simulator.plan.day_plan import DayPlan
from simulator.report.map_figure import box_of, scale_of
from simulator.report.numbers import report_units
from simulator.report.quote_fields import outlines
from simulator.scenario.boundaries import read_boundaries
from simulator.scenario.files import BOUNDARIES, ScenarioFolder
from simulator.scenario.units import M2_PER_ACRE


def field_map(plan: DayPlan) -> dict[str, Any]:
    """Return what is drawn of a plan's fields, by the names that the template knows it by; m, y downwards."""
    drawn, words = outlines(plan)
    shown, layout = report_units(plan.scenario.units), lay_out(plan, range(len(drawn)))
    yard = (layout.yard_m[0], -layout.yard_m[1]) if layout.yard_given else None
    seen = [ring for one in drawn for ring in one["rings"]] + ([[layout.yard_m]] if yard else [])
    left, bottom, right, top = box_of(seen)
    size = max(right - left, top - bottom, 1.0)
    edge, order = 0.03 * size, {place: number for number, place in enumerate(plan.geography.order, 1)}
    fields = []
    for place, one in enumerate(drawn):
        west, south, east, north = box_of(one["rings"])
        paths = ("M" + " L".join(f"{x:.1f},{-y:.1f}" for x, y in ring) + "Z" for ring in one["rings"])
        fields.append({
            "place": place, "number": order.get(place, place + 1), "name": one["name"], "path": " ".join(paths),
            "area": f"{fixed(one['area_m2'] / M2_PER_ACRE * shown.per_acre, 1)} {shown.area}",
            "middle": (0.5 * (west + east), -0.5 * (south + north)), "zone": (one["zone_m"][0], -one["zone_m"][1]),
        })  # fmt: skip
    stops = [one["middle"] for one in sorted(fields, key=lambda one: one["number"])]
    stops = [yard, *stops, yard] if yard else stops
    scale_m, scale = scale_of(shown, size)
    return {
        "box": (left - edge, -top - edge, right - left + 2 * edge, top - bottom + 3 * edge), "mark": 0.012 * size,
        "fields": fields, "yard": yard, "scale_m": scale_m, "scale": scale, "words": words,
        "drives": " ".join(f"{x:.1f},{y:.1f}" for x, y in stops) if layout.given else "",
    }  # fmt: skip


def move_zone(plan: DayPlan, folder: ScenarioFolder, place: int, x: float, y: float) -> list[Change]:
    """Return the changes that put the landing zone of a field where it was dragged to on the map."""
    count = len(outlines(plan)[0])
    if not 0 <= place < count:
        raise InputError.single(f"got field {place + 1}; allowed is a field on the map")
    shift_x, shift_y = lay_out(plan, range(count)).shift_m[place]
    across, along, declared = x - shift_x, -y - shift_y, plan.scenario.field_file
    if declared is not None:
        file = read_boundaries(folder.file(declared.path, BOUNDARIES), smallest_m2=declared.smallest)
        return [put(("field_file", "landing_zones", plan.fields[place].name), list(file.from_grid(across, along)))]
    rows = [row for row, entry in enumerate(plan.scenario.field) for _ in range(entry.count)]
    return [put(("field", rows[place], "landing_zone"), [f"{across:.0f} m", f"{along:.0f} m"])]
