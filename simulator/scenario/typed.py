"""What a person types into an input, as the value that a scenario file holds: units that the page shows are added."""

from __future__ import annotations

import re
import tomllib
import typing
from collections.abc import Mapping, Sequence
from typing import Any

from simulator.scenario import units
from simulator.scenario.distributions import Distribution
from simulator.scenario.types import Drawn, Quantity, bare_type
from simulator.scenario.validate import annotation_of

At = Sequence[str | int]
"""Where a value stands in a scenario: keys, and places in lists."""
BARE = re.compile(r"[+-]?(?:\d[\d, ]*\.?\d*|\.\d+)(?: *\d+ */ *\d+)?|\d+ */ *\d+")
_MONEY = re.compile(r"[$€£\s,]")
_YES_NO = {"yes": True, "no": False, "true": True, "false": False, "on": True, "off": False}
_USUAL = {
    units.AREA: ("acre", "ha"), units.LIQUID_RATE: ("gal/acre", "L/ha"), units.DRY_RATE: ("lb/acre", "kg/ha"),
    units.LENGTH: ("mi", "km"), units.VOLUME: ("gal", "L"), units.MASS: ("lb", "kg"), units.SPEED: ("mph", "m/s"),
    units.TEMPERATURE: ("degF", "degC"), units.LIQUID_FLOW: ("gal/min", "L/min"), units.SHARE: ("%", "%"),
    units.POWER: ("kW", "kW"), units.ENERGY: ("Wh", "Wh"), units.TIME: ("min", "min"),
}  # fmt: skip
"""Unit of a bare number, in US and in metric units; it stands beside the input."""
_OWN = {
    "swath": ("ft", "m"), "tank": ("L", "L"), "turn_time": ("s", "s"), "altitude": ("ft", "m"), "window": ("h", "h"),
    "landing_zone": ("ft", "m"), "swap": ("s", "s"), "fill": ("s", "s"), "fuel_tank": ("L", "L"), "mass": ("kg", "kg"),
    "empty_mass": ("kg", "kg"), "take_off_mass_max": ("kg", "kg"), "buffer": ("ft", "m"),
}  # fmt: skip
"""By key, where it is another than that of its kind."""


def _annotation_of(at: At) -> Any:
    return annotation_of(at[2:] if at[:1] in (["equipment_set"], ("equipment_set",)) else at)


def unit_of(at: At, metric: bool) -> str:
    """Return the unit that a bare number typed at a place is in; empty where it has none."""
    inner, marks = bare_type(_annotation_of(at))
    if typing.get_origin(inner) is list:
        inner, marks = bare_type(typing.get_args(inner)[0])
    dimension = next((mark.dimension for mark in marks if isinstance(mark, Quantity | Drawn)), None)
    if dimension is None:
        return ""
    words = [str(part) for part in at if isinstance(part, str)]
    key = words[-2] if words[-1] in ("time", "mean") else words[-1]
    return _OWN.get(key, _USUAL.get(dimension, ("", "")))[metric]


def typed_value(at: At, typed: str, metric: bool) -> Any:
    """Return the value that was meant; what cannot be read stays text, for the loader to refuse with its words."""
    text = " ".join(typed.split())
    inner, marks = bare_type(_annotation_of(at))
    if inner is bool:
        return _YES_NO.get(text.lower(), text)
    if typing.get_origin(inner) is list:
        parts = [part.strip() for part in re.split(r"[,;]", text)]
        return [with_unit(part, unit_of(at, metric)) for part in parts]
    if text.startswith("{") and inner is Distribution:
        try:
            return tomllib.loads(f"value = {text}")["value"]
        except (ValueError, RecursionError):
            return text
    dimension = next((mark.dimension for mark in marks if isinstance(mark, Quantity | Drawn)), None)
    if dimension is units.NUMBER:
        return _number(text, float)
    if dimension is not None:
        return with_unit(text, unit_of(at, metric))
    if inner in (int, float):
        return _number(_MONEY.sub("", text), inner) if _MONEY.sub("", text) else text
    return text


def with_unit(text: str, unit: str) -> str:
    """Return a bare number with a unit behind it, and other text as it is."""
    return f"{text} {unit}" if unit and BARE.fullmatch(text) else text


def _number(text: str, kind: type) -> Any:
    try:
        value = float(text)
    except ValueError:
        return text
    return int(value) if value.is_integer() and abs(value) < 1e15 else (value if kind is float else text)


def shown_value(value: Any) -> str:
    """Return a value of a scenario as it stands in an input; of a distribution its mean."""
    if isinstance(value, Mapping):
        return str(value.get("mean", value.get("dist", "")))
    if isinstance(value, list):
        return ", ".join(map(shown_value, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)
