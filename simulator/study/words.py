"""Numbers in the sentences and tables of studies; never more digits than an interval supports."""

from __future__ import annotations

import math
from collections.abc import Iterable

from simulator.analysis.digits import NO_VARIATION, fixed, format_estimate, supported_decimals
from simulator.experiment.estimates import Interval


def number_text(value: float | None, decimals: int = 0) -> str:
    """Return a number for a table; a dash when missing, ``never`` when infinite."""
    return fixed(math.nan if value is None else value, decimals, comma=",")


def scaled(interval: Interval, factor: float) -> Interval:
    """Return an interval in another unit, or turned round by a negative factor."""
    ends = [None if limit is None else limit * factor for limit in (interval.low, interval.high)]
    low, high = ends if factor >= 0 else ends[::-1]
    half = None if interval.half_width is None else interval.half_width * abs(factor)
    return Interval(interval.mean * factor, low, high, interval.n, half)


def sure_limits(interval: Interval) -> tuple[float, float]:
    """Return the limits of an interval; its mean where it has none."""
    low, high = (interval.mean if limit is None else limit for limit in (interval.low, interval.high))
    return low, high


def direction(interval: Interval) -> float:
    """Return 1 or -1 where a difference is above or below 0 beyond doubt, else 0."""
    low, high = sure_limits(interval)
    return 0.0 if low <= 0.0 <= high else math.copysign(1.0, interval.mean)


def interval_text(interval: Interval, scale: float = 1.0, unit: str = "") -> str:
    """Return ``"23.1 (22.4 to 23.8) acres"``, divided by a scale; three digits where it has no width."""
    one = scaled(interval, 1.0 / scale)
    return f"{format_estimate(one.mean, one.low, one.high, comma=',')} {unit}".rstrip()


def size_text(mean: float, low: float, high: float) -> str:
    """Return how large a number is whatever its sign, with its interval."""
    return format_estimate(abs(mean), *sorted((abs(low), abs(high))))


def leading(currency: str) -> str:
    """Return a currency as it stands before an amount: a sign without a space, letters with one."""
    return currency if len(currency) == 1 else f"{currency} "


def money_text(value: float, currency: str, half_width: float | None = None) -> str:
    """Return an amount: whole units, or cents below a hundred; digits as far as the half-width supports."""
    if not math.isfinite(value):
        return "–"
    decimals = 2 if abs(value) < 100 else 0
    if half_width is not None and half_width > 0 and math.isfinite(half_width):
        decimals = min(decimals, supported_decimals(half_width))
    sign = "-" if round(value, decimals) < 0 else ""
    return f"{sign}{leading(currency)}{number_text(abs(value), decimals)}"


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
    return "under 1 %" if share < 0.005 else f"{100 * share:.0f} %"


_HOLDERS = {
    "packs": "the packs hold", "chargers": "the chargers hold", "generator": "the power supply holds",
    "crew": "the crew holds", "mix supply": "mixing and filling hold", "moves": "moving between fields holds",
    "aircraft": "the aircraft itself holds",
}  # fmt: skip


def held_words(*resources: str) -> str:
    """Return ``"the packs hold"``, to be followed by what is held back; several that do so alike are joined by "or"."""
    found = [_HOLDERS.get(resource, f"the {resource} holds") for resource in resources]
    names = [text.rsplit(" ", 1)[0] for text in found[:-1]]
    return f"{', '.join(names)} or {found[-1]}" if names else found[0]


def capital(text: str) -> str:
    """Return a text with its first letter large."""
    return f"{text[:1].upper()}{text[1:]}"


def never_done(name: str, shares: Iterable[float], what: str) -> list[str]:
    """Say in how many cases a set did not do its job in every run; nothing where it did."""
    short = [share for share in shares if share < 1.0]
    return [
        f"{name} does not do the job in every run of {len(short)} {what}{'s' * (len(short) > 1)} (in the worst in "
        f"{100 * min(short):.0f} % of them): its output there is that of what it did."
    ] if short else []  # fmt: skip
