"""Numbers as report text: the units asked for, and never more digits than an interval supports."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from simulator.analysis.digits import SAME, fixed, format_estimate, supported_decimals
from simulator.clean import plain
from simulator.scenario.units import KG_PER_POUND, LITRE_PER_GALLON, M2_PER_ACRE, M2_PER_HECTARE

Limits = Sequence[float | None]
NOTHING = "–"
"""Stands where a number is missing."""


@dataclass(frozen=True)
class ReportUnits:
    """Units of a report: keys of spreads in ``result.json``, names, and how many are in an acre, litre, kilogram."""

    name: str
    spread_key: str
    full_day_key: str
    area: str
    area_one: str
    per_acre: float
    volume: str
    per_litre: float
    mass: str
    per_kilogram: float

    @property
    def heading(self) -> str:
        """The unit of area as a heading begins with it."""
        return "Acres" if self.name == "us" else "Hectares"


_US = ReportUnits(
    "us", "acres_per_day", "full_work_day_acres", "acres", "acre", 1.0,
    "gal", 1.0 / LITRE_PER_GALLON, "lb", 1.0 / KG_PER_POUND,
)  # fmt: skip
_METRIC = ReportUnits(
    "metric", "hectares_per_day", "full_work_day_hectares", "ha", "ha", M2_PER_ACRE / M2_PER_HECTARE,
    "L", 1.0, "kg", 1.0,
)  # fmt: skip


def shown_name(entry: Mapping[str, Any], longest: int = 60) -> str:
    """Return the name of a set that people are shown: its label, or its own."""
    return plain(entry.get("label") or entry["name"], longest)


def report_units(name: str) -> ReportUnits:
    """Return the units of a system by its name."""
    if name not in ("us", "metric"):
        raise ValueError(f"got units {name!r}; allowed is 'us' or 'metric'")
    return _US if name == "us" else _METRIC


def units_of(document: Mapping[str, Any]) -> ReportUnits:
    """Return the units that a result document asks for; US customary when it says nothing."""
    return report_units(str(document.get("units", "us")))


def half_width(limits: Limits | None) -> float | None:
    """Return half the width of an interval; None when a limit is missing or it has no width."""
    if limits is None or len(limits) != 2 or limits[0] is None or limits[1] is None:
        return None
    half = 0.5 * (limits[1] - limits[0])
    return half if half > SAME * max(map(abs, (limits[0], limits[1]))) and math.isfinite(half) else None


def shared_decimals(intervals: Iterable[Limits | None], finest: int = 9) -> int:
    """Return the last decimal place that all of some intervals support, and no finer one than is allowed."""
    return min([finest, *(supported_decimals(half) for limits in intervals if (half := half_width(limits)))])


def mean_text(mean: float, limits: Limits | None, decimals: int | None = None) -> str:
    """Return ``"226.1 ± 0.7"`` or ``"226 (no variation seen)"``; without an interval three significant digits."""
    half = half_width(limits)
    if half is None:
        return range_text(mean, limits)
    decimals = supported_decimals(half) if decimals is None else decimals
    return f"{fixed(mean, decimals)} ± {fixed(max(half, 10.0**-decimals), decimals)}"


def range_text(mean: float, limits: Limits | None, sign: bool = False, finest: int = 9) -> str:
    """Return ``"226.1 (225.4 to 226.8)"`` or ``"226 (no variation seen)"``; without an interval three digits."""
    low, high = limits if limits is not None and len(limits) == 2 and None not in limits else (None, None)
    return format_estimate(mean, low, high, sign=sign, finest=finest)


def count_text(value: float | None) -> str:
    """Return a daily mean that has no interval: whole from 10 on, else one decimal; a dash when missing."""
    if value is None or not math.isfinite(value):
        return NOTHING
    return fixed(value, 0 if abs(value) >= 9.95 else 1)


def product_unit(entry: Mapping[str, Any], shown: ReportUnits) -> tuple[float, str]:
    """Return how many of a report's units of product are in one of the result's, and their name."""
    if entry.get("product_unit", "L") == "L":
        return shown.per_litre, shown.volume
    return shown.per_kilogram, shown.mass


def hours_text(value: float | None) -> str:
    """Return hours a day to the tenth (six minutes); a dash when missing."""
    return NOTHING if value is None or not math.isfinite(value) else fixed(value, 1)


def share_text(share: float | None) -> str:
    """Return a share in whole per cent; ``"< 1 %"`` when it is positive but rounds to nothing."""
    if share is None or not math.isfinite(share):
        return NOTHING
    if 0.0 < share < 0.005:
        return "< 1 %"
    return f"{fixed(100.0 * share, 0)} %"


def clock_seconds(clock: str) -> int:
    """Return seconds after midnight of ``"07:00"``."""
    hours, _, minutes = clock.partition(":")
    if not (hours.isdecimal() and minutes[:2].isdecimal() and int(hours) < 24 and int(minutes[:2]) < 60):
        raise ValueError(f"got clock time {clock!r}; allowed is such as '07:00'")
    return int(hours) * 3600 + int(minutes[:2]) * 60


def clock_text(seconds: float, with_seconds: bool = False) -> str:
    """Return a clock time from seconds after midnight; times past midnight begin again at 00:00."""
    step = 1 if with_seconds else 60
    whole = round(seconds / step) * step % 86_400
    text = f"{whole // 3600:02d}:{whole % 3600 // 60:02d}"
    return f"{text}:{whole % 60:02d}" if with_seconds else text


def day_start_s(document: Mapping[str, Any]) -> float | None:
    """Return the start of the day, s after midnight, from one of its two keys; None when neither stands."""
    if document.get("day_start_s") is not None:
        return float(document["day_start_s"])
    start = document.get("day_start")
    return None if start is None else float(clock_seconds(str(start)))
