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

from simulator.analysis.conservation_energy import energy_violations
from simulator.analysis.conservation_parts import (
    SHARE,
    TIME_S,
    aircraft_units,
    differ,
    peak,
    people_of,
)
from simulator.analysis.conservation_states import state_violations
from simulator.analysis.log_rows import rows_by_entity
from simulator.errors import ConservationError
from simulator.operation.log import Kind, Reason, RigEnd, Row, Sortie, State

if TYPE_CHECKING:
    from simulator.operation.day import SimulatedDay
    from simulator.plan.aircraft import AircraftPlan
    from simulator.plan.day_plan import DayPlan, RigPlan

_SHOWN = 20
"""Violations told in words."""


def verify_day(plan: DayPlan, day: SimulatedDay) -> None:
    """Check a day against all conservation laws.

    Parameters
    ----------
    plan : DayPlan
        Plan that the day was simulated from.
    day : SimulatedDay
        The day.

    Raises
    ------
    ConservationError
        With every violation found (the first twenty in words).
    """
    refuse(violations(plan, day), day.replication)


def refuse(found: list[str], replication: int) -> None:
    """Raise a `ConservationError` that tells what was found, unless that is nothing."""
    if found:
        more = f"\n... and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
        raise ConservationError(f"replication {replication}: " + "\n".join(found[:_SHOWN]) + more)


def violations(plan: DayPlan, day: SimulatedDay) -> list[str]:
    """Return what does not add up in a day; empty when all laws hold.

    Parameters
    ----------
    plan : DayPlan
        Plan that the day was simulated from.
    day : SimulatedDay
        The day.

    Returns
    -------
    list of str
        One line a violation: entity, law, and the two numbers that differ.
    """
    rows = rows_by_entity(day.log)
    found = list(state_violations(plan, day, rows))
    for rig, end in zip(plan.rigs, day.ends, strict=True):
        units = aircraft_units(rig)
        sorties = sorted((one for one in day.log.sorties if one.aircraft in units), key=lambda one: one.start_s)
        found += _area(plan, day, units, sorties, end)
        found += _product(plan, rig, units, rows, sorties, end)
        found += energy_violations(rig, rows, sorties, end)
        found += _people(rig, rows, sorties)
        found += _flying_rules(plan, rig, day, rows, sorties)
        found += _separation(plan, units, sorties)
    return found


# --- area ---


def _area(
    plan: DayPlan, day: SimulatedDay, units: dict[str, AircraftPlan], sorties: list[Sortie], end: RigEnd
) -> Iterator[str]:
    numbers = {one.name: index for index, one in enumerate(plan.fields)}
    visits: dict[tuple[int, int], list[Sortie]] = {}
    for sortie in sorties:
        index = numbers[sortie.field]
        visits.setdefault((sortie.visit, index), []).append(sortie)
        profile = plan.profiles[units[sortie.aircraft].name, index]
        path = profile.path
        flown_m = np.interp([sortie.area_from_m2, sortie.area_to_m2], path.cumulative_m2, path.path_m)
        if differ(sortie.path_m, float(flown_m[1] - flown_m[0]), 1.0 + 1e-3 * path.path_m[-1]):
            yield (
                f"{sortie.aircraft} at {sortie.start_s:.3f} s: area is not path times "
                f"width: path {sortie.path_m} m, by area {flown_m[1] - flown_m[0]} m"
            )
        area = sortie.area_to_m2 - sortie.area_from_m2
        if area <= 0.0 or sortie.area_from_m2 < 0.0:
            yield (
                f"{sortie.aircraft} at {sortie.start_s:.3f} s: sprayed "
                f"from {sortie.area_from_m2} to {sortie.area_to_m2} m2"
            )
        # without section control the whole swath is sprayed along the path
        sprayed_m2 = area if profile.section_control else sortie.path_m * units[sortie.aircraft].swath_m
        if differ(sortie.applied, profile.rate * sprayed_m2):
            yield (
                f"{sortie.aircraft} at {sortie.start_s:.3f} s: applied "
                f"{sortie.applied}, rate times area sprayed {profile.rate * sprayed_m2}"
            )
        if sortie.applied > sortie.load_before * (1 + SHARE) + SHARE:
            yield (
                f"{sortie.aircraft} at {sortie.start_s:.3f} s: applied "
                f"{sortie.applied} of a load of {sortie.load_before}"
            )
        if sortie.path_m > 1.0:
            # a flight's durations are all stretched by its own factor
            factor = sortie.work_s * profile.speed_m_per_s / sortie.path_m
            drawn = units[sortie.aircraft].flight_time_factor
            if not drawn.lower() * (1 - SHARE) <= factor <= drawn.upper() * (1 + SHARE):
                yield f"{sortie.aircraft} at {sortie.start_s:.3f} s: spraying time is {factor} times path over speed"
    missing = 0.0
    last = max(visits, key=lambda key: max(one.start_s for one in visits[key]), default=None)
    for key, flights in visits.items():
        field = plan.fields[key[1]]
        at, covered = 0.0, 0.0
        to_do = day.to_do_m2.get(key, field.area_m2)
        for sortie in sorted(flights, key=lambda one: one.area_from_m2):
            if sortie.area_from_m2 < at - SHARE * field.area_m2:
                yield f"{field.name}, going-over {key[0]}: sprayed twice from {sortie.area_from_m2} to {at} m2"
            at = max(at, sortie.area_to_m2)
            covered += sortie.area_to_m2 - sortie.area_from_m2
        if at > field.area_m2 * (1 + SHARE):
            yield f"{field.name}, going-over {key[0]}: sprayed {at} m2 of {field.area_m2} m2"
        if key != last and math.isinf(field.open_until_s):
            # what is left when a field closes is no loss of the model's
            missing += to_do - covered
    allowed = end.out_of_reach_m2 + SHARE * sum(one.area_m2 for one in plan.fields) * (1 + len(visits))
    if missing > allowed:
        yield f"{end.name}: left {missing} m2 of finished fields; out of reach were {end.out_of_reach_m2} m2"
    if plan.scenario.work == "once" and day.log.list_finished_s is not None and len(day.ends) == 1:
        total = sum(day.to_do_m2.values())
        done = sum(one.area_to_m2 - one.area_from_m2 for one in sorties)
        if differ(done + end.out_of_reach_m2, total):
            yield (
                f"{end.name}: the list is said to be done; {done} m2 sprayed "
                f"and {end.out_of_reach_m2} m2 out of reach of {total} m2"
            )


