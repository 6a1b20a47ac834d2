"""Every entity of every kind of resource is in one state at a time, within its day, and in some state all along."""

from __future__ import annotations

from collections.abc import Iterator

from simulator.analysis.conservation_parts import (
    TIME_S,
    aircraft_units,
    find_gaps,
    find_overlaps,
    intervals,
    people_of,
)
from simulator.analysis.log_rows import sortie_rows
from simulator.analysis.resources import resources
from simulator.operation.day import SimulatedDay
from simulator.operation.log import Kind, Row
from simulator.plan.day_plan import DayPlan


def state_violations(plan: DayPlan, day: SimulatedDay, rows: dict[str, list[Row]]) -> Iterator[str]:
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
