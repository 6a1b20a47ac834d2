"""Equipment and assumptions of a quote sheet, in the sheet's units, from a resolved scenario that is not trusted."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simulator.report.numbers import ReportUnits
from simulator.report.quantities import (
    DRY_RATE,
    FLYING_SPEED,
    HOPPER,
    LIQUID_FLOW,
    LIQUID_RATE,
    MASS,
    ROAD,
    ROAD_SPEED,
    TANK,
    TEMPERATURE,
    WIDTH,
    Kind,
    quantity_text,
)
from simulator.report.writing import plain

MOST_LINES = 12
"""Equipment lines shown; the rest is counted."""
Pair = tuple[str, str]


def sub(table: object, *keys: str) -> Any:
    """Return what stands under nested keys; an empty table when something is missing."""
    for key in keys:
        table = table.get(key) if isinstance(table, Mapping) else None
    return {} if table is None else table


def _items(table: object, key: str) -> list[tuple[Any, Any]]:
    found = sub(table, key)
    return list(found.items()) if isinstance(found, Mapping) else []


def _rigs(table: Mapping[str, Any]) -> dict[str, Mapping[str, Any]]:
    rigs = {str(name): rig for name, rig in _items(table, "rig") if isinstance(rig, Mapping)}
    used = table.get("rigs_used")
    return {name: rig for name, rig in rigs.items() if name in used} if isinstance(used, list) and used else rigs


def _counted(table: object) -> list[tuple[str, int]]:
    if not isinstance(table, Mapping):
        return []
    return [(str(name), number) for name, number in table.items() if isinstance(number, int) and number > 0]


_Part = tuple[str, str, Kind | None]


def _described(table: Mapping[str, Any], kind: str, name: str, shown: ReportUnits, parts: tuple[_Part, ...]) -> str:
    values = sub(table, kind, name)
    values = values if isinstance(values, Mapping) else {}
    words = [form.format(quantity_text(values[key], shown, what)) for key, form, what in parts if key in values]
    return f"{plain(name, 40)}" + (f" ({', '.join(words)})" if words else "")


def equipment_lines(table: Mapping[str, Any], shown: ReportUnits) -> list[Pair]:
    """Return the equipment by kind and number, each with what tells its class."""
    rows: list[Pair] = []
    rigs = _rigs(table)
    granules = sub(table, "product", "kind") == "granules"
    flown: tuple[_Part, ...] = (("tank", "tank {}", TANK), ("swath", "swath {}", WIDTH))
    if granules:
        flown = (("hopper_mass", "hopper {}", HOPPER), ("spread_swath", "swath {}", WIDTH))
    pack: tuple[_Part, ...] = (("energy", "{}", None), ("mass", "{}", MASS))
    charger: tuple[_Part, ...] = (
        ("output_power", "{}", None), ("setting", "set to {}", None), ("slots", "slots: {}", None),
    )  # fmt: skip
    for rig_name, rig in rigs.items():
        where = f"{plain(rig_name, 30)}: " if len(rigs) > 1 else ""
        for name, number in _counted(rig.get("aircraft")):
            rows.append((f"{where}{number} aircraft", _described(table, "aircraft", name, shown, flown)))
        for name, number in _counted(rig.get("packs")):
            rows.append((f"{where}{number} packs", _described(table, "pack", name, shown, pack)))
        for _, point in _items(rig, "power"):
            if not isinstance(point, Mapping):
                continue
            if point.get("generator"):
                rated = _described(table, "generator", str(point["generator"]), shown, (("rated_power", "{}", None),))
                rows.append((f"{where}1 generator", rated))
            elif point.get("grid_power"):
                rows.append((f"{where}grid supply", quantity_text(point["grid_power"], shown)))
            for name, number in _counted(point.get("chargers")):
                rows.append((f"{where}{number} chargers", _described(table, "charger", name, shown, charger)))
        crew = sub(rig, "crew")
        people = [f"{role}: {quantity_text(sub(crew, role) or 0, shown)}" for role in ("pilots", "helpers")]
        rows.append((f"{where}crew", ", ".join(people)))
        if not granules and sub(rig, "supply", "mix_tank"):
            rows.append((f"{where}mix tank", quantity_text(sub(rig, "supply", "mix_tank"), shown, TANK)))
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


_ASSUMED: tuple[tuple[str, tuple[str, ...], Kind | None], ...] = (
    ("Application rate", ("product", "rate"), LIQUID_RATE),
    ("Spreading rate", ("product", "dry_rate"), DRY_RATE),
    ("Day starts", ("day", "start"), None),
    ("Last landing", ("day", "last_landing"), None),
    ("Flying window", ("day", "window"), None),
    ("Way from the yard", ("yard", "drive_distance"), ROAD),
    ("Road speed", ("route", "road_speed"), ROAD_SPEED),
    ("Air temperature", ("weather", "air_temperature"), TEMPERATURE),
    ("Altitude", ("weather", "altitude"), WIDTH),
)
_ASSUMED_RIG: tuple[tuple[str, tuple[str, ...], Kind | None], ...] = (
    ("Pack swap", ("crew", "tasks", "swap", "time"), None),
    ("Fill, besides pumping", ("crew", "tasks", "fill", "time"), None),
    ("Fill pump", ("supply", "pump_flow"), LIQUID_FLOW),
    ("Set up at a field", ("trailer", "set_up_time"), None),
    ("Pack up at a field", ("trailer", "pack_up_time"), None),
)


def _found(
    table: object, wanted: tuple[tuple[str, tuple[str, ...], Kind | None], ...], shown: ReportUnits
) -> list[Pair]:
    return [
        (label, quantity_text(found, shown, kind)) for label, keys, kind in wanted if (found := sub(table, *keys)) != {}
    ]


def assumption_lines(table: Mapping[str, Any], shown: ReportUnits) -> list[Pair]:
    """Return what was assumed of product, day, weather and tasks, up to 18 lines."""
    rows = _found(table, _ASSUMED, shown)
    work = {"repeat": "fields are gone through again until the day ends", "once": "each field once"}
    if table.get("work") in work:
        rows.append(("Work", work[table["work"]]))
    names = {name for rig in _rigs(table).values() for name, _ in _counted(rig.get("aircraft"))}
    for name in sorted(names)[:2]:
        speed = sub(table, "aircraft", name, "spray_speed")
        if speed != {}:
            rows.append((f"Working speed, {plain(name, 20)}", quantity_text(speed, shown, FLYING_SPEED)))
    for name, pack in _items(table, "pack")[:2]:
        if isinstance(pack, Mapping) and "reserve" in pack:
            rows.append((f"Charge kept, {plain(name, 20)}", quantity_text(pack["reserve"], shown)))
    rows += _found(next(iter(_rigs(table).values()), {}), _ASSUMED_RIG, shown)
    weather = [
        words
        for key, words in (("stoppages", "drawn at random"), ("file", "from an hourly weather file"))
        if sub(table, "weather", key) != {}
    ]
    rows.append(("Weather stops", " and ".join(weather) or "none assumed"))
    return rows[:18]
