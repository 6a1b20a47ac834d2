"""Probability distributions of stochastic quantities, drawn by inverse transform.

Each distribution is a small frozen value: it can stand in a scenario, be hashed, pickled and compared. Parameters
are those that somebody with a stopwatch can state (a mean and a coefficient of variation), never a rate or a log-mean.
A parameter called ``mean`` is kept as the field ``mean_value``, because ``mean()`` is what the distribution yields.
"""

from __future__ import annotations

import functools
import math
from abc import ABC, abstractmethod
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_LEAST_NORMAL_SHARE = 1e-6
"""A truncation must keep this share of the normal: less is a mistyped bound, and beyond it rounding grows."""


class Distribution(ABC):
    """Base of all distributions.

    The unit is that of the quantity described; no distribution changes it.
    """

    __slots__ = ()

    def parameters(self) -> dict[str, float | tuple[float, ...]]:
        """Return the keyword arguments that make this distribution again."""
        names = [field.name for field in fields(self)]  # type: ignore[arg-type]  # every subclass is a dataclass
        return {name.removesuffix("_value"): getattr(self, name) for name in names}

    def __repr__(self) -> str:
        """Return the call that makes this distribution."""
        return f"{type(self).__name__}({', '.join(f'{name}={value!r}' for name, value in self.parameters().items())})"

    @abstractmethod
    def mean(self) -> float:
        """Return the mean of what is drawn (after any truncation)."""

    @abstractmethod
    def sd(self) -> float:
        """Return the standard deviation of what is drawn (after any truncation)."""

    @abstractmethod
    def lower(self) -> float:
        """Return the least value that can be drawn."""

    @abstractmethod
    def upper(self) -> float:
        """Return the greatest value that can be drawn; ``inf`` when there is none."""

    @abstractmethod
    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of given probabilities.

        Parameters
        ----------
        u : array_like of float, any shape
            Probabilities in [0, 1]; not checked, since this is called for every block of draws.

        Returns
        -------
        ndarray of float64, shape of ``u``
            Quantiles, never falling as ``u`` rises.
        """

    @property
    def is_constant(self) -> bool:
        """Whether only one value can be drawn."""
        return self.lower() == self.upper()

    def scaled(self, factor: float) -> Distribution:
        """Return the distribution of ``factor`` times this quantity.

        Parameters
        ----------
        factor : float
            Finite and not negative; zero gives the constant 0.

        Raises
        ------
        ValueError
            The factor is negative or not finite.
        """
        _require(math.isfinite(factor) and factor >= 0, "factor", factor, "a finite number of at least 0")
        return Constant(0.0) if factor == 0 else self._scaled(float(factor))

    @abstractmethod
    def _scaled(self, factor: float) -> Distribution:
        """Return the scaled distribution for a positive factor."""


def _require(good: bool, name: str, got: float, allowed: str) -> None:
    if not good:
        raise ValueError(f"got {name} = {got!r}; allowed is {allowed}")


def _check_finite(distribution: Distribution) -> None:
    for field in fields(distribution):  # type: ignore[arg-type]  # every subclass is a dataclass
        value = getattr(distribution, field.name)
        _require(math.isfinite(value), field.name.removesuffix("_value"), value, "a finite number")


def _check_mean_and_cv(distribution: Lognormal | Gamma) -> None:
    _check_finite(distribution)
    _require(distribution.mean_value > 0, "mean", distribution.mean_value, "a number above 0")
    _require(distribution.cv >= 0, "cv", distribution.cv, "a number of at least 0")


@dataclass(frozen=True, repr=False)
class Constant(Distribution):
    """Always the same value.

    Parameters
    ----------
    value : float
        The value.
    """

    value: float

    def __post_init__(self) -> None:
        _check_finite(self)
        object.__setattr__(self, "value", float(self.value))

    def mean(self) -> float:
        """Return the value."""
        return self.value

    def sd(self) -> float:
        """Return 0."""
        return 0.0

    def lower(self) -> float:
        """Return the value."""
        return self.value

    def upper(self) -> float:
        """Return the value."""
        return self.value

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the value, in the shape of ``u``."""
        return np.full(np.shape(u), self.value)

    def _scaled(self, factor: float) -> Distribution:
        return Constant(self.value * factor)


