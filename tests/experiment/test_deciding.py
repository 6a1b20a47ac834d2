"""When simulating ends: coverage and error rates of the whole procedure, and additions that leave the race."""

import numpy as np
import pytest

from simulator.experiment.deciding import FIRST_RUNS, KNOWN, LEAST_RUNS, decided, in_the_race, looks
from simulator.experiment.estimates import mean_interval, paired_interval

MOST = 300


def stopped_at(acres):
    """Return at how many runs simulating ends."""
    times = looks(MOST)
    return next((n for n in times if n < MOST and decided([one[:n] for one in acres], len(times) - 1)), MOST)


@pytest.mark.parametrize("skewed", [False, True], ids=["normal", "skewed"])
def test_intervals_keep_their_coverage_and_sets_are_rarely_told_apart_wrongly(skewed):
    """Simulated: three sets on common random numbers, two of them 1.5 % apart, and 1,500 times the whole procedure."""
    rng, truth = np.random.default_rng(20), np.array([250.0, 246.25, 220.0])
    covered, pairs, wrong, ends = 0, 0, 0, []
    for _ in range(1500):
        common = rng.gamma(4.0, 5.0, MOST) - 20.0 if skewed else rng.normal(0.0, 10.0, MOST)
        acres = [mean + common + rng.normal(0.0, 6.0, MOST) for mean in truth]
        end = stopped_at(acres)
        ends.append(end)
        means = [mean_interval(one[:end]) for one in acres]
        covered += sum(one.low <= mean <= one.high for one, mean in zip(means, truth, strict=True))
        pair = paired_interval(acres[0][:end], acres[1][:end])
        pairs += pair.low <= truth[0] - truth[1] <= pair.high
        wrong += pair.high < 0.0
    # 93 to 97 %, and what a standard error of the simulation allows
    assert 0.93 < covered / 4500 < 0.97
    assert 0.93 < pairs / 1500 < 0.97
    assert wrong / 1500 < 0.01
    assert LEAST_RUNS <= min(ends) < MOST


def test_equal_sets_end_as_alike_and_are_seldom_called_different():
    rng, called = np.random.default_rng(5), 0
    for _ in range(400):
        common = rng.normal(0.0, 10.0, MOST)
        acres = [250.0 + common + rng.normal(0.0, 3.0, MOST) for _ in range(2)]
        end = stopped_at(acres)
        level = 1.0 - 0.05 / (len(looks(MOST)) - 1)
        pair = paired_interval(acres[0][:end], acres[1][:end], level)
        called += pair.low > 0.0 or pair.high < 0.0
    assert called / 400 < 0.05 + 3.0 * np.sqrt(0.05 * 0.95 / 400)


def test_it_goes_on_while_a_mean_is_not_known_or_sets_are_not_told_apart():
    quiet, loud = 100.0 + np.resize([-0.5, 0.5], LEAST_RUNS), 100.0 + np.resize([-20.0, 20.0], LEAST_RUNS)
    assert decided([quiet], 3)
    assert mean_interval(loud).half_width > KNOWN * 100.0
    assert not decided([loud], 3)
    # the same mean to half a per cent, but no less certain that they are alike than that they are not
    near = quiet + np.resize([-4.0, 5.0], LEAST_RUNS)
    assert not decided([quiet, near], 3)
    assert decided([quiet, quiet + 3.0], 3)
    assert decided([quiet, quiet], 3)


def test_looks_end_with_the_most():
    assert looks(30) == [30]
    assert looks(LEAST_RUNS) == [LEAST_RUNS]
    assert looks(200) == [40, 60, 90, 135, 200]


def test_the_race():
    """What adds nothing, or less than another beyond doubt, is settled; a last resort once it is told from nothing."""
    base = 200.0 + np.arange(FIRST_RUNS)
    noise = np.resize([-1.0, 1.0], FIRST_RUNS)
    changed = [
        base,
        base + 20.0 + noise,
        base + 5.0 + noise,
        base + 19.0 + 2.0 * noise,
        base + 90.0 + noise,
        base - 9.0,
    ]
    assert in_the_race(changed, base, [False, False, False, False, True, False]) == [1, 3]
    assert in_the_race([base + 4.0 * noise], base, [True]) == [0]
