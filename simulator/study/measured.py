"""What a stopwatch measured, brought to what a scenario declares: which key, less what is counted elsewhere."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

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
from simulator.study.reading import locate

FEWEST_FOR_LINE = 8
"""Times with amounts that it takes to tell the fixed part from the part that grows. An assumption."""
_MPH = 0.44704
"""Metres a second."""
_RIG = {
    **{task: f"crew.tasks.{task}.time" for task in ("swap", "fill", "plug_in", "mix", "refuel", "launch_check")},
    **{task: f"trailer.{task}_time" for task in ("pack_up", "set_up", "yard", "relocate")},
    "water_trip": "supply.water_trip_time",
}
_AIRCRAFT = {task: f"{task}_time" for task in ("turn", "take_off", "landing", "handling")}


@dataclass(frozen=True)
class Measured:
    """Values for one key, in its unit, with the mean that the scenario had; ``fixed`` where it takes one number."""

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
    rigs = {name: entry.scenario.rig[name] for name in used_rigs(entry.scenario)}

    def plain(key: str, note: str = "") -> list[Measured]:
        value, _ = locate(entry, key)
        mean = value.mean() if isinstance(value, Distribution) else None
        return [Measured(key, task, seconds, "s", mean, note=note)]

    if task in _RIG:
        rig = _only(task, of, list(rigs), "rig")
        key = f"rig.{rig}.{_RIG[task]}"
        if task != "fill":
            return plain(key)
        if not any(timing.amount for timing in timings):
            return plain(key, "pumping comes on top; give the amount to have it taken off")
        return _fill(entry, rig, plain(key)[0], timings)
    if task in _AIRCRAFT:
        flown = [name for rig in rigs.values() for name, n in rig.aircraft.items() if n]
        return plain(f"aircraft.{_only(task, of, flown, 'aircraft class')}.{_AIRCRAFT[task]}")
    if task in ("cooling", "charge"):
        used = [name for rig in rigs.values() for name, n in rig.packs.items() if n]
        pack = _only(task, of, used, "pack type")
        return _charge(entry, pack, seconds, timings) if task == "charge" else plain(f"pack.{pack}.cooling_time")
    if task == "drive":
        speeds = _amounts(task, timings, units.LENGTH) / seconds / _MPH
        return [Measured("route.road_speed", task, speeds, "mph", entry.scenario.route.road_speed.mean() / _MPH)]
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


def _amounts(task: str, timings: Sequence[Timing], dimension: Dimension) -> FloatArray:
    values, problems = [], Problems()
    for timing in timings:
        with problems.of(f"line {timing.line}"):
            try:
                values.append(units.parse(timing.amount, dimension))
            except UnitError as error:
                raise InputError.single(f"the amount of {task!r}: {error}") from error
            if not values[-1] > 0:
                raise InputError.single(f"got the amount {timing.amount!r}; allowed is above 0")
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
    count = int((rest <= 0).sum())
    if count:
        message = f"{count} of {len(rest)} times are shorter than {what} alone takes; are the amounts right?"
        raise InputError.single(message, task)
    return rest


def _fill(entry: EquipmentSet, rig: str, timed: Measured, timings: Sequence[Timing]) -> list[Measured]:
    """Take pumping off, at the flow that the times and amounts show, or else the scenario's."""
    liquid = entry.scenario.product.kind == "liquid"
    amounts = _amounts("fill", timings, units.VOLUME if liquid else units.MASS)
    name, unit = ("pump_flow", "L/s") if liquid else ("dry_flow", "kg/s")
    flow: float = getattr(entry.scenario.rig[rig].supply, name)
    slope, found, whose = split_times(timed.values, amounts), [], " (the scenario's flow)"
    if slope is not None:
        key, note = f"rig.{rig}.supply.{name}", "slope of the fill times against the amounts"
        found = [Measured(key, "pump flow", np.array([1.0 / slope]), unit, flow, True, note)]
        flow, whose = 1.0 / slope, ""
    rest = _fixed_part("fill", timed.values - amounts / flow, "pumping")
    return [replace(timed, values=rest, note=f"pumping at {flow:.3g} {unit} is taken off{whose}"), *found]


def _charge(entry: EquipmentSet, pack: str, seconds: FloatArray, timings: Sequence[Timing]) -> list[Measured]:
    """Return the power a slot must give so that the model's charges take as long as those timed, on average."""
    rigs = make_plan(entry).rigs
    plan = next(one for rig in rigs for one, _ in rig.packs if one.name == pack)
    share = all(timing.amount.rstrip().endswith("%") for timing in timings)
    amounts = _amounts("charge", timings, units.SHARE if share else units.ENERGY)
    energies = amounts * plan.capacity_wh if share else amounts
    if (energies > plan.capacity_wh * (1 + 1e-9)).any():
        raise InputError.single(f"an amount is more than the pack {pack!r} holds ({plan.capacity_wh:.0f} Wh)", "charge")
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
    slot, minutes = power / declared.setting, wanted / 60.0
    note = f"power at which the model's charges take {minutes:.1f} min on average ({len(seconds)} timed to full)"

    def fixed(key: str, task: str, value: float, before: float) -> Measured:
        return Measured(key, task, np.array([value]), "W", before, True, note)

    found = [fixed(f"charger.{charger}.slot_power", "charge power", slot, slots[charger].slot_w / declared.setting)]
    if slot > declared.output_power:
        total = slot * declared.slots
        found.append(fixed(f"charger.{charger}.output_power", "charger output", total, declared.output_power))
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
        off = f"driving by {how} and loading of {2 * handling:.0f} s taken off"
        note = f"part of whole moves: {off}, split as the scenario has it"
        found.append(Measured(f"rig.{rig}.trailer.{name}_time", f"move, {name}", values, "s", part.mean(), note=note))
    if slope is not None:
        mph, before = np.array([1.0 / slope / _MPH]), speed.mean() / _MPH
        found.append(Measured("route.road_speed", "move, drive", mph, "mph", before, True, f"by {how}"))
    return found
