"""What a quote sheet says, before any layout: answer, equipment, fields, assumptions, price, cautions."""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from simulator.errors import InputError
from simulator.report.cautions import CAUTIONS, INVENTED_NOTE, SIMULATION_NOTE
from simulator.report.numbers import (
    ReportUnits,
    finishing_text,
    hours_text,
    quantile_text,
    range_text,
    units_of,
)
from simulator.report.quote_fields import FieldLine, field_lines, field_rings
from simulator.report.stored import StoredResult
from simulator.report.summary import is_invented, report_title
from simulator.report.writing import plain

MOST_LINES = 12
"""Equipment lines shown; the rest is counted."""
_MOST_CHANGES = 3
_LONGEST_NOTE = 900

Pair = tuple[str, str]


@dataclass(frozen=True)
class QuoteContent:
    """A quote sheet's text, each already one clean line or paragraph.

    Parameters
    ----------
    title, customer, subject, set_name : str
        Heading, for whom, the scenario's title, and the equipment set.
    made, valid_until : datetime.date
        Dates.
    answer : str
        What to expect, in one sentence.
    details, limits, more : list of str
        Intervals and days; what holds the set back; what one more would add.
    equipment, assumptions, price : list of (str, str)
        Label and value.
    fields : list of FieldLine
        Fields with their numbers on the map.
    fields_note : str
        What the list leaves out.
    rings : list of (int, list of (float, float))
        Field number and outline, m, for the map; empty without one.
    map_note : str
        How the map is to be read.
    notes : str
        Words of the one who quotes.
    cautions : tuple of str
        Cautions.
    simulation_note, invented_note, made_by : str
        Closing lines; the second is empty for real places.
    metric : bool
        Whether the sheet is metric (decides the paper's size).
    """

    title: str
    customer: str
    subject: str
    set_name: str
    made: datetime.date
    valid_until: datetime.date
    answer: str
    details: list[str]
    limits: list[str]
    more: list[str]
    equipment: list[Pair]
    assumptions: list[Pair]
    price: list[Pair]
    fields: list[FieldLine]
    fields_note: str
    rings: list[tuple[int, list[tuple[float, float]]]]
    map_note: str
    notes: str
    cautions: tuple[str, ...]
    simulation_note: str
    invented_note: str
    made_by: str
    metric: bool


def quote_content(
    stored: StoredResult,
    set_name: str,
    customer: str,
    price: float | None = None,
    valid_days: int = 30,
    notes: str = "",
    today: datetime.date | None = None,
) -> QuoteContent:
    """Return what a quote sheet says of one equipment set.

    Parameters
    ----------
    stored : StoredResult
        Result folder.
    set_name : str
        Equipment set.
    customer : str
        For whom.
    price : float, optional
        Price per acre (per hectare on a metric sheet) in place of the scenario's.
    valid_days : int
        Days that the quote holds, 1 to 3650.
    notes : str
        Words of one's own; the first 900 letters are kept.
    today : datetime.date, optional
        Date of the sheet; today by default.

    Raises
    ------
    InputError
        No such set, no customer, or a number out of range.
    """
    entry = stored.equipment_set(set_name)
    who = plain(customer, 120)
    if not who:
        raise InputError.single("got no name; allowed is the customer's name", "customer")
    if isinstance(valid_days, bool) or not 1 <= valid_days <= 3650:
        raise InputError.single(f"got {valid_days}; allowed is 1 to 3650 days", "valid-days")
    if price is not None and not (math.isfinite(price) and 0.0 <= price <= 1e9):
        raise InputError.single(f"got {price}; allowed is a price from 0 to 1e9", "price")
    shown = units_of(stored.document)
    table = _resolved(stored, set_name)
    record = stored.day_records.get(set_name, {})
    fields, fields_note, area = field_lines(record, table, shown)
    rings = field_rings(record)
    given = record.get("layout") == "given"
    made = datetime.date.today() if today is None else today
    map_note = ""
    if rings:
        map_note = "Fields where they lie, north up." if given else "Fields to scale, placed for drawing only."
    return QuoteContent(
        title="Expected output of a spraying rig",
        customer=who,
        subject=plain(report_title(stored.document, stored.manifest), 200),
        set_name=plain(set_name, 80),
        made=made,
        valid_until=made + datetime.timedelta(days=valid_days),
        answer=_answer(entry, shown),
        details=_details(stored.document, entry, shown),
        limits=[plain(entry["bottleneck"]["sentence"], 600)],
        more=_more(entry, shown),
        equipment=_equipment(table),
        assumptions=_assumptions(table),
        price=_price(table, entry, price, area, shown),
        fields=fields,
        fields_note=fields_note,
        rings=rings,
        map_note=map_note,
        notes=plain(notes, _LONGEST_NOTE),
        cautions=CAUTIONS,
        simulation_note=SIMULATION_NOTE,
        invented_note=INVENTED_NOTE if is_invented(stored.document, stored.manifest) else "",
        made_by=_made_by(stored),
        metric=shown.name == "metric",
    )


