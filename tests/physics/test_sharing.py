"""Max-min fair sharing against a sequence of linear programs (scipy's linprog) and by its defining property."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.optimize import linprog

from simulator.physics.sharing import max_min_share, share_bus

powers = st.one_of(st.just(0.0), st.floats(0.5, 6000.0))
demand_lists = st.lists(powers, max_size=8)
capacities = st.one_of(st.just(0.0), st.floats(0.5, 20_000.0))


def by_linear_programs(upper, rows, limits):
    """Return the max-min fair point of {0 <= x <= upper, rows x <= limits} by sequential linear programs.

    Textbook method: raise the least share as far as it goes, fix those that cannot rise further, repeat.
    """
    scale = max([*upper, *limits, 1.0])
    upper, limits = np.array(upper) / scale, np.array(limits) / scale
    count = len(upper)
    fixed = {}
    while len(fixed) < count:
        free = [i for i in range(count) if i not in fixed]
        a_ub = [[*row, 0.0] for row in rows]
        for i in free:  # t - x_i <= 0
            a_ub.append([*[-1.0 if j == i else 0.0 for j in range(count)], 1.0])
        b_ub = [*limits, *[0.0] * len(free)]
        bounds = [(fixed[i], fixed[i]) if i in fixed else (0.0, upper[i]) for i in range(count)]
        level = -linprog([0.0] * count + [-1.0], A_ub=a_ub, b_ub=b_ub, bounds=[*bounds, (0.0, None)]).fun
        newly = []
        for i in free:
            floor = [
                (fixed[j], fixed[j]) if j in fixed else (min(level * (1 - 1e-9), upper[j]), upper[j])
                for j in range(count)
            ]
            most = -linprog([-1.0 if j == i else 0.0 for j in range(count)], A_ub=rows, b_ub=limits, bounds=floor).fun
            if most <= level + 1e-6:
                newly.append(i)
        for i in newly:
            fixed[i] = max(0.0, level - 1e-12)
        assert newly, "the reference itself is stuck"
    return [fixed[i] * scale for i in range(count)]


def test_hand_example():
    # By hand: 10 kW for 2, 3 and 8 kW: 2 and 3 are below the level, the third gets the other 5.
    assert max_min_share([8.0, 2.0, 3.0], 10.0) == [5.0, 2.0, 3.0]
    assert max_min_share([8.0, 8.0, 2.0], 10.0) == [4.0, 4.0, 2.0]
    assert max_min_share([8.0, 2.0], 10.0) == [8.0, 2.0]
    assert max_min_share([], 10.0) == []
    assert max_min_share([3.0, 0.0], 0.0) == [0.0, 0.0]
    assert max_min_share([3.0, 4.0], math.inf) == [3.0, 4.0]


def test_bus_hand_example():
    # By hand: charger 1 passes 4 (2 slots -> 2 each), charger 2 passes 9; bus 10 leaves 6 for its slot of 7.
    assert share_bus(10.0, [4.0, 9.0], [[3.0, 3.0], [7.0]]) == [[2.0, 2.0], [6.0]]
    assert share_bus(6.0, [4.0, 9.0], [[3.0, 3.0], [7.0]]) == [[2.0, 2.0], [2.0]]
    assert share_bus(6.0, [4.0, 9.0, 1.0], [[], [7.0], []]) == [[], [6.0], []]


@given(st.lists(powers, min_size=1, max_size=4), st.floats(1.0, 15_000.0))
@settings(max_examples=100, deadline=None)
def test_share_against_linear_programs(demands, capacity):
    reference = by_linear_programs(demands, [[1.0] * len(demands)], [capacity])
    assert max_min_share(demands, capacity) == pytest.approx(reference, rel=1e-5, abs=0.1)


@given(
    st.lists(st.tuples(powers, st.lists(powers, min_size=1, max_size=3)), min_size=1, max_size=3),
    st.floats(1.0, 15_000.0),
)
@settings(max_examples=100, deadline=None)
def test_bus_against_linear_programs(chargers, capacity):
    limits = [limit for limit, _ in chargers]
    demands = [list(slots) for _, slots in chargers]
    flat = [demand for slots in demands for demand in slots]
    owner = [index for index, slots in enumerate(demands) for _ in slots]
    rows = [[1.0] * len(flat)] + [[1.0 if o == index else 0.0 for o in owner] for index in range(len(limits))]
    reference = by_linear_programs(flat, rows, [capacity, *limits])
    shares = share_bus(capacity, limits, demands)
    assert [share for slots in shares for share in slots] == pytest.approx(reference, rel=1e-5, abs=0.1)


@given(demand_lists, capacities)
def test_share_gives_all_there_is_and_no_more(demands, capacity):
    shares = max_min_share(demands, capacity)
    assert len(shares) == len(demands)
    assert all(0.0 <= share <= demand for share, demand in zip(shares, demands, strict=True))
    assert sum(shares) == pytest.approx(min(sum(demands), capacity), rel=1e-12, abs=1e-9)


@given(demand_lists, capacities)
def test_whoever_is_cut_has_the_largest_share(demands, capacity):
    # Defining property (Bertsekas and Gallager 1992, from memory): no more for one without less for a smaller one.
    shares = max_min_share(demands, capacity)
    for share, demand in zip(shares, demands, strict=True):
        if share < demand * (1.0 - 1e-12):
            assert share >= max(shares) * (1.0 - 1e-12)


@given(demand_lists, capacities, st.randoms(use_true_random=False))
def test_order_does_not_matter(demands, capacity, random):
    order = list(range(len(demands)))
    random.shuffle(order)
    shares = max_min_share(demands, capacity)
    shuffled = max_min_share([demands[i] for i in order], capacity)
    assert shuffled == pytest.approx([shares[i] for i in order], rel=1e-12)


@given(demand_lists, capacities, st.floats(0.0, 5000.0))
def test_more_capacity_never_gives_anyone_less(demands, capacity, more):
    for before, after in zip(max_min_share(demands, capacity), max_min_share(demands, capacity + more), strict=True):
        assert after >= before * (1.0 - 1e-12)


@given(
    st.lists(st.tuples(powers, st.lists(powers, max_size=4)), max_size=4),
    capacities,
)
def test_bus_keeps_every_limit(chargers, capacity):
    limits = [limit for limit, _ in chargers]
    demands = [slots for _, slots in chargers]
    shares = share_bus(capacity, limits, demands)
    assert [len(slots) for slots in shares] == [len(slots) for slots in demands]
    for limit, asked, given_w in zip(limits, demands, shares, strict=True):
        assert sum(given_w) <= limit * (1.0 + 1e-12)
        assert all(0.0 <= g <= a for g, a in zip(given_w, asked, strict=True))
    reachable = sum(min(limit, sum(asked)) for limit, asked in zip(limits, demands, strict=True))
    assert sum(map(sum, shares)) == pytest.approx(min(capacity, reachable), rel=1e-12, abs=1e-9)
