"""Estimates against published worked examples, and their coverage."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.experiment.estimates import (
    SequentialStop,
    _count,
    format_estimate,
    independent_interval,
    mean_interval,
    paired_interval,
    quantile_interval,
    quantile_ranks,
    rank_coverage,
    ratio_interval,
    relative_target,
    replications_by_ratio,
    replications_for_share,
    replications_needed,
    significant_digits,
    student_quantile,
    supported_decimals,
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


def test_replications_rossetti():
    """Rossetti, chapter 3. The book rounds the normal quantile to 2.576 and 1.96, which shows in the last digits."""
    assert _count(2.576, 6, 0.1) == 23889
    assert replications_needed(6.0, 0.1, 0.99, method="normal") == 23886  # unrounded quantile
    s0 = 2.24 * math.sqrt(20) / student_quantile(0.975, 19)
    assert s0 == pytest.approx(4.7862, abs=0.00005)
    assert _count(2.576, s0, 0.5) == 609
    assert abs(replications_needed(s0, 0.5, 0.99, method="normal") - 609) <= 1
    h0 = student_quantile(0.995, 19) * s0 / math.sqrt(20)
    assert abs(replications_by_ratio(20, h0, 0.5) - 750) <= 1
    assert replications_by_ratio(5, 9.09, 1.0) == 414
    s0 = 9.09 * math.sqrt(5) / student_quantile(0.975, 4)
    assert s0 == pytest.approx(7.3208, abs=0.00005)
    assert replications_needed(s0, 1.0, method="normal") == 206
    assert replications_needed(s0, 1.0) == 209


def test_replications_law():
    """Law, bank example (from memory): n 10, mean 2.03, S^2 .31, 90 %: absolute .25 -> 16, relative .10 -> 27."""
    assert replications_needed(math.sqrt(0.31), 0.25, 0.90, done=10) == 16
    assert relative_target(2.03, 0.10) == pytest.approx(0.0909 * 2.03, abs=1e-4)
    assert replications_needed(math.sqrt(0.31), relative_target(2.03, 0.10), 0.90, done=10) == 27


def test_replications_for_share():
    """Rossetti, chapter 3: n = (z / eps)^2 p (1 - p); 0.5 at 95 % ± .05 is the well-known 385."""
    assert replications_for_share(0.5, 0.05) == 385
    assert replications_for_share(0.0, 0.05) == 1


@pytest.mark.parametrize(
    ("n", "p", "ranks", "coverage"),
    [
        (6, 0.5, (1, 6), 0.969),
        (9, 0.5, (2, 8), 0.961),
        (10, 0.5, (2, 9), 0.979),
        (12, 0.5, (3, 10), 0.961),
        (15, 0.5, (4, 12), 0.965),
        (17, 0.5, (5, 13), 0.951),
        (20, 0.5, (6, 15), 0.959),
        (50, 0.1, (1, 10), 0.970),
        (100, 0.1, (5, 17), 0.956),
        (100, 0.9, (84, 96), 0.956),
        (200, 0.05, (4, 17), 0.967),
    ],
)
def test_quantile_ranks(n, p, ranks, coverage):
    """Published table of median intervals by order statistics; the rows for other quantiles are own arithmetic."""
    assert quantile_ranks(n, p) == ranks
    assert rank_coverage(n, p, *ranks) == pytest.approx(coverage, abs=0.0006)
    direct = sum(math.comb(n, i) * p**i * (1 - p) ** (n - i) for i in range(ranks[0], ranks[1]))
    assert rank_coverage(n, p, *ranks) == pytest.approx(direct)


def test_rank_coverage_published():
    """real-statistics: n 35, ranks 17 and 19 enclose the median with probability .264121."""
    assert rank_coverage(35, 0.5, 17, 19) == pytest.approx(0.264121, abs=5e-7)


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


def run_until(stop, row, most=100_000):
    """Feed replications until the rule is satisfied and return how many it took."""
    return next((stop.n for place in range(most) if stop.add(row(place))), None)


def test_sequential_stop_is_the_formula():
    """It stops at the first n of at least the minimum at which the interval of the first n values is narrow enough."""
    x = np.random.default_rng(9).normal(50, 5, 2000)
    y = np.random.default_rng(10).normal(8, 3, 2000)
    stop = SequentialStop(absolute=0.6)
    n = run_until(stop, lambda place: {"x": x[place], "y": y[place]})
    halves = [max(mean_interval(x[:k]).half_width, mean_interval(y[:k]).half_width) for k in range(2, n + 1)]
    assert halves[-1] <= 0.6
    assert all(half > 0.6 for half in halves[8:-1])
    assert stop.enough


def test_sequential_stop_relative_and_joint():
    x = np.random.default_rng(9).normal(50, 5, 5000)
    y = np.random.default_rng(10).normal(8, 3, 5000)

    def rows(place):
        return {"x": x[place], "y": y[place]}

    plain, joint = SequentialStop(0.05), SequentialStop(0.05, joint=True)
    n, more = run_until(plain, rows), run_until(joint, rows)
    assert mean_interval(y[:n]).half_width <= 0.05 / 1.05 * y[:n].mean()
    assert more > n
    assert mean_interval(y[:more], 0.975).half_width <= 0.05 / 1.05 * y[:more].mean()


def test_sequential_stop_does_not_look_early():
    stop = SequentialStop(0.01, minimum=12)
    assert run_until(stop, lambda place: {"x": 3.0}) == 12
    zero = SequentialStop(0.01)
    assert run_until(zero, lambda place: {"x": 0.0}) == 10  # nothing varies: the precision cannot be better


def test_sequential_stop_expects():
    """What it expects is the published count for the pilot (Law's bank example, from memory)."""
    stop = SequentialStop(absolute=0.25, level=0.90)
    assert stop.expected() is None
    for value in with_moments(2.03, math.sqrt(0.31), 10):
        stop.add({"delay": value})
    assert not stop.enough
    assert stop.expected() == 16
    lost = SequentialStop(0.1)
    for value in (-1.0, 1.0):
        lost.add({"x": value})
    assert lost.expected() is None


@pytest.mark.parametrize(
    "call",
    [
        lambda: SequentialStop(),
        lambda: SequentialStop(relative=0.0),
        lambda: SequentialStop(absolute=-1.0),
        lambda: SequentialStop(0.1, minimum=1),
        lambda: SequentialStop(0.1, level=1.0),
        lambda: SequentialStop(0.1).add({}),
        lambda: SequentialStop(0.1).add({"x": math.nan}),
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
        lambda: replications_needed(1.0, 1.0, done=1),
        lambda: replications_needed(1.0, 1.0, method="guess"),
        lambda: replications_by_ratio(5, 0.0, 1.0),
        lambda: replications_for_share(2.0, 0.1),
        lambda: supported_decimals(0.0),
    ],
)
def test_misuse_is_refused(call):
    with pytest.raises(ValueError, match="allowed is"):
        call()


def test_measures_must_stay_the_same():
    stop = SequentialStop(0.1)
    stop.add({"x": 1.0})
    with pytest.raises(ValueError, match="measures"):
        stop.add({"y": 1.0})


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


def test_significant_digits():
    assert significant_digits(142.3456, 1.4) == 4
    assert significant_digits(142.3456, 44.0) == 2
    assert significant_digits(0.3, 44.0) == 0
    assert significant_digits(0.01234, 0.00045) == 3
