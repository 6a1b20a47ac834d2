"""What each resource could do alone bounds what gets done: the operational laws, over random scenarios."""

import copy

import more_never_hurts
import pytest

from simulator.analysis.resources import resource_names
from simulator.experiment.run import run
from simulator.scenario.loading import load_scenario


@pytest.mark.parametrize("seed", [11, 12, *(pytest.param(seed, marks=pytest.mark.slow) for seed in range(13, 30))])
def test_output_does_not_exceed_the_least_bound(seed):
    loaded = load_scenario(copy.deepcopy(more_never_hurts.random_scenario(seed)))
    (entry,) = run(loaded, runs=2, one_more_runs=0).sets
    alone = entry.alone()
    assert set(alone) <= set(resource_names()) - {"moves"}
    assert entry.mean("acres") <= min(alone.values()) * (1.0 + 1e-9)
    # by definition of utilisation: acres of a day over the busy share; the aircraft's without driving and weather
    used = entry.utilisation()
    assert alone["crew"] == pytest.approx(entry.mean("acres") / used["crew"])
    assert alone["aircraft"] <= entry.mean("acres") / used["aircraft"]
