"""From a merged table to a :class:`Scenario`, or to every problem in it."""

from __future__ import annotations

import math
import re
import types
import typing
from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel, ValidationError

from simulator.errors import Problem
from simulator.scenario.catalogue import catalogue
from simulator.scenario.field_list import LARGEST_FIELD_PASSES, MOST_NEAR, FieldList, FieldSite
from simulator.scenario.files import ScenarioFolder
from simulator.scenario.layers import LIKE_TABLES
from simulator.scenario.merge import nearest
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_equipment import Aircraft
from simulator.scenario.schema_rig import Rig
from simulator.scenario.shown import shown

MOST_PROBLEMS = 200
"""Problems of one scenario that are worked out; more help nobody."""
LONGEST_NAME = 80
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

_SIMPLE = {
    "missing": "missing; it must be given",
    "string_type": "allowed is text in quotes",
    "bool_type": "allowed is true or false",
    "bool_parsing": "allowed is true or false",
    "int_type": "allowed is a whole number",
    "dict_type": "allowed is a table",
    "model_type": "allowed is a table",
    "list_type": "allowed is a list",
}


def validate(raw: Mapping[str, Any], folder: ScenarioFolder) -> tuple[Scenario | None, list[Problem]]:
    """Validate one merged scenario."""
    try:
        scenario = Scenario.model_validate(dict(raw), context={"folder": folder})
    except ValidationError as error:
        return None, [_problem(entry) for entry in error.errors(include_url=False)[:MOST_PROBLEMS]]
    except RecursionError:
        return None, [Problem("", "is nested too deeply")]
    problems = _check_all_names(scenario)
    return (None, problems) if problems else (scenario, [])


def _problem(entry: Any) -> Problem:
    where = [str(part) for part in entry["loc"]]
    kind, got = entry["type"], entry.get("input")
    dotted = ".".join(where)
    if kind == "extra_forbidden":
        known = known_keys(where[:-1])
        return Problem(dotted, f"unknown key {where[-1]!r}{nearest(where[-1], known)}")
    if kind == "missing":
        return Problem(dotted, _missing_text(where))
    if kind == "acreday":
        return Problem(dotted, entry["msg"])
    if kind in _SIMPLE:
        return Problem(dotted, f"got {shown(got)}; {_SIMPLE[kind]}")
    if kind == "literal_error":
        allowed = entry["ctx"]["expected"]
        names = [name.strip().strip("'") for name in allowed.replace(" or ", ", ").split(",")]
        return Problem(
            dotted, f"got {shown(got)}; allowed is {allowed}{nearest(str(shown(got)).strip(chr(39)), names)}"
        )
    if kind == "string_pattern_mismatch":
        return Problem(
            dotted,
            f"got {shown(got)}; allowed is a short name of letters, digits, - and _, a letter or digit first",
        )
    message = entry["msg"][:1].lower() + entry["msg"][1:]
    return Problem(dotted, f"got {shown(got)}; {message}")


def _missing_text(where: list[str]) -> str:
    model = _model_at(where[:-1])
    field = model.model_fields.get(where[-1]) if model is not None else None
    note = f" ({field.description.rstrip('.')})" if field is not None and field.description else ""
    return f"missing; it must be given{note}"


def check_names(where: str, names: typing.Iterable[str], *, slash: bool = False) -> list[Problem]:
    """Return a problem for every name that a log, a table or a terminal could not show as it is."""
    allowed = f"1 to {LONGEST_NAME} printable characters" + ("" if slash else " without a slash")
    return [
        Problem(f"{where}.{shown(name).strip(chr(39))}", f"got the name {shown(name)}; allowed is {allowed}")
        for name in names
        if not (0 < len(name) <= LONGEST_NAME and name.isprintable() and name.strip() and (slash or "/" not in name))
    ]


