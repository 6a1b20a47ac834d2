"""Scenario tables of a rig: what travels together (trailer, aircraft, packs, chargers, power, mix tank, crew)."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import model_validator

from simulator.scenario import units
from simulator.scenario.schema_equipment import (
    FreePower,
    Length,
    PositiveLength,
    PositiveShare,
    Power,
    Share,
    Time,
    Volume,
)
from simulator.scenario.types import Count, PositiveCount, Quantity, Table, fail, may, maybe, must

Flow = Annotated[float, Quantity(units.LIQUID_FLOW, above=0.0)]


class Task(Table):
    """A task of the crew: how long, how many people, and who."""

    time: Time = must("Duration, without the part that depends on an amount.")
    people: Count = may(1, "People it takes all the while; 0: it needs nobody. Assumption.")
    by: Literal["anyone", "helper", "pilot"] = may("anyone", "Who can do it; assumption.")


class Tasks(Table):
    """The crew's tasks. No published table of their seconds was found: all are assumptions to be timed."""

    swap: Task = may({"time": "60 s"}, "Take the used pack off and put a charged one on; assumption.")
    plug_in: Task = may({"time": "30 s"}, "Carry a cooled pack to a charger slot and plug it in; assumption.")
    fill: Task = may({"time": "30 s"}, "Couple, uncouple and close the tank; pumping comes on top; assumption.")
    mix: Task = may({"time": "8 min"}, "Measure, rinse and agitate one batch; transfer comes on top; assumption.")
    refuel: Task = may({"time": "5 min"}, "Stop, refuel and restart the generator; assumption.")
    restart: Task = may(
        {"time": "2 min"}, "Unplug what is too much and restart a source that tripped (overload = 'trip'); assumption."
    )
    launch_check: Task = may({"time": "0 s", "by": "pilot"}, "Check before each take-off; assumption.")


class Crew(Table):
    """The people of a rig."""

    pilots: PositiveCount = may(1, "People licensed to fly; assumption.")
    helpers: Count = may(1, "People who never fly; assumption.")
    aircraft_per_pilot: PositiveCount = may(
        1, "Aircraft one pilot may have in the air; source: ask your authority. Assumption."
    )
    pilot_helps: bool = may(True, "True: a pilot with no aircraft in the air does ground tasks; assumption.")
    tasks: Tasks = may({}, "Durations and people of each task; assumptions.")


class Supply(Table):
    """Product at the rig: mix tank, water and pump for liquids; a tender for granules."""

    pump_flow: Flow = may("20 gal/min", "Flow of the fill pump; assumption.")
    pumps: PositiveCount = may(1, "Aircraft that can be filled at the same time; assumption.")
    mix_tank: Volume = may("200 gal", "Volume of the mix tank; assumption.")
    batch: Volume | None = maybe("Largest batch mixed at once; none: the mix tank. Assumption.")
    start_mixed: Share = may("0 %", "Part of the mix tank mixed before the day starts; assumption.")
    mix_at: Share = may(
        "30 %", "Level of the mix tank at which the next batch is started when people are free; assumption."
    )
    transfer_flow: Flow = may("40 gal/min", "Flow from the water tank to the mix tank; assumption.")
    nurse_water: Volume = may("1000 gal", "Water that the rig carries; assumption.")
    water_share: PositiveShare = may("95 %", "Water over mix, by volume; assumption.")
    water_trip_time: Time = may("45 min", "To fetch a full load of water; assumption.")
    water_trip_people: Count = may(1, "People away on that trip; assumption.")
    dry_flow: Annotated[float, Quantity(units.DRY_FLOW, above=0.0)] = may(
        "100 lb/min", "Flow of granules into a hopper; assumption."
    )
    dry_stock: Annotated[float, Quantity(units.MASS, above=0.0)] = may(
        "6000 lb", "Granules that the rig carries; assumption."
    )
    rinse_time: Time = may("10 min", "To empty and rinse tank, pump and aircraft before another mix; assumption.")
    leftover: Literal["kept", "thrown away"] = may(
        "kept", "What becomes of mix left over in the evening; source: the product label. Assumption."
    )

    @property
    def largest_batch(self) -> float:
        """Largest batch mixed at once."""
        return self.batch or self.mix_tank


