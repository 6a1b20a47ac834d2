"""What a stopwatch measured, brought to what a scenario declares: which key, less what is counted elsewhere."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from simulator.errors import InputError, Problems
from simulator.experiment.estimates import student_quantile
from simulator.physics.charge import ChargeCurve
from simulator.plan.day_plan import make_plan
from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.merge import nearest
from simulator.scenario.references import used_rigs
from simulator.scenario.stopwatch import Timing
from simulator.scenario.units import Dimension, UnitError
from simulator.study.cases import FloatArray
from simulator.study.design import locate

FEWEST_FOR_LINE = 8
"""Times with amounts that it takes to tell the fixed part from the part that grows. An assumption."""
_RIG = {
    **{task: f"crew.tasks.{task}.time" for task in ("swap", "fill", "plug_in", "mix", "refuel", "launch_check")},
    **{task: f"trailer.{task}_time" for task in ("pack_up", "set_up", "yard", "relocate")},
    "water_trip": "supply.water_trip_time",
}
_AIRCRAFT = {task: f"{task}_time" for task in ("turn", "take_off", "landing", "handling")}


@dataclass(frozen=True)
class Measured:
    """Values for one key, in the unit that a scenario writes, with the mean that the scenario had there.

    ``fixed`` where the scenario takes one number and no distribution; the note says what was taken off.
    """

    key: str
    task: str
    values: FloatArray
    unit: str
    before: float | None
    fixed: bool = False
    note: str = ""


def measured_values(entry: EquipmentSet, task: str, of: str, timings: Sequence[Timing]) -> list[Measured]:
    """Return the keys that a timed task sets, with their values."""
    seconds = np.array([timing.seconds for timing in timings])
    if task in _RIG:
        rig = _only(task, of, used_rigs(entry.scenario), "rig")
        key = f"rig.{rig}.{_RIG[task]}"
        if task == "fill" and any(timing.amount for timing in timings):
            return _fill(entry, rig, key, seconds, timings)
        note = "pumping comes on top; give the amount to have it taken off" if task == "fill" else ""
        return [Measured(key, task, seconds, "s", _mean(entry, key), note=note)]
    if task in _AIRCRAFT:
        flown = [name for rig in used_rigs(entry.scenario) for name, n in entry.scenario.rig[rig].aircraft.items() if n]
        key = f"aircraft.{_only(task, of, flown, 'aircraft class')}.{_AIRCRAFT[task]}"
        return [Measured(key, task, seconds, "s", _mean(entry, key))]
    if task in ("cooling", "charge"):
        used = [name for rig in used_rigs(entry.scenario) for name, n in entry.scenario.rig[rig].packs.items() if n]
        pack = _only(task, of, used, "pack type")
        if task == "charge":
            return _charge(entry, pack, seconds, timings)
        key = f"pack.{pack}.cooling_time"
        return [Measured(key, task, seconds, "s", _mean(entry, key))]
    if task == "drive":
        distances = _amounts(task, timings, units.LENGTH)
        before = entry.scenario.route.road_speed.mean() / 0.44704
        return [Measured("route.road_speed", task, distances / seconds / 0.44704, "mph", before)]
    return _move(entry, of, seconds, timings)


def _only(task: str, of: str, names: Sequence[str], what: str) -> str:
    known = list(dict.fromkeys(names))
    if of and of in known:
        return of
    if of:
        raise InputError.single(f"got of = {of!r}, which is no {what} of the set{nearest(of, known)}", task)
    if len(known) != 1:
        message = f"the set has the {what}s {', '.join(known)}; say which in the column 'of'"
        raise InputError.single(message, task)
    return known[0]


def _mean(entry: EquipmentSet, key: str) -> float | None:
    value, _ = locate(entry, key)
    return value.mean() if isinstance(value, Distribution) else None


def _amounts(task: str, timings: Sequence[Timing], dimension: Dimension) -> FloatArray:
    values, problems = [], Problems()
    for timing in timings:
        with problems.of():
            try:
                value = units.parse(timing.amount, dimension)
            except UnitError as error:
                raise InputError.single(f"the amount of {task!r}: {error}", f"line {timing.line}") from error
            if not value > 0:
                raise InputError.single(f"got the amount {timing.amount!r}; allowed is above 0", f"line {timing.line}")
            values.append(value)
    problems.refuse()
    return np.array(values)


def split_times(seconds: FloatArray, amounts: FloatArray) -> float | None:
    """Return the time a unit of amount takes, by a least-squares line; None when the times cannot tell."""
    n = len(seconds)
    if n < FEWEST_FOR_LINE or amounts.std() < 0.1 * amounts.mean():
        return None
    centred = amounts - amounts.mean()
    slope = float(centred @ seconds / (centred @ centred))
    residual = seconds - seconds.mean() - slope * centred
    error = math.sqrt(float(residual @ residual) / (n - 2) / float(centred @ centred))
    return slope if slope > student_quantile(0.975, n - 2) * error else None


def _fixed_part(task: str, rest: FloatArray, what: str) -> FloatArray:
    if (rest <= 0).any():
        count = int((rest <= 0).sum())
        message = f"{count} of {len(rest)} times are shorter than {what} alone takes; are the amounts right?"
        raise InputError.single(message, task)
    return rest


def _fill(entry: EquipmentSet, rig: str, key: str, seconds: FloatArray, timings: Sequence[Timing]) -> list[Measured]:
    liquid = entry.scenario.product.kind == "liquid"
    amounts = _amounts("fill", timings, units.VOLUME if liquid else units.MASS)
    name, unit = ("pump_flow", "L/s") if liquid else ("dry_flow", "kg/s")
    supply = entry.scenario.rig[rig].supply
    flow = supply.pump_flow if liquid else supply.dry_flow
    slope = split_times(seconds, amounts)
    found = []
    if slope is not None:
        flow_key = f"rig.{rig}.supply.{name}"
        note = "slope of the fill times against the amounts"
        found.append(Measured(flow_key, "pump flow", np.array([1.0 / slope]), unit, flow, True, note))
        flow = 1.0 / slope
    rest = _fixed_part("fill", seconds - amounts / flow, "pumping")
    note = f"pumping at {flow:.3g} {unit} is taken off" + ("" if slope is not None else " (the scenario's flow)")
    return [Measured(key, "fill", rest, "s", _mean(entry, key), note=note), *found]


def _charge(entry: EquipmentSet, pack: str, seconds: FloatArray, timings: Sequence[Timing]) -> list[Measured]:
    """Return the power a slot must give so that the model's charges take as long as those timed, on average."""
    rigs = make_plan(entry).rigs
    plan = next(one for rig in rigs for one, _ in rig.packs if one.name == pack)
    share = all(timing.amount.rstrip().endswith("%") for timing in timings)
    amounts = _amounts("charge", timings, units.SHARE if share else units.ENERGY)
    energies = amounts * plan.capacity_wh if share else amounts
    if (energies > plan.capacity_wh * (1 + 1e-9)).any():
        message = f"an amount is more than the pack {pack!r} holds ({plan.capacity_wh:.0f} Wh)"
        raise InputError.single(message, "charge")
    slots = {one.name: one for rig in rigs for point in rig.power for one, _ in point.chargers if pack in one.serves}
    charger = _only("charge", "", list(slots), "charger class")
    declared, stored = entry.scenario.charger[charger], plan.curve

    def mean_time_s(power_w: float) -> float:
        stored_w = power_w * plan.charge_efficiency
        # above what the pack is said to take, the pack itself must take more
        curve = ChargeCurve(stored.capacity_wh, max(stored_w, stored.cc_power_w), stored.cc_share, stored.cut_share)
        full = stored.capacity_wh
        return float(np.mean([curve.time_s(full - energy, full, stored_w) for energy in energies]))

    from scipy.optimize import brentq

    wanted = float(seconds.mean())
    low, high = 1.0, 1e6
    if not mean_time_s(high) < wanted < mean_time_s(low):
        raise InputError.single(f"got a mean of {wanted:.0f} s, which no charger power explains", "charge")
    power = float(brentq(lambda watts: mean_time_s(watts) - wanted, low, high, xtol=0.01))
    slot = power / declared.setting
    minutes = wanted / 60.0
    note = f"power at which the model's charges take {minutes:.1f} min on average ({len(seconds)} timed to full)"

    def fixed(key: str, task: str, value: float, before: float) -> Measured:
        return Measured(key, task, np.array([value]), "W", before, True, note)

    found = [fixed(f"charger.{charger}.slot_power", "charge power", slot, slots[charger].slot_w / declared.setting)]
    if slot > declared.output_power:
        key, total = f"charger.{charger}.output_power", slot * declared.slots
        found.append(fixed(key, "charger output", total, declared.output_power))
    most = entry.scenario.pack[pack].charge_power_max
    if power > most:
        found.append(fixed(f"pack.{pack}.charge_power_max", "pack power", power, most))
    return found


