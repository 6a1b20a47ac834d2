"""Fragmentation indices: published_checks section 11 (formulas from memory, example re-derived by hand)."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.fragmentation import (
    enclosing_area_m2,
    igozurike,
    januszewski,
    schmook,
    simmons,
    simpson,
)

EXAMPLE = [40.0, 30.0, 20.0, 10.0]
holdings = st.lists(st.floats(0.01, 1e6), min_size=1, max_size=30)


def test_example_of_four_parcels():
    assert simmons(EXAMPLE) == pytest.approx(0.300)  # 3000 / 100^2
    assert simpson(EXAMPLE) == pytest.approx(0.700)
    assert januszewski(EXAMPLE) == pytest.approx(0.5145, abs=5e-5)  # 10 / (6.3246 + 5.4772 + 4.4721 + 3.1623)
    # Mean 25 ha, 12 km round trip: 12 / 0.25.
    assert igozurike(np.array(EXAMPLE) * 1e4, 12_000.0) == pytest.approx(48.0)


@pytest.mark.parametrize("count", [1, 2, 4, 25])
def test_equal_parcels(count):
    areas = [3.7] * count
    assert simmons(areas) == pytest.approx(1 / count)
    assert januszewski(areas) == pytest.approx(1 / math.sqrt(count))


@given(holdings)
def test_ranges(areas):
    assert 1 / len(areas) - 1e-9 <= simmons(areas) <= 1 + 1e-9
    assert 1 / math.sqrt(len(areas)) - 1e-9 <= januszewski(areas) <= 1 + 1e-9
    assert simpson(areas) == pytest.approx(1 - simmons(areas))


@given(holdings, st.floats(0.01, 1e6), st.floats(0.1, 0.9))
def test_splitting_a_parcel_fragments(areas, parcel, share):
    whole, split = [*areas, parcel], [*areas, parcel * share, parcel * (1 - share)]
    assert simmons(split) <= simmons(whole) + 1e-12
    assert januszewski(split) <= januszewski(whole) + 1e-12


def test_schmook_of_two_squares():
    # Two unit hectares, 100 m sides, 300 m apart: hull 500 m by 100 m over 2 ha.
    corners = [(0, 0), (100, 0), (100, 100), (0, 100), (400, 0), (500, 0), (500, 100), (400, 100)]
    assert enclosing_area_m2(corners) == pytest.approx(50_000.0)
    assert schmook([10_000.0, 10_000.0], enclosing_area_m2(corners)) == pytest.approx(2.5)
    assert enclosing_area_m2([(0, 0), (1, 1)]) == 0.0


@pytest.mark.parametrize("bad", [[], [0.0], [-1.0, 2.0], [math.nan], [[1.0, 2.0]]])
def test_misuse_is_refused(bad):
    for index in (simmons, simpson, januszewski):
        with pytest.raises(ValueError, match="area_m2"):
            index(bad)


def test_distances_are_checked():
    with pytest.raises(ValueError, match="round_trip_m"):
        igozurike([1.0], -1.0)
    with pytest.raises(ValueError, match="enclosing_m2"):
        schmook([1.0], 0.0)
    with pytest.raises(ValueError, match="shape"):
        enclosing_area_m2([1.0, 2.0])