@dataclass(frozen=True, repr=False)
class Uniform(Distribution):
    """Equally likely anywhere between two bounds.

    Parameters
    ----------
    low, high : float
        Bounds, ``low <= high``.

    Raises
    ------
    ValueError
        A bound is not finite, or they are in the wrong order.
    """

    low: float
    high: float

    def __post_init__(self) -> None:
        _check_finite(self)
        _require(self.high >= self.low, "high", self.high, f"a number of at least low = {self.low!r}")

    def mean(self) -> float:
        """Return the middle."""
        return 0.5 * (self.low + self.high)

    def sd(self) -> float:
        """Return the width over the square root of 12."""
        return (self.high - self.low) / math.sqrt(12.0)

    def lower(self) -> float:
        """Return the lower bound."""
        return self.low

    def upper(self) -> float:
        """Return the upper bound."""
        return self.high

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of probabilities ``u``."""
        return self.low + (self.high - self.low) * np.asarray(u, dtype=np.float64)

    def _scaled(self, factor: float) -> Distribution:
        return Uniform(self.low * factor, self.high * factor)


@dataclass(frozen=True, repr=False)
class Triangular(Distribution):
    """Triangle between two bounds: what people mean by "usually 60, between 45 and 120".

    Parameters
    ----------
    low, mode, high : float
        ``low <= mode <= high``.

    Raises
    ------
    ValueError
        A parameter is not finite, or they are in the wrong order.
    """

    low: float
    mode: float
    high: float

    def __post_init__(self) -> None:
        _check_finite(self)
        _require(self.mode >= self.low, "mode", self.mode, f"a number of at least low = {self.low!r}")
        _require(self.high >= self.mode, "high", self.high, f"a number of at least mode = {self.mode!r}")

    def mean(self) -> float:
        """Return the mean."""
        return (self.low + self.mode + self.high) / 3.0

    def sd(self) -> float:
        """Return the standard deviation."""
        left, right = self.mode - self.low, self.high - self.mode
        return math.sqrt((left * left + left * right + right * right) / 18.0)

    def lower(self) -> float:
        """Return the lower bound."""
        return self.low

    def upper(self) -> float:
        """Return the upper bound."""
        return self.high

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of probabilities ``u``."""
        u = np.asarray(u, dtype=np.float64)
        width, left, right = self.high - self.low, self.mode - self.low, self.high - self.mode
        rising = self.low + np.sqrt(u * (width * left))
        falling = self.high - np.sqrt((1.0 - u) * (width * right))
        result: FloatArray = np.where(u * width < left, rising, falling)
        return result

    def _scaled(self, factor: float) -> Distribution:
        return Triangular(self.low * factor, self.mode * factor, self.high * factor)


@functools.lru_cache(maxsize=4096)
def _truncated_moments(low: float, high: float) -> tuple[float, float]:
    """Return mean and standard deviation of a standard normal kept between two bounds.

    By Gauss-Legendre quadrature: the closed form subtracts nearly equal numbers for a narrow interval.
    """
    peak = min(max(0.0, low), high)
    first, last = max(low, peak - 12.0), min(high, peak + 12.0)
    nodes, weights = _quadrature()
    half = 0.5 * (last - first)
    z = first + half * (nodes + 1.0)
    mass = weights * np.exp(-0.5 * (z - peak) * (z + peak))
    mass /= mass.sum()
    mean = float(mass @ z)
    return mean, math.sqrt(float(mass @ (z - mean) ** 2))


@functools.lru_cache(maxsize=1)
def _quadrature() -> tuple[FloatArray, FloatArray]:
    nodes, weights = np.polynomial.legendre.leggauss(128)
    return nodes, weights


