"""One day's log as one row of numbers: output, time by state and reason, utilisation, momentary bottleneck."""

from __future__ import annotations

import math
from collections import defaultdict
from functools import cache

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.active_period import Segment, Span, momentary_bottleneck
from simulator.analysis.resources import Active, Resource, Rows, label, resources, time_labels
from simulator.operation.day import SimulatedDay
from simulator.operation.log import FLIGHT_STATES, Kind, Reason, Row, State
from simulator.plan.day_plan import DayPlan
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE

MEASURES = (
    "area_m2", "acres", "hectares", "field_hours", "paid_hours", "crew_hours", "aircraft_hours", "sorties", "loads",
    "pack_swaps", "charge_cycles", "generator_fuel_l", "energy_kwh", "pack_energy_kwh", "flown_energy_kwh", "applied",
    "mixed", "left_over", "overspray", "water_fetched_l", "moves", "drive_km", "fields_finished", "finish_hour",
    "last_landing_hour", "out_of_reach_acres", "loads_per_charge", "landing_charge_share", "work_days", "days_out",
    "job_done", "job_acres", "full_day", "full_day_acres",
)  # fmt: skip
"""Measures of a day, and then of a run; ``applied``, ``mixed``, ``left_over`` and ``overspray`` (what falls outside the
field or twice, of what is applied) are litres of mix, or kilograms of granules.
"""

RowKey = tuple[str, str, str]
"""Kind, state and reason of a row."""
_STORED = Rows(Kind.CHARGER)
_MOVING = Rows(Kind.RIG, (State.MOVE,))
_DRIVES = Rows(Kind.RIG, (State.MOVE,), (Reason.DRIVE,))


class _Columns:
    """What a row of numbers holds, and which rows of a log go where, while the same resources are registered."""

    def __init__(self, registered: tuple[Resource, ...]) -> None:
        self.names: tuple[str, ...] = (
            *MEASURES,
            *(f"time_s/{one}" for one in time_labels()),
            *(f"utilisation/{resource.name}" for resource in registered),
            *(f"active_share/{resource.name}" for resource in registered),
        )
        self.place = {name: place for place, name in enumerate(self.names)}
        # several resources may count the same rows
        self.number = {
            rows: number
            for number, rows in enumerate(
                dict.fromkeys([_STORED, _MOVING, _DRIVES, *(resource.busy for resource in registered)])
            )
        }
        self.active = [(resource.name, active) for resource in registered for active in resource.when_active]
        self._sums: dict[RowKey, list[int]] = {}
        self._active: dict[RowKey, list[tuple[str, Active]]] = {}

    def sums_of(self, key: RowKey) -> list[int]:
        """Return the numbers of the sums that a row of some kind, state and reason goes into."""
        found = self._sums.get(key)
        if found is None:
            found = self._sums[key] = [number for rows, number in self.number.items() if rows.hold(*key)]
        return found

    def active_of(self, key: RowKey) -> list[tuple[str, Active]]:
        """Return which resources a row of some kind, state and reason shows at work."""
        found = self._active.get(key)
        if found is None:
            found = self._active[key] = [(name, active) for name, active in self.active if active.rows.hold(*key)]
        return found


@cache
def _columns(registered: tuple[Resource, ...]) -> _Columns:
    return _Columns(registered)


def columns() -> tuple[str, ...]:
    """Return the names of a row's numbers: measures, aircraft seconds by label, and shares of each resource."""
    return _columns(resources()).names


def place_of(column: str) -> int:
    """Return where a number stands in a row."""
    return _columns(resources()).place[column]


def summarise(plan: DayPlan, day: SimulatedDay, active_period: bool = True) -> NDArray[np.float64]:
    """Return one day as a row of numbers in the order of `columns`; NaN where a measure has no value that day."""
    place = _columns(resources()).place
    row = np.full(len(place), math.nan)
    sums = _Sums(day)
    row[len(MEASURES) : len(MEASURES) + len(time_labels())] = 0.0
    for name, seconds in sums.times.items():
        row[place[f"time_s/{name}"]] = seconds
    row[: len(MEASURES)] = list(_measures(plan, day, sums).values())
    for name, value in _utilisation(plan, day, sums).items():
        row[place[f"utilisation/{name}"]] = value
    if active_period:
        for name, value in active_period_share(day).items():
            row[place[f"active_share/{name}"]] = value
    return row


