"""The scenario that a new user starts from: the commented one as it ships, or one made from answers to questions."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any

from simulator.scenario.catalogue import catalogue
from simulator.scenario.toml_text import toml_document
from simulator.scenario.units import POWER, parse


@dataclass(frozen=True)
class Equipment:
    """One equipment set of classes of the catalogue; the defaults are the starter's own numbers."""

    aircraft_class: str = "tank_40_l"
    aircraft: int = 1
    pack_class: str = "pack_1800_wh"
    packs: int = 3
    charger_class: str = "charger_8_kw"
    chargers: int = 1
    charger_percent: float = 100.0
    source: str = "generator_12_kw"
    set_up: str = "trailer"
    helpers: int = 1


def fitting(table: str, key: str, name: str) -> list[str]:
    """Return the classes that name another in their list: packs that fit, chargers that serve."""
    return [one for one, entry in catalogue()[table].items() if name in entry[key]]


def enough_power(charger_class: str, chargers: int = 1, percent: float = 100.0) -> str:
    """Return the smallest generator that gives all that some chargers ask for, or the largest."""
    output_w = chargers * percent / 100.0 * parse(catalogue()["charger"][charger_class]["output_power"], POWER)
    rated_w = {name: parse(one["rated_power"], POWER) for name, one in catalogue()["generator"].items()}
    asked_w = output_w / _EFFICIENCY + _OTHER_LOAD_W
    return min(
        rated_w, key=lambda name: (rated_w[name] * _CONTINUOUS < asked_w, abs(rated_w[name] * _CONTINUOUS - asked_w))
    )


def usual(aircraft_class: str) -> Equipment:
    """Return what an aircraft class is commonly flown with: its own pack, and a generator that gives what is asked."""
    entry = catalogue()["aircraft"][aircraft_class]
    pack = entry["hover"]["pack"]
    charger = fitting("charger", "serves", pack)[0]
    light = entry["handling_people"] == 1
    return Equipment(
        aircraft_class, pack_class=pack, packs=2 if light else 3, charger_class=charger,
        source=enough_power(charger), set_up="pickup" if light else "trailer",
    )  # fmt: skip


@dataclass(frozen=True)
class FieldGroup:
    """Fields alike: how many, the area of one, its application rate, and the road to it from the field before."""

    count: int = 3
    area: str = "40 acre"
    rate: str = "2 gal/acre"
    road: str = "2 mi"


@dataclass(frozen=True)
class Answers:
    """What a new user said; to one set alone a second with one more pack is added."""

    units: str = "us"
    sets: tuple[Equipment, ...] = (Equipment(),)
    fields: tuple[FieldGroup, ...] = (FieldGroup(),)
    from_yard: str = "6 mi"
    price_per_acre: float | None = None
    purchase: tuple[tuple[str, str, float], ...] = ()
    """Prices of one aircraft, pack or charger by its class: ``("pack", "pack_1800_wh", 2000.0)``."""


_HEAD = """A scenario made from answers. The equipment classes are invented round numbers: replace them by your own.
Every quantity carries its unit in quotes ("2 gal/acre", "15 mph", "40 L", "9 kW"); shares may be "20 %" or 0.2.
`acreday schema` lists every key with its meaning, default and source; `acreday check FILE` names every mistake.
`like` starts from a class of the catalogue, and keys given here win: `acreday classes NAME` shows what it holds.

"""
_EFFICIENCY, _CONTINUOUS, _OTHER_LOAD_W = 0.92, 0.8, 300.0
"""The schema's defaults of a charger and a generator, and the starter's other load."""
_NOTES = {
    "invented": "shown on every report; set it to false once the numbers are your own",
    "work": "go through the fields again when all are done: measures capacity; or once",
    "field": "Fields alike, as rectangles; or draw them in a boundary file: [field_file] with path = ...",
    "rig.main.crew.tasks.swap": "assumptions: time them yourself",
    "costs": "prices, for payoff, ladder, size and season",
}


