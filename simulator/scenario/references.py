"""Problems that need more than one table: names that do not exist, and equipment that cannot work together."""

from __future__ import annotations

from collections.abc import Iterable

from simulator.errors import Problem
from simulator.scenario.merge import nearest
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_rig import Crew, Rig


def check_references(scenario: Scenario) -> list[Problem]:
    """Return every name that is not declared and every mismatch between tables."""
    problems: list[Problem] = []
    for name, pack in scenario.pack.items():
        problems += _names(f"pack.{name}.fits", pack.fits, scenario.aircraft, "aircraft class")
        if pack.reserve >= 1.0:
            problems.append(Problem(f"pack.{name}.reserve", f"got {pack.reserve:.0%}; nothing is left to fly on"))
    for name, charger in scenario.charger.items():
        problems += _names(f"charger.{name}.serves", charger.serves, scenario.pack, "pack type")
    if scenario.rigs_used is not None:
        problems += _names("rigs_used", scenario.rigs_used, scenario.rig, "rig")
        if len(set(scenario.rigs_used)) != len(scenario.rigs_used):
            problems.append(Problem("rigs_used", f"got {scenario.rigs_used!r}; each rig may stand once"))
    for name, rig in scenario.rig.items():
        problems += _check_rig(scenario, f"rig.{name}", rig)
    problems += _check_fields(scenario)
    return problems


def used_rigs(scenario: Scenario) -> list[str]:
    """Return the names of the rigs that work, in order."""
    return list(scenario.rigs_used) if scenario.rigs_used is not None else list(scenario.rig)


def _names(where: str, got: Iterable[str], known: Iterable[str], what: str) -> list[Problem]:
    names = list(known)
    keyed = isinstance(got, dict)
    return [
        Problem(
            f"{where}.{name}" if keyed else where, f"got {name!r}, which is no declared {what}{nearest(name, names)}"
        )
        for name in got
        if name not in names
    ]


def _check_rig(scenario: Scenario, where: str, rig: Rig) -> list[Problem]:
    problems = _names(f"{where}.aircraft", rig.aircraft, scenario.aircraft, "aircraft class")
    problems += _names(f"{where}.packs", rig.packs, scenario.pack, "pack type")
    served: set[str] = set()
    for point_name, point in rig.power.items():
        place = f"{where}.power.{point_name}"
        if point.generator is not None:
            problems += _names(f"{place}.generator", [point.generator], scenario.generator, "generator class")
        problems += _names(f"{place}.chargers", point.chargers, scenario.charger, "charger class")
        for charger, number in point.chargers.items():
            if number and charger in scenario.charger:
                served.update(scenario.charger[charger].serves)
    if problems:
        return problems
    if not any(rig.aircraft.values()):
        problems.append(Problem(f"{where}.aircraft", "no aircraft; allowed is at least one"))
    flown = {name for name, number in rig.aircraft.items() if number}
    for pack_name, number in rig.packs.items():
        fits = scenario.pack[pack_name].fits
        if number and not flown & set(fits):
            message = f"fits only {', '.join(fits)}; the rig has {', '.join(sorted(flown)) or 'no aircraft'}"
            problems.append(Problem(f"{where}.packs.{pack_name}", message))
        if number and pack_name not in served:
            problems.append(Problem(f"{where}.packs.{pack_name}", "no charger of the rig serves this pack type"))
        if number and rig.charge_to <= scenario.pack[pack_name].reserve:
            problems.append(
                Problem(
                    f"{where}.charge_to", f"got {rig.charge_to:.0%}, which is not above the reserve of pack.{pack_name}"
                )
            )
    for aircraft_name in sorted(flown):
        problems += _check_flown(scenario, where, rig, aircraft_name)
    problems += _check_crew(scenario, where, rig.crew, rig)
    if scenario.product.kind == "liquid" and rig.supply.batch is not None and rig.supply.batch > rig.supply.mix_tank:
        problems.append(
            Problem(
                f"{where}.supply.batch",
                f"got {rig.supply.batch:g} L, more than the mix tank of {rig.supply.mix_tank:g} L",
            )
        )
    return problems


def _check_flown(scenario: Scenario, where: str, rig: Rig, name: str) -> list[Problem]:
    aircraft, problems = scenario.aircraft[name], []
    fitting = [pack for pack, number in rig.packs.items() if number and name in scenario.pack[pack].fits]
    if not fitting:
        fits = [pack for pack, entry in scenario.pack.items() if name in entry.fits]
        problems.append(
            Problem(
                f"{where}.packs",
                f"no pack fits the aircraft {name!r}; fitting types: {', '.join(fits) or 'none declared'}",
            )
        )
    if sum(rig.packs[pack] for pack in fitting) < 1:
        problems.append(Problem(f"{where}.packs", f"the aircraft {name!r} has no pack"))
    if scenario.product.kind == "liquid" and aircraft.tank is None:
        problems.append(Problem(f"aircraft.{name}.tank", "missing; a liquid product needs it"))
    if scenario.product.kind == "granules" and aircraft.hopper_mass is None:
        problems.append(Problem(f"aircraft.{name}.hopper_mass", "missing; granules need it"))
    liquid = scenario.product.kind == "liquid"
    largest, held = (aircraft.tank, rig.supply.mix_tank) if liquid else (aircraft.hopper_mass, rig.supply.dry_stock)
    if largest is not None and held < largest:
        key, unit = ("mix_tank", "L") if liquid else ("dry_stock", "kg")
        message = f"got {held:g} {unit}, less than one load of {largest:g} {unit} of aircraft.{name}"
        problems.append(Problem(f"{where}.supply.{key}", message))
    return problems


def _check_crew(scenario: Scenario, where: str, crew: Crew, rig: Rig) -> list[Problem]:
    problems = []
    pilots_on_ground = crew.pilots if crew.pilot_helps else 0
    for name in type(crew.tasks).model_fields:
        task = getattr(crew.tasks, name)
        able = {"anyone": crew.helpers + pilots_on_ground, "helper": crew.helpers, "pilot": crew.pilots}[task.by]
        needed = name not in ("mix",) or scenario.product.kind == "liquid"
        if needed and task.people > able:
            helps = str(crew.pilot_helps).lower()
            message = f"needs {task.people} ({task.by}), but only {able} can do it (pilot_helps = {helps})"
            problems.append(Problem(f"{where}.crew.tasks.{name}.people", message))
    if rig.supply.water_trip_people > crew.helpers + pilots_on_ground:
        problems.append(
            Problem(
                f"{where}.supply.water_trip_people", f"got {rig.supply.water_trip_people}, more than the crew can spare"
            )
        )
    return problems


def _check_fields(scenario: Scenario) -> list[Problem]:
    if scenario.field_file is None and not scenario.field:
        return [Problem("field", "the field list is empty; allowed is at least one [[field]], or a [field_file]")]
    if scenario.field_file is not None and scenario.field:
        return [Problem("field", "both [[field]] and [field_file] are given; allowed is one of them")]
    return []
