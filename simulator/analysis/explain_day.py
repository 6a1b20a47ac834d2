"""Evidence of the ground: turnaround, crew seconds, mixing, water and driving, written out line by line."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from simulator.analysis.explain_arithmetic import Number
from simulator.analysis.explain_load import LoadCase, mean_note
from simulator.analysis.explain_sheet import Sheet
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.scenario.schema_rig import Task
from simulator.scenario.units import M_PER_MILE

_LEGS_SHOWN = 12


@dataclass(frozen=True)
class GroundCase:
    """Time on the ground for one load, as shown.

    Parameters
    ----------
    fill_s : Number
        Filling, s.
    cycle_s : Number
        Take-off to take-off without waiting, s.
    hands_s, crew_s : Number
        Person-seconds of ground tasks for a load, without and with mixing, s.
    watch_s : Number
        Pilot-seconds of watching for a load, s.
    """

    fill_s: Number
    cycle_s: Number
    hands_s: Number
    crew_s: Number
    watch_s: Number


@dataclass(frozen=True)
class Road:
    """Times between yard and fields, as shown, s."""

    first_drive_s: Number
    set_up_s: Number
    yard_s: Number


def _task(sheet: Sheet, rig: RigPlan, word: str, name: str, task: Task) -> tuple[Number, Number]:
    key = f"rig.{rig.name}.crew.tasks.{name}"
    seconds = sheet.given(word, task.time.mean(), "s", mean_note(task.time, f"{key}.time"))
    return seconds, sheet.given(f"people for it ({name})", task.people, "", f"{key}.people")


def ground_sheet(plan: DayPlan, rig: RigPlan, case: LoadCase, metric: bool) -> tuple[Sheet, GroundCase]:
    """Write turnaround, cycle and crew seconds of a load."""
    table, tasks = rig.rig, rig.rig.crew.tasks
    liquid = plan.scenario.product.kind == "liquid"
    sheet = Sheet(f"On the ground: {case.aircraft.name} with {case.pack.name} on rig {rig.name}", metric)
    fill, fillers = _task(sheet, rig, "coupling, uncoupling and closing", "fill", tasks.fill)
    word, flow, unit = (
        ("pump_flow", table.supply.pump_flow, "L/s") if liquid else ("dry_flow", table.supply.dry_flow, "kg/s")
    )
    flow_shown = sheet.given("flow into the aircraft", flow, unit, f"rig.{rig.name}.supply.{word}")
    fill_s = sheet.calc("filling", f"{fill} + {case.amount} / {flow_shown}", "s")
    sheet.calc("fill minutes", f"{fill_s} / 60", "min")
    swap, swappers = _task(sheet, rig, "swapping the pack", "swap", tasks.swap)
    check, _ = _task(sheet, rig, "check before take-off", "launch_check", tasks.launch_check)
    if table.swap_first:
        formula, note = f"{swap} + {fill_s} + {check}", "swap_first: one after the other"
    else:
        formula, note = f"max({swap}, {fill_s}) + {check}", "both at once"
    with_swap = sheet.calc("turnaround with a swap", formula, "s", note)
    turnaround = with_swap
    if float(case.loads) > 1.0:
        without = sheet.calc("turnaround without a swap", f"{fill_s} + {check}", "s")
        turnaround = sheet.calc(
            "mean turnaround",
            f"({with_swap} + ({case.loads} - 1) × {without}) / {case.loads}",
            "s",
            "one swap a charge",
        )
    cycle_s = sheet.calc("cycle, without waiting", f"{case.airborne_s} + {turnaround}", "s", "airborne and turnaround")
    rate = sheet.calc(
        "effective field capacity",
        f"{case.area} / {cycle_s} × 3600",
        f"{sheet.area_unit}/h",
        "one aircraft that never waits",
    )
    sheet.calc(
        "field efficiency",
        f"{rate} / {case.theory} × 100",
        "%",
        "effective over theoretical field capacity, ASABE EP496",
    )
    plug, pluggers = _task(sheet, rig, "plugging a pack in", "plug_in", tasks.plug_in)
    parts = [f"{fill_s} × {fillers}", f"({swap} × {swappers} + {plug} × {pluggers}) / {case.loads}"]
    if float(check) > 0.0:
        parts.append(f"{check}")
    note = "fill, swap and plug in (once a charge), check; seconds × people"
    hands_s = sheet.calc("person-seconds for a load, without mixing", " + ".join(parts), "s", note)
    crew_s = hands_s
    if liquid:
        crew_s = sheet.calc("person-seconds on the ground for a load", f"{hands_s} + {_mix(sheet, rig, case)}", "s")
    each = sheet.given(
        "aircraft that one pilot may have in the air",
        table.crew.aircraft_per_pilot,
        "",
        f"rig.{rig.name}.crew.aircraft_per_pilot",
    )
    watch_s = sheet.calc("pilot-seconds of watching for a load", f"{case.airborne_s} / {each}", "s")
    _stock(sheet, rig, case, liquid, unit[: unit.index("/")])
    return sheet, GroundCase(fill_s, cycle_s, hands_s, crew_s, watch_s)


def _mix(sheet: Sheet, rig: RigPlan, case: LoadCase) -> str:
    """Write batch and mixing time; return the formula of mixing person-seconds for a load."""
    supply, key = rig.rig.supply, f"rig.{rig.name}.supply"
    mix, mixers = _task(sheet, rig, "mixing a batch, without transfer", "mix", rig.rig.crew.tasks.mix)
    largest = supply.batch if supply.batch is not None else supply.mix_tank
    batch = sheet.given("largest batch", min(largest, supply.mix_tank), "L", f"{key}.batch; none: mix_tank")
    water = sheet.given("water over mix", supply.water_share, "", f"{key}.water_share")
    transfer = sheet.given("flow from water to mix tank", supply.transfer_flow, "L/s", f"{key}.transfer_flow")
    whole = sheet.calc("time of a whole batch", f"{mix} + {batch} × {water} / {transfer}", "s")
    sheet.calc("loads in a batch", f"{batch} / {case.amount}")
    return f"{whole} × {mixers} × {case.amount} / {batch}"


def _stock(sheet: Sheet, rig: RigPlan, case: LoadCase, liquid: bool, unit: str) -> None:
    """Write what one trip for water or granules is enough for."""
    supply, key = rig.rig.supply, f"rig.{rig.name}.supply"
    if liquid:
        stock = sheet.given("water that the rig carries", supply.nurse_water, "L", f"{key}.nurse_water")
        product = sheet.calc("mix that this water makes", f"{stock} / {Number.of(supply.water_share)}", "L")
    else:
        product = sheet.given("granules that the rig carries", supply.dry_stock, unit, f"{key}.dry_stock")
    sheet.calc("loads between trips", f"{product} / {case.amount}")
    sheet.calc("area between trips", f"{product} / {case.amount} × {case.area}", sheet.area_unit)
    trip = sheet.given(
        "length of a trip",
        supply.water_trip_time.mean(),
        "s",
        mean_note(supply.water_trip_time, f"{key}.water_trip_time"),
    )
    sheet.calc("minutes of a trip", f"{trip} / 60", "min", f"people away: {supply.water_trip_people}")


def road_sheet(plan: DayPlan, rig: RigPlan, metric: bool) -> tuple[Sheet, Road]:
    """Write driving, packing up and setting up of a rig."""
    sheet = Sheet(f"On the road: rig {rig.name}", metric)
    trailer, crew, key = rig.rig.trailer, rig.rig.crew, f"rig.{rig.name}.trailer"
    drawn = plan.scenario.route.road_speed
    speed = sheet.given("road speed", drawn.mean(), "m/s", mean_note(drawn, "route.road_speed"))
    order = plan.geography.order
    places: list[int | None] = [None, *order, None]
    legs = list(pairwise(places))
    shown = legs if len(legs) <= _LEGS_SHOWN else [*legs[: _LEGS_SHOWN - 1], legs[-1]]
    first = Number("0")
    for start, end in shown:
        distance = Number.of(plan.geography.distance_m(start, end))
        name = f"drive, {_place(plan, start)} to {_place(plan, end)}"
        minutes = sheet.calc(
            name, f"{distance} / {speed} / 60", "min", f"{float(distance) / M_PER_MILE:.3g} mi, distance in m / speed"
        )
        if start is None:
            first = minutes
    if len(legs) > len(shown):
        metres = [plan.geography.distance_m(start, end) for start, end in legs[1:-1]]
        sheet.span(
            "drive between fields",
            min(metres) / float(speed) / 60,
            max(metres) / float(speed) / 60,
            "min",
            f"{len(metres)} drives",
        )
    people = crew.pilots + crew.helpers
    parts = []
    for entry, number in rig.aircraft:
        time, together = entry.lifting(people)
        parts.append(f"{number} × {Number.of(time.mean())} / {together}")
    note = "number × handling_time / lifts side by side; ramp_time where people are too few to lift"
    handling = sheet.calc("lifting the aircraft on or off", " + ".join(parts), "s", note)
    handling = sheet.agree("lifting the aircraft on or off", handling, rig.pack_up_handling, "s")
    pack_up = sheet.given(
        "packing up", trailer.pack_up_time.mean(), "s", mean_note(trailer.pack_up_time, f"{key}.pack_up_time")
    )
    set_up = sheet.given(
        "setting up", trailer.set_up_time.mean(), "s", mean_note(trailer.set_up_time, f"{key}.set_up_time")
    )
    yard = sheet.given(
        "loading at the yard", trailer.yard_time.mean(), "s", mean_note(trailer.yard_time, f"{key}.yard_time")
    )
    up_s = sheet.calc("setting up with the aircraft", f"{set_up} + {handling}", "s")
    sheet.calc("a move without the drive", f"({pack_up} + {handling} + {up_s}) / 60", "min")
    return sheet, Road(sheet.calc("first drive", f"{first} × 60", "s"), up_s, yard)


def _place(plan: DayPlan, index: int | None) -> str:
    return "yard" if index is None else plan.fields[index].name