@dataclass(frozen=True, repr=False, init=False)
class TruncatedNormal(Distribution):
    """Normal kept between two bounds, drawn without rejection.

    Parameters
    ----------
    mean, sd : float
        Mean and standard deviation of the normal *before* truncation; ``mean()`` and ``sd()`` give those after it.
    low, high : float, optional
        Bounds; by default 0 and none.

    Raises
    ------
    ValueError
        A parameter is impossible, or less than a millionth of the normal lies between the bounds.
    """

    mean_value: float
    sd_value: float
    low: float
    high: float

    def __init__(self, mean: float, sd: float, low: float = 0.0, high: float = math.inf) -> None:
        object.__setattr__(self, "mean_value", float(mean))
        object.__setattr__(self, "sd_value", float(sd))
        object.__setattr__(self, "low", float(low))
        object.__setattr__(self, "high", float(high))
        _require(math.isfinite(self.mean_value), "mean", self.mean_value, "a finite number")
        _require(math.isfinite(self.sd_value) and self.sd_value >= 0, "sd", self.sd_value, "a number of at least 0")
        _require(not math.isnan(self.low) and self.low < math.inf, "low", self.low, "a number")
        _require(self.high >= self.low and self.high > -math.inf, "high", self.high, f"at least low = {self.low!r}")
        span = f"[{self.low!r}, {self.high!r}]"
        if self.sd_value == 0 or self.low == self.high:
            _require(self.low <= self.mean_value <= self.high, "mean", self.mean_value, f"a number in {span}")
        else:
            share = self._tail_shares()
            kept = share[1] - share[0]
            narrow = (self.high - self.low) < 1e-3 * self.sd_value  # a narrow interval about the mean is legitimate
            near = self.low - 5 * self.sd_value <= self.mean_value <= self.high + 5 * self.sd_value
            allowed = f"a mean and sd that put at least one draw in a million into {span}"
            _require(kept >= _LEAST_NORMAL_SHARE or (narrow and near), "mean", self.mean_value, allowed)

    def _bounds(self) -> tuple[float, float]:
        return (self.low - self.mean_value) / self.sd_value, (self.high - self.mean_value) / self.sd_value

    def _tail_shares(self) -> tuple[float, float]:
        """Return the normal's probabilities at the bounds, mirrored where both lie above the mean.

        The lower tail keeps its relative precision in floating point and the upper tail does not.
        """
        low, high = self._bounds()
        if low > 0:
            low, high = -high, -low
        return 0.5 * math.erfc(-low / math.sqrt(2.0)), 0.5 * math.erfc(-high / math.sqrt(2.0))

    @property
    def is_constant(self) -> bool:
        """Whether only one value can be drawn."""
        return self.sd_value == 0 or self.low == self.high

    def mean(self) -> float:
        """Return the mean after truncation."""
        if self.is_constant:
            return self.mean_value
        return self.mean_value + self.sd_value * _truncated_moments(*self._bounds())[0]

    def sd(self) -> float:
        """Return the standard deviation after truncation."""
        return 0.0 if self.is_constant else self.sd_value * _truncated_moments(*self._bounds())[1]

    def lower(self) -> float:
        """Return the lower bound."""
        return self.mean_value if self.is_constant else self.low

    def upper(self) -> float:
        """Return the upper bound."""
        return self.mean_value if self.is_constant else self.high

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of probabilities ``u``."""
        from scipy.special import ndtri

        u = np.asarray(u, dtype=np.float64)
        if self.is_constant:
            return np.full(u.shape, self.mean_value)
        below, above = self._tail_shares()
        mirrored = self._bounds()[0] > 0
        z = ndtri(below + ((1.0 - u) if mirrored else u) * (above - below))
        z = -z if mirrored else z
        result: FloatArray = np.clip(self.mean_value + self.sd_value * z, self.low, self.high)
        return result

    def _scaled(self, factor: float) -> Distribution:
        return TruncatedNormal(self.mean_value * factor, self.sd_value * factor, self.low * factor, self.high * factor)


@dataclass(frozen=True, repr=False, init=False)
class Lognormal(Distribution):
    """Lognormal: the usual shape of task times done by people.

    Parameters
    ----------
    mean : float
        Mean of the quantity itself (not of its logarithm), above 0.
    cv : float
        Standard deviation over mean of the quantity itself, at least 0.

    Raises
    ------
    ValueError
        A parameter is impossible.
    """

    mean_value: float
    cv: float

    def __init__(self, mean: float, cv: float) -> None:
        object.__setattr__(self, "mean_value", float(mean))
        object.__setattr__(self, "cv", float(cv))
        _check_mean_and_cv(self)

    def mean(self) -> float:
        """Return the mean."""
        return self.mean_value

    def sd(self) -> float:
        """Return the standard deviation."""
        return self.mean_value * self.cv

    def lower(self) -> float:
        """Return 0, or the mean when nothing varies."""
        return 0.0 if self.cv > 0 else self.mean_value

    def upper(self) -> float:
        """Return infinity, or the mean when nothing varies."""
        return math.inf if self.cv > 0 else self.mean_value

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of probabilities ``u``."""
        from scipy.special import ndtri

        u = np.asarray(u, dtype=np.float64)
        if self.cv == 0:
            return np.full(u.shape, self.mean_value)
        variance = math.log1p(self.cv * self.cv)
        result: FloatArray = np.exp(math.log(self.mean_value) - 0.5 * variance + math.sqrt(variance) * ndtri(u))
        return result

    def _scaled(self, factor: float) -> Distribution:
        return Lognormal(self.mean_value * factor, self.cv)


