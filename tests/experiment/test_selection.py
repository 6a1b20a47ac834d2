"""Selection of the best against published constants, and its guarantee on a known case."""

import math

import numpy as np
import pytest

from simulator.experiment.selection import select_best, sequential_constants


@pytest.mark.parametrize(
    ("k", "n0", "eta", "h2"),
    [
        (2, 10, 0.33405, 6.0129),
        (3, 10, 0.47294, 8.5130),
        (5, 10, 0.63497, 11.4294),
        (5, 20, 0.23724, 9.0151),
        (10, 10, 0.85908, 15.4635),
    ],
)
def test_constants(k, n0, eta, h2):
    """Kim & Nelson (2001), formulas for eta and h^2; the values are own arithmetic."""
    assert sequential_constants(k, n0) == pytest.approx((eta, h2), abs=6e-5)


def sampler_of(means, sd, common_share, seed):
    """Return normal values that share part of their noise within a replication."""
    rng = np.random.default_rng(seed)
    rows = []

    def sample(system, replication):
        while len(rows) <= replication:
            noise = rng.normal(size=len(means)) * math.sqrt(1 - common_share) + rng.normal() * math.sqrt(common_share)
            rows.append(np.asarray(means) + sd * noise)
        return float(rows[replication][system])

    return sample


@pytest.mark.parametrize("common_share", [0.0, 0.7])
def test_guarantee_where_it_is_hardest(common_share):
    """All others exactly the indifference behind: the best is found in 95 % of the runs, less 3 standard errors."""
    runs = 300
    right = sum(
        select_best(sampler_of([0.0, 1.0, 0.0], 2.5, common_share, seed), 3, 1.0).best == 1 for seed in range(runs)
    )
    assert right / runs >= 0.95 - 3 * math.sqrt(0.95 * 0.05 / runs)


def test_common_random_numbers_save_replications():
    alone = sum(sum(select_best(sampler_of([0, 1, 0], 2.5, 0.0, seed), 3, 1.0).replications) for seed in range(40))
    common = sum(sum(select_best(sampler_of([0, 1, 0], 2.5, 0.8, seed), 3, 1.0).replications) for seed in range(40))
    assert common < 0.6 * alone


def test_clear_cases():
    result = select_best(lambda system, replication: system + 0.01 * (replication % 3), 4, 0.5)
    assert (result.best, result.decided, result.survivors) == (3, True, (3,))
    assert result.replications == (10, 10, 10, 10)
    least = select_best(lambda system, replication: system + 0.01 * (replication % 3), 4, 0.5, larger_is_better=False)
    assert least.best == 0
    assert least.means[3] == pytest.approx(3.009)


def test_equal_systems_end():
    """Two systems that never differ: either is as good, and the procedure ends at once."""
    result = select_best(lambda system, replication: float(replication % 5), 2, 1.0)
    assert (result.best, result.decided, result.survivors) == (0, True, (0, 1))


def test_longest_run_is_the_published_one():
    """At most floor(h^2 S^2 / d^2) + 1 replications, S^2 the largest variance of first-stage differences."""
    sample = sampler_of([0.0, 0.0], 3.0, 0.0, 5)
    first = np.array([[sample(system, r) for system in (0, 1)] for r in range(10)])
    most = math.floor(sequential_constants(2, 10)[1] * np.var(first[:, 0] - first[:, 1], ddof=1) / 0.5**2) + 1
    result = select_best(sample, 2, 0.5)
    assert max(result.replications) <= most
    assert result.decided


def test_undecided_when_replications_run_out():
    result = select_best(sampler_of([0.0, 0.0], 50.0, 0.0, 1), 2, 0.1, most_replications=15)
    assert not result.decided
    assert result.replications == (15, 15)
    assert result.survivors == (0, 1)


def test_calls_are_once_each_and_in_order():
    calls = []

    def sample(system, replication):
        calls.append((replication, system))
        return float(np.random.default_rng(replication * 10 + system).normal())

    select_best(sample, 3, 0.8)
    assert calls == sorted(calls)
    assert len(calls) == len(set(calls))


@pytest.mark.parametrize(
    "call",
    [
        lambda: sequential_constants(1, 10),
        lambda: sequential_constants(2, 1),
        lambda: sequential_constants(2, 10, 0.4),
        lambda: select_best(lambda s, r: 1.0, 2, 0.0),
        lambda: select_best(lambda s, r: math.nan, 2, 1.0),
        lambda: select_best(lambda s, r: 1.0, 2, 1.0, most_replications=5),
    ],
)
def test_misuse_is_refused(call):
    with pytest.raises(ValueError, match="allowed is"):
        call()
