"""Probability distributions of stochastic quantities, drawn by inverse transform.

Each is a small value that does not change: it can stand in a scenario, be hashed, pickled and compared. Parameters are
those that somebody with a stopwatch can state (a mean and a coefficient of variation), never a rate or a log-mean.
"""

from __future__ import annotations

import functools
import math
from abc import ABC, abstractmethod

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

_LEAST_NORMAL_SHARE = 1e-6
"""A truncation must keep this share of the normal: less is a mistyped bound, and beyond it rounding grows."""
WITHOUT_UNIT = ("cv", "shape")
"""Parameters that do not change with the unit; all others scale with the quantity."""


def _require(good: bool, name: str, got: object, allowed: str) -> None:
    if not good:
        raise ValueError(f"got {name} = {got!r}; allowed is {allowed}")


class Distribution(ABC):
    """Base of all distributions; the unit is that of the quantity described."""

    def __init__(self, *may_be_infinite: str, **given: float | tuple[float, ...]) -> None:
        self._given = {name: one if isinstance(one, tuple) else float(one) for name, one in given.items()}
        # made once: lists of measured values are long, and streams look them up often
        self._hash = hash(tuple(self._given.values()))
        self._mean = self._sd = self._lower = self._upper = math.nan
        for name, value in self._given.items():
            if isinstance(value, float) and name not in may_be_infinite:
                _require(math.isfinite(value), name, value, "a finite number")

    def _yields(self, mean: float, sd: float, lower: float = 0.0, upper: float = math.inf) -> None:
        """Note what is drawn; what does not vary is constant."""
        self._mean, self._sd = float(mean), float(sd)
        self._lower, self._upper = (float(lower), float(upper)) if sd > 0 else (self._mean, self._mean)

    def parameters(self) -> dict[str, float | tuple[float, ...]]:
        """Return the keyword arguments that make this distribution again."""
        return dict(self._given)

    def __eq__(self, other: object) -> bool:
        return type(other) is type(self) and self._given == other._given

    def __hash__(self) -> int:
        return self._hash

    def __repr__(self) -> str:
        return f"{type(self).__name__}({', '.join(f'{name}={value!r}' for name, value in self._given.items())})"

    def mean(self) -> float:
        """Return the mean of what is drawn (after any truncation)."""
        return self._mean

    def sd(self) -> float:
        """Return the standard deviation of what is drawn (after any truncation)."""
        return self._sd

    def lower(self) -> float:
        """Return the least value that can be drawn."""
        return self._lower

    def upper(self) -> float:
        """Return the greatest value that can be drawn; ``inf`` when there is none."""
        return self._upper

    @property
    def is_constant(self) -> bool:
        """Whether only one value can be drawn."""
        return self._lower == self._upper

    def ppf(self, u: ArrayLike) -> FloatArray:
        """Return the quantiles, in the shape of ``u``, of probabilities in [0, 1], which are not checked."""
        probabilities = np.asarray(u, dtype=np.float64)
        if self.is_constant:
            return np.full(probabilities.shape, self._lower)
        return np.asarray(self._quantiles(probabilities), dtype=np.float64)

    @abstractmethod
    def _quantiles(self, u: FloatArray) -> FloatArray: ...

    def scaled(self, factor: float) -> Distribution:
        """Return the distribution of ``factor`` (at least 0) times this quantity."""
        _require(math.isfinite(factor) and factor >= 0, "factor", factor, "a finite number of at least 0")
        if factor == 0:
            return Constant(0.0)
        made: dict[str, float | tuple[float, ...]] = {}
        for name, value in self._given.items():
            if isinstance(value, tuple):
                made[name] = tuple(one * factor for one in value)
            else:
                made[name] = value if name in WITHOUT_UNIT else value * factor
        return type(self)(**made)


def _of_mean(mean: float, cv: float = 0.0) -> None:
    _require(mean > 0, "mean", mean, "a number above 0")
    _require(cv >= 0, "cv", cv, "a number of at least 0")


class Constant(Distribution):
    """Always the same value."""

    def __init__(self, value: float) -> None:
        super().__init__(value=value)
        self._yields(value, 0.0)

    def _quantiles(self, u: FloatArray) -> FloatArray:
        return np.full(u.shape, self._lower)


