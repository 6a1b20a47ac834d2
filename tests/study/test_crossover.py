"""Crossover: who wins where, and where more days go."""

import math

import numpy as np
import pytest
from short_days import ACRE_M2, two_and_four

from simulator.errors import InputError
from simulator.study.crossover import crossover

AREAS = [10 * ACRE_M2, 80 * ACRE_M2]
RATES = ["2 gal/acre", "4 gal/acre"]
COSTS = {"price_per_acre": 16.0, "wage_per_hour": 25.0, "pack": {"large_pack": {"purchase": 2500.0}}}


def _pair(first: dict, second: dict, **changes):
    return two_and_four(**changes, equipment_set={"a": first, "b": second})


def test_two_equal_sets_are_never_told_apart():
    answer = crossover(_pair({}, {}), "a", "b", AREAS, RATES[:1], runs=4, most_runs=16)
    assert (answer.cells["winner"] == "").all()
    assert np.allclose(answer.cells["difference"], 0.0)
    # a difference of exactly nothing is settled: no further day is spent on it
    assert (answer.cells["runs"] == 4).all()
    # Bonferroni: 4, 8, 16 days are three looks
    assert answer.looks == 3
    assert answer.level == pytest.approx(1 - 0.05 / 3)


def test_more_packs_win_and_the_map_turns_round_with_the_order():
    loaded = two_and_four()
    ahead = crossover(loaded, "four", "two", AREAS[1:], RATES[:1], runs=6, most_runs=6)
    behind = crossover(loaded, "two", "four", AREAS[1:], RATES[:1], runs=6, most_runs=6)
    assert list(ahead.cells["winner"]) == ["four", "four"]
    assert ahead.cells["difference"].to_numpy() == pytest.approx(-behind.cells["difference"].to_numpy())
    assert ahead.sentence.startswith("On a job of about 80 acres, per day four wins everywhere")
    row, hour = (ahead.cells.iloc[place] for place in (0, 1))
    # the same single field of 80 acres for both, done sooner by the set that does more a day
    assert (row["fields"], row["a_done_share"], row["b_done_share"]) == (1, 1.0, 1.0)
    assert row["a_work_days"] < row["b_work_days"]
    # two people: acres a person-hour times person-hours a day is acres a day, within a 4 h day and its margins
    assert 2 * 4 <= row["a_value"] / hour["a_value"] <= 2 * 6
    assert ahead.measures == ("day", "person_hour")
    assert ahead.to_json()["measures"] == ["day", "person_hour"]
    assert any("no [costs]" in note for note in ahead.remarks)


def test_a_job_is_laid_out_in_as_many_fields_as_come_nearest():
    answer = crossover(two_and_four(), "two", "four", AREAS, RATES[:1], runs=3, most_runs=3, job_m2=36 * ACRE_M2)
    assert answer.cells.groupby("field_area_m2")["fields"].first().tolist() == [4, 1]


def test_days_go_where_the_border_is():
    # one set swaps a little slower, the other has a little more charger: the sign is hard to tell somewhere
    swap = {"rig": {"main": {"crew": {"tasks": {"swap": {"time": "63 s"}}}}}}
    fast = {
        "charger": {"fast": {"output_power": "7.9 kW"}},
        "rig": {"main": {"crew": {"tasks": {"swap": {"time": "60 s"}}}}},
    }
    cells = crossover(_pair(swap, fast), "a", "b", AREAS, RATES, runs=4, most_runs=16).cells
    for _, part in cells.groupby(["field_area_m2", "rate"]):
        assert part["runs"].nunique() == 1
        undecided = (part["low"] <= 0) & (part["high"] >= 0) & (part["high"] > part["low"])
        if undecided.any():
            assert (part["runs"] == 16).all()
    assert (cells.loc[cells["winner"] == "", "low"] <= 0).all()
    assert (cells.loc[cells["winner"] == "a", "low"] > 0).all()
    assert (cells.loc[cells["winner"] == "b", "high"] < 0).all()


def test_cost_counts_in_favour_of_the_cheaper_set():
    dear = {"costs": {"pack": {"large_pack": {"purchase": 50000.0}}}}
    answer = crossover(_pair({}, dear, costs=COSTS), "a", "b", AREAS[1:], RATES[:1], runs=4, most_runs=4)
    row = answer.cells[answer.cells["measure"] == "cost"].iloc[0]
    # the same days, so the difference is the packs' yearly cost over the season's acres, and a is the cheaper
    assert row["winner"] == "a"
    assert row["difference"] == pytest.approx(row["b_value"] - row["a_value"], rel=1e-6)
    acres = answer.cells[answer.cells["measure"] == "day"].iloc[0]["a_value"]
    # 47 500 more a pack: 20 % resale after 5 years, 8 % interest, 5 % upkeep, 45 season days (the scenario's defaults)
    growth = 1.08**5
    yearly = 0.08 * growth / (growth - 1) * (1 - 0.2 / growth) + 0.05
    assert row["difference"] == pytest.approx(2 * 47500 * yearly / (45 * acres), rel=1e-3)
    assert "costs.aircraft.large" in answer.unpriced


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"b": "two"}, "twice"),
        ({"b": "fuor"}, "no equipment set"),
        ({"areas_m2": [math.nan]}, "field size"),
        ({"runs": 8, "most_runs": 4}, "most_runs"),
        ({"job_m2": 6000 * ACRE_M2}, "at most 500"),
        ({"rates": []}, "--rates"),
    ],
)
def test_bad_input_is_refused(changes, said):
    asked = {"a": "two", "b": "four", "areas_m2": AREAS, "rates": RATES} | changes
    with pytest.raises(InputError, match=said):
        crossover(two_and_four(), **asked)


def test_all_bad_rates_are_named():
    with pytest.raises(InputError) as caught:
        crossover(two_and_four(), "two", "four", AREAS, ["2 gal", "-1 gal/acre", "3"])
    assert len(caught.value.problems) == 3
