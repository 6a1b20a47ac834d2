"""Evidence of charging: what the source can give, what a charge takes, and what the generator is asked for."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.analysis.explain_arithmetic import Number
from simulator.analysis.explain_load import LoadCase, mean_note
from simulator.analysis.explain_sheet import Sheet
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.equipment import ChargerPlan, PackPlan, PowerPointPlan
from simulator.scenario.schema_equipment import Cooling

_LINEAR_DERATE: dict[str, tuple[str, str]] = {
    # rule: formula in altitude h (m) and air temperature t (degC), and its source
    "none": ("1", "no loss"),
    "naturally_aspirated": ("max(0, 1 - 0.03 × max(0, {h} - 152.4) / 304.8)", "3 % per 1000 ft above 500 ft, handbook"),
    "alternator": (
        "max(0, 1 - 0.03 × max(0, {h} - 1000) / 500) × max(0, 1 - 0.03 × max(0, {t} - 40) / 5)",
        "3 % per 500 m above 1000 m and 3 % per 5 degC above 40 degC, sizing rule",
    ),
    "msha_naturally_aspirated": ("max(0, 1 - 0.01 × max(0, {h} - 305) / 100)", "1 % per 100 m above 305 m, MSHA"),
    "msha_turbocharged": ("max(0, 1 - 0.01 × max(0, {h} - 1000) / 100)", "1 % per 100 m above 1000 m, MSHA"),
    "turbocharged": (
        "max(0, 1 - 0.04 × max(0, {h} - 1525) / 300) × max(0, 1 - 0.02 × max(0, {t} - 40) / 11)",
        "4 % per 300 m above 1525 m and 2 % per 11 degC above 40 degC, a data sheet",
    ),
    "petrol_customary": (
        "max(0, 1 - 0.035 × max(0, {h}) / 304.8) × max(0, 1 - 0.01 × 1.8 × max(0, {t} - 25) / 10)",
        "3.5 % per 1000 ft and 1 % per 10 degF above 77 degF, rule of thumb, from memory",
    ),
}


@dataclass(frozen=True)
class Source:
    """A power point as shown: what it can give to chargers.

    Parameters
    ----------
    point : PowerPointPlan
        Plan.
    free_w : Number
        Power left for chargers, W.
    other_w : Number
        Steady other load, W.
    """

    point: PowerPointPlan
    free_w: Number
    other_w: Number


@dataclass(frozen=True)
class ChargeCase:
    """A charge of one pack type on one charger class of a power point, as shown.

    Parameters
    ----------
    case : LoadCase
        What was flown on the charge.
    point : str
        Power point.
    charger : ChargerPlan
        Charger class.
    slots : int
        Slots of that class on the point.
    slot_s : Number
        Time that a slot is held: plugging in, charging alone on the source, balancing, s; 0 when nothing is charged.
    ground_s : Number
        Time from landing until the pack is charged: cooling and the slot's time, s.
    bus_share : Number
        Energy stored over energy taken from the source.
    """

    case: LoadCase
    point: str
    charger: ChargerPlan
    slots: int
    slot_s: Number
    ground_s: Number
    bus_share: Number


def derate_formula(rule: str) -> tuple[str, str] | None:
    """Return the formula of a derating rule in ``{h}`` (m) and ``{t}`` (degC) with its source; None for other rules."""
    return _LINEAR_DERATE.get(rule)


def source_sheet(plan: DayPlan, rig: RigPlan, point: PowerPointPlan, metric: bool) -> tuple[Sheet, Source]:
    """Write what a generator or grid supply can give."""
    table, key = rig.rig.power[point.name], f"rig.{rig.name}.power.{point.name}"
    sheet = Sheet(f"Power point {point.name} of rig {rig.name}", metric)
    if point.generator is None:
        capacity = sheet.given("power of the grid supply", point.capacity_w, "W", f"{key}.grid_power")
    else:
        generator, entry = plan.scenario.generator[point.generator.name], f"generator.{point.generator.name}"
        rated = sheet.given("rated power", generator.rated_power, "W", f"{entry}.rated_power")
        share = sheet.given("share for continuous load", generator.continuous_share, "", f"{entry}.continuous_share")
        formula = derate_formula(generator.derate)
        weather = plan.scenario.weather
        if formula is None:
            left = point.capacity_w / (generator.rated_power * generator.continuous_share)
            derate = sheet.given(
                "share left at this altitude and temperature", left, "", f"{entry}.derate: {generator.derate}"
            )
        else:
            text = formula[0].format(h=Number.of(weather.altitude), t=Number.of(weather.air_temperature))
            derate = sheet.calc("share left at this altitude and temperature", text, "", formula[1])
        capacity = sheet.calc("continuous power here", f"{rated} × {share} × {derate}", "W")
    capacity = sheet.agree("continuous power here", capacity, point.capacity_w, "W")
    other = sheet.given("steady other load", table.other_load, "W", f"{key}.other_load")
    free = sheet.calc("power left for chargers", f"max(0, {capacity} - {other})", "W")
    return sheet, Source(point, free, other)


def charge_sheet(
    plan: DayPlan, rig: RigPlan, source: Source, charger: ChargerPlan, number: int, case: LoadCase, metric: bool
) -> tuple[Sheet, ChargeCase]:
    """Write the minutes of a charge, alone on the source and with all slots busy, and what is asked of the source."""
    pack, point = case.pack, source.point
    sheet = Sheet(
        f"Charging {pack.name} after {case.aircraft.name} on {charger.name} at {point.name} of rig {rig.name}", metric
    )
    table, key = plan.scenario.charger[charger.name], f"charger.{charger.name}"
    output = sheet.given("output of the charger", table.output_power, "W", f"{key}.output_power")
    efficiency = sheet.given("efficiency of the charger", charger.efficiency, "", f"{key}.efficiency")
    if table.input_power_max is not None:
        drawn_most = sheet.given("most power it draws", table.input_power_max, "W", f"{key}.input_power_max")
        output = sheet.calc("output that its input allows", f"min({output}, {drawn_most} × {efficiency})", "W")
    setting = sheet.given("power setting", table.setting, "", f"{key}.setting")
    slot = output
    if table.slot_power is not None:
        slot = sheet.given("most to one slot", table.slot_power, "W", f"{key}.slot_power")
    slot = sheet.calc("most to one slot at this setting", f"min({slot}, {output}) × {setting}", "W")
    slot = sheet.agree("most to one slot at this setting", slot, charger.slot_w, "W")
    accepted = sheet.given(
        "most that the pack takes",
        plan.scenario.pack[pack.name].charge_power_max,
        "W",
        f"pack.{pack.name}.charge_power_max",
    )
    terminal = sheet.calc("power at the pack's terminals", f"min({slot}, {accepted})", "W")
    stored = sheet.given(
        "energy stored over energy taken by the pack", pack.charge_efficiency, "", f"pack.{pack.name}.charge_efficiency"
    )
    asked = sheet.calc("power that one slot asks for", f"{terminal} / {efficiency}", "W")
    curve = _curve(sheet, plan, pack, case, accepted, stored)
    alone = sheet.calc("power that one slot gets alone", f"min({asked}, {source.free_w})", "W")
    alone_s = _charge_s(sheet, "alone", case, curve, alone, efficiency, stored)
    bus, slots = alone, sum(count * entry.slots for entry, count in point.chargers)
    if slots > 1:
        all_w = sheet.given(
            "power that all slots ask for together", _asked_w(source, rig, pack), "W", f"{slots} slots, all busy"
        )
        note = "the pack that is waited for is served first; the others are turned down to what is left"
        bus = sheet.calc("power of all busy slots together", f"min({all_w}, {source.free_w})", "W", note)
        sheet.calc("power left for the other slots", f"max(0, {bus} - {alone})", "W")
    drawn = sheet.calc(
        "asked of the source",
        f"({bus} + {source.other_w}) / 1000",
        "kW",
        "chargers and other load, constant-current part",
    )
    _fuel(sheet, plan, point, drawn)
    if rig.rig.take_partly_charged and float(alone) > 0.0:
        # packs may leave early, so only the quickest part of a charge bounds the time of a slot
        quick = f"({case.charged_wh} - {case.left_wh}) / min({alone} × {efficiency} × {stored}, {curve.power}) × 3600"
        alone_s = sheet.calc(
            "charge at constant power alone", quick, "s", "take_partly_charged: packs may leave before they are full"
        )
    slot_s = ground_s = Number("0")
    if float(alone) > 0.0:
        slot_s, ground_s = _occupied(sheet, plan, rig, charger, pack, alone_s)
    bus_share = sheet.calc("energy stored over energy from the source", f"{efficiency} × {stored}")
    return sheet, ChargeCase(case, point.name, charger, number * charger.slots, slot_s, ground_s, bus_share)


@dataclass(frozen=True)
class _Curve:
    """A pack's charging curve as shown; energies Wh, power W stored, time constant h."""

    power: Number
    knee: Number
    tau: Number
    extra: Number


