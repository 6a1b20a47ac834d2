"""What makes a day of a valid scenario too large to simulate, or never end."""

from __future__ import annotations

import math

from simulator.errors import Problem, Problems
from simulator.scenario.field_list import LARGEST_FIELD_PASSES, MOST_NEAR, FieldList, FieldSite, check_moved
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_equipment import Aircraft
from simulator.scenario.schema_rig import Rig

MOST_AIRCRAFT = 300
MOST_PACKS = 1000
MOST_SLOTS = 500
MOST_PACK_SLOTS = 20_000
"""Packs times charger slots of a rig: every pack that waits may look at every slot."""
MOST_PEOPLE = 1000
MOST_PASSES = 500_000
"""Passes of all fields for all swaths: about half a kilobyte each is kept."""
LARGEST_FIELD_CUTS = 3e7
MOST_CUTS = 2e8
"""Passes times corners of a field and of all: each pass is cut out of the whole boundary, and each corner of the outer
one is tried as a landing zone for all pieces."""
LARGEST_FACTOR = 10.0
"""Largest mean of flight_time_factor: beyond it no planned flight is ever long enough, and each is begun in vain."""
MOST_OF_A_DAY = 50_000
"""Sorties, batches or stoppages in one day: about half a minute of computing, and far beyond any crew."""
LEAST_RUN_S = 60.0
"""A generator must run this long on what its tank holds above the refuelling level."""


def check_size(scenario: Scenario, fields: FieldList) -> list[Problem]:
    """Return what is too large, each with the number found, of events an upper estimate, and the largest."""
    problems = Problems(most=200)
    rigs = {name: scenario.rig[name] for name in used_rigs(scenario)}
    for name, rig in rigs.items():
        _check_rig(scenario, f"rig.{name}", rig, problems)
    total = sum(number for rig in rigs.values() for number in rig.aircraft.values())
    if total > MOST_AIRCRAFT:
        problems.add("rig", f"got {total} aircraft on all rigs; allowed is at most {MOST_AIRCRAFT}")
    flown = {name for rig in rigs.values() for name, number in rig.aircraft.items() if number}
    swaths_m = {_swath_m(scenario, scenario.aircraft[name]) for name in flown}
    if _passes_are_few(fields, swaths_m, problems) and scenario.field_file is not None:
        shapes = [site.polygon for site in fields.sites if site.polygon is not None]
        widest_m = scenario.field_file.headland_passes * max(swaths_m, default=0.0)
        check_moved(shapes, widest_m, "headland_passes", "", MOST_NEAR)
    for name, aircraft in scenario.aircraft.items():
        mean = aircraft.flight_time_factor.mean()
        if not 1.0 / LARGEST_FACTOR <= mean <= LARGEST_FACTOR:
            message = f"its mean is {mean:g}; allowed is 0.1 to {LARGEST_FACTOR:g}"
            problems.add(f"aircraft.{name}.flight_time_factor", message)
    for name, generator in scenario.generator.items():
        # a litre of fuel gives 2 to 3 kWh
        run_s = generator.fuel_tank * (1.0 - generator.refuel_at) * 2.0 / (generator.rated_power / 1000.0) * 3600.0
        if run_s < LEAST_RUN_S:
            held = f"{generator.fuel_tank:g} L with refuel_at = {generator.refuel_at:.0%}"
            message = f"{held} last {run_s:.1f} s at full load; allowed is at least {LEAST_RUN_S:g} s"
            problems.add(f"generator.{name}.fuel_tank", message)
    if problems.found:
        return problems.found
    for name, rig in rigs.items():
        _check_events(scenario, fields, f"rig.{name}", rig, problems)
    stoppages = scenario.weather.stoppages
    if stoppages is not None:
        between_s = max(1.0, stoppages.time_between.mean() + stoppages.length.mean())
        count = max(_longest_day_s(scenario, rig, fields) for rig in rigs.values()) / between_s
        _few(count, "weather.stoppages", "stoppages", "longer times between them or a shorter day", problems)
    return problems.found


def _few(count: float, where: str, what: str, instead: str, problems: Problems) -> bool:
    if count > MOST_OF_A_DAY:
        expected = f"up to {count:.3g} {what} in one day can be expected"
        problems.add(where, f"{expected}; allowed is at most {MOST_OF_A_DAY}: give {instead}")
    return count <= MOST_OF_A_DAY


def _check_rig(scenario: Scenario, where: str, rig: Rig, problems: Problems) -> None:
    packs = sum(rig.packs.values())
    slots = sum(
        number * scenario.charger[charger].slots
        for point in rig.power.values()
        for charger, number in point.chargers.items()
    )
    counts = (
        ("packs", packs, MOST_PACKS, "packs"),
        ("power", slots, MOST_SLOTS, "charger slots"),
        ("power", len(rig.power), MOST_SLOTS, "power points"),
        ("power", packs * slots, MOST_PACK_SLOTS, "packs times charger slots"),
        ("crew", rig.crew.pilots + rig.crew.helpers, MOST_PEOPLE, "people"),
    )
    for key, number, most, what in counts:
        if number > most:
            problems.add(f"{where}.{key}", f"got {number} {what} on one rig; allowed is at most {most}")


def _swath_m(scenario: Scenario, aircraft: Aircraft) -> float:
    spread = aircraft.spread_swath if scenario.product.kind == "granules" else None
    return spread or aircraft.swath


