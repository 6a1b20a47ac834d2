"""The evidence page of an equipment set: what a practitioner checks first, then every number and what it comes to.

Nothing is calculated here that the model calculates: its own functions are asked for what they make on the way.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

from simulator.analysis.explain_rotor import air_sheet, power_sheet, rotor_sheet
from simulator.analysis.explain_sheet import Case, Sheet, cases_of
from simulator.analysis.explain_work import (
    field_time_s,
    ground_sheet,
    load_sheet,
    pack_sheet,
    range_sheet,
    road_sheet,
    source_sheet,
)
from simulator.errors import InputError
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.field_work import RESOURCES
from simulator.scenario.loading import LoadedScenario, read_toml
from simulator.scenario.merge import nearest
from simulator.scenario.power_balance import asked_w
from simulator.scenario.provenance import Leaf, provenance

_GOES_ON = ("chargers", "generator or grid", "packs")
"""Resources that go on in breaks."""


@dataclass(frozen=True)
class Page:
    """The evidence page: what to check, every value with its origin, what the model makes of them."""

    scenario: str
    equipment_set: str
    field: str
    others: tuple[str, ...]
    invented: bool
    checks: tuple[Sheet, ...]
    values: tuple[Leaf, ...]
    sections: tuple[Sheet, ...]
    bounds: dict[str, dict[str, float]]
    """Most area a day by rig and resource, in the page's unit."""


def explain(
    loaded: LoadedScenario,
    plan: DayPlan,
    field_name: str | None = None,
    raw: Mapping[str, Any] | None = None,
    settings: tuple[str, ...] = (),
    field_file: str | None = None,
) -> Page:
    """Return the evidence page of a set, on the field nearest to the mean area unless one is named."""
    if raw is None:
        if not loaded.file:
            raise ValueError("raw: got None for a scenario that was not read from a file, allowed its content")
        raw = read_toml(Path(loaded.file))
    index = _field_number(plan, field_name)
    metric = plan.scenario.units == "metric"
    sections, bounds = [air_sheet(plan, metric)], {}
    flown = {aircraft.name: aircraft for rig in plan.rigs for aircraft, _ in rig.aircraft}
    sections += [rotor_sheet(plan, aircraft, metric) for aircraft in flown.values()]
    for rig in plan.rigs:
        by_field = [cases_of(plan, rig, place) for place in range(len(plan.fields))]
        cases = [case for case in by_field[index] if case.load.reaches]
        for case in by_field[index]:
            if not case.load.reaches:
                title = f"No load of {case.name} reaches {plan.fields[index].name} and comes back"
                sections.append(Sheet(title, metric))
                continue
            sections += [load_sheet(plan, case, metric), power_sheet(plan, case, metric)]
            sections += [ground_sheet(plan, rig, case, metric), pack_sheet(plan, rig, case, metric)]
        sections += [source_sheet(plan, rig, point, metric) for point in rig.power]
        sections.append(road_sheet(plan, rig, metric))
        limits, bounds[rig.name] = _limits(plan, rig, cases, metric)
        sections.append(limits)
        if len(plan.fields) > 1:
            sections.append(range_sheet(by_field, rig, metric))
    return Page(
        loaded.name,
        plan.name,
        plan.fields[index].name,
        tuple(entry.name for entry in loaded.sets if entry.name != plan.name),
        plan.scenario.invented,
        practitioner_checks(plan, index),
        provenance(loaded.equipment_set(plan.name), raw, settings, field_file),
        tuple(sections),
        bounds,
    )


def practitioner_checks(plan: DayPlan, index: int | None = None) -> tuple[Sheet, ...]:
    """Return what a practitioner checks first, of a load by mean times on a field, by default one of mean area."""
    place, metric = mean_field(plan) if index is None else index, plan.scenario.units == "metric"
    checks = []
    for rig in plan.rigs:
        cases = [case for case in cases_of(plan, rig, place) if case.load.reaches]
        checks += [_load_check(plan, rig, case, metric) for case in cases]
        checks.append(_rig_check(plan, rig, cases, metric))
    return tuple(checks)


def _field_number(plan: DayPlan, name: str | None) -> int:
    names = [one.name for one in plan.fields]
    if name is not None:
        if name not in names:
            raise InputError.single(f"got {name!r}, which is no field{nearest(name, names[:200])}", "--field")
        return names.index(name)
    return mean_field(plan)


def mean_field(plan: DayPlan) -> int:
    """Return the number of the field whose area comes nearest to the mean."""
    mean = math.fsum(one.area_m2 for one in plan.fields) / len(plan.fields)
    return min(range(len(plan.fields)), key=lambda place: abs(plan.fields[place].area_m2 - mean))