@dataclass(frozen=True, repr=False, init=False)
class Gamma(Distribution):
    """Gamma distribution (exponential at cv = 1, nearly normal for a small cv).

    Parameters
    ----------
    mean : float
        Mean, above 0.
    cv : float
        Standard deviation over mean, at least 0; the shape is 1 / cv^2.

    Raises
    ------
    ValueError
        A parameter is impossible.
    """

    mean_value: float
    cv: float

    def __init__(self, mean: float, cv: float) -> None:
        object.__setattr__(self, "mean_value", float(mean))
        object.__setattr__(self, "cv", float(cv))
        _check_mean_and_cv(self)

    def mean(self) -> float:
        """Return the mean."""
        return self.mean_value

    def sd(self) -> float:
        """Return the standard deviation."""
        return self.mean_value * self.cv

    def lower(self) -> float:
        """Return 0, or the mean when nothing varies."""
        return 0.0 if self.cv > 0 else self.mean_value

    def upper(self) -> float:
        """Return infinity, or the mean when nothing varies."""
        return math.inf if self.cv > 0 else self.mean_value

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of probabilities ``u``."""
        from scipy.special import gammaincinv

        u = np.asarray(u, dtype=np.float64)
        if self.cv == 0:
            return np.full(u.shape, self.mean_value)
        shape = 1.0 / (self.cv * self.cv)
        return np.asarray(gammaincinv(shape, u) * (self.mean_value / shape), dtype=np.float64)

    def _scaled(self, factor: float) -> Distribution:
        return Gamma(self.mean_value * factor, self.cv)


@dataclass(frozen=True, repr=False, init=False)
class Exponential(Distribution):
    """Exponential: times between breakdowns, and the theory's service times.

    Parameters
    ----------
    mean : float
        Mean, above 0.

    Raises
    ------
    ValueError
        The mean is not a number above 0.
    """

    mean_value: float

    def __init__(self, mean: float) -> None:
        object.__setattr__(self, "mean_value", float(mean))
        _check_finite(self)
        _require(self.mean_value > 0, "mean", self.mean_value, "a number above 0")

    def mean(self) -> float:
        """Return the mean."""
        return self.mean_value

    def sd(self) -> float:
        """Return the standard deviation, equal to the mean."""
        return self.mean_value

    def lower(self) -> float:
        """Return 0."""
        return 0.0

    def upper(self) -> float:
        """Return infinity."""
        return math.inf

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of probabilities ``u``."""
        with np.errstate(divide="ignore"):  # u = 1 is infinity, rightly
            result: FloatArray = -self.mean_value * np.log1p(-np.asarray(u, dtype=np.float64))
        return result

    def _scaled(self, factor: float) -> Distribution:
        return Exponential(self.mean_value * factor)


