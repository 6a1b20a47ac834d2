"""Choosing another class for an equipment set: what goes with it (packs that fit, chargers that serve) changes too."""

from __future__ import annotations

from collections.abc import Mapping
from itertools import count
from typing import Any

from simulator.page.check import Checked
from simulator.page.edit import Change, Tables, put
from simulator.scenario.catalogue import catalogue
from simulator.scenario.starter import enough_power, fitting, usual
from simulator.scenario.units import POWER, parse

_LIST_OF = {"pack": ("fits", "aircraft"), "charger": ("serves", "pack")}


def class_of(tables: Mapping[str, Any], kind: str, name: str) -> str:
    """Return the class of the catalogue that an entry starts from; empty where it starts from none."""
    entry = (tables.get(kind) or {}).get(name)
    like = entry.get("like", "") if isinstance(entry, Mapping) else name
    return str(like) if like in catalogue()[kind] else ""


def held(entries: Any) -> list[str]:
    """Return the classes of which there is at least one."""
    return [name for name, number in (entries or {}).items() if number]


def declare(kind: str, name: str, other: str = "") -> Change:
    """Let a scenario have an entry of a class, and say that it fits or serves another."""

    def change(tables: Tables) -> None:
        if name not in (tables.get(kind) or {}):
            put((kind, name), {"like": name})(tables)
        if other:
            key, table = _LIST_OF[kind]
            listed = tables[kind][name].get(key)
            by_class = (
                listed is None and other == class_of(tables, table, other) and name == class_of(tables, kind, name)
            )
            if not by_class and other not in (listed or ()):
                put((kind, name, key), [*(listed or ()), other])(tables)

    return change


class Chooser:
    """One rig of an equipment set, and the changes that give it other classes."""

    def __init__(self, checked: Checked, name: str, rig: str) -> None:
        self.tables, self.merged, self.prefix = checked.tables, checked.merged[name], checked.prefix(name)
        self.rig, self.table = rig, self.merged["rig"][rig]

    def fits(self, kind: str, name: str, other: str) -> bool:
        """Tell whether a pack fits an aircraft, or a charger serves a pack, in the set or in the catalogue."""
        key, table = _LIST_OF[kind]
        entry = (self.merged.get(kind) or {}).get(name)
        if isinstance(entry, Mapping) and other in entry.get(key, ()):
            return True
        known = catalogue()[kind].get(class_of(self.tables, kind, name), {})
        return class_of(self.tables, table, other) in known.get(key, ())

    def classes(self, kind: str, other: str = "") -> list[str]:
        """Return what may be chosen: the scenario's own, then the catalogue's; of packs and chargers what fits."""
        own = list(self.tables.get(kind) or {})
        known = [*own, *(name for name in catalogue()[kind] if name not in own)]
        return [name for name in known if not other or self.fits(kind, name, other)]

    def _swap(self, place: tuple[str, ...], old: str, new: str, count: int) -> list[Change]:
        """Put a number of one class where another was; what the scenario below the set has is set to none."""
        at, below = (*self.prefix, "rig", self.rig, *place), self.tables if self.prefix else {}
        for part in ("rig", self.rig, *place):
            below = below.get(part) or {}
        return [put((*at, old), 0 if old in below else None), put((*at, new), count)]

    def aircraft(self, old: str, new: str) -> list[Change]:
        """Return the changes of another aircraft class: packs, charger and power to suit, people to lift it."""
        suited, flying = class_of(self.tables, "aircraft", new), held(self.table["aircraft"])
        count = self.table["aircraft"].get(old) or 1
        changes = [declare("aircraft", new), *self._swap(("aircraft",), old, new, count)]
        present = held(self.table.get("packs"))
        if suited and not any(self.fits("pack", name, new) for name in present):
            others, common = [name for name in flying if name != old], usual(suited)
            free = [name for name in present if not any(self.fits("pack", name, other) for other in others)]
            if free:
                changes += self.pack(free[0], common.pack_class, new)
            else:
                packs = put((*self.prefix, "rig", self.rig, "packs", common.pack_class), common.packs)
                changes += [declare("pack", common.pack_class, new), packs]
        people, crew = catalogue()["aircraft"].get(suited, {}).get("handling_people", 1), self.table.get("crew") or {}
        if int(crew.get("pilots", 1)) + int(crew.get("helpers", 1)) < people:
            changes.append(put((*self.prefix, "rig", self.rig, "crew", "helpers"), people - 1))
        return changes

    def pack(self, old: str, new: str, aircraft: str = "") -> list[Change]:
        """Return the changes of another pack: as many of it, and a charger that serves it."""
        flown = aircraft or next(iter(held(self.table["aircraft"])), "")
        changes = [declare("pack", new, flown), *self._swap(("packs",), old, new, self.table["packs"].get(old, 2))]
        for point_name, point in (self.table.get("power") or {}).items():
            for name in held(point.get("chargers")):
                if self.fits("charger", name, old) and self.fits("charger", name, new):
                    changes.append(declare("charger", name, new))
                elif self.fits("charger", name, old):
                    serving = fitting("charger", "serves", class_of(self.tables, "pack", new) or new)
                    changes += self.charger(point_name, name, serving[0], new) if serving else []
        return changes

    def charger(self, point_name: str, old: str, new: str, pack: str = "") -> list[Change]:
        """Return the changes of another charger, on a generator that gives what it asks."""
        point, count = self.table["power"][point_name], int(self.table["power"][point_name]["chargers"].get(old, 1))
        served, like = pack or next(iter(held(self.table["packs"])), ""), class_of(self.tables, "charger", new)
        swapped = self._swap(("power", point_name, "chargers"), old, new, count)
        # the setting of the old one says nothing of the new
        setting = [put((*self.prefix, "charger", old), None)] if self.prefix else []
        source = self.source(point_name, enough_power(like, count)) if "generator" in point and like else []
        return [declare("charger", new, served), *swapped, *setting, *source]

    def source(self, point_name: str, new: str) -> list[Change]:
        """Return the changes of another generator, or of mains instead."""
        place, mains = (*self.prefix, "rig", self.rig, "power", point_name), new in catalogue()["power"]
        gone = [put((*place, key), None) for key in ("generator" if mains else "like", "grid_power")]
        named = put((*place, "like" if mains else "generator"), new)
        return [*gone, named] if mains else [declare("generator", new), *gone, named]


def another_generator(checked: Checked, source: str, name: str, old: str, values: Mapping[str, Any]) -> list[Change]:
    """Return the changes that give a set, made like another, a generator of another size: one with its own price."""
    merged, known = checked.merged[source], checked.tables.get("generator") or {}
    size = f"{parse(str(values['rated_power']), POWER) / 1000.0:g}"
    label, key = f"{size} kW generator", f"generator_{size.replace('.', '_')}_kw"
    entry = {**merged["generator"][old], **values, "rated_power": f"{size} kW", "label": label}
    # it is not of that class any more, whose price it would be given
    entry.pop("like", None)
    keys = (key if number == 1 else f"{key}_{number}" for number in count(1))
    new = next(one for one in keys if one not in catalogue()["generator"] and known.get(one, entry) == entry)
    places = [
        ("equipment_set", name, "rig", rig, "power", point_name, "generator")
        for rig, table in merged["rig"].items()
        for point_name, point in (table.get("power") or {}).items()
        if point.get("generator") == old
    ]
    return [put(("generator", new), entry), *(put(place, new) for place in places)]
