"""How many digits an interval supports."""

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


def tenth(value: float) -> float:
    """Round to 0.1; never a negative zero."""
    return round(value, 1) + 0.0
