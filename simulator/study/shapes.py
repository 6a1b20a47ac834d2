"""Distributions fitted to measured times, compared and tested."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.scenario.distributions import (
    Constant,
    Distribution,
    Empirical,
    Exponential,
    Gamma,
    Lognormal,
    TruncatedNormal,
    Weibull,
)

FloatArray = NDArray[np.float64]
FAMILIES = ("lognormal", "gamma", "normal", "weibull", "exponential")
"""Families tried, the usual shape of people's task times first: it wins ties."""
KINDS = ("auto", "empirical", *FAMILIES)
FEWEST_FOR_SHAPE = 8
"""With fewer values a shape cannot be told; a lognormal with their mean and spread is taken. An assumption."""
FEWEST_FOR_EMPIRICAL = 20
"""With fewer values the values themselves leave out the tails. An assumption."""
REJECT_AT = 0.05
MONTE_CARLO = 299


@dataclass(frozen=True)
class Shape:
    """A distribution fitted to values."""

    kind: str
    distribution: Distribution
    aicc: dict[str, float]
    statistic: float
    p: float
    why: str


def gamma_shape(values: FloatArray) -> float:
    """Return a gamma's maximum-likelihood shape, ``ln k - digamma(k) = ln mean - mean ln`` (Law; from memory)."""
    from scipy.optimize import brentq
    from scipy.special import psi

    gap = math.log(float(values.mean())) - float(np.mean(np.log(values)))
    # 1/2k < ln k - digamma(k) < 1/k brackets the root
    return float(brentq(lambda k: math.log(k) - float(psi(k)) - gap, 0.4 / gap, 1.1 / gap))


def weibull_shape(values: FloatArray) -> float:
    """Return a Weibull's: ``sum x^c ln x / sum x^c - 1/c = mean ln x`` (Law, input modeling; from memory)."""
    from scipy.optimize import brentq

    logs = np.log(values / float(values.max()))
    mean = float(logs.mean())

    def equation(c: float) -> float:
        powers = np.exp(c * logs)
        return float(powers @ logs / powers.sum()) - 1.0 / c - mean

    return float(brentq(equation, 1e-2, 1e6))


def _frozen(values: FloatArray, family: str) -> Any:
    """Return scipy's distribution with the family's maximum-likelihood parameters."""
    from scipy import stats

    mean = float(values.mean())
    match family:
        case "lognormal":
            logs = np.log(values)
            return stats.lognorm(float(logs.std()), 0.0, math.exp(float(logs.mean())))
        case "gamma":
            shape = gamma_shape(values)
            return stats.gamma(shape, 0.0, mean / shape)
        case "normal":
            return stats.norm(mean, float(values.std()))
        case "weibull":
            shape = weibull_shape(values)
            # over the largest value, so that a high power cannot overflow
            top = float(values.max())
            return stats.weibull_min(shape, 0.0, top * float(np.mean((values / top) ** shape)) ** (1.0 / shape))
        case "exponential":
            return stats.expon(0.0, mean)
    raise ValueError(f"got family {family!r}; allowed is one of {', '.join(FAMILIES)}")


def fit_family(values: FloatArray, family: str) -> tuple[Distribution, float]:
    """Return a family's maximum-likelihood fit and its log-likelihood."""
    frozen = _frozen(values, family)
    mean, sd = float(frozen.mean()), float(frozen.std())
    found: dict[str, Callable[[], Distribution]] = {
        "lognormal": lambda: Lognormal(mean, sd / mean),
        "gamma": lambda: Gamma(mean, sd / mean),
        "weibull": lambda: Weibull(mean, float(frozen.args[0])),
        "exponential": lambda: Exponential(mean),
        "normal": lambda: TruncatedNormal(mean, sd),
    }
    if family == "normal" and mean < 3.0 * sd:
        raise ValueError("got a normal that would often be below 0; allowed is a mean of at least 3 sd")
    return found[family](), float(np.sum(frozen.logpdf(values)))


