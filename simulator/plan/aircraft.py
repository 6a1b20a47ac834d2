"""Aircraft classes as plain numbers for the simulation."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

from simulator.errors import Problem
from simulator.physics.air import density_kg_per_m3
from simulator.physics.flight import FlightModel, calibrate, calibrate_from_load_use, cubic_power
from simulator.physics.swath import turn_of
from simulator.plan.equipment import PackPlan
from simulator.scenario.distributions import Constant, Distribution
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_equipment import Aircraft, Breakdown, Hover

Cubic = tuple[float, float, float, float]


@dataclass(frozen=True)
class AircraftPlan:
    """One aircraft class on the scenario's product and in its air.

    ``capacity_units`` is litres or kilograms of product; ``flow_max`` in the same unit per second.
    """

    name: str
    model: FlightModel
    density_kg_per_m3: float
    wind_m_per_s: float
    empty_kg: float
    capacity_units: float
    unit_kg: float
    take_off_mass_max_kg: float | None
    swath_m: float
    work_speed_m_per_s: float
    ferry_speed_m_per_s: float
    flow_max: float | None
    mass_range_kg: tuple[float, float]
    hover_power: Cubic
    turn_time: Distribution
    take_off_time: Distribution
    landing_time: Distribution
    flight_time_factor: Distribution
    swap_every_landing: bool
    section_control: bool
    handling_time: Distribution
    handling_people: int
    ramp_time: Distribution
    breakdown: Breakdown | None
    ferry_power: Cubic = field(init=False, repr=False, compare=False)
    """Cubic of power (W) against all-up mass (kg) at the ferry speed."""

    def __post_init__(self) -> None:
        """Work out what is flown with again and again."""
        object.__setattr__(self, "ferry_power", self.power_at(self.ferry_speed_m_per_s))

    def power_at(self, speed_m_per_s: float) -> Cubic:
        """Return the cubic of power (W) against all-up mass (kg) at a ground speed, half of it upwind."""
        if self.wind_m_per_s == 0.0:
            return cubic_power(self.model, speed_m_per_s, self.density_kg_per_m3, *self.mass_range_kg)
        against, along = (
            cubic_power(self.model, speed_m_per_s, self.density_kg_per_m3, *self.mass_range_kg, headwind_m_per_s=wind)
            for wind in (self.wind_m_per_s, -self.wind_m_per_s)
        )
        c0, c1, c2, c3 = (0.5 * (one + other) for one, other in zip(against, along, strict=True))
        return c0, c1, c2, c3

    def lifting(self, people: int) -> tuple[Distribution, int]:
        """Return the time to lift it on or off, and how many go at a time: over a ramp where people are too few."""
        if people < self.handling_people:
            return self.ramp_time, 1
        return self.handling_time, people // self.handling_people

    def capacity(self, pack_kg: float) -> float:
        """Return the largest load (L or kg) with a pack of that mass; not below 0."""
        if self.take_off_mass_max_kg is None:
            return self.capacity_units
        lifted = (self.take_off_mass_max_kg - self.empty_kg - pack_kg) / self.unit_kg
        return max(0.0, min(self.capacity_units, lifted))


def lifting_s(aircraft: Iterable[tuple[AircraftPlan, int]], people: int) -> float:
    """Return the mean time to lift numbers of aircraft on or off, side by side as far as people allow."""
    total_s = 0.0
    for entry, number in aircraft:
        time, together = entry.lifting(people)
        total_s += number * time.mean() / together
    return total_s


def plan_aircraft(scenario: Scenario, packs: dict[str, PackPlan], problems: list[Problem]) -> dict[str, AircraftPlan]:
    """Return every aircraft class that can carry the scenario's product."""
    density = density_kg_per_m3(scenario.weather.altitude, scenario.weather.air_temperature)
    plans = {}
    for name, aircraft in scenario.aircraft.items():
        model = _flight_model(name, aircraft, problems)
        capacity = _capacity(aircraft, scenario)
        fitting = [pack.mass_kg for pack in packs.values() if name in pack.fits]
        if model is None or capacity is None or not fitting:
            continue
        liquid = scenario.product.kind == "liquid"
        unit_kg = scenario.product.density if liquid else 1.0
        low = aircraft.empty_mass + min(fitting)
        high = aircraft.empty_mass + max(fitting) + capacity * unit_kg
        speed = aircraft.spray_speed if liquid or aircraft.spread_speed is None else aircraft.spread_speed
        swath = aircraft.swath if liquid or aircraft.spread_swath is None else aircraft.spread_swath
        plans[name] = AircraftPlan(
            name=name,
            model=model,
            density_kg_per_m3=density,
            wind_m_per_s=scenario.weather.wind_speed,
            empty_kg=aircraft.empty_mass,
            capacity_units=capacity,
            unit_kg=unit_kg,
            take_off_mass_max_kg=aircraft.take_off_mass_max,
            swath_m=swath,
            work_speed_m_per_s=speed,
            ferry_speed_m_per_s=aircraft.ferry_speed,
            flow_max=aircraft.flow_max if liquid else aircraft.spread_flow_max,
            mass_range_kg=(low, high),
            hover_power=cubic_power(model, scenario.weather.wind_speed, density, low, high),
            turn_time=_turn_time(aircraft, swath, speed),
            take_off_time=aircraft.take_off_time,
            landing_time=aircraft.landing_time,
            flight_time_factor=aircraft.flight_time_factor,
            swap_every_landing=aircraft.swap == "every landing",
            section_control=aircraft.section_control,
            handling_time=aircraft.handling_time,
            handling_people=aircraft.handling_people,
            ramp_time=aircraft.ramp_time,
            breakdown=aircraft.breakdown,
        )
    return plans