def _move(entry: EquipmentSet, of: str, seconds: FloatArray, timings: Sequence[Timing]) -> list[Measured]:
    """Split whole moves (last landing to ready) into driving, by the line against distance, packing and setting up."""
    rig = _only("move", of, used_rigs(entry.scenario), "rig")
    if not all(timing.amount for timing in timings):
        message = "needs the road distance in the column 'amount', such as '2.5 mi'; or time pack_up, drive and set_up"
        raise InputError.single(message, "move")
    distances = _amounts("move", timings, units.LENGTH)
    speed = entry.scenario.route.road_speed
    slope = split_times(seconds, distances)
    drive_s = distances * (slope if slope is not None else 1.0 / speed.mean())
    handling = next(plan.pack_up_handling for plan in make_plan(entry).rigs if plan.name == rig)
    rest = _fixed_part("move", seconds - drive_s - 2.0 * handling, "driving and loading the aircraft")
    trailer = entry.scenario.rig[rig].trailer
    whole = trailer.pack_up_time.mean() + trailer.set_up_time.mean()
    how = "the line of the times against distance" if slope is not None else "the scenario's road speed"
    found = []
    for name, part in (("pack_up", trailer.pack_up_time), ("set_up", trailer.set_up_time)):
        share = part.mean() / whole if whole > 0 else 0.5
        # two parts drawn apart vary less together than one: each gets a wider spread, so that their sum keeps its own
        widened = 1.0 / math.hypot(share, 1.0 - share)
        values = rest.mean() * share + (rest - rest.mean()) * share * widened
        values = np.maximum(values, 0.05 * share * rest.mean())
        note = (
            f"part of whole moves: driving by {how} and loading of {2 * handling:.0f} s taken off, "
            "split as the scenario has it"
        )
        found.append(Measured(f"rig.{rig}.trailer.{name}_time", f"move, {name}", values, "s", part.mean(), note=note))
    if slope is not None:
        mph = np.array([1.0 / slope / 0.44704])
        scaled = Measured("route.road_speed", "move, drive", mph, "mph", speed.mean() / 0.44704, True, f"by {how}")
        found.append(scaled)
    return found
