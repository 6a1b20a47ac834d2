"""The day plan: a scenario turned into plain numbers once, so that simulating a day looks nothing up.

The plan of an equipment set is read-only and picklable; every replication and every worker shares it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from typing import TypeVar
from weakref import WeakKeyDictionary

from simulator.errors import InputError, Problem
from simulator.physics.path import FieldPath
from simulator.plan.aircraft import AircraftPlan, lifting_s, plan_aircraft
from simulator.plan.equipment import (
    ChargerPlan,
    GeneratorPlan,
    PackPlan,
    PowerPointPlan,
    plan_chargers,
    plan_generators,
    plan_packs,
)
from simulator.plan.field_work import FieldWork, WorkPlanner
from simulator.plan.fields import Ferrying, FieldPlan, Geography, WorkProfile, plan_fields
from simulator.plan.flight import FlightBook, furthest
from simulator.scenario.field_list import FieldList
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_rig import Rig
from simulator.scenario.weather_days import Windows

Planned = TypeVar("Planned")

MOST_LOADS = 99
"""More loads than a charge carries."""


@dataclass(frozen=True)
class Habits:
    """What a rig's crew does by habit on every field, whatever the day brings."""

    take_early: bool = False
    """Packs are taken before they are full."""
    fed_first: str = ""
    """The aircraft class whose packs are charged first; empty for the kind of which fewest lie ready."""
    loads_on_charge: int = MOST_LOADS
    """A pack is swapped after so many loads, whatever it still holds."""
    batch_share: float = 1.0
    """A batch fills at most this share of what one may."""


@dataclass(frozen=True)
class RigPlan:
    """One rig: numbers of everything, in a fixed order."""

    name: str
    rig: Rig
    aircraft: tuple[tuple[AircraftPlan, int], ...]
    packs: tuple[tuple[PackPlan, int], ...]
    power: tuple[PowerPointPlan, ...]
    pack_up_handling: float
    habits: Habits
    pack_uses: dict[tuple[str, int], str] = field(default_factory=dict, repr=False)
    """By aircraft class and field number, what a pack must fit there: where only some of its types reach the field."""

    @cached_property
    def pack_types(self) -> dict[str, PackPlan]:
        """The type of each pack, by the names that the packs have in the log."""
        return {
            f"{self.name}/{pack.name} {place}": pack for pack, number in self.packs for place in range(1, number + 1)
        }


@dataclass(frozen=True)
class DayPlan:
    """All that a simulated day of one equipment set needs.

    Fields are in the order of the list, profiles by aircraft class and field number; ``unit_kg`` is the mass of one
    unit of product (kg per L of mix, 1 for granules); ``weather_days`` are the workable stretches of a file's dates.
    """

    name: str
    scenario: Scenario
    fields: tuple[FieldPlan, ...]
    geography: Geography
    rigs: tuple[RigPlan, ...]
    profiles: dict[tuple[str, int], WorkProfile] = field(repr=False)
    grounds: FieldList = field(repr=False, compare=False)
    """The fields as given."""
    unit_kg: float = 1.0
    weather_days: tuple[Windows, ...] | None = field(default=None, repr=False)
    work: dict[str, tuple[FieldWork, ...]] = field(default_factory=dict, repr=False)
    """By rig and field number, which aircraft come off the trailer and how full they fly."""
    tried: bool = False
    """Whether it is simulated for its acres alone: nobody asks for its momentary bottleneck."""
    zones_for: float = 1.0
    """The share of a full load that its landing zones suit."""
    learnt: bool = False
    """Whether the crew's ways have been tried out; what is made of such a plan keeps them."""
    rehearsals: list[DayPlan] = field(default_factory=list, init=False, repr=False, compare=False)
    """This very plan with what its crew has learnt, once it has been tried out."""
    flights: FlightBook = field(default_factory=FlightBook, repr=False, compare=False)
    """Flights by mean times; they remember what was worked out."""

    @cached_property
    def fields_alike(self) -> bool:
        """Whether every field has the shape and rate of the first: which of them a day flies is then no matter."""
        return len({(one.outline, one.rate, one.product) for one in self.fields}) == 1

    @property
    def list_m2(self) -> float:
        """Area of all fields of the list."""
        return sum(one.area_m2 for one in self.fields)

    @property
    def last_landing_s(self) -> float:
        """Seconds from the start of the day to the last landing."""
        return self.scenario.day.last_landing_s


_MADE: WeakKeyDictionary[EquipmentSet, DayPlan] = WeakKeyDictionary()
"""Plans of equipment sets that are in use, so that a set is planned and rehearsed once."""


def make_plan(equipment: EquipmentSet) -> DayPlan:
    """Return the plan of an equipment set; an `InputError` with all that the physics refuses of the equipment."""
    if equipment not in _MADE:
        _MADE[equipment] = _plan(equipment.name, equipment.scenario, equipment.fields, equipment.weather_days)
    return _MADE[equipment]


