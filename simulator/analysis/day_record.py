"""One simulated day as a small JSON-able record: enough to draw it again, minute by minute, without the simulator.

Times are seconds from the start of the day, rounded to 0.1 s; places are metres on one common grid (x east, y north),
rounded to 0.1 m. Entities are referred to by their number in the record's own lists.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from simulator.analysis.active_period import Segment
from simulator.analysis.day_layout import Layout, field_records, lay_out
from simulator.analysis.day_rows import added_kinds
from simulator.analysis.digits import tenth
from simulator.analysis.flown_line import bundled, flown_line
from simulator.analysis.log_rows import aircraft_units, intervals, rows_by_entity
from simulator.analysis.resources import resource_names
from simulator.analysis.summary import MEASURES, momentary_bottlenecks, summarise
from simulator.operation.day import SimulatedDay
from simulator.operation.log import Kind, Reason, Row, State
from simulator.plan.aircraft import AircraftPlan
from simulator.plan.day_plan import DayPlan

VERSION = 1
"""Raised when the record's shape changes."""
MOST_POINTS = 9_000
"""Points of all flown lines together; above it passes are drawn in bundles, and the record says so."""
MOST_RESTING_FIELDS = 300
"""Fields that nobody visits are drawn only up to this many."""
YARD = -1
"""Place number of the yard."""
_TOTALS = (
    "acres", "hectares", "sorties", "loads", "pack_swaps", "charge_cycles", "generator_fuel_l", "energy_kwh", "applied",
    "mixed", "left_over", "overspray", "paid_hours", "field_hours", "moves", "drive_km", "fields_finished",
)  # fmt: skip


def day_record(plan: DayPlan, day: SimulatedDay) -> dict[str, Any]:
    """Return a day, with its whole log, as a JSON-able table; the report's `stored_schema` says what is in it."""
    log, scenario = day.log, plan.scenario
    rows = rows_by_entity(log)
    used = _fields_used(plan, day)
    layout = lay_out(plan, used)
    place = {plan.fields[index].name: number for number, index in enumerate(used)}
    names: dict[str, list[str]] = {kind: [] for kind in (*Kind, *log.kinds.values())}
    for name, kind in log.kinds.items():
        names[kind].append(name)
    number = {name: count for of_kind in names.values() for count, name in enumerate(of_kind)}
    units = {name: unit for rig in plan.rigs for name, unit in aircraft_units(rig).items()}
    packs = {name: pack for rig in plan.rigs for name, pack in rig.pack_types.items()}

    classes = {name: {"class": unit.name} for name, unit in units.items()}
    classes |= {name: {"type": pack.name} for name, pack in packs.items()}

    def each(kind: str, tell: Callable[[str], dict[str, Any]]) -> list[dict[str, Any]]:
        return [
            {"name": name, **classes.get(name, {}), "rig": number[_rig_of(name)], **tell(name)} for name in names[kind]
        ]

    record = {
        "version": VERSION,
        "equipment_set": plan.name,
        "run": day.replication,
        "work_day": day.work_day,
        "day_start_s": tenth(scenario.day.start),
        "end_s": tenth(log.paid_until_s),
        "last_landing_s": tenth(log.last_landing_s),
        "list_finished_s": None if log.list_finished_s is None else tenth(log.list_finished_s),
        "product_unit": "L" if scenario.product.kind == "liquid" else "kg",
        "layout": "given" if layout.given else "invented",
        "yard_m": [tenth(layout.yard_m[0]), tenth(layout.yard_m[1])],
        "yard_given": layout.yard_given,
        "fields": field_records(plan, used, layout),
        "fields_left_out": len(plan.fields) - len(used),
        "rigs": [
            {
                "name": name,
                "moves": _moves(plan, rows, name, place),
                "roads_m": [tenth(row.amount) for row in sorted(rows[name]) if row.reason is Reason.DRIVE],
            }
            for name in names[Kind.RIG]
        ],
        "aircraft": each(Kind.AIRCRAFT, lambda name: {"states": _aircraft_states(rows, day, name)}),
        "packs": each(
            Kind.PACK,
            lambda name: {
                "capacity_wh": tenth(packs[name].capacity_wh),
                "reserve_wh": tenth(packs[name].reserve_wh),
                "states": [[*_span(row), str(row.state)] for row in rows[name]],
                "charge": _charge_series(day, rows, names[Kind.CHARGER], name),
            },
        ),
        "chargers": each(
            Kind.CHARGER,
            lambda name: {
                "power": number[name.rsplit("/", 1)[0]],
                "sessions": [[*_span(row), number[row.field], tenth(row.amount)] for row in rows[name]],
            },
        ),
        "power": each(Kind.POWER, lambda name: _power(plan, rows, name)),
        "people": each(
            Kind.PERSON,
            lambda name: {"tasks": [[*_span(row), str(row.reason), row.field] for row in intervals(rows[name])]},
        ),
        "supplies": each(
            Kind.SUPPLY,
            lambda name: {"tasks": [[*_span(row), str(row.reason), tenth(row.amount)] for row in rows[name]]},
        ),
        "weather": [[*_span(row), str(row.reason)] for name in names[Kind.WEATHER] for row in rows[name]],
        "sorties": _sorties(plan, day, units, layout, place, number),
        "bottleneck": _bottleneck(day),
        "totals": _totals(plan, day),
    }
    classes_in_file: tuple[Mapping[str, Any], ...] = (scenario.aircraft, scenario.pack, scenario.charger)
    record["labels"] = {name: one.label for table in classes_in_file for name, one in table.items() if one.label}
    added = added_kinds()
    if added:
        record["resources"] = list(resource_names())
        record["others"] = [
            {"name": name, "kind": one.kind, "states": _states(rows[name])}
            for one in added
            for name in names.get(one.kind, ())
        ]
    return record