def _turn_time(aircraft: Aircraft, swath_m: float, speed_m_per_s: float) -> Distribution:
    if aircraft.turn_limits is None:
        return aircraft.turn_time
    limits = aircraft.turn_limits
    return Constant(turn_of(swath_m, speed_m_per_s, limits.acceleration, limits.radius_least).time_s)


def _capacity(aircraft: Aircraft, scenario: Scenario) -> float | None:
    """Return the largest load by tank or hopper, L or kg; None when the aircraft cannot carry the product."""
    if scenario.product.kind == "liquid":
        return aircraft.tank
    if aircraft.hopper_mass is None:
        return None
    if aircraft.hopper_volume is None:
        return aircraft.hopper_mass
    return min(aircraft.hopper_mass, aircraft.hopper_volume * scenario.product.bulk_density)


def _flight_model(name: str, aircraft: Aircraft, problems: list[Problem]) -> FlightModel | None:
    hover, log = aircraft.hover, aircraft.load_log
    try:
        rotors = FlightModel(
            aircraft.rotors,
            aircraft.rotor_diameter,
            aircraft.coaxial,
            aircraft.figure_of_merit,
            aircraft.fixed_power,
            drag_area_m2=aircraft.drag_area,
        )
        if log is not None:
            loads = [(one.load, one.airborne / 60.0, one.used) for one in log.loads]
            density, empty_kg = density_kg_per_m3(log.altitude, log.air_temperature), log.empty_mass + log.pack_mass
            return calibrate_from_load_use(rotors, log.energy * log.health, empty_kg, loads, density, log.speed)
        if hover is not None:
            density = density_kg_per_m3(hover.altitude, hover.air_temperature)
            return calibrate(rotors, hover.energy, hover.usable_share, hover_points(hover), density)
    except ValueError as error:
        part = ".hover" if hover else ".load_log" if log else ""
        problems.append(Problem(f"aircraft.{name}{part}", str(error)))
        return None
    return rotors


def hover_points(hover: Hover) -> list[tuple[float, float]]:
    """Return the all-up masses (kg) and minutes that a spec sheet gives."""
    hung_kg = hover.empty_mass + hover.pack_mass
    points = []
    if hover.empty_time is not None:
        points.append((hung_kg, hover.empty_time / 60.0))
    if hover.full_time is not None:
        points.append((hung_kg + (hover.full_load or 0.0), hover.full_time / 60.0))
    return points
