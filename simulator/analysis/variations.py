"""One more or one larger of each resource of the model's own: changes whose worth a report simulates."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from simulator.scenario.power_balance import asked_w, drawn_w, given_w
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.types import called

LARGER = 1.25
"""A larger generator or grid supply is this much larger."""
_SIZES_W = 500.0
"""Larger generators are of a whole number of these, rounded up."""


@dataclass(frozen=True)
class Variation:
    """One change to an equipment set, in plain words and as ``KEY=VALUE``, and the resource that it relieves."""

    change: str
    resource: str
    settings: tuple[str, ...]

    @property
    def setting(self) -> str:
        """All its settings as they are typed."""
        return " ".join(self.settings)


def setting_key(setting: str) -> str:
    """Return the key of ``KEY=VALUE``."""
    return setting.partition("=")[0].strip()


def _where(scenario: Scenario, rig: str) -> str:
    return f" on {rig}" if len(used_rigs(scenario)) > 1 else ""


def more_aircraft(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield one more aircraft of each class with its share of packs and chargers, power, and a pilot."""
    table = scenario.rig[rig]
    total = sum(table.aircraft.values())
    for name, number in table.aircraft.items():
        if not number:
            continue
        settings, comes_with = [f"rig.{rig}.aircraft.{name}={number + 1}"], []
        fitting = {pack for pack, held in table.packs.items() if held and name in scenario.pack[pack].fits}
        for pack in sorted(fitting):
            sharing = sum(count for one, count in table.aircraft.items() if one in scenario.pack[pack].fits)
            more = math.ceil(table.packs[pack] / sharing)
            settings.append(f"rig.{rig}.packs.{pack}={table.packs[pack] + more}")
            comes_with.append(f"{more} × {called(scenario.pack[pack], pack, 'pack')}")
        point_name, added_w = _roomiest(scenario, rig), 0.0
        for charger in sorted({one for point in table.power.values() for one in point.chargers}):
            held = sum(point.chargers.get(charger, 0) for point in table.power.values())
            if held and fitting & set(scenario.charger[charger].serves):
                more = math.ceil(held / total)
                there = table.power[point_name].chargers.get(charger, 0)
                settings.append(f"rig.{rig}.power.{point_name}.chargers.{charger}={there + more}")
                comes_with.append(f"{more} × {called(scenario.charger[charger], charger, 'charger')}")
                added_w += more * drawn_w(scenario.charger[charger])
        _with_power(scenario, rig, point_name, added_w, settings, comes_with)
        if table.crew.pilots * table.crew.aircraft_per_pilot <= total:
            settings.append(f"rig.{rig}.crew.pilots={table.crew.pilots + 1}")
            comes_with.append("a pilot")
        what = called(scenario.aircraft[name], name, "aircraft")
        listed = " and ".join(part for part in (", ".join(comes_with[:-1]), *comes_with[-1:]) if part)
        change = f"{' with '.join(part for part in (f'one more {what}', listed) if part)}{_where(scenario, rig)}"
        yield Variation(change, "aircraft", tuple(settings))


def _roomiest(scenario: Scenario, rig: str) -> str:
    """Return the power point whose source has most to spare."""
    points = scenario.rig[rig].power
    return max(points, key=lambda name: given_w(scenario, points[name]) - asked_w(scenario, points[name]))


def _with_power(
    scenario: Scenario, rig: str, point_name: str, added_w: float, settings: list[str], comes_with: list[str]
) -> None:
    """Add a larger source where what is added would not fit the present one."""
    point = scenario.rig[rig].power[point_name]
    given = given_w(scenario, point)
    short_w = min(added_w, asked_w(scenario, point) + added_w - given)
    if short_w <= 1e-6 * given:
        return
    factor = 1.0 + short_w / given
    if point.generator is None:
        settings.append(f"rig.{rig}.power.{point_name}.grid_power={given * factor:.6g}W")
        comes_with.append(f"a supply of {given * factor / 1000:.3g} kW")
    else:
        larger, words = _larger_generator(scenario, point.generator, factor)
        settings += larger
        comes_with.append(words)