def with_zones_for(plan: DayPlan, load_share: float) -> DayPlan:
    """Return a plan whose landing zones suit loads of a share of a full one; work and habits are those of the plan."""
    other = _plan(plan.name, plan.scenario, plan.grounds, plan.weather_days, load_share)
    return replace(other, work=plan.work, rigs=plan.rigs, tried=plan.tried, learnt=plan.learnt)


def _plan(
    name: str, scenario: Scenario, grounds: FieldList, weather_days: tuple[Windows, ...] | None, load_share: float = 1.0
) -> DayPlan:
    problems: list[Problem] = []
    packs = plan_packs(scenario, problems)
    aircraft = plan_aircraft(scenario, packs, problems)
    chargers = plan_chargers(scenario, problems)
    generators = plan_generators(scenario)
    if problems:
        raise InputError(problems)
    rigs = tuple(_plan_rig(scenario, rig, aircraft, packs, chargers, generators) for rig in used_rigs(scenario))
    flown = {entry.name: entry for rig in rigs for entry, number in rig.aircraft if number}
    swaths_m = {name: entry.swath_m for name, entry in flown.items()}
    fields, paths, geography = plan_fields(scenario, grounds, swaths_m, _ferrying(rigs, load_share))
    unit_kg = scenario.product.density if scenario.product.kind == "liquid" else 1.0
    numbers = range(len(fields))
    ways = tuple(tuple(paths[entry.swath_m, index] for index in numbers) for entry in flown.values())
    profiles, flights = _profiles(tuple(flown.values()), ways, tuple(one.rate for one in fields))
    fields = tuple(
        replace(one, product_per_m2=max(profiles[name, index].product_per_m2 for name in flown))
        for index, one in enumerate(fields)
    )
    plan = DayPlan(
        name, scenario, fields, geography, rigs, profiles, grounds, unit_kg, weather_days,
        zones_for=load_share, flights=flights,
    )  # fmt: skip
    plan = replace(plan, rigs=tuple(_with_pack_uses(plan, rig) for rig in rigs))
    problems += _unflyable(plan) + _underpowered(plan)
    if problems:
        raise InputError(problems)
    plan.work.update({rig.name: _plan_work(plan, rig) for rig in plan.rigs})
    return plan


def _plan_work(plan: DayPlan, rig: RigPlan) -> tuple[FieldWork, ...]:
    """Return how a rig's crew works each field."""
    planner = WorkPlanner(plan.scenario, rig.rig, rig.aircraft, rig.packs, rig.power, plan.flights)
    stowing_s = rig.rig.trailer.pack_up_time.mean() + rig.rig.trailer.set_up_time.mean()
    speed, order = plan.scenario.route.road_speed.mean(), plan.geography.order
    found = {}
    for before, index in zip((None, *order), order, strict=False):
        move_s = plan.geography.distance_m(before, index) / speed + stowing_s
        profiles = [plan.profiles[entry.name, index] for entry, _ in rig.aircraft]
        found[index] = planner.plan(plan.fields[index], profiles, move_s)
    return tuple(found[index] for index in range(len(plan.fields)))


def _ferrying(rigs: tuple[RigPlan, ...], load_share: float) -> Ferrying:
    """Return what a shift of the landing zone saves and costs, by the largest aircraft of the first rig alone.

    How many fly with it is not known yet, and one that stays on the trailer must change nothing.
    """
    largest = max([one for one, _ in rigs[0].aircraft], key=lambda one: one.capacity_units)
    shift_s = rigs[0].rig.trailer.relocate_time.mean()
    return Ferrying(load_share * largest.capacity_units, largest.ferry_speed_m_per_s, shift_s)


@lru_cache(maxsize=2)
def _profiles(
    flown: tuple[AircraftPlan, ...], paths: tuple[tuple[FieldPath, ...], ...], rates: tuple[float, ...]
) -> tuple[dict[tuple[str, int], WorkProfile], FlightBook]:
    """Return profiles and flights of aircraft on their paths; equipment sets with the same aircraft share them."""
    profiles = {
        (entry.name, index): _profile(entry, path, rate)
        for entry, own in zip(flown, paths, strict=True)
        for index, (path, rate) in enumerate(zip(own, rates, strict=True))
    }
    return profiles, FlightBook()


def _profile(aircraft: AircraftPlan, path: FieldPath, rate: float) -> WorkProfile:
    speed = aircraft.work_speed_m_per_s
    if aircraft.flow_max is not None:
        speed = min(speed, aircraft.flow_max / (rate * aircraft.swath_m))
    return WorkProfile(path, rate, speed, aircraft.power_at(speed), aircraft.swath_m, aircraft.section_control)


