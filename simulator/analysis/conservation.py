"""Conservation laws that every simulated day must obey, checked from its log alone.

The checks know the plan and the log, not the model: they re-add what was logged (minutes, square metres, litres,
watt-hours, people) and say what does not add up. A violation is a fault of the model, never of the user.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

import numpy as np

from simulator.errors import ConservationError
from simulator.operation.log import Kind, Reason, Row, Sortie, State, sortie_rows

if TYPE_CHECKING:
    from simulator.operation.day import SimulatedDay
    from simulator.operation.move import RigEnd
    from simulator.operation.plan import DayPlan, PowerPointPlan, RigPlan
    from simulator.operation.plan_equipment import AircraftPlan, ChargerPlan, PackPlan

_TIME_S = 1e-5
_SHARE = 1e-6
_SHOWN = 20
_ON_CHARGER = (State.CHARGE, State.CHARGE_LIMITED, State.STOPPED)

Span = tuple[float, float]


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
    found = violations(plan, day)
    if found:
        more = f"\n... and {len(found) - _SHOWN} more" if len(found) > _SHOWN else ""
        raise ConservationError(f"replication {day.replication}: " + "\n".join(found[:_SHOWN]) + more)


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
    rows: dict[str, list[Row]] = defaultdict(list)
    for row in day.log.rows:
        rows[row.entity].append(row)
    found: list[str] = []
    for rig, end in zip(plan.rigs, day.ends, strict=True):
        units = aircraft_units(rig)
        sorties = sorted((one for one in day.log.sorties if one.aircraft in units), key=lambda one: one.start_s)
        found += _aircraft_time(units, rows, sorties, end)
        found += _area(plan, day, units, sorties, end)
        found += _product(plan, rig, units, rows, sorties, end)
        for point in rig.power:
            found += _power(f"{rig.name}/{point.name}", point, rig, rows)
        found += _fuel_and_bus(rig, rows, end)
        found += _packs(rig, rows, sorties, end)
        found += _people(rig, day, rows, sorties)
        found += _flying_rules(plan, rig, day, rows, sorties)
        found += _separation(plan, units, sorties)
    return found


def aircraft_units(rig: RigPlan) -> dict[str, AircraftPlan]:
    """Return the aircraft of a rig by the names they have in the log."""
    return {f"{rig.name}/{plan.name} {count}": plan for plan, number in rig.aircraft for count in range(1, number + 1)}


def pack_units(rig: RigPlan) -> dict[str, PackPlan]:
    """Return the packs of a rig by the names they have in the log."""
    return {f"{rig.name}/{plan.name} {count}": plan for plan, number in rig.packs for count in range(1, number + 1)}


def charger_slots(point_name: str, point: PowerPointPlan) -> dict[str, list[tuple[str, ChargerPlan]]]:
    """Return the slots of each charger of a power point, by the names they have in the log."""
    return {
        f"{point_name}/{plan.name} {count}": [
            (f"{point_name}/{plan.name} {count}.{place}", plan) for place in range(1, plan.slots + 1)
        ]
        for plan, number in point.chargers
        for count in range(1, number + 1)
    }


def _differ(got: float, expected: float, scale: float = 1.0) -> bool:
    return not abs(got - expected) <= _SHARE * max(scale, abs(got), abs(expected))


def _intervals(rows: Iterable[Row]) -> list[Row]:
    return sorted(row for row in rows if row.end_s > row.start_s)


def _no_gap(name: str, rows: list[Row], until_s: float) -> Iterator[str]:
    """Yield where intervals do not follow one another from 0 to an end."""
    at = 0.0
    for row in rows:
        if abs(row.start_s - at) > _TIME_S:
            word = "gap" if row.start_s > at else "overlap"
            yield f"{name}: {word} between {at:.6f} s and {row.start_s:.6f} s, before {row.state} {row.reason}"
        at = row.end_s
    if at < until_s - _TIME_S:
        yield f"{name}: nothing logged from {at:.6f} s to the paid end at {until_s:.6f} s"


def _overlaps(name: str, spans: list[Span]) -> Iterator[str]:
    ordered = sorted(spans)
    for one, other in zip(ordered, ordered[1:], strict=False):
        if other[0] < one[1] - _TIME_S:
            yield f"{name}: in two places from {other[0]:.6f} s; the earlier ends at {one[1]:.6f} s"


def _peak(spans: Iterable[tuple[float, float, float]]) -> tuple[float, float]:
    """Return the largest sum of weights at one time, and that time; ends count before starts."""
    changes = sorted(
        change for start, end, weight in spans if end - start > 2 * _TIME_S for change in ((start + _TIME_S, weight), (end - _TIME_S, -weight))
    )
    total = most = at = 0.0
    for time, weight in changes:
        total += weight
        if total > most:
            most, at = total, time
    return most, at


# --- aircraft and area ---


def _aircraft_time(
    units: dict[str, AircraftPlan], rows: dict[str, list[Row]], sorties: list[Sortie], end: RigEnd
) -> Iterator[str]:
    flown: dict[str, list[Row]] = defaultdict(list)
    for sortie in sorties:
        flown[sortie.aircraft] += sortie_rows(sortie)
    for name in units:
        states = _intervals([*rows[name], *flown[name]])
        yield from _no_gap(name, states, end.paid_until_s)
        if states and states[-1].end_s > end.paid_until_s + _TIME_S and states[-1].state is not State.DONE:
            yield f"{name}: {states[-1].state} ends at {states[-1].end_s:.6f} s, after the paid end {end.paid_until_s:.6f} s"


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
        if _differ(sortie.path_m, float(flown_m[1] - flown_m[0]), 1.0 + 1e-3 * path.path_m[-1]):
            yield f"{sortie.aircraft} at {sortie.start_s:.3f} s: area is not path times width: path {sortie.path_m} m, by area {flown_m[1] - flown_m[0]} m"
        area = sortie.area_to_m2 - sortie.area_from_m2
        if area <= 0.0 or sortie.area_from_m2 < 0.0:
            yield f"{sortie.aircraft} at {sortie.start_s:.3f} s: sprayed from {sortie.area_from_m2} to {sortie.area_to_m2} m2"
        if _differ(sortie.applied, profile.rate * area):
            yield f"{sortie.aircraft} at {sortie.start_s:.3f} s: applied {sortie.applied}, rate times area {profile.rate * area}"
        if sortie.applied > sortie.load_before * (1 + _SHARE) + _SHARE:
            yield f"{sortie.aircraft} at {sortie.start_s:.3f} s: applied {sortie.applied} of a load of {sortie.load_before}"
        if sortie.path_m > 1.0:
            # a flight's durations are all stretched by its own factor
            factor = sortie.work_s * profile.speed_m_per_s / sortie.path_m
            drawn = units[sortie.aircraft].flight_time_factor
            if not drawn.lower() * (1 - _SHARE) <= factor <= drawn.upper() * (1 + _SHARE):
                yield f"{sortie.aircraft} at {sortie.start_s:.3f} s: spraying time is {factor} times path over speed"
    missing = 0.0
    last = max(visits, key=lambda key: max(one.start_s for one in visits[key]), default=None)
    for key, flights in visits.items():
        field = plan.fields[key[1]]
        at, covered = 0.0, 0.0
        for sortie in sorted(flights, key=lambda one: one.area_from_m2):
            if sortie.area_from_m2 < at - _SHARE * field.area_m2:
                yield f"{field.name}, going-over {key[0]}: sprayed twice from {sortie.area_from_m2} to {at} m2"
            at = max(at, sortie.area_to_m2)
            covered += sortie.area_to_m2 - sortie.area_from_m2
        if at > field.area_m2 * (1 + _SHARE):
            yield f"{field.name}, going-over {key[0]}: sprayed {at} m2 of {field.area_m2} m2"
        if key != last:
            missing += field.area_m2 - covered
    allowed = end.out_of_reach_m2 + _SHARE * sum(one.area_m2 for one in plan.fields) * (1 + len(visits))
    if missing > allowed:
        yield f"{end.name}: left {missing} m2 of finished fields; out of reach were {end.out_of_reach_m2} m2"
    if plan.scenario.work == "once" and day.log.list_finished_s is not None and len(day.ends) == 1:
        total = sum(one.area_m2 for one in plan.fields)
        done = sum(one.area_to_m2 - one.area_from_m2 for one in sorties)
        if _differ(done + end.out_of_reach_m2, total):
            yield f"{end.name}: the list is said to be done; {done} m2 sprayed and {end.out_of_reach_m2} m2 out of reach of {total} m2"


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
    used = applied + end.product_in_tank + end.product_on_aircraft
    if _differ(start_and_made, used, tank):
        yield f"{rig.name}: product at start and made {start_and_made}; applied, in tank and on aircraft {used}"
    making = Reason.MIX if liquid else Reason.RESTOCK
    made = [(row.end_s, row.amount) for row in rows[f"{rig.name}/supply"] if row.reason is making]
    fills = [(row.end_s, row.amount) for name in units for row in rows[name] if row.reason is Reason.FILL]
    if _differ(sum(amount for _, amount in made), end.product_made, tank):
        yield f"{rig.name}: product made {end.product_made}, logged {sum(amount for _, amount in made)}"
    if _differ(sum(amount for _, amount in fills), applied + end.product_on_aircraft, tank):
        yield f"{rig.name}: filled {sum(amount for _, amount in fills)}, applied and on aircraft {applied + end.product_on_aircraft}"
    level = end.product_start
    # what is being filled has left the tank but is not logged yet
    under_way = sum(unit.capacity_units for unit in units.values())
    for time, amount in sorted([*made, *((time, -amount) for time, amount in fills)], key=lambda item: (item[0], -item[1])):
        level += amount
        if level < -_SHARE * tank:
            yield f"{rig.name}: the tank would hold {level} at {time:.3f} s"
        if level > tank * (1 + _SHARE) + under_way:
            yield f"{rig.name}: the tank of {tank} would hold {level} at {time:.3f} s"
    if end.product_in_tank < -_SHARE * tank or end.product_in_tank > tank * (1 + _SHARE):
        yield f"{rig.name}: the tank of {tank} holds {end.product_in_tank} at the end"
    if liquid and end.product_made * supply.water_share > (supply.nurse_water + end.water_fetched_l) * (1 + _SHARE):
        yield f"{rig.name}: mixed {end.product_made} L from {supply.nurse_water + end.water_fetched_l} L of water"
    board: dict[str, float] = defaultdict(float)
    events = [(row.end_s, 0, name, row.amount) for name in units for row in rows[name] if row.reason is Reason.FILL]
    events += [(one.start_s, 1, one.aircraft, one.load_before) for one in sorties]
    events += [(one.end_s, 0, one.aircraft, -one.applied) for one in sorties]
    for time, kind, name, amount in sorted(events):
        if kind == 0:
            board[name] += amount
        elif _differ(board[name], amount, units[name].capacity_units):
            yield f"{name}: took off at {time:.3f} s with {amount}; filled less applied is {board[name]}"
        if board[name] > units[name].capacity_units * (1 + _SHARE):
            yield f"{name}: holds {board[name]} of at most {units[name].capacity_units} at {time:.3f} s"


# --- energy ---


def _power(name: str, point: PowerPointPlan, rig: RigPlan, rows: dict[str, list[Row]]) -> Iterator[str]:
    """Check one power point: the bus against its chargers, and every limit on the way."""
    packs = pack_units(rig)
    run = [row for row in rows[name] if row.state is State.RUN and row.reason is Reason.NONE]
    hours = sum(row.end_s - row.start_s for row in run) / 3600.0
    bus = sum(row.amount for row in run)
    into, rounding = 0.0, 0.0
    yield from _overlaps(name, [(row.start_s, row.end_s) for row in rows[name]])
    for charger, slots in charger_slots(name, point).items():
        spans = []
        for slot, plan in slots:
            charges = [row for row in rows[slot] if row.state is State.CHARGE]
            yield from _overlaps(slot, [(row.start_s, row.end_s) for row in charges])
            for row in charges:
                pack = packs[row.field]
                if row.amount < 0.0:
                    yield f"{slot}: charged {row.amount} Wh"
                into += row.amount / (plan.efficiency * pack.charge_efficiency)
                rounding += _SHARE
                spans.append((row.start_s, row.end_s, row.amount / pack.charge_efficiency))
                if row.amount > plan.slot_w * pack.charge_efficiency * (row.end_s - row.start_s) / 3600.0 * (1 + _SHARE) + 1e-6:
                    yield f"{slot}: {row.amount} Wh stored from {row.start_s:.3f} to {row.end_s:.3f} s is above its {plan.slot_w} W"
        output = slots[0][1].output_w
        for start, stop, energy in _busy_periods(spans):
            if energy > output * (stop - start) / 3600.0 * (1 + _SHARE) + 1e-6:
                yield f"{charger}: {energy} Wh given from {start:.3f} to {stop:.3f} s is above its {output} W"
    if _differ(bus, into + point.other_load_w * hours, 1.0 + rounding):
        yield f"{name}: {bus} Wh left the bus; chargers took {into} Wh and other loads {point.other_load_w * hours} Wh"
    for row in run:
        if row.amount > point.capacity_w * (row.end_s - row.start_s) / 3600.0 * (1 + _SHARE) + 1e-6:
            yield f"{name}: {row.amount} Wh from {row.start_s:.3f} to {row.end_s:.3f} s is above {point.capacity_w} W"


def _busy_periods(spans: list[tuple[float, float, float]]) -> Iterator[tuple[float, float, float]]:
    """Yield periods in which at least one span is open, with the sum of their amounts."""
    start = stop = total = 0.0
    for first, last, amount in sorted(spans):
        if total and first > stop + _TIME_S:
            yield start, stop, total
            total = 0.0
        if not total:
            start, stop = first, last
        stop, total = max(stop, last), total + amount
    if total:
        yield start, stop, total


def _fuel_and_bus(rig: RigPlan, rows: dict[str, list[Row]], end: RigEnd) -> Iterator[str]:
    bus = fuel = 0.0
    for point in rig.power:
        name = f"{rig.name}/{point.name}"
        run = [row for row in rows[name] if row.state is State.RUN and row.reason is Reason.NONE]
        energy = sum(row.amount for row in run)
        bus += energy
        if point.generator is None:
            continue
        burnt = point.generator.fuel.litres(energy / 1000.0, sum(row.end_s - row.start_s for row in run) / 3600.0)
        fuel += burnt
        refuels = [row.amount for row in rows[name] if row.reason is Reason.REFUEL and row.state is State.RUN]
        # the tank may run dry within the second in which the source stops
        second = point.generator.fuel.litres(point.capacity_w / 3.6e6, 1 / 3600.0) * (1 + len(refuels))
        if burnt > point.generator.fuel_tank_l + sum(refuels) + second + _SHARE:
            yield f"{name}: burnt {burnt} L of {point.generator.fuel_tank_l} L and {sum(refuels)} L filled in"
        if refuels and max(refuels) > point.generator.fuel_tank_l * (1 + _SHARE):
            yield f"{name}: refuelled {max(refuels)} L into a tank of {point.generator.fuel_tank_l} L"
    if _differ(bus, end.bus_wh):
        yield f"{rig.name}: {end.bus_wh} Wh at the bus, logged {bus} Wh"
    if _differ(fuel, end.fuel_burnt_l):
        yield f"{rig.name}: {end.fuel_burnt_l} L of fuel, by energy and hours {fuel} L"


def _packs(rig: RigPlan, rows: dict[str, list[Row]], sorties: list[Sortie], end: RigEnd) -> Iterator[str]:
    packs = pack_units(rig)
    on_slots: dict[str, list[Row]] = defaultdict(list)
    limits: dict[str, float] = {}
    for point in rig.power:
        for slots in charger_slots(f"{rig.name}/{point.name}", point).values():
            for slot, plan in slots:
                limits[slot] = plan.slot_w
                for row in rows[slot]:
                    on_slots[row.field].append(row)
    flown: dict[str, list[Sortie]] = defaultdict(list)
    for sortie in sorties:
        flown[sortie.pack].append(sortie)
    for name in [*on_slots, *flown]:
        if name not in packs:
            yield f"{name}: flown or charged, but no pack of {rig.name}"
    for name, pack in packs.items():
        states = _intervals(rows[name])
        yield from _no_gap(name, states, end.paid_until_s)
        places = [(one.start_s, one.end_s) for one in flown[name]]
        yield from _overlaps(name, places + [(row.start_s, row.end_s) for row in on_slots[name]])
        yield from _inside(name, "flown", places, [(row.start_s, row.end_s) for row in states if row.state is State.FLOWN])
        charging = [(row.start_s, row.end_s) for row in states if row.state in _ON_CHARGER]
        yield from _inside(name, "charged", [(row.start_s, row.end_s) for row in on_slots[name]], _joined(charging))
        yield from _charge_course(name, pack, rig.rig.packs_start_charge, on_slots[name], flown[name], limits, end)


def _inside(name: str, what: str, spans: list[Span], allowed: list[Span]) -> Iterator[str]:
    for start, stop in spans:
        if not any(low - _TIME_S <= start and stop <= high + _TIME_S for low, high in allowed):
            yield f"{name}: {what} from {start:.6f} to {stop:.6f} s, while its state is another"


def _joined(spans: list[Span]) -> list[Span]:
    joined: list[Span] = []
    for start, stop in sorted(spans):
        if joined and start <= joined[-1][1] + _TIME_S:
            joined[-1] = (joined[-1][0], stop)
        else:
            joined.append((start, stop))
    return joined


def _charge_course(
    name: str,
    pack: PackPlan,
    start_share: float,
    charges: list[Row],
    flown: list[Sortie],
    limits: dict[str, float],
    end: RigEnd,
) -> Iterator[str]:
    """Follow one pack's energy through the day."""
    energy = pack.capacity_wh * start_share
    tolerance = _SHARE * pack.capacity_wh
    events: list[tuple[float, Row | Sortie]] = [(row.start_s, row) for row in charges]
    events += [(one.start_s, one) for one in flown]
    for time, event in sorted(events, key=lambda item: item[0]):
        if isinstance(event, Sortie):
            if abs(energy - event.charge_before_wh) > tolerance:
                yield f"{name}: took off at {time:.3f} s with {event.charge_before_wh} Wh; start, charged and flown give {energy} Wh"
            energy = event.charge_before_wh - event.energy_wh
            if energy < pack.reserve_wh - tolerance:
                yield f"{name}: landed at {event.end_s:.3f} s with {energy} Wh, below the reserve of {pack.reserve_wh} Wh"
            continue
        before, energy = energy, energy + event.amount
        if energy > pack.capacity_wh + tolerance:
            yield f"{name}: holds {energy} Wh of {pack.capacity_wh} Wh at {event.end_s:.3f} s"
        # a little energy near the end of the charge takes long, so the bound is on what the time allows
        most = pack.curve.energy_after_wh(before, event.end_s - event.start_s, limits[event.entity] * pack.charge_efficiency)
        if energy > most + tolerance:
            yield f"{name}: charged from {before} to {energy} Wh by {event.end_s:.3f} s; slot and pack allow {most} Wh"
    if abs(energy - end.pack_charge_wh[name]) > tolerance:
        yield f"{name}: ends with {end.pack_charge_wh[name]} Wh; start, charged and flown give {energy} Wh"


