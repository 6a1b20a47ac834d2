"""Evidence of flying: air, rotors, and minutes, acres and watt-hours of one load, written out line by line."""

from __future__ import annotations

import math
from dataclasses import dataclass

from simulator.analysis.explain_arithmetic import Number
from simulator.analysis.explain_sheet import Sheet
from simulator.operation.flight import Flight, furthest
from simulator.operation.plan import DayPlan, RigPlan, WorkProfile
from simulator.operation.plan_equipment import AircraftPlan, PackPlan
from simulator.physics.flight import FIXED_POWER_TOLERANCE, cubic_value
from simulator.scenario.distributions import Distribution
from simulator.scenario.schema_equipment import Hover

_AIR_SOURCE = "US Standard Atmosphere 1976; ideal gas, dry air"
_HOVER_SOURCE = "momentum theory, P = (m g)^1.5 / sqrt(2 × density × area)"
_FORWARD_SOURCE = "Zeng, Xu and Zhang (2019), eq. 12"


@dataclass(frozen=True)
class Rotor:
    """What the power of an aircraft is calculated from, as shown."""

    density: Number
    area: Number
    merit: Number
    fixed: Number


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


def mean_note(drawn: Distribution, where: str) -> str:
    """Return where a mean comes from, and whether it is drawn."""
    return where if drawn.is_constant else f"{where}; mean of what is drawn"


def air_sheet(plan: DayPlan, metric: bool) -> tuple[Sheet, Number]:
    """Write the density of the air; return it, kg/m3."""
    sheet = Sheet("Air", metric)
    weather = plan.scenario.weather
    height = sheet.given("altitude", weather.altitude, "m", "weather.altitude")
    warm = sheet.given("air temperature", weather.air_temperature, "degC", "weather.air_temperature")
    density = _density(sheet, "air", height, warm)
    ours = next((entry.density_kg_per_m3 for rig in plan.rigs for entry, _ in rig.aircraft), float(density))
    return sheet, sheet.agree("density of the air", density, ours, "kg/m3")


def _density(sheet: Sheet, where: str, height: Number, warm: Number) -> Number:
    pressure = sheet.calc(f"pressure of the {where}", f"101325 × (1 - 0.0065 × {height} / 288.15)^5.255876", "Pa", _AIR_SOURCE)
    return sheet.calc(f"density of the {where}", f"{pressure} / (287.053 × ({warm} + 273.15))", "kg/m3", _AIR_SOURCE)


def rotor_sheet(plan: DayPlan, aircraft: AircraftPlan, density: Number, metric: bool) -> tuple[Sheet, Rotor]:
    """Write how hover power is calibrated: disc area, figure of merit, fixed power."""
    table, model, key = plan.scenario.aircraft[aircraft.name], aircraft.model, f"aircraft.{aircraft.name}"
    sheet = Sheet(f"Hover power of {aircraft.name}", metric)
    rotors = sheet.given("rotors", table.rotors, "", f"{key}.rotors")
    diameter = sheet.given("rotor diameter", table.rotor_diameter, "m", f"{key}.rotor_diameter")
    discs = f"{rotors} / 2" if table.coaxial else f"{rotors}"
    area = sheet.calc("area of the rotor discs", f"{discs} × pi × {diameter}^2 / 4", "m2", "a stacked pair counts once" * table.coaxial)
    if table.coaxial:
        factor = sheet.given("induced power of a pair over two rotors apart", model.coaxial_factor, "", "Leishman (2006), section 2.14")
        area = sheet.calc("area of one disc of the same ideal power", f"{area} × 2 / {factor}^2", "m2")
    area = sheet.agree("effective disc area", area, model.effective_area_m2, "m2")
    if table.hover is None:
        merit = sheet.given("figure of merit", table.figure_of_merit, "", f"{key}.figure_of_merit")
        fixed = sheet.given("fixed power", table.fixed_power, "W", f"{key}.fixed_power")
    else:
        merit, fixed = _calibration(sheet, plan, aircraft, table.hover, area)
    merit = sheet.agree("figure of merit", merit, model.figure_of_merit)
    if max(float(fixed), model.fixed_power_w) > 1.0:
        fixed = sheet.agree("fixed power", fixed, model.fixed_power_w, "W")
    return sheet, Rotor(density, area, merit, fixed)


