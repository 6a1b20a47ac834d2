"""What the soak found: each scenario that once broke a law, broke off or never ended, cut down to what matters."""

import copy
import json
import sys
from pathlib import Path

import pytest
from small_day import table

sys.path.insert(0, str(Path(__file__).parents[1] / "fuzz"))
sys.path.insert(0, str(Path(__file__).parent))

from bounds import bounded
from wider_scenarios import _boundaries

from simulator.analysis.conservation import violations
from simulator.operation.day import simulate
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank


def check(made, seed=1, days=3, folder=None):
    plan = make_plan(load_scenario(copy.deepcopy(made), folder=folder).sets[0])
    sorties = 0
    for replication in range(days):
        with bounded(20.0, 1000):
            day = simulate(plan, StreamBank(seed).day(replication), replication)
        assert violations(plan, day) == []
        sorties += len(day.log.sorties)
    return sorties


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
    assert check(made) > 0


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
        assert check(made, folder=tmp_path) > 0


def test_a_field_that_closes_before_it_is_done():
    """Wider seed 4: what is left of a field that is open no longer is no violation."""
    made = table(field=[{"name": "one", "area": "2 ha"}, {"name": "two", "area": "20 ha", "open_until": "07:20"}])
    assert check(made, days=1) > 0
