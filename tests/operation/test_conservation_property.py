"""Conservation over random scenarios: every day and every night ends, and everything in it adds up."""

from itertools import islice

from conservation_job import run_violations
from hypothesis import given, settings
from hypothesis import strategies as st
from scenarios_strategy import scenarios

from simulator.errors import InputError
from simulator.operation.job import run_job
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank


@settings(max_examples=60)
@given(scenarios(), st.integers(0, 1000))
def test_everything_adds_up(table, seed):
    """The soak has the long form."""
    loaded = load_scenario(table)
    try:
        plan = make_plan(loaded.sets[0])
    except InputError as refused:
        # a load that no reserve lets fly is the one thing that only the plan can see
        if all("no load can be flown" in problem.message for problem in refused.problems):
            return
        raise
    for replication in range(2):
        assert run_violations(plan, list(islice(run_job(plan, StreamBank(seed), replication), 3))) == []
