"""What the page of one scenario shows: the job, its fields, the equipment sets side by side, prices and a map."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from typing import Any

from simulator.analysis.digits import fixed
from simulator.page.boxes import Box, Boxes, choices, class_words, entry_words
from simulator.page.check import Checked
from simulator.page.choose import Chooser, class_of, held
from simulator.page.field_map import field_map
from simulator.page.prices import investment, price_boxes, price_rows
from simulator.report.numbers import report_units
from simulator.report.practice import practitioner_lines
from simulator.report.writing import plain
from simulator.scenario.catalogue import catalogue
from simulator.scenario.pasted import FIELD_HEADS
from simulator.scenario.references import used_rigs
from simulator.scenario.units import M2_PER_ACRE

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
_FILE = {
    ("field_file", "buffer"): "Strip left untreated inside the boundary",
    ("field_file", "smallest"): "Smaller parts are left out", ("yard", "lon_lat"): "Yard: longitude, latitude",
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
                 "turn_time": "Turn", "hover.full_time": "Hovers full for",
                 "hover.empty_time": "Hovers empty for"},
    "pack": {"label": "Name", "energy": "Energy", "mass": "Mass", "charge_power_max": "Takes at most",
             "reserve": "Never used", "cooling_time": "Cools for"},
    "charger": {"label": "Name", "output_power": "Power", "slots": "Slots"},
    "generator": {"label": "Name", "rated_power": "Nameplate power", "fuel_tank": "Fuel tank"},
}  # fmt: skip
"""Numbers of a class that stand on a spec sheet."""


Part = dict[str, Any]


def sheet_of(checked: Checked, price_list: Mapping[str, Any]) -> Part:
    """Return all that is shown of a scenario but its answer, by the names that the template knows it by."""
    boxes, plan = Boxes(checked), checked.plans[0] if checked.plans else None
    shown = report_units("metric" if checked.metric else "us")
    rows = checked.tables.get("field")
    rows = [row for row in rows if isinstance(row, Mapping)] if isinstance(rows, list) else []
    from_file = isinstance(checked.tables.get("field_file"), Mapping)
    sets: list[Part] = []
    # tables that are none in a file that is wrong: what is wrong is said all the same
    with suppress(*() if plan else (TypeError, AttributeError, KeyError, ValueError)):
        sets += [_set(boxes, name) for name in checked.merged]

    def area(area_m2: float) -> str:
        return f"{fixed(area_m2 / M2_PER_ACRE * shown.per_acre, 1, comma=',')} {shown.area}"

    def of_rows(heads: Mapping[str, str]) -> list[list[Box]]:
        return [
            [boxes.box(("field", number, key), f"{words}, row {number + 1}") for key, words in heads.items()]
            for number in range(len(rows))
        ]

    def of_file(number: int, name: str, area_m2: float) -> tuple[str, str, str, Box]:
        return str(number), name, area(area_m2), boxes.box(("field_file", "rates", name), f"Rate on {name}")

    drawn = plan.fields if plan and from_file else ()
    count = len(plan.fields) if plan else 0
    return {
        "wrong": bool(checked.problems),
        "job": [boxes.box(at, words) for at, words in _JOB.items()],
        "more_job": [
            *(boxes.box(at, words, choices=given) for at, (words, given) in _JOB_CHOICES.items()),
            *(boxes.box(at, words, wide=at == ("title",)) for at, words in _JOB_MORE.items()),
        ],
        "heads": list(FIELD_HEADS.values()),
        "rows": of_rows(FIELD_HEADS),
        "more_heads": list(_MORE_HEADS.values()),
        "more_rows": list(zip([str(row.get("name", "")) for row in rows], of_rows(_MORE_HEADS), strict=True)),
        "file_boxes": _file_boxes(boxes) if from_file else [],
        "drawn": [of_file(number, plain(one.name, 80), one.area_m2) for number, one in enumerate(drawn, 1)],
        "total": f"{count} {'field' if count == 1 else 'fields'}, {area(plan.list_m2)}" if plan else "",
        "left_out": [str(one) for one in checked.loaded.sets[0].fields.skipped] if checked.loaded else [],
        "sets": sets,
        "class_tables": list(_class_tables(boxes)),
        "general": price_boxes(boxes),
        "prices": price_rows(boxes, price_list),
        "map": None if plan is None else field_map(plan),
        "metric": checked.metric,
        "unplaced": boxes.unplaced(),
    }


def _file_boxes(boxes: Boxes) -> list[Box]:
    landing = (("best", "the best place on the edge"), ("nearest corner", "the corner nearest the yard"))
    file = replace(boxes.box(("field_file", "path"), "File"), said=boxes.said("field_file.path", "field_file"))
    zone = boxes.box(("field_file", "landing_zone"), "Landing zone", choices=landing)
    return [file, zone, *(boxes.box(at, words) for at, words in _FILE.items())]


def _set(boxes: Boxes, name: str) -> Part:
    """Return one equipment set as a column."""
    checked = boxes.checked
    merged, prefix = checked.merged[name], checked.prefix(name)
    plan = next((one for one in checked.plans if one.name == name or not name), None)
    words, rigs = name.replace("_", " "), merged.get("rig", {})
    used = used_rigs(plan.scenario) if plan else merged.get("rigs_used") or list(rigs)
    return {
        "name": name,
        "result_name": plan.name if plan else name,
        "shown": checked.called(name),
        "label": replace(boxes.box((*prefix, "label"), "Name of the set"), usual=words),
        "rigs": [_rig(boxes, name, rig) for rig in used if rig in rigs],
        "remarks": boxes.own_remarks(name),
        "practice": practitioner_lines(plan) if plan else [],
        "money": investment(plan.scenario) if plan else "",
        "said": boxes.said(".".join(prefix)) if prefix else [],
    }


def _rig(boxes: Boxes, name: str, rig: str) -> Part:
    """Return the inputs of one rig of a set, line by line."""
    checked = boxes.checked
    tables, prefix, chooser = checked.tables, checked.prefix(name), Chooser(checked, name, rig)
    table, place, of_rig = chooser.table, (*prefix, "rig", rig), {"set": name, "rig": rig}

    def line(kind: str, words: str, at: tuple[str, ...], present: str, flown: Sequence[str], **more: str) -> list[Box]:
        other = next((one for one in flown if present in chooser.classes(kind, one)), "")
        given = choices(tables, kind, chooser.classes(kind, other))
        sent = {**of_rig, "kind": kind, "old": present, **more}
        remarks = boxes.remarks(name, f"{kind}.{present}")
        choose = Box((*at, present), words, present, choices=given, remarks=remarks, action="choose", more=sent)
        return [choose, boxes.box((*at, present), f"Number of {words.lower()}", name, count=True)]

    aircraft, packs = held(table.get("aircraft")), held(table.get("packs"))
    lines = [line("aircraft", "Aircraft", (*place, "aircraft"), one, ()) for one in aircraft]
    lines += [line("pack", "Packs", (*place, "packs"), one, aircraft) for one in packs]
    for point_name, point in (table.get("power") or {}).items():
        at = (*place, "power", point_name)
        for one in held(point.get("chargers")):
            found = line("charger", "Chargers", (*at, "chargers"), one, packs, point=point_name)
            lines.append([*found, boxes.box((*prefix, "charger", one, "setting"), "Set to", name)])
        present = str(point.get("generator") or point.get("like") or "")
        given = choices(tables, "generator", chooser.classes("generator"))
        given += [(one, class_words(one)) for one in catalogue()["power"]]
        if present not in dict(given):
            given.insert(0, (present, f"mains {point.get('grid_power', '')}"))
        names = [f"rig.{rig}.power.{point_name}", f"rig.{rig}.power.{point_name}.generator"]
        said, remarks = boxes.said(*names), boxes.remarks(name, *names)
        sent = {**of_rig, "kind": "source", "point": point_name, "old": present}
        source = Box((*at, "generator"), "Generator or mains", present, choices=given, action="choose", more=sent)
        lines.append([replace(source, said=said, remarks=remarks)])
    people = (("pilots", "Pilots"), ("helpers", "Helpers"))
    lines.append([boxes.box((*place, "crew", key), words, name, count=True) for key, words in people])
    said = boxes.said(*(f"rig.{rig}{key}" for key in ("", ".crew", ".aircraft", ".packs")))
    lines[0][0] = replace(lines[0][0], said=[*lines[0][0].said, *said])
    more = [boxes.box((*place, *key), words, name) for key, words in _RIG_MORE.items()]
    if table.get("like") in catalogue()["rig"]:
        set_ups = [(one, class_words(one)) for one in catalogue()["rig"]]
        more.insert(0, boxes.box((*place, "like"), "Travels as", name, choices=set_ups))
    return {"name": rig if len(chooser.merged["rig"]) > 1 else "", "lines": lines, "more": more}


def _class_tables(boxes: Boxes) -> Iterator[tuple[str, Sequence[Box]]]:
    """Yield every class that the scenario declares: its words, and the numbers of its spec sheet."""
    tables, whole = boxes.checked.tables, next(iter(boxes.checked.merged), None)
    for kind, keys in _CLASS_KEYS.items():
        for name in own if isinstance(own := tables.get(kind), Mapping) else ():
            words = f"{kind.capitalize()}: {entry_words(tables, kind, name)}"
            if not class_of(tables, kind, name):
                words += " (your own)"
            # a remark on a class stands at the sets that it concerns
            found = [boxes.box((kind, name, *key.split(".")), label, whole) for key, label in keys.items()]
            yield words, [replace(box, remarks=()) for box in found]
