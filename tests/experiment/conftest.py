"""A scenario of two sets with short days, and the tables of an undisturbed run of it."""

import tomllib

import pytest

from simulator.experiment import run_file
from simulator.experiment.run import run
from simulator.scenario.loading import load_scenario
from simulator.scenario.starter import starter_text

REFERENCE_RUNS = 70


@pytest.fixture(scope="session")
def loaded():
    return load_scenario(tomllib.loads(starter_text("test")), ["day.last_landing=13:00", "work_days=1"])


@pytest.fixture(scope="session")
def reference(loaded):
    return run(loaded, runs=REFERENCE_RUNS, one_more_runs=0)


@pytest.fixture
def sooner_given_up(monkeypatch):
    """Let mending look for runs in fewer places: there are 60 of a plan, on pages of a few."""
    monkeypatch.setattr(run_file, "_MOST_MISSES", 2000)
    monkeypatch.setattr(run_file, "_MOST_MISSES_HERE", 200)
