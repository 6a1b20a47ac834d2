"""Days that the soak found to go wrong, each by its scenario, seed and replication."""

import json
from pathlib import Path

from small_day import plan_of, table

from simulator.analysis.conservation import verify_day
from simulator.experiment.run import make_plans
from simulator.operation.day import simulate
from simulator.operation.work import WorkList
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

HERE = Path(__file__).parent


def test_a_day_of_loads_too_heavy_for_the_packs_to_come_ends():
    """Filled for a pack that was fuller than any to come, most of it still on board: the day went on for ever."""
    scenario = json.loads((HERE / "too_heavy_for_its_packs.json").read_text(encoding="utf-8"))
    (plan,) = make_plans(load_scenario(scenario))
    day = simulate(plan, StreamBank(207).day(1), 1)
    verify_day(plan, day)
    assert len(day.log.sorties) > 50
    assert day.ends[0].out_of_reach_m2 == 0.0


def test_a_rest_of_less_than_a_square_metre_that_no_charge_reaches_is_given_up():
    """The last third of a square metre lies past a turn that takes more than a charge: the day broke off."""
    scenario = json.loads((HERE / "too_slow_to_turn.json").read_text(encoding="utf-8"))
    (plan,) = make_plans(load_scenario(scenario))
    for seed in range(1, 4):
        day = simulate(plan, StreamBank(seed).day(0), 0)
        verify_day(plan, day)
        assert len(day.log.sorties) > 40


def test_a_list_on_which_nothing_can_be_flown_is_not_begun_again():
    plan = plan_of(table(work="repeat", field=[{"name": "some", "area": "1 ha", "count": 2}]))
    work = WorkList(plan.fields, plan.geography, True)
    for flown, left in ((False, True), (True, True), (False, True), (False, False)):
        assert work.next_visit(0.0) is not None
        work.note_visit(flown)
        assert (work.peek(0.0) is not None) == left
