"""Packs, chargers and generators as plain numbers for the simulation."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.errors import Problem
from simulator.physics.charge import ChargeCurve
from simulator.physics.generator import FuelLine, asabe_fuel_line, fit_fuel_line
from simulator.physics.pack import cooling_time_s, health_share, temperature_share
from simulator.scenario.distributions import Constant, Distribution
from simulator.scenario.power_balance import continuous_w
from simulator.scenario.schema import Scenario


@dataclass(frozen=True)
class PackPlan:
    """One pack type; energies are what it now holds: nominal times health."""

    name: str
    fits: tuple[str, ...]
    mass_kg: float
    capacity_wh: float
    reserve_wh: float
    curve: ChargeCurve
    charge_efficiency: float
    cooling_time: Distribution

    def usable_wh(self, charge_to: float) -> float:
        """Return what may be flown of a pack charged to a share."""
        return self.capacity_wh * charge_to - self.reserve_wh


@dataclass(frozen=True)
class ChargerPlan:
    """One charger class; powers at the packs' terminals, after its setting; it cannot be set below ``least_w``."""

    name: str
    serves: tuple[str, ...]
    slots: int
    output_w: float
    slot_w: float
    least_w: float
    efficiency: float
    balance_time: Distribution


@dataclass(frozen=True)
class GeneratorPlan:
    """One generator class: what it may be loaded to here, and what it burns."""

    name: str
    rated_w: float
    capacity_w: float
    fuel: FuelLine
    fuel_tank_l: float
    refuel_at_l: float


@dataclass(frozen=True)
class PowerPointPlan:
    """A generator or grid supply and its chargers; one that ``trips`` stops when too much is plugged in."""

    name: str
    generator: GeneratorPlan | None
    capacity_w: float
    other_load_w: float
    chargers: tuple[tuple[ChargerPlan, int], ...]
    trips: bool = False


def plan_packs(scenario: Scenario, problems: list[Problem]) -> dict[str, PackPlan]:
    """Return every pack type of a scenario, in its air."""
    plans = {}
    for name, pack in scenario.pack.items():
        air_c = scenario.weather.air_temperature
        fade = health_share(pack.cycles, 1.0 - pack.reserve)
        if fade == 0.0:
            message = f"got {pack.cycles:g}; so many of a depth of {1.0 - pack.reserve:.0%} leave nothing of a pack"
            problems.append(Problem(f"pack.{name}.cycles", message))
            continue
        capacity = pack.energy * pack.health * fade * (temperature_share(air_c) if pack.cold_loss else 1.0)
        if not pack.charge_temperature_least <= air_c <= pack.charge_temperature_most:
            allowed = f"{pack.charge_temperature_least:g} to {pack.charge_temperature_most:g} degC"
            keys = "charge_temperature_least, charge_temperature_most"
            message = f"got {air_c:g} degC; pack.{name} may be charged at {allowed} ({keys})"
            problems.append(Problem("weather.air_temperature", message))
        cooling = pack.cooling_time
        if pack.cooling is not None:
            seconds = cooling_time_s(pack.cooling.after_flight, air_c, pack.cooling.limit, pack.cooling.time_constant)
            if not math.isfinite(seconds):
                message = f"the pack never cools to {pack.cooling.limit:g} degC in air of {air_c:g} degC"
                problems.append(Problem(f"pack.{name}.cooling.limit", message))
                continue
            cooling = Constant(seconds)
        # the curve is in stored energy; what the charger delivers at the terminals is more by the charge efficiency
        stored_w = pack.charge_power_max * pack.charge_efficiency
        curve = ChargeCurve(capacity, stored_w, pack.cc_share, min(pack.cut_share, 0.999))
        plans[name] = PackPlan(
            name, tuple(pack.fits), pack.mass, capacity, capacity * pack.reserve, curve, pack.charge_efficiency, cooling
        )
    return plans


def plan_chargers(scenario: Scenario, problems: list[Problem]) -> dict[str, ChargerPlan]:
    """Return every charger class of a scenario."""
    plans = {}
    for name, charger in scenario.charger.items():
        # after its own limit and that of its input
        most_w = min(charger.output_power, (charger.input_power_max or math.inf) * charger.efficiency)
        slot_w = min(charger.slot_power or math.inf, most_w) * charger.setting
        for pack in charger.serves:
            limit_w = scenario.pack[pack].charge_power_max
            if not charger.adapts and slot_w > limit_w * (1.0 + 1e-9):
                message = (
                    f"gives {slot_w / 1000:.4g} kW to pack.{pack}, which takes {limit_w / 1000:.4g} kW at most; lower "
                    f"setting or slot_power, or say adapts = true if it adapts to the pack"
                )
                problems.append(Problem(f"charger.{name}", message))
        least_w = most_w * min(charger.setting_least, charger.setting)
        plans[name] = ChargerPlan(
            name, tuple(charger.serves), charger.slots, most_w * charger.setting, slot_w, least_w,
            charger.efficiency, charger.balance_time,
        )  # fmt: skip
    return plans


def plan_generators(scenario: Scenario) -> dict[str, GeneratorPlan]:
    """Return every generator class of a scenario, derated for its altitude and temperature."""
    plans = {}
    for name, generator in scenario.generator.items():
        # measured points, or the part-load line of the ASABE
        line = asabe_fuel_line(generator.rated_power, generator.fuel)
        if generator.fuel_use:
            points = [(point.load, point.use * 3600.0) for point in generator.fuel_use]
            line = fit_fuel_line(*zip(*points, strict=True))
        capacity_w, tank_l = continuous_w(scenario, generator), generator.fuel_tank
        plans[name] = GeneratorPlan(name, generator.rated_power, capacity_w, line, tank_l, tank_l * generator.refuel_at)
    return plans
