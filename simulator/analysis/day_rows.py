"""One day's log as plain records, entity by entity, with every flight in its single passes and turns."""

from __future__ import annotations

from typing import NamedTuple

from simulator.analysis.flown_line import flown_passes
from simulator.analysis.log_rows import aircraft_units, rows_by_entity, sortie_rows
from simulator.analysis.resources import Resource, resources
from simulator.operation.day import SimulatedDay
from simulator.operation.log import Kind, Reason, Row, Sortie, State
from simulator.plan.day_plan import DayPlan
from simulator.plan.fields import WorkProfile

_OWN = frozenset(Kind)


class Interval(NamedTuple):
    """One interval of one entity, in plain words; ``unit`` is that of the amount, empty where it has no meaning."""

    start_s: float
    end_s: float
    entity: str
    kind: str
    state: str
    reason: str
    field: str
    amount: float
    unit: str


def day_rows(plan: DayPlan, day: SimulatedDay) -> list[Interval]:
    """Return all intervals of a day in order of time."""
    log, rows = day.log, rows_by_entity(day.log)
    units = {name: unit for rig in plan.rigs for name, unit in aircraft_units(rig).items()}
    numbers = {one.name: place for place, one in enumerate(plan.fields)}
    for sortie in log.sorties:
        unit = units[sortie.aircraft]
        profile = plan.profiles[unit.name, numbers[sortie.field]]
        rows[sortie.aircraft] += expanded_sortie(sortie, profile, unit.ferry_speed_m_per_s)
    product = "L" if plan.scenario.product.kind == "liquid" else "kg"
    order = {name: place for place, name in enumerate(log.kinds)}
    every = sorted((row for own in rows.values() for row in own), key=lambda row: (row[0], order[row.entity], row[1]))
    return [_interval(log.kinds[row.entity], row, product) for row in every]


def _interval(kind: str, row: Row, product: str) -> Interval:
    start_s, end_s, entity, state, reason, field, amount = row
    unit = ""
    if kind == Kind.AIRCRAFT:
        unit = "m2" if state == State.WORK else product if reason == Reason.FILL else ""
    elif kind == Kind.SUPPLY:
        unit = product if reason in (Reason.MIX, Reason.RESTOCK) else ""
    elif kind == Kind.POWER:
        unit = "L" if reason == Reason.REFUEL else "Wh" if state == State.RUN else ""
    elif kind == Kind.CHARGER:
        unit = "Wh"
    elif kind == Kind.RIG and reason == Reason.DRIVE:
        unit = "m"
    return Interval(start_s, end_s, entity, str(kind), str(state), str(reason), field, amount, unit)


def expanded_sortie(sortie: Sortie, profile: WorkProfile, ferry_speed_m_per_s: float) -> list[Row]:
    """Return a flight as rows in true order: take-off, ferry, each pass and the turn after it, ferry, landing."""
    flight, totals = sortie_rows(sortie), profile.path.cumulative_m2
    passes = flown_passes(sortie, profile, ferry_speed_m_per_s, sortie.start_s)
    if len(passes) < 2 or sortie.path_m <= 0.0:
        return flight
    areas_m2 = [(one.to_part - one.from_part) * (totals[one.place + 1] - totals[one.place]) for one in passes]
    scale = (sortie.area_to_m2 - sortie.area_from_m2) / sum(areas_m2)

    def row(start_s: float, end_s: float, state: State, amount: float) -> Row:
        return Row(start_s, end_s, sortie.aircraft, state, Reason.NONE, sortie.field, amount)

    rows = [one for one in flight if one.state in (State.TAKE_OFF, State.FERRY_OUT)]
    for place, (one, area_m2) in enumerate(zip(passes, areas_m2, strict=True)):
        rows.append(row(one.start_s, one.end_s, State.WORK, area_m2 * scale))
        if place + 1 < len(passes) and passes[place + 1].start_s > one.end_s:
            rows.append(row(one.end_s, passes[place + 1].start_s, State.TURN, 0.0))
    return rows + [one for one in flight if one.state in (State.FERRY_BACK, State.LANDING)]


def added_kinds() -> tuple[Resource, ...]:
    """Return the kinds of resource that were added to the model's own, in the order of reports."""
    return tuple(one for one in resources() if one.kind not in _OWN)
