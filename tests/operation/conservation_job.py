"""Conservation over a whole run: what an evening leaves, the night's charges, and what the next morning begins with."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator, Sequence

from conservation import refuse, violations
from conservation_parts import SHARE, differ

from simulator.operation.job import WorkDay
from simulator.plan.day_plan import DayPlan

_OVER_WH = 0.01
"""A charge may end a millisecond late."""


def verify_run(plan: DayPlan, days: Sequence[WorkDay]) -> None:
    """Raise a `ConservationError` with all that does not add up in the work days of a run and the nights between."""
    refuse(run_violations(plan, days), days[0].day.replication)


def run_violations(plan: DayPlan, days: Sequence[WorkDay]) -> list[str]:
    """Return what does not add up in the days and nights of a run, one line a violation; empty when all laws hold."""
    found = []
    for place, one in enumerate(days):
        told = violations(plan, one.day)
        if not one.last:
            told += _night(plan, one)
        if place + 1 < len(days):
            told += _over_night(plan, one, days[place + 1])
        found += [f"work day {one.day.work_day}: {text}" for text in told]
    return found


def _night(plan: DayPlan, one: WorkDay) -> Iterator[str]:
    """Check what a night has put into packs."""
    for rig, end, night, morning in zip(plan.rigs, one.day.ends, one.nights, one.mornings, strict=True):
        stored = 0.0
        for name, pack in rig.pack_types.items():
            before, after = end.pack_charge_wh[name], morning.pack_wh[name]
            stored += after - before
            most = max(before, pack.capacity_wh * rig.rig.charge_to)
            if not before - SHARE <= after <= most + _OVER_WH:
                yield f"{name}: {before} Wh in the evening, {after} Wh in the morning; its charge ends at {most} Wh"
        if differ(stored, night.stored_wh):
            yield f"{rig.name}: packs hold {stored} Wh more by the morning; {night.stored_wh} Wh were stored"
        # losses are of some size, and never negative
        if night.stored_wh > night.bus_wh * (1 + SHARE) + SHARE:
            yield f"{rig.name}: {night.stored_wh} Wh stored overnight of {night.bus_wh} Wh taken"


def _over_night(plan: DayPlan, one: WorkDay, following: WorkDay) -> Iterator[str]:
    """Check that a day begins with what the evening has left."""
    sprayed: dict[tuple[int, int], float] = defaultdict(float)
    numbers = {field.name: index for index, field in enumerate(plan.fields)}
    for sortie in one.day.log.sorties:
        sprayed[sortie.visit, numbers[sortie.field]] += sortie.area_to_m2 - sortie.area_from_m2
    given_up = sum(end.out_of_reach_m2 for end in one.day.ends)
    lost = 0.0
    for key, to_do in following.day.to_do_m2.items():
        field = plan.fields[key[1]]
        left = one.day.to_do_m2.get(key, field.area_m2) - sprayed[key]
        lost += left - to_do
        if to_do > left + SHARE * field.area_m2:
            yield f"{field.name}: {left} m2 left in the evening, {to_do} m2 to do in the morning"
    if lost > given_up + SHARE * sum(field.area_m2 for field in plan.fields):
        yield f"{lost} m2 lost overnight; out of reach were {given_up} m2"
    for morning, end in zip(one.mornings, following.day.ends, strict=True):
        if morning.pack_wh != end.pack_start_wh or morning.product != end.product_start:
            yield f"{end.name}: the day does not begin with what the night has left"
