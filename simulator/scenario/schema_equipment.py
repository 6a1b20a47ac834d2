"""Scenario tables of the equipment: aircraft, packs, chargers and generators, described by class."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import model_validator

from simulator.physics.generator import DerateRule
from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.types import (
    Drawn,
    PositiveCount,
    Quantity,
    Table,
    WaterOrMass,
    fail,
    label_key,
    may,
    maybe,
    must,
)

Time = Annotated[Distribution, Drawn(units.TIME)]
Factor = Annotated[Distribution, Drawn(units.NUMBER, above=0.0)]
Share = Annotated[float, Quantity(units.SHARE, least=0.0, most=1.0)]
PositiveShare = Annotated[float, Quantity(units.SHARE, above=0.0, most=1.0)]
PositiveTime = Annotated[float, Quantity(units.TIME, above=0.0)]
Length = Annotated[float, Quantity(units.LENGTH, least=0.0)]
PositiveLength = Annotated[float, Quantity(units.LENGTH, above=0.0)]
Mass = Annotated[float, Quantity(units.MASS, above=0.0)]
Volume = Annotated[float, Quantity(units.VOLUME, above=0.0)]
Speed = Annotated[float, Quantity(units.SPEED, above=0.0)]
Energy = Annotated[float, Quantity(units.ENERGY, above=0.0)]
Power = Annotated[float, Quantity(units.POWER, above=0.0)]
TestTemperature = Annotated[float, Quantity(units.TEMPERATURE, least=-60.0, most=60.0)]
TestAltitude = Annotated[float, Quantity(units.LENGTH, least=-400.0, most=6000.0)]
PackTemperature = Annotated[float, Quantity(units.TEMPERATURE, least=-20.0, most=90.0)]
FreePower = Annotated[float, Quantity(units.POWER, least=0.0)]


def like_key() -> Any:
    """Declare the key that names what an entry starts from."""
    return maybe("Name of a catalogue entry to start from; none: start empty. An assumption of the project.")


class Breakdown(Table):
    """Random failures of an aircraft, counted in airborne time."""

    airborne_time_between: Annotated[Distribution, Drawn(units.TIME, above=0.0)] = must(
        "Airborne time between failures; drawn anew after each repair."
    )
    repair_time: Time = must("Time to mend the aircraft on site.")


def _then(what: str, of: str, given: str = "minutes") -> str:
    later = "what changes it later (after `like`, in an equipment set, by --set) leaves this as it is"
    return f"{what} Left out: {of} as it stands where the {given} are given; {later}."


class Hover(Table):
    """What a spec sheet says of hovering, and what it was measured with: the power model is calibrated from it."""

    pack: str | None = maybe(
        "Pack type that the minutes were flown on; none: energy and pack_mass are given. Only the table that gives the "
        "minutes says so: minutes that come by `like` keep the pack they were flown on. Source: the spec sheet.",
    )
    energy: Energy = must(_then("Nominal energy of the pack that was flown.", "that of `pack`"))
    pack_mass: Mass = must(_then("Mass of the pack that was flown.", "that of `pack`"))
    empty_mass: Mass = must(_then("Mass then without pack and load.", "the class's"))
    full_load: Annotated[float, WaterOrMass()] | None = maybe(
        _then("Load of full_time, or the tank that was full of water.", "the class's tank, else its hopper,")
        + " Source: the spec sheet.",
    )
    empty_time: PositiveTime | None = maybe("Hover time with an empty tank; none: not used. Source: the spec sheet.")
    full_time: PositiveTime | None = maybe("Hover time with a full tank; none: not used. Source: the spec sheet.")
    usable_share: PositiveShare = may("95 %", "Share of the pack's energy that the spec sheet flew; assumption.")
    air_temperature: TestTemperature = may(
        "15 degC", "Air temperature of the spec-sheet flight; assumption (standard day)."
    )
    altitude: TestAltitude = may("0 m", "Altitude of the spec-sheet flight; assumption (sea level).")

    @model_validator(mode="after")
    def _one_point(self) -> Hover:
        if self.empty_time is None and self.full_time is None:
            raise fail("neither empty_time nor full_time is given; allowed is one or both")
        return self


class LoggedLoad(Table):
    """One flown load as an owner logs it."""

    load: Annotated[float, Quantity(units.MASS, least=0.0)] = must("Load at take-off.")
    airborne: PositiveTime = must("Time airborne.")
    used: PositiveShare = must("Part of the pack used.")


class LoadLog(Table):
    """Logged loads, from which the power model is calibrated instead of a spec sheet."""

    pack: str | None = maybe("Pack type that was flown; none: energy and pack_mass are given. Source: the log.")
    energy: Energy = must(_then("Nominal energy of the pack that was flown.", "that of `pack`", "loads"))
    health: PositiveShare = may(
        "100 %", _then("Energy that it held then over nominal.", "that of `pack`", "loads") + " Source: the log."
    )
    pack_mass: Mass = must(_then("Mass of the pack that was flown.", "that of `pack`", "loads"))
    empty_mass: Mass = must(_then("Mass then without pack and load.", "the class's", "loads"))
    speed: Speed = must(_then("Ground speed then along a pass.", "the class's spray_speed", "loads"))
    loads: list[LoggedLoad] = must("Loads flown.", min_length=1, max_length=1000)
    air_temperature: TestTemperature = may("20 degC", "Air temperature then; assumption.")
    altitude: TestAltitude = may("0 m", "Altitude then; assumption.")


class TurnLimits(Table):
    """Limits from which the time of a turn is worked out."""

    acceleration: Annotated[float, Quantity(units.ACCELERATION, above=0.0, most=50.0)] = must(
        "Greatest horizontal acceleration."
    )
    radius_least: Length = may("0 m", "Smallest turn radius in continuous flight; assumption: none.")


class Aircraft(Table):
    """One class of unmanned multirotor spray aircraft."""

    like: str | None = like_key()
    label: str = label_key()
    tank: Volume | None = maybe("Spray tank volume; needed for liquids. Source: the spec sheet.")
    hopper_mass: Mass | None = maybe("Most granules carried; needed for spreading. Source: the spec sheet.")
    hopper_volume: Volume | None = maybe(
        "Hopper volume; with the bulk density it may limit the load. Source: the spec sheet."
    )
    empty_mass: Mass = must("Mass ready to fly without pack and load. Source: the spec sheet.")
    take_off_mass_max: Mass | None = maybe(
        "Largest mass at take-off; none: tank and hopper are the only limit. Source: the spec sheet."
    )
    rotors: PositiveCount = must("Number of rotors.")
    rotor_diameter: PositiveLength = must("Diameter of one rotor.")
    coaxial: bool = may(False, "True when rotors are stacked in pairs; assumption.")
    hover: Hover | None = maybe("Hover times from a spec sheet; none: figure_of_merit is used. Source: the spec sheet.")
    load_log: LoadLog | None = maybe(
        "Logged loads to calibrate from; none: hover or figure_of_merit. Source: the owner's log."
    )
    figure_of_merit: PositiveShare = may(
        "60 %",
        "Ideal hover power over electrical, when no hover times are given; assumption (range 0.5-0.7, from memory).",
    )
    fixed_power: FreePower = may("150 W", "Avionics and pump power, when no hover times are given; assumption.")
    drag_area: Annotated[float, Quantity(units.AREA, least=0.0)] = may(
        "0.3 m^2", "Flat-plate drag area in forward flight; assumption."
    )
    swath: PositiveLength = must("Effective swath when spraying (lane separation).")
    spread_swath: PositiveLength | None = maybe(
        "Effective swath when spreading; none: as swath. Source: a pattern test."
    )
    spray_speed: Speed = must("Ground speed along a pass.")
    spread_speed: Speed | None = maybe("Ground speed along a pass when spreading; none: as spray_speed. Assumption.")
    ferry_speed: Speed = must("Ground speed between landing zone and work.")
    turn_time: Time = may("5 s", "Time from the end of a pass to the start of the next; assumption.")
    turn_limits: TurnLimits | None = maybe(
        "Work the turn time out from these instead of turn_time; none: turn_time. Assumption."
    )
    take_off_time: Time = may("15 s", "Take-off and climb; assumption.")
    landing_time: Time = may("20 s", "Descent and landing; assumption.")
    flow_max: Annotated[float, Quantity(units.LIQUID_FLOW, above=0.0)] | None = maybe(
        "Largest spray flow; a rate that asks more lowers the speed; none: no limit. Source: the spec sheet."
    )
    spread_flow_max: Annotated[float, Quantity(units.DRY_FLOW, above=0.0)] | None = maybe(
        "Largest spreading flow; a rate that asks more lowers the speed; none: no limit. Source: the spec sheet."
    )
    section_control: bool = may(
        True,
        "True: nozzles (or the spreader) are switched by section, so that nothing falls outside the field or twice; "
        "false: a pass sprays its whole swath from its first to its last metre inside, also where the field ends "
        "slantwise or is narrower. Assumption.",
    )
    flight_time_factor: Factor = may(
        "1", "Drawn once a sortie, multiplies its airborne time (wind, pilot); assumption."
    )
    swap: Literal["every landing", "when needed"] = may(
        "when needed", "Swap the pack at every landing, or when the next load would not fit the charge; assumption."
    )
    handling_time: Time = may("2 min", "To load it on, or take it off, the trailer; assumption.")
    handling_people: PositiveCount = may(1, "People it takes to lift it; assumption: at most about 25 kg a person.")
    ramp_time: Time = may(
        "8 min", "To roll or winch it on or off over a ramp, with fewer people than that; assumption."
    )
    breakdown: Breakdown | None = maybe("Random failures; none: it does not fail. Assumption.")

    @model_validator(mode="after")
    def _one_calibration(self) -> Aircraft:
        if self.hover is not None and self.load_log is not None:
            raise fail("both hover and load_log are given; allowed is one of them")
        return self


class Cooling(Table):
    """Newton cooling of a pack after landing."""

    after_flight: PackTemperature = must("Pack temperature at landing.")
    limit: PackTemperature = must("Temperature at which charging may begin.")
    time_constant: PositiveTime = must("Time in which the difference to the air falls to 37 %.")


class Pack(Table):
    """One class of pack (battery)."""

    like: str | None = like_key()
    label: str = label_key()
    energy: Energy = must("Nominal energy. Source: the spec sheet.")
    mass: Mass = must("Mass. Source: the spec sheet.")
    fits: list[str] = must("Aircraft classes it can fly.", min_length=1)
    reserve: Share = may("20 %", "Charge never used: it lands with at least this; source: the common 80 % rule.")
    health: PositiveShare = may("100 %", "Energy it still holds over nominal; assumption (new packs).")
    cycles: Annotated[float, Quantity(units.NUMBER, least=0.0, most=5000.0)] = may(
        "0", "Charge cycles flown so far: they lower the health, by depth of discharge; assumption (new packs)."
    )
    charge_power_max: Power = must("Most power the pack takes (at its terminals). Source: the spec sheet.")
    cc_share: PositiveShare = may(
        "80 %", "Charge at which constant current ends at full charging power; source: 0.7-0.85 at 1C, battery notes."
    )
    cut_share: PositiveShare = may(
        "5 %", "Power at which charging ends, over full charging power; source: 0.03-0.1C, battery notes."
    )
    charge_efficiency: PositiveShare = may(
        "99 %", "Energy stored over energy taken; source: about 99 %, battery notes."
    )
    cooling_time: Time = may("5 min", "From landing until it may be charged; assumption.")
    cooling: Cooling | None = maybe(
        "Work the cooling time out from temperatures instead; none: cooling_time. Assumption."
    )
    cold_loss: bool = may(
        True, "True: cold air takes some of its energy; assumption: 20 % at 0 degC, none from 20 degC up."
    )
    charge_temperature_least: Annotated[float, Quantity(units.TEMPERATURE, least=-40.0, most=60.0)] = may(
        "0 degC", "No charging in colder air; source: USFA/NFPA advice."
    )
    charge_temperature_most: Annotated[float, Quantity(units.TEMPERATURE, least=-40.0, most=80.0)] = may(
        "40 degC", "No charging in hotter air; source: USFA/NFPA advice."
    )


class Charger(Table):
    """One class of charger."""

    like: str | None = like_key()
    label: str = label_key()
    serves: list[str] = must("Pack types it can charge.", min_length=1)
    slots: PositiveCount = may(1, "Packs charged at the same time; assumption.")
    output_power: Power = must("Most power to all its packs together. Source: the spec sheet.")
    slot_power: Power | None = maybe("Most power to one pack; none: the whole output. Source: the spec sheet.")
    input_power_max: Power | None = maybe("Most power it draws; none: output over efficiency. Source: the spec sheet.")
    setting: PositiveShare = may("100 %", "Power it is set to, over full power; assumption.")
    setting_least: PositiveShare = may("10 %", "Least power it can be set to, over full power; assumption.")
    efficiency: PositiveShare = may("92 %", "Power to packs over power drawn; source: 0.85-0.93, from memory.")
    adapts: bool = may(
        False, "True: it never gives a pack more than the pack takes; false: it must be set low enough. Assumption."
    )
    balance_time: Time = may("0 s", "Time a slot is held after charging while cells are balanced; assumption.")


class FuelPoint(Table):
    """Fuel use at a load."""

    load: FreePower = must("Load.")
    use: Annotated[float, Quantity(units.LIQUID_FLOW, above=0.0)] = must('Fuel use, such as "2.1 L/h".')


class Generator(Table):
    """One class of engine generator."""

    like: str | None = like_key()
    label: str = label_key()
    rated_power: Power = must("Nameplate power. Source: the spec sheet.")
    continuous_share: PositiveShare = may(
        "80 %", "Part of the rating it is loaded to; source: the 80 % continuous-load rule, from memory."
    )
    derate: DerateRule = may(
        "naturally_aspirated", "Rule for altitude and temperature; source: 3 % per 1000 ft above 500 ft, handbook."
    )
    fuel: Literal["diesel", "petrol"] = may("petrol", "Fuel; assumption.")
    fuel_use: list[FuelPoint] = may(
        [],
        "Measured use at two or more loads, fitted by a straight line; none: the ASABE part-load line. Source: the "
        "spec sheet.",
        max_length=50,
    )
    fuel_tank: Volume = may("25 L", "Fuel tank; assumption.")
    refuel_at: Share = may("15 %", "Tank level at which the crew is asked to refuel; assumption.")

    @model_validator(mode="after")
    def _fuel_line(self) -> Generator:
        if len(self.fuel_use) == 1:
            raise fail(
                "got one fuel_use point, which gives no line; allowed is two or more at different loads, or none"
            )
        if self.fuel_use:
            from simulator.physics.generator import fit_fuel_line

            try:
                fit_fuel_line([point.load for point in self.fuel_use], [point.use * 3600.0 for point in self.fuel_use])
            except ValueError as error:
                raise fail(f"fuel_use gives no straight line, in W and litres an hour: {error}") from error
        return self
