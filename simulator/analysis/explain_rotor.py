"""Evidence of the air and the rotors: density, figure of merit and fixed power, and power in flight."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.analysis.explain_arithmetic import Number
from simulator.analysis.explain_sheet import Sheet
from simulator.physics.flight import FIXED_POWER_TOLERANCE, cubic_value
from simulator.plan.aircraft import AircraftPlan
from simulator.plan.day_plan import DayPlan
from simulator.scenario.schema_equipment import Hover, LoadLog

_AIR_SOURCE = "US Standard Atmosphere 1976; ideal gas, dry air"
_HOVER_SOURCE = "momentum theory, P = (m g)^1.5 / sqrt(2 × density × area)"
_FORWARD_SOURCE = "Zeng, Xu and Zhang (2019), eq. 12"
_LOGGED_SHOWN = 20


@dataclass(frozen=True)
class Rotor:
    """What the power of an aircraft is calculated from, as shown."""

    density: Number
    area: Number
    merit: Number
    fixed: Number


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
    pressure = sheet.calc(
        f"pressure of the {where}", f"101325 × (1 - 0.0065 × {height} / 288.15)^5.255876", "Pa", _AIR_SOURCE
    )
    return sheet.calc(f"density of the {where}", f"{pressure} / (287.053 × ({warm} + 273.15))", "kg/m3", _AIR_SOURCE)


def rotor_sheet(plan: DayPlan, aircraft: AircraftPlan, density: Number, metric: bool) -> tuple[Sheet, Rotor]:
    """Write how hover power is calibrated: disc area, figure of merit, fixed power."""
    table, model, key = plan.scenario.aircraft[aircraft.name], aircraft.model, f"aircraft.{aircraft.name}"
    sheet = Sheet(f"Hover power of {aircraft.name}", metric)
    rotors = sheet.given("rotors", table.rotors, "", f"{key}.rotors")
    diameter = sheet.given("rotor diameter", table.rotor_diameter, "m", f"{key}.rotor_diameter")
    discs = f"{rotors} / 2" if table.coaxial else f"{rotors}"
    area = sheet.calc(
        "area of the rotor discs",
        f"{discs} × pi × {diameter}^2 / 4",
        "m2",
        "a stacked pair counts once" * table.coaxial,
    )
    if table.coaxial:
        factor = sheet.given(
            "induced power of a pair over two rotors apart", model.coaxial_factor, "", "Leishman (2006), section 2.14"
        )
        area = sheet.calc("area of one disc of the same ideal power", f"{area} × 2 / {factor}^2", "m2")
    area = sheet.agree("effective disc area", area, model.effective_area_m2, "m2")
    if table.load_log is not None:
        merit, fixed = _logged(sheet, aircraft, table.load_log)
    elif table.hover is None:
        merit = sheet.given("figure of merit", table.figure_of_merit, "", f"{key}.figure_of_merit")
        fixed = sheet.given("fixed power", table.fixed_power, "W", f"{key}.fixed_power")
    else:
        merit, fixed = _calibration(sheet, aircraft, table.hover, area)
    merit = sheet.agree("figure of merit", merit, model.figure_of_merit)
    if max(float(fixed), model.fixed_power_w) > 1.0:
        fixed = sheet.agree("fixed power", fixed, model.fixed_power_w, "W")
    return sheet, Rotor(density, area, merit, fixed)


def _calibration(sheet: Sheet, aircraft: AircraftPlan, hover: Hover, area: Number) -> tuple[Number, Number]:
    """Fit figure of merit and fixed power to the hover minutes of a spec sheet."""
    key = f"aircraft.{aircraft.name}.hover"
    height = sheet.given("altitude of the spec sheet", hover.altitude, "m", f"{key}.altitude")
    warm = sheet.given("air temperature of the spec sheet", hover.air_temperature, "degC", f"{key}.air_temperature")
    density = _density(sheet, "spec sheet's air", height, warm)
    energy = sheet.given("energy of the spec sheet's pack", hover.energy, "Wh", f"{key}.energy")
    usable = sheet.given("share of it that the spec sheet flew", hover.usable_share, "", f"{key}.usable_share")
    empty = sheet.given("mass of the spec sheet without pack and load", hover.empty_mass, "kg", f"{key}.empty_mass")
    pack_kg = sheet.given("mass of the spec sheet's pack", hover.pack_mass, "kg", f"{key}.pack_mass")
    full = hover.full_load or 0.0
    points = []
    for word, time_s, load in (("empty", hover.empty_time, None), ("full", hover.full_time, full)):
        if time_s is None:
            continue
        minutes = sheet.given(f"hover time, {word}", time_s / 60.0, "min", f"{key}.{word}_time")
        power = sheet.calc(f"hover power of the spec sheet, {word}", f"{energy} × {usable} × 60 / {minutes}", "W")
        load_text = (
            "" if load is None else f" + {sheet.given('load of that flight, full', load, 'kg', f'{key}.full_load')}"
        )
        mass = sheet.calc(f"mass of that flight, {word}", f"{empty} + {pack_kg}{load_text}", "kg")
        ideal = _ideal(sheet, f"momentum limit of that flight, {word}", mass, density, area)
        points.append((power, ideal))
    if len(points) == 1:
        merit = sheet.calc("figure of merit", f"{points[0][1]} / {points[0][0]}", "", "one point: no fixed power")
        return merit, Number("0")
    (low_w, low_ideal), (high_w, high_ideal) = points
    merit = sheet.calc(
        "figure of merit",
        f"({high_ideal} - {low_ideal}) / ({high_w} - {low_w})",
        "",
        "two points: power = limit / merit + fixed",
    )
    fixed = sheet.calc(
        "fixed power", f"{low_w} - {low_ideal} / {merit}", "W", "what does not depend on mass: avionics, pump"
    )
    if -FIXED_POWER_TOLERANCE * min(float(low_w), float(high_w)) <= float(fixed) < 0.0:
        low = sheet.calc("merit of the empty point alone", f"{low_ideal} / {low_w}")
        high = sheet.calc("merit of the full point alone", f"{high_ideal} / {high_w}")
        merit = sheet.calc(
            "figure of merit",
            f"({low}^2 + {high}^2) / ({low} + {high})",
            "",
            "fixed power slightly negative: set to 0, merit by least squares",
        )
        fixed = Number("0")
    return merit, fixed


def _logged(sheet: Sheet, aircraft: AircraftPlan, log: LoadLog) -> tuple[Number, Number]:
    """Write the power of each logged load, and the fit that the simulator made to them."""
    key = f"aircraft.{aircraft.name}"
    energy = sheet.calc(
        "energy of the pack of the log",
        f"{Number.of(log.energy)} × {Number.of(log.health)}",
        "Wh",
        f"{key}.load_log",
    )
    for place, one in enumerate(log.loads[:_LOGGED_SHOWN], 1):
        minutes = Number.of(one.airborne / 60.0)
        sheet.calc(
            f"mean power of logged load {place}",
            f"{energy} × {Number.of(one.used)} × 60 / {minutes}",
            "W",
            f"{key}.load_log.loads",
        )
    note = f"least squares over {len(log.loads)} logged loads, made by the simulator"
    merit = sheet.given("figure of merit", aircraft.model.figure_of_merit, "", note)
    return merit, sheet.given("fixed power", aircraft.model.fixed_power_w, "W", f"{key}.fixed_power")


def _ideal(sheet: Sheet, quantity: str, mass: Number, density: Number, area: Number) -> Number:
    return sheet.calc(quantity, f"({mass} × 9.80665)^1.5 / sqrt(2 × {density} × {area})", "W", _HOVER_SOURCE)


@dataclass(frozen=True)
class Lift:
    """An all-up mass, its momentum limit (W) and downwash in hover (m/s), as shown."""

    mass: Number
    ideal: Number
    downwash: Number


def lift_of(sheet: Sheet, word: str, mass: Number, rotor: Rotor) -> Lift:
    """Write momentum limit and downwash of a mass."""
    ideal = _ideal(sheet, f"momentum limit, {word}", mass, rotor.density, rotor.area)
    return Lift(mass, ideal, sheet.calc(f"downwash in hover, {word}", f"{ideal} / ({mass} × 9.80665)", "m/s"))


def hover_w(sheet: Sheet, word: str, lift: Lift, rotor: Rotor, aircraft: AircraftPlan) -> Number:
    """Write the power while standing still over the ground; return it, W."""
    ours = cubic_value(aircraft.hover_power, float(lift.mass))
    if aircraft.wind_m_per_s > 0.0:
        # standing still over the ground is flying at the speed of the wind
        wind = [Number.of(aircraft.wind_m_per_s)]
        return forward_w(sheet, f"hovering {word}", lift, wind, rotor, aircraft, ours)
    power = sheet.calc(f"hover power, {word}", f"{lift.ideal} / {rotor.merit} + {rotor.fixed}", "W")
    return sheet.agree(f"hover power, {word}", power, ours, "W")


def airspeeds_of(sheet: Sheet, word: str, speed: Number, aircraft: AircraftPlan) -> list[Number]:
    """Return the airspeeds of a ground speed: one in still air, else against the wind and with it."""
    if aircraft.wind_m_per_s == 0.0:
        return [speed]
    wind = Number.of(aircraft.wind_m_per_s)
    note = "weather.wind_speed, half of the way"
    against = sheet.calc(f"airspeed against the wind, {word}", f"{speed} + {wind}", "m/s", note)
    along = sheet.calc(
        f"airspeed with the wind, {word}", f"max({speed} - {wind}, {wind} - {speed})", "m/s", "other half"
    )
    return [against, along]


def forward_w(
    sheet: Sheet,
    word: str,
    lift: Lift,
    airspeeds: list[Number],
    rotor: Rotor,
    aircraft: AircraftPlan,
    simulator_w: float,
) -> Number:
    """Write the power in forward flight at a mass: the mean over its airspeeds."""
    model = aircraft.model
    share, tip = Number.of(model.profile_share), Number.of(model.tip_speed_m_per_s)
    drag, drive = Number.of(model.drag_area_m2), Number.of(model.drive_efficiency)
    powers = []
    for airspeed in airspeeds:
        at = word if len(airspeeds) == 1 else f"{word} at {airspeed.text} m/s"
        x = sheet.calc(f"speed term, {at}", f"{airspeed}^2 / (2 × {lift.downwash}^2)")
        ratio = sheet.calc(f"induced share, {at}", f"1 / sqrt(sqrt(1 + {x}^2) + {x})", "", "of that in hover")
        profile = f"{share} × (1 + 3 × {airspeed}^2 / {tip}^2)"
        lifting = sheet.calc(f"lift share, {at}", f"{profile} + (1 - {share}) × {ratio}", "", _FORWARD_SOURCE)
        pull = sheet.calc(f"drag power, {at}", f"0.5 × {rotor.density} × {drag} × {airspeed}^3 / {drive}", "W")
        formula = f"{lift.ideal} / {rotor.merit} × {lifting} + {pull} + {rotor.fixed}"
        powers.append(sheet.calc(f"power, {at}", formula, "W"))
    power = powers[0] if len(powers) == 1 else sheet.calc(f"power, {word}", f"({powers[0]} + {powers[1]}) / 2", "W")
    return sheet.agree(f"power, {word}", power, simulator_w, "W")
