"""Numbers in the sentences of studies: money, shares, spans of time; never more digits than an interval supports."""

from __future__ import annotations

import math

from simulator.analysis.digits import NO_VARIATION, supported_decimals
from simulator.experiment.estimates import Interval


def _grouped(value: float, decimals: int) -> str:
    rounded = round(value, decimals) + 0.0
    return f"{rounded:,.{max(0, decimals)}f}"


def decimals_of(interval: Interval) -> int:
    """Return the decimals that an interval supports; enough for three digits where it has no width."""
    half = interval.half_width
    if half is not None and half > 0 and math.isfinite(half):
        return supported_decimals(half)
    size = abs(interval.mean)
    return max(0, 2 - math.floor(math.log10(size))) if size > 0 and math.isfinite(size) else 0


def interval_text(interval: Interval, scale: float = 1.0, unit: str = "") -> str:
    """Return ``"23.1 (22.4 to 23.8) acres"``, divided by a scale."""
    half = None if interval.half_width is None else interval.half_width / scale
    decimals = decimals_of(Interval(interval.mean / scale, None, None, interval.n, half))
    text = _grouped(interval.mean / scale, decimals)
    if half == 0.0:
        text += f" ({NO_VARIATION})"
    elif interval.low is not None and interval.high is not None and half:
        text += f" ({_grouped(interval.low / scale, decimals)} to {_grouped(interval.high / scale, decimals)})"
    return f"{text} {unit}".rstrip()


def money_text(value: float, currency: str, half_width: float | None = None) -> str:
    """Return an amount: whole units, or cents below ten; digits as far as the half-width supports."""
    if not math.isfinite(value):
        return "–"
    decimals = 2 if abs(value) < 100 else 0
    if half_width is not None and half_width > 0 and math.isfinite(half_width):
        decimals = min(decimals, supported_decimals(half_width))
    sign = "-" if round(value, decimals) < 0 else ""
    gap = "" if len(currency) == 1 else " "
    return f"{sign}{currency}{gap}{_grouped(abs(value), decimals)}"


def money_range(interval: Interval, currency: str) -> str:
    """Return an amount with its interval, such as ``"$5,200 ($4,900 to $5,500)"``."""
    half = interval.half_width
    text = money_text(interval.mean, currency, half)
    if half == 0.0:
        text += f" ({NO_VARIATION})"
    elif half and interval.low is not None and interval.high is not None:
        text += f" ({money_text(interval.low, currency, half)} to {money_text(interval.high, currency, half)})"
    return text


def share_words(share: float) -> str:
    """Return a chance in whole per cent, without claiming certainty."""
    if share >= 0.995:
        return "more than 99 %"
    return "less than 1 %" if share < 0.005 else f"{100 * share:.0f} %"


def seasons_words(seasons: float) -> str:
    """Return a payback time in seasons; ``"never"`` for infinity."""
    if not math.isfinite(seasons):
        return "never"
    if seasons < 0.095:
        return "less than a tenth of a season"
    text = f"{seasons:.1f}" if seasons < 9.95 else f"{seasons:.0f}"
    return f"{text} season" + ("" if text == "1.0" else "s")


_HOLDERS = {
    "packs": "the packs hold",
    "chargers": "the chargers hold",
    "generator": "the power supply holds",
    "crew": "the crew holds",
    "mix supply": "mixing and filling hold",
    "moves": "moving between fields holds",
    "aircraft": "the aircraft itself holds",
}


def held_words(*resources: str) -> str:
    """Return ``"the packs hold"``, to be followed by what is held back; several that do so alike are joined by "or"."""
    found = [_HOLDERS.get(resource, f"the {resource} holds") for resource in resources]
    names = [text.rsplit(" ", 1)[0] for text in found[:-1]]
    return f"{', '.join(names)} or {found[-1]}" if names else found[0]