def starter_text(name: str, answers: Answers | None = None) -> str:
    """Return a valid, commented scenario."""
    text = resources.files("simulator.scenario").joinpath("starter.toml").read_text(encoding="utf-8")
    text = text.replace("@NAME@", name)
    if answers is None:
        return text
    head = "".join(f"# {line}".rstrip() + "\n" for line in _HEAD.splitlines())
    return head + toml_document(answers_table(tomllib.loads(text), answers), _NOTES)


def answers_table(starter: dict[str, Any], answers: Answers) -> dict[str, Any]:
    """Return the scenario of some answers: what was not asked is the starter's."""
    sets = answers.sets
    if len(sets) == 1:
        sets += (replace(sets[0], packs=sets[0].packs + 1),)
    if not sets or len(set(sets)) < len(sets):
        raise ValueError("got the same equipment twice, or none; allowed are sets that differ")
    rig = starter["rig"]["main"]
    aircraft = {one.aircraft_class for one in sets}
    packs = {one.pack_class for one in sets}
    table: dict[str, Any] = {
        key: starter[key] for key in ("name", "title", "invented", "units", "runs", "seed", "work", "day", "weather")
    }
    table |= {
        "title": "Our fields and equipment sets",
        "units": answers.units,
        "product": {**starter["product"], "rate": answers.fields[0].rate},
        "field": [_field(place, group, answers.fields[0].rate) for place, group in enumerate(answers.fields, 1)],
        "yard": {"drive_distance": answers.from_yard},
        "route": starter["route"],
        "aircraft": _like(aircraft),
        "pack": _like(packs),
        "charger": _like({one.charger_class for one in sets}),
        "generator": _like({one.source for one in sets} & set(catalogue()["generator"])),
    }
    # what the sets differ in stands in each of them, whole
    table["rig"] = {"main": {"crew": rig["crew"]}}
    if answers.price_per_acre is not None:
        table["costs"] = _costs(answers, {*aircraft, *packs, *table["charger"]})
    other_load = rig["power"]["trailer"]["other_load"]
    table["equipment_set"] = {name: _set(one, other_load) for name, one in zip(set_names(sets), sets, strict=True)}
    return table


def set_names(sets: tuple[Equipment, ...]) -> list[str]:
    """Return what sets are called: by as few words as tell them apart."""
    words = [
        (
            one.aircraft_class, f"{one.aircraft}_aircraft", one.pack_class, f"{one.packs}_packs", one.charger_class,
            f"{one.chargers}_chargers", f"set_to_{one.charger_percent:g}_percent", one.source, one.set_up,
            f"{one.helpers}_helpers",
        )
        for one in sets
    ]  # fmt: skip
    names = [""] * len(sets)
    for column in zip(*words, strict=True):
        longer = [f"{name}_{word}".strip("_") for name, word in zip(names, column, strict=True)]
        names = longer if len(set(longer)) > len(set(names)) else names
    return [name.replace(".", "-") for name in names]


def _field(place: int, group: FieldGroup, usual: str) -> dict[str, Any]:
    table = {
        "name": f"group {place}", "area": group.area, "length_to_width": 2, "count": group.count,
        "drive_distance": group.road,
    }  # fmt: skip
    return table if group.rate == usual else {**table, "rate": group.rate}


def _like(names: set[str]) -> dict[str, Any]:
    return {name: {"like": name} for name in sorted(names)}


def _set(equipment: Equipment, other_load: str) -> dict[str, Any]:
    source = "like" if equipment.source in catalogue()["power"] else "generator"
    rig = {
        "like": equipment.set_up,
        "aircraft": {equipment.aircraft_class: equipment.aircraft},
        "packs": {equipment.pack_class: equipment.packs},
        "power": {
            "main": {
                source: equipment.source,
                "chargers": {equipment.charger_class: equipment.chargers},
                "other_load": other_load,
            }
        },
        "crew": {"helpers": equipment.helpers},
    }
    charger = {equipment.charger_class: {"setting": f"{equipment.charger_percent:g} %"}}
    return {"charger": charger, "rig": {"main": rig}}


def _costs(answers: Answers, names: set[str]) -> dict[str, Any]:
    costs: dict[str, Any] = {"price_per_acre": answers.price_per_acre}
    for kind, name, price in answers.purchase:
        if name in names:
            costs.setdefault(kind, {})[name] = {"purchase": price}
    return costs