def _span(row: Row | Segment) -> list[float]:
    return [tenth(row.start_s), tenth(row.end_s)]


def _rig_of(entity: str) -> str:
    return entity.split("/", 1)[0]


def _fields_used(plan: DayPlan, day: SimulatedDay) -> list[int]:
    """Return the fields to draw, in the list's order: all that were visited, and a limited number of others."""
    visited = {row.field for row in day.log.rows if row.field} | {sortie.field for sortie in day.log.sorties}
    resting = [index for index, field in enumerate(plan.fields) if field.name not in visited]
    dropped = set(resting[MOST_RESTING_FIELDS:])
    return [index for index in range(len(plan.fields)) if index not in dropped]


def _moves(plan: DayPlan, rows: dict[str, list[Row]], rig: str, place: dict[str, int]) -> list[list[Any]]:
    """Return a rig's stages: start, end, what, from place, to place (equal unless it drives)."""
    stages = sorted(rows[rig])
    seen = sorted(
        (row.start_s, row.field)
        for name, its in rows.items()
        if _rig_of(name) == rig
        for row in its
        if row.field in place
    )
    at = YARD
    moves: list[list[Any]] = []
    for count, stage in enumerate(stages):
        goal = at
        if stage.reason is Reason.DRIVE:
            until = next((later.start_s for later in stages[count + 1 :] if later.reason is Reason.DRIVE), None)
            if until is None:
                goal = YARD
            else:
                here = next((name for start, name in seen if stage.end_s <= start < until), None)
                goal = place[here] if here is not None else _unseen_goal(plan, place, at, stage.amount)
        moves.append([*_span(stage), str(stage.reason), at, goal])
        at = goal
    return moves


def _unseen_goal(plan: DayPlan, place: dict[str, int], at: int, distance_m: float) -> int:
    """Return the field that a rig reached too late to fly: the log does not name it, but the distance tells."""
    origin = None if at == YARD else next(i for i, field in enumerate(plan.fields) if place.get(field.name) == at)
    fitting = [
        place[plan.fields[index].name]
        for index in plan.geography.order
        if plan.fields[index].name in place
        and index != origin
        and abs(plan.geography.distance_m(origin, index) - distance_m) < 1e-6
    ]
    return next((goal for goal in fitting if goal > at), fitting[0] if fitting else at)


def _aircraft_states(rows: dict[str, list[Row]], day: SimulatedDay, name: str) -> list[list[Any]]:
    """Return start, end, state and reason; a whole flight is one interval with state "flight"."""
    flights = [
        Row(one.start_s, one.end_s, name, "flight", "", one.field, 0.0)
        for one in day.log.sorties
        if one.aircraft == name
    ]
    return _states([*rows[name], *flights])


def _states(rows: list[Row]) -> list[list[Any]]:
    """Return start, end, state and reason of every interval that lasts, in order of time."""
    return [[*_span(row), str(row.state), str(row.reason)] for row in intervals(rows)]


def _charge_series(day: SimulatedDay, rows: dict[str, list[Row]], chargers: list[str], pack: str) -> list[list[float]]:
    """Return (time, Wh) points of a pack: straight lines between them follow its charge."""
    held = next(end.pack_start_wh[pack] for end in day.ends if end.name == _rig_of(pack))
    changes = [(one.start_s, one.end_s, -one.energy_wh) for one in day.log.sorties if one.pack == pack]
    for charger in chargers:
        changes += [(row.start_s, row.end_s, row.amount) for row in rows[charger] if row.field == pack]
    points = [(0.0, held)]
    for start, end, change_wh in sorted(changes):
        points.append((start, held))
        held += change_wh
        points.append((end, held))
    points.append((day.log.paid_until_s, held))
    return [[tenth(time), tenth(energy)] for time, energy in dict.fromkeys(points)]