def _curve(sheet: Sheet, plan: DayPlan, pack: PackPlan, case: LoadCase, accepted: Number, stored: Number) -> _Curve:
    table, key, capacity = plan.scenario.pack[pack.name], f"pack.{pack.name}", case.capacity_wh
    share = sheet.given("charge at which constant current ends", table.cc_share, "", f"{key}.cc_share")
    cut = sheet.given("power at which charging ends, over full power", pack.curve.cut_share, "", f"{key}.cut_share")
    power = sheet.calc("most that the pack stores", f"{accepted} × {stored}", "W")
    power = sheet.agree("most that the pack stores", power, pack.curve.cc_power_w, "W")
    knee = sheet.calc("energy at which constant current ends", f"{share} × {capacity}", "Wh")
    note = "energy balance: missing energy = time constant × (full power - last power)"
    tau = sheet.calc(
        "time constant of constant voltage", f"(1 - {share}) × {capacity} / ({power} × (1 - {cut}))", "h", note
    )
    extra = sheet.calc("energy beyond full that constant voltage tends to", f"{tau} × {cut} × {power}", "Wh")
    if pack.curve.tau_h > 0.0:
        tau = sheet.agree("time constant of constant voltage", tau, pack.curve.tau_h, "h")
    return _Curve(power, knee, tau, extra)