def _resolved(stored: StoredResult, set_name: str) -> Mapping[str, Any]:
    tables = stored.manifest.get("resolved")
    table = tables.get(set_name) if isinstance(tables, Mapping) else None
    return table if isinstance(table, Mapping) else {}


def _made_by(stored: StoredResult) -> str:
    manifest = stored.manifest
    words = [f"acreday {plain(manifest.get('acreday_version', '?'), 20)}", f"seed {stored.document['seed']}"]
    if isinstance(manifest.get("scenario_sha256"), str):
        words.append(f"scenario {plain(manifest['scenario_sha256'], 13)}")
    if isinstance(manifest.get("created"), str):
        words.append(f"simulated {plain(manifest['created'][:10])}")
    return "; ".join(words)


def _answer(entry: Mapping[str, Any], shown: ReportUnits) -> str:
    spread = entry[shown.spread_key]
    usual, sure = quantile_text(spread, "p50"), quantile_text(spread, "p10")
    return f"Expect {usual} {shown.area} on a typical day; at least {sure} {shown.area} on nine days in ten."


def _details(document: Mapping[str, Any], entry: Mapping[str, Any], shown: ReportUnits) -> list[str]:
    spread = entry[shown.spread_key]
    lines = [
        f"From {entry['days']} simulated days. Mean {range_text(spread['mean'], spread['ci95'])} {shown.area} a day,"
        " with its 95 % interval; a typical day is one that half of the days surpass."
    ]
    finished = finishing_text(document, entry)
    if finished:
        lines.append(finished)
    hours = entry["per_day"].get("paid_hours")
    if hours is not None:
        lines.append(
            f"A day has {hours_text(hours)} paid hours from the yard and back, with the road, setting up and breaks."
        )
    return lines


def _more(entry: Mapping[str, Any], shown: ReportUnits) -> list[str]:
    changes = entry["bottleneck"].get("one_more") or []
    if not changes:
        return ["What one more of anything would add was not simulated."]
    sure = [change for change in changes if change["ci95"][0] is not None and change["ci95"][0] > 0.0]
    if not sure:
        return ["No single addition that was tried adds output beyond doubt."]
    lines = []
    for change in sorted(sure, key=lambda one: -one["acres_per_day"])[:_MOST_CHANGES]:
        limits = [None if limit is None else limit * shown.per_acre for limit in change["ci95"]]
        amount = range_text(change["acres_per_day"] * shown.per_acre, limits, sign=True)
        lines.append(f"{plain(change['change'], 90)}: {amount} {shown.area} a day")
    return lines