def aicc(likelihood: float, parameters: int, n: int) -> float:
    """Return Akaike's criterion with the small-sample correction of Hurvich & Tsai (1989)."""
    extra = 2.0 * parameters * (parameters + 1) / (n - parameters - 1) if n > parameters + 1 else math.inf
    return 2.0 * parameters - 2.0 * likelihood + extra


def anderson_darling(share: FloatArray) -> float:
    """Return ``-n - mean((2i - 1) (ln u_i + ln(1 - u_(n + 1 - i))))`` (Anderson & Darling 1954, JASA 49:765-769)."""
    n = len(share)
    u = np.clip(share, 1e-300, 1.0 - 1e-16)
    weights = 2.0 * np.arange(1, n + 1) - 1.0
    return float(-n - np.mean(weights * (np.log(u) + np.log1p(-u[::-1]))))


def goodness(values: FloatArray, family: str, seed: int) -> tuple[float, float]:
    """Return the Anderson-Darling statistic of a family and its p value, refitting simulated samples (Stute 1993)."""
    x = np.sort(values)
    fitted = _frozen(x, family)
    statistic = anderson_darling(fitted.cdf(x))
    rng = np.random.default_rng(seed)
    worse = 0
    for _ in range(MONTE_CARLO):
        sample = np.sort(fitted.rvs(len(x), random_state=rng))
        worse += anderson_darling(_frozen(sample, family).cdf(sample)) >= statistic
    return statistic, (1.0 + worse) / (1.0 + MONTE_CARLO)


def fit_shape(values: FloatArray, kind: str = "auto", seed: int = 1) -> Shape:
    """Fit a distribution to measured values."""
    x = np.sort(np.asarray(values, dtype=np.float64))
    if x.ndim != 1 or not len(x) or not (np.isfinite(x) & (x > 0)).all() or kind not in KINDS:
        allowed = f"allowed are values above 0 and one of {', '.join(KINDS)}"
        raise ValueError(f"got {len(x)} values, kind {kind!r}; {allowed}")
    n, mean, auto = len(x), float(x.mean()), kind == "auto"

    def plain(name: str, distribution: Distribution, why: str) -> Shape:
        return Shape(name, distribution, {}, math.nan, math.nan, why)

    if kind == "empirical" and n >= 2:
        return plain("empirical", Empirical(tuple(x)), "as asked: the values themselves")
    if n == 1 or float(x[-1] - x[0]) <= 1e-4 * float(x[-1]):
        why = "one value only" if n == 1 else "all values are the same to one part in 10 000"
        return plain("constant", Constant(mean), why)
    if auto and n < FEWEST_FOR_SHAPE:
        why = f"too few values ({n}) to tell a shape; mean and spread are those measured"
        return plain("lognormal", Lognormal(mean, float(x.std(ddof=1) / x.mean())), why)
    found: dict[str, Distribution] = {}
    scores: dict[str, float] = {}
    for family in FAMILIES if auto else (kind,):
        try:
            found[family], likelihood = fit_family(x, family)
        except ValueError:
            continue
        scores[family] = aicc(likelihood, 1 if family == "exponential" else 2, n)
    if not found:
        raise ValueError(f"got values that no {kind} fits; allowed is another kind, such as 'auto'")
    best = min(scores, key=lambda family: scores[family])
    statistic, p = goodness(x, best, seed) if n >= FEWEST_FOR_SHAPE else (math.nan, math.nan)
    if auto and p < REJECT_AT and n >= FEWEST_FOR_EMPIRICAL:
        why = f"no family fits (best {best}, p = {p:.2g}); the values themselves"
        return Shape("empirical", Empirical(tuple(x)), scores, statistic, p, why)
    poorly = f", but it fits poorly (p = {p:.2g})" if p < REJECT_AT else ""
    return Shape(best, found[best], scores, statistic, p, f"{'least AICc' if auto else 'as asked'}{poorly}")