def _calibration(sheet: Sheet, plan: DayPlan, aircraft: AircraftPlan, hover: Hover, area: Number) -> tuple[Number, Number]:
    """Fit figure of merit and fixed power to the hover minutes of a spec sheet."""
    table, key = plan.scenario.aircraft[aircraft.name], f"aircraft.{aircraft.name}.hover"
    pack = plan.scenario.pack[hover.pack]
    height = sheet.given("altitude of the spec sheet", hover.altitude, "m", f"{key}.altitude")
    warm = sheet.given("air temperature of the spec sheet", hover.air_temperature, "degC", f"{key}.air_temperature")
    density = _density(sheet, "spec sheet's air", height, warm)
    energy = sheet.given("energy of the spec sheet's pack", pack.energy, "Wh", f"pack.{hover.pack}.energy")
    usable = sheet.given("share of it that the spec sheet flew", hover.usable_share, "", f"{key}.usable_share")
    empty = sheet.given("mass without pack and load", table.empty_mass, "kg", f"aircraft.{aircraft.name}.empty_mass")
    pack_kg = sheet.given("mass of the spec sheet's pack", pack.mass, "kg", f"pack.{hover.pack}.mass")
    full = table.tank if table.tank is not None else float(table.hopper_mass or 0.0)
    points = []
    for word, time_s, load in (("empty", hover.empty_time, None), ("full", hover.full_time, full)):
        if time_s is None:
            continue
        minutes = sheet.given(f"hover time, {word}", time_s / 60.0, "min", f"{key}.{word}_time")
        power = sheet.calc(f"hover power of the spec sheet, {word}", f"{energy} × {usable} × 60 / {minutes}", "W")
        load_text = "" if load is None else f" + {sheet.given('full tank of water, or full hopper', load, 'kg')}"
        mass = sheet.calc(f"mass of that flight, {word}", f"{empty} + {pack_kg}{load_text}", "kg")
        ideal = _ideal(sheet, f"momentum limit of that flight, {word}", mass, density, area)
        points.append((power, ideal))
    if len(points) == 1:
        merit = sheet.calc("figure of merit", f"{points[0][1]} / {points[0][0]}", "", "one point: no fixed power")
        return merit, Number("0")
    (low_w, low_ideal), (high_w, high_ideal) = points
    merit = sheet.calc(
        "figure of merit", f"({high_ideal} - {low_ideal}) / ({high_w} - {low_w})", "", "two points: power = limit / merit + fixed"
    )
    fixed = sheet.calc("fixed power", f"{low_w} - {low_ideal} / {merit}", "W", "what does not depend on mass: avionics, pump")
    if -FIXED_POWER_TOLERANCE * min(float(low_w), float(high_w)) <= float(fixed) < 0.0:
        low = sheet.calc("merit of the empty point alone", f"{low_ideal} / {low_w}")
        high = sheet.calc("merit of the full point alone", f"{high_ideal} / {high_w}")
        merit = sheet.calc(
            "figure of merit", f"({low}^2 + {high}^2) / ({low} + {high})", "", "fixed power slightly negative: set to 0, merit by least squares"
        )
        fixed = Number("0")
    return merit, fixed


def _ideal(sheet: Sheet, quantity: str, mass: Number, density: Number, area: Number) -> Number:
    return sheet.calc(quantity, f"({mass} × 9.80665)^1.5 / sqrt(2 × {density} × {area})", "W", _HOVER_SOURCE)


def _hover_w(sheet: Sheet, word: str, mass: Number, rotor: Rotor, aircraft: AircraftPlan) -> Number:
    ideal = _ideal(sheet, f"momentum limit, {word}", mass, rotor.density, rotor.area)
    power = sheet.calc(f"hover power, {word}", f"{ideal} / {rotor.merit} + {rotor.fixed}", "W")
    return sheet.agree(f"hover power, {word}", power, cubic_value(aircraft.hover_power, float(mass)), "W")


