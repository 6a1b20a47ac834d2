"""Distributions against the reference library scipy.stats and against their own definition."""

from __future__ import annotations

import math
import pickle

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import integrate, stats

from simulator.scenario.distributions import (
    Constant,
    Distribution,
    Empirical,
    Exponential,
    Gamma,
    Lognormal,
    Triangular,
    TruncatedNormal,
    Uniform,
    Weibull,
)

U = np.concatenate((np.linspace(0.001, 0.999, 201), [1e-9, 1 - 1e-9]))


def lognormal_reference(mean, cv):
    sigma = math.sqrt(math.log(1 + cv**2))
    return stats.lognorm(s=sigma, scale=mean / math.sqrt(1 + cv**2))


def normal_reference(mean, sd, low=0.0, high=math.inf):
    return stats.truncnorm((low - mean) / sd, (high - mean) / sd, loc=mean, scale=sd)


CASES = [
    (Uniform(2.0, 5.0), stats.uniform(2.0, 3.0)),
    (Triangular(45.0, 60.0, 120.0), stats.triang(15 / 75, loc=45, scale=75)),
    (Triangular(45.0, 45.0, 120.0), stats.triang(0.0, loc=45, scale=75)),
    (Triangular(45.0, 120.0, 120.0), stats.triang(1.0, loc=45, scale=75)),
    (TruncatedNormal(10.0, 3.0), normal_reference(10, 3)),
    (TruncatedNormal(10.0, 8.0, 2.0, 11.0), normal_reference(10, 8, 2, 11)),
    (TruncatedNormal(10.0, 3.0, 14.0, 30.0), normal_reference(10, 3, 14, 30)),
    (TruncatedNormal(10.0, 3.0, 22.0), normal_reference(10, 3, 22)),
    (TruncatedNormal(-10.0, 4.0, 0.0), normal_reference(-10, 4, 0)),
    (TruncatedNormal(30.0, 5.0, 0.0, 15.0), normal_reference(30, 5, 0, 15)),
    (Lognormal(70.0, 0.3), lognormal_reference(70, 0.3)),
    (Lognormal(2.0, 2.5), lognormal_reference(2, 2.5)),
    (Gamma(70.0, 0.3), stats.gamma(1 / 0.09, scale=70 * 0.09)),
    (Gamma(70.0, 1.0), stats.expon(scale=70)),
    (Gamma(5.0, 2.0), stats.gamma(0.25, scale=20.0)),
    (Exponential(12.0), stats.expon(scale=12)),
    (Weibull(100.0, 1.7), stats.weibull_min(1.7, scale=100 / math.gamma(1 + 1 / 1.7))),
    (Weibull(100.0, 0.6), stats.weibull_min(0.6, scale=100 / math.gamma(1 + 1 / 0.6))),
]
ALL = [
    Constant(3.0),
    Empirical((62.0, 71.0, 58.0, 90.0)),
    Lognormal(70.0, 0.0),
    TruncatedNormal(5.0, 0.0),
    *[case[0] for case in CASES],
]


@pytest.mark.parametrize(
    ("distribution", "reference"), CASES, ids=lambda case: repr(case) if isinstance(case, Distribution) else ""
)
def test_against_scipy(distribution, reference):
    assert distribution.ppf(U) == pytest.approx(reference.ppf(U), rel=1e-7)
    assert distribution.mean() == pytest.approx(float(reference.mean()), rel=1e-9)
    assert distribution.sd() == pytest.approx(float(reference.std()), rel=1e-6)
    low, high = reference.support()
    assert distribution.lower() == pytest.approx(low)
    assert distribution.upper() == pytest.approx(high)


@pytest.mark.parametrize("distribution", ALL, ids=repr)
def test_moments_are_those_of_the_quantile_function(distribution):
    """Mean and deviation by integrating the quantile function: no other library needed."""
    # the substitution u = Phi(z) tames the tails
    z = np.linspace(-8.0, 8.0, 200_001)
    values, weight = distribution.ppf(stats.norm.cdf(z)), stats.norm.pdf(z)
    mean, square = (integrate.trapezoid(values**power * weight, z) for power in (1, 2))
    assert distribution.mean() == pytest.approx(mean, rel=1e-4)
    assert distribution.sd() ** 2 == pytest.approx(square - mean**2, rel=5e-3, abs=1e-6 * mean**2)


@pytest.mark.parametrize("distribution", ALL, ids=repr)
def test_every_distribution_behaves(distribution):
    u = np.linspace(0.0, 1.0, 101)
    values = distribution.ppf(u.reshape(1, 101))
    assert values.shape == (1, 101)
    assert values.dtype == np.float64
    assert np.all(np.diff(values[0][:-1]) >= 0)
    assert values[0, 0] == pytest.approx(distribution.lower())
    assert np.all(values >= distribution.lower() - 1e-12)
    assert np.all(values <= distribution.upper() + 1e-12)
    assert distribution.is_constant == (distribution.sd() == 0)
    assert isinstance(distribution.mean(), float)
    again = pickle.loads(pickle.dumps(distribution))
    assert again == distribution
    assert hash(again) == hash(distribution)
    assert type(distribution)(**distribution.parameters()) == distribution
    assert repr(distribution).startswith(type(distribution).__name__ + "(")