# --- product ---


def _product(
    plan: DayPlan,
    rig: RigPlan,
    units: dict[str, AircraftPlan],
    rows: dict[str, list[Row]],
    sorties: list[Sortie],
    end: RigEnd,
) -> Iterator[str]:
    supply = rig.rig.supply
    liquid = plan.scenario.product.kind == "liquid"
    tank = supply.mix_tank if liquid else supply.dry_stock
    applied = sum(one.applied for one in sorties)
    start_and_made = end.product_start + end.product_made
    used = applied + end.product_in_tank + end.product_on_aircraft + end.product_thrown
    if differ(start_and_made, used, tank):
        yield f"{rig.name}: product at start and made {start_and_made}; applied, in tank and on aircraft {used}"
    making = Reason.MIX if liquid else Reason.RESTOCK
    made = [(row.end_s, row.amount) for row in rows[f"{rig.name}/supply"] if row.reason is making]
    fills = [(row.end_s, row.amount) for name in units for row in rows[name] if row.reason is Reason.FILL]
    thrown = [(row.end_s, row.amount) for row in rows[f"{rig.name}/supply"] if row.reason is Reason.RINSE]
    if differ(sum(amount for _, amount in made), end.product_made, tank):
        yield f"{rig.name}: product made {end.product_made}, logged {sum(amount for _, amount in made)}"
    if differ(sum(amount for _, amount in fills), applied + end.product_on_aircraft, tank):
        yield (
            f"{rig.name}: filled {sum(amount for _, amount in fills)}, "
            f"applied and on aircraft {applied + end.product_on_aircraft}"
        )
    level = end.product_start
    # what is being filled has left the tank but is not logged yet
    under_way = sum(unit.capacity_units for unit in units.values())
    for time, amount in sorted(
        [*made, *thrown, *((time, -amount) for time, amount in fills)], key=lambda item: (item[0], -item[1])
    ):
        level += amount
        if level < -SHARE * tank:
            yield f"{rig.name}: the tank would hold {level} at {time:.3f} s"
        if level > tank * (1 + SHARE) + under_way:
            yield f"{rig.name}: the tank of {tank} would hold {level} at {time:.3f} s"
    if end.product_in_tank < -SHARE * tank or end.product_in_tank > tank * (1 + SHARE):
        yield f"{rig.name}: the tank of {tank} holds {end.product_in_tank} at the end"
    if liquid and end.product_made * supply.water_share > (end.water_start_l + end.water_fetched_l) * (1 + SHARE):
        yield f"{rig.name}: mixed {end.product_made} L from {end.water_start_l + end.water_fetched_l} L of water"
    board: dict[str, float] = defaultdict(float)
    events = [(row.end_s, 0, name, row.amount) for name in units for row in rows[name] if row.reason is Reason.FILL]
    events += [(one.start_s, 1, one.aircraft, one.load_before) for one in sorties]
    # a landing counts before whatever follows at once, rounding or not
    events += [(one.end_s - TIME_S, 0, one.aircraft, -one.applied) for one in sorties]
    for time, kind, name, amount in sorted(events):
        if kind == 0:
            board[name] += amount
        elif differ(board[name], amount, units[name].capacity_units):
            yield f"{name}: took off at {time:.3f} s with {amount}; filled less applied is {board[name]}"
        if board[name] > units[name].capacity_units * (1 + SHARE):
            yield f"{name}: holds {board[name]} of at most {units[name].capacity_units} at {time:.3f} s"


# --- people and rules ---