def _forward_w(
    sheet: Sheet, word: str, mass: Number, speed: Number, rotor: Rotor, aircraft: AircraftPlan, simulator_w: float
) -> Number:
    """Write the power in forward flight at a mass and ground speed."""
    model = aircraft.model
    share, tip, drag = Number.of(model.profile_share), Number.of(model.tip_speed_m_per_s), Number.of(model.drag_area_m2)
    drive = Number.of(model.drive_efficiency)
    ideal = _ideal(sheet, f"momentum limit, {word}", mass, rotor.density, rotor.area)
    downwash = sheet.calc(f"downwash in hover, {word}", f"{ideal} / ({mass} × 9.80665)", "m/s")
    x = sheet.calc(f"speed term, {word}", f"{speed}^2 / (2 × {downwash}^2)")
    induced = sheet.calc(f"induced power over that in hover, {word}", f"1 / sqrt(sqrt(1 + {x}^2) + {x})", "", _FORWARD_SOURCE)
    lift = sheet.calc(
        f"lift power over that in hover, {word}", f"{share} × (1 + 3 × {speed}^2 / {tip}^2) + (1 - {share}) × {induced}", "", _FORWARD_SOURCE
    )
    wind = sheet.calc(f"drag power, {word}", f"0.5 × {rotor.density} × {drag} × {speed}^3 / {drive}", "W")
    power = sheet.calc(f"power, {word}", f"{ideal} / {rotor.merit} × {lift} + {wind} + {rotor.fixed}", "W")
    return sheet.agree(f"power, {word}", power, simulator_w, "W")


def middle_stretch(plan: DayPlan, rig: RigPlan, aircraft: AircraftPlan, pack: PackPlan, index: int) -> tuple[float, float, float]:
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
    flight = Flight(aircraft, profile, pack.mass_kg, plan.unit_kg)
    energy = (pack.capacity_wh * rig.rig.charge_to - pack.reserve_wh) / (1.0 + plan.scenario.flying.energy_margin)
    end = furthest(flight, start, start + whole, whole * profile.rate, energy, math.inf, 1.0)
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
    speed = _work_speed(sheet, aircraft, profile, rate, liquid, metric)
    field_area = sheet.given("area of the field", field.area_m2, "m2", f"{len(profile.path.starts)} passes")
    load_area = sheet.calc("area of a load", f"min({amount_most} / {rate}, {field_area})", "m2", "the field may hold less than a load")
    if end < wanted:
        note = "searched by the simulator: the charge above the reserve, less the energy margin, carries no full load"
        load_area = sheet.given("area of a load that the charge allows", end - start, "m2", note)
    amount = sheet.calc("product of the load", f"{load_area} × {rate}", unit)
    area = sheet.area("area of a load", load_area)
    flown, airborne, parts = _minutes(sheet, aircraft, profile, speed, start, start + float(load_area))
    masses = _masses(sheet, empty, pack_kg, amount, unit_kg)
    need = _energy(sheet, aircraft, profile, rotor, speed, parts, masses)
    ours = Flight(aircraft, profile, pack.mass_kg, plan.unit_kg).over(start, end, profile.rate * (end - start), 1.0)
    flown = sheet.agree("airborne time without the factor", flown, ours.total_s, "s")
    need = sheet.agree("energy of a load without the factor", need, ours.energy_wh, "Wh")
    if not aircraft.flight_time_factor.is_constant or aircraft.flight_time_factor.mean() != 1.0:
        factor = _factor(sheet, aircraft)
        airborne = sheet.calc("airborne time", f"{flown} × {factor}", "s")
        used = sheet.calc("energy of a load", f"{need} × {factor}", "Wh")
    else:
        airborne, used = flown, need
    sheet.calc("airborne minutes", f"{airborne} / 60", "min")
    case = _charge_use(sheet, plan, rig, aircraft, pack, need, used, (amount, area, airborne))
    return sheet, case