def _charge_s(
    sheet: Sheet, word: str, case: LoadCase, curve: _Curve, source_w: Number, efficiency: Number, stored: Number
) -> Number:
    """Write the time of a charge under a power from the source; return it, s."""
    if float(source_w) <= 0.0:
        sheet.given(f"charge, {word}", 0, "s", "the source has no power left: nothing is charged")
        return Number("0")
    limit = sheet.calc(f"power stored, {word}", f"{source_w} × {efficiency} × {stored}", "W")
    knee, start, end, full = curve.knee, case.left_wh, case.charged_wh, case.capacity_wh
    held = float(limit) < float(curve.power)
    if held:
        reached = f"min({full}, {full} + {curve.extra} - {curve.tau} × {limit})"
        knee = sheet.calc(
            f"energy up to which that power is constant, {word}", reached, "Wh", "below it the pack would take more"
        )
    constant = limit if held else curve.power
    first = sheet.calc(
        f"constant power, {word}", f"max(0, min({end}, {knee}) - {start}) / {constant} × 3600", "s", "energy / power"
    )
    if float(end) > float(knee) and float(curve.tau) > 0.0:
        begin = f"max({start}, {knee})"
        second = sheet.calc(
            f"constant voltage, {word}",
            f"{curve.tau} × ln(({full} + {curve.extra} - {begin}) / ({full} + {curve.extra} - {end})) × 3600",
            "s",
            "power falls with the energy still missing",
        )
        whole = sheet.calc(f"charge, {word}", f"{first} + {second}", "s")
    else:
        whole = first
    ours = case.pack.curve.time_s(float(start), min(float(end), case.pack.curve.capacity_wh), float(limit))
    if math.isfinite(ours):
        whole = sheet.agree(f"charge, {word}", whole, ours, "s")
    sheet.calc(f"charge minutes, {word}", f"{whole} / 60", "min")
    return whole


