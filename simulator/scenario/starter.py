"""The scenario that a new user starts from: the commented one as it ships, or one made from answers to questions."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, replace
from importlib import resources
from typing import Any

from simulator.scenario.toml_text import toml_document

CLASSES = {20: "small", 40: "large"}
"""Tank litres to what its aircraft, pack and charger are called in the file."""
_CATALOGUE = {
    20: ("tank_20_l", "pack_1300_wh", "charger_6_kw"),
    40: ("tank_40_l", "pack_1800_wh", "charger_8_kw"),
}


@dataclass(frozen=True)
class Equipment:
    """One equipment set; the defaults are the starter's own numbers.

    Parameters
    ----------
    tank_l : {20, 40}
        Class of the aircraft.
    aircraft, packs, chargers, helpers : int
        Numbers on the rig.
    charger_percent : float
        What the chargers are set to, over full power.
    generator_kw : float
        Nameplate of the generator.
    """

    tank_l: int = 40
    aircraft: int = 1
    packs: int = 3
    chargers: int = 1
    charger_percent: float = 100.0
    generator_kw: float = 12.0
    helpers: int = 1


@dataclass(frozen=True)
class FieldGroup:
    """Fields alike: how many, the area of one, its application rate, and the road to it from the field before."""

    count: int = 3
    area: str = "40 acre"
    rate: str = "2 gal/acre"
    road: str = "2 mi"


@dataclass(frozen=True)
class Answers:
    """What a new user said.

    Parameters
    ----------
    units : {"us", "metric"}
        Units of the output.
    sets : tuple of Equipment
        Sets to compare, no two the same; to one alone a second with one more pack is added.
    fields : tuple of FieldGroup
        Fields.
    from_yard : str
        Road to the first field.
    price_per_acre : float or None
        What the customer pays; None: no prices are written.
    purchase : tuple of (str, int, float)
        Prices of one aircraft, pack or charger by tank litres of its class: ``("pack", 40, 2000.0)``.
    """

    units: str = "us"
    sets: tuple[Equipment, ...] = (Equipment(),)
    fields: tuple[FieldGroup, ...] = (FieldGroup(),)
    from_yard: str = "6 mi"
    price_per_acre: float | None = None
    purchase: tuple[tuple[str, int, float], ...] = ()


_HEAD = """A scenario made from answers. The equipment classes are invented round numbers: replace them by your own.
Every quantity carries its unit in quotes ("2 gal/acre", "15 mph", "40 L", "9 kW"); shares may be "20 %" or 0.2.
`acreday schema` lists every key with its meaning, default and source; `acreday check FILE` names every mistake.

