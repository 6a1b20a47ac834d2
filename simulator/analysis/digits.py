"""Numbers as text: how many digits an interval supports, and an estimate with its interval."""

from __future__ import annotations

import math

NO_VARIATION = "no variation seen"
"""Stands in place of the limits of an interval where all days gave the same."""
SAME = 1e-9
"""Share of their size by which numbers may differ that are the same but for rounding."""


def supported_decimals(half_width: float) -> int:
    """Return the last decimal place that an interval of a half-width above 0 supports; negative for tens and so on.

    The half-width keeps one significant digit, or two where it begins with 1 or 2 (rounding 1.4 to 1 would change it by
    a third): the common rule for stated uncertainties; from memory.
    """
    if not (math.isfinite(half_width) and half_width > 0):
        raise ValueError(f"got half_width = {half_width!r}; allowed is a finite number above 0")
    digits, exponent = f"{half_width:.1e}".split("e")
    return (1 if digits[0] in "12" else 0) - int(exponent)


def range_decimals(low: float, high: float, finest: int = 9) -> int:
    """Return the last decimal place of an estimate and its interval; what is told from nothing is not rounded to it."""
    supported = supported_decimals(0.5 * (high - low))
    decimals = min(supported, finest)
    return supported if low * high > 0.0 and round(min(abs(low), abs(high)), decimals) == 0.0 else decimals


def tenth(value: float) -> float:
    """Round to 0.1; never a negative zero."""
    return round(value, 1) + 0.0


def fixed(value: float, decimals: int, sign: bool = False, comma: str = "") -> str:
    """Return a number rounded to a decimal place, which is negative for tens, hundreds; ``comma`` parts thousands."""
    if not math.isfinite(value):
        return "–" if math.isnan(value) else "never"
    rounded = round(value, decimals) + 0.0  # turns -0.0 into 0.0
    mark = "+" if sign and rounded > 0 else ""
    return f"{mark}{rounded:{comma}.{max(0, decimals)}f}"


def format_estimate(
    value: float, low: float | None = None, high: float | None = None, *, sign: bool = False, comma: str = "",
    finest: int = 9,
) -> str:  # fmt: skip
    """Return such as ``142.3 (140.9 to 143.7)``, with the digits that the interval supports, or is asked for."""
    known = [limit for limit in (low, high) if limit is not None]
    half = 0.5 * (known[1] - known[0]) if len(known) > 1 else max((abs(limit - value) for limit in known), default=0.0)
    wide = half > SAME * abs(value) and math.isfinite(half)
    if wide:
        decimals = range_decimals(value - half, value + half, finest)
    else:
        # an exact number keeps its whole digits
        decimals = max(0, 2 - math.floor(math.log10(abs(value)))) if value and math.isfinite(value) else 0
    text, limits = fixed(value, decimals, sign, comma), [fixed(limit, decimals, sign, comma) for limit in known]
    if len(known) > 1:
        return f"{text} ({limits[0]} to {limits[1]})" if wide else f"{text} ({NO_VARIATION})"
    return f"{text} (at {'most' if low is None else 'least'} {limits[0]})" if known else text