def _asked_w(source: Source, rig: RigPlan, pack: PackPlan) -> float:
    """Return the power that all slots ask for, W at the source.

    Each slot holds the pack type of this charge where its charger serves it, else the rig's type that takes the most.
    """
    asked_w = 0.0
    for entry, count in source.point.chargers:
        held = [pack] if pack.name in entry.serves else [one for one, _ in rig.packs if one.name in entry.serves]
        most_w = max((one.curve.cc_power_w / one.charge_efficiency for one in held), default=0.0)
        asked_w += count * min(entry.output_w, min(entry.slot_w, most_w) * entry.slots) / entry.efficiency
    return asked_w


def _fuel(sheet: Sheet, plan: DayPlan, point: PowerPointPlan, drawn: Number) -> None:
    """Write fuel an hour and hours a tank."""
    generator = point.generator
    if generator is None:
        return
    key = f"generator.{generator.name}"
    table = plan.scenario.generator[generator.name]
    points = len(table.fuel_use)
    source = (
        f"line through {points} points of {key}.fuel_use"
        if points > 1
        else f"{key}.fuel: {table.fuel}, ASABE D497 part-load line"
    )
    sheet.calc("share of the rated power", f"{drawn} / {Number.of(generator.rated_w / 1000.0)} × 100", "%")
    slope = sheet.given("fuel for each kilowatt-hour", generator.fuel.litre_per_kwh, "L/kWh", source)
    idle = sheet.given("fuel for each running hour", generator.fuel.litre_per_hour_no_load, "L/h", source)
    hourly = sheet.calc("fuel an hour", f"{slope} × {drawn} + {idle}", "L/h", "straight line of load")
    hourly = sheet.agree("fuel an hour", hourly, generator.fuel.litre_per_hour(float(drawn) * 1000.0), "L/h")
    tank = sheet.given("fuel tank", generator.fuel_tank_l, "L", f"{key}.fuel_tank")
    ask = sheet.given("level at which it is refuelled", generator.refuel_at_l, "L", f"{key}.fuel_tank × refuel_at")
    if float(hourly) > 0.0:
        sheet.calc("hours from full to that level", f"({tank} - {ask}) / {hourly}", "h", "at this load all the while")


def _occupied(
    sheet: Sheet, plan: DayPlan, rig: RigPlan, charger: ChargerPlan, pack: PackPlan, alone_s: Number
) -> tuple[Number, Number]:
    task = rig.rig.crew.tasks.plug_in.time
    plug = sheet.given("plugging in", task.mean(), "s", mean_note(task, f"rig.{rig.name}.crew.tasks.plug_in.time"))
    balance = sheet.given(
        "balancing",
        charger.balance_time.mean(),
        "s",
        mean_note(charger.balance_time, f"charger.{charger.name}.balance_time"),
    )
    newton, seconds = plan.scenario.pack[pack.name].cooling, pack.cooling_time.mean()
    if newton is not None and newton.after_flight > newton.limit:
        cooling = sheet.agree("cooling", _newton(sheet, newton, plan.scenario.weather.air_temperature), seconds, "s")
    else:
        cooling = sheet.given("cooling", seconds, "s", mean_note(pack.cooling_time, f"pack.{pack.name}.cooling_time"))
    slot_s = sheet.calc("a slot is held for", f"{plug} + {alone_s} + {balance}", "s")
    ground_s = sheet.calc("landing to charged, without waiting", f"{cooling} + {slot_s}", "s")
    sheet.calc("minutes from landing to charged", f"{ground_s} / 60", "min")
    return slot_s, ground_s


def _newton(sheet: Sheet, cooling: Cooling, air_c: float) -> Number:
    """Write the cooling time from temperatures; return it, s."""
    hot, limit, air = (Number.of(value) for value in (cooling.after_flight, cooling.limit, air_c))
    constant = sheet.given("time constant of cooling", cooling.time_constant, "s", "the pack's cooling.time_constant")
    formula = f"{constant} × ln(({hot} - {air}) / ({limit} - {air}))"
    return sheet.calc("cooling", formula, "s", "Newton's law of cooling, pack temperatures and air")