def _factor(sheet: Sheet, aircraft: AircraftPlan) -> Number:
    drawn = aircraft.flight_time_factor
    return sheet.given("flight-time factor", drawn.mean(), "", mean_note(drawn, f"aircraft.{aircraft.name}.flight_time_factor"))


def _most_load(
    sheet: Sheet, plan: DayPlan, aircraft: AircraftPlan, pack: PackPlan, unit: str, empty: Number, pack_kg: Number, unit_kg: Number
) -> Number:
    table, key = plan.scenario.aircraft[aircraft.name], f"aircraft.{aircraft.name}"
    if unit == "L":
        most = sheet.given("tank", aircraft.capacity_units, "L", f"{key}.tank")
    else:
        most = sheet.given("hopper, by mass", float(table.hopper_mass or aircraft.capacity_units), "kg", f"{key}.hopper_mass")
        if table.hopper_volume is not None:
            volume = sheet.given("hopper, by volume", table.hopper_volume, "L", f"{key}.hopper_volume")
            bulk = sheet.given("bulk density", plan.scenario.product.bulk_density, "kg/L", "product.bulk_density")
            most = sheet.calc("most that the hopper takes", f"min({most}, {volume} × {bulk})", "kg")
    if aircraft.take_off_mass_max_kg is not None:
        limit = sheet.given("largest mass at take-off", aircraft.take_off_mass_max_kg, "kg", f"{key}.take_off_mass_max")
        most = sheet.calc("largest load", f"min({most}, ({limit} - {empty} - {pack_kg}) / {unit_kg})", unit)
    return sheet.agree("largest load", most, aircraft.capacity(pack.mass_kg), unit)


def _work_speed(
    sheet: Sheet, aircraft: AircraftPlan, profile: WorkProfile, rate: Number, liquid: bool, metric: bool
) -> Number:
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
        sheet.calc("theoretical field capacity", f"{kmh} × {swath} / 10", "ha/h", "ASABE EP496: speed × width / 10")
    else:
        mph = sheet.calc("speed in mph", f"{speed} / 0.44704", "mph")
        feet = sheet.calc("swath in feet", f"{swath} / 0.3048", "ft")
        sheet.calc("theoretical field capacity", f"{mph} × {feet} / 8.25", "acre/h", "ASABE EP496: mph × ft / 8.25")
    run = sheet.calc("mean length of a pass", f"{Number.of(profile.path.mean_pass_m2)} / {swath}", "m", "mean area of a pass / swath")
    turn = Number.of(aircraft.turn_time.mean())
    sheet.calc("turn efficiency", f"({run} / {speed}) / ({run} / {speed} + {turn})", "", "pass time over pass time and turn")
    return speed


def _minutes(
    sheet: Sheet, aircraft: AircraftPlan, profile: WorkProfile, speed: Number, start_m2: float, end_m2: float
) -> tuple[Number, Number, tuple[Number, Number, Number, Number, Number]]:
    """Write the parts of the flight; return its time twice and (take-off, out, work and turns, back, landing), s."""
    key, stretch = f"aircraft.{aircraft.name}", profile.path.stretch(start_m2, end_m2)
    where = "from the field's swath plan, load in mid-field"
    path = sheet.given("way sprayed", stretch.path_m, "m", where)
    turns = sheet.given("turns", stretch.turns, "", where)
    gaps = sheet.given("way over gaps between passes", stretch.gap_m, "m", where)
    out = sheet.given("ferry out", stretch.out_m, "m", where)
    back = sheet.given("ferry back", stretch.back_m, "m", where)
    ferry = sheet.given("ferry speed", aircraft.ferry_speed_m_per_s, "m/s", f"{key}.ferry_speed")
    turn = sheet.given("time of a turn", aircraft.turn_time.mean(), "s", mean_note(aircraft.turn_time, f"{key}.turn_time"))
    rise = sheet.given("take-off", aircraft.take_off_time.mean(), "s", mean_note(aircraft.take_off_time, f"{key}.take_off_time"))
    out_s = sheet.calc("ferry out", f"{out} / {ferry}", "s")
    work_s = sheet.calc("spraying", f"{path} / {speed}", "s")
    turn_s = sheet.calc("turning", f"{turns} × {turn} + {gaps} / {ferry}", "s")
    back_s = sheet.calc("ferry back", f"{back} / {ferry}", "s")
    land = sheet.given("landing", aircraft.landing_time.mean(), "s", mean_note(aircraft.landing_time, f"{key}.landing_time"))
    flown = sheet.calc("airborne time without the factor", f"{rise} + {out_s} + {work_s} + {turn_s} + {back_s} + {land}", "s")
    busy_s = sheet.calc("spraying and turning", f"{work_s} + {turn_s}", "s")
    return flown, flown, (rise, out_s, busy_s, back_s, land)


