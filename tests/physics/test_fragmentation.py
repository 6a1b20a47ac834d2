"""Fragmentation indices: published_checks section 11 (formulas from memory, example re-derived by hand)."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulator.physics.fragmentation import januszewski, simmons

EXAMPLE = [40.0, 30.0, 20.0, 10.0]
holdings = st.lists(st.floats(0.01, 1e6), min_size=1, max_size=30)


def test_example_of_four_parcels():
    assert simmons(EXAMPLE) == pytest.approx(0.300)  # 3000 / 100^2
    assert januszewski(EXAMPLE) == pytest.approx(0.5145, abs=5e-5)  # 10 / (6.3246 + 5.4772 + 4.4721 + 3.1623)


@pytest.mark.parametrize("count", [1, 2, 4, 25])
def test_equal_parcels(count):
    areas = [3.7] * count
    assert simmons(areas) == pytest.approx(1 / count)
    assert januszewski(areas) == pytest.approx(1 / math.sqrt(count))


@given(holdings)
def test_ranges(areas):
    assert 1 / len(areas) - 1e-9 <= simmons(areas) <= 1 + 1e-9
    assert 1 / math.sqrt(len(areas)) - 1e-9 <= januszewski(areas) <= 1 + 1e-9


@given(holdings, st.floats(0.01, 1e6), st.floats(0.1, 0.9))
def test_splitting_a_parcel_fragments(areas, parcel, share):
    whole, split = [*areas, parcel], [*areas, parcel * share, parcel * (1 - share)]
    assert simmons(split) <= simmons(whole) + 1e-12
    assert januszewski(split) <= januszewski(whole) + 1e-12
