"""Evidence of the work: a load in the air, on the ground and on the charger, the source, and the road."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from simulator.analysis.explain_sheet import Case, Sheet
from simulator.physics.pack import health_share, temperature_share
from simulator.physics.swath import turn_of
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.equipment import PowerPointPlan
from simulator.scenario.power_balance import asked_w
from simulator.scenario.units import M_PER_MILE

_LEGS_SHOWN = 12


def load_sheet(plan: DayPlan, case: Case, metric: bool) -> Sheet:
    """Write acres, minutes and watt-hours of a load."""
    aircraft, profile, load, air = case.aircraft, case.profile, case.load, case.load.air
    sheet, key = Sheet(f"A load of {case.name}", metric), f"aircraft.{aircraft.name}"
    unit = "L" if plan.scenario.product.kind == "liquid" else "kg"
    sheet.put("largest load", aircraft.capacity(case.pack.mass_kg), unit, "tank or hopper, and take_off_mass_max")
    sheet.rate("rate as on the label", profile.rate, unit)
    sheet.rate("rate with overspray", profile.product_per_m2, unit, "what falls outside the field or twice is in it")
    sheet.put("product of a load", load.amount, unit)
    sheet.put("area of a load", load.area_m2, "m2", "the field cut into even loads, as full as the crew fills them")
    sheet.add("swath", aircraft.swath_m, "m", key)
    sheet.add("speed along a pass", profile.speed_m_per_s, "m/s", f"{key}, not above what the largest flow allows")
    flow = profile.rate * aircraft.swath_m * profile.speed_m_per_s
    sheet.put("flow", flow * 60.0, f"{unit}/min", "rate, swath and speed")
    pace_m2 = aircraft.swath_m * profile.speed_m_per_s
    sheet.put("theoretical field capacity", pace_m2 * 3600.0, "m2/h", "speed and width, ASABE EP496")
    sheet.put("effective field capacity", load.area_m2 / load.cycle_s * 3600.0, "m2/h", "one that never waits")
    sheet.add("field efficiency", load.area_m2 / load.cycle_s / pace_m2, "", "effective over theoretical, ASABE EP496")
    limits = plan.scenario.aircraft[aircraft.name].turn_limits
    if limits is not None:
        turn = turn_of(aircraft.swath_m, aircraft.work_speed_m_per_s, limits.acceleration, limits.radius_least)
        sheet.add("a turn by stopping", turn.stop_s, "s", f"{key}.turn_limits")
        sheet.add("radius of a turn flown round", turn.radius_m, "m")
        sheet.add("way of a turn flown round", turn.round_m, "m", "Dubins (1957)")
    sheet.drawn("a turn", aircraft.turn_time, key)
    pass_m = profile.path.mean_pass_m2 / aircraft.swath_m
    sheet.add("mean length of a pass", pass_m, "m", f"{len(profile.path.starts)} passes")
    turn_efficiency = pass_efficiency(case)
    sheet.add("turn efficiency", turn_efficiency, "", "pass time over pass time and turn")
    sheet.add("flight-time factor", aircraft.flight_time_factor.mean(), "", f"{key}.flight_time_factor, in all below")
    words = ("take-off", "ferry out", "spraying", "turns", "ferry back", "landing", "airborne")
    for word, seconds in zip(words, air[:7], strict=True):
        sheet.add(word, seconds, "s", "mean over the field" if word == "airborne" else "")
    sheet.add("way sprayed", air.path_m, "m")
    sheet.add("energy of a load", air.energy_wh, "Wh", "mass falls as it is sprayed")
    return sheet


def pass_efficiency(case: Case) -> float:
    """Return the time of a pass over that of a pass and a turn."""
    pass_s = case.profile.path.mean_pass_m2 / case.aircraft.swath_m / case.profile.speed_m_per_s
    return pass_s / (pass_s + case.aircraft.turn_time.mean())


def ground_sheet(plan: DayPlan, rig: RigPlan, case: Case, metric: bool) -> Sheet:
    """Write turnaround, cycle, crew seconds and supply of a load."""
    load, supply, tasks = case.load, rig.rig.supply, rig.rig.crew.tasks
    sheet = Sheet(f"On the ground: {case.name} on rig {rig.name}", metric)
    for name, task in tasks:
        sheet.drawn(name.replace("_", " "), task.time, f"rig.{rig.name}.crew.tasks.{name}", f"people {task.people}")
    unit = "L" if plan.scenario.product.kind == "liquid" else "kg"
    flow = supply.pump_flow if unit == "L" else supply.dry_flow
    sheet.put("flow into the aircraft", flow * 60.0, f"{unit}/min", f"rig.{rig.name}.supply")
    sheet.add("filling", load.fill_s, "s", "coupling and flow")
    sheet.add("swap for a load", load.swap_s, "s", f"{case.loads} loads on one charge")
    sheet.add("service", load.service_s, "s", "one after the other" if rig.rig.swap_first else "both at once")
    sheet.add("cycle, without waiting", load.cycle_s, "s", "airborne, service and check")
    sheet.add("person-seconds of a load", load.hands_s, "s", "tasks, mixing and trips, without watching")
    stock = supply.dry_stock
    if unit == "L":
        sheet.add("loads in a batch", supply.largest_batch / load.amount, "", f"rig.{rig.name}.supply.batch, mix_tank")
        sheet.add("mixing for a load", load.mix_s, "s")
        stock = supply.nurse_water / supply.water_share
    sheet.add("loads between trips", stock / load.amount, "", f"rig.{rig.name}.supply")
    sheet.put("area between trips", stock / load.amount * load.area_m2, "m2")
    sheet.drawn("a trip", supply.water_trip_time, "water_trip_time", f"people {supply.water_trip_people}")
    return sheet


def pack_sheet(plan: DayPlan, rig: RigPlan, case: Case, metric: bool) -> Sheet:
    """Write what a charge holds and what it takes to fill it again."""
    pack, load, table = case.pack, case.load, plan.scenario.pack[case.pack.name]
    sheet, air_c, key = Sheet(f"A charge of {case.name}", metric), plan.scenario.weather.air_temperature, pack.name
    sheet.add("energy of the new pack", table.energy, "Wh", f"pack.{key}.energy")
    sheet.add(
        "health", table.health * health_share(table.cycles, 1.0 - table.reserve), "", f"pack.{key}.health, cycles"
    )
    if table.cold_loss:
        sheet.add("share that it gives in this air", temperature_share(air_c), "", "assumption")
    sheet.add("energy of the full pack now", pack.capacity_wh, "Wh")
    sheet.add("energy above the reserve", pack.usable_wh(rig.rig.charge_to), "Wh", "charge_to and reserve")
    sheet.add("of it planned with", load.usable_wh, "Wh", "flying.energy_margin")
    sheet.add("loads on one charge", case.loads, "")
    sheet.add("energy left when it comes off", case.left_wh, "Wh")
    if table.cooling is not None:
        sheet.add("temperature after a flight", table.cooling.after_flight, "degC", f"pack.{key}.cooling")
        sheet.add("temperature at which it may be charged", table.cooling.limit, "degC", "Newton's law of cooling")
    sheet.drawn("cooling", pack.cooling_time, f"pack.{key}")
    curve, power_w = pack.curve, load.charge_w
    sheet.add("power stored", power_w, "W", f"{load.charger.name}, alone on its source, as far as the pack takes it")
    sheet.add("most that the pack stores", curve.cc_power_w, "W")
    knee_wh = curve.knee_wh(power_w)
    sheet.add("energy up to which power is constant", knee_wh, "Wh", f"pack.{key}.cc_share, cut_share")
    sheet.add("time constant beyond", curve.tau_h, "h", "constant voltage, energy balance")
    sheet.add("constant power", curve.time_s(case.left_wh, min(knee_wh, case.charged_wh), power_w), "s")
    sheet.add("constant voltage", curve.time_s(max(case.left_wh, knee_wh), case.charged_wh, power_w), "s")
    early = "packs may leave before they are full" if rig.rig.take_partly_charged else ""
    sheet.add("a charge", load.charge_s, "s", early)
    sheet.drawn("balancing", load.charger.balance_time, f"charger.{load.charger.name}")
    sheet.add("landing to charged, without waiting", load.off_s / load.charges, "s", "cooling, plugging in, charge")
    return sheet


def source_sheet(plan: DayPlan, rig: RigPlan, point: PowerPointPlan, metric: bool) -> Sheet:
    """Write what a generator or grid supply gives, what it is asked for, and its fuel."""
    sheet, key = Sheet(f"Power point {point.name} of rig {rig.name}", metric), f"rig.{rig.name}.power.{point.name}"
    asked, engine = asked_w(plan.scenario, rig.rig.power[point.name]), point.generator
    given = "grid_power"
    if engine is not None:
        table = plan.scenario.generator[engine.name]
        sheet.add("rated power", engine.rated_w, "W", f"generator.{engine.name}.rated_power")
        sheet.add("share for continuous load", table.continuous_share, "", f"generator.{engine.name}.continuous_share")
        left = engine.capacity_w / engine.rated_w / table.continuous_share
        sheet.add("share left at this altitude and temperature", left, "", f"derate: {table.derate}")
        given = "rated power, continuous share, derating"
    sheet.add("power it gives", point.capacity_w, "W", given)
    sheet.add("steady other load", point.other_load_w, "W", f"{key}.other_load")
    for charger, number in point.chargers:
        sheet.add(f"most that {number} {charger.name} give", number * charger.output_w, "W", "at their setting")
        sheet.add(f"efficiency of {charger.name}", charger.efficiency, "", f"charger.{charger.name}.efficiency")
    sheet.add("power asked of it", asked, "W", "all slots busy at full power; more than it gives is turned down")
    if engine is not None:
        drawn_w = min(asked, point.capacity_w)
        hourly_l = engine.fuel.litre_per_hour(drawn_w)
        sheet.add("share of the rated power", drawn_w / engine.rated_w)
        sheet.put("fuel for each kWh", engine.fuel.litre_per_kwh, "L/kWh", f"generator.{engine.name}: fuel or fuel_use")
        sheet.put("fuel an hour without load", engine.fuel.litre_per_hour_no_load, "L/h")
        sheet.put("fuel an hour at that load", hourly_l, "L/h")
        if hourly_l > 0.0:
            hours = (engine.fuel_tank_l - engine.refuel_at_l) / hourly_l
            sheet.add("hours from full to refuelling", hours, "h", f"generator.{engine.name}.fuel_tank, refuel_at")
    return sheet


def road_sheet(plan: DayPlan, rig: RigPlan, metric: bool) -> Sheet:
    """Write driving, packing up and setting up of a rig."""
    sheet, trailer, key = Sheet(f"On the road: rig {rig.name}", metric), rig.rig.trailer, f"rig.{rig.name}.trailer"
    speed = plan.scenario.route.road_speed.mean()
    sheet.add("road speed", speed, "m/s", "route.road_speed")
    places: list[int | None] = [None, *plan.geography.order, None]
    legs = list(pairwise(places))
    for start, end in legs if len(legs) <= _LEGS_SHOWN else [*legs[: _LEGS_SHOWN - 1], legs[-1]]:
        distance_m = plan.geography.distance_m(start, end)
        names = ["yard" if one is None else plan.fields[one].name for one in (start, end)]
        sheet.add(
            f"drive, {names[0]} to {names[1]}", distance_m / speed / 60.0, "min", f"{distance_m / M_PER_MILE:.3g} mi"
        )
    if len(legs) > _LEGS_SHOWN:
        minutes = [plan.geography.distance_m(*leg) / speed / 60.0 for leg in legs[1:-1]]
        _span(sheet, f"drive between fields, {len(minutes)} drives", minutes, "min")
    sheet.add("lifting the aircraft on or off", rig.pack_up_handling, "s", "side by side as far as people allow")
    sheet.drawn("packing up", trailer.pack_up_time, f"{key}.pack_up_time")
    sheet.drawn("setting up", trailer.set_up_time, f"{key}.set_up_time")
    sheet.drawn("loading at the yard", trailer.yard_time, f"{key}.yard_time")
    return sheet


def field_time_s(plan: DayPlan, rig: RigPlan, breaks: bool) -> float:
    """Return the time of a day at the fields, without moves between them."""
    day, trailer = plan.scenario.day, rig.rig.trailer
    first_s = plan.geography.distance_m(None, plan.geography.order[0]) / plan.scenario.route.road_speed.mean()
    away_s = trailer.yard_time.mean() + first_s + trailer.set_up_time.mean() + rig.pack_up_handling
    rest_s = 0.0
    for one in day.breaks if breaks else ():
        start_s = one.start - day.start
        rest_s += max(0.0, min(start_s + one.length, plan.last_landing_s) - max(0.0, start_s))
    return max(0.0, plan.last_landing_s - away_s - rest_s)


def range_sheet(cases: Sequence[Sequence[Case]], rig: RigPlan, metric: bool) -> Sheet:
    """Write what a load comes to over all fields, from the least to the most."""
    sheet = Sheet(f"Over all {len(cases)} fields: rig {rig.name}", metric)
    for of in dict.fromkeys(case.name for found in cases for case in found if case.load.reaches):
        mine = [case for found in cases for case in found if case.name == of and case.load.reaches]
        _span(sheet, f"{of}: area of a load", [case.load.area_m2 for case in mine], "m2")
        _span(sheet, f"{of}: airborne minutes", [case.load.air.total_s / 60.0 for case in mine], "min")
        _span(sheet, f"{of}: energy of a load", [case.load.air.energy_wh for case in mine], "Wh")
        _span(sheet, f"{of}: turn efficiency", [pass_efficiency(case) for case in mine], "")
    return sheet


def _span(sheet: Sheet, quantity: str, values: Sequence[float], unit: str) -> None:
    sheet.put(f"{quantity}, least", min(values), unit)
    sheet.put(f"{quantity}, most", max(values), unit)
