"""Quantities with their units: the strings of a scenario in, SI floats out.

Inside the package every number is in the unit of its name's suffix (``_s``, ``_m``, ``_l``, ``_wh`` ...). A scenario
writes a number and its unit in one string (``"2 gal/acre"``); a bare number or a wrong dimension is refused with an
example of what is allowed.
"""

from __future__ import annotations

import math
import re
import sys
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
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

DIGITS = 12
"""Significant digits that are kept of a quantity: far beyond any measurement, and short of the rounding of floats."""
_POWER = r"(?:\^|\*\*) *"
_EXPONENT = re.compile(rf"{_POWER}[+-]?(?:\d{{1,2}}(?:\.\d{{1,2}})?|\( *[+-]?\d{{1,2}} *\))(?![\d.])(?! *{_POWER})")
"""A power with one small number; towers of powers such as m^99^99^99 would be worked out for ever."""
_NUMBER = re.compile(
    r"^([+-]?(?:\d{1,3}(?:,\d{3})+(?:\.\d*)?(?![\d,])|\d[\d_]*\.?\d*|\.\d+)(?:[eE][+-]?\d+)?)"
    r"(?: *(?:(?<= )(\d+) *)?/ *(\d+))?(?! *[\d,]) *(.*)$"
)
"""A number, with commas between thousands or not; a fraction, after a whole number or not; and what follows."""
_TYPED = str.maketrans(
    {
        **dict.fromkeys('\u201c\u201d\u201e\u2018\u2019\u201a\u00ab\u00bb"', ""),
        "\u2044": "/",
        "\u2212": "-",
        "\u2013": "-",
    }
)
"""Signs that word processors put in place of plain ones; quotes go."""
_WORDS = {
    "ac": "acre", "feet": "ft", "foot": "ft", "kw": "kW", "kwh": "kWh", "wh": "Wh", "w": "W", "l": "L", "ml": "mL",
    "sec": "s", "secs": "s", "mins": "min", "hrs": "h", "gals": "gal",
}  # fmt: skip
"""What people write, in any case of letters, and the unit that they mean."""
_FRACTION = re.compile("[\u00bc-\u00be\u2150-\u215e]")
_PERCENT = ("%", "percent", "per cent", "pct")
_DEGREES = {"f": "degF", "c": "degC", "fahrenheit": "degF", "celsius": "degC", "k": "kelvin"}


@dataclass(frozen=True)
class Dimension:
    """A kind of quantity: its inner unit and an example to show a user."""

    name: str
    """Plain word for messages ("a speed")."""
    unit: str
    """The inner unit, as pint writes it."""
    symbol: str
    """The inner unit for short."""
    example: str
    largest: float = 1e12
    """Value, in the inner unit, beyond which a number is mistyped whatever it describes; assumption."""


TIME = Dimension("a time", "second", "s", "70 s", 1e8)
LENGTH = Dimension("a length", "meter", "m", "30 ft", 1e8)
AREA = Dimension("an area", "meter**2", "m2", "40 acre")
VOLUME = Dimension("a volume", "liter", "L", "40 L", 1e9)
MASS = Dimension("a mass", "kilogram", "kg", "12 kg", 1e9)
SPEED = Dimension("a speed", "meter/second", "m/s", "15 mph", 1e3)
ACCELERATION = Dimension("an acceleration", "meter/second**2", "m/s2", "2 m/s^2")
POWER = Dimension("a power", "watt", "W", "9 kW", 1e9)
ENERGY = Dimension("an energy", "watt_hour", "Wh", "1500 Wh", 1e9)
LIQUID_FLOW = Dimension("a liquid flow", "liter/second", "L/s", "15 gal/min")
DRY_FLOW = Dimension("a mass flow", "kilogram/second", "kg/s", "80 lb/min")
LIQUID_RATE = Dimension("a liquid application rate", "liter/meter**2", "L/m2", "2 gal/acre")
DRY_RATE = Dimension("a dry application rate", "kilogram/meter**2", "kg/m2", "30 lb/acre")
DENSITY = Dimension("a density", "kilogram/liter", "kg/L", "0.8 kg/L")
TEMPERATURE = Dimension("a temperature", "degree_Celsius", "degC", "85 degF")
SHARE = Dimension("a share", "", "", "20 %")
NUMBER = Dimension("a plain number", "", "", "1.05")


@dataclass(frozen=True)
class AreaUnit:
    """Unit of area in which people are told: as in "40 acres" and "a price per acre", and acres in one."""

    name: str
    one: str
    acres: float

    @property
    def an(self) -> str:
        """One of it, as in "an acre costs"."""
        return f"{'an' if self.one == 'acre' else 'a'} {self.one}"

    def of_m2(self, area_m2: float) -> float:
        """Return an area of square metres in this unit."""
        return area_m2 / M2_PER_ACRE / self.acres


def area_unit(units: str) -> AreaUnit:
    """Return the unit of a scenario's ``units``."""
    return AreaUnit("ha", "ha", M2_PER_HECTARE / M2_PER_ACRE) if units == "metric" else AreaUnit("acres", "acre", 1.0)


class UnitError(ValueError):
    """A quantity that cannot be read; the message says what was got and what is allowed."""


@contextmanager
def _left_out(*packages: str) -> Iterator[None]:
    """Keep packages from being imported meanwhile: pint loads these where it finds them, and needs them for nothing."""
    absent = [name for name in packages if name not in sys.modules]
    sys.modules.update(dict.fromkeys(absent, None))  # type: ignore[arg-type]  # how Python marks a missing module
    try:
        yield
    finally:
        for name in absent:
            del sys.modules[name]


