"""What the chargers of a power point ask for, and what its source gives continuously."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any, NamedTuple

from simulator.physics.generator import derate_share
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_equipment import Charger, Generator
from simulator.scenario.schema_rig import PowerPoint


class PowerBalance(NamedTuple):
    """One power point of a rig: what is asked of its source and what that gives, W."""

    rig: str
    point: str
    asked_w: float
    given_w: float


def drawn_w(charger: Charger) -> float:
    """Return what a charger draws with all its slots busy, at its setting, W."""
    return charger.setting * (charger.input_power_max or charger.output_power / charger.efficiency)


def asked_w(scenario: Scenario, point: PowerPoint) -> float:
    """Return what the chargers and the other load of a power point ask for together, W."""
    drawn = [number * drawn_w(scenario.charger[name]) for name, number in point.chargers.items()]
    return point.other_load + sum(drawn)


def given_w(scenario: Scenario, point: PowerPoint) -> float:
    """Return what the source of a power point gives continuously, at the scenario's altitude and temperature, W."""
    if point.generator is None:
        return point.grid_power or 0.0
    return continuous_w(scenario, scenario.generator[point.generator])


def continuous_w(scenario: Scenario, generator: Generator) -> float:
    """Return what a generator gives continuously in the scenario's air, W."""
    share = derate_share(generator.derate, scenario.weather.altitude, scenario.weather.air_temperature)
    return generator.rated_power * generator.continuous_share * share


def power_balances(scenario: Scenario) -> tuple[PowerBalance, ...]:
    """Return the balance of every power point in use."""
    return tuple(
        PowerBalance(rig, name, asked_w(scenario, point), given_w(scenario, point))
        for rig in used_rigs(scenario)
        for name, point in scenario.rig[rig].power.items()
    )


def power_words(balances: Iterable[Mapping[str, Any]]) -> str:
    """Return balances in a sentence, with the fields of :class:`PowerBalance`; points are named among several."""
    rows = list(balances)
    said = [
        (f"{one['rig']}/{one['point']}: " if len(rows) > 1 else "")
        + f"asked for {one['asked_w'] / 1000.0:.3g} kW, gives {one['given_w'] / 1000.0:.3g} kW continuously"
        for one in rows
    ]
    return f"Power {'; '.join(said)}." if said else ""