class _Sums:
    """What one pass over a day's rows adds up."""

    __slots__ = ("_number", "_sums", "times")

    def __init__(self, day: SimulatedDay) -> None:
        columns, kinds = _columns(resources()), day.log.kinds
        self._number = columns.number
        self._sums = [[0.0, 0.0, 0.0] for _ in columns.number]
        spent: dict[tuple[str, str], float] = defaultdict(float)
        for start, end, entity, state, reason, _, amount in day.log.rows:
            kind = kinds[entity]
            span = end - start
            if kind == Kind.AIRCRAFT:
                if span > 0.0:
                    spent[state, reason] += span
                continue
            for number in columns.sums_of((kind, state, reason)):
                one = self._sums[number]
                one[0] += span
                one[1] += amount
                one[2] += 1.0
        self.times: dict[str, float] = defaultdict(float)
        for (state, reason), seconds in spent.items():
            self.times[label(state, reason)] += seconds
        if day.log.sorties:
            for flown, column in zip(FLIGHT_STATES, list(zip(*day.log.sorties, strict=True))[7:13], strict=True):
                self.times[flown.value] += sum(column)

    def of(self, rows: Rows) -> list[float]:
        """Return seconds, amounts and number of some rows of the day."""
        return self._sums[self._number[rows]]


def _measures(plan: DayPlan, day: SimulatedDay, sums: _Sums) -> dict[str, float]:
    log, sorties, ends = day.log, day.log.sorties, day.ends
    area = sum(sortie.area_to_m2 - sortie.area_from_m2 for sortie in sorties)
    paid_s = sum(end.paid_until_s for end in ends)
    people = {rig.name: rig.rig.crew.pilots + rig.rig.crew.helpers for rig in plan.rigs}
    done: dict[tuple[str, int], float] = defaultdict(float)
    for sortie in sorties:
        done[sortie.field, sortie.visit] += sortie.area_to_m2 - sortie.area_from_m2
    areas = {field.name: field.area_m2 for field in plan.fields}
    rates = {field.name: field.rate for field in plan.fields}
    on_area = [rates[one.field] * (one.area_to_m2 - one.area_from_m2) for one in sorties]
    finished = sum(1 for (name, _), flown in done.items() if flown >= areas[name] * (1 - 1e-9))
    capacity_wh = {name: pack.capacity_wh for rig in plan.rigs for name, pack in rig.pack_types.items()}
    landings = [(one.charge_before_wh - one.energy_wh) / capacity_wh[one.pack] for one in sorties]
    swaps = sum(end.pack_swaps for end in ends)
    aircraft = sum(number for rig in plan.rigs for _, number in rig.aircraft)
    _, drive_m, drives = sums.of(_DRIVES)
    return {
        "area_m2": area,
        "acres": area / M2_PER_ACRE,
        "hectares": area / M2_PER_HECTARE,
        "field_hours": (paid_s - sums.of(_MOVING)[0]) / 3600.0,
        "paid_hours": paid_s / 3600.0,
        "crew_hours": sum(end.paid_until_s * people[end.name] for end in ends) / 3600.0,
        "aircraft_hours": sum(sums.times.values()) / 3600.0,
        "sorties": float(len(sorties)),
        "loads": float(sum(end.loads for end in ends)),
        "pack_swaps": float(swaps),
        "charge_cycles": float(sum(end.charge_cycles for end in ends)),
        "generator_fuel_l": sum(end.fuel_burnt_l for end in ends),
        "energy_kwh": sum(end.bus_wh for end in ends) / 1000.0,
        "pack_energy_kwh": sums.of(_STORED)[1] / 1000.0,
        "flown_energy_kwh": sum(sortie.energy_wh for sortie in sorties) / 1000.0,
        "applied": sum(sortie.applied for sortie in sorties),
        "mixed": sum(end.product_start + end.product_made for end in ends),
        "left_over": sum(end.product_in_tank + end.product_on_aircraft + end.product_thrown for end in ends),
        "overspray": max(0.0, sum(one.applied - once for one, once in zip(sorties, on_area, strict=True))),
        "water_fetched_l": sum(end.water_fetched_l for end in ends),
        "moves": drives,
        "drive_km": drive_m / 1000.0,
        "fields_finished": float(finished),
        "finish_hour": math.nan if log.list_finished_s is None else log.list_finished_s / 3600.0,
        "last_landing_hour": log.last_landing_s / 3600.0 if sorties else math.nan,
        "out_of_reach_acres": sum(end.out_of_reach_m2 for end in ends) / M2_PER_ACRE,
        "loads_per_charge": len(sorties) / (swaps + aircraft),
        "landing_charge_share": sum(landings) / len(landings) if landings else math.nan,
        "work_days": 1.0,
        "days_out": 1.0,
        "job_done": float(log.list_finished_s is not None),
        "job_acres": area / M2_PER_ACRE,
        "full_day": 1.0,
        "full_day_acres": area / M2_PER_ACRE,
    }


