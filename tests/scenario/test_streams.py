"""Named streams: a draw depends on seed, replication, name and place only, and is random in every other way."""

from __future__ import annotations

import itertools
import json
import subprocess
import sys

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy import stats

from simulator.scenario.distributions import Constant, Exponential, Lognormal
from simulator.scenario.streams import BLOCK_RUNS, StreamBank

FILL = Lognormal(70.0, 0.3)


def take(draws, count):
    return [draws() for _ in range(count)]


def uniforms(bank, name, days, count):
    return np.array([take(bank.day(day).uniforms(name), count) for day in range(days)])


@settings(max_examples=25, deadline=None)
@given(st.permutations(["fill", "swap", "drive", "fill/2"]), st.permutations([0, 1, 63, 64, 200]), st.integers(1, 4))
def test_order_of_use_does_not_matter(names, days, memory):
    """Any order of streams and days, draws interleaved, even with hardly any memory: the same numbers."""
    plain = {(day, name): take(StreamBank(7).day(day).draws(name, FILL), 40) for day in days for name in names}
    bank = StreamBank(7, memory_streams=memory)
    open_days = {day: bank.day(day) for day in days}
    streams = {(day, name): open_days[day].draws(name, FILL) for name in names for day in days}
    mixed = {key: [] for key in streams}
    for _ in range(40):
        for key, draws in streams.items():
            mixed[key].append(draws())
    assert mixed == plain


def test_one_more_entity_changes_only_that_entity():
    without = StreamBank(3).day(5)
    before = {name: take(without.draws(name, FILL), 30) for name in ("fill/a1", "fill/a2")}
    more = StreamBank(3).day(5)
    take(more.draws("fill/a3", FILL), 500)
    after = {name: take(more.draws(name, FILL), 30) for name in ("fill/a2", "fill/a1")}
    assert after == before


def test_another_distribution_uses_the_same_random_numbers():
    """Half the mean gives half of each draw: what makes differences between equipment sets sharp."""
    slow = take(StreamBank(3).day(5).draws("fill", Exponential(60.0)), 50)
    fast = take(StreamBank(3).day(5).draws("fill", Exponential(30.0)), 50)
    assert fast == pytest.approx([0.5 * value for value in slow])


def test_another_process_gives_the_same():
    code = (
        "import json; from simulator.scenario.streams import StreamBank;"
        "d = StreamBank(11).day(130).uniforms('fill'); print(json.dumps([d() for _ in range(700)]))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    bank = StreamBank(11)
    bank.day(2).uniforms("other")()
    assert json.loads(done.stdout) == take(bank.day(130).uniforms("fill"), 700)


def test_same_name_goes_on_where_it_was():
    day = StreamBank(1).day(0)
    first = take(day.draws("fill", FILL), 3) + take(day.draws("fill", Lognormal(70.0, 0.3)), 3)
    assert first == take(StreamBank(1).day(0).draws("fill", FILL), 6)
    with pytest.raises(ValueError, match="already draws"):
        day.draws("fill", Exponential(3.0))
    with pytest.raises(ValueError, match="already draws"):
        day.uniforms("fill")


def test_seed_name_and_replication_all_matter():
    bank = StreamBank(1)
    rows = [
        take(bank.day(0).uniforms("a"), 5),
        take(bank.day(1).uniforms("a"), 5),
        take(bank.day(BLOCK_RUNS).uniforms("a"), 5),
        take(bank.day(0).uniforms("b"), 5),
        take(StreamBank(2).day(0).uniforms("a"), 5),
        take(StreamBank(11).day(0).uniforms("a"), 5),
    ]
    assert len({value for row in rows for value in row}) == 30


def test_all_days_differ():
    x = uniforms(StreamBank(6), "fill", 3 * BLOCK_RUNS, 40)
    assert np.unique(x).size == x.size


def test_long_streams_never_repeat():
    """Beyond the segments made for a block of days each day goes on alone, with new numbers."""
    bank = StreamBank(5)
    days = [take(bank.day(day).uniforms("a"), 3000) for day in (0, 1, 64)]
    assert len(set(itertools.chain(*days))) == 9000


def test_uniform():
    """Kolmogorov-Smirnov distance of 64 000 numbers, and moments within 4 standard errors."""
    x = uniforms(StreamBank(2024), "fill", 200, 320).ravel()
    assert x.min() > 0.0
    assert x.max() < 1.0
    assert stats.kstest(x, "uniform").statistic < 1.95 / np.sqrt(x.size)  # exceeded once in a thousand
    assert abs(x.mean() - 0.5) < 4 * np.sqrt(1 / 12 / x.size)
    assert abs((x**2).mean() - 1 / 3) < 4 * np.sqrt(4 / 45 / x.size)


def test_each_place_in_the_stream_is_uniform_over_days():
    x = uniforms(StreamBank(99), "swap", 2000, 20)
    error = 4.5 * np.sqrt(1 / 12 / 2000)  # 20 looks
    assert np.all(np.abs(x.mean(axis=0) - 0.5) < error)


def test_no_correlation():
    """Between places, neighbouring days and names; each within 4.5 standard errors of zero."""
    bank = StreamBank(4)
    a, b = uniforms(bank, "fill/a1", 400, 50), uniforms(bank, "fill/a2", 400, 50)
    for first, second in (
        (a, b),
        (a[:-1], a[1:]),
        (a[:-BLOCK_RUNS], a[BLOCK_RUNS:]),
        (a[:, :-1], a[:, 1:]),
        (a[:, :-16], a[:, 16:]),
        (a, uniforms(StreamBank(5), "fill/a1", 400, 50)),
    ):
        r = np.corrcoef(first.ravel(), second.ravel())[0, 1]
        assert abs(r) < 4.5 / np.sqrt(first.size)


def test_draws_follow_the_distribution():
    """Mean of the draws within 4 standard errors of the distribution's own mean."""
    bank = StreamBank(8)
    x = np.array([take(bank.day(day).draws("fill", FILL), 50) for day in range(200)])
    assert abs(x.mean() - 70.0) < 4 * FILL.sd() / np.sqrt(x.size)
    assert (
        stats.kstest(np.log(x.ravel()), stats.norm(np.log(70) - 0.5 * np.log(1.09), np.sqrt(np.log(1.09))).cdf).pvalue
        > 1e-3
    )
    assert type(bank.day(0).draws("fill", FILL)()) is float


def test_constants():
    bank = StreamBank(1)
    assert take(bank.day(0).draws("fill", Constant(3)), 3) == [3.0, 3.0, 3.0]
    assert type(bank.day(0).draws("fill", Constant(3))()) is float


def test_memory_is_bounded():
    bank = StreamBank(1, memory_streams=50)
    for day in range(0, 40 * BLOCK_RUNS, BLOCK_RUNS):
        for name in range(20):
            bank.day(day).uniforms(f"s{name}")()
    assert bank._shared.cache_info().currsize <= 20
    for name in range(300):
        bank.day(0).uniforms(f"n{name}")()
    assert bank._shared.cache_info().currsize <= 50


@pytest.mark.parametrize("seed", [-1, 1.5, True, 2**63, "7"])
def test_impossible_seeds_are_refused(seed):
    with pytest.raises(ValueError, match="seed"):
        StreamBank(seed)


def test_impossible_replications_are_refused():
    with pytest.raises(ValueError, match="replication"):
        StreamBank(1).day(-1)