def _passes_are_few(fields: FieldList, swaths_m: set[float], problems: Problems) -> bool:
    total = cuts = 0.0
    for swath_m in swaths_m:
        for site in fields.sites:
            passes = _widest_m(site) / swath_m
            if passes > LARGEST_FIELD_PASSES:
                message = f"{site.name}: up to {passes:.3g} passes at a swath of {swath_m:.3g} m"
                problems.add("field", f"{message} are more passes than can be planned ({LARGEST_FIELD_PASSES})")
                return False
            pieces, corners, outside = _most_pieces(site, passes, swath_m)
            total += pieces
            cost = passes * corners + pieces * outside
            cuts += cost
            if cost > LARGEST_FIELD_CUTS or cuts > MOST_CUTS:
                message = f"{site.name}: {corners} corners and up to {pieces:.3g} passes are more than can be planned"
                problems.add("field_file", f"{message}; allowed are simpler boundaries")
                return False
    if total > MOST_PASSES:
        problems.add("field", f"the fields need up to {total:.3g} passes; allowed is at most {MOST_PASSES} in all")
    return total <= MOST_PASSES


def _most_pieces(site: FieldSite, passes: float, swath_m: float) -> tuple[float, int, int]:
    """Return the most pieces that a field's passes may be cut into, its corners, and those of its outer boundary."""
    if site.polygon is None:
        return passes, 4, 4
    import shapely

    # a boundary crosses an edge of a pass at most once a swath of its length, and each piece has two ends
    pieces = max(passes, 0.5 * site.polygon.length / swath_m)
    outside = shapely.get_num_points(shapely.get_exterior_ring(shapely.get_parts(site.polygon))).sum()
    return pieces, int(shapely.get_num_coordinates(site.polygon)), int(outside)


def _widest_m(site: FieldSite) -> float:
    """Return the greatest extent that passes may have to be laid across."""
    if site.polygon is None:
        return math.sqrt(site.area_m2 / site.length_to_width)
    west, south, east, north = site.polygon.bounds
    return math.hypot(east - west, north - south)


def _check_events(scenario: Scenario, fields: FieldList, where: str, rig: Rig, problems: Problems) -> None:
    """Estimate sorties and mix batches of a rig's day from above."""
    liquid = scenario.product.kind == "liquid"
    window_s = scenario.day.last_landing_s
    tasks, supply = rig.crew.tasks, rig.supply
    sorties = product = 0.0
    for name, number in rig.aircraft.items():
        if not number:
            continue
        aircraft = scenario.aircraft[name]
        load = float((aircraft.tank if liquid else aircraft.hopper_mass) or 0.0)
        flow = aircraft.flow_max if liquid else aircraft.spread_flow_max
        speed = aircraft.spray_speed if liquid else aircraft.spread_speed or aircraft.spray_speed
        m2_per_s = speed * _swath_m(scenario, aircraft)
        loads = spray_s = 0.0
        for site in fields.sites:
            base = scenario.product.rate if liquid else scenario.product.dry_rate
            rate = float((site.rate if liquid else site.dry_rate) or base or 1.0)
            # the mean over the list: small fields give small loads
            loads += math.ceil(site.area_m2 * rate / load)
            spray_s += site.area_m2 / (m2_per_s if flow is None else min(m2_per_s, flow / rate))
        pump_s = load / (supply.pump_flow if liquid else supply.dry_flow)
        factor = aircraft.flight_time_factor.mean()
        cycle_s = factor * (aircraft.take_off_time.mean() + aircraft.landing_time.mean() + spray_s / loads)
        cycle_s += tasks.fill.time.mean() + tasks.launch_check.time.mean() + 0.1 * pump_s
        flown = number * window_s / max(cycle_s, 1e-9)
        flown = min(flown, loads) if scenario.work == "once" else flown
        sorties += flown
        product += flown * load
    instead = "a shorter window, larger fields or true times"
    if _few(sorties, f"{where}.aircraft", "sorties", instead, problems) and liquid:
        batch = min(supply.largest_batch, supply.nurse_water / supply.water_share)
        mix_s = max(tasks.mix.time.mean() + batch * supply.water_share / supply.transfer_flow, 1e-9)
        batches = min((product + supply.mix_tank) / batch, window_s / mix_s)
        _few(batches, f"{where}.supply", "mix batches", "a larger batch or more nurse_water", problems)


def _longest_day_s(scenario: Scenario, rig: Rig, fields: FieldList) -> float:
    """Return how long a rig is out at most, by mean times: stoppages go on until it is home."""
    trailer, tasks = rig.trailer, rig.crew.tasks
    distances = [scenario.yard.drive_distance, scenario.route.between_field_distance]
    distances += [site.drive_distance_m or 0.0 for site in fields.sites]
    distances += [max(row) for row in fields.drive_m or ()]
    distances += [
        math.hypot(*site.location_m) * scenario.route.detour_factor for site in fields.sites if site.location_m
    ]
    once = [trailer.pack_up_time, trailer.set_up_time, trailer.yard_time, trailer.yard_time, trailer.relocate_time]
    once += [getattr(tasks, name).time for name in type(tasks).model_fields]
    once.append(rig.supply.water_trip_time)
    handling_s = sum(
        2.0 * number * scenario.aircraft[name].handling_time.mean() for name, number in rig.aircraft.items()
    )
    breaks_s = sum(one.length for one in scenario.day.breaks)
    drive_s = 2.0 * max(distances) / scenario.route.road_speed.mean()
    return scenario.day.last_landing_s + sum(time.mean() for time in once) + handling_s + breaks_s + drive_s
