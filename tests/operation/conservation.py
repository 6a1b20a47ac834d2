"""Conservation laws that every simulated day must obey, checked from its log alone.

The checks know the plan and the log, not the model: they re-add what was logged (minutes, square metres, litres,
watt-hours, people) and say what does not add up. A violation is a fault of the model, never of the user.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from conservation_energy import charger_and_bus, fuel_and_bus, pack_energy
from conservation_parts import (
    SHARE,
    TIME_S,
    RigDay,
    differ,
    find_gaps,
    find_overlaps,
    peak,
    people_of,
)  # fmt: skip

from simulator.analysis.log_rows import aircraft_units, intervals, rows_by_entity, sortie_rows
from simulator.analysis.resources import resources
from simulator.errors import AcredayError
from simulator.operation.log import Kind, Reason, Row, Sortie, State

if TYPE_CHECKING:
    from simulator.operation.day import SimulatedDay
    from simulator.plan.day_plan import DayPlan

_SHOWN = 20
"""Violations told in words."""


class ConservationError(AcredayError):
    """A simulated day broke a conservation law: a fault of the model, never of the user."""


def verify_day(plan: DayPlan, day: SimulatedDay) -> None:
    """Raise a `ConservationError` with every violation of a day, the first twenty in words."""
    refuse(violations(plan, day), day.replication)


def refuse(found: list[str], replication: int) -> None:
    """Raise a `ConservationError` that tells what was found, unless that is nothing."""
    if found:
        more = f"\n... and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
        raise ConservationError(f"replication {replication}: " + "\n".join(found[:_SHOWN]) + more)


def violations(plan: DayPlan, day: SimulatedDay) -> list[str]:
    """Return what does not add up in a day, one line a violation: entity, law, and the two numbers that differ."""
    rows = rows_by_entity(day.log)
    found = list(_states(plan, day, rows))
    for rig, end in zip(plan.rigs, day.ends, strict=True):
        units = aircraft_units(rig)
        sorties = sorted((one for one in day.log.sorties if one.aircraft in units), key=lambda one: one.start_s)
        its = RigDay(plan, rig, day, rows, sorties, end, units)
        found += [text for check in CHECKS for text in check(its)]
    return found


def _states(plan: DayPlan, day: SimulatedDay, rows: dict[str, list[Row]]) -> Iterator[str]:
    """Yield what cannot be of the states of all entities."""
    kinds = day.log.kinds
    for rig in plan.rigs:
        for names, kind in (
            (aircraft_units(rig), Kind.AIRCRAFT),
            (rig.pack_types, Kind.PACK),
            (people_of(rig), Kind.PERSON),
        ):
            yield from (f"{name}: not in the log as {kind}" for name in names if kinds.get(name) != kind)
    flown: dict[str, list[Row]] = {}
    for sortie in day.log.sorties:
        flown.setdefault(sortie.aircraft, []).extend(sortie_rows(sortie))
    described = {resource.kind: resource for resource in resources()}
    paid_s = {end.name: end.paid_until_s for end in day.ends}
    over_s = max(paid_s.values())
    for name, its_kind in kinds.items():
        resource = described.get(its_kind)
        if resource is None:
            continue
        own, home_s = [*rows[name], *flown.get(name, ())], paid_s.get(name.split("/", 1)[0], over_s)
        # a pack may go on cooling when its rig is home and others are not
        last_s = home_s if its_kind == Kind.AIRCRAFT else over_s
        strange = {row.state for row in own}.difference(resource.states)
        if strange:
            yield f"{name}: in the states {', '.join(sorted(strange))}, which are none of {resource.name}"
        if resource.gapless:
            yield from find_gaps(name, intervals(own), home_s)
        elif not resource.side_by_side:
            yield from find_overlaps(name, [(row.start_s, row.end_s) for row in own])
        for row in own:
            if row.start_s < -TIME_S or row.end_s > last_s + TIME_S:
                lasts = f"from {row.start_s:.6f} to {row.end_s:.6f} s"
                yield f"{name}: {row.state} {lasts}, outside the day to {last_s:.6f} s"


def _flown_as_told(its: RigDay) -> Iterator[str]:
    """Check that area is path times width, product rate times area, and time path over speed, flight by flight."""
    for sortie in its.sorties:
        told, unit = f"{sortie.aircraft} at {sortie.start_s:.3f} s:", its.units[sortie.aircraft]
        profile = its.plan.profiles[unit.name, its.field_numbers[sortie.field]]
        path = profile.path
        from_m, to_m = np.interp([sortie.area_from_m2, sortie.area_to_m2], path.cumulative_m2, path.path_m)
        if differ(sortie.path_m, float(to_m - from_m), 1.0 + 1e-3 * path.path_m[-1]):
            yield f"{told} area is not path times width: path {sortie.path_m} m, by area {to_m - from_m} m"
        area = sortie.area_to_m2 - sortie.area_from_m2
        if area <= 0.0 or sortie.area_from_m2 < 0.0:
            yield f"{told} sprayed from {sortie.area_from_m2} to {sortie.area_to_m2} m2"
        # without section control the whole swath is sprayed along the path
        due = profile.rate * (area if profile.section_control else sortie.path_m * unit.swath_m)
        if differ(sortie.applied, due):
            yield f"{told} applied {sortie.applied}, rate times area sprayed {due}"
        if sortie.applied > sortie.load_before * (1 + SHARE) + SHARE:
            yield f"{told} applied {sortie.applied} of a load of {sortie.load_before}"
        if sortie.path_m > 1.0:
            # a flight's durations are all stretched by its own factor
            factor, drawn = sortie.work_s * profile.speed_m_per_s / sortie.path_m, unit.flight_time_factor
            if not drawn.lower() * (1 - SHARE) <= factor <= drawn.upper() * (1 + SHARE):
                yield f"{told} spraying time is {factor} times path over speed"


def _covered_once(its: RigDay) -> Iterator[str]:
    """Check that fields are sprayed once at each going-over, and whole but for what is out of reach."""
    plan, day, out_m2, name = its.plan, its.day, its.end.out_of_reach_m2, its.end.name
    visits: dict[tuple[int, int], list[Sortie]] = {}
    for sortie in its.sorties:
        visits.setdefault((sortie.visit, its.field_numbers[sortie.field]), []).append(sortie)
    missing = 0.0
    last = max(visits, key=lambda key: max(one.start_s for one in visits[key]), default=None)
    for key, flights in visits.items():
        field = plan.fields[key[1]]
        at, told = 0.0, f"{field.name}, going-over {key[0]}: sprayed"
        for sortie in sorted(flights, key=lambda one: one.area_from_m2):
            if sortie.area_from_m2 < at - SHARE * field.area_m2:
                yield f"{told} twice from {sortie.area_from_m2} to {at} m2"
            at = max(at, sortie.area_to_m2)
        if at > field.area_m2 * (1 + SHARE):
            yield f"{told} {at} m2 of {field.area_m2} m2"
        if key != last and math.isinf(field.open_until_s):
            # what is left when a field closes is no loss of the model's
            missing += day.to_do_m2.get(key, field.area_m2) - _area_m2(flights)
    if missing > out_m2 + SHARE * sum(one.area_m2 for one in plan.fields) * (1 + len(visits)):
        yield f"{name}: left {missing} m2 of finished fields; out of reach were {out_m2} m2"
    if plan.scenario.work == "once" and day.log.list_finished_s is not None and len(day.ends) == 1:
        total, done = sum(day.to_do_m2.values()), _area_m2(its.sorties)
        if differ(done + out_m2, total):
            yield f"{name}: the list is said to be done; {done} m2 sprayed and {out_m2} m2 out of reach of {total} m2"


def _area_m2(sorties: list[Sortie]) -> float:
    return sum(one.area_to_m2 - one.area_from_m2 for one in sorties)


def _product(its: RigDay) -> Iterator[str]:
    """Check that what is made, filled, applied and left over adds up, and that tank and water hold it."""
    supply, end, name = its.rig.rig.supply, its.end, its.rig.name
    liquid = its.plan.scenario.product.kind == "liquid"
    tank = supply.mix_tank if liquid else supply.dry_stock
    applied = sum(one.applied for one in its.sorties)
    start_and_made = end.product_start + end.product_made
    used = applied + end.product_in_tank + end.product_on_aircraft + end.product_thrown
    if differ(start_and_made, used, tank):
        yield f"{name}: product at start and made {start_and_made}; applied, in tank and on aircraft {used}"
    own = its.rows[f"{name}/supply"]
    made = _amounts(own, Reason.MIX if liquid else Reason.RESTOCK)
    fills = [fill for aircraft in its.units for fill in _amounts(its.rows[aircraft], Reason.FILL)]
    logged, filled = sum(amount for _, amount in made), sum(amount for _, amount in fills)
    if differ(logged, end.product_made, tank):
        yield f"{name}: product made {end.product_made}, logged {logged}"
    if differ(filled, applied + end.product_on_aircraft, tank):
        yield f"{name}: filled {filled}, applied and on aircraft {applied + end.product_on_aircraft}"
    level = end.product_start
    # what is being filled has left the tank but is not logged yet
    under_way = sum(unit.capacity_units for unit in its.units.values())
    changes = [*made, *_amounts(own, Reason.RINSE), *((time, -amount) for time, amount in fills)]
    for time, amount in sorted(changes, key=lambda item: (item[0], -item[1])):
        level += amount
        if not -SHARE * tank <= level <= tank * (1 + SHARE) + under_way:
            yield f"{name}: the tank of {tank} would hold {level} at {time:.3f} s"
    if not -SHARE * tank <= end.product_in_tank <= tank * (1 + SHARE):
        yield f"{name}: the tank of {tank} holds {end.product_in_tank} at the end"
    water_l = end.water_start_l + end.water_fetched_l
    if liquid and end.product_made * supply.water_share > water_l * (1 + SHARE):
        yield f"{name}: mixed {end.product_made} L from {water_l} L of water"


def _amounts(rows: list[Row], reason: Reason) -> list[tuple[float, float]]:
    return [(row.end_s, row.amount) for row in rows if row.reason is reason]


def _on_board(its: RigDay) -> Iterator[str]:
    """Check that each aircraft takes off with what was filled and not applied, and holds it."""
    board: dict[str, float] = defaultdict(float)
    events = [(time, 0, name, fill) for name in its.units for time, fill in _amounts(its.rows[name], Reason.FILL)]
    events += [(one.start_s, 1, one.aircraft, one.load_before) for one in its.sorties]
    # a landing counts before whatever follows at once, rounding or not
    events += [(one.end_s - TIME_S, 0, one.aircraft, -one.applied) for one in its.sorties]
    for time, kind, name, amount in sorted(events):
        most = its.units[name].capacity_units
        if kind == 0:
            board[name] += amount
        elif differ(board[name], amount, most):
            yield f"{name}: took off at {time:.3f} s with {amount}; filled less applied is {board[name]}"
        if board[name] > most * (1 + SHARE):
            yield f"{name}: holds {board[name]} of at most {most} at {time:.3f} s"


def _people(its: RigDay) -> Iterator[str]:
    """Check that pilots watch no more than they may, nobody is at two things, and pumps fill one at a time."""
    crew, rows, name = its.rig.rig.crew, its.rows, its.rig.name
    people = people_of(its.rig)
    pilots = people[: crew.pilots]
    watched = [(one.start_s, one.end_s, 1.0) for one in its.sorties]
    at_work = [row for pilot in pilots for row in rows[pilot]]
    watched += [(row.start_s, row.end_s, 1.0) for row in at_work if row.reason is Reason.LAUNCH_CHECK]
    most, at = peak(watched)
    if most > crew.pilots * crew.aircraft_per_pilot:
        by = f"by {crew.pilots} pilots of {crew.aircraft_per_pilot} each"
        yield f"{name}: {most:.0f} aircraft watched at {at:.3f} s {by}"
    own = {Reason.LAUNCH_CHECK, *(Reason(key.replace("_", " ")) for key, task in crew.tasks if task.by == "pilot")}
    ground = [(row.start_s, row.end_s, 1.0) for row in at_work if row.reason not in own]
    most, at = peak([(start, stop, 1.0 / crew.aircraft_per_pilot) for start, stop, _ in watched] + ground)
    if most > crew.pilots * (1 + SHARE):
        yield f"{name}: pilots watch and work on the ground at once at {at:.3f} s ({most:.3f} of {crew.pilots})"
    filling = {(row.field, row.start_s, row.end_s) for one in people for row in rows[one] if row.reason is Reason.FILL}
    most, at = peak([(start, stop, 1.0) for _, start, stop in filling])
    if most > its.rig.rig.supply.pumps:
        yield f"{name}: {most:.0f} fills at {at:.3f} s with {its.rig.rig.supply.pumps} pumps"


def _flying_rules(its: RigDay) -> Iterator[str]:
    """Check flights against the last landing, breaks, moves, weather and the interval between launches."""
    name, day, last_s = its.rig.name, its.day, its.plan.last_landing_s
    held = [(row.start_s, row.end_s) for row in its.rows[f"{name}/pilot 1"] if row.state is State.BREAK]
    held += [(row.start_s, row.end_s) for row in its.rows[name] if row.state is State.MOVE]
    stopped = [(row.start_s, row.end_s) for row in day.log.rows if day.log.kinds.get(row.entity) is Kind.WEATHER]
    for one in its.sorties:
        if one.end_s > last_s + TIME_S:
            yield f"{one.aircraft}: landed at {one.end_s:.6f} s, after the last landing at {last_s:.6f} s"
        told = f"from {one.start_s:.3f} s"
        for start, stop in held:
            if one.start_s < stop - TIME_S and one.end_s > start + TIME_S:
                yield f"{one.aircraft}: in the air {told} during a break or move from {start:.3f} s"
        for start, stop in stopped:
            if start + TIME_S < one.start_s < stop - TIME_S:
                yield f"{one.aircraft}: took off {told} in a weather stoppage from {start:.3f} to {stop:.3f} s"
    least_s = its.plan.scenario.flying.launch_interval
    for one, other in pairwise(its.sorties):
        after_s = other.start_s - one.start_s
        if other.aircraft != one.aircraft and after_s < least_s - TIME_S:
            yield f"{other.aircraft}: took off {after_s:.6f} s after {one.aircraft}; the least is {least_s} s"


def _separation(its: RigDay) -> Iterator[str]:
    """Check that nobody began a stretch too near to an aircraft that was still spraying there.

    Places are compared by area along the path: a distance across the swaths when passes are alike.
    """
    least_m, near = its.plan.scenario.flying.separation, 2 * len(its.units)
    if least_m <= 0.0 or len(its.units) < 2:
        return
    for place, one in enumerate(its.sorties):
        arrive_s = one.start_s + one.take_off_s + one.ferry_out_s
        for other in its.sorties[max(0, place - near) : place + near]:
            begin_s = other.start_s + other.take_off_s + other.ferry_out_s
            length_s = other.work_s + other.turn_s
            if other.aircraft == one.aircraft or (other.field, other.visit) != (one.field, one.visit):
                continue
            if not begin_s < arrive_s < begin_s + length_s - 10 * TIME_S:
                continue
            unit = its.units[other.aircraft]
            path = its.plan.profiles[unit.name, its.field_numbers[other.field]].path
            there_m2 = other.area_from_m2 + (arrive_s - begin_s) / length_s * (other.area_to_m2 - other.area_from_m2)
            apart_m = abs(there_m2 - one.area_from_m2) / path.mean_pass_m2 * unit.swath_m
            if apart_m < least_m * (1 - 1e-4):
                told = f"about {apart_m:.2f} m from {other.aircraft}; the least is {least_m} m"
                yield f"{one.aircraft}: began at {arrive_s:.3f} s {told}"


CHECKS = (
    _flown_as_told, _covered_once, _product, _on_board, charger_and_bus, fuel_and_bus, pack_energy, _people,
    _flying_rules, _separation,
)  # fmt: skip
"""What is checked of each rig's day."""
