"""The commented scenario that a new user starts from, with the answers to a few plain questions filled in."""

from __future__ import annotations

import re
from dataclasses import dataclass
from importlib import resources

_CLASSES = {
    20: ("small", "tank_20_l", "pack_1300_wh", "charger_6_kw", "every 22 ft"),
    40: ("large", "tank_40_l", "pack_1800_wh", "charger_8_kw", "every 30 ft"),
}
"""Tank litres to names of the starter's aircraft and its catalogue classes."""


@dataclass(frozen=True)
class Answers:
    """What a new user said; the defaults are the starter's own numbers.

    Parameters
    ----------
    tank_l : {20, 40}
        Class of the aircraft.
    aircraft, packs, chargers, helpers : int
        Numbers on the rig.
    generator_kw : float
        Nameplate of the generator.
    rate : str
        Application rate with its unit.
    fields : int
        Number of fields.
    field_area, between_fields, from_yard : str
        Area of one field, road distance between fields and from the yard, with units.
    units : {"us", "metric"}
        Units of the output.
    """

    tank_l: int = 40
    aircraft: int = 1
    packs: int = 3
    chargers: int = 1
    generator_kw: float = 12.0
    helpers: int = 1
    rate: str = "2 gal/acre"
    fields: int = 3
    field_area: str = "40 acre"
    between_fields: str = "2 mi"
    from_yard: str = "6 mi"
    units: str = "us"


def starter_text(name: str, answers: Answers | None = None) -> str:
    """Return a valid, commented scenario.

    Parameters
    ----------
    name : str
        Its short name.
    answers : Answers, optional
        Numbers to fill in; the starter as it ships by default.
    """
    text = resources.files("simulator.scenario").joinpath("starter.toml").read_text(encoding="utf-8")
    text = text.replace("@NAME@", name)
    return text if answers is None else _fill(text, answers)


def _fill(text: str, answers: Answers) -> str:
    label, aircraft, pack, charger, _ = _CLASSES[answers.tank_l]
    fields = (
        "[[field]]\n"
        'name = "field"\n'
        f'area = "{answers.field_area}"\n'
        "length_to_width = 2     # long passes, fewer turns\n"
        f"count = {answers.fields}\n"
        f'drive_distance = "{answers.between_fields}" # road distance from the field before\n\n'
    )
    text = re.sub(r"\[\[field\]\].*?(?=\[yard\])", lambda _: fields, text, flags=re.DOTALL)
    for old, new in (
        ('rate = "2 gal/acre"', f'rate = "{answers.rate}"'),
        ('drive_distance = "6 mi"', f'drive_distance = "{answers.from_yard}"'),
        ('units = "us"  ', f'units = "{answers.units}"  '),
        ("# tank =", "# keys of the class that you may set here: tank ="),
        ("tank_40_l", aircraft),
        ("pack_1800_wh", pack),
        ("charger_8_kw", charger),
        ("large_pack", f"{label}_pack"),
        ("aircraft = { large = 1 }", f"aircraft = {{ {label} = {answers.aircraft} }}"),
        ("[aircraft.large]", f"[aircraft.{label}]"),
        ('fits = ["large"]', f'fits = ["{label}"]'),
        (f"packs = {{ {label}_pack = 3 }}", f"packs = {{ {label}_pack = {answers.packs} }}"),
        ("chargers = { fast = 1 }", f"chargers = {{ fast = {answers.chargers} }}"),
        ("helpers = 1", f"helpers = {answers.helpers}"),
        ('like = "generator_12_kw"', f'like = "generator_12_kw"\nrated_power = "{answers.generator_kw:g} kW"'),
        ("generator.twelve", "generator.main"),
        ('generator = "twelve"', 'generator = "main"'),
        ("[equipment_set.three_packs]", f"[equipment_set.{_packs_name(answers.packs)}]"),
        ("[equipment_set.four_packs]", f"[equipment_set.{_packs_name(answers.packs + 1)}]"),
        (f"rig.main.packs.{label}_pack = 4", f"rig.main.packs.{label}_pack = {answers.packs + 1}"),
        (f"rig.main.packs.{label}_pack = 3\n", f"rig.main.packs.{label}_pack = {answers.packs}\n"),
    ):
        text = text.replace(old, new)
    return text


def _packs_name(number: int) -> str:
    return f"packs_{number}"