def _masses(sheet: Sheet, empty: Number, pack: Number, amount: Number, unit_kg: Number) -> tuple[Number, Number, Number]:
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
    full, half, end = masses
    ferry = Number.of(aircraft.ferry_speed_m_per_s)
    hover_full = _hover_w(sheet, "full", full, rotor, aircraft)
    ferry_full = _forward_w(sheet, "ferry full", full, ferry, rotor, aircraft, cubic_value(aircraft.ferry_power, float(full)))
    spraying = [
        _forward_w(sheet, f"spraying {word}", mass, speed, rotor, aircraft, cubic_value(profile.spray_power, float(mass)))
        for word, mass in (("full", full), ("half-way", half), ("empty", end))
    ]
    mean = sheet.calc(
        "mean power while spraying", f"({spraying[0]} + 4 × {spraying[1]} + {spraying[2]}) / 6", "W",
        "mass falls evenly: Simpson's rule, exact for a power that is a cubic of mass",
    )  # fmt: skip
    ferry_end = _forward_w(sheet, "ferry empty", end, ferry, rotor, aircraft, cubic_value(aircraft.ferry_power, float(end)))
    hover_end = _hover_w(sheet, "empty", end, rotor, aircraft)
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


def _charge_use(
    sheet: Sheet,
    plan: DayPlan,
    rig: RigPlan,
    aircraft: AircraftPlan,
    pack: PackPlan,
    need: Number,
    used: Number,
    load: tuple[Number, Number, Number],
) -> LoadCase:
    """Write loads a charge and charge left at landing."""
    table, key = plan.scenario.pack[pack.name], f"pack.{pack.name}"
    energy = sheet.given("energy of the new pack", table.energy, "Wh", f"{key}.energy")
    health = sheet.given("health", table.health, "", f"{key}.health")
    capacity = sheet.calc("energy of the full pack now", f"{energy} × {health}", "Wh")
    capacity = sheet.agree("energy of the full pack now", capacity, pack.capacity_wh, "Wh")
    reserve = sheet.given("reserve", table.reserve, "", f"{key}.reserve")
    charge_to = sheet.given("charged to", rig.rig.charge_to, "", f"rig.{rig.name}.charge_to")
    usable = sheet.calc("energy above the reserve", f"{capacity} × ({charge_to} - {reserve})", "Wh")
    usable = sheet.agree("energy above the reserve", usable, pack.capacity_wh * rig.rig.charge_to - pack.reserve_wh, "Wh")
    margin = sheet.given("energy margin when a load is planned", plan.scenario.flying.energy_margin, "", "flying.energy_margin")
    if aircraft.swap_every_landing:
        loads = sheet.given("loads on one charge", 1, "", f"aircraft.{aircraft.name}.swap: every landing")
    else:
        note = "the next load is flown when its mean need and margin fit the charge"
        loads = sheet.calc("loads on one charge", f"max(1, floor({usable} / {need} - {margin}))", "", note)
    charged = sheet.calc("energy of a pack off the charger", f"{capacity} × {charge_to}", "Wh")
    left = sheet.calc("energy left when it comes off", f"{charged} - {loads} × {used}", "Wh", "mean; never below the reserve")
    sheet.calc("charge left at that landing", f"{left} / {capacity} × 100", "%")
    return LoadCase(aircraft, pack, *load, used, loads, left, charged, capacity)