@cache
def registry() -> pint.UnitRegistry[Any]:
    """Return the project's pint registry (made once; pint is imported only here)."""
    with _left_out("scipy", "dask"):
        import pint

    units: pint.UnitRegistry[Any] = pint.UnitRegistry(cache_folder=None, autoconvert_offset_to_baseunit=True)
    units.define("acre = 4046.8564224 * meter ** 2 = ac")
    units.define("gpm = gallon / minute")
    units.define("gpa = gallon / acre")
    return units


@lru_cache(maxsize=4096)
def parse(text: str, dimension: Dimension) -> float:
    """Read a quantity and return it in the inner unit of its dimension, to 12 significant digits."""
    got, allowed = f"got {text[:80]!r}", f"{dimension.name} such as {dimension.example!r}"
    # the length comes first: the pattern is slow on long runs of spaces
    typed = " ".join(_FRACTION.sub(_written_out, text).translate(_TYPED).split()) if len(text) <= 80 else ""
    found = _NUMBER.match(typed)
    if found is None:
        raise UnitError(f"{got}; allowed is {dimension.name} with its unit, such as {dimension.example!r}")
    number, unit_text = _amount(found), found.group(4)
    if not math.isfinite(number):
        raise UnitError(f"{got}, which is not finite; allowed is {allowed}")
    if dimension is SHARE or dimension is NUMBER:
        if unit_text and unit_text.lower() not in _PERCENT:
            raise UnitError(f"{got}; allowed is {allowed}")
        return number / 100.0 if unit_text else number
    if not unit_text:
        raise UnitError(f"{got} without a unit; write {allowed}")
    try:
        factor, offset = _conversion(unit_text, dimension)
    except _ConversionError as error:
        raise UnitError(f"{got}, {error}; write {allowed}") from error
    inner = _rounded(number * factor + offset, max(abs(number * factor), abs(offset)))
    if not math.isfinite(inner):
        raise UnitError(f"{got}, which is beyond all reason; allowed is {allowed}")
    return inner


def _rounded(value: float, scale: float) -> float:
    """Return a value without what conversion leaves in its last digits, so that every spelling gives one number."""
    if scale == 0.0 or not math.isfinite(value):
        return value
    return round(value, DIGITS - 1 - math.floor(math.log10(scale)))


def _written_out(sign: re.Match[str]) -> str:
    """Return a fraction that is one sign as two numbers, apart from a whole number before it."""
    return f" {unicodedata.normalize('NFKC', sign[0])}"


def _amount(found: re.Match[str]) -> float:
    """Return the number of a match: ``3/4``, ``1 1/2``, or one without a fraction."""
    number = float(found.group(1).replace("_", "").replace(",", ""))
    if found.group(3) is None:
        return number
    below = float(found.group(3))
    if below == 0.0:
        return math.inf
    if found.group(2) is None:
        return number / below
    return number + math.copysign(float(found.group(2)) / below, -1.0 if found.group(1).startswith("-") else 1.0)


class _ConversionError(ValueError):
    """A unit that cannot be used; the message says why, to stand after what was got."""


def _is_readable(cleaned: str) -> bool:
    """Tell whether a unit is short and plain, and its powers can be worked out."""
    if not re.fullmatch(r"[A-Za-z_µ/*^0-9 ().-]{1,60}", cleaned) or re.search(r"\d{3}", cleaned):
        return False
    bare, powers = _EXPONENT.subn("", cleaned)
    # beside a power no number stands as a base: (9^99)^99 would be as endless as a tower
    return re.search(_POWER, bare) is None and not (powers and re.search(r"\d", bare))


@lru_cache(maxsize=1024)
def _conversion(unit_text: str, dimension: Dimension) -> tuple[float, float]:
    """Return (factor, offset) so that inner = number * factor + offset."""
    units = registry()
    import pint

    bare = re.sub(r"^(deg|degrees?|°) *", "", unit_text, flags=re.IGNORECASE).lower()
    if dimension is TEMPERATURE and bare in _DEGREES:
        unit_text = _DEGREES[bare]
    cleaned = unit_text.replace("°", "deg").replace("degrees ", "deg").replace("²", "**2").replace("³", "**3")
    if len(unit_text) > 40 or not _is_readable(cleaned):
        raise _ConversionError("whose unit cannot be read")
    # as written first, for the case of a letter may matter; then as people mean it
    meant = re.sub(r"[A-Za-z]+", lambda word: _WORDS.get(word[0].lower(), word[0]), cleaned)
    meant = re.sub(r"(?<=[A-Za-z]) ?per ", "/", meant)
    refusal: Exception | None = None
    for name in dict.fromkeys((cleaned, meant, meant.lower())):
        try:
            unit, target = units.Unit(name), units.Unit(dimension.unit)
            low = float(units.Quantity(0.0, unit).to(target).magnitude)
            high = float(units.Quantity(1.0, unit).to(target).magnitude)
        except Exception as error:  # noqa: BLE001  pint raises many kinds for what it cannot read
            refusal = refusal or error
        else:
            return high - low, low
    if isinstance(refusal, pint.DimensionalityError):
        raise _ConversionError(f"which is not {dimension.name}") from refusal
    raise _ConversionError(f"with the unknown unit {unit_text!r}") from refusal


def clock_seconds(text: str) -> float:
    """Read a time of day ``"HH:MM"`` as seconds after midnight."""
    found = re.fullmatch(r"([01]?\d|2[0-4]):([0-5]\d)", text.strip())
    if found is None or (found.group(1) == "24" and found.group(2) != "00"):
        raise UnitError(f"got {text[:60]!r}; allowed is a time of day such as '07:00'")
    return int(found.group(1)) * 3600.0 + int(found.group(2)) * 60.0


def clock_text(seconds: float) -> str:
    """Write seconds after midnight as ``HH:MM`` (hours may pass 24)."""
    minutes = round(seconds / 60.0)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"
