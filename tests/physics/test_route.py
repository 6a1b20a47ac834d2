"""Routes: exact optimum as reference, circuity ranges of published_checks section 11, time windows."""

import math
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from simulator.physics.route import (
    DETOUR_FACTORS,
    distance_matrix_m,
    grid_distance_matrix_m,
    order_exact,
    order_improved,
    order_nearest,
    order_time_windows,
    route_length_m,
)


def places(count, seed, side_m=10_000.0):
    return np.random.default_rng(seed).uniform(0.0, side_m, (count, 2))


def ends_for(mode, count):
    return {"free end": None, "fixed end": count - 1, "round trip": 0}[mode]


modes = pytest.mark.parametrize("mode", ["free end", "fixed end", "round trip"])


@modes
@pytest.mark.parametrize("symmetric", [True, False])
def test_exact_equals_enumeration(mode, symmetric):
    for seed in range(8):
        count = 3 + seed % 4
        matrix = distance_matrix_m(places(count, seed), 1.2)
        if not symmetric:
            matrix = matrix * np.random.default_rng(seed + 100).uniform(1.0, 2.0, matrix.shape)
        end = ends_for(mode, count)
        between = [place for place in range(1, count) if place != end]
        tails = [] if end is None else [end]
        shortest = min(route_length_m([0, *middle, *tails], matrix) for middle in permutations(between))
        assert route_length_m(order_exact(matrix, 0, end), matrix) == pytest.approx(shortest)


@modes
@pytest.mark.parametrize("symmetric", [True, False])
def test_improved_is_near_the_optimum(mode, symmetric):
    ratios = []
    for seed in range(20):
        count = 5 + seed % 5
        matrix = distance_matrix_m(places(count, seed), 1.0)
        if not symmetric:
            matrix = matrix * np.random.default_rng(seed + 100).uniform(1.0, 1.6, matrix.shape)
        end = ends_for(mode, count)
        order = order_improved(matrix, 0, end)
        assert order[0] == 0
        assert sorted(order) == sorted([*range(count), *([0] if end == 0 else [])])
        assert end is None or order[-1] == end
        length_m = route_length_m(order, matrix)
        optimum_m = route_length_m(order_exact(matrix, 0, end), matrix)
        assert length_m >= optimum_m * (1 - 1e-9)
        assert length_m <= route_length_m(order_nearest(matrix, 0, end), matrix) * (1 + 1e-9)
        ratios.append(length_m / optimum_m)
    assert np.mean(ratios) <= 1.05


def test_known_optimum_of_many_places():
    # Places on a circle: the shortest round trip goes round it (a convex tour crosses itself nowhere).
    angle = np.random.default_rng(3).permutation(np.arange(40)) * 2 * math.pi / 40
    matrix = distance_matrix_m(np.column_stack((np.cos(angle), np.sin(angle))) * 1000, 1.0)
    assert route_length_m(order_improved(matrix, 0, 0), matrix) == pytest.approx(40 * 2000 * math.sin(math.pi / 40))


def test_random_round_trips_are_of_the_known_order_of_length():
    # Shortest tour of n random places in area A tends to 0.7124 sqrt(n A) (Beardwood, Halton & Hammersley 1959,
    # constant from memory); for n = 80 edges of the square add some 4 % (from memory), and the heuristic may lose 10 %.
    ratios = []
    for seed in range(5):
        matrix = distance_matrix_m(places(80, seed), 1.0)
        ratios.append(route_length_m(order_improved(matrix, 0, 0), matrix) / math.sqrt(80 * 1e8))
    assert 0.70 < np.mean(ratios) < 0.7124 * 1.04 * 1.10


def test_deterministic_and_unspoilt():
    matrix = distance_matrix_m(places(30, 5), 1.3)
    before = matrix.copy()
    assert order_improved(matrix, 0) == order_improved(matrix, 0)
    assert np.array_equal(matrix, before)


def test_given_table_by_hand():
    table = [[0, 1, 9, 9], [9, 0, 9, 1], [1, 9, 0, 9], [9, 9, 1, 0]]
    assert order_nearest(table, 0) == order_improved(table, 0) == order_exact(table, 0) == [0, 1, 3, 2]
    assert route_length_m(order_improved(table, 0, 0), table) == 4.0
    assert order_improved([[0.0]], 0) == order_exact([[0.0]], 0) == [0]
    assert order_improved([[0.0]], 0, 0) == order_exact([[0.0]], 0, 0) == [0, 0]
    assert order_improved([[0, 2], [3, 0]], 0, 0) == [0, 1, 0]


def test_detour_factors_in_published_ranges():
    # Newell 1980: about 1.2; O'Sullivan & Morrall 1996: 1.21-1.23; detour index 25 road miles for 20 straight: 1.25.
    assert 1.19 <= DETOUR_FACTORS["typical"] <= 1.25
    # Ballou et al. 2002, other countries: 1.1-2.1 (from memory); grid at most sqrt 2.
    assert 1.1 <= DETOUR_FACTORS["typical"] <= DETOUR_FACTORS["grid"] <= math.sqrt(2)
    matrix = distance_matrix_m([(0, 0), (20, 0)], 1.25)
    assert matrix[0, 1] == pytest.approx(25.0)
    assert matrix[0, 0] == 0.0


