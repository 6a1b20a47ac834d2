"""One day's log as one row of numbers: output, time by state and reason, utilisation, momentary bottleneck."""

from __future__ import annotations

import math
from collections import defaultdict

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.active_period import momentary_bottleneck
from simulator.operation.day import SimulatedDay
from simulator.operation.log import FLIGHT_STATES, Kind, Reason, Sortie, State
from simulator.operation.plan import DayPlan
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE

RESOURCES = ("aircraft", "packs", "chargers", "generator", "crew", "mix supply", "moves")
"""Resources that can hold an equipment set back, in the order of reports."""

_PLAIN = [State.SWAP, State.FILL, State.LAUNCH_CHECK, State.REPAIR, State.DONE]
_WAITS = [
    Reason.TOO_FEW_PACKS, Reason.CHARGERS_BUSY, Reason.GENERATOR_LIMITED, Reason.CREW_BUSY, Reason.PUMP_BUSY,
    Reason.NO_MIX, Reason.PILOT_BUSY, Reason.SEPARATION, Reason.NO_WORK_HERE, Reason.WEATHER, Reason.BREAK,
    Reason.DAY_END, Reason.MOVING, Reason.YARD, Reason.RELOCATE, Reason.WINDOW,
]  # fmt: skip
_MOVES = [Reason.YARD, Reason.PACK_UP, Reason.DRIVE, Reason.SET_UP, Reason.RELOCATE]

TIME_LABELS: tuple[str, ...] = (
    *(state.value for state in FLIGHT_STATES),
    *(state.value for state in _PLAIN),
    *(f"wait: {reason.value}" for reason in _WAITS),
    *(f"move: {reason.value}" for reason in _MOVES),
)
"""Every state of an aircraft, with its reason where it waits or moves."""

WAIT_RESOURCE = {
    "wait: too few packs": "packs",
    "wait: chargers busy": "chargers",
    "wait: generator limited": "generator",
    "wait: crew busy": "crew",
    "wait: pilot busy": "crew",
    "wait: pump busy": "mix supply",
    "wait: no mix": "mix supply",
    "wait: moving": "moves",
    **{f"move: {reason.value}": "moves" for reason in _MOVES},
}
"""Which resource a lost stretch of aircraft time is put down to."""

MEASURES = (
    "area_m2", "acres", "hectares", "field_hours", "paid_hours", "crew_hours", "aircraft_hours", "sorties", "loads",
    "pack_swaps", "charge_cycles", "generator_fuel_l", "energy_kwh", "pack_energy_kwh", "flown_energy_kwh", "applied",
    "mixed", "left_over", "water_fetched_l", "moves", "drive_km", "fields_finished", "finish_hour", "last_landing_hour",
    "out_of_reach_acres", "loads_per_charge", "landing_charge_share",
)  # fmt: skip
"""Measures of a day; ``applied``, ``mixed`` and ``left_over`` are litres of mix, or kilograms of granules."""

COLUMNS: tuple[str, ...] = (
    *MEASURES,
    *(f"time_s/{label}" for label in TIME_LABELS),
    *(f"utilisation/{name}" for name in RESOURCES),
    *(f"active_share/{name}" for name in RESOURCES),
)
_PLACE = {name: place for place, name in enumerate(COLUMNS)}
_TIMES = slice(len(MEASURES), len(MEASURES) + len(TIME_LABELS))


def summarise(plan: DayPlan, day: SimulatedDay, active_period: bool = True) -> NDArray[np.float64]:
    """Return one day as a row of numbers.

    Parameters
    ----------
    plan : DayPlan
        Plan that was simulated.
    day : SimulatedDay
        The day.
    active_period : bool
        Whether to find the momentary bottleneck (else those columns are NaN).

    Returns
    -------
    numpy.ndarray, shape (len(COLUMNS),)
        In the order of :data:`COLUMNS`; NaN where a measure has no value that day.
    """
    row = np.full(len(COLUMNS), math.nan)
    sums = _Sums(day)
    row[_TIMES] = 0.0
    for label, seconds in sums.times.items():
        row[_PLACE[f"time_s/{label}"]] = seconds
    row[: len(MEASURES)] = list(_measures(plan, day, sums).values())
    for name, value in _utilisation(plan, day, sums).items():
        row[_PLACE[f"utilisation/{name}"]] = value
    if active_period:
        for name, value in active_period_share(day).items():
            row[_PLACE[f"active_share/{name}"]] = value
    return row