class Uniform(Distribution):
    """Equally likely anywhere between two bounds."""

    def __init__(self, low: float, high: float) -> None:
        super().__init__(low=low, high=high)
        _require(high >= low, "high", high, f"a number of at least low = {low!r}")
        self._yields(0.5 * (low + high), (high - low) / math.sqrt(12.0), low, high)

    def _quantiles(self, u: FloatArray) -> FloatArray:
        return self._lower + (self._upper - self._lower) * u


class Triangular(Distribution):
    """Triangle between two bounds: what people mean by "usually 60, between 45 and 120"."""

    def __init__(self, low: float, mode: float, high: float) -> None:
        super().__init__(low=low, mode=mode, high=high)
        _require(mode >= low, "mode", mode, f"a number of at least low = {low!r}")
        _require(high >= mode, "high", high, f"a number of at least mode = {mode!r}")
        self._mode = mode
        left, right = mode - low, high - mode
        self._yields(
            (low + mode + high) / 3.0, math.sqrt((left * left + left * right + right * right) / 18.0), low, high
        )

    def _quantiles(self, u: FloatArray) -> FloatArray:
        low, high = self._lower, self._upper
        width, left, right = high - low, self._mode - low, high - self._mode
        rising, falling = low + np.sqrt(u * (width * left)), high - np.sqrt((1.0 - u) * (width * right))
        return np.where(u * width < left, rising, falling)


class TruncatedNormal(Distribution):
    """Normal kept between two bounds (0 and none by default), drawn without rejection.

    ``mean`` and ``sd`` are those of the normal *before* truncation; ``mean()`` and ``sd()`` give those after it.
    """

    def __init__(self, mean: float, sd: float, low: float = 0.0, high: float = math.inf) -> None:
        mean, sd, low, high = float(mean), float(sd), float(low), float(high)
        super().__init__("sd", "low", "high", mean=mean, sd=sd, low=low, high=high)
        _require(math.isfinite(sd) and sd >= 0, "sd", sd, "a number of at least 0")
        _require(not math.isnan(low) and low < math.inf, "low", low, "a number")
        _require(high >= low and high > -math.inf, "high", high, f"at least low = {low!r}")
        if sd == 0 or low == high:
            _require(low <= mean <= high, "mean", mean, f"a number in [{low!r}, {high!r}]")
            self._yields(mean, 0.0)
            return
        self._normal = mean, sd
        from_z, to_z = (low - mean) / sd, (high - mean) / sd
        # mirrored where both bounds lie above the mean: the lower tail keeps its relative precision, the upper not
        self._mirrored = from_z > 0
        tails = (-to_z, -from_z) if self._mirrored else (from_z, to_z)
        self._below, self._above = (0.5 * math.erfc(-z / math.sqrt(2.0)) for z in tails)
        narrow = (high - low) < 1e-3 * sd  # a narrow interval about the mean is legitimate
        near = low - 5 * sd <= mean <= high + 5 * sd
        allowed = f"a mean and sd that put at least one draw in a million into [{low!r}, {high!r}]"
        _require(self._above - self._below >= _LEAST_NORMAL_SHARE or (narrow and near), "mean", mean, allowed)
        centre, spread = _truncated_moments(from_z, to_z)
        self._yields(mean + sd * centre, sd * spread, low, high)

    def _quantiles(self, u: FloatArray) -> FloatArray:
        from scipy.special import ndtri

        mean, sd = self._normal
        z = ndtri(self._below + ((1.0 - u) if self._mirrored else u) * (self._above - self._below))
        return np.clip(mean + sd * (-z if self._mirrored else z), self._lower, self._upper)


@functools.lru_cache(maxsize=4096)
def _truncated_moments(low: float, high: float) -> tuple[float, float]:
    """Return mean and standard deviation of a standard normal kept between two bounds.

    By Gauss-Legendre quadrature: the closed form subtracts nearly equal numbers for a narrow interval.
    """
    peak = min(max(0.0, low), high)
    first, last = max(low, peak - 12.0), min(high, peak + 12.0)
    nodes, weights = _quadrature()
    z = first + 0.5 * (last - first) * (nodes + 1.0)
    mass = weights * np.exp(-0.5 * (z - peak) * (z + peak))
    mass /= mass.sum()
    mean = float(mass @ z)
    return mean, math.sqrt(float(mass @ (z - mean) ** 2))


@functools.cache
def _quadrature() -> tuple[FloatArray, FloatArray]:
    return np.polynomial.legendre.leggauss(128)


