"""Evidence of the day: the most that each resource could do by itself, and so what can hold a rig back."""

from __future__ import annotations

from dataclasses import dataclass

from simulator.analysis.explain_arithmetic import Number
from simulator.analysis.explain_day import GroundCase, Road
from simulator.analysis.explain_load import LoadCase
from simulator.analysis.explain_power import ChargeCase, Source
from simulator.analysis.explain_sheet import Sheet
from simulator.plan.day_plan import DayPlan, RigPlan
from simulator.scenario.units import M2_PER_ACRE, M2_PER_HECTARE


@dataclass(frozen=True)
class RigCases:
    """All that was written out for one rig.

    Parameters
    ----------
    rig : RigPlan
        The rig.
    road : Road
        Driving and setting up.
    sources : list of Source
        Power points.
    loads : list of (LoadCase, GroundCase)
        Each aircraft class with each pack type.
    charges : list of ChargeCase
        Each of those on each charger class that serves the pack.
    """

    rig: RigPlan
    road: Road
    sources: list[Source]
    loads: list[tuple[LoadCase, GroundCase]]
    charges: list[ChargeCase]


@dataclass(frozen=True)
class Bound:
    """The most that one resource allows in a day, in the page's unit of area."""

    resource: str
    area: float


def bounds_sheet(plan: DayPlan, cases: RigCases, metric: bool) -> tuple[Sheet, tuple[Bound, ...]]:
    """Write upper bounds of the area a day, resource by resource.

    Notes
    -----
    Source: asymptotic bounds of closed networks (Lazowska, Zahorjan, Graham and Sevcik 1984, chapter 5): a resource
    that is never idle serves at most time / demand. Mean times of the load on the page are taken; moves between fields,
    waiting, weather and breakdowns are left out, so a simulated day lies below the least bound.
    """
    sheet = Sheet(f"Most that each resource allows in a day: rig {cases.rig.name}", metric)
    unit = f"{sheet.area_unit}/day"
    time_s, powered_s = _time(sheet, plan, cases)
    start = _start_charge(sheet, cases)
    brought = _brought(sheet, cases, start, unit)
    bounds = [
        _aircraft(sheet, cases, time_s, unit),
        _packs(sheet, cases, powered_s, start, unit),
        _chargers(sheet, cases, powered_s, brought, unit),
        _power(sheet, cases, powered_s, brought, unit),
        *_crew(sheet, cases, time_s, unit),
        _pumps(sheet, cases, time_s, unit),
    ]
    if plan.scenario.product.kind == "liquid":
        bounds.append(_mixing(sheet, plan, cases, time_s, unit))
    if plan.scenario.work == "once":
        acres = sum(one.area_m2 for one in plan.fields) / (M2_PER_HECTARE if metric else M2_PER_ACRE)
        bounds.append(("field list", sheet.given("area of the field list, flown once", acres, unit, "work = once")))
    found = [(name, number) for name, number in bounds if number is not None]
    if found:
        least = min(found, key=lambda entry: float(entry[1]))
        texts = ", ".join(str(number) for _, number in found)
        formula = f"min({texts})" if len(found) > 1 else texts
        sheet.calc("least of these bounds", formula, unit, f"set by: {least[0]}; a day stays below it")
    return sheet, tuple(Bound(name, float(number)) for name, number in found)


_Entry = tuple[str, Number | None]


def _time(sheet: Sheet, plan: DayPlan, cases: RigCases) -> tuple[Number, Number]:
    """Write the time at the fields; return it without breaks, and with them (chargers go on in a break), s."""
    day, road = plan.scenario.day, cases.road
    last_s = day.last_landing_s
    window = sheet.given("start of the day to the last landing", last_s, "s", "day")
    away = f"{window} - {road.yard_s} - {road.first_drive_s} - {road.set_up_s}"
    note = "less loading, first drive and set-up; moves between fields not taken off"
    powered_s = sheet.calc("time at the fields, breaks included", f"max(0, {away})", "s", note)
    begins = [(one.start - day.start, one.start - day.start + one.length) for one in day.breaks]
    rest_s = sum(max(0.0, min(end, last_s) - max(0.0, start)) for start, end in begins)
    breaks = sheet.given("breaks", rest_s, "s", "day.breaks, as far as they lie within that time")
    time_s = sheet.calc("time at the fields", f"max(0, {powered_s} - {breaks})", "s")
    sheet.calc("hours at the fields", f"{time_s} / 3600", "h")
    return time_s, powered_s