# --- people and rules ---


def _people(rig: RigPlan, day: SimulatedDay, rows: dict[str, list[Row]], sorties: list[Sortie]) -> Iterator[str]:
    crew = rig.rig.crew
    pilots = [f"{rig.name}/pilot {number}" for number in range(1, crew.pilots + 1)]
    people = [*pilots, *(f"{rig.name}/helper {number}" for number in range(1, crew.helpers + 1))]
    for name in people:
        if day.log.kinds.get(name) is not Kind.PERSON:
            yield f"{name}: not in the log"
        yield from _overlaps(name, [(row.start_s, row.end_s) for row in rows[name]])
    airborne = [(one.start_s, one.end_s, 1.0) for one in sorties]
    checks = [(row.start_s, row.end_s, 1.0) for name in pilots for row in rows[name] if row.reason is Reason.LAUNCH_CHECK]
    most, at = _peak([*airborne, *checks])
    if most > crew.pilots * crew.aircraft_per_pilot:
        yield f"{rig.name}: {most:.0f} aircraft watched at {at:.3f} s by {crew.pilots} pilots of {crew.aircraft_per_pilot} each"
    own = {Reason.LAUNCH_CHECK} | {Reason(name.replace("_", " ")) for name in type(crew.tasks).model_fields if getattr(crew.tasks, name).by == "pilot"}
    share = 1.0 / crew.aircraft_per_pilot
    ground = [(row.start_s, row.end_s, 1.0) for name in pilots for row in rows[name] if row.reason not in own]
    most, at = _peak([(start, stop, share) for start, stop, _ in [*airborne, *checks]] + ground)
    if most > crew.pilots * (1 + _SHARE):
        yield f"{rig.name}: pilots watch and work on the ground at once at {at:.3f} s ({most:.3f} of {crew.pilots})"
    fills = {(row.field, row.start_s, row.end_s) for name in people for row in rows[name] if row.reason is Reason.FILL}
    most, at = _peak([(start, stop, 1.0) for _, start, stop in fills])
    if most > rig.rig.supply.pumps:
        yield f"{rig.name}: {most:.0f} fills at {at:.3f} s with {rig.rig.supply.pumps} pumps"


