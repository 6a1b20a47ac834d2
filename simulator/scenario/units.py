"""Quantities with their units: the strings of a scenario in, SI floats out.

Inside the package every number is in the unit of its name's suffix (``_s``, ``_m``, ``_l``, ``_wh`` ...). A scenario
writes a number and its unit in one string (``"2 gal/acre"``); a bare number or a wrong dimension is refused with an
example of what is allowed.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import pint

LITRE_PER_GALLON = 3.785411784
"""US gallon in litres, exact (NIST SP 811, appendix B)."""
M2_PER_ACRE = 4046.8564224
"""International acre in square metres, exact (43 560 ft2; NIST SP 811, appendix B)."""
M2_PER_HECTARE = 10_000.0
KG_PER_POUND = 0.45359237
"""Avoirdupois pound in kilograms, exact (NIST SP 811, appendix B)."""
M_PER_MILE = 1609.344
M_PER_FOOT = 0.3048

_NUMBER = re.compile(r"^\s*([+-]?(?:\d[\d_]*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)\s*(.*?)\s*$")


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity: its inner unit and an example to show a user.

    Parameters
    ----------
    name : str
        Plain word for messages ("a speed").
    unit : str
        Inner unit, as pint writes it.
    example : str
        A valid value.
    largest : float
        Value, in the inner unit, beyond which a number is mistyped whatever it describes; assumption.
    """

    name: str
    unit: str
    example: str
    largest: float = 1e12


TIME = Dimension("a time", "second", "70 s", 1e8)
LENGTH = Dimension("a length", "meter", "30 ft", 1e8)
AREA = Dimension("an area", "meter**2", "40 acre")
VOLUME = Dimension("a volume", "liter", "40 L", 1e9)
MASS = Dimension("a mass", "kilogram", "12 kg", 1e9)
SPEED = Dimension("a speed", "meter/second", "15 mph", 1e3)
ACCELERATION = Dimension("an acceleration", "meter/second**2", "2 m/s^2")
POWER = Dimension("a power", "watt", "9 kW", 1e9)
ENERGY = Dimension("an energy", "watt_hour", "1500 Wh", 1e9)
LIQUID_FLOW = Dimension("a liquid flow", "liter/second", "15 gal/min")
DRY_FLOW = Dimension("a mass flow", "kilogram/second", "80 lb/min")
LIQUID_RATE = Dimension("a liquid application rate", "liter/meter**2", "2 gal/acre")
DRY_RATE = Dimension("a dry application rate", "kilogram/meter**2", "30 lb/acre")
DENSITY = Dimension("a density", "kilogram/liter", "0.8 kg/L")
TEMPERATURE = Dimension("a temperature", "degree_Celsius", "28 degC")
SHARE = Dimension("a share", "", "20 %")
NUMBER = Dimension("a plain number", "", "1.05")


class UnitError(ValueError):
    """A quantity that cannot be read; the message says what was got and what is allowed."""


@cache
def registry() -> pint.UnitRegistry[Any]:
    """Return the project's pint registry (made once; pint is imported only here).

    Returns
    -------
    pint.UnitRegistry
        With the international acre and the short names ``ac``, ``gpm`` and ``gpa``.
    """
    import pint

    units: pint.UnitRegistry[Any] = pint.UnitRegistry(cache_folder=None, autoconvert_offset_to_baseunit=True)
    units.define("acre = 4046.8564224 * meter ** 2 = ac")
    units.define("gpm = gallon / minute")
    units.define("gpa = gallon / acre")
    return units


@lru_cache(maxsize=4096)
def parse(text: str, dimension: Dimension) -> float:
    """Read a quantity and return it in the inner unit of its dimension.

    Parameters
    ----------
    text : str
        Number and unit, such as ``"15 mph"``.
    dimension : Dimension
        What it must be.

    Returns
    -------
    float
        Value in ``dimension.unit``.

    Raises
    ------
    UnitError
        Not a number with a unit, unknown unit, wrong dimension, or not finite.
    """
    # the length comes first: the pattern is slow on long runs of spaces
    found = _NUMBER.match(text) if len(text) <= 80 else None
    if found is None:
        raise UnitError(f"got {text[:60]!r}; allowed is {dimension.name} with its unit, such as {dimension.example!r}")
    number, unit_text = float(found.group(1).replace("_", "")), found.group(2)
    if not math.isfinite(number):
        raise UnitError(
            f"got {text!r}, which is not finite; allowed is {dimension.name}, such as {dimension.example!r}"
        )
    if dimension is SHARE or dimension is NUMBER:
        return _plain(number, unit_text, text, dimension)
    if not unit_text:
        raise UnitError(f"got {text!r} without a unit; write {dimension.name} such as {dimension.example!r}")
    factor, offset = _conversion(unit_text, dimension, text)
    return number * factor + offset


def _plain(number: float, unit_text: str, text: str, dimension: Dimension) -> float:
    if unit_text == "%":
        return number / 100.0
    if unit_text:
        raise UnitError(f"got {text!r}; allowed is {dimension.name} such as {dimension.example!r}")
    return number


@lru_cache(maxsize=1024)
def _conversion(unit_text: str, dimension: Dimension, text: str) -> tuple[float, float]:
    """Return (factor, offset) so that inner = number * factor + offset."""
    import pint

    units = registry()
    if not re.fullmatch(r"[A-Za-z_µ°/*^0-9 ().²³-]{1,40}", unit_text) or re.search(r"\d{3}", unit_text):
        raise UnitError(
            f"got {text!r}, whose unit cannot be read; write {dimension.name} such as {dimension.example!r}"
        )
    cleaned = unit_text.replace("°", "deg").replace("degrees ", "deg").replace("²", "**2").replace("³", "**3")
    try:
        unit = units.Unit(cleaned)
        target = units.Unit(dimension.unit)
        low = float(units.Quantity(0.0, unit).to(target).magnitude)
        high = float(units.Quantity(1.0, unit).to(target).magnitude)
    except pint.DimensionalityError as error:
        message = f"got {text!r}, which is not {dimension.name}; write it such as {dimension.example!r}"
        raise UnitError(message) from error
    except Exception as error:
        message = (
            f"got {text!r} with the unknown unit {unit_text!r}; write {dimension.name} such as {dimension.example!r}"
        )
        raise UnitError(message) from error
    return high - low, low


def clock_seconds(text: str) -> float:
    """Read a time of day ``"HH:MM"`` as seconds after midnight.

    Raises
    ------
    UnitError
        Not of that form.
    """
    found = re.fullmatch(r"([01]?\d|2[0-4]):([0-5]\d)", text.strip())
    if found is None or (found.group(1) == "24" and found.group(2) != "00"):
        raise UnitError(f"got {text[:60]!r}; allowed is a time of day such as '07:00'")
    return int(found.group(1)) * 3600.0 + int(found.group(2)) * 60.0


def clock_text(seconds: float) -> str:
    """Write seconds after midnight as ``HH:MM`` (hours may pass 24)."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