def _check_all_names(scenario: Scenario) -> list[Problem]:
    problems: list[Problem] = []
    for table in ("aircraft", "pack", "charger", "generator", "rig"):
        problems += check_names(table, getattr(scenario, table))
    for name, rig in scenario.rig.items():
        problems += check_names(f"rig.{name}.power", rig.power)
        if name == "weather":
            problems.append(Problem("rig.weather", "got a rig named 'weather', as the weather is called in the log"))
        # what is on a rig stands in one log by its name, and packs and aircraft by name and number
        numbered = {"pilot": "a person", "helper": "a person", **dict.fromkeys(rig.aircraft, "an aircraft")}
        for pack in rig.packs:
            if pack in numbered:
                message = f"the name {pack!r} is that of {numbered[pack]} too; allowed is a name of its own"
                problems.append(Problem(f"rig.{name}.packs.{pack}", message))
        for aircraft in rig.aircraft:
            if numbered[aircraft] == "an aircraft" and aircraft in ("pilot", "helper"):
                problems.append(Problem(f"rig.{name}.aircraft.{aircraft}", "is what a person is called in the log"))
        numbered.update(dict.fromkeys(rig.packs, "a pack"))
        for point in rig.power:
            found = re.fullmatch(r"(.+) [0-9]+", point)
            if point == "supply" or (found is not None and found[1] in numbered):
                problems.append(Problem(f"rig.{name}.power.{point}", "is what something else on the rig is called"))
    return problems[:MOST_PROBLEMS]


def check_size(scenario: Scenario, fields: FieldList) -> list[Problem]:
    """Return what makes a day of a valid scenario too large to simulate, or never end."""
    problems: list[Problem] = []
    rigs = {name: scenario.rig[name] for name in used_rigs(scenario)}
    for name, rig in rigs.items():
        problems += _check_rig_size(scenario, f"rig.{name}", rig)
    total = sum(number for rig in rigs.values() for number in rig.aircraft.values())
    if total > MOST_AIRCRAFT:
        problems.append(Problem("rig", f"got {total} aircraft on all rigs; allowed is at most {MOST_AIRCRAFT}"))
    problems += _check_passes(scenario, fields, rigs) or _check_headlands(scenario, fields, rigs)
    for name, aircraft in scenario.aircraft.items():
        if not 1.0 / LARGEST_FACTOR <= aircraft.flight_time_factor.mean() <= LARGEST_FACTOR:
            message = f"its mean is {aircraft.flight_time_factor.mean():g}; allowed is 0.1 to {LARGEST_FACTOR:g}"
            problems.append(Problem(f"aircraft.{name}.flight_time_factor", message))
    for name, generator in scenario.generator.items():
        # a litre of fuel gives 2 to 3 kWh
        run_s = generator.fuel_tank * (1.0 - generator.refuel_at) * 2.0 / (generator.rated_power / 1000.0) * 3600.0
        if run_s < LEAST_RUN_S:
            message = (
                f"{generator.fuel_tank:g} L with refuel_at = {generator.refuel_at:.0%} last {run_s:.1f} s at full load"
            )
            problems.append(Problem(f"generator.{name}.fuel_tank", f"{message}; allowed is at least {LEAST_RUN_S:g} s"))
    if problems:
        return problems
    window_s = scenario.day.last_landing_s
    for name, rig in rigs.items():
        problems += _check_events(scenario, fields, f"rig.{name}", rig, window_s)
    stoppages = scenario.weather.stoppages
    if stoppages is not None:
        between_s = max(1.0, stoppages.time_between.mean() + stoppages.length.mean())
        count = max(_longest_day_s(scenario, rig, fields) for rig in rigs.values()) / between_s
        problems += _too_many("weather.stoppages", count, "stoppages", "longer times between them or a shorter day")
    return problems


def _too_many(where: str, count: float, what: str, instead: str) -> list[Problem]:
    if count <= MOST_OF_A_DAY:
        return []
    message = f"up to {count:.3g} {what} in one day can be expected; allowed is at most {MOST_OF_A_DAY}: give {instead}"
    return [Problem(where, message)]


