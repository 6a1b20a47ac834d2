"""Evidence of one load: minutes, acres, watt-hours and loads a charge, written out line by line."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.analysis.explain_arithmetic import Number
from simulator.analysis.explain_rotor import Lift, Rotor, airspeeds_of, forward_w, hover_w, lift_of
from simulator.analysis.explain_sheet import Sheet
from simulator.physics.flight import cubic_value
from simulator.plan.aircraft import AircraftPlan, Cubic
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.equipment import PackPlan
from simulator.plan.fields import WorkProfile
from simulator.plan.flight import Flight, furthest
from simulator.scenario.distributions import Distribution


@dataclass(frozen=True)
class LoadCase:
    """One load of an aircraft class with a pack type in the middle of a field, as shown.

    Parameters
    ----------
    aircraft, pack : AircraftPlan, PackPlan
        Classes.
    amount : Number
        Product of the load, L or kg.
    area : Number
        Area of the load in the page's unit.
    airborne_s : Number
        Take-off to landing with the mean flight-time factor, s.
    used_wh : Number
        Energy of the flight with that factor, Wh.
    loads : Number
        Loads flown on one charge.
    left_wh : Number
        Energy in the pack when it comes off, Wh.
    charged_wh, capacity_wh : Number
        Energy of a pack as it leaves the charger, and of a full one, Wh.
    theory : Number
        Theoretical field capacity, in the page's unit of area an hour.
    """

    aircraft: AircraftPlan
    pack: PackPlan
    amount: Number
    area: Number
    airborne_s: Number
    used_wh: Number
    loads: Number
    left_wh: Number
    charged_wh: Number
    capacity_wh: Number
    theory: Number


def mean_note(drawn: Distribution, where: str) -> str:
    """Return where a mean comes from, and whether it is drawn."""
    return where if drawn.is_constant else f"{where}; mean of what is drawn"


def middle_stretch(
    plan: DayPlan, rig: RigPlan, aircraft: AircraftPlan, pack: PackPlan, index: int
) -> tuple[float, float, float]:
    """Return (from, to, wanted end) of a full load in the middle of a field, m2 from the start of its path.

    Parameters
    ----------
    plan : DayPlan
        Plan of the equipment set.
    rig : RigPlan
        Rig, for its rules of charging.
    aircraft, pack : AircraftPlan, PackPlan
        Classes.
    index : int
        Number of the field.
    """
    profile = plan.profiles[aircraft.name, index]
    whole = min(profile.path.area_m2, aircraft.capacity(pack.mass_kg) / profile.rate)
    start = (profile.path.area_m2 - whole) / 2.0
    if not profile.section_control:
        whole = min(profile.path.area_m2, profile.reach_m2(start, aircraft.capacity(pack.mass_kg))) - start
    flight = Flight(aircraft, profile, pack.mass_kg, plan.unit_kg)
    energy = pack.usable_wh(rig.rig.charge_to) / (1.0 + plan.scenario.flying.energy_margin)
    end = furthest(flight, start, start + whole, 0.0, energy, math.inf, 1.0, fill=True)
    return start, end, start + whole


def load_sheet(
    plan: DayPlan, rig: RigPlan, aircraft: AircraftPlan, pack: PackPlan, index: int, rotor: Rotor, metric: bool
) -> tuple[Sheet, LoadCase] | None:
    """Write one load: acres, minutes, watt-hours, loads a charge; None when none can be flown on this field."""
    field, profile = plan.fields[index], plan.profiles[aircraft.name, index]
    sheet = Sheet(f"One load of {aircraft.name} with {pack.name} on {field.name}", metric)
    start, end, wanted = middle_stretch(plan, rig, aircraft, pack, index)
    if end <= start:
        return None
    liquid = plan.scenario.product.kind == "liquid"
    unit = "L" if liquid else "kg"
    empty = sheet.given("mass without pack and load", aircraft.empty_kg, "kg", f"aircraft.{aircraft.name}.empty_mass")
    pack_kg = sheet.given("mass of the pack", pack.mass_kg, "kg", f"pack.{pack.name}.mass")
    unit_kg = sheet.given(f"mass of 1 {unit} of product", plan.unit_kg, "kg", "product.density" if liquid else "")
    amount_most = _most_load(sheet, plan, aircraft, pack, unit, empty, pack_kg, unit_kg)
    rate = sheet.given("application rate", profile.rate, f"{unit}/m2", "the field's, or the product's")
    sheet.rate_note(rate, liquid)
    speed, turn, theory = _work_speed(sheet, plan, aircraft, profile, rate, liquid, metric)
    field_area = sheet.given("area of the field", field.area_m2, "m2", f"{len(profile.path.starts)} passes")
    if profile.section_control:
        note = "the field may hold less than a load"
        load_area = sheet.calc("area of a load", f"min({amount_most} / {rate}, {field_area})", "m2", note)
    else:
        note = "from the field's swath plan, load in mid-field: section_control = false, the whole swath is sprayed"
        load_area = sheet.given("area of a load", wanted - start, "m2", note)
    if end < wanted:
        note = "searched by the simulator: the charge above the reserve, less the energy margin, carries no full load"
        load_area = sheet.given("area of a load that the charge allows", end - start, "m2", note)
    amount = sheet.calc("product of the load", f"{load_area} × {rate}", unit)
    if not profile.section_control:
        amount = _with_overspray(sheet, aircraft, profile, rate, unit, (start, end), field_area)
    area = sheet.area("area of a load", load_area)
    flown, parts = _minutes(sheet, aircraft, profile, (speed, turn), start, start + float(load_area))
    masses = _masses(sheet, empty, pack_kg, amount, unit_kg)
    need = _energy(sheet, aircraft, profile, rotor, speed, parts, masses)
    ours = Flight(aircraft, profile, pack.mass_kg, plan.unit_kg).over(start, end, profile.product(start, end), 1.0)
    flown = sheet.agree("airborne time without the factor", flown, ours.total_s, "s")
    need = sheet.agree("energy of a load without the factor", need, ours.energy_wh, "Wh")
    if not aircraft.flight_time_factor.is_constant or aircraft.flight_time_factor.mean() != 1.0:
        factor = _factor(sheet, aircraft)
        airborne = sheet.calc("airborne time", f"{flown} × {factor}", "s")
        used = sheet.calc("energy of a load", f"{need} × {factor}", "Wh")
    else:
        airborne, used = flown, need
    sheet.calc("airborne minutes", f"{airborne} / 60", "min")
    case = _charge_use(sheet, plan, rig, aircraft, pack, need, used, (amount, area, airborne), theory)
    return sheet, case


def _with_overspray(
    sheet: Sheet,
    aircraft: AircraftPlan,
    profile: WorkProfile,
    rate: Number,
    unit: str,
    stretch: tuple[float, float],
    field_area: Number,
) -> Number:
    """Write what a load and the whole field take where the whole swath is sprayed; return the load."""
    swath, key = Number.of(aircraft.swath_m), f"aircraft.{aircraft.name}.section_control"
    way = sheet.given("way sprayed by a load", profile.path.length_m(*stretch), "m", "from the swath plan")
    amount = sheet.calc("product of the load as sprayed", f"{way} × {swath} × {rate}", unit, f"{key} = false")
    whole = sheet.given("way of all passes", profile.path.path_m[-1], "m", "from the swath plan")
    applied = sheet.calc("product that the field takes", f"{whole} × {swath} × {rate}", unit)
    beyond = sheet.calc("of it outside the field or twice", f"{applied} - {field_area} × {rate}", unit)
    sheet.calc("overspray", f"{beyond} / {applied} × 100", "%", "of what the field takes")
    return amount


def _factor(sheet: Sheet, aircraft: AircraftPlan) -> Number:
    drawn = aircraft.flight_time_factor
    return sheet.given(
        "flight-time factor", drawn.mean(), "", mean_note(drawn, f"aircraft.{aircraft.name}.flight_time_factor")
    )


def _most_load(
    sheet: Sheet,
    plan: DayPlan,
    aircraft: AircraftPlan,
    pack: PackPlan,
    unit: str,
    empty: Number,
    pack_kg: Number,
    unit_kg: Number,
) -> Number:
    table, key = plan.scenario.aircraft[aircraft.name], f"aircraft.{aircraft.name}"
    if unit == "L":
        most = sheet.given("tank", aircraft.capacity_units, "L", f"{key}.tank")
    else:
        most = sheet.given(
            "hopper, by mass", float(table.hopper_mass or aircraft.capacity_units), "kg", f"{key}.hopper_mass"
        )
        if table.hopper_volume is not None:
            volume = sheet.given("hopper, by volume", table.hopper_volume, "L", f"{key}.hopper_volume")
            bulk = sheet.given("bulk density", plan.scenario.product.bulk_density, "kg/L", "product.bulk_density")
            most = sheet.calc("most that the hopper takes", f"min({most}, {volume} × {bulk})", "kg")
    if aircraft.take_off_mass_max_kg is not None:
        limit = sheet.given("largest mass at take-off", aircraft.take_off_mass_max_kg, "kg", f"{key}.take_off_mass_max")
        most = sheet.calc("largest load", f"min({most}, ({limit} - {empty} - {pack_kg}) / {unit_kg})", unit)
    return sheet.agree("largest load", most, aircraft.capacity(pack.mass_kg), unit)


def _turn(sheet: Sheet, plan: DayPlan, aircraft: AircraftPlan, swath: Number) -> Number:
    """Write the time of a turn, s."""
    key, limits = f"aircraft.{aircraft.name}", plan.scenario.aircraft[aircraft.name].turn_limits
    if limits is None:
        return sheet.given(
            "time of a turn", aircraft.turn_time.mean(), "s", mean_note(aircraft.turn_time, f"{key}.turn_time")
        )
    pull = sheet.given("greatest acceleration", limits.acceleration, "m/s2", f"{key}.turn_limits.acceleration")
    least = sheet.given("smallest turn radius", limits.radius_least, "m", f"{key}.turn_limits.radius_least")
    speed = Number.of(aircraft.work_speed_m_per_s)
    stop = sheet.calc("stop, shift one swath, start", f"2 × {speed} / {pull} + 2 × sqrt({swath} / {pull})", "s")
    radius = sheet.calc("radius when flying round", f"max({speed}^2 / {pull}, {least})", "m")
    if 2.0 * float(radius) <= float(swath):
        way = sheet.calc(
            "way when flying round", f"pi × {radius} + {swath} - 2 × {radius}", "m", "half circle and a straight piece"
        )
    else:
        bulb = f"{radius} × (pi + 4 × acos(({swath} + 2 × {radius}) / (4 × {radius})))"
        way = sheet.calc("way when flying round", bulb, "m", "three arcs, Dubins (1957); angle in radians")
    turn = sheet.calc("time of a turn", f"min({stop}, {way} / {speed})", "s", "the quicker of both")
    return sheet.agree("time of a turn", turn, aircraft.turn_time.mean(), "s")


def _work_speed(
    sheet: Sheet, plan: DayPlan, aircraft: AircraftPlan, profile: WorkProfile, rate: Number, liquid: bool, metric: bool
) -> tuple[Number, Number, Number]:
    """Write speed, flow and theoretical field capacity."""
    unit = "L/s" if liquid else "kg/s"
    swath = sheet.given("swath", aircraft.swath_m, "m", f"aircraft.{aircraft.name}, swath")
    speed = sheet.given("speed along a pass", aircraft.work_speed_m_per_s, "m/s", f"aircraft.{aircraft.name}, speed")
    flow = sheet.calc("flow that this speed asks", f"{rate} × {swath} × {speed}", unit, "rate × swath × speed")
    if aircraft.flow_max is not None:
        most = sheet.given("largest flow", aircraft.flow_max, unit, f"aircraft.{aircraft.name}, flow")
        if float(flow) > float(most):
            speed = sheet.calc("speed that the largest flow allows", f"{most} / ({rate} × {swath})", "m/s")
    speed = sheet.agree("speed along a pass", speed, profile.speed_m_per_s, "m/s")
    if metric:
        kmh = sheet.calc("speed in km/h", f"{speed} × 3.6", "km/h")
        theory = sheet.calc(
            "theoretical field capacity", f"{kmh} × {swath} / 10", "ha/h", "ASABE EP496: speed × width / 10"
        )
    else:
        mph = sheet.calc("speed in mph", f"{speed} / 0.44704", "mph")
        feet = sheet.calc("swath in feet", f"{swath} / 0.3048", "ft")
        theory = sheet.calc(
            "theoretical field capacity", f"{mph} × {feet} / 8.25", "acre/h", "ASABE EP496: mph × ft / 8.25"
        )
    run = sheet.calc(
        "mean length of a pass", f"{Number.of(profile.path.mean_pass_m2)} / {swath}", "m", "mean area of a pass / swath"
    )
    turn = _turn(sheet, plan, aircraft, swath)
    sheet.calc(
        "turn efficiency", f"({run} / {speed}) / ({run} / {speed} + {turn})", "", "pass time over pass time and turn"
    )
    return speed, turn, theory


def _minutes(
    sheet: Sheet,
    aircraft: AircraftPlan,
    profile: WorkProfile,
    pace: tuple[Number, Number],
    start_m2: float,
    end_m2: float,
) -> tuple[Number, tuple[Number, Number, Number, Number, Number]]:
    """Write the parts of the flight; return its time and (take-off, out, work and turns, back, landing), s."""
    speed, turn = pace
    key, stretch = f"aircraft.{aircraft.name}", profile.path.stretch(start_m2, end_m2)
    where = "from the field's swath plan, load in mid-field"
    path = sheet.given("way sprayed", stretch.path_m, "m", where)
    turns = sheet.given("turns", stretch.turns, "", where)
    gaps = sheet.given("way over gaps between passes", stretch.gap_m, "m", where)
    out = sheet.given("ferry out", stretch.out_m, "m", where)
    back = sheet.given("ferry back", stretch.back_m, "m", where)
    ferry = sheet.given("ferry speed", aircraft.ferry_speed_m_per_s, "m/s", f"{key}.ferry_speed")
    rise = sheet.given(
        "take-off", aircraft.take_off_time.mean(), "s", mean_note(aircraft.take_off_time, f"{key}.take_off_time")
    )
    out_s = sheet.calc("ferry out", f"{out} / {ferry}", "s")
    work_s = sheet.calc("spraying", f"{path} / {speed}", "s")
    turn_s = sheet.calc("turning", f"{turns} × {turn} + {gaps} / {ferry}", "s")
    back_s = sheet.calc("ferry back", f"{back} / {ferry}", "s")
    land = sheet.given(
        "landing", aircraft.landing_time.mean(), "s", mean_note(aircraft.landing_time, f"{key}.landing_time")
    )
    flown = sheet.calc(
        "airborne time without the factor", f"{rise} + {out_s} + {work_s} + {turn_s} + {back_s} + {land}", "s"
    )
    busy_s = sheet.calc("spraying and turning", f"{work_s} + {turn_s}", "s")
    return flown, (rise, out_s, busy_s, back_s, land)


def _masses(
    sheet: Sheet, empty: Number, pack: Number, amount: Number, unit_kg: Number
) -> tuple[Number, Number, Number]:
    full = sheet.calc("mass at take-off", f"{empty} + {pack} + {amount} × {unit_kg}", "kg")
    end = sheet.calc("mass when the load is sprayed", f"{empty} + {pack}", "kg")
    return full, sheet.calc("mass half-way", f"({full} + {end}) / 2", "kg"), end


def _energy(
    sheet: Sheet,
    aircraft: AircraftPlan,
    profile: WorkProfile,
    rotor: Rotor,
    speed: Number,
    parts: tuple[Number, Number, Number, Number, Number],
    masses: tuple[Number, Number, Number],
) -> Number:
    """Write the watt-hours of the flight; return them."""
    rise, out_s, busy_s, back_s, land = parts
    words = ("full", "half-way", "empty")
    full, half, end = (lift_of(sheet, word, mass, rotor) for word, mass in zip(words, masses, strict=True))
    ferrying = airspeeds_of(sheet, "ferry", Number.of(aircraft.ferry_speed_m_per_s), aircraft)
    working = airspeeds_of(sheet, "spraying", speed, aircraft)

    def forward(word: str, lift: Lift, airspeeds: list[Number], cubic: Cubic) -> Number:
        return forward_w(sheet, word, lift, airspeeds, rotor, aircraft, cubic_value(cubic, float(lift.mass)))

    hover_full = hover_w(sheet, "full", full, rotor, aircraft)
    ferry_full = forward("ferry full", full, ferrying, aircraft.ferry_power)
    first, middle, last = (
        forward(f"spraying {word}", lift, working, profile.spray_power)
        for word, lift in zip(words, (full, half, end), strict=True)
    )
    note = "mass falls evenly: Simpson's rule, exact for a power that is a cubic of mass"
    mean = sheet.calc("mean power while spraying", f"({first} + 4 × {middle} + {last}) / 6", "W", note)
    ferry_end = forward("ferry empty", end, ferrying, aircraft.ferry_power)
    hover_end = hover_w(sheet, "empty", end, rotor, aircraft)
    pieces = [
        sheet.calc(f"energy, {word}", f"{power} × {seconds} / 3600", "Wh")
        for word, power, seconds in (
            ("take-off", hover_full, rise),
            ("ferry out", ferry_full, out_s),
            ("spraying and turning", mean, busy_s),
            ("ferry back", ferry_end, back_s),
            ("landing", hover_end, land),
        )
    ]
    return sheet.calc("energy of a load without the factor", " + ".join(map(str, pieces)), "Wh")


def _cold(sheet: Sheet, plan: DayPlan) -> Number | None:
    """Write the share of its energy that a pack gives in this air; None when all."""
    air_c = plan.scenario.weather.air_temperature
    if air_c >= 20.0:
        return None
    warm = Number.of(air_c)
    formula = f"0.8 + 0.2 × {warm} / 20" if air_c >= 0.0 else f"max(0.5, 0.8 + 0.3 × {warm} / 20)"
    return sheet.calc(
        "share that a cold pack gives", formula, "", "1 from 20 degC up, 0.8 at 0 degC, 0.5 at -20 degC; assumption"
    )


def _charge_use(
    sheet: Sheet,
    plan: DayPlan,
    rig: RigPlan,
    aircraft: AircraftPlan,
    pack: PackPlan,
    need: Number,
    used: Number,
    load: tuple[Number, Number, Number],
    theory: Number,
) -> LoadCase:
    """Write loads a charge and charge left at landing."""
    table, key = plan.scenario.pack[pack.name], f"pack.{pack.name}"
    energy = sheet.given("energy of the new pack", table.energy, "Wh", f"{key}.energy")
    health = sheet.given("health", table.health, "", f"{key}.health")
    cold = _cold(sheet, plan) if table.cold_loss else None
    capacity = sheet.calc("energy of the full pack now", f"{energy} × {health}{f' × {cold}' if cold else ''}", "Wh")
    capacity = sheet.agree("energy of the full pack now", capacity, pack.capacity_wh, "Wh")
    reserve = sheet.given("reserve", table.reserve, "", f"{key}.reserve")
    charge_to = sheet.given("charged to", rig.rig.charge_to, "", f"rig.{rig.name}.charge_to")
    usable = sheet.calc("energy above the reserve", f"{capacity} × ({charge_to} - {reserve})", "Wh")
    usable = sheet.agree("energy above the reserve", usable, pack.usable_wh(rig.rig.charge_to), "Wh")
    margin = sheet.given(
        "energy margin when a load is planned", plan.scenario.flying.energy_margin, "", "flying.energy_margin"
    )
    if aircraft.swap_every_landing:
        loads = sheet.given("loads on one charge", 1, "", f"aircraft.{aircraft.name}.swap: every landing")
    else:
        note = "the next load is flown when its mean need and margin fit the charge"
        loads = sheet.calc("loads on one charge", f"max(1, floor({usable} / {need} - {margin}))", "", note)
    charged = sheet.calc("energy of a pack off the charger", f"{capacity} × {charge_to}", "Wh")
    left = sheet.calc(
        "energy left when it comes off", f"{charged} - {loads} × {used}", "Wh", "mean; never below the reserve"
    )
    sheet.calc("charge left at that landing", f"{left} / {capacity} × 100", "%")
    return LoadCase(aircraft, pack, *load, used, loads, left, charged, capacity, theory)
