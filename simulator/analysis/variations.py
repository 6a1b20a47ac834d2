"""One more or one larger of each resource of the model's own: changes whose worth a report simulates."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario

LARGER = 1.25
"""A larger generator or grid supply is this much larger."""


@dataclass(frozen=True)
class Variation:
    """One change to an equipment set, in plain words and as ``KEY=VALUE``, and the resource that it relieves."""

    change: str
    resource: str
    setting: str


def _where(scenario: Scenario, rig: str) -> str:
    return f" on {rig}" if len(used_rigs(scenario)) > 1 else ""


def more_aircraft(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield one more aircraft of each class."""
    for name, number in scenario.rig[rig].aircraft.items():
        if number:
            change = f"one more aircraft ({name}){_where(scenario, rig)}"
            yield Variation(change, "aircraft", f"rig.{rig}.aircraft.{name}={number + 1}")


def more_packs(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield one more pack of each type."""
    for name, number in scenario.rig[rig].packs.items():
        if number:
            change = f"one more pack ({name}){_where(scenario, rig)}"
            yield Variation(change, "packs", f"rig.{rig}.packs.{name}={number + 1}")


def more_chargers(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield one more charger of each kind."""
    for point_name, point in scenario.rig[rig].power.items():
        for name, number in point.chargers.items():
            if number:
                change = f"one more charger ({name}){_where(scenario, rig)}"
                yield Variation(change, "chargers", f"rig.{rig}.power.{point_name}.chargers.{name}={number + 1}")


def larger_supply(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield a larger grid supply."""
    for name, point in scenario.rig[rig].power.items():
        if point.grid_power is not None:
            larger = point.grid_power * LARGER
            change = f"a supply of {larger / 1000:.3g} kW{_where(scenario, rig)}"
            yield Variation(change, "generator", f"rig.{rig}.power.{name}.grid_power={larger:.6g} W")


def larger_generators(scenario: Scenario) -> Iterator[Variation]:
    """Yield a larger generator of each class; rigs may share one."""
    points = [point for name in used_rigs(scenario) for point in scenario.rig[name].power.values()]
    for generator in sorted({point.generator for point in points if point.generator is not None}):
        larger = scenario.generator[generator].rated_power * LARGER
        change = f"a {larger / 1000:.3g} kW generator ({generator})"
        yield Variation(change, "generator", f"generator.{generator}.rated_power={larger:.6g} W")


def more_crew(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield one more helper."""
    helpers = scenario.rig[rig].crew.helpers + 1
    yield Variation(f"one more helper{_where(scenario, rig)}", "crew", f"rig.{rig}.crew.helpers={helpers}")


def faster_pump(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield a faster fill pump."""
    supply, liquid = scenario.rig[rig].supply, scenario.product.kind == "liquid"
    key, flow, unit = ("pump_flow", supply.pump_flow, "L/s") if liquid else ("dry_flow", supply.dry_flow, "kg/s")
    change = f"a fill pump half as fast again{_where(scenario, rig)}"
    yield Variation(change, "mix supply", f"rig.{rig}.supply.{key}={1.5 * flow:.6g} {unit}")
