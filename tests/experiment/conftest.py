"""A scenario of two sets with short days, and the tables of an undisturbed run of it."""

from __future__ import annotations

import tomllib

import pytest

from simulator.experiment.result import Result
from simulator.experiment.run import run
from simulator.scenario.loading import LoadedScenario, load_scenario
from simulator.scenario.starter import starter_text

REFERENCE_RUNS = 70


@pytest.fixture(scope="session")
def loaded() -> LoadedScenario:
    return load_scenario(tomllib.loads(starter_text("test")), ["day.last_landing=13:00", "work_days=1"])


@pytest.fixture(scope="session")
def reference(loaded: LoadedScenario) -> Result:
    return run(loaded, runs=REFERENCE_RUNS, one_more_runs=0)
