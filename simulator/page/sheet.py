"""What the page of one scenario shows: the job, its fields, the equipment sets side by side, prices and a map."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any

from simulator.page.boxes import Box, Boxes, choices, class_words, entry_words
from simulator.page.check import Checked
from simulator.page.choose import class_of, classes
from simulator.page.edit import COLUMNS
from simulator.page.field_map import FieldMap, field_map
from simulator.page.prices import PriceRow, investment, price_boxes, price_rows
from simulator.report.numbers import fixed, report_units
from simulator.report.practice import practitioner_lines
from simulator.report.writing import plain
from simulator.scenario.catalogue import catalogue
from simulator.scenario.references import used_rigs
from simulator.scenario.units import M2_PER_ACRE

FIELD_HEADS = {
    "name": "Field", "area": "Area", "count": "How many", "length_to_width": "Length over width", "rate": "Rate",
    "drive_distance": "Road to it",
}  # fmt: skip
_MORE_HEADS = {
    "landing_zone": "Landing zone: across, along", "open_from": "Not before", "open_until": "Not after",
    "first_day": "From work day", "product": "Mix",
}  # fmt: skip
_JOB = {
    ("product", "rate"): "Rate", ("yard", "drive_distance"): "Road from the yard",
    ("day", "start"): "Start of the day", ("day", "last_landing"): "Last landing",
}  # fmt: skip
_JOB_MORE = {
    ("title",): "Title on reports", ("weather", "air_temperature"): "Air temperature",
    ("weather", "altitude"): "Altitude",
}  # fmt: skip
_JOB_CHOICES = {
    ("units",): ("Units", (("us", "US: acres, gallons, miles"), ("metric", "metric: hectares, litres, km"))),
    ("work",): ("Work", (("once", "the list once: days for the job"), ("repeat", "again and again: capacity"))),
    ("route", "order"): (
        "Order of driving",
        (("best", "the shortest way"), ("nearest", "nearest next"), ("as given", "as listed")),
    ),
    ("day", "overnight"): ("Overnight", (("home", "home to the yard"), ("stay out", "stays at the field"))),
}
_RIG_MORE = {
    ("supply", "mix_tank"): "Mix tank", ("supply", "nurse_water"): "Water carried",
    ("trailer", "set_up_time"): "To set up", ("trailer", "pack_up_time"): "To pack up",
    ("crew", "tasks", "swap", "time"): "To swap a pack", ("crew", "tasks", "fill", "time"): "To couple and fill",
    ("crew", "tasks", "mix", "time"): "To mix a batch", ("crew", "aircraft_per_pilot"): "Aircraft a pilot may fly",
    ("night_power",): "Mains overnight at the yard",
}  # fmt: skip
_CLASS_KEYS = {
    "aircraft": {"label": "Name", "tank": "Tank", "swath": "Swath", "spray_speed": "Speed along a pass",
                 "empty_mass": "Mass without pack and load", "take_off_mass_max": "Largest mass at take-off",
                 "turn_time": "Turn"},
    "pack": {"label": "Name", "energy": "Energy", "mass": "Mass", "charge_power_max": "Takes at most",
             "reserve": "Never used", "cooling_time": "Cools for"},
    "charger": {"label": "Name", "output_power": "Power", "slots": "Slots"},
    "generator": {"label": "Name", "rated_power": "Nameplate power", "fuel_tank": "Fuel tank"},
}  # fmt: skip
"""Numbers of a class that stand on a spec sheet."""


@dataclass(frozen=True)
class RigSheet:
    """The inputs of one rig of a set."""

    name: str
    lines: Sequence[Sequence[Box]]
    more: Sequence[Box]


@dataclass(frozen=True)
class SetSheet:
    """One equipment set as a column."""

    name: str
    shown: str
    label: Box
    rigs: Sequence[RigSheet]
    practice: Sequence[tuple[str, str]] = ()
    money: str = ""
    said: Sequence[str] = ()


@dataclass(frozen=True)
class Sheet:
    """Everything that is shown of a scenario but its answer."""

    checked: Checked
    job: Sequence[Box]
    more_job: Sequence[Box]
    heads: Sequence[str]
    rows: Sequence[Sequence[Box]]
    more_heads: Sequence[str]
    more_rows: Sequence[tuple[str, Sequence[Box]]]
    file_boxes: Sequence[Box]
    drawn: Sequence[tuple[str, str, str, Box]]
    """Of fields of a file: number, name, area and rate."""
    total: str
    left_out: Sequence[str]
    sets: Sequence[SetSheet]
    class_tables: Sequence[tuple[str, str, Sequence[Box]]]
    general: Sequence[Box]
    prices: Sequence[PriceRow]
    map: FieldMap | None
    unplaced: Sequence[str] = field(default=())


def sheet_of(checked: Checked, price_list: Mapping[str, Any]) -> Sheet:
    """Return what the page shows of a scenario."""
    boxes, tables = Boxes(checked), checked.tables
    shown = report_units("metric" if checked.metric else "us")
    rows = tables.get("field") if isinstance(tables.get("field"), list) else []
    from_file = isinstance(tables.get("field_file"), Mapping)
    job = [boxes.box(at, words) for at, words in _JOB.items()]
    more_job = [
        *(boxes.box(at, words, choices=given) for at, (words, given) in _JOB_CHOICES.items()),
        *(boxes.box(at, words, wide=at == ("title",)) for at, words in _JOB_MORE.items()),
    ]
    field_rows = [
        [boxes.box(("field", number, key), f"{FIELD_HEADS[key]}, row {number + 1}") for key in COLUMNS]
        for number in range(len(rows or []))
    ]
    more_rows = [
        (
            str(row.get("name", number + 1)),
            [boxes.box(("field", number, key), f"{words}, row {number + 1}") for key, words in _MORE_HEADS.items()],
        )
        for number, row in enumerate(rows or [])
        if isinstance(row, Mapping)
    ]
    plan = checked.plans[0] if checked.plans else None
    return Sheet(
        checked,
        job,
        more_job,
        list(FIELD_HEADS.values()),
        field_rows,
        list(_MORE_HEADS.values()),
        more_rows,
        _file_boxes(boxes) if from_file else [],
        [
            (
                str(number),
                plain(one.name, 80),
                f"{fixed(one.area_m2 / M2_PER_ACRE * shown.per_acre, 1)} {shown.area}",
                boxes.box(("field_file", "rates", one.name), f"Rate on {plain(one.name, 80)}"),
            )
            for number, one in enumerate(plan.fields, 1)
        ]
        if plan and from_file
        else [],
        "" if plan is None else _total(len(plan.fields), plan.list_m2 / M2_PER_ACRE * shown.per_acre, shown.area),
        [str(one) for one in checked.loaded.sets[0].fields.skipped] if checked.loaded else [],
        [_set_sheet(boxes, name) for name in checked.merged],
        list(_class_tables(boxes)),
        price_boxes(boxes),
        price_rows(boxes, price_list),
        None if plan is None else field_map(plan),
        [str(one) for one in boxes.unplaced()],
    )


def _total(count: int, area: float, unit: str) -> str:
    return f"{count} {'field' if count == 1 else 'fields'}, {fixed(area, 1, comma=',')} {unit}"


def _file_boxes(boxes: Boxes) -> list[Box]:
    said = boxes.said("field_file.path", "field_file")
    file = boxes.box(("field_file", "path"), "File")
    landing = (("best", "the best place on the edge"), ("nearest corner", "the corner nearest the yard"))
    return [
        Box(file.at, file.label, file.value, said=said),
        boxes.box(("field_file", "buffer"), "Strip left untreated inside the boundary"),
        boxes.box(("field_file", "smallest"), "Parts smaller than this are left out"),
        boxes.box(("field_file", "landing_zone"), "Landing zone", choices=landing),
        boxes.box(("yard", "lon_lat"), "Yard: longitude, latitude"),
    ]


def _set_sheet(boxes: Boxes, name: str) -> SetSheet:
    checked = boxes.checked
    merged, prefix = checked.merged[name], checked.prefix(name)
    label = boxes.box((*prefix, "label"), "Name of the set")
    plan = next((one for one in checked.plans if one.name == name or not name), None)
    shown = str(merged.get("label") or name.replace("_", " ") or "this set")
    rigs = merged.get("rig") if isinstance(merged.get("rig"), Mapping) else {}
    used = used_rigs(plan.scenario) if plan is not None else merged.get("rigs_used") or list(rigs or {})
    return SetSheet(
        name,
        shown,
        Box(label.at, label.label, label.value, usual=name.replace("_", " ")),
        [_rig_sheet(boxes, name, rig) for rig in used if isinstance((rigs or {}).get(rig), Mapping)],
        [] if plan is None else practitioner_lines(plan),
        "" if plan is None else investment(plan.scenario),
        boxes.said(*(".".join(prefix),) if prefix else ()),
    )


def _rig_sheet(boxes: Boxes, name: str, rig: str) -> RigSheet:
    checked = boxes.checked
    tables, merged = checked.tables, checked.merged[name]
    table, place = merged["rig"][rig], (*checked.prefix(name), "rig", rig)
    lines: list[list[Box]] = []

    def line(kind: str, key: str, words: str, at: tuple[str, ...], present: str, others: Sequence[str]) -> list[Box]:
        more = {
            "set": name,
            "rig": rig,
            "kind": kind,
            "old": present,
            **({"point": at[-2]} if key == "chargers" else {}),
        }
        choose = Box((*at, present), words, present, choices=choices(tables, kind, others), action="choose", more=more)
        number = boxes.box((*at, present), f"Number of {words.lower()}", name, count=True)
        return [choose, number]

    aircraft = [one for one, number in (table.get("aircraft") or {}).items() if number]
    for one in aircraft:
        lines.append(
            line("aircraft", "aircraft", "Aircraft", (*place, "aircraft"), one, classes(tables, merged, "aircraft"))
        )
    for one in [one for one, number in (table.get("packs") or {}).items() if number]:
        flown = next((craft for craft in aircraft if one in classes(tables, merged, "pack", craft)), "")
        lines.append(line("pack", "packs", "Packs", (*place, "packs"), one, classes(tables, merged, "pack", flown)))
    for point_name, point in (table.get("power") or {}).items():
        lines += _power(boxes, name, rig, point_name, point, line)
    pilots = [boxes.box((*place, "crew", key), words, name, count=True)
              for key, words in (("pilots", "Pilots"), ("helpers", "Helpers"))]  # fmt: skip
    lines.append(pilots)
    said = boxes.said(f"rig.{rig}", f"rig.{rig}.crew", f"rig.{rig}.aircraft", f"rig.{rig}.packs")
    if said:
        lines[0][0] = replace(lines[0][0], said=said)
    more = [boxes.box((*place, *key), words, name) for key, words in _RIG_MORE.items()]
    if table.get("like") in catalogue()["rig"]:
        given = [(one, class_words(one)) for one in catalogue()["rig"]]
        more.insert(0, boxes.box((*place, "like"), "Travels as", name, choices=given))
    return RigSheet(rig if len(merged.get("rig", {})) > 1 else "", lines, more)


def _power(
    boxes: Boxes, name: str, rig: str, point_name: str, point: Mapping[str, Any], line: Any
) -> Iterator[list[Box]]:
    checked = boxes.checked
    tables, merged, prefix = checked.tables, checked.merged[name], checked.prefix(name)
    place = (*prefix, "rig", rig, "power", point_name)
    packs = [one for one, number in (merged["rig"][rig].get("packs") or {}).items() if number]
    for one in [one for one, number in (point.get("chargers") or {}).items() if number]:
        served = next((pack for pack in packs if one in classes(tables, merged, "charger", pack)), "")
        found = line(
            "charger", "chargers", "Chargers", (*place, "chargers"), one, classes(tables, merged, "charger", served)
        )
        setting = boxes.box((*prefix, "charger", one, "setting"), "Set to", name)
        yield [*found, setting]
    present = point.get("generator") or point.get("like") or ""
    given = [
        *choices(tables, "generator", classes(tables, merged, "generator")),
        *((one, class_words(one)) for one in catalogue()["power"]),
    ]
    if present not in dict(given):
        given.insert(0, (str(present), f"mains {point.get('grid_power', '')}"))
    said = boxes.said(f"rig.{rig}.power.{point_name}", f"rig.{rig}.power.{point_name}.generator")
    more = {"set": name, "rig": rig, "kind": "source", "point": point_name, "old": present}
    yield [
        Box(
            (*place, "generator"),
            "Generator or mains",
            str(present),
            choices=given,
            action="choose",
            more=more,
            said=said,
        )
    ]


def _class_tables(boxes: Boxes) -> Iterator[tuple[str, str, Sequence[Box]]]:
    """Yield every class that the scenario declares: kind, words, and the numbers of its spec sheet."""
    tables, whole = boxes.checked.tables, next(iter(boxes.checked.merged), None)
    for kind, keys in _CLASS_KEYS.items():
        for name in own if isinstance(own := tables.get(kind), Mapping) else ():
            words = f"{kind.capitalize()}: {entry_words(tables, kind, name)}"
            found = [boxes.box((kind, name, key), label, whole) for key, label in keys.items()]
            if kind == "aircraft" and "hover" in (
                boxes.checked.merged.get(whole or "", {}).get(kind, {}).get(name) or {}
            ):
                found += [
                    boxes.box((kind, name, "hover", key), label, whole)
                    for key, label in (("full_time", "Hovers full for"), ("empty_time", "Hovers empty for"))
                ]
            yield name, words if class_of(tables, kind, name) else f"{words} (your own)", found
