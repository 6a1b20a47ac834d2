"""A scenario's quantities in the units of a report, whatever units the scenario was written in."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from simulator.report.numbers import ReportUnits
from simulator.report.writing import plain
from simulator.scenario import units
from simulator.scenario.units import (
    KG_PER_POUND,
    LITRE_PER_GALLON,
    M2_PER_ACRE,
    M2_PER_HECTARE,
    M_PER_FOOT,
    M_PER_MILE,
    Dimension,
    UnitError,
)

_US = re.compile(
    r"(?<![A-Za-z])(gal(lons?)?|feet|foot|ft|mi(les?)?|yards?|yd|inch(es)?|in|lbs?|pounds?|oz|ounces?|mph|acres?|ac"
    r"|gp[am])(?![A-Za-z])|degF|°F|fahrenheit"
)
"""Words of US customary units; time, power, energy and shares belong to both systems."""
_METRIC = re.compile(
    r"(?<![A-Za-z])([lL]|mL|lit(er|re)s?|[kcm]?m|(kilo)?met(er|re)s?|k?g|(kilo)?grams?|ha|hectares?|kph)(?![A-Za-z])"
    r"|degC|°C|celsius"
)


@dataclass(frozen=True)
class Kind:
    """A kind of quantity and how each system shows it."""

    dimension: Dimension
    us: tuple[str, float]
    metric: tuple[str, float]
    offset_us: float = 0.0


TANK = Kind(units.VOLUME, ("gal", LITRE_PER_GALLON), ("L", 1.0))
HOPPER = Kind(units.MASS, ("lb", KG_PER_POUND), ("kg", 1.0))
MASS = Kind(units.MASS, ("lb", KG_PER_POUND), ("kg", 1.0))
WIDTH = Kind(units.LENGTH, ("ft", M_PER_FOOT), ("m", 1.0))
ROAD = Kind(units.LENGTH, ("mi", M_PER_MILE), ("km", 1000.0))
FLYING_SPEED = Kind(units.SPEED, ("mph", M_PER_MILE / 3600.0), ("m/s", 1.0))
ROAD_SPEED = Kind(units.SPEED, ("mph", M_PER_MILE / 3600.0), ("km/h", 1.0 / 3.6))
TEMPERATURE = Kind(units.TEMPERATURE, ("°F", 5.0 / 9.0), ("°C", 1.0), offset_us=32.0)
LIQUID_FLOW = Kind(units.LIQUID_FLOW, ("gal/min", LITRE_PER_GALLON / 60.0), ("L/min", 1.0 / 60.0))
LIQUID_RATE = Kind(units.LIQUID_RATE, ("gal/acre", LITRE_PER_GALLON / M2_PER_ACRE), ("L/ha", 1.0 / M2_PER_HECTARE))
DRY_RATE = Kind(units.DRY_RATE, ("lb/acre", KG_PER_POUND / M2_PER_ACRE), ("kg/ha", 1.0 / M2_PER_HECTARE))


def quantity_text(value: object, shown: ReportUnits, kind: Kind | None = None) -> str:
    """Return a scenario value as words: a quantity in the report's units, a stochastic one by its kind and mean."""
    if isinstance(value, Mapping):
        name = plain(value.get("dist", "varies"), 20)
        for key in ("mean", "value", "mode"):
            if key in value:
                return f"{_one(plain(value[key], 30), shown, kind)} on average ({name})"
        low, high = (_one(plain(value.get(key, "?"), 20), shown, kind) for key in ("low", "high"))
        return f"{low} to {high} ({name})"
    if isinstance(value, bool):
        return "yes" if value else "no"
    return _one(plain(value, 60), shown, kind)


def _one(text: str, shown: ReportUnits, kind: Kind | None) -> str:
    written = _signs(text)
    if kind is None:
        return written
    us = shown.name == "us"
    if (_METRIC if us else _US).search(text) is None:
        return written
    try:
        inner = units.parse(text, kind.dimension)
    except UnitError:
        return written
    return amount_text(inner, shown, kind)


def amount_text(inner: float, shown: ReportUnits, kind: Kind) -> str:
    """Return an amount in SI units (areas in m2, volumes in L) as words in the report's units."""
    us = shown.name == "us"
    name, size = kind.us if us else kind.metric
    return f"{_rounded(inner / size + (kind.offset_us if us else 0.0), kind)} {name}"


def _rounded(amount: float, kind: Kind) -> str:
    """Return three significant digits; whole degrees."""
    if kind is TEMPERATURE or abs(amount) >= 1000:
        return f"{round(amount) + 0:,d}"
    return f"{amount:.3g}"


def _signs(text: str) -> str:
    for written, sign in (("degC", "°C"), ("degF", "°F"), ("m^2", "m²"), ("m**2", "m²")):
        text = text.replace(written, sign)
    return text