def _start_charge(sheet: Sheet, cases: RigCases) -> dict[str, Number]:
    """Write charges that the packs bring from the yard, by pack type; return them."""
    rig, found = cases.rig, {}
    for pack, number in rig.packs:
        reserve = Number.of(pack.reserve_wh / pack.capacity_wh)
        start, end = Number.of(rig.rig.packs_start_charge), Number.of(rig.rig.charge_to)
        formula = f"{number} × max(0, {start} - {reserve}) / ({end} - {reserve})"
        note = "packs × charge above the reserve at the start, over that of a charge"
        found[pack.name] = sheet.calc(f"charges of {pack.name} brought from the yard", formula, "", note)
    return found


def _best(sheet: Sheet, quantity: str, candidates: list[Number], unit: str) -> Number | None:
    """Return the largest of several figures, on a line of its own when there is more than one."""
    if not candidates:
        return None
    if len(candidates) == 1:
        return candidates[0]
    return sheet.calc(quantity, f"max({', '.join(map(str, candidates))})", unit, "the best of the classes")


def _total(sheet: Sheet, quantity: str, parts: list[Number], unit: str) -> Number | None:
    if not parts:
        return None
    if len(parts) == 1:
        return parts[0]
    return sheet.calc(quantity, " + ".join(map(str, parts)), unit)


def _aircraft(sheet: Sheet, cases: RigCases, time_s: Number, unit: str) -> _Entry:
    parts = []
    for aircraft, number in cases.rig.aircraft:
        each = [
            sheet.calc(
                f"{aircraft.name} with {load.pack.name}, never waiting",
                f"{number} × {time_s} / {ground.cycle_s} × {load.area}",
                unit,
                "number × time / cycle × area of a load",
            )
            for load, ground in cases.loads
            if load.aircraft is aircraft
        ]
        best = _best(sheet, f"{aircraft.name}, best pack", each, unit)
        if best is not None:
            parts.append(best)
    return "aircraft", _total(sheet, "all aircraft, never waiting", parts, unit)


def _packs(sheet: Sheet, cases: RigCases, time_s: Number, start: dict[str, Number], unit: str) -> _Entry:
    """Bound by packs that go round: flown, swapped, cooled, charged, without waiting."""
    parts = []
    for pack, number in cases.rig.packs:
        each = []
        for charge in cases.charges:
            load = charge.case
            if load.pack is not pack or float(charge.slot_s) <= 0.0:
                continue
            name = f"{pack.name} with {load.aircraft.name} on {charge.charger.name}"
            ground = next(ground for entry, ground in cases.loads if entry is load)
            rounds = sheet.calc(
                f"a round of {name}",
                f"{load.loads} × {ground.cycle_s} + {charge.ground_s}",
                "s",
                "loads × cycle, then cooling, plugging in and charging",
            )
            formula = f"({start[pack.name]} + {number} × {time_s} / {rounds}) × {load.loads} × {load.area}"
            each.append(
                sheet.calc(
                    f"packs: {name}", formula, unit, "(charges brought + packs × time / round) × area of a charge"
                )
            )
        best = _best(sheet, f"{pack.name}, best", each, unit)
        if best is not None:
            parts.append(best)
    return "packs", _total(sheet, "all packs", parts, unit)


def _chargers(sheet: Sheet, cases: RigCases, time_s: Number, brought: Number, unit: str) -> _Entry:
    parts = []
    for point, charger in dict.fromkeys((charge.point, charge.charger.name) for charge in cases.charges):
        each = [
            sheet.calc(
                f"{charger} at {point}: {charge.case.pack.name} with {charge.case.aircraft.name}",
                f"{charge.slots} × {time_s} / {charge.slot_s} × {charge.case.loads} × {charge.case.area}",
                unit,
                "slots × time / time of a slot × area of a charge",
            )
            for charge in cases.charges
            if charge.point == point and charge.charger.name == charger and float(charge.slot_s) > 0.0
        ]
        best = _best(sheet, f"{charger} at {point}, best", each, unit)
        if best is not None:
            parts.append(best)
    return "chargers", _total(
        sheet, "all chargers, with what the packs bring", [*parts, brought], unit
    ) if parts else None