def _load_check(plan: DayPlan, rig: RigPlan, case: Case, metric: bool) -> Sheet:
    """Write what a practitioner checks of a load."""
    sheet, load, air = Sheet(f"{case.name} on rig {rig.name}", metric), case.load, case.load.air
    full = load.amount / case.aircraft.capacity(case.pack.mass_kg)
    sheet.put("area of a load", load.area_m2, "m2", f"{full:.0%} of the largest load")
    ferry_s, up_s = air.ferry_out_s + air.ferry_back_s, air.take_off_s + air.landing_s
    parts = f"spraying {air.work_s:.0f} s, turns {air.turn_s:.0f} s, ferry {ferry_s:.0f} s, up and down {up_s:.0f} s"
    sheet.add("minutes in the air", air.total_s / 60.0, "min", parts)
    ground = f"fill {load.fill_s:.0f} s, swap {load.swap_s:.0f} s, check {load.check_s:.0f} s"
    sheet.add("minutes on the ground", (load.cycle_s - air.total_s) / 60.0, "min", f"{ground}, without waiting")
    usable_wh = case.pack.usable_wh(rig.rig.charge_to)
    sheet.add("loads a charge", case.loads, "", f"{air.energy_wh:.0f} Wh a load, {usable_wh:.0f} Wh above the reserve")
    reserve = case.pack.reserve_wh / case.pack.capacity_wh
    sheet.add("charge left at landing", 100.0 * case.left_wh / case.pack.capacity_wh, "%", f"reserve {reserve:.0%}")
    stored_w = min(load.charge_w, case.pack.curve.cc_power_w)
    on = f"{stored_w / 1000.0:.3g} kW stored on {load.charger.name}; landing to charged"
    off_min = load.off_s / load.charges / 60.0
    sheet.add("minutes a charge takes", load.charge_s / 60.0, "min", f"{on} {off_min:.3g} min without waiting")
    pace_m2 = load.area_m2 / load.cycle_s * 3600.0
    sheet.put("area an hour of one that never waits", pace_m2, "m2/h")
    return sheet


def _rig_check(plan: DayPlan, rig: RigPlan, cases: Sequence[Case], metric: bool) -> Sheet:
    """Write what a practitioner checks of a rig."""
    sheet, crew = Sheet(f"rig {rig.name}", metric), rig.rig.crew
    people = crew.pilots + crew.helpers
    for point in rig.power:
        asked = asked_w(plan.scenario, rig.rig.power[point.name])
        less = "; more than it gives: charges take longer" if asked > point.capacity_w * (1.0 + 1e-9) else ""
        note = f"all slots busy, {point.other_load_w:.0f} W besides{less}"
        sheet.add(f"power asked of {point.name}", asked / 1000.0, "kW", note)
        rated = f"generator of {point.generator.rated_w / 1000.0:.3g} kW" if point.generator else "grid"
        sheet.add(f"power that {point.name} gives", point.capacity_w / 1000.0, "kW", rated)
    for aircraft, _ in rig.aircraft:
        sheet.put(f"weight to lift, {aircraft.name}", aircraft.empty_kg, "kg", "without pack and load")
        ramp = "" if people >= aircraft.handling_people else ": over a ramp"
        sheet.add("people needed to lift it", aircraft.handling_people, "", f"there are {people}{ramp}")
    most = _most_m2_per_s(cases)
    if most:
        scarcest = sorted(most, key=lambda name: most[name])
        note = f"set by: {scarcest[0]}; then {scarcest[1]}" if len(scarcest) > 1 else scarcest[0]
        sheet.put("area an hour while set up, at most", most[scarcest[0]] * 3600.0, "m2/h", note)
    return sheet


def _most_m2_per_s(cases: Sequence[Case]) -> dict[str, float]:
    """Return the area (m2) a second that each resource of a rig allows by itself, with what it does best."""
    if not cases:
        return {}
    best: dict[str, float] = {}
    for case in cases:
        pace = case.most_per_s["aircraft"] * case.load.area_m2
        best[case.aircraft.name] = max(pace, best.get(case.aircraft.name, 0.0))
    most = {name: max(case.most_per_s[name] * case.load.area_m2 for case in cases) for name in RESOURCES}
    return {"aircraft": sum(best.values())} | {name: one for name, one in most.items() if math.isfinite(one)}


def _limits(plan: DayPlan, rig: RigPlan, cases: Sequence[Case], metric: bool) -> tuple[Sheet, dict[str, float]]:
    """Write the most that each resource allows in a day.

    Source: asymptotic bounds of closed networks (Lazowska, Zahorjan, Graham and Sevcik 1984, chapter 5): a resource
    that is never idle serves at most time / demand, by mean times; waiting, weather, breakdowns and moves are left out.
    """
    sheet = Sheet(f"Most that each resource allows in a day: rig {rig.name}", metric)
    whole_s, worked_s = field_time_s(plan, rig, False), field_time_s(plan, rig, True)
    sheet.add("hours at the fields", worked_s / 3600.0, "h", "without yard, first drive, set-up and breaks")
    for name, pace in _most_m2_per_s(cases).items():
        sheet.put(name, pace * (whole_s if name in _GOES_ON else worked_s), "m2/day")
    if cases and plan.scenario.work == "once":
        sheet.put("field list", plan.list_m2, "m2/day", "work = once")
    return sheet, {line.quantity: line.value for line in sheet.lines[1:]}


def page_json(page: Page) -> dict[str, Any]:
    """Return the page as a JSON-able document: the parts of :class:`Page`."""
    return asdict(page)
