"""Fields that no charge reaches: named before a day is flown."""

from __future__ import annotations

import math

from simulator.plan.aircraft import AircraftPlan
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.equipment import PackPlan
from simulator.plan.flight import furthest

_LOOKS = 12
"""Places along each stretch between landing zones at which it is tried."""
_LEAST_SHARE = 0.02
"""A place is reached when this share of a load can be flown there and back."""


def unreached_fields(plan: DayPlan) -> tuple[str, ...]:
    """Return the names of fields of which some place is out of reach of every aircraft and pack of the set."""
    pairs = [
        (rig, aircraft, pack)
        for rig in plan.rigs
        for aircraft, _ in rig.aircraft
        for pack, _ in rig.packs
        if aircraft.name in pack.fits and aircraft.capacity(pack.mass_kg) > 0.0
    ]
    return tuple(
        field.name
        for index, field in enumerate(plan.fields)
        if not any(_reaches_all(plan, index, rig, aircraft, pack) for rig, aircraft, pack in pairs)
    )


def _reaches_all(plan: DayPlan, index: int, rig: RigPlan, aircraft: AircraftPlan, pack: PackPlan) -> bool:
    """Tell whether an aircraft with a type of pack can fly a little at every place of a field by mean times."""
    profile = plan.profiles[aircraft.name, index]
    flight = plan.flights.of(aircraft, profile, pack.mass_kg)
    energy_wh = pack.usable_wh(rig.rig.charge_to)
    energy_wh /= 1.0 + plan.scenario.flying.energy_margin
    little_m2 = _LEAST_SHARE * aircraft.capacity(pack.mass_kg) / profile.rate
    for station in plan.fields[index].stations:
        length_m2 = station.area_to_m2 - station.area_from_m2
        for look in range(_LOOKS):
            start_m2 = station.area_from_m2 + length_m2 * look / _LOOKS
            end_m2 = min(station.area_to_m2, start_m2 + little_m2)
            reached = furthest(flight, start_m2, end_m2, 0.0, energy_wh, math.inf, 1.0, fill=True)
            if reached < end_m2 - 1.0:
                return False
    return True