def _plan_rig(
    scenario: Scenario,
    name: str,
    aircraft: dict[str, AircraftPlan],
    packs: dict[str, PackPlan],
    chargers: dict[str, ChargerPlan],
    generators: dict[str, GeneratorPlan],
) -> RigPlan:
    rig = scenario.rig[name]
    points = []
    for point_name, point in rig.power.items():
        generator = generators[point.generator] if point.generator is not None else None
        capacity_w = generator.capacity_w if generator is not None else float(point.grid_power or 0.0)
        hung, trips = _numbers(chargers, point.chargers), point.overload == "trip"
        points.append(PowerPointPlan(point_name, generator, capacity_w, point.other_load, hung, trips))
    flown = _numbers(aircraft, rig.aircraft)
    lifting = lifting_s(flown, rig.crew.pilots + rig.crew.helpers)
    held = _numbers(packs, rig.packs)
    return RigPlan(name, rig, flown, held, tuple(points), lifting, Habits(rig.take_partly_charged))


def _numbers(plans: dict[str, Planned], numbers: Mapping[str, int]) -> tuple[tuple[Planned, int], ...]:
    return tuple((plans[name], number) for name, number in numbers.items() if number)


def _underpowered(plan: DayPlan) -> list[Problem]:
    """Find sources that the other load alone takes up, and chargers that cannot be set low enough for theirs."""
    problems = []
    for rig in plan.rigs:
        for point in rig.power:
            key, left_w = f"rig.{rig.name}.power.{point.name}", point.capacity_w - point.other_load_w
            given = f"the source gives {point.capacity_w:.0f} W continuously"
            if left_w <= 0.0:
                text = f"got {point.other_load_w:.0f} W; {given}: nothing is left for chargers"
                problems.append(Problem(f"{key}.other_load", text))
                continue
            for charger, _ in point.chargers:
                # a source that trips is not helped by turning chargers down
                least_w = (charger.output_w if point.trips else charger.least_w) / charger.efficiency
                if least_w > left_w * (1.0 + 1e-9):
                    setting = "setting" if point.trips else "least setting"
                    named = f"charger.{charger.name}.{setting.replace('least setting', 'setting_least')}"
                    text = f"draws {least_w:.0f} W at its {setting} ({named}); {given}"
                    text += f" and {left_w:.0f} W are left for chargers" if point.other_load_w > 0.0 else ""
                    problems.append(Problem(f"{key}.chargers.{charger.name}", text))
    return problems


def _reaches(plan: DayPlan, rig: RigPlan, aircraft: AircraftPlan, pack: PackPlan, index: int) -> bool:
    """Tell whether a charge carries a tenth of a load to the beginning of a field, and back within the reserve."""
    load, profile = aircraft.capacity(pack.mass_kg), plan.profiles[aircraft.name, index]
    if load <= 0.0:
        return False
    flight = plan.flights.of(aircraft, profile, pack.mass_kg)
    wanted = min(profile.reach_m2(0.0, 0.1 * load), profile.path.area_m2)
    energy = pack.usable_wh(rig.rig.charge_to)
    return furthest(flight, 0.0, wanted, profile.product(0.0, wanted), energy, math.inf, 1.0) > 0.0


def _fitting(rig: RigPlan, aircraft: AircraftPlan) -> list[PackPlan]:
    return [pack for pack, _ in rig.packs if aircraft.name in pack.fits]


def _with_pack_uses(plan: DayPlan, rig: RigPlan) -> RigPlan:
    """Return a rig whose packs say where they serve, on fields that not every type of pack can be flown to."""
    uses: dict[tuple[str, int], str] = {}
    able: dict[str, list[str]] = {}
    for aircraft, _ in rig.aircraft:
        fitting = _fitting(rig, aircraft)
        for index in range(len(plan.fields)) if len(fitting) > 1 else ():
            reaching = [pack.name for pack in fitting if _reaches(plan, rig, aircraft, pack, index)]
            if 0 < len(reaching) < len(fitting):
                use = uses[aircraft.name, index] = f"{aircraft.name} on field {index + 1}"
                for name in reaching:
                    able.setdefault(name, []).append(use)
    if not uses:
        return rig
    packs = tuple((replace(one, fits=(*one.fits, *able.get(one.name, ()))), number) for one, number in rig.packs)
    return replace(rig, packs=packs, pack_uses=uses)


def _unflyable(plan: DayPlan) -> list[Problem]:
    """Find aircraft that can fly a tenth of a load to no field and back within the reserve, with any pack."""
    problems = []
    for rig in plan.rigs:
        for aircraft, _ in rig.aircraft:
            fitting = _fitting(rig, aircraft)
            fields = range(len(plan.fields))
            if any(_reaches(plan, rig, aircraft, pack, index) for pack in fitting for index in fields):
                continue
            reasons = [
                f"{pack.name}: its mass leaves no load within take_off_mass_max"
                if aircraft.capacity(pack.mass_kg) <= 0
                else f"{pack.name}: {pack.usable_wh(rig.rig.charge_to):.0f} Wh above the reserve carry no tenth of a"
                " load to any field and back"
                for pack in fitting
            ]
            if fitting:
                problems.append(Problem(f"aircraft.{aircraft.name}", "no load can be flown; " + "; ".join(reasons)))
    return list(dict.fromkeys(problems))