def _check_rig_size(scenario: Scenario, where: str, rig: Rig) -> list[Problem]:
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
    return [
        Problem(f"{where}.{key}", f"got {number} {what} on one rig; allowed is at most {most}")
        for key, number, most, what in counts
        if number > most
    ]


def _swath_m(scenario: Scenario, aircraft: Aircraft) -> float:
    spread = aircraft.spread_swath if scenario.product.kind == "granules" else None
    return spread or aircraft.swath


def _check_passes(scenario: Scenario, fields: FieldList, rigs: dict[str, Rig]) -> list[Problem]:
    flown = {name for rig in rigs.values() for name, number in rig.aircraft.items() if number}
    swaths = {_swath_m(scenario, scenario.aircraft[name]) for name in flown}
    total = cuts = 0.0
    for swath in swaths:
        for site in fields.sites:
            passes = _widest_m(site) / swath
            if passes > LARGEST_FIELD_PASSES:
                message = f"{site.name}: up to {passes:.3g} passes at a swath of {swath:.3g} m"
                return [Problem("field", f"{message} are more passes than can be planned ({LARGEST_FIELD_PASSES})")]
            pieces, corners, outside = _most_pieces(site, passes, swath)
            total += pieces
            cost = passes * corners + pieces * outside
            cuts += cost
            if cost > LARGEST_FIELD_CUTS or cuts > MOST_CUTS:
                message = f"{site.name}: {corners} corners and up to {pieces:.3g} passes are more than can be planned"
                return [Problem("field_file", f"{message}; allowed are simpler boundaries")]
    if total > MOST_PASSES:
        return [Problem("field", f"the fields need up to {total:.3g} passes; allowed is at most {MOST_PASSES} in all")]
    return []


def _most_pieces(site: FieldSite, passes: float, swath_m: float) -> tuple[float, int, int]:
    """Return the most pieces that a field's passes may be cut into, its corners, and those of its outer boundary."""
    if site.polygon is None:
        return passes, 4, 4
    import shapely

    # a boundary crosses an edge of a pass at most once a swath of its length, and each piece has two ends
    pieces = max(passes, 0.5 * site.polygon.length / swath_m)
    outside = shapely.get_num_points(shapely.get_exterior_ring(shapely.get_parts(site.polygon))).sum()
    return pieces, int(shapely.get_num_coordinates(site.polygon)), int(outside)


def _check_headlands(scenario: Scenario, fields: FieldList, rigs: dict[str, Rig]) -> list[Problem]:
    """Refuse boundaries too ragged for passes along them; each is the boundary moved inwards."""
    if scenario.field_file is None or scenario.field_file.headland_passes == 0:
        return []
    from simulator.scenario.crossings import near_pairs

    flown = {name for rig in rigs.values() for name, number in rig.aircraft.items() if number}
    widest_m = scenario.field_file.headland_passes * max(_swath_m(scenario, scenario.aircraft[name]) for name in flown)
    total = 0
    for site in fields.sites:
        total += near_pairs(site.polygon, widest_m, MOST_NEAR) if site.polygon is not None else 0
        if total > MOST_NEAR:
            message = f"{site.name}: headlands of {widest_m:g} m are more than boundaries so ragged can be moved by"
            return [Problem("field_file.headland_passes", f"{message}; allowed are simpler ones")]
    return []


def _widest_m(site: FieldSite) -> float:
    """Return the greatest extent that passes may have to be laid across."""
    if site.polygon is None:
        return math.sqrt(site.area_m2 / site.length_to_width)
    west, south, east, north = site.polygon.bounds
    return math.hypot(east - west, north - south)


