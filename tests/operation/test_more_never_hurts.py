"""The standing test in a short form: random scenarios times every addition."""

import pytest
from more_never_hurts import told, try_scenario


@pytest.mark.slow
@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_one_more_or_one_larger_of_anything_gets_no_less_done(seed):
    done = try_scenario(seed, runs=5)
    assert len(done["additions"]) >= 20
    assert not list(told(done))