"""
_NOTES = {
    "invented": "shown on every report; set it to false once the numbers are your own",
    "work": "go through the fields again when all are done: measures capacity; or once",
    "field": "Fields alike, as rectangles; or draw them in a GeoJSON file: [field_file] with path = ...",
    "aircraft.small": "Equipment classes. `like` starts from a class of the catalogue; keys given here win.",
    "aircraft.large": "Equipment classes. `like` starts from a class of the catalogue; keys given here win.",
    "rig.main.crew.tasks.swap": "assumptions: time them yourself",
    "costs": "prices, for payoff, ladder, size and season",
}


def starter_text(name: str, answers: Answers | None = None) -> str:
    """Return a valid, commented scenario.

    Parameters
    ----------
    name : str
        Its short name.
    answers : Answers, optional
        What to make it from; the starter as it ships by default.
    """
    text = resources.files("simulator.scenario").joinpath("starter.toml").read_text(encoding="utf-8")
    text = text.replace("@NAME@", name)
    if answers is None:
        return text
    head = "".join(f"# {line}".rstrip() + "\n" for line in _HEAD.splitlines())
    return head + toml_document(answers_table(tomllib.loads(text), answers), _NOTES)


def answers_table(starter: dict[str, Any], answers: Answers) -> dict[str, Any]:
    """Return the scenario of some answers: what was not asked is the starter's.

    Parameters
    ----------
    starter : dict
        The starter's table.
    answers : Answers
        What was said.

    Raises
    ------
    ValueError
        Two sets are the same, or there is none.
    """
    sets = answers.sets if len(answers.sets) != 1 else (answers.sets[0], one_more_pack(answers.sets[0]))
    if not sets or len(set(sets)) < len(sets):
        raise ValueError("got the same equipment twice, or none; allowed are sets that differ")
    tanks = sorted({one.tank_l for one in sets})
    rig = starter["rig"]["main"]
    table: dict[str, Any] = {
        key: starter[key] for key in ("name", "title", "invented", "units", "days", "seed", "work", "day", "weather")
    }
    table |= {
        "title": "Our fields and equipment sets",
        "units": answers.units,
        "product": {**starter["product"], "rate": answers.fields[0].rate},
        "field": [_field(place, group, answers.fields[0].rate) for place, group in enumerate(answers.fields, 1)],
        "yard": {"drive_distance": answers.from_yard},
        "route": starter["route"],
        "aircraft": {}, "pack": {}, "charger": {},
        "generator": {_generator(one): _generator_table(one) for one in sets},
    }  # fmt: skip
    for tank in tanks:
        name, (aircraft, pack, charger) = CLASSES[tank], _CATALOGUE[tank]
        table["aircraft"][name] = {"like": aircraft}
        table["pack"][f"{name}_pack"] = {"like": pack, "fits": [name]}
        table["charger"][f"{name}_charger"] = {"like": charger, "serves": [f"{name}_pack"]}
    # what the sets differ in stands in each of them, whole
    table["rig"] = {"main": {"crew": rig["crew"], "supply": rig["supply"]}}
    if answers.price_per_acre is not None:
        table["costs"] = _costs(answers, tanks)
    other_load = rig["power"]["trailer"]["other_load"]
    table["equipment_set"] = {name: _set(one, other_load) for name, one in zip(set_names(sets), sets, strict=True)}
    return table


def set_names(sets: tuple[Equipment, ...]) -> list[str]:
    """Return what sets are called: by all that is not the same in each of them."""
    words = [
        (
            f"{one.aircraft}x{one.tank_l}_L", f"{one.packs}_packs", f"{one.chargers}_chargers",
            f"set_to_{one.charger_percent:g}_percent", f"{one.generator_kw:g}_kW", f"{one.helpers}_helpers",
        )
        for one in sets
    ]  # fmt: skip
    telling = [place for place, column in enumerate(zip(*words, strict=True)) if len(set(column)) > 1]
    return ["_".join(row[place] for place in telling).replace(".", "-") for row in words]


def one_more_pack(equipment: Equipment) -> Equipment:
    """Return the same set with one more pack."""
    return replace(equipment, packs=equipment.packs + 1)


def _field(place: int, group: FieldGroup, usual: str) -> dict[str, Any]:
    table = {
        "name": f"group {place}", "area": group.area, "length_to_width": 2, "count": group.count,
        "drive_distance": group.road,
    }  # fmt: skip
    return table if group.rate == usual else {**table, "rate": group.rate}


def _generator(equipment: Equipment) -> str:
    return f"kw_{equipment.generator_kw:g}".replace(".", "-")


def _generator_table(equipment: Equipment) -> dict[str, Any]:
    return {"like": "generator_12_kw", "rated_power": f"{equipment.generator_kw:g} kW"}


def _set(equipment: Equipment, other_load: str) -> dict[str, Any]:
    name = CLASSES[equipment.tank_l]
    trailer = {
        "generator": _generator(equipment), "chargers": {f"{name}_charger": equipment.chargers},
        "other_load": other_load,
    }  # fmt: skip
    rig = {
        "aircraft": {name: equipment.aircraft},
        "packs": {f"{name}_pack": equipment.packs},
        "power": {"trailer": trailer},
        "crew": {"helpers": equipment.helpers},
    }
    charger = {f"{name}_charger": {"setting": f"{equipment.charger_percent:g} %"}}
    return {"charger": charger, "rig": {"main": rig}}


def _costs(answers: Answers, tanks: list[int]) -> dict[str, Any]:
    costs: dict[str, Any] = {"price_per_acre": answers.price_per_acre}
    endings = {"aircraft": "", "pack": "_pack", "charger": "_charger"}
    for kind, tank_l, price in answers.purchase:
        if tank_l in tanks:
            costs.setdefault(kind, {})[f"{CLASSES[tank_l]}{endings[kind]}"] = {"purchase": price}
    return costs
