"""Choosing another class for an equipment set: what goes with it (packs that fit, chargers that serve) changes too."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simulator.page.edit import Change, Tables, put
from simulator.scenario.catalogue import catalogue
from simulator.scenario.starter import enough_power, fitting, usual

_LIST_OF = {"pack": "fits", "charger": "serves"}


def class_of(tables: Mapping[str, Any], kind: str, name: str) -> str:
    """Return the class of the catalogue that an entry starts from; empty where it starts from none."""
    entry = (tables.get(kind) or {}).get(name)
    like = entry.get("like", "") if isinstance(entry, Mapping) else name
    return str(like) if like in catalogue()[kind] else ""


def fits(tables: Mapping[str, Any], merged: Mapping[str, Any], kind: str, name: str, other: str) -> bool:
    """Tell whether a pack fits an aircraft, or a charger serves a pack, in the set or in the catalogue."""
    key, table = _LIST_OF[kind], "aircraft" if kind == "pack" else "pack"
    entry = (merged.get(kind) or {}).get(name)
    if isinstance(entry, Mapping) and other in entry.get(key, ()):
        return True
    known = catalogue()[kind].get(class_of(tables, kind, name), {})
    return class_of(tables, table, other) in known.get(key, ())


def classes(tables: Mapping[str, Any], merged: Mapping[str, Any], kind: str, other: str = "") -> list[str]:
    """Return what may be chosen: the scenario's own entries, then the catalogue's; of packs and chargers what fits."""
    own = list(tables.get(kind) or {})
    known = [*own, *(name for name in catalogue()[kind] if name not in own)]
    return [name for name in known if not other or fits(tables, merged, kind, name, other)]


def declare(kind: str, name: str, other: str = "") -> Change:
    """Let a scenario have an entry of a class, and say that it fits or serves another."""

    def change(tables: Tables) -> None:
        if name not in (tables.get(kind) or {}):
            put((kind, name), {"like": name})(tables)
        if not other:
            return
        key, entry = _LIST_OF[kind], tables[kind][name]
        table = "aircraft" if kind == "pack" else "pack"
        listed = entry.get(key)
        if listed is None and other == class_of(tables, table, other) and name == class_of(tables, kind, name):
            return
        if other not in (listed or ()):
            put((kind, name, key), [*(listed or ()), other])(tables)

    return change


def swap_entry(prefix: tuple[str, ...], place: tuple[str, ...], old: str, new: str, count: int) -> Change:
    """Put a number of one class where another was; what the scenario below the set has is set to none."""

    def change(tables: Tables) -> None:
        below: Any = tables if prefix else {}
        for part in place:
            below = below.get(part, {}) if isinstance(below, Mapping) else {}
        put((*prefix, *place, old), 0 if isinstance(below, Mapping) and old in below else None)(tables)
        put((*prefix, *place, new), count)(tables)

    return change


def choose_aircraft(
    tables: Mapping[str, Any], merged: Mapping[str, Any], prefix: tuple[str, ...], rig: str, old: str, new: str
) -> list[Change]:
    """Return the changes of another aircraft class: packs, chargers and power that suit it, and people to lift it."""
    table = merged["rig"][rig]
    count = int(table["aircraft"].get(old, 1)) or 1
    changes = [declare("aircraft", new), swap_entry(prefix, ("rig", rig, "aircraft"), old, new, count)]
    present = [name for name, number in (table.get("packs") or {}).items() if number]
    suited = class_of(tables, "aircraft", new)
    common = usual(suited) if suited else None
    if common is not None and not any(fits(tables, merged, "pack", name, new) for name in present):
        others = [name for name, number in table["aircraft"].items() if number and name != old]
        for name in present:
            if not any(fits(tables, merged, "pack", name, other) for other in others):
                changes += choose_pack(tables, merged, prefix, rig, name, common.pack_class, aircraft=new)
                break
        else:
            changes += [declare("pack", common.pack_class, new)]
            changes.append(put((*prefix, "rig", rig, "packs", common.pack_class), common.packs))
    people = catalogue()["aircraft"].get(suited, {}).get("handling_people", 1)
    crew = table.get("crew") or {}
    if int(crew.get("pilots", 1)) + int(crew.get("helpers", 1)) < people:
        changes.append(put((*prefix, "rig", rig, "crew", "helpers"), people - 1))
    return changes


def choose_pack(
    tables: Mapping[str, Any],
    merged: Mapping[str, Any],
    prefix: tuple[str, ...],
    rig: str,
    old: str,
    new: str,
    aircraft: str = "",
) -> list[Change]:
    """Return the changes of another pack: as many of it, and a charger that serves it."""
    table = merged["rig"][rig]
    fit_to = aircraft or next((name for name, number in table["aircraft"].items() if number), "")
    count = int(table["packs"].get(old, 2))
    changes = [declare("pack", new, fit_to), swap_entry(prefix, ("rig", rig, "packs"), old, new, count)]
    for point_name, point in (table.get("power") or {}).items():
        for name, number in (point.get("chargers") or {}).items():
            if not number or not fits(tables, merged, "charger", name, old):
                continue
            if fits(tables, merged, "charger", name, new):
                changes.append(declare("charger", name, new))
            elif serving := fitting("charger", "serves", class_of(tables, "pack", new) or new):
                changes += choose_charger(tables, merged, prefix, rig, point_name, name, serving[0], pack=new)
    return changes


def choose_charger(
    tables: Mapping[str, Any],
    merged: Mapping[str, Any],
    prefix: tuple[str, ...],
    rig: str,
    point_name: str,
    old: str,
    new: str,
    pack: str = "",
) -> list[Change]:
    """Return the changes of another charger, on a generator that gives what it asks."""
    point = merged["rig"][rig]["power"][point_name]
    pack = pack or next((name for name, number in merged["rig"][rig]["packs"].items() if number), "")
    count = int(point["chargers"].get(old, 1))
    place = ("rig", rig, "power", point_name)
    changes = [declare("charger", new, pack), swap_entry(prefix, (*place, "chargers"), old, new, count)]
    if prefix:
        changes.append(lambda tables: _drop(tables, (*prefix, "charger", old)))
    if "generator" in point and class_of(tables, "charger", new):
        changes += choose_source(prefix, rig, point_name, enough_power(class_of(tables, "charger", new), count))
    return changes


def choose_source(prefix: tuple[str, ...], rig: str, point_name: str, new: str) -> list[Change]:
    """Return the changes of another generator, or of mains instead."""
    place = (*prefix, "rig", rig, "power", point_name)
    if new in catalogue()["power"]:
        return [put((*place, key), None) for key in ("generator", "grid_power")] + [put((*place, "like"), new)]
    mains = [put((*place, key), None) for key in ("like", "grid_power")]
    return [declare("generator", new), *mains, put((*place, "generator"), new)]


def _drop(tables: Tables, at: tuple[str, ...]) -> None:
    place: Any = tables
    for part in at[:-1]:
        place = place.get(part)
        if not isinstance(place, Mapping):
            return
    place.pop(at[-1], None)