def _brought(sheet: Sheet, cases: RigCases, start: dict[str, Number], unit: str) -> Number:
    parts = []
    for pack, _ in cases.rig.packs:
        charges = [Number.of(float(load.loads) * float(load.area)) for load, _ in cases.loads if load.pack is pack]
        best = _best(sheet, f"area of a charge of {pack.name}", charges, sheet.area_unit)
        if best is not None:
            parts.append(f"{start[pack.name]} × {best}")
    return sheet.calc(
        "flown on charges brought from the yard", " + ".join(parts) or "0", unit, "charges × area of a charge"
    )


def _power(sheet: Sheet, cases: RigCases, time_s: Number, brought: Number, unit: str) -> _Entry:
    parts = []
    for source in cases.sources:
        each = [
            sheet.calc(
                f"power of {source.point.name}: {charge.case.pack.name} with {charge.case.aircraft.name}",
                f"{source.free_w} × {charge.bus_share} × {time_s} / 3600 / {charge.case.used_wh} × {charge.case.area}",
                unit,
                "power for chargers × what is stored of it × time / energy of a load × area of a load",
            )
            for charge in cases.charges
            if charge.point == source.point.name
        ]
        best = _best(sheet, f"power of {source.point.name}, best", each, unit)
        if best is not None:
            parts.append(best)
    if not parts:
        return "generator or grid", None
    return "generator or grid", _total(sheet, "all power, with what the packs bring", [*parts, brought], unit)


def _crew(sheet: Sheet, cases: RigCases, time_s: Number, unit: str) -> list[_Entry]:
    crew = cases.rig.rig.crew
    whole, pilots = [], []
    for load, ground in cases.loads:
        name = f"{load.aircraft.name} with {load.pack.name}"
        # product mixed before the day starts takes nobody's time
        work = ground.crew_s if cases.rig.rig.supply.start_mixed == 0.0 else ground.hands_s
        whole.append(
            sheet.calc(
                f"crew: {name}",
                f"{crew.pilots + crew.helpers} × {time_s} / ({work} + {ground.watch_s}) × {load.area}",
                unit,
                "people × time / (ground work + watching) × area of a load",
            )
        )
        pilots.append(
            sheet.calc(
                f"pilots' watch: {name}",
                f"{crew.pilots} × {time_s} / {ground.watch_s} × {load.area}",
                unit,
                "pilots × time / watching × area of a load",
            )
        )
    return [
        ("crew", _best(sheet, "crew, best", whole, unit)),
        ("pilots' watch", _best(sheet, "pilots' watch, best", pilots, unit)),
    ]


def _pumps(sheet: Sheet, cases: RigCases, time_s: Number, unit: str) -> _Entry:
    number = cases.rig.rig.supply.pumps
    each = [
        sheet.calc(
            f"filling: {load.aircraft.name} with {load.pack.name}",
            f"{number} × {time_s} / {ground.fill_s} × {load.area}",
            unit,
            "pumps × time / filling × area of a load",
        )
        for load, ground in cases.loads
    ]
    return "filling", _best(sheet, "filling, best", each, unit)


def _mixing(sheet: Sheet, plan: DayPlan, cases: RigCases, time_s: Number, unit: str) -> _Entry:
    """Bound by one batch after the other."""
    supply, mix = cases.rig.rig.supply, cases.rig.rig.crew.tasks.mix
    batch = Number.of(min(supply.batch if supply.batch is not None else supply.mix_tank, supply.mix_tank))
    start = Number.of(supply.mix_tank * supply.start_mixed)
    water, transfer = Number.of(supply.water_share), Number.of(supply.transfer_flow)
    spent = f"({Number.of(mix.time.mean())} + {batch} × {water} / {transfer})"
    product = sheet.calc(
        "mix of one batch after the other",
        f"{start} + {time_s} / {spent} × {batch}",
        "L",
        "mixed before + time / time of a batch × batch",
    )
    best = [
        sheet.calc(
            f"mixing: {load.aircraft.name} with {load.pack.name}",
            f"{product} / {load.amount} × {load.area}",
            unit,
            "mix / load × area of a load",
        )
        for load, _ in cases.loads
    ]
    return "mixing", _best(sheet, "mixing, best", best, unit)
