"""Chargers that share a limited supply, in order of need: hand examples, and what the order promises."""

import math

from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.sharing import serve_in_order

powers = st.one_of(st.just(0.0), st.floats(0.5, 6000.0))


def test_hand_examples():
    # 10 kW for 8 kW and 5 kW on chargers of their own: the first runs full, the second is turned down to 2 kW
    assert serve_in_order(10.0, [9.0, 9.0], [0.0, 0.0], [(0, 8.0), (1, 5.0)]) == [8.0, 2.0]
    assert serve_in_order(10.0, [9.0, 9.0], [0.0, 0.0], [(1, 5.0), (0, 8.0)]) == [5.0, 5.0]
    # two packs on one charger of 9 kW
    assert serve_in_order(20.0, [9.0], [0.0], [(0, 6.0), (0, 6.0)]) == [6.0, 3.0]
    # a charger that cannot be set below 3 kW stands still when only 2 kW are left
    assert serve_in_order(10.0, [9.0, 9.0], [0.0, 3.0], [(0, 8.0), (1, 5.0)]) == [8.0, 0.0]
    # the end of a charge takes less than the least setting by itself: that is no setting
    assert serve_in_order(10.0, [9.0], [3.0], [(0, 1.0)]) == [1.0]
    assert serve_in_order(math.inf, [9.0, 9.0], [0.0, 0.0], [(0, 8.0), (1, 5.0)]) == [8.0, 5.0]
    assert serve_in_order(0.0, [9.0], [0.0], [(0, 8.0)]) == [0.0]


@given(st.one_of(st.just(0.0), st.floats(0.5, 20_000.0)), st.lists(st.tuples(st.integers(0, 2), powers), max_size=8))
def test_nobody_gets_more_than_there_is_and_who_comes_later_takes_nothing(capacity, demands):
    limits = [4000.0, 9000.0, 2500.0]
    shares = serve_in_order(capacity, limits, [0.0] * 3, demands)
    assert sum(shares) <= capacity * (1 + 1e-12) + 1e-9
    for share, (charger, demand) in zip(shares, demands, strict=True):
        assert 0.0 <= share <= min(demand, limits[charger])
    for charger, limit in enumerate(limits):
        held = sum(share for share, (mine, _) in zip(shares, demands, strict=True) if mine == charger)
        assert held <= limit * (1 + 1e-12)
    for count in range(len(demands)):
        assert serve_in_order(capacity, limits, [0.0] * 3, demands[:count]) == shares[:count]