def test_grid_detour_mean_and_bounds():
    # Mean of |cos| + |sin| over all directions is 4/pi = 1.273, its maximum sqrt 2 (elementary).
    count = 720
    angle = np.arange(count) * 2 * math.pi / count
    spokes = np.vstack(([0.0, 0.0], np.column_stack((np.cos(angle), np.sin(angle)))))
    ratio = grid_distance_matrix_m(spokes, 0.4)[0, 1:]
    assert ratio.mean() == pytest.approx(4 / math.pi, rel=1e-4)
    assert ratio.mean() == pytest.approx(DETOUR_FACTORS["grid"], rel=1e-4)
    assert ratio.min() == pytest.approx(1.0, abs=3e-3)
    assert ratio.max() == pytest.approx(math.sqrt(2), abs=1e-5)


def test_grid_detour_of_random_trips_within_noise():
    one, two = places(4000, 1), places(4000, 2)
    step = two - one
    angle = np.random.default_rng(4).uniform(0, 2 * math.pi, 4000)
    length = np.hypot(*step.T)
    ratio = np.array(
        [
            grid_distance_matrix_m([(0, 0), (r * math.sin(a), r * math.cos(a))])[0, 1] / r
            for r, a in zip(length[:1000], angle[:1000], strict=True)
        ]
    )
    standard_error = ratio.std(ddof=1) / math.sqrt(len(ratio))
    assert abs(ratio.mean() - 4 / math.pi) <= 4 * standard_error


def test_time_windows_by_hand():
    # On a line, one hour a place: 1 opens late, 2 closes early, 3 cannot be reached in time.
    line = np.array([0.0, 10.0, 20.0, 1000.0])
    travel_s = np.abs(line[:, None] - line[None, :]) * 60
    windows = {1: (7200.0, 9000.0), 2: (0.0, 1800.0), 3: (0.0, 3600.0)}
    route = order_time_windows(travel_s, 0, windows, [0.0, 3600.0, 3600.0, 3600.0])
    assert route.order == [0, 2, 1]
    assert route.start_of_work_s == [0.0, 1200.0, 7200.0]
    assert route.unmet == [3]


@given(st.integers(2, 8), st.integers(0, 10_000))
@settings(max_examples=60)
def test_time_windows_are_kept(count, seed):
    generator = np.random.default_rng(seed)
    travel_s = distance_matrix_m(generator.uniform(0, 20_000, (count, 2)), 1.2) / 15.0
    work_s = generator.uniform(300, 4000, count).tolist()
    opening = generator.uniform(0, 20_000, count)
    windows = {place: (opening[place], opening[place] + generator.uniform(0, 15_000)) for place in range(1, count, 2)}
    route = order_time_windows(travel_s, 0, windows, work_s, start_time_s=500.0)
    assert sorted([*route.order, *route.unmet]) == list(range(count))
    assert not [place for place in route.unmet if place not in windows]
    for index in range(1, len(route.order)):
        before, here = route.order[index - 1 : index + 1]
        begun_s = route.start_of_work_s[index]
        worked_s = work_s[before] if index > 1 else 0.0
        earliest_s, latest_s = windows.get(here, (-math.inf, math.inf))
        arrival_s = route.start_of_work_s[index - 1] + worked_s + travel_s[before, here]
        assert begun_s == pytest.approx(max(arrival_s, earliest_s))
        assert begun_s <= latest_s
    for place in route.unmet:
        # Alone and first it may fit; at the end of the order found it does not.
        last = route.order[-1]
        end_s = route.start_of_work_s[-1] + (work_s[last] if len(route.order) > 1 else 0.0)
        assert max(end_s + travel_s[last, place], windows[place][0]) > windows[place][1]


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: distance_matrix_m([(0, 0)], 0.9), "detour_factor"),
        (lambda: distance_matrix_m([0, 0], 1.2), "shape"),
        (lambda: order_nearest([[0, 1]], 0), "square"),
        (lambda: order_nearest([[0, math.inf], [1, 0]], 0), "finite"),
        (lambda: order_improved([[0, -1], [1, 0]], 0), "finite"),
        (lambda: order_improved([[0, 1], [1, 0]], 2), "start"),
        (lambda: order_exact(np.zeros((13, 13)), 0), "at most 12"),
        (lambda: order_exact([[0, 1], [1, 0]], 0, 5), "end"),
        (lambda: order_time_windows([[0, 1], [1, 0]], 0, {1: (5.0, 1.0)}, [0, 1]), "open before it closes"),
        (lambda: order_time_windows([[0, 1], [1, 0]], 0, {4: (0.0, 1.0)}, [0, 1]), "name places"),
        (lambda: order_time_windows([[0, 1], [1, 0]], 0, {}, [1]), "work_s"),
    ],
)
def test_misuse_is_refused(call, message):
    with pytest.raises(ValueError, match=message):
        call()
