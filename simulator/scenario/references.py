"""Problems that need more than one table: names that do not exist, and equipment that cannot work together."""

from __future__ import annotations

from collections.abc import Collection, Iterable

from simulator.errors import Problem, Problems
from simulator.scenario.merge import nearest
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_rig import Rig


def used_rigs(scenario: Scenario) -> list[str]:
    """Return the names of the rigs that work, in order."""
    return list(scenario.rigs_used) if scenario.rigs_used is not None else list(scenario.rig)


def check_references(scenario: Scenario) -> list[Problem]:
    """Return every name that is not declared and every mismatch between tables that are each valid."""
    problems = Problems(most=200)
    for name, pack in scenario.pack.items():
        _known(f"pack.{name}.fits", pack.fits, scenario.aircraft, "aircraft class", problems)
        if pack.reserve >= 1.0:
            problems.add(f"pack.{name}.reserve", f"got {pack.reserve:.0%}; nothing is left to fly on")
    for name, charger in scenario.charger.items():
        _known(f"charger.{name}.serves", charger.serves, scenario.pack, "pack type", problems)
    used = scenario.rigs_used or []
    _known("rigs_used", used, scenario.rig, "rig", problems)
    if len(set(used)) != len(used):
        problems.add("rigs_used", f"got {used!r}; each rig may stand once")
    for name, rig in scenario.rig.items():
        if _names_are_known(scenario, f"rig.{name}", rig, problems):
            _check_rig(scenario, f"rig.{name}", rig, problems)
    if scenario.field_file is None and not scenario.field:
        problems.add("field", "the field list is empty; allowed is at least one [[field]], or a [field_file]")
    if scenario.field_file is not None and scenario.field:
        problems.add("field", "both [[field]] and [field_file] are given; allowed is one of them")
    return problems.found


def _known(where: str, got: Iterable[str], known: Collection[str], what: str, problems: Problems) -> bool:
    unknown = [name for name in got if name not in known]
    for name in unknown:
        place = f"{where}.{name}" if isinstance(got, dict) else where
        problems.add(place, f"got {name!r}, which is no declared {what}{nearest(name, known)}")
    return not unknown


def _names_are_known(scenario: Scenario, where: str, rig: Rig, problems: Problems) -> bool:
    good = [
        _known(f"{where}.aircraft", rig.aircraft, scenario.aircraft, "aircraft class", problems),
        _known(f"{where}.packs", rig.packs, scenario.pack, "pack type", problems),
    ]
    for name, point in rig.power.items():
        place = f"{where}.power.{name}"
        generator = [point.generator] if point.generator is not None else []
        good += [
            _known(f"{place}.generator", generator, scenario.generator, "generator class", problems),
            _known(f"{place}.chargers", point.chargers, scenario.charger, "charger class", problems),
        ]
    return all(good)


def _check_rig(scenario: Scenario, where: str, rig: Rig, problems: Problems) -> None:
    flown = sorted(name for name, number in rig.aircraft.items() if number)
    if not flown:
        problems.add(f"{where}.aircraft", "no aircraft; allowed is at least one")
    used = [name for point in rig.power.values() for name, number in point.chargers.items() if number]
    served = {pack for name in used for pack in scenario.charger[name].serves}
    for name, number in rig.packs.items():
        pack, place = scenario.pack[name], f"{where}.packs.{name}"
        if not number:
            continue
        if not set(flown) & set(pack.fits):
            has = ", ".join(flown) or "no aircraft"
            problems.add(place, f"fits only {', '.join(pack.fits)}; the rig has {has}")
        if name not in served:
            problems.add(place, "no charger of the rig serves this pack type")
        if rig.charge_to <= pack.reserve:
            message = f"got {rig.charge_to:.0%}, which is not above the reserve of pack.{name}"
            problems.add(f"{where}.charge_to", message)
    for name in flown:
        _check_flown(scenario, where, rig, name, problems)
    _check_crew(scenario, where, rig, problems)
    batch, tank = rig.supply.batch, rig.supply.mix_tank
    if scenario.product.kind == "liquid" and batch is not None and batch > tank:
        problems.add(f"{where}.supply.batch", f"got {batch:g} L, more than the mix tank of {tank:g} L")


def _check_flown(scenario: Scenario, where: str, rig: Rig, name: str, problems: Problems) -> None:
    aircraft = scenario.aircraft[name]
    if not any(number and name in scenario.pack[pack].fits for pack, number in rig.packs.items()):
        fits = ", ".join(pack for pack, entry in scenario.pack.items() if name in entry.fits) or "none declared"
        problems.add(f"{where}.packs", f"no pack fits the aircraft {name!r}; fitting types: {fits}")
    if scenario.product.kind == "liquid":
        needed, largest, missing = "tank", aircraft.tank, "a liquid product needs it"
        key, held, unit = "mix_tank", rig.supply.mix_tank, "L"
    else:
        needed, largest, missing = "hopper_mass", aircraft.hopper_mass, "granules need it"
        key, held, unit = "dry_stock", rig.supply.dry_stock, "kg"
    if largest is None:
        problems.add(f"aircraft.{name}.{needed}", f"missing; {missing}")
    elif held < largest:
        message = f"got {held:g} {unit}, less than one load of {largest:g} {unit} of aircraft.{name}"
        problems.add(f"{where}.supply.{key}", message)


def _check_crew(scenario: Scenario, where: str, rig: Rig, problems: Problems) -> None:
    crew, away = rig.crew, rig.supply.water_trip_people
    anyone = crew.helpers + (crew.pilots if crew.pilot_helps else 0)
    for name in type(crew.tasks).model_fields:
        task = getattr(crew.tasks, name)
        able = {"anyone": anyone, "helper": crew.helpers, "pilot": crew.pilots}[task.by]
        if task.people > able and (name != "mix" or scenario.product.kind == "liquid"):
            helps = str(crew.pilot_helps).lower()
            message = f"needs {task.people} ({task.by}), but only {able} can do it (pilot_helps = {helps})"
            problems.add(f"{where}.crew.tasks.{name}.people", message)
    if away > anyone:
        problems.add(f"{where}.supply.water_trip_people", f"got {away}, more than the crew can spare")