class _Sums:
    """What one pass over a day's rows adds up."""

    __slots__ = ("busy_s", "drive_m", "drives", "mixing_s", "rig_s", "source_wh", "stored_wh", "times")

    def __init__(self, day: SimulatedDay) -> None:
        kinds = day.log.kinds
        times: dict[tuple[State, Reason], float] = defaultdict(float)
        self.busy_s: dict[Kind, float] = defaultdict(float)
        self.rig_s = self.drive_m = self.stored_wh = self.source_wh = self.mixing_s = 0.0
        self.drives = 0
        busy_s = self.busy_s
        for start, end, entity, state, reason, _, amount in day.log.rows:
            kind = kinds[entity]
            span = end - start
            if kind is Kind.AIRCRAFT:
                if span > 0.0:
                    times[state, reason] += span
            elif kind is Kind.PERSON:
                if state is not State.BREAK:
                    busy_s[kind] += span
            elif kind is Kind.PACK:
                if state in _PACK_BUSY:
                    busy_s[kind] += span
                    if state is not State.FLOWN and state is not State.COOL:
                        # a slot is busy while its pack charges, not while the trailer is on the road
                        busy_s[Kind.CHARGER] += span
            elif kind is Kind.CHARGER:
                self.stored_wh += amount
            elif kind is Kind.POWER:
                if state is State.RUN and reason is Reason.NONE:
                    self.source_wh += amount
            elif kind is Kind.SUPPLY:
                if reason is Reason.MIX:
                    self.mixing_s += span
            elif kind is Kind.RIG and state is State.MOVE:
                self.rig_s += span
                if reason is Reason.DRIVE:
                    self.drive_m += amount
                    self.drives += 1
        self.times = _labelled(times, day.log.sorties)


_PACK_BUSY = frozenset((State.FLOWN, State.COOL, State.CHARGE, State.CHARGE_LIMITED))


def _labelled(times: dict[tuple[State, Reason], float], sorties: list[Sortie]) -> dict[str, float]:
    """Return aircraft seconds by label, flights among them."""
    labelled: dict[str, float] = defaultdict(float)
    for (state, reason), seconds in times.items():
        reasoned = state is State.WAIT or state is State.MOVE
        labelled[f"{state.value}: {reason.value}" if reasoned else state.value] += seconds
    if sorties:
        for state, column in zip(FLIGHT_STATES, list(zip(*sorties, strict=True))[7:13], strict=True):
            labelled[state.value] += sum(column)
    return labelled


def _measures(plan: DayPlan, day: SimulatedDay, sums: _Sums) -> dict[str, float]:
    log, sorties, ends = day.log, day.log.sorties, day.ends
    area = sum(sortie.area_to_m2 - sortie.area_from_m2 for sortie in sorties)
    paid_s = sum(end.paid_until_s for end in ends)
    people = {rig.name: rig.rig.crew.pilots + rig.rig.crew.helpers for rig in plan.rigs}
    done: dict[tuple[str, int], float] = defaultdict(float)
    for sortie in sorties:
        done[sortie.field, sortie.visit] += sortie.area_to_m2 - sortie.area_from_m2
    areas = {field.name: field.area_m2 for field in plan.fields}
    finished = sum(1 for (name, _), flown in done.items() if flown >= areas[name] * (1 - 1e-9))
    capacity = {pack.name: pack.capacity_wh for rig in plan.rigs for pack, _ in rig.packs}
    landings = [
        (sortie.charge_before_wh - sortie.energy_wh) / capacity[sortie.pack.split("/", 1)[1].rsplit(" ", 1)[0]]
        for sortie in sorties
    ]
    swaps = sum(end.pack_swaps for end in ends)
    aircraft = sum(number for rig in plan.rigs for _, number in rig.aircraft)
    return {
        "area_m2": area,
        "acres": area / M2_PER_ACRE,
        "hectares": area / M2_PER_HECTARE,
        "field_hours": (paid_s - sums.rig_s) / 3600.0,
        "paid_hours": paid_s / 3600.0,
        "crew_hours": sum(end.paid_until_s * people[end.name] for end in ends) / 3600.0,
        "aircraft_hours": sum(sums.times.values()) / 3600.0,
        "sorties": float(len(sorties)),
        "loads": float(sum(end.loads for end in ends)),
        "pack_swaps": float(swaps),
        "charge_cycles": float(sum(end.charge_cycles for end in ends)),
        "generator_fuel_l": sum(end.fuel_burnt_l for end in ends),
        "energy_kwh": sum(end.bus_wh for end in ends) / 1000.0,
        "pack_energy_kwh": sums.stored_wh / 1000.0,
        "flown_energy_kwh": sum(sortie.energy_wh for sortie in sorties) / 1000.0,
        "applied": sum(sortie.applied for sortie in sorties),
        "mixed": sum(end.product_start + end.product_made for end in ends),
        "left_over": sum(end.product_in_tank + end.product_on_aircraft for end in ends),
        "water_fetched_l": sum(end.water_fetched_l for end in ends),
        "moves": float(sums.drives),
        "drive_km": sums.drive_m / 1000.0,
        "fields_finished": float(finished),
        "finish_hour": math.nan if log.list_finished_s is None else log.list_finished_s / 3600.0,
        "last_landing_hour": log.last_landing_s / 3600.0 if sorties else math.nan,
        "out_of_reach_acres": sum(end.out_of_reach_m2 for end in ends) / M2_PER_ACRE,
        "loads_per_charge": len(sorties) / (swaps + aircraft),
        "landing_charge_share": sum(landings) / len(landings) if landings else math.nan,
    }


