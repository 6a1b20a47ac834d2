"""Distributions fitted to measured times, compared and tested."""

from __future__ import annotations

import math
from dataclasses import dataclass

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
    """A distribution fitted to values.

    Parameters
    ----------
    kind : str
        Family, ``"empirical"`` or ``"constant"``.
    distribution : Distribution
        What a scenario takes.
    aicc : dict
        Family to Akaike's criterion with small-sample correction, smaller is better; empty when no family was compared.
    statistic, p : float
        Anderson-Darling statistic of the family, and its p value with parameters fitted (simulated); NaN: not tested.
    why : str
        Why this one, in plain words.
    """

    kind: str
    distribution: Distribution
    aicc: dict[str, float]
    statistic: float
    p: float
    why: str


def fit_family(values: FloatArray, family: str) -> tuple[Distribution, float]:
    """Return a family's maximum-likelihood fit and its log-likelihood.

    Parameters
    ----------
    values : ndarray of float, shape (n,)
        Above 0, not all equal.
    family : str
        One of `FAMILIES`.

    Raises
    ------
    ValueError
        Another family, or a fit outside what a scenario takes.
    """
    from scipy import stats

    if family == "lognormal":
        logs = np.log(values)
        spread = float(logs.std())
        likelihood = stats.lognorm.logpdf(values, spread, 0.0, math.exp(float(logs.mean())))
        mean = math.exp(float(logs.mean()) + 0.5 * spread**2)
        return Lognormal(mean, math.sqrt(math.expm1(spread**2))), float(likelihood.sum())
    if family == "gamma":
        shape, _, scale = stats.gamma.fit(values, floc=0.0)
        likelihood = stats.gamma.logpdf(values, shape, 0.0, scale)
        return Gamma(float(shape * scale), 1.0 / math.sqrt(shape)), float(likelihood.sum())
    if family == "normal":
        mean, sd = float(values.mean()), float(values.std())
        if mean < 3.0 * sd:
            raise ValueError("got a normal that would often be below 0; allowed is a mean of at least 3 sd")
        return TruncatedNormal(mean, sd), float(stats.norm.logpdf(values, mean, sd).sum())
    if family == "weibull":
        shape, _, scale = stats.weibull_min.fit(values, floc=0.0)
        likelihood = stats.weibull_min.logpdf(values, shape, 0.0, scale)
        return Weibull(float(scale * math.gamma(1.0 + 1.0 / shape)), float(shape)), float(likelihood.sum())
    if family == "exponential":
        mean = float(values.mean())
        return Exponential(mean), float(stats.expon.logpdf(values, 0.0, mean).sum())
    raise ValueError(f"got family {family!r}; allowed is one of {', '.join(FAMILIES)}")


def aicc(likelihood: float, parameters: int, n: int) -> float:
    """Return Akaike's criterion with the small-sample correction of Hurvich & Tsai (1989).

    Parameters
    ----------
    likelihood : float
        Largest log-likelihood.
    parameters, n : int
        Fitted parameters and values.
    """
    extra = 2.0 * parameters * (parameters + 1) / (n - parameters - 1) if n > parameters + 1 else math.inf
    return 2.0 * parameters - 2.0 * likelihood + extra


def goodness(values: FloatArray, family: str, seed: int) -> tuple[float, float]:
    """Return the Anderson-Darling statistic of a family and its p value.

    The parameters are fitted to the same values, so the p value comes from refitting simulated samples
    (``scipy.stats.goodness_of_fit``; Stute, Gonzales Manteiga & Presedo Quindimil 1993).

    Parameters
    ----------
    values : ndarray of float
        Above 0.
    family : str
        One of `FAMILIES`.
    seed : int
        Seed of the simulated samples.
    """
    from scipy import stats

    known = {
        "lognormal": stats.lognorm,
        "gamma": stats.gamma,
        "normal": stats.norm,
        "weibull": stats.weibull_min,
        "exponential": stats.expon,
    }
    result = stats.goodness_of_fit(
        known[family],
        values,
        known_params={} if family == "normal" else {"loc": 0.0},
        statistic="ad",
        n_mc_samples=MONTE_CARLO,
        rng=np.random.default_rng(seed),
    )
    return float(result.statistic), float(result.pvalue)


def fit_shape(values: FloatArray, kind: str = "auto", seed: int = 1) -> Shape:
    """Fit a distribution to measured values.

    Parameters
    ----------
    values : ndarray of float, shape (n,)
        At least one, all above 0.
    kind : str, optional
        One of `KINDS`; "auto" takes the family with the least AICc, and the values themselves where that is rejected.
    seed : int, optional
        Seed of the test's simulated samples.

    Raises
    ------
    ValueError
        Values or kind are out of range.
    """
    x = np.sort(np.asarray(values, dtype=np.float64))
    if x.ndim != 1 or not len(x) or not (np.isfinite(x) & (x > 0)).all() or kind not in KINDS:
        raise ValueError(
            f"got {len(x)} values, kind {kind!r}; allowed are values above 0 and one of {', '.join(KINDS)}"
        )
    n = len(x)
    if kind == "empirical" and n >= 2:
        return Shape("empirical", Empirical(tuple(x)), {}, math.nan, math.nan, "as asked: the values themselves")
    if n == 1 or float(x[-1] - x[0]) <= 1e-9 * float(x[-1]):
        why = "one value only" if n == 1 else "all values are the same"
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