def _flying_rules(
    plan: DayPlan, rig: RigPlan, day: SimulatedDay, rows: dict[str, list[Row]], sorties: list[Sortie]
) -> Iterator[str]:
    held = [(row.start_s, row.end_s) for row in rows[f"{rig.name}/pilot 1"] if row.state is State.BREAK]
    held += [(row.start_s, row.end_s) for row in rows[rig.name] if row.state is State.MOVE]
    stopped = [(row.start_s, row.end_s) for row in day.log.rows if day.log.kinds.get(row.entity) is Kind.WEATHER]
    for sortie in sorties:
        if sortie.end_s > plan.last_landing_s + _TIME_S:
            yield f"{sortie.aircraft}: landed at {sortie.end_s:.6f} s, after the last landing at {plan.last_landing_s:.6f} s"
        for start, stop in held:
            if sortie.start_s < stop - _TIME_S and sortie.end_s > start + _TIME_S:
                yield f"{sortie.aircraft}: in the air from {sortie.start_s:.3f} s during a break or move from {start:.3f} s"
        for start, stop in stopped:
            if start + _TIME_S < sortie.start_s < stop - _TIME_S:
                yield f"{sortie.aircraft}: took off at {sortie.start_s:.3f} s in a weather stoppage from {start:.3f} to {stop:.3f} s"
    interval = plan.scenario.flying.launch_interval
    for one, other in zip(sorties, sorties[1:], strict=False):
        if other.aircraft != one.aircraft and other.start_s - one.start_s < interval - _TIME_S:
            yield f"{other.aircraft}: took off {other.start_s - one.start_s:.6f} s after {one.aircraft}; the least is {interval} s"


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
            if not begin_s < arrive_s < begin_s + length_s - 10 * _TIME_S:
                continue
            swath = units[other.aircraft].swath_m
            path = plan.profiles[units[other.aircraft].name, numbers[other.field]].path
            there_m2 = other.area_from_m2 + (arrive_s - begin_s) / length_s * (other.area_to_m2 - other.area_from_m2)
            apart_m = abs(there_m2 - one.area_from_m2) / path.mean_pass_m2 * swath
            if apart_m < separation * (1 - 1e-4):
                yield f"{one.aircraft}: began at {arrive_s:.3f} s about {apart_m:.2f} m from {other.aircraft}; the least is {separation} m"