def _larger_generator(scenario: Scenario, name: str, factor: float) -> tuple[list[str], str]:
    """Return the settings of a larger generator, with a tank in proportion, and its words."""
    table = scenario.generator[name]
    rated_w = math.ceil(table.rated_power * factor / _SIZES_W - 1e-9) * _SIZES_W
    tank_l = table.fuel_tank * rated_w / table.rated_power
    points = [point for rig in used_rigs(scenario) for point in scenario.rig[rig].power.values()]
    number = sum(point.generator == name for point in points)
    larger = f"{f'{number} × ' if number > 1 else 'a '}{rated_w / 1000:.3g} kW generator"
    settings = [f"generator.{name}.rated_power={rated_w:.6g}W", f"generator.{name}.fuel_tank={tank_l:.6g}L"]
    return settings, f"{larger} instead of the {called(table, name, 'generator')}"


def more_packs(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield one more pack of each type."""
    for name, number in scenario.rig[rig].packs.items():
        if number:
            change = f"one more {called(scenario.pack[name], name, 'pack')}{_where(scenario, rig)}"
            yield Variation(change, "packs", (f"rig.{rig}.packs.{name}={number + 1}",))


def more_chargers(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield one more charger of each kind, with a larger source where the present one would be too small for it."""
    for point_name, point in scenario.rig[rig].power.items():
        for name, number in point.chargers.items():
            if number:
                settings, comes_with = [f"rig.{rig}.power.{point_name}.chargers.{name}={number + 1}"], list[str]()
                _with_power(scenario, rig, point_name, drawn_w(scenario.charger[name]), settings, comes_with)
                more = f"one more {called(scenario.charger[name], name, 'charger')}"
                change = f"{' with '.join([more, *comes_with])}{_where(scenario, rig)}"
                yield Variation(change, "chargers", tuple(settings))


def larger_supply(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield a larger grid supply."""
    for name, point in scenario.rig[rig].power.items():
        if point.grid_power is not None:
            larger = point.grid_power * LARGER
            change = f"a supply of {larger / 1000:.3g} kW{_where(scenario, rig)}"
            yield Variation(change, "generator", (f"rig.{rig}.power.{name}.grid_power={larger:.6g}W",))


def larger_generators(scenario: Scenario) -> Iterator[Variation]:
    """Yield a larger generator of each class, with a tank in proportion; rigs may share one."""
    points = [point for name in used_rigs(scenario) for point in scenario.rig[name].power.values()]
    for generator in sorted({point.generator for point in points if point.generator is not None}):
        settings, change = _larger_generator(scenario, generator, LARGER)
        yield Variation(change, "generator", tuple(settings))


def more_crew(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield one more helper."""
    helpers = scenario.rig[rig].crew.helpers + 1
    yield Variation(f"one more helper{_where(scenario, rig)}", "crew", (f"rig.{rig}.crew.helpers={helpers}",))


def faster_set_up(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield half the time to set up and pack up."""
    trailer = scenario.rig[rig].trailer
    times = {"set_up_time": trailer.set_up_time.mean(), "pack_up_time": trailer.pack_up_time.mean()}
    settings = tuple(f"rig.{rig}.trailer.{key}={0.5 * time_s:.6g}s" for key, time_s in times.items() if time_s > 0.0)
    if settings:
        yield Variation(f"half the time to set up and pack up{_where(scenario, rig)}", "moves", settings)


def faster_pump(scenario: Scenario, rig: str) -> Iterator[Variation]:
    """Yield a faster fill pump."""
    supply, liquid = scenario.rig[rig].supply, scenario.product.kind == "liquid"
    key, flow, unit = ("pump_flow", supply.pump_flow, "L/s") if liquid else ("dry_flow", supply.dry_flow, "kg/s")
    change = f"a fill pump 1.5 times as fast{_where(scenario, rig)}"
    yield Variation(change, "mix supply", (f"rig.{rig}.supply.{key}={1.5 * flow:.6g}{unit}",))