def _power(plan: DayPlan, rows: dict[str, list[Row]], name: str) -> dict[str, Any]:
    """Return what a power point can give, its mean load (kW) over each interval, and its stops."""
    point = next(point for rig in plan.rigs for point in rig.power if f"{rig.name}/{point.name}" == name)
    loads, stops = [], []
    for row in intervals(rows[name]):
        if row.state is State.RUN:
            loads.append([*_span(row), round(row.amount * 3.6 / (row.end_s - row.start_s), 3)])
        else:
            stops.append([*_span(row), str(row.reason)])
    return {
        "kind": "grid" if point.generator is None else "generator",
        "capacity_kw": round(point.capacity_w / 1000.0, 3),
        "load_kw": loads,
        "stops": stops,
    }


def _sorties(
    plan: DayPlan,
    day: SimulatedDay,
    units: dict[str, AircraftPlan],
    layout: Layout,
    place: dict[str, int],
    number: dict[str, int],
) -> list[dict[str, Any]]:
    index_of = {field.name: index for index, field in enumerate(plan.fields)}
    sorties, lines, covers = sorted(day.log.sorties), [], []
    finest = min(units.values(), key=lambda one: one.swath_m)
    for sortie in sorties:
        unit, index = units[sortie.aircraft], index_of[sortie.field]
        speed = unit.ferry_speed_m_per_s
        lines.append(flown_line(sortie, plan.profiles[unit.name, index], speed))
        # stretches are shared out by area: passes of several swaths lie side by side without gaps on one path alone
        finer = unit.swath_m > finest.swath_m
        covers.append(flown_line(sortie, plan.profiles[finest.name, index], speed) if finer else None)
    bundle = -(-sum(len(line) for line in lines) // MOST_POINTS)
    records = []
    for sortie, line, cover in zip(sorties, lines, covers, strict=True):
        field = place[sortie.field]
        shift_x, shift_y = layout.shift_m[field]
        kept = bundled(line, bundle)
        records.append(
            {
                "start_s": tenth(sortie.start_s),
                "end_s": tenth(sortie.end_s),
                "aircraft": number[sortie.aircraft],
                "pack": number[sortie.pack],
                "field": field,
                "visit": sortie.visit,
                "seconds": [tenth(length) for length in sortie[7:13]],
                "area_m2": tenth(sortie.area_to_m2 - sortie.area_from_m2),
                "applied": round(sortie.applied, 2),
                "energy_wh": tenth(sortie.energy_wh),
                "swath_m": round(units[sortie.aircraft].swath_m, 2),
                "line": {
                    "t_s": [tenth(point.time_s) for point in kept],
                    "x_m": [tenth(point.x_m + shift_x) for point in kept],
                    "y_m": [tenth(point.y_m + shift_y) for point in kept],
                    "on": "".join("1" if point.spraying else "0" for point in kept),
                },
                "passes_in_one": bundle,
            }
        )
        if cover is not None:
            strips = bundled(cover, bundle)
            ends = [point for k, one in enumerate(strips) if one.spraying for point in strips[k : k + 2]]
            records[-1]["cover"] = {
                "swath_m": round(finest.swath_m, 2),
                "x_m": [tenth(point.x_m + shift_x) for point in ends],
                "y_m": [tenth(point.y_m + shift_y) for point in ends],
            }
    return records


def _bottleneck(day: SimulatedDay) -> list[list[Any]]:
    """Return start, end, resource number and the number of the one that takes over (or the same)."""
    segments, _, owner = momentary_bottlenecks(day)
    number = {name: place for place, name in enumerate(resource_names())}
    merged: list[list[Any]] = []
    for segment in segments:
        first = number[owner[segment.resource]]
        other = segment.shifting_with.split(" & ")[-1] if segment.shifting_with else segment.resource
        second = number[owner[other]]
        start, end = _span(segment)
        if end <= start:
            continue
        if merged and merged[-1][1] == start and merged[-1][2:] == [first, second]:
            merged[-1][1] = end
        else:
            merged.append([start, end, first, second])
    return merged


def _totals(plan: DayPlan, day: SimulatedDay) -> dict[str, float]:
    row = summarise(plan, day, active_period=False)
    return {name: round(float(row[MEASURES.index(name)]), 3) for name in _TOTALS}