def value_text(value: object) -> str:
    """Return a scenario value as words: a quantity as written, a stochastic one by its kind and mean."""
    if isinstance(value, Mapping):
        kind = plain(value.get("dist", "varies"), 20)
        for key in ("mean", "value", "mode"):
            if key in value:
                return f"{_unit_words(plain(value[key], 30))} on average ({kind})"
        return f"{plain(value.get('low', '?'), 20)} to {plain(value.get('high', '?'), 20)} ({kind})"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _unit_words(plain(value, 60))


def _unit_words(text: str) -> str:
    for written, shown in (("degC", "°C"), ("degF", "°F"), ("m^2", "m²"), ("m**2", "m²")):
        text = text.replace(written, shown)
    return text


def _sub(table: object, *keys: str) -> Any:
    """Return what stands under nested keys; an empty table when something is missing."""
    for key in keys:
        table = table.get(key) if isinstance(table, Mapping) else None
    return {} if table is None else table


def _items(table: object, key: str) -> list[tuple[Any, Any]]:
    found = _sub(table, key)
    return list(found.items()) if isinstance(found, Mapping) else []


def _rigs(table: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    rigs = {str(name): rig for name, rig in _items(table, "rig") if isinstance(rig, Mapping)}
    used = table.get("rigs_used")
    return {name: rig for name, rig in rigs.items() if name in used} if isinstance(used, list) and used else rigs


def _counted(table: object) -> list[tuple[str, int]]:
    if not isinstance(table, Mapping):
        return []
    return [(str(name), number) for name, number in table.items() if isinstance(number, int) and number > 0]


def _described(table: Mapping[str, Any], kind: str, name: str, parts: tuple[tuple[str, str], ...]) -> str:
    values = _sub(table, kind, name)
    values = values if isinstance(values, Mapping) else {}
    words = [form.format(value_text(values[key])) for key, form in parts if key in values]
    return f"{plain(name, 40)}" + (f" ({', '.join(words)})" if words else "")


def _equipment(table: Mapping[str, Any]) -> list[Pair]:
    rows: list[Pair] = []
    rigs = _rigs(table)
    granules = _sub(table, "product", "kind") == "granules"
    load = (("hopper_mass", "hopper {}"),) if granules else (("tank", "tank {}"),)
    for rig_name, rig in rigs.items():
        where = f"{plain(rig_name, 30)}: " if len(rigs) > 1 else ""
        for name, number in _counted(rig.get("aircraft")):
            width = ("spread_swath", "swath {}") if granules else ("swath", "swath {}")
            rows.append((f"{where}{number} aircraft", _described(table, "aircraft", name, (*load, width))))
        for name, number in _counted(rig.get("packs")):
            rows.append((f"{where}{number} packs", _described(table, "pack", name, (("energy", "{}"), ("mass", "{}")))))
        for _, point in _items(rig, "power"):
            if not isinstance(point, Mapping):
                continue
            if point.get("generator"):
                rated = _described(table, "generator", str(point["generator"]), (("rated_power", "{}"),))
                rows.append((f"{where}1 generator", rated))
            elif point.get("grid_power"):
                rows.append((f"{where}grid supply", value_text(point["grid_power"])))
            for name, number in _counted(point.get("chargers")):
                parts = (("output_power", "{}"), ("setting", "set to {}"), ("slots", "slots: {}"))
                rows.append((f"{where}{number} chargers", _described(table, "charger", name, parts)))
        crew = _sub(rig, "crew")
        people = [f"{role}: {value_text(_sub(crew, role) or 0)}" for role in ("pilots", "helpers")]
        rows.append((f"{where}crew", ", ".join(people)))
        if not granules and _sub(rig, "supply", "mix_tank"):
            rows.append((f"{where}mix tank", value_text(_sub(rig, "supply", "mix_tank"))))
    rows = [(_singular(label), text) for label, text in rows]
    if len(rows) > MOST_LINES:
        further = f"{len(rows) - MOST_LINES + 1} more kinds, listed in the result folder"
        rows = [*rows[: MOST_LINES - 1], ("further", further)]
    return rows or [("equipment", "not stated in the result folder")]


def _singular(label: str) -> str:
    for word in ("packs", "chargers"):
        if label == f"1 {word}" or label.endswith(f": 1 {word}"):
            return label[:-1]
    return label


_ASSUMED = (
    ("Application rate", ("product", "rate")),
    ("Spreading rate", ("product", "dry_rate")),
    ("Day starts", ("day", "start")),
    ("Last landing", ("day", "last_landing")),
    ("Flying window", ("day", "window")),
    ("Way from the yard", ("yard", "drive_distance")),
    ("Road speed", ("route", "road_speed")),
    ("Air temperature", ("weather", "air_temperature")),
    ("Altitude", ("weather", "altitude")),
)
_ASSUMED_RIG = (
    ("Pack swap", ("crew", "tasks", "swap", "time")),
    ("Fill, besides pumping", ("crew", "tasks", "fill", "time")),
    ("Fill pump", ("supply", "pump_flow")),
    ("Set up at a field", ("trailer", "set_up_time")),
    ("Pack up at a field", ("trailer", "pack_up_time")),
)


def _assumptions(table: Mapping[str, Any]) -> list[Pair]:
    rows = [(label, value_text(found)) for label, keys in _ASSUMED if (found := _sub(table, *keys)) != {}]
    work = {"repeat": "fields are gone through again until the day ends", "once": "each field once"}
    if table.get("work") in work:
        rows.append(("Work", work[table["work"]]))
    names = {name for rig in _rigs(table).values() for name, _ in _counted(rig.get("aircraft"))}
    for name in sorted(names)[:2]:
        speed = _sub(table, "aircraft", name, "spray_speed")
        if speed != {}:
            rows.append((f"Working speed, {plain(name, 20)}", value_text(speed)))
    for name, pack in _items(table, "pack")[:2]:
        if isinstance(pack, Mapping) and "reserve" in pack:
            rows.append((f"Charge kept, {plain(name, 20)}", value_text(pack["reserve"])))
    rig = next(iter(_rigs(table).values()), {})
    rows += [(label, value_text(found)) for label, keys in _ASSUMED_RIG if (found := _sub(rig, *keys)) != {}]
    weather = [
        words
        for key, words in (("stoppages", "drawn at random"), ("file", "from an hourly weather file"))
        if _sub(table, "weather", key) != {}
    ]
    rows.append(("Weather stops", " and ".join(weather) or "none assumed"))
    return rows[:18]


def _price(
    table: Mapping[str, Any], entry: Mapping[str, Any], price: float | None, area: float | None, shown: ReportUnits
) -> list[Pair]:
    costs = _sub(table, "costs")
    currency = plain(costs.get("currency", "$"), 5) if isinstance(costs, Mapping) else "$"
    per_area = price
    hourly = None
    if per_area is None and isinstance(costs, Mapping):
        listed = _money(costs.get("price_per_acre"))
        per_area = None if listed is None else listed / shown.per_acre
        hourly = _money(costs.get("price_per_hour"))
    if per_area is not None:
        rows = [(f"Price per {shown.area_one}", f"{currency} {per_area:,.2f}")]
        if area is not None:
            rows.append((f"Fields listed, {area:,.0f} {shown.area}", f"about {currency} {per_area * area:,.0f}"))
        return [*rows, ("Taxes and product", "as agreed; not part of this price")]
    if hourly is not None:
        rows = [("Price per rig hour", f"{currency} {hourly:,.2f}")]
        hours = entry["per_day"].get("paid_hours")
        if hours is not None:
            rows.append((f"A day of {hours_text(hours)} h", f"about {currency} {hourly * round(hours, 1):,.0f}"))
        return [*rows, ("Taxes and product", "as agreed; not part of this price")]
    return [("Price", "to be agreed")]


def _money(value: object) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 1e9:
        return None
    return float(value)
