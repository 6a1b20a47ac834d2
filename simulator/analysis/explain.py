"""The evidence page of an equipment set: its numbers, from where, and what they imply, with the arithmetic."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

from simulator.analysis.explain_bounds import Bound, RigCases, bounds_sheet
from simulator.analysis.explain_day import GroundCase, ground_sheet, road_sheet
from simulator.analysis.explain_load import LoadCase, load_sheet, middle_stretch
from simulator.analysis.explain_power import ChargeCase, Source, charge_sheet, source_sheet
from simulator.analysis.explain_rotor import Rotor, air_sheet, rotor_sheet
from simulator.analysis.explain_sheet import Check, Line, Sheet
from simulator.errors import InputError
from simulator.physics.air import GAS_CONSTANT_J_PER_KG_K
from simulator.physics.flight import COAXIAL_INTERFERENCE, GRAVITY_M_PER_S2, FlightModel
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.plan.flight import Flight
from simulator.scenario.loading import LoadedScenario, read_toml
from simulator.scenario.merge import nearest
from simulator.scenario.provenance import Leaf, provenance
from simulator.scenario.units import KG_PER_POUND, LITRE_PER_GALLON, M2_PER_ACRE, M2_PER_HECTARE


@dataclass(frozen=True)
class Page:
    """The evidence page.

    Parameters
    ----------
    scenario, equipment_set, field : str
        Names; the field is the one that loads are worked out on.
    others : tuple of str
        The scenario's other equipment sets.
    invented : bool
        Whether places and equipment are invented.
    values : tuple of Leaf
        Every value with its origin.
    sections : tuple of Sheet
        Arithmetic.
    bounds : dict
        Rig name to the most that each resource allows in a day, in the page's unit of area.
    """

    scenario: str
    equipment_set: str
    field: str
    others: tuple[str, ...]
    invented: bool
    values: tuple[Leaf, ...]
    sections: tuple[Sheet, ...]
    bounds: dict[str, tuple[Bound, ...]]

    @property
    def lines(self) -> list[Line]:
        """Every line of arithmetic, in order."""
        return [line for section in self.sections for line in section.lines]

    @property
    def checks(self) -> list[Check]:
        """Every calculated figure that was held against the simulator's own."""
        return [check for section in self.sections for check in section.checks]


def explain(
    loaded: LoadedScenario,
    plan: DayPlan,
    field_name: str | None = None,
    raw: Mapping[str, Any] | None = None,
    settings: tuple[str, ...] = (),
    field_file: str | None = None,
) -> Page:
    """Return the evidence page of one equipment set.

    Parameters
    ----------
    loaded : LoadedScenario
        The scenario.
    plan : DayPlan
        Plan of one of its equipment sets.
    field_name : str, optional
        Field to work the loads out on; the one nearest to the mean area by default.
    raw : mapping, optional
        Content of the scenario file; read from ``loaded.file`` by default.
    settings : tuple of str, optional
        ``KEY=VALUE`` overrides that the scenario was loaded with.
    field_file : str, optional
        GeoJSON file that it was loaded with.

    Raises
    ------
    InputError
        No field or no equipment set of that name, or the file can no longer be read.
    ValueError
        The scenario was not read from a file and ``raw`` is not given.
    """
    if raw is None:
        if not loaded.file:
            raise ValueError("raw: got None for a scenario that was not read from a file, allowed its content")
        raw = read_toml(Path(loaded.file))
    index = _field_number(plan, field_name)
    metric = plan.scenario.units == "metric"
    sections = [_constants(metric)]
    air, density = air_sheet(plan, metric)
    sections.append(air)
    rotors: dict[str, Rotor] = {}
    for rig in plan.rigs:
        for aircraft, _ in rig.aircraft:
            if aircraft.name not in rotors:
                sheet, rotors[aircraft.name] = rotor_sheet(plan, aircraft, density, metric)
                sections.append(sheet)
    bounds = {}
    for rig in plan.rigs:
        cases = _rig(plan, rig, index, rotors, sections, metric)
        sheet, bounds[rig.name] = bounds_sheet(plan, cases, metric)
        sections.append(sheet)
        if len(plan.fields) > 1:
            sections.append(_range(plan, rig, metric))
    return Page(
        loaded.name,
        plan.name,
        plan.fields[index].name,
        tuple(entry.name for entry in loaded.sets if entry.name != plan.name),
        plan.scenario.invented,
        provenance(loaded.equipment_set(plan.name), raw, settings, field_file),
        tuple(sections),
        bounds,
    )


def _field_number(plan: DayPlan, name: str | None) -> int:
    names = [one.name for one in plan.fields]
    if name is not None:
        if name not in names:
            raise InputError.single(f"got {name!r}, which is no field{nearest(name, names[:200])}", "--field")
        return names.index(name)
    mean = math.fsum(one.area_m2 for one in plan.fields) / len(plan.fields)
    return min(range(len(names)), key=lambda place: abs(plan.fields[place].area_m2 - mean))


