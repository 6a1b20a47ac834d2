"""Evidence of the air and the rotors: density, calibration of hover power, and power in flight."""

from __future__ import annotations

from dataclasses import fields

from simulator.analysis.explain_sheet import Case, Sheet
from simulator.physics.air import density_kg_per_m3, standard_pressure_pa
from simulator.physics.flight import FlightModel, mean_power_w
from simulator.plan.aircraft import AircraftPlan, hover_points
from simulator.plan.day_plan import DayPlan

_ASSUMED = {
    "profile_share": ("profile share of lift power in hover", "", "assumption, after Leishman (2006), from memory"),
    "tip_speed_m_per_s": ("blade tip speed", "m/s", "Zeng, Xu and Zhang (2019)"),
    "drive_efficiency": ("efficiency of motors and drives", "", "assumption"),
    "drag_area_m2": ("drag area", "m2", "flat plate; the aircraft's drag_area"),
    "coaxial_factor": ("induced power of a coaxial pair", "", "Leishman (2006), section 2.14, from memory"),
}
_HOVERING = {"momentum_limit_w": ("momentum limit", "W"), "downwash_m_per_s": ("downwash", "m/s")}
_FORWARD = {
    "profile_share": ("profile power over that in hover", ""),
    "induced_share": ("induced power over that in hover", ""),
    "lift_share": ("lift power over that in hover", ""),
    "drag_w": ("drag power", "W"),
}


def air_sheet(plan: DayPlan, metric: bool) -> Sheet:
    """Write the density of the air."""
    sheet, weather = Sheet("Air", metric), plan.scenario.weather
    sheet.add("altitude", weather.altitude, "m", "weather.altitude")
    sheet.add("air temperature", weather.air_temperature, "degC", "weather.air_temperature")
    sheet.add("pressure", standard_pressure_pa(weather.altitude), "Pa", "US Standard Atmosphere 1976")
    density = density_kg_per_m3(weather.altitude, weather.air_temperature)
    sheet.add("density", density, "kg/m3", "ideal gas, dry air")
    return sheet


def rotor_sheet(plan: DayPlan, aircraft: AircraftPlan, metric: bool) -> Sheet:
    """Write how hover power is calibrated: disc area, figure of merit, fixed power."""
    table, model, key = plan.scenario.aircraft[aircraft.name], aircraft.model, f"aircraft.{aircraft.name}"
    sheet = Sheet(f"Hover power of {aircraft.name}", metric)
    for one in fields(FlightModel):
        if one.name in _ASSUMED and (model.coaxial or one.name != "coaxial_factor"):
            quantity, unit, note = _ASSUMED[one.name]
            sheet.add(quantity, getattr(model, one.name), unit, note)
    sheet.add("area of the rotor discs", model.disc_area_m2, "m2", "a stacked pair counts once")
    if model.coaxial:
        sheet.add("area of one disc of the same ideal power", model.effective_area_m2, "m2")
    if table.load_log is not None:
        note = f"least squares over {len(table.load_log.loads)} logged loads"
        energy_wh = table.load_log.energy * table.load_log.health
        for place, logged in enumerate(table.load_log.loads, 1):
            power_w = mean_power_w(energy_wh, logged.used, logged.airborne / 60.0)
            sheet.add(f"mean power of logged load {place}", power_w, "W", f"{key}.load_log")
    elif table.hover is not None:
        hover, note = table.hover, "fitted to the hover times"
        density = density_kg_per_m3(hover.altitude, hover.air_temperature)
        sheet.add("density of the spec sheet's air", density, "kg/m3", f"{key}.hover")
        for place, (mass_kg, minutes) in enumerate(hover_points(hover), 1):
            sheet.add(f"hover time {place}", minutes, "min", f"{key}.hover, {mass_kg:.4g} kg in all")
            sheet.add(f"hover power {place}", mean_power_w(hover.energy, hover.usable_share, minutes), "W")
            limit_w = model.momentum_limit_w(mass_kg, density)
            sheet.add(f"momentum limit {place}", limit_w, "W", "momentum theory")
    else:
        note = key
    sheet.add("figure of merit", model.figure_of_merit, "", note)
    sheet.add("fixed power", model.fixed_power_w, "W", note if table.load_log is None else f"{key}.fixed_power")
    return sheet


def power_sheet(plan: DayPlan, case: Case, metric: bool) -> Sheet:
    """Write the power of a flight with its parts, full and empty, while it hovers, ferries and sprays."""
    aircraft = case.aircraft
    sheet = Sheet(f"Power of {case.name}", metric)
    sprayed_kg = aircraft.empty_kg + case.pack.mass_kg
    for word, mass_kg in (("full", sprayed_kg + case.load.amount * plan.unit_kg), ("empty", sprayed_kg)):
        sheet.add(f"mass, {word}", mass_kg, "kg")
        for doing, speed, winds in (
            ("hovering", 0.0, {aircraft.wind_m_per_s}),
            ("ferrying", aircraft.ferry_speed_m_per_s, {aircraft.wind_m_per_s, -aircraft.wind_m_per_s}),
            ("spraying", case.profile.speed_m_per_s, {aircraft.wind_m_per_s, -aircraft.wind_m_per_s}),
        ):
            for wind in sorted(winds):
                parts = aircraft.model.forward_power(mass_kg, speed, aircraft.density_kg_per_m3, wind)
                against = f" against {wind:.3g} m/s" if wind else ""
                for name, (quantity, unit) in (_FORWARD if speed or wind else _HOVERING).items():
                    sheet.add(f"{quantity}, {doing} {word}{against}", getattr(parts, name), unit)
                sheet.add(f"power, {doing} {word}{against}", parts.power_w, "W", "Zeng, Xu and Zhang (2019), eq. 12")
    return sheet
