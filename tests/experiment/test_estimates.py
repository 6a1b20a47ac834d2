"""Estimates against published worked examples, and their coverage."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.analysis.digits import format_estimate, supported_decimals
from simulator.experiment.estimates import (
    independent_interval,
    mean_interval,
    paired_interval,
    quantile_interval,
    quantile_ranks,
    ratio_interval,
    replications_needed,
    student_quantile,
)

INVENTORY = ([126.97, 124.31, 126.68, 122.66, 127.23], [118.21, 120.22, 122.45, 122.68, 119.40])


def with_moments(mean, sd, n):
    """Return n numbers with exactly this mean and standard deviation."""
    x = np.arange(n, dtype=float)
    return mean + sd * (x - x.mean()) / x.std(ddof=1)


def test_paired_t_rossetti():
    """Rossetti, Simulation Modeling and Arena, chapter 4: n 10, mean 2.22, s .55 -> ±.393, [1.827, 2.613]."""
    differences = with_moments(2.22, 0.55, 10)
    base = np.random.default_rng(1).normal(size=10)
    result = paired_interval(base + differences, base)
    assert result.mean == pytest.approx(2.22)
    assert result.half_width == pytest.approx(0.393, abs=0.0005)
    assert (result.low, result.high) == pytest.approx((1.827, 2.613), abs=0.0006)
    assert result.n == 10


def test_pooled_t_rossetti():
    """Same chapter, independent samples: 9.76/.74/10 against 9.10/.50/12 -> .66 ± .553."""
    result = independent_interval(with_moments(9.76, 0.74, 10), with_moments(9.10, 0.50, 12))
    assert result.mean == pytest.approx(0.66)
    assert result.half_width == pytest.approx(0.553, abs=0.0006)


def test_paired_t_law():
    """Law, Simulation Modeling and Analysis, inventory example (from memory): 4.98, 2.44, 90 % [1.65, 8.31]."""
    result = paired_interval(*INVENTORY, level=0.90)
    assert result.mean == pytest.approx(4.98, abs=0.005)
    assert np.var(np.subtract(*INVENTORY), ddof=1) / 5 == pytest.approx(2.44, abs=0.005)
    assert (result.low, result.high) == pytest.approx((1.65, 8.31), abs=0.005)
    assert result.a_wins_share == 0.8  # all but the fourth pair


def test_selection_data_intervals():
    """KSL Book chapter 5: 95 % intervals of two differences."""
    one = [63.72, 32.24, 40.28, 36.94, 36.29, 56.94, 34.10, 63.36, 49.29, 87.20]
    three = [57.74, 29.65, 36.52, 35.71, 33.81, 51.54, 31.39, 57.24, 42.63, 67.27]
    four = [62.63, 31.56, 39.87, 37.35, 36.65, 57.15, 33.30, 62.21, 47.46, 79.60]
    first, second = paired_interval(one, three), paired_interval(three, four)
    assert (first.low, first.high) == pytest.approx((1.867, 9.505), abs=0.0006)
    assert (second.low, second.high) == pytest.approx((-6.673, -2.183), abs=0.0006)
    assert (first.a_wins_share, second.a_wins_share) == (1.0, 0.0)


def test_ties_count_half():
    same = paired_interval([1.0, 2.0, 3.0], [1.0, 2.0, 3.0])
    assert (same.mean, same.low, same.high, same.a_wins_share) == (0.0, 0.0, 0.0, 0.5)
    assert paired_interval([1.0, 2.0, 3.0, 9.0], [1.0, 3.0, 2.0, 1.0]).a_wins_share == 0.625


def test_one_value_gives_no_interval():
    result = mean_interval([5.0])
    assert (result.mean, result.low, result.high, result.half_width, result.n) == (5.0, None, None, None, 1)


def test_replications_needed():
    """Rossetti, chapter 3: a pilot of 5 with half-width 9.09 asks for 209 replications to come down to 1.

    Law, bank example (from memory): n 10, mean 2.03, S^2 .31, 90 %: absolute .25 -> 16, relative .10 -> 27.
    """
    s0 = 9.09 * math.sqrt(5) / student_quantile(0.975, 4)
    assert s0 == pytest.approx(7.3208, abs=0.00005)
    assert replications_needed(s0, 1.0) == 209
    assert replications_needed(math.sqrt(0.31), 0.25, 0.90) == 16
    assert replications_needed(math.sqrt(0.31), 0.10 / 1.10 * 2.03, 0.90) == 27


@pytest.mark.parametrize(
    ("n", "p", "ranks", "coverage"),
    [
        (6, 0.5, (1, 6), 0.969), (9, 0.5, (2, 8), 0.961), (10, 0.5, (2, 9), 0.979), (12, 0.5, (3, 10), 0.961),
        (15, 0.5, (4, 12), 0.965), (17, 0.5, (5, 13), 0.951), (20, 0.5, (6, 15), 0.959), (50, 0.1, (1, 10), 0.970),
        (100, 0.1, (5, 17), 0.956), (100, 0.9, (84, 96), 0.956), (200, 0.05, (4, 17), 0.967),
    ],
)  # fmt: skip
def test_quantile_ranks(n, p, ranks, coverage):
    """Published table of median intervals by order statistics; the rows for other quantiles are own arithmetic."""
    assert quantile_ranks(n, p) == ranks
    direct = sum(math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(ranks[0], ranks[1]))
    assert direct == pytest.approx(coverage, abs=0.0006)


def test_quantile_interval():
    x = np.random.default_rng(3).permutation(np.arange(1.0, 101.0))
    result = quantile_interval(x, 0.1)
    assert (result.estimate, result.low, result.high) == (pytest.approx(10.9), 5.0, 17.0)
    few = quantile_interval(x[:30], 0.1)
    assert few.low is None  # 30 values have no lower limit for P10
    assert few.high is not None
    assert quantile_interval(x[:30], 0.9).high is None
    assert quantile_interval([4.0], 0.5) == (4.0, None, None)


@given(st.integers(1, 400), st.floats(0.01, 0.99), st.floats(0.5, 0.999))
def test_quantile_ranks_reach_their_level(n, p, level):
    """Each tail is no more than half of what is left, and one rank further in would be too much."""
    low, high = quantile_ranks(n, p, level)
    tail = (1 - level) / 2
    below = np.cumsum([math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(n + 1)])
    if low is None:
        assert below[0] > tail - 1e-12
    else:
        assert below[low - 1] <= tail + 1e-9
        assert below[low] > tail - 1e-9
    if high is None:
        assert 1 - below[n - 1] > tail - 1e-12
    else:
        assert 1 - below[high - 1] <= tail + 1e-9
        assert high == 1 or 1 - below[high - 2] > tail - 1e-9


def share_covered(make, truth, runs=1500):
    inside = 0
    for _ in range(runs):
        result = make()
        inside += result.low <= truth <= result.high
    return inside / runs


def test_coverage_of_the_intervals():
    """Normal data: the t interval covers 90 % of the time within 4 standard errors; order statistics at least that."""
    rng = np.random.default_rng(12)
    error = 4 * math.sqrt(0.9 * 0.1 / 1500)
    assert share_covered(lambda: mean_interval(rng.normal(5, 2, 8), 0.9), 5.0) == pytest.approx(0.9, abs=error)
    covered = share_covered(lambda: quantile_interval(rng.exponential(1, 60), 0.5, 0.9), math.log(2))
    assert covered > 0.9 - error


def test_ratio_of_means():
    """A ratio with a known truth: means 6 and 3 of independent gammas; coverage and less bias than the plain ratio."""
    rng = np.random.default_rng(5)

    def make():
        return ratio_interval(rng.gamma(4, 1.5, 30), rng.gamma(9, 1 / 3, 30), 0.9)

    assert share_covered(make, 2.0) == pytest.approx(
        0.9, abs=4 * math.sqrt(0.09 / 1500) + 0.02
    )  # the jackknife is approximate
    exact = ratio_interval([2.0, 4.0, 6.0], [1.0, 2.0, 3.0])
    assert (exact.mean, exact.half_width) == (pytest.approx(2.0), pytest.approx(0.0, abs=1e-12))


def test_ratio_by_hand():
    """Jackknife of (1, 4) over (1, 2): ratio 5/3, left out 2 and 1, pseudo-values 4/3 and 7/3."""
    result = ratio_interval([1.0, 4.0], [1.0, 2.0])
    assert result.mean == pytest.approx(11 / 6)
    assert result.half_width == pytest.approx(student_quantile(0.975, 1) * 0.5)


def test_ratio_without_interval():
    result = ratio_interval([5.0, 0.0], [2.0, 0.0])
    assert (result.mean, result.low) == (2.5, None)
    assert ratio_interval([5.0], [2.0]).high is None
    with pytest.raises(ValueError, match="sum to 0"):
        ratio_interval([1.0, 2.0], [0.0, 0.0])


@pytest.mark.parametrize(
    "call",
    [
        lambda: mean_interval([]),
        lambda: mean_interval([1.0, math.nan]),
        lambda: mean_interval([[1.0, 2.0]]),
        lambda: mean_interval([1.0, 2.0], 0.0),
        lambda: paired_interval([1.0, 2.0], [1.0]),
        lambda: ratio_interval([1.0, 2.0], [1.0]),
        lambda: independent_interval([1.0], [1.0]),
        lambda: quantile_interval([1.0], 1.0),
        lambda: quantile_ranks(0, 0.5),
        lambda: replications_needed(-1.0, 1.0),
        lambda: replications_needed(1.0, 0.0),
        lambda: supported_decimals(0.0),
    ],
)
def test_misuse_is_refused(call):
    with pytest.raises(ValueError, match="allowed is"):
        call()


@pytest.mark.parametrize(
    ("half_width", "decimals"),
    [(1.4, 1), (2.9, 1), (3.0, 0), (9.94, 0), (9.96, 0), (0.034, 2), (0.0123, 3), (35.0, -1), (120.0, -1), (0.0997, 2)],
)
def test_supported_decimals(half_width, decimals):
    assert supported_decimals(half_width) == decimals


@pytest.mark.parametrize(
    ("value", "low", "high", "text"),
    [
        (142.3456, 140.94, 143.75, "142.3 (140.9 to 143.8)"),
        (142.3456, 98.1, 186.5, "140 (100 to 190)"),
        (0.01234, 0.0119, 0.0128, "0.0123 (0.0119 to 0.0128)"),
        (-0.02, -0.44, 0.4, "0.0 (-0.4 to 0.4)"),
        (12.3456, 12.0, None, "12.3 (at least 12.0)"),
        (12.3456, None, 12.9, "12.3 (at most 12.9)"),
        (12.3456, None, None, "12.3"),
        (12345.6, None, None, "12346"),
        (7.0, 7.0, 7.0, "7.00 (no variation seen)"),
        (0.0, 0.0, 0.0, "0 (no variation seen)"),
    ],
)
def test_format_estimate(value, low, high, text):
    assert format_estimate(value, low, high) == text


def test_equal_days_have_an_interval_without_width_whatever_rounding_leaves():
    days = np.array([226.1, 226.1 * (1 + 2e-16), 226.1 * (1 - 2e-16)] * 10)
    found = mean_interval(days)
    assert found.low == found.high == found.mean
    assert found.half_width == 0.0
    pair = paired_interval(days, days[::-1])
    assert (pair.mean, pair.low, pair.high, pair.a_wins_share) == (0.0, 0.0, 0.0, 0.5)
    apart = independent_interval(days, days[:7])
    assert (apart.mean, apart.low, apart.high) == (0.0, 0.0, 0.0)
    ratio = ratio_interval(days, np.full(30, 7.3))
    assert ratio.low == ratio.high
    half = quantile_interval(days, 0.5)
    assert half.low == half.high == half.estimate