def _constants(metric: bool) -> Sheet:
    """List the numbers that no scenario sets."""
    sheet = Sheet("Constants of the model", metric)
    sheet.given("gravity", GRAVITY_M_PER_S2, "m/s2", "standard gravity")
    sheet.given("gas constant of dry air", GAS_CONSTANT_J_PER_KG_K, "J/(kg K)", "US Standard Atmosphere 1976")
    sheet.given(
        "induced power of a coaxial pair", COAXIAL_INTERFERENCE, "", "Leishman (2006), section 2.14, from memory"
    )
    notes = {
        "profile_share": ("profile share of lift power in hover", "", "assumption, after Leishman (2006), from memory"),
        "tip_speed_m_per_s": ("blade tip speed", "m/s", "Zeng, Xu and Zhang (2019)"),
        "drive_efficiency": ("efficiency of motors and drives", "", "assumption"),
    }
    for one in fields(FlightModel):
        if one.name in notes:
            quantity, unit, note = notes[one.name]
            sheet.given(quantity, float(one.default), unit, note)  # type: ignore[arg-type]  # each of these has a default
    sheet.given("acre", M2_PER_ACRE, "m2", "international acre, NIST SP 811", 7)
    sheet.given("hectare", M2_PER_HECTARE, "m2")
    sheet.given("US gallon", LITRE_PER_GALLON, "L", "NIST SP 811", 7)
    sheet.given("pound", KG_PER_POUND, "kg", "NIST SP 811", 7)
    return sheet


def _rig(
    plan: DayPlan, rig: RigPlan, index: int, rotors: dict[str, Rotor], sections: list[Sheet], metric: bool
) -> RigCases:
    """Write the sections of a rig; return what they came to."""
    loads: list[tuple[LoadCase, GroundCase]] = []
    for aircraft, _ in rig.aircraft:
        for pack, _ in rig.packs:
            if aircraft.name not in pack.fits:
                continue
            found = load_sheet(plan, rig, aircraft, pack, index, rotors[aircraft.name], metric)
            if found is None:
                name = plan.fields[index].name
                sections.append(
                    Sheet(f"No load of {aircraft.name} with {pack.name} reaches {name} and comes back", metric)
                )
                continue
            sections.append(found[0])
            sheet, ground = ground_sheet(plan, rig, found[1], metric)
            sections.append(sheet)
            loads.append((found[1], ground))
    sources: list[Source] = []
    charges: list[ChargeCase] = []
    for point in rig.power:
        sheet, source = source_sheet(plan, rig, point, metric)
        sections.append(sheet)
        sources.append(source)
        for charger, number in point.chargers:
            for case, _ in loads:
                if case.pack.name in charger.serves:
                    sheet, charge = charge_sheet(plan, rig, source, charger, number, case, metric)
                    sections.append(sheet)
                    charges.append(charge)
    sheet, road = road_sheet(plan, rig, metric)
    sections.append(sheet)
    return RigCases(rig, road, sources, loads, charges)


def _range(plan: DayPlan, rig: RigPlan, metric: bool) -> Sheet:
    """Write what a load in the middle of each field comes to, from the least to the most."""
    sheet = Sheet(f"Over all {len(plan.fields)} fields: rig {rig.name}, a load in the middle of each", metric)
    per_area = M2_PER_HECTARE if metric else M2_PER_ACRE
    for aircraft, _ in rig.aircraft:
        factor = aircraft.flight_time_factor.mean()
        for pack, _ in rig.packs:
            if aircraft.name not in pack.fits:
                continue
            rows = []
            for index in range(len(plan.fields)):
                profile = plan.profiles[aircraft.name, index]
                start, end, _ = middle_stretch(plan, rig, aircraft, pack, index)
                if end <= start:
                    continue
                flight = Flight(aircraft, profile, pack.mass_kg, plan.unit_kg)
                air = flight.over(start, end, profile.product(start, end), 1.0)
                run_s = profile.path.mean_pass_m2 / aircraft.swath_m / profile.speed_m_per_s
                turn_share = run_s / (run_s + aircraft.turn_time.mean())
                rows.append(((end - start) / per_area, air.total_s * factor / 60.0, air.energy_wh * factor, turn_share))
            name = f"{aircraft.name} with {pack.name}"
            if not rows:
                continue
            area, minutes, energy, turn = zip(*rows, strict=True)
            sheet.span(f"{name}: area of a load", min(area), max(area), sheet.area_unit)
            sheet.span(f"{name}: airborne minutes", min(minutes), max(minutes), "min")
            sheet.span(f"{name}: energy of a load", min(energy), max(energy), "Wh")
            sheet.span(f"{name}: turn efficiency", min(turn), max(turn), "")
    return sheet


def page_json(page: Page) -> dict[str, Any]:
    """Return the page as a JSON-able document.

    Parameters
    ----------
    page : Page
        The page.

    Returns
    -------
    dict
        ``scenario``, ``equipment_set``, ``field``, ``values``, ``sections``, ``checks`` and ``bounds``.
    """
    return {
        "scenario": page.scenario,
        "equipment_set": page.equipment_set,
        "field": page.field,
        "invented": page.invented,
        "values": [
            {"key": leaf.key, "value": leaf.value, "inner": leaf.inner, "origin": leaf.origin, "note": leaf.note}
            for leaf in page.values
        ],
        "sections": [
            {
                "title": section.title,
                "lines": [
                    {
                        "quantity": line.quantity,
                        "formula": line.formula,
                        "value": line.value,
                        "unit": line.unit,
                        "note": line.note,
                        "kind": line.kind,
                    }
                    for line in section.lines
                ],
            }
            for section in page.sections
        ],
        "checks": [
            {"quantity": one.quantity, "calculated": one.calculated, "simulator": one.simulator, "unit": one.unit}
            for one in page.checks
        ],
        "bounds": {rig: {bound.resource: bound.area for bound in bounds} for rig, bounds in page.bounds.items()},
    }


def largest_difference(page: Page) -> tuple[int, float]:
    """Return how many figures were held against the simulator's own, and the largest relative difference."""
    differences = [check.difference for check in page.checks]
    return len(differences), max(differences, default=0.0)