@dataclass(frozen=True, repr=False, init=False)
class Weibull(Distribution):
    """Weibull: lifetimes (shape above 1 is wear-out, below 1 early failures, 1 is exponential).

    Parameters
    ----------
    mean : float
        Mean, above 0.
    shape : float
        Shape, from 0.1 to 1000.

    Raises
    ------
    ValueError
        A parameter is impossible.
    """

    mean_value: float
    shape: float

    def __init__(self, mean: float, shape: float) -> None:
        object.__setattr__(self, "mean_value", float(mean))
        object.__setattr__(self, "shape", float(shape))
        _check_finite(self)
        _require(self.mean_value > 0, "mean", self.mean_value, "a number above 0")
        _require(0.1 <= self.shape <= 1000.0, "shape", self.shape, "a number from 0.1 to 1000")

    def _scale(self) -> float:
        return self.mean_value / math.gamma(1.0 + 1.0 / self.shape)

    def mean(self) -> float:
        """Return the mean."""
        return self.mean_value

    def sd(self) -> float:
        """Return the standard deviation."""
        first = math.lgamma(1.0 + 1.0 / self.shape)
        second = math.lgamma(1.0 + 2.0 / self.shape)
        return self.mean_value * math.sqrt(math.expm1(second - 2.0 * first))

    def lower(self) -> float:
        """Return 0."""
        return 0.0

    def upper(self) -> float:
        """Return infinity."""
        return math.inf

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of probabilities ``u``."""
        with np.errstate(divide="ignore"):  # u = 1 is infinity, rightly
            unit = -np.log1p(-np.asarray(u, dtype=np.float64))
        result: FloatArray = self._scale() * unit ** (1.0 / self.shape)
        return result

    def _scaled(self, factor: float) -> Distribution:
        return Weibull(self.mean_value * factor, self.shape)


@dataclass(frozen=True, repr=False)
class Empirical(Distribution):
    """Measured values, with straight lines between neighbours in the cumulative distribution.

    The cumulative distribution climbs from 0 at the least value to 1 at the greatest, by 1/(n-1) between sorted
    neighbours (Law, *Simulation Modeling and Analysis*, section on continuous empirical distributions; from memory).
    Nothing outside the range measured is drawn, and the mean is that of the lines: the two end values weigh half.

    Parameters
    ----------
    values : tuple of float
        At least one finite value, in any order; kept sorted.

    Raises
    ------
    ValueError
        There is no value, or one is not finite.
    """

    values: tuple[float, ...]

    def __post_init__(self) -> None:
        ordered = tuple(sorted(float(value) for value in self.values))
        if not ordered:
            raise ValueError("got no values; allowed is at least one finite number")
        for value in ordered:
            _require(math.isfinite(value), "a value", value, "a finite number")
        object.__setattr__(self, "values", ordered)
        object.__setattr__(self, "_hash", hash(ordered))

    def __hash__(self) -> int:
        """Return the hash made at creation: stopwatch lists are long and streams look them up often."""
        return int(self._hash)  # type: ignore[attr-defined]

    def mean(self) -> float:
        """Return the mean of what is drawn, not of the sample."""
        if len(self.values) == 1:
            return self.values[0]
        x = np.asarray(self.values)
        return float(np.mean(0.5 * (x[1:] + x[:-1])))

    def sd(self) -> float:
        """Return the standard deviation of what is drawn."""
        if len(self.values) == 1:
            return 0.0
        x = np.asarray(self.values) - self.mean()
        low, high = x[:-1], x[1:]
        return math.sqrt(float(np.mean(low * low + low * high + high * high)) / 3.0)

    def lower(self) -> float:
        """Return the least value."""
        return self.values[0]

    def upper(self) -> float:
        """Return the greatest value."""
        return self.values[-1]

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles of probabilities ``u``."""
        place = np.asarray(u, dtype=np.float64) * (len(self.values) - 1)
        return np.asarray(np.interp(place, np.arange(len(self.values)), self.values), dtype=np.float64)

    def _scaled(self, factor: float) -> Distribution:
        return Empirical(tuple(value * factor for value in self.values))