@pytest.mark.parametrize("distribution", ALL, ids=repr)
@pytest.mark.parametrize("factor", [0.25, 3.0])
def test_scaled(distribution, factor):
    scaled = distribution.scaled(factor)
    assert scaled.ppf(U) == pytest.approx(factor * distribution.ppf(U))
    assert scaled.mean() == pytest.approx(factor * distribution.mean())
    assert scaled.sd() == pytest.approx(factor * distribution.sd())
    assert distribution.scaled(0.0) == Constant(0.0)


def test_scaled_refuses_what_is_no_factor():
    for factor in (-1.0, math.nan, math.inf):
        with pytest.raises(ValueError, match="factor"):
            Constant(1.0).scaled(factor)


def test_empirical_lines_between_values():
    """Law's continuous empirical distribution (from memory): 1/(n-1) between neighbours, ends weigh half."""
    distribution = Empirical((4.0, 1.0, 2.0))
    assert distribution.values == (1.0, 2.0, 4.0)
    assert distribution.ppf(np.array([0.0, 0.25, 0.5, 0.75, 1.0])).tolist() == [1.0, 1.5, 2.0, 3.0, 4.0]
    assert distribution.mean() == pytest.approx(0.5 * (1.5 + 3.0))
    assert Empirical((4.0, 1.0, 2.0)) == Empirical((1.0, 2.0, 4.0))
    assert Empirical((7.0,)).is_constant
    assert Empirical((7.0,)).ppf(np.array([0.3])).tolist() == [7.0]
    assert Empirical((7.0, 7.0)).mean() == 7.0


def test_narrow_truncation_keeps_its_digits():
    """Between close bounds a normal is nearly uniform: the textbook formula loses every digit here."""
    distribution = TruncatedNormal(10.0, 1e6, 9.0, 11.0)
    assert distribution.mean() == pytest.approx(10.0, rel=1e-12)
    assert distribution.sd() == pytest.approx(2 / math.sqrt(12), rel=1e-9)


@settings(max_examples=100, deadline=None)
@given(st.floats(-50, 50), st.floats(0.01, 50), st.floats(-50, 50), st.floats(0.01, 100))
def test_truncated_normal_never_leaves_its_bounds(mean, sd, low, width):
    try:
        distribution = TruncatedNormal(mean, sd, low, low + width)
    except ValueError:
        return
    values = distribution.ppf(np.linspace(0, 1, 51))
    assert np.all((values >= low) & (values <= low + width))
    assert np.all(np.diff(values) >= -1e-12)
    assert low <= distribution.mean() <= low + width
    assert distribution.sd() <= width / 2


@pytest.mark.parametrize(
    ("make", "names"),
    [
        (lambda: Constant(math.nan), "value"), (lambda: Uniform(2.0, 1.0), "high"),
        (lambda: Uniform(0.0, math.inf), "high"), (lambda: Triangular(1.0, 0.5, 2.0), "mode"),
        (lambda: Triangular(1.0, 2.5, 2.0), "high"), (lambda: TruncatedNormal(10.0, -1.0), "sd"),
        (lambda: TruncatedNormal(10.0, 1.0, 5.0, 4.0), "high"),
        (lambda: TruncatedNormal(10.0, 1.0, 60.0), "mean"), (lambda: TruncatedNormal(10.0, 0.0, 60.0), "mean"),
        (lambda: TruncatedNormal(math.inf, 1.0), "mean"), (lambda: TruncatedNormal(1.0, 1.0, math.nan), "low"),
        (lambda: Lognormal(0.0, 0.3), "mean"), (lambda: Lognormal(70.0, -0.3), "cv"),
        (lambda: Gamma(-1.0, 0.3), "mean"), (lambda: Gamma(1.0, math.nan), "cv"),
        (lambda: Exponential(0.0), "mean"), (lambda: Weibull(1.0, 0.0), "shape"),
        (lambda: Weibull(0.0, 1.0), "mean"), (lambda: Empirical(()), "values"),
        (lambda: Empirical((1.0, math.inf)), "value"),
    ],
)  # fmt: skip
def test_impossible_parameters_are_refused(make, names):
    with pytest.raises(ValueError, match=rf"got .*{names}.*allowed is"):
        make()


def test_module_needs_no_scipy():
    """Importing scipy takes longer than a small study: it must wait until a distribution needs it."""
    import subprocess
    import sys

    code = "import sys, simulator.scenario.streams, simulator.experiment.estimates; print('scipy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