def _utilisation(plan: DayPlan, day: SimulatedDay, sums: _Sums) -> dict[str, float]:
    """Return busy time over the time there was, over all of a kind and the paid day."""
    paid = {end.name: end.paid_until_s for end in day.ends}
    held: dict[Kind, float] = defaultdict(float)
    for entity, kind in day.log.kinds.items():
        if kind is not Kind.WEATHER:
            held[kind] += paid[entity.split("/", 1)[0]]
    source_wh = sum(point.capacity_w * paid[rig.name] / 3600.0 for rig in plan.rigs for point in rig.power)
    moving = sum(value for label, value in sums.times.items() if label.startswith("move"))
    airborne = sum(sums.times[state.value] for state in FLIGHT_STATES)
    total = sum(sums.times.values())
    return {
        "aircraft": _share(airborne, total),
        "packs": _share(sums.busy_s[Kind.PACK], held[Kind.PACK]),
        "chargers": _share(sums.busy_s[Kind.CHARGER], held[Kind.CHARGER]),
        "generator": _share(sums.source_wh, source_wh),
        "crew": _share(sums.busy_s[Kind.PERSON], held[Kind.PERSON]),
        "mix supply": _share(sums.mixing_s, held[Kind.SUPPLY]),
        "moves": _share(moving, total),
    }


def _share(part: float, whole: float) -> float:
    return part / whole if whole > 0 else 0.0


def active_intervals(day: SimulatedDay) -> dict[str, dict[str, list[tuple[float, float]]]]:
    """Return, by resource and then by entity, when it was active: not starved, not blocked, not waiting."""
    kinds = day.log.kinds
    active: dict[str, dict[str, list[tuple[float, float]]]] = {name: {} for name in RESOURCES}
    moves: dict[str, list[tuple[float, float]]] = defaultdict(list)
    stopped: dict[str, list[tuple[float, float]]] = defaultdict(list)
    for start, end, entity, state, _, _, _ in day.log.rows:
        if state is State.MOVE and kinds[entity] is Kind.RIG:
            moves[entity].append((start, end))
        elif state is State.STOPPED and kinds[entity] is Kind.PACK:
            stopped[entity].append((start, end))

    def add(resource: str, entity: str, start: float, end: float) -> None:
        active[resource].setdefault(entity, []).append((start, end))

    for start, end, entity, state, reason, field, _ in day.log.rows:
        if end <= start:
            continue
        kind = kinds[entity]
        if kind is Kind.AIRCRAFT:
            if state in (State.SWAP, State.FILL, State.LAUNCH_CHECK, State.REPAIR):
                add("aircraft", entity, start, end)
        elif kind is Kind.RIG:
            if state is State.MOVE:
                add("moves", entity, start, end)
        elif kind is Kind.PACK:
            rig = entity.split("/", 1)[0]
            if state is State.FLOWN:
                # on an aircraft that is being driven it does nothing
                for begin, finish in _without((start, end), moves[rig]):
                    add("packs", entity, begin, finish)
            elif state in _PACK_BUSY:
                add("packs", entity, start, end)
            if state is State.CHARGE_LIMITED:
                add("generator", "source/" + entity.split("/", 1)[0], start, end)
        elif kind is Kind.CHARGER:
            for begin, finish in _without((start, end), stopped[field]):
                add("chargers", entity, begin, finish)
        elif kind is Kind.PERSON:
            if state is State.TASK and reason not in _MOVES:
                add("crew", entity, start, end)
        elif kind is Kind.SUPPLY and reason in (Reason.MIX, Reason.RESTOCK):
            add("mix supply", entity, start, end)
    for sortie in day.log.sorties:
        add("aircraft", sortie.aircraft, sortie.start_s, sortie.end_s)
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
    """Return each resource's share of the day as momentary bottleneck (active-period method).

    The entity with the longest uninterrupted active period holds the title; shifting seconds are split evenly. Source:
    Roser, Nakano & Tanaka 2002, Winter Simulation Conference.
    """
    active = active_intervals(day)
    owner = {entity: resource for resource, entities in active.items() for entity in entities}
    flat = {entity: spans for entities in active.values() for entity, spans in entities.items()}
    result = momentary_bottleneck(flat, 0.0, day.log.paid_until_s)
    shares = dict.fromkeys(RESOURCES, 0.0)
    for entity, share in result.share.items():
        shares[owner[entity]] += share
    return shares
