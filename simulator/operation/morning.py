"""What a rig begins a work day with: as the scenario says on the first, then what the night has made of the evening."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

from simpy import Environment
from simpy.events import ProcessGenerator

from simulator.operation.chargers import Charging, Slot
from simulator.operation.log import DayLog, RigEnd
from simulator.operation.packs import Pack
from simulator.operation.power import PowerSource
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.equipment import PowerPointPlan

_DAY_S = 86400.0
_FULL_WH = 1e-6


class Morning(NamedTuple):
    """One rig before a work day.

    ``place`` is the number of the field it has stayed at, None at the yard; ``product`` (L or kg) stands ready,
    of the mix of that name (None: of what the first field gets);
    charges are by pack (Wh), times in the air up to a breakdown by aircraft (s).
    """

    place: int | None
    mix: str | None
    product: float
    water_l: float
    pack_wh: dict[str, float]
    until_failure_s: dict[str, float]


class Night(NamedTuple):
    """What a night has taken: energy at the chargers' supply, energy stored in packs (Wh), and fuel."""

    bus_wh: float
    stored_wh: float
    fuel_l: float


def first_morning(plan: DayPlan) -> list[Morning]:
    """Return what every rig begins a run with."""
    mornings = []
    for rig in plan.rigs:
        charge = {name: pack.capacity_wh * rig.rig.packs_start_charge for name, pack in rig.pack_types.items()}
        mornings.append(Morning(None, None, *_stock(plan, rig, 0.0), charge, {}))
    return mornings


def _stock(plan: DayPlan, rig: RigPlan, left: float) -> tuple[float, float]:
    """Return the product and the water (L) with which a rig leaves the yard, all tanks filled, with what was left."""
    supply = rig.rig.supply
    if plan.scenario.product.kind != "liquid":
        return max(left, supply.dry_stock), 0.0
    return max(left, supply.mix_tank * supply.start_mixed), supply.nurse_water


def next_morning(plan: DayPlan, rig: RigPlan, evening: RigEnd) -> tuple[Morning, Night]:
    """Return a rig on the morning after: packs charged as far as the night and the supply allow, tanks filled at home.

    Product left over, in tank or aircraft, is kept or thrown away as the scenario says; generators have been refuelled.
    """
    supply, place = rig.rig.supply, evening.place
    liquid = plan.scenario.product.kind == "liquid"
    # what is more than the tank holds cannot be kept
    left = min(evening.product_in_tank + evening.product_on_aircraft, supply.mix_tank if liquid else supply.dry_stock)
    if liquid and supply.leftover == "thrown away":
        left = 0.0
    product, water_l = (left, evening.water_l) if place is not None else _stock(plan, rig, left)
    charge, night = _charge_overnight(rig, evening)
    return Morning(place, evening.mix if left > 0.0 else None, product, water_l, charge, evening.until_failure_s), night


# --- packs ---


def _charge_overnight(rig: RigPlan, evening: RigEnd) -> tuple[dict[str, float], Night]:
    """Charge pack after pack on every slot, those with least charge first, until the morning."""
    env, log = Environment(0.0), DayLog()
    packs = [Pack(env, name, pack, evening.pack_charge_wh[name]) for name, pack in rig.pack_types.items()]
    waiting = sorted(packs, key=lambda pack: pack.energy_wh / pack.plan.capacity_wh)
    sources = [PowerSource(env, point.name, point, log) for point in _night_power(rig, evening.place)]
    for source in sources:
        for slot in source.slots:
            env.process(_charge_in_turn(source, slot, waiting, rig.rig.charge_to))
    length_s = max(0.0, _DAY_S - evening.paid_until_s)
    if length_s > 0.0:
        env.run(until=length_s)
    for source in sources:
        source.settle()
    stored_wh = sum([pack.energy_wh - evening.pack_charge_wh[pack.name] for pack in packs])
    night = Night(
        sum([source.bus_wh for source in sources]), stored_wh, sum([source.fuel_burnt_l for source in sources])
    )
    return {pack.name: pack.energy_wh for pack in packs}, night


def _night_power(rig: RigPlan, place: int | None) -> list[PowerPointPlan]:
    """Return what the chargers hang on overnight: at home the yard's mains where there are any, else what they have."""
    mains_w = rig.rig.night_power
    if mains_w is None or place is not None:
        return [replace(point, other_load_w=0.0, trips=False) for point in rig.power]
    chargers = tuple(entry for point in rig.power for entry in point.chargers)
    return [PowerPointPlan("yard", None, mains_w, 0.0, chargers)]


def _charge_in_turn(source: PowerSource, slot: Slot, waiting: list[Pack], charge_to: float) -> ProcessGenerator:
    """Charge the packs that wait and that the slot serves, one after the other; the process of one slot."""
    while True:
        pack = next((one for one in waiting if one.plan.name in slot.charger.plan.serves), None)
        if pack is None:
            if not source.on_charge:
                source.switch(False)
            return
        waiting.remove(pack)
        full_wh = pack.plan.capacity_wh * charge_to
        if pack.energy_wh >= full_wh - _FULL_WH:
            continue
        if not source.on:
            source.switch(True)
        slot.charging = charging = Charging(pack, slot, full_wh, source.env.event())
        yield source.charge(charging)