def _utilisation(plan: DayPlan, day: SimulatedDay, sums: _Sums) -> dict[str, float]:
    """Return busy time over the time there was, over all of a kind and the paid day, by resource."""
    paid = {end.name: end.paid_until_s for end in day.ends}
    held: dict[str, float] = defaultdict(float)
    for entity, kind in day.log.kinds.items():
        held[kind] += paid.get(entity.split("/", 1)[0], day.log.paid_until_s)
    shares: dict[str, float] = {}
    for resource in resources():
        busy = resource.busy
        if busy.kind == Kind.AIRCRAFT:
            part = sum(seconds for name, seconds in sums.times.items() if name.partition(": ")[0] in busy.states)
            shares[resource.name] = _share(part, sum(sums.times.values()))
        elif resource.capacity is not None:
            shares[resource.name] = _share(sums.of(busy)[1], resource.capacity(plan, paid))
        else:
            shares[resource.name] = _share(sums.of(busy)[0], held[resource.kind])
    return shares


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0 else 0.0


def active_intervals(day: SimulatedDay) -> dict[str, dict[str, list[Span]]]:
    """Return, by resource and then by entity, when it was active: not starved, not blocked, not waiting."""
    columns, kinds = _columns(resources()), day.log.kinds
    active: dict[str, dict[str, list[Span]]] = {resource.name: {} for resource in resources()}
    cuts: dict[Rows, dict[str, list[Span]]] = {
        one.without[0]: defaultdict(list) for _, one in columns.active if one.without is not None
    }
    for rows, found in cuts.items():
        for row in day.log.rows:
            if rows.hold(kinds[row.entity], row.state, row.reason):
                found[row.entity].append((row.start_s, row.end_s))

    def add(row: Row) -> None:
        for name, one in columns.active_of((kinds[row.entity], row.state, row.reason)):
            spans = [(row.start_s, row.end_s)]
            if one.without is not None:
                spans = _without(spans[0], cuts[one.without[0]][one.without[1](row)])
            if spans:
                entity = row.entity if one.entity is None else one.entity(row)
                active[name].setdefault(entity, []).extend(spans)

    for row in day.log.rows:
        if row.end_s > row.start_s:
            add(row)
    for sortie in day.log.sorties:
        add(Row(sortie.start_s, sortie.end_s, sortie.aircraft, State.WORK, Reason.NONE, sortie.field, 0.0))
    return active


def _without(span: tuple[float, float], cuts: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """Return what is left of a span without the stretches cut out of it, which are in order."""
    at, end = span
    left = []
    for start, finish in cuts:
        if finish <= at or start >= end:
            continue
        if start > at:
            left.append((at, start))
        at = max(at, finish)
    if at < end:
        left.append((at, end))
    return left


def active_period_share(day: SimulatedDay) -> dict[str, float]:
    """Return each resource's share of the day as momentary bottleneck; see `simulator.analysis.active_period`."""
    _, held, owner = momentary_bottlenecks(day)
    shares = dict.fromkeys([resource.name for resource in resources()], 0.0)
    for entity, share in held.items():
        shares[owner[entity]] += share
    return shares


def momentary_bottlenecks(day: SimulatedDay) -> tuple[list[Segment], dict[str, float], dict[str, str]]:
    """Return which entity was the momentary bottleneck when, for which share of the day, and its resource."""
    active = active_intervals(day)
    owner = {entity: resource for resource, entities in active.items() for entity in entities}
    flat = {entity: spans for entities in active.values() for entity, spans in entities.items()}
    segments, held = momentary_bottleneck(flat, 0.0, day.log.paid_until_s)
    return segments, held, owner