class Trailer(Table):
    """Moving the rig."""

    pack_up_time: Time = may("6 min", "To stow hoses, chargers and tools, without the aircraft; assumption.")
    set_up_time: Time = may("8 min", "To set up again, without the aircraft; assumption.")
    yard_time: Time = may(
        "15 min", "To load at the yard in the morning, and again to put away in the evening; assumption."
    )
    relocate_time: Time = may("6 min", "To shift the landing zone within one field; assumption.")
    charge_while_driving: bool = may(False, "True: chargers run while packing up, driving and setting up; assumption.")


class PowerPoint(Table):
    """A generator or a grid supply, and the chargers that hang on it."""

    like: str | None = maybe(
        "Name of a supply of the catalogue, or of another power point of the rig; none: start empty. Assumption."
    )
    generator: str | None = maybe("Generator class; none: the grid. Assumption.")
    grid_power: Power | None = maybe("Power of a grid supply; none: a generator. Assumption.")
    chargers: dict[str, Count] = must("Chargers on it: class = number.")
    overload: Literal["set to fit", "trip"] = may(
        "set to fit",
        "Where chargers ask for more than the source gives: the crew sets them so that together they fit, or it "
        "stops until somebody unplugs the last and restarts it. Common practice, no source.",
    )
    other_load: FreePower = may("0 W", "Steady other load (pump, cooling, lights); assumption.")

    @model_validator(mode="after")
    def _one_source(self) -> PowerPoint:
        if (self.generator is None) == (self.grid_power is None):
            raise fail(
                'allowed is either generator = "a generator class" or grid_power = "10 kW", not both and not neither'
            )
        return self


class Rig(Table):
    """What travels together."""

    like: str | None = maybe(
        "Name of a set-up of the catalogue, or of another rig, to start from; none: start empty. Assumption."
    )
    aircraft: dict[str, Count] = must("Aircraft on the rig: class = number.")
    packs: dict[str, Count] = must("Packs on the rig: type = number.")
    packs_start_charge: PositiveShare = may("100 %", "Charge of every pack when the day starts; assumption.")
    charge_to: PositiveShare = may("100 %", "Charge at which a pack is taken off the charger; assumption.")
    take_partly_charged: bool = may(
        False, "True: an aircraft that waits takes a pack as soon as it holds enough for the next load; assumption."
    )
    swap_first: bool = may(False, "True: filling starts only after the swap; false: both at once. Assumption.")
    power: dict[str, PowerPoint] = must("Power points of the rig by name.")
    unload: Literal["as useful", "all"] = may(
        "as useful",
        "'as useful': aircraft that would not help at a field stay on the trailer, and loads are as full as gets most "
        "done; 'all': every aircraft comes off and flies full loads. Assumption (common practice, no source).",
    )
    night_power: Power | None = maybe(
        "Mains at the yard on which all its chargers charge overnight; none: its own power points go on. Assumption.",
    )
    crew: Crew = may({}, "People and tasks; assumptions.")
    supply: Supply = may({}, "Product supply; assumptions.")
    trailer: Trailer = may({}, "Moving; assumptions.")


class Flying(Table):
    """Rules of flying that hold for every aircraft."""

    separation: Length = may(
        "20 m", "No aircraft starts a stretch nearer than this, across the swaths, to one still spraying; assumption."
    )
    launch_interval: Annotated[float, Quantity(units.TIME, least=0.0)] = may(
        "20 s", "Least time between two take-offs at one landing zone; assumption."
    )
    visual_range: PositiveLength | None = maybe(
        "Farthest from the landing zone; beyond, the zone is shifted; none: no limit. Source: ask your authority.",
    )
    landing_zone: Literal["follows", "stays"] = may(
        "follows",
        "On a large field the landing zone is shifted along with the work where that saves time, or it stays as far as "
        "visual_range allows. Common practice, no source.",
    )
    stop_at: Literal["anywhere", "pass end"] = may(
        "anywhere", "Where a load may end; 'pass end' flies only whole passes when it can; assumption."
    )
    energy_margin: Share = may(
        "5 %", "Energy kept above a load's mean need when it is planned, over that need; assumption."
    )
    least_load_share: PositiveShare = may(
        "10 %", "Near the day's end no load smaller than this share of a full one is started; assumption."
    )
