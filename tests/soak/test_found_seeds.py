"""What the soak found: each scenario that once broke a law, broke off or never ended, cut down to what matters."""

import json
from pathlib import Path

import pytest
from bounds import bounded
from small_day import days_of, plan_of, table
from wider_scenarios import _boundaries

from simulator.operation.work import WorkList
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario


def check(made, seed=1, days=3, folder=None):
    plan = make_plan(load_scenario(made, folder=folder).sets[0])
    with bounded(20.0 * days, 1000):
        return [len(day.log.sorties) for day in days_of(plan, seed=seed, count=days)]


def two_packs(ferry, light, **changes):
    """Return a day with two pack types, of which one alone carries a load to the field and back."""
    made = table(rig__main__packs={"pack": 1, "light": 1}, charger__charger__serves=["pack", "light"], **changes)
    made["pack"]["light"] = {**made["pack"]["pack"], "mass": "8 kg", **light}
    made["field"][0]["ferry_distance"] = ferry
    return made


@pytest.mark.parametrize("ferry", ["1800 m", "2000 m"])
def test_of_two_pack_types_the_one_that_holds_more_when_charged_no_further_than_told(ferry):
    """Seed 207: full, the pack holds 1170 Wh above its reserve, the light one 1050; charged to 70 %, 630 and 735."""
    made = two_packs(
        ferry, {"energy": "1050 Wh", "reserve": "0 %"}, pack__pack__reserve="35 %", rig__main__charge_to="70 %"
    )
    assert sum(check(made)) > 0


@pytest.mark.parametrize(("mass", "ferry"), [("30 kg", "3000 m"), ("60 kg", "1500 m"), ("100 kg", "2500 m")])
def test_a_pack_of_more_energy_that_is_too_heavy_to_get_there(mass, ferry):
    """Nothing can be flown with the pack that is planned with: the day ends, and does not go round at one moment."""
    check(two_packs(ferry, {"energy": "1700 Wh"}, pack__pack__mass=mass))


def test_a_repair_that_ends_while_the_landing_zone_is_shifted(tmp_path):
    """Wider seed 1: the aircraft began a load of the next landing zone before the rig had gone there."""
    (tmp_path / "fields.geojson").write_text(json.dumps(_boundaries()))
    made = table(
        field=[], field_file={"path": "fields.geojson"}, flying={"visual_range": "120 m"}, day={"window": "10 h"}
    )
    for repair in ("0 s", "30 s"):
        made["aircraft"]["big"]["breakdown"] = {"airborne_time_between": "5 min", "repair_time": repair}
        assert sum(check(made, folder=tmp_path)) > 0


def test_a_field_that_closes_before_it_is_done():
    """Wider seed 4: what is left of a field that is open no longer is no violation."""
    made = table(field=[{"name": "one", "area": "2 ha"}, {"name": "two", "area": "20 ha", "open_until": "07:20"}])
    assert sum(check(made, days=1)) > 0


def test_a_day_of_loads_too_heavy_for_the_packs_to_come_ends():
    """Filled for a pack that was fuller than any to come, most of it still on board: the day went on for ever."""
    made = json.loads(Path(__file__).with_name("too_heavy_for_its_packs.json").read_text(encoding="utf-8"))
    assert check(made, seed=207, days=2)[1] > 50


def test_a_rest_of_less_than_a_square_metre_that_no_charge_reaches_is_given_up():
    """The last third of a square metre lies past a turn that takes more than a charge: the day broke off."""
    made = json.loads(Path(__file__).with_name("too_slow_to_turn.json").read_text(encoding="utf-8"))
    assert all(check(made, seed, 1)[0] > 40 for seed in range(1, 4))


def test_a_list_on_which_nothing_can_be_flown_is_not_begun_again():
    plan = plan_of(table(work="repeat", field=[{"name": "some", "area": "1 ha", "count": 2}]))
    work = WorkList(plan.fields, plan.geography, True)
    for flown, left in ((False, True), (True, True), (False, True), (False, False)):
        assert work.next_visit(0.0) is not None
        work.note_visit(flown)
        assert (work.peek(0.0) is not None) == left
