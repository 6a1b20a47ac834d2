"""Estimates from replications: means, quantiles, paired differences, ratios, and how many are needed.

Each simulated day gives one value of a measure; days are independent, so the classical intervals hold. Formulas as in
Law, *Simulation Modeling and Analysis*, and Rossetti, *Simulation Modeling and Arena*, chapters 3 and 4.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.analysis.digits import SAME

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Interval:
    """A mean with its confidence interval over ``n`` replications; without limits where one value gives none."""

    mean: float
    low: float | None
    high: float | None
    n: int
    half_width: float | None


@dataclass(frozen=True)
class PairedInterval(Interval):
    """The mean of differences *a - b* between pairs; a wins where it is larger, and half where they tie."""

    a_wins_share: float


class QuantileInterval(NamedTuple):
    """A quantile with its interval; a limit is None where there are too few replications for one."""

    estimate: float
    low: float | None
    high: float | None


def _sample(x: ArrayLike, name: str = "x") -> FloatArray:
    values = np.asarray(x, dtype=np.float64)
    if values.ndim != 1 or values.size == 0 or not np.isfinite(values).all():
        raise ValueError(f"got {name} of shape {values.shape}; allowed is a row of at least one finite number")
    return values


def _check_level(level: float) -> None:
    if not 0.0 < level < 1.0:
        raise ValueError(f"got level = {level!r}; allowed is a number between 0 and 1")


def student_quantile(probability: float, degrees: int) -> float:
    """Return the quantile of Student's t."""
    from scipy.special import stdtrit

    return float(stdtrit(degrees, probability))


def _critical_t(level: float, n: int) -> float:
    return student_quantile(0.5 + 0.5 * level, n - 1)


def mean_interval(x: ArrayLike, level: float = 0.95) -> Interval:
    """Return the mean and its t interval, mean ± t(1 - a/2, n - 1) s / sqrt(n); of like values it has no width."""
    values = _sample(x)
    _check_level(level)
    n, mean = len(values), float(values.mean())
    if n == 1:
        return Interval(mean, None, None, 1, None)
    half = _critical_t(level, n) * float(values.std(ddof=1)) / math.sqrt(n)
    return _interval(mean, half, n, float(np.abs(values).max()))


def _interval(mean: float, half: float, n: int, size: float) -> Interval:
    """Return an interval about a mean; what rounding leaves of values that are the same has no width."""
    half = half if half > SAME * size else 0.0
    return Interval(mean, mean - half, mean + half, n, half)


def paired_interval(a: ArrayLike, b: ArrayLike, level: float = 0.95) -> PairedInterval:
    """Return the mean difference a - b of pairs made with common random numbers, with its paired-t interval."""
    first, second = _sample(a, "a"), _sample(b, "b")
    if len(first) != len(second):
        raise ValueError(f"got {len(first)} and {len(second)} values; allowed is as many of a as of b")
    apart = first - second
    apart[np.abs(apart) <= SAME * np.maximum(np.abs(first), np.abs(second))] = 0.0
    difference = mean_interval(apart, level)
    wins = float(np.mean((apart > 0) + 0.5 * (apart == 0)))
    return PairedInterval(difference.mean, difference.low, difference.high, difference.n, difference.half_width, wins)


def independent_interval(a: ArrayLike, b: ArrayLike, level: float = 0.95) -> Interval:
    """Return the difference of the means of two *independent* samples with its pooled-variance t interval."""
    first, second = _sample(a, "a"), _sample(b, "b")
    _check_level(level)
    n, m = len(first), len(second)
    if n + m < 3:
        raise ValueError(f"got {n} and {m} values; allowed is at least three together")
    squares = float(((first - first.mean()) ** 2).sum() + ((second - second.mean()) ** 2).sum())
    spread = math.sqrt(squares / (n + m - 2) * (1 / n + 1 / m))
    half = student_quantile(0.5 + 0.5 * level, n + m - 2) * spread
    size = float(max(np.abs(first).max(), np.abs(second).max()))
    difference = float(first.mean() - second.mean())
    return _interval(difference if abs(difference) > SAME * size else 0.0, half, n + m, size)


def ratio_interval(numerator: ArrayLike, denominator: ArrayLike, level: float = 0.95) -> Interval:
    """Return a ratio of means (such as acres per field hour) with its jackknife interval.

    The mean of daily ratios is another quantity: it weighs a short day like a long one. The jackknife removes the
    bias of order 1/n (Law, *Simulation Modeling and Analysis*, ratio estimation; from memory). Where leaving one out
    leaves nothing to divide by there are no limits.
    """
    top, bottom = _sample(numerator, "numerator"), _sample(denominator, "denominator")
    _check_level(level)
    if len(top) != len(bottom):
        raise ValueError(f"got {len(top)} and {len(bottom)} values; allowed is as many numerators as denominators")
    n, top_sum, bottom_sum = len(top), float(top.sum()), float(bottom.sum())
    if bottom_sum == 0:
        raise ValueError("got denominators that sum to 0; allowed is another sum")
    left = bottom_sum - bottom
    ratio = top_sum / bottom_sum
    if n == 1 or bool(np.any(np.abs(left) <= 1e-12 * float(np.abs(bottom).sum()))):
        return Interval(ratio, None, None, n, None)
    pseudo = n * ratio - (n - 1) * (top_sum - top) / left
    return mean_interval(pseudo, level)


def quantile_ranks(n: int, p: float, level: float = 0.95) -> tuple[int | None, int | None]:
    """Return the ranks (from 1; None: beyond the sample) that limit a quantile, at most (1 - level) / 2 in a tail."""
    from scipy.special import bdtr

    _check_level(level)
    if not 0.0 < p < 1.0:
        raise ValueError(f"got p = {p!r}; allowed is a number between 0 and 1")
    if n < 1:
        raise ValueError(f"got n = {n!r}; allowed is at least 1")
    tail = 0.5 * (1.0 - level)
    at_most = np.asarray(bdtr(np.arange(n), n, p))  # P(no more than i values lie below the quantile)
    low = int(np.searchsorted(at_most, tail, side="right"))
    high = int(np.searchsorted(at_most, 1.0 - tail, side="left")) + 1
    return (low if low >= 1 else None), (high if high <= n else None)


def quantile_interval(x: ArrayLike, p: float, level: float = 0.95) -> QuantileInterval:
    """Return a quantile (type 7 of Hyndman & Fan 1996) and its interval by order statistics, of any distribution."""
    values = np.sort(_sample(x))
    low, high = quantile_ranks(len(values), p, level)
    estimate = float(np.quantile(values, p))
    limits = [None if rank is None else float(values[rank - 1]) for rank in (low, high)]
    same = [None if limit is None or abs(limit - estimate) > SAME * abs(estimate) else estimate for limit in limits]
    return QuantileInterval(estimate, *(limit if one is None else one for limit, one in zip(limits, same, strict=True)))


def replications_needed(sd: float, target: float, level: float = 0.95) -> int:
    """Return the least n, at least 2, at which t(n - 1) sd / sqrt(n) is no more than a target half-width."""
    from scipy.special import ndtri

    _check_level(level)
    if not (0 <= sd < math.inf and 0 < target < math.inf):
        raise ValueError(f"got sd = {sd!r}, target = {target!r}; allowed is at least 0, and above 0, both finite")
    # t exceeds the normal quantile, so the closed form is a lower bound to search upward from
    n = max(2, math.ceil((float(ndtri(0.5 + 0.5 * level)) * sd / target) ** 2))
    while _critical_t(level, n) * sd / math.sqrt(n) > target:
        n += 1
    return n
