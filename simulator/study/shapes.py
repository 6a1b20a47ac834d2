"""Distributions fitted to measured times, compared and tested."""

from __future__ import annotations

import math
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
    """Return the maximum-likelihood shape of a gamma: ``ln k - digamma(k) = ln mean - mean ln``.

    Source: the likelihood equation (Law, *Simulation Modeling and Analysis*, chapter on input modeling; from memory).
    """
    from scipy.optimize import brentq
    from scipy.special import psi

    gap = math.log(float(values.mean())) - float(np.mean(np.log(values)))
    # 1/2k < ln k - digamma(k) < 1/k brackets the root
    return float(brentq(lambda k: math.log(k) - float(psi(k)) - gap, 0.4 / gap, 1.1 / gap))


def weibull_shape(values: FloatArray) -> float:
    """Return the maximum-likelihood shape of a Weibull: ``sum x^c ln x / sum x^c - 1/c = mean ln x``.

    Source: as `gamma_shape`.
    """
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

    if family == "lognormal":
        logs = np.log(values)
        return stats.lognorm(float(logs.std()), 0.0, math.exp(float(logs.mean())))
    if family == "gamma":
        shape = gamma_shape(values)
        return stats.gamma(shape, 0.0, float(values.mean()) / shape)
    if family == "normal":
        return stats.norm(float(values.mean()), float(values.std()))
    if family == "weibull":
        shape = weibull_shape(values)
        # over the largest value, so that a high power cannot overflow
        top = float(values.max())
        return stats.weibull_min(shape, 0.0, top * float(np.mean((values / top) ** shape)) ** (1.0 / shape))
    if family == "exponential":
        return stats.expon(0.0, float(values.mean()))
    raise ValueError(f"got family {family!r}; allowed is one of {', '.join(FAMILIES)}")


def fit_family(values: FloatArray, family: str) -> tuple[Distribution, float]:
    """Return a family's maximum-likelihood fit and its log-likelihood."""
    frozen = _frozen(values, family)
    likelihood = float(np.sum(frozen.logpdf(values)))
    mean, sd = float(frozen.mean()), float(frozen.std())
    if family == "lognormal":
        return Lognormal(mean, sd / mean), likelihood
    if family == "gamma":
        return Gamma(mean, sd / mean), likelihood
    if family == "weibull":
        return Weibull(mean, float(frozen.args[0])), likelihood
    if family == "exponential":
        return Exponential(mean), likelihood
    if mean < 3.0 * sd:
        raise ValueError("got a normal that would often be below 0; allowed is a mean of at least 3 sd")
    return TruncatedNormal(mean, sd), likelihood


def aicc(likelihood: float, parameters: int, n: int) -> float:
    """Return Akaike's criterion with the small-sample correction of Hurvich & Tsai (1989)."""
    extra = 2.0 * parameters * (parameters + 1) / (n - parameters - 1) if n > parameters + 1 else math.inf
    return 2.0 * parameters - 2.0 * likelihood + extra


def anderson_darling(share: FloatArray) -> float:
    """Return the Anderson-Darling statistic ``-n - mean((2i - 1) (ln u_i + ln(1 - u_(n + 1 - i))))``.

    Source: Anderson & Darling 1954, J. Am. Stat. Assoc. 49:765-769.
    """
    n = len(share)
    u = np.clip(share, 1e-300, 1.0 - 1e-16)
    weights = 2.0 * np.arange(1, n + 1) - 1.0
    return float(-n - np.mean(weights * (np.log(u) + np.log1p(-u[::-1]))))


def goodness(values: FloatArray, family: str, seed: int) -> tuple[float, float]:
    """Return the Anderson-Darling statistic of a family and its p value.

    The parameters are fitted to the same values, so the p value comes from refitting simulated samples (parametric
    bootstrap; Stute, Gonzales Manteiga & Presedo Quindimil 1993).
    """
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
        raise ValueError(
            f"got {len(x)} values, kind {kind!r}; allowed are values above 0 and one of {', '.join(KINDS)}"
        )
    n = len(x)
    if kind == "empirical" and n >= 2:
        return Shape("empirical", Empirical(tuple(x)), {}, math.nan, math.nan, "as asked: the values themselves")
    if n == 1 or float(x[-1] - x[0]) <= 1e-4 * float(x[-1]):
        why = "one value only" if n == 1 else "all values are the same to one part in 10 000"
        return Shape("constant", Constant(float(x.mean())), {}, math.nan, math.nan, why)
    if kind == "auto" and n < FEWEST_FOR_SHAPE:
        cv = float(x.std(ddof=1) / x.mean())
        why = f"too few values ({n}) to tell a shape; mean and spread are those measured"
        return Shape("lognormal", Lognormal(float(x.mean()), cv), {}, math.nan, math.nan, why)
    found: dict[str, Distribution] = {}
    scores: dict[str, float] = {}
    for family in FAMILIES if kind == "auto" else (kind,):
        try:
            found[family], likelihood = fit_family(x, family)
        except ValueError:
            continue
        scores[family] = aicc(likelihood, 1 if family == "exponential" else 2, n)
    if not found:
        raise ValueError(f"got values that no {kind} fits; allowed is another kind, such as 'auto'")
    best = min(scores, key=lambda family: scores[family])
    statistic, p = goodness(x, best, seed) if n >= FEWEST_FOR_SHAPE else (math.nan, math.nan)
    if kind == "auto" and p < REJECT_AT and n >= FEWEST_FOR_EMPIRICAL:
        why = f"no family fits (best {best}, p = {p:.2g}); the values themselves"
        return Shape("empirical", Empirical(tuple(x)), scores, statistic, p, why)
    why = "as asked" if kind != "auto" else "least AICc"
    if p < REJECT_AT:
        why += f", but it fits poorly (p = {p:.2g})"
    return Shape(best, found[best], scores, statistic, p, why)