def _people(rig: RigPlan, rows: dict[str, list[Row]], sorties: list[Sortie]) -> Iterator[str]:
    crew = rig.rig.crew
    people = people_of(rig)
    pilots = people[: crew.pilots]
    airborne = [(one.start_s, one.end_s, 1.0) for one in sorties]
    checks = [
        (row.start_s, row.end_s, 1.0) for name in pilots for row in rows[name] if row.reason is Reason.LAUNCH_CHECK
    ]
    most, at = peak([*airborne, *checks])
    if most > crew.pilots * crew.aircraft_per_pilot:
        yield (
            f"{rig.name}: {most:.0f} aircraft watched at {at:.3f} s by "
            f"{crew.pilots} pilots of {crew.aircraft_per_pilot} each"
        )
    own = {Reason.LAUNCH_CHECK} | {
        Reason(name.replace("_", " "))
        for name in type(crew.tasks).model_fields
        if getattr(crew.tasks, name).by == "pilot"
    }
    share = 1.0 / crew.aircraft_per_pilot
    ground = [(row.start_s, row.end_s, 1.0) for name in pilots for row in rows[name] if row.reason not in own]
    most, at = peak([(start, stop, share) for start, stop, _ in [*airborne, *checks]] + ground)
    if most > crew.pilots * (1 + SHARE):
        yield f"{rig.name}: pilots watch and work on the ground at once at {at:.3f} s ({most:.3f} of {crew.pilots})"
    fills = {(row.field, row.start_s, row.end_s) for name in people for row in rows[name] if row.reason is Reason.FILL}
    most, at = peak([(start, stop, 1.0) for _, start, stop in fills])
    if most > rig.rig.supply.pumps:
        yield f"{rig.name}: {most:.0f} fills at {at:.3f} s with {rig.rig.supply.pumps} pumps"


def _flying_rules(
    plan: DayPlan, rig: RigPlan, day: SimulatedDay, rows: dict[str, list[Row]], sorties: list[Sortie]
) -> Iterator[str]:
    held = [(row.start_s, row.end_s) for row in rows[f"{rig.name}/pilot 1"] if row.state is State.BREAK]
    held += [(row.start_s, row.end_s) for row in rows[rig.name] if row.state is State.MOVE]
    stopped = [(row.start_s, row.end_s) for row in day.log.rows if day.log.kinds.get(row.entity) is Kind.WEATHER]
    for sortie in sorties:
        if sortie.end_s > plan.last_landing_s + TIME_S:
            yield (
                f"{sortie.aircraft}: landed at {sortie.end_s:.6f} s, "
                f"after the last landing at {plan.last_landing_s:.6f} s"
            )
        for start, stop in held:
            if sortie.start_s < stop - TIME_S and sortie.end_s > start + TIME_S:
                yield (
                    f"{sortie.aircraft}: in the air from {sortie.start_s:.3f} "
                    f"s during a break or move from {start:.3f} s"
                )
        for start, stop in stopped:
            if start + TIME_S < sortie.start_s < stop - TIME_S:
                yield (
                    f"{sortie.aircraft}: took off at {sortie.start_s:.3f} s "
                    f"in a weather stoppage from {start:.3f} to {stop:.3f} s"
                )
    interval = plan.scenario.flying.launch_interval
    for one, other in pairwise(sorties):
        if other.aircraft != one.aircraft and other.start_s - one.start_s < interval - TIME_S:
            yield (
                f"{other.aircraft}: took off {other.start_s - one.start_s:.6f} "
                f"s after {one.aircraft}; the least is {interval} s"
            )


def _separation(plan: DayPlan, units: dict[str, AircraftPlan], sorties: list[Sortie]) -> Iterator[str]:
    """Check that nobody began a stretch too near to an aircraft that was still spraying there.

    Places are compared by area along the path: a distance across the swaths when passes are alike.
    """
    separation = plan.scenario.flying.separation
    if separation <= 0.0 or len(units) < 2:
        return
    numbers = {one.name: index for index, one in enumerate(plan.fields)}
    for place, one in enumerate(sorties):
        arrive_s = one.start_s + one.take_off_s + one.ferry_out_s
        for other in sorties[max(0, place - 2 * len(units)) : place + 2 * len(units)]:
            begin_s = other.start_s + other.take_off_s + other.ferry_out_s
            length_s = other.work_s + other.turn_s
            if other.aircraft == one.aircraft or (other.field, other.visit) != (one.field, one.visit):
                continue
            if not begin_s < arrive_s < begin_s + length_s - 10 * TIME_S:
                continue
            swath = units[other.aircraft].swath_m
            path = plan.profiles[units[other.aircraft].name, numbers[other.field]].path
            there_m2 = other.area_from_m2 + (arrive_s - begin_s) / length_s * (other.area_to_m2 - other.area_from_m2)
            apart_m = abs(there_m2 - one.area_from_m2) / path.mean_pass_m2 * swath
            if apart_m < separation * (1 - 1e-4):
                yield (
                    f"{one.aircraft}: began at {arrive_s:.3f} s about {apart_m:.2f} "
                    f"m from {other.aircraft}; the least is {separation} m"
                )
