"""When enough has been simulated: means are known, sets told apart or alike, additions settled.

Runs are looked at only at fixed numbers, so any count of workers stops at the same run. A fixed-width interval that is
looked at several times keeps its coverage asymptotically (Chow & Robbins 1965; Law, *Simulation Modeling and Analysis*,
section 9.4.1), and what is *told apart* at any look is held to a level shared among looks and pairs (Bonferroni).
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from simulator.experiment.estimates import Interval, mean_interval, paired_interval
from simulator.experiment.run_store import Rows

LEAST_RUNS = 40
"""Runs before the first look: the least day in ten has a lower limit from 36 days on."""
KNOWN = 0.01
"""A mean is known when the half-width of its 95 % interval is this share of it;"""
ALIKE = 0.01
"""two sets are alike when their difference lies within this share of the mean beyond doubt,"""
NO_EFFECT = 0.005
"""and an addition does nothing to speak of when what it adds lies within this one."""
FIRST_RUNS = 8
"""Runs of every addition, after which only those still in the race are simulated further."""


def looks(most: int) -> list[int]:
    """Return the numbers of runs after which to look, the last of them ``most``; each is half as many again."""
    at, found = LEAST_RUNS, []
    while at < most:
        found.append(at)
        at = at * 3 // 2
    return [*found, most]


def decided(acres: Sequence[Rows], number_of_looks: int) -> bool:
    """Tell whether every set's mean is known, and neighbours in rank (on common draws) are told apart or alike."""
    means = [mean_interval(values) for values in acres]
    if any(_half(one) > KNOWN * abs(one.mean) for one in means):
        return False
    ranked = sorted(range(len(acres)), key=lambda place: -means[place].mean)
    level = 1.0 - 0.05 / (number_of_looks * max(1, len(acres) - 1))
    for better, worse in pairwise(ranked):
        low, high = _limits(paired_interval(acres[better], acres[worse], level))
        tolerance = ALIKE * abs(means[better].mean)
        if low <= 0.0 and not (-tolerance < low and high < tolerance):
            return False
    return True


def in_the_race(changed: Sequence[Rows], unchanged: Rows, last_resort: Sequence[bool]) -> list[int]:
    """Return the places of additions that further runs may rank; a last resort ends when told from 0."""
    tolerance = NO_EFFECT * abs(float(unchanged.mean()))
    limits = [_limits(paired_interval(one, unchanged)) for one in changed]
    ahead = max((low for (low, _), last in zip(limits, last_resort, strict=True) if not last), default=0.0)
    return [
        place
        for place, ((low, high), last) in enumerate(zip(limits, last_resort, strict=True))
        if not (-tolerance < low and high < tolerance) and high >= max(ahead, 0.0) and not (last and low > 0.0)
    ]


def _half(interval: Interval) -> float:
    return float("inf") if interval.half_width is None else interval.half_width


def _limits(interval: Interval) -> tuple[float, float]:
    if interval.low is None or interval.high is None:
        return float("-inf"), float("inf")
    return interval.low, interval.high