def _check_events(scenario: Scenario, fields: FieldList, where: str, rig: Rig, window_s: float) -> list[Problem]:
    """Estimate sorties and mix batches of a rig's day from above."""
    liquid = scenario.product.kind == "liquid"
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
        pump_s = load / (rig.supply.pump_flow if liquid else rig.supply.dry_flow)
        factor = aircraft.flight_time_factor.mean()
        cycle_s = factor * (aircraft.take_off_time.mean() + aircraft.landing_time.mean() + spray_s / loads)
        cycle_s += rig.crew.tasks.fill.time.mean() + rig.crew.tasks.launch_check.time.mean() + 0.1 * pump_s
        flown = number * window_s / max(cycle_s, 1e-9)
        flown = min(flown, loads) if scenario.work == "once" else flown
        sorties += flown
        product += flown * load
    problems = _too_many(f"{where}.aircraft", sorties, "sorties", "a shorter window, larger fields or true times")
    if liquid and not problems:
        supply = rig.supply
        batch = min(supply.batch or supply.mix_tank, supply.nurse_water / supply.water_share)
        mix_s = max(rig.crew.tasks.mix.time.mean() + batch * supply.water_share / supply.transfer_flow, 1e-9)
        batches = min((product + supply.mix_tank) / batch, window_s / mix_s)
        problems = _too_many(f"{where}.supply", batches, "mix batches", "a larger batch or more nurse_water")
    return problems


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


def known_keys(where: list[str]) -> list[str]:
    """Return the keys known to the table at a dotted place of a scenario; empty when any key goes."""
    model = _model_at(where)
    return list(model.model_fields) if model is not None else []


def _model_at(where: list[str]) -> type[BaseModel] | None:
    current: Any = Scenario
    for part in where:
        current = _strip(current)
        if isinstance(current, type) and issubclass(current, BaseModel):
            field = current.model_fields.get(part)
            if field is None:
                return None
            current = field.annotation
        else:
            arguments = typing.get_args(current)
            if not arguments:
                return None
            current = arguments[-1]
    current = _strip(current)
    return current if isinstance(current, type) and issubclass(current, BaseModel) else None


def _strip(annotation: Any) -> Any:
    """Take ``| None`` and ``Annotated`` off a type."""
    while True:
        origin = typing.get_origin(annotation)
        if origin is typing.Annotated:
            annotation = typing.get_args(annotation)[0]
        elif origin in (typing.Union, types.UnionType):
            annotation = next(item for item in typing.get_args(annotation) if item is not type(None))
        else:
            return annotation


def fill_defaults(raw: Mapping[str, Any], model: type[BaseModel] = Scenario) -> dict[str, Any]:
    """Return a scenario table with every default written out, itself a valid scenario."""
    filled: dict[str, Any] = {}
    for name, field in model.model_fields.items():
        value = raw.get(name, field.default)
        inner = _strip(field.annotation)
        if value is None or (name not in raw and field.is_required()):
            continue
        filled[name] = _fill(value, inner)
    return filled


def _fill(value: Any, inner: Any) -> Any:
    if isinstance(value, Mapping) and isinstance(inner, type) and issubclass(inner, BaseModel):
        return fill_defaults(value, inner)
    arguments = typing.get_args(inner)
    if isinstance(value, Mapping) and arguments:
        return {key: _fill(item, _strip(arguments[-1])) for key, item in value.items()}
    if isinstance(value, list) and arguments:
        return [_fill(item, _strip(arguments[-1])) for item in value]
    return value


def json_schema() -> dict[str, Any]:
    """Return the JSON Schema (draft 2020-12) of a scenario file."""
    schema = Scenario.model_json_schema(mode="validation")
    schema["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    schema["title"] = "acreday scenario"
    tables = {"Hover": "", "LoadLog": "", "PowerPoint": "power", **{name.title(): name for name in LIKE_TABLES}}
    for name, table in tables.items():
        schema["$defs"][name].pop("required", None)
        if table:
            schema["$defs"][name]["properties"]["like"]["anyOf"].insert(0, {"enum": list(catalogue()[table])})
    schema["properties"]["equipment_set"]["additionalProperties"] = {
        "type": "object",
        "description": "Any keys of the scenario, laid over it.",
    }
    return schema