class Lognormal(Distribution):
    """Lognormal: the usual shape of task times done by people; mean and sd over mean of the quantity itself."""

    def __init__(self, mean: float, cv: float) -> None:
        super().__init__(mean=mean, cv=cv)
        _of_mean(mean, cv)
        self._yields(mean, mean * cv)
        self._variance = math.log1p(cv * cv)

    def _quantiles(self, u: FloatArray) -> FloatArray:
        from scipy.special import ndtri

        return np.exp(math.log(self._mean) - 0.5 * self._variance + math.sqrt(self._variance) * ndtri(u))


class Gamma(Distribution):
    """Gamma, of shape 1 / cv^2: exponential at cv = 1, nearly normal for a small cv."""

    def __init__(self, mean: float, cv: float) -> None:
        super().__init__(mean=mean, cv=cv)
        _of_mean(mean, cv)
        self._yields(mean, mean * cv)
        self._cv = cv

    def _quantiles(self, u: FloatArray) -> FloatArray:
        from scipy.special import gammaincinv

        shape = 1.0 / (self._cv * self._cv)
        return np.asarray(gammaincinv(shape, u) * (self._mean / shape))


class Exponential(Distribution):
    """Exponential: times between breakdowns, and the theory's service times."""

    def __init__(self, mean: float) -> None:
        super().__init__(mean=mean)
        _of_mean(mean)
        self._yields(mean, mean)

    def _quantiles(self, u: FloatArray) -> FloatArray:
        with np.errstate(divide="ignore"):  # u = 1 is infinity, rightly
            return -self._mean * np.log1p(-u)


class Weibull(Distribution):
    """Weibull: lifetimes (shape above 1 is wear-out, below 1 early failures, 1 is exponential)."""

    def __init__(self, mean: float, shape: float) -> None:
        super().__init__(mean=mean, shape=shape)
        _of_mean(mean)
        _require(0.1 <= shape <= 1000.0, "shape", shape, "a number from 0.1 to 1000")
        self._shape, self._scale = shape, mean / math.gamma(1.0 + 1.0 / shape)
        first, second = math.lgamma(1.0 + 1.0 / shape), math.lgamma(1.0 + 2.0 / shape)
        self._yields(mean, mean * math.sqrt(math.expm1(second - 2.0 * first)))

    def _quantiles(self, u: FloatArray) -> FloatArray:
        with np.errstate(divide="ignore"):  # u = 1 is infinity, rightly
            unit = -np.log1p(-u)
        return np.asarray(self._scale * unit ** (1.0 / self._shape))


class Empirical(Distribution):
    """Measured values, in any order, with straight lines between neighbours in the cumulative distribution.

    It climbs from 0 at the least value to 1 at the greatest, by 1/(n-1) between sorted neighbours (Law, *Simulation
    Modeling and Analysis*, section on continuous empirical distributions; from memory). Nothing outside the range
    measured is drawn, and the mean is that of the lines, not of the sample: the two end values weigh half.
    """

    def __init__(self, values: tuple[float, ...]) -> None:
        ordered = tuple(sorted(float(value) for value in values))
        if not ordered:
            raise ValueError("got no values; allowed is at least one finite number")
        super().__init__(values=ordered)
        for value in ordered:
            _require(math.isfinite(value), "a value", value, "a finite number")
        x = np.asarray(ordered)
        mean = float(np.mean(0.5 * (x[1:] + x[:-1]))) if len(x) > 1 else ordered[0]
        low, high = x[:-1] - mean, x[1:] - mean
        sd = math.sqrt(float(np.mean(low * low + low * high + high * high)) / 3.0) if len(x) > 1 else 0.0
        self._yields(mean, sd, ordered[0], ordered[-1])

    @property
    def values(self) -> tuple[float, ...]:
        """The values, sorted."""
        return self._given["values"]  # type: ignore[return-value]  # as made above

    def _quantiles(self, u: FloatArray) -> FloatArray:
        return np.interp(u * (len(self.values) - 1), np.arange(len(self.values)), self.values)


KINDS: dict[str, type[Distribution]] = {
    "constant": Constant,
    "uniform": Uniform,
    "triangular": Triangular,
    "normal": TruncatedNormal,
    "lognormal": Lognormal,
    "gamma": Gamma,
    "exponential": Exponential,
    "weibull": Weibull,
    "empirical": Empirical,
}
"""Distributions by the name that a scenario gives them, with the keys of their signatures."""
