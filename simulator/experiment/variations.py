"""One more of each: the changes whose worth a bottleneck report simulates."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.scenario.loading import EquipmentSet
from simulator.scenario.references import used_rigs

LARGER = 1.25
"""A larger generator, grid supply or pump is this much larger."""


@dataclass(frozen=True)
class Variation:
    """One change to an equipment set."""

    change: str
    resource: str
    setting: str


def one_more_of_each(equipment: EquipmentSet) -> list[Variation]:
    """Return the changes to try: one more pack, charger, helper, aircraft of each kind; a larger source and pump.

    Parameters
    ----------
    equipment : EquipmentSet
        The set to change.
    """
    scenario = equipment.scenario
    rigs = used_rigs(scenario)
    variations: list[Variation] = []
    several = len(rigs) > 1
    for rig_name in rigs:
        rig = scenario.rig[rig_name]
        where = f" on {rig_name}" if several else ""
        for pack, number in rig.packs.items():
            if number:
                variations.append(
                    Variation(f"one more pack ({pack}){where}", "packs", f"rig.{rig_name}.packs.{pack}={number + 1}")
                )
        for point_name, point in rig.power.items():
            place = f"rig.{rig_name}.power.{point_name}"
            for charger, number in point.chargers.items():
                if number:
                    variations.append(
                        Variation(
                            f"one more charger ({charger}){where}",
                            "chargers",
                            f"{place}.chargers.{charger}={number + 1}",
                        )
                    )
            if point.grid_power is not None:
                larger = point.grid_power * LARGER
                variations.append(
                    Variation(
                        f"a supply of {larger / 1000:.3g} kW{where}", "generator", f"{place}.grid_power={larger:.6g} W"
                    )
                )
        crew = rig.crew
        variations.append(
            Variation(f"one more helper{where}", "crew", f"rig.{rig_name}.crew.helpers={crew.helpers + 1}")
        )
        flow = rig.supply.pump_flow if scenario.product.kind == "liquid" else rig.supply.dry_flow
        key, unit = ("pump_flow", "L/s") if scenario.product.kind == "liquid" else ("dry_flow", "kg/s")
        variations.append(
            Variation(
                f"a fill pump half as fast again{where}",
                "mix supply",
                f"rig.{rig_name}.supply.{key}={1.5 * flow:.6g} {unit}",
            )
        )
        for aircraft, number in rig.aircraft.items():
            if number:
                variations.append(
                    Variation(
                        f"one more aircraft ({aircraft}){where}",
                        "aircraft",
                        f"rig.{rig_name}.aircraft.{aircraft}={number + 1}",
                    )
                )
    used = {
        point.generator
        for rig_name in rigs
        for point in scenario.rig[rig_name].power.values()
        if point.generator is not None
    }
    for generator in sorted(used):
        larger = scenario.generator[generator].rated_power * LARGER
        variations.append(
            Variation(
                f"a {larger / 1000:.3g} kW generator ({generator})",
                "generator",
                f"generator.{generator}.rated_power={larger:.6g} W",
            )
        )
    return variations
