"""Crossover: who wins where, and where more days go."""

import copy
import math

import numpy as np
import pytest
from click.testing import CliRunner
from short_day import ACRE_M2, ROOT, short_scenario, table

from simulator.errors import InputError
from simulator.scenario.loading import load_scenario
from simulator.scenario.toml_text import toml_document
from simulator.study.crossover import crossover

AREAS = [10 * ACRE_M2, 80 * ACRE_M2]
RATES = ["2 gal/acre", "4 gal/acre"]
COSTS = {"price_per_acre": 16.0, "wage_per_hour": 25.0, "pack": {"large_pack": {"purchase": 2500.0}}}


def _pair(first: dict, second: dict, **changes):
    raw = copy.deepcopy(table()) | changes
    raw["equipment_set"] = {"a": first, "b": second}
    return load_scenario(raw, folder=ROOT / "scenarios")


def test_two_equal_sets_are_never_told_apart():
    answer = crossover(_pair({}, {}), "a", "b", AREAS, RATES, runs=4, most_runs=16)
    assert (answer.cells["winner"] == "").all()
    assert np.allclose(answer.cells["difference"], 0.0)
    # a difference of exactly nothing is settled: no further day is spent on it
    assert (answer.cells["runs"] == 4).all()


def test_more_packs_win_and_the_map_turns_round_with_the_order():
    loaded = short_scenario()
    ahead = crossover(loaded, "four", "two", AREAS[1:], RATES[:1], runs=6, most_runs=6)
    behind = crossover(loaded, "two", "four", AREAS[1:], RATES[:1], runs=6, most_runs=6)
    assert list(ahead.cells["winner"]) == ["four", "four"]
    assert ahead.cells["difference"].to_numpy() == pytest.approx(-behind.cells["difference"].to_numpy())
    assert ahead.sentence.startswith("On a job of about 80 acres, per day four wins everywhere")
    row = ahead.cells.iloc[0]
    # the same single field of 80 acres for both, done sooner by the set that does more a day
    assert (row["fields"], row["a_done_share"], row["b_done_share"]) == (1, 1.0, 1.0)
    assert row["a_work_days"] < row["b_work_days"]


def test_a_job_is_laid_out_in_as_many_fields_as_come_nearest():
    answer = crossover(short_scenario(), "two", "four", AREAS, RATES[:1], runs=3, most_runs=3, job_m2=36 * ACRE_M2)
    assert answer.cells.groupby("field_area_m2")["fields"].first().tolist() == [4, 1]
    with pytest.raises(InputError, match="at most 500"):
        crossover(short_scenario(), "two", "four", AREAS, RATES[:1], job_m2=6000 * ACRE_M2)


def test_days_go_where_the_border_is():
    # one set swaps a little slower, the other has a little more charger: the sign is hard to tell somewhere
    swap = {"rig": {"main": {"crew": {"tasks": {"swap": {"time": "63 s"}}}}}}
    fast = {
        "charger": {"fast": {"output_power": "7.9 kW"}},
        "rig": {"main": {"crew": {"tasks": {"swap": {"time": "60 s"}}}}},
    }
    answer = crossover(_pair(swap, fast), "a", "b", AREAS, RATES, runs=4, most_runs=16)
    cells = answer.cells
    for _, part in cells.groupby(["field_area_m2", "rate"]):
        assert part["runs"].nunique() == 1
        undecided = (part["low"] <= 0) & (part["high"] >= 0) & (part["high"] > part["low"])
        if undecided.any():
            assert (part["runs"] == 16).all()
    assert (cells.loc[cells["winner"] == "", "low"] <= 0).all()
    assert (cells.loc[cells["winner"] == "a", "low"] > 0).all()
    assert (cells.loc[cells["winner"] == "b", "high"] < 0).all()


def test_the_level_is_shared_among_the_looks():
    # Bonferroni: 4, 8, 16 days are three looks
    answer = crossover(_pair({}, {}), "a", "b", AREAS[:1], RATES[:1], runs=4, most_runs=16)
    assert answer.looks == 3
    assert answer.level == pytest.approx(1 - 0.05 / 3)


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


def test_without_costs_there_is_no_map_of_money():
    answer = crossover(short_scenario(), "two", "four", AREAS[:1], RATES[:1], runs=3, most_runs=3)
    assert answer.measures == ("day", "person_hour")
    assert answer.to_json()["measures"] == ["day", "person_hour"]


def test_values_are_ratios_of_sums():
    answer = crossover(short_scenario(), "two", "four", AREAS[:1], RATES[:1], runs=3, most_runs=3)
    day, hour = (answer.cells[answer.cells["measure"] == name].iloc[0] for name in ("day", "person_hour"))
    # two people: acres a person-hour times person-hours a day is acres a day, within a 4 h day and its margins
    assert 2 * 4 <= day["a_value"] / hour["a_value"] <= 2 * 6


def test_bad_input_is_refused():
    loaded = short_scenario()
    with pytest.raises(InputError) as caught:
        crossover(loaded, "two", "four", AREAS, ["2 gal", "-1 gal/acre", "3"])
    assert len(caught.value.problems) == 3
    with pytest.raises(InputError, match="twice"):
        crossover(loaded, "two", "two", AREAS, RATES)
    with pytest.raises(InputError, match="field size"):
        crossover(loaded, "two", "four", [math.nan], RATES)
    with pytest.raises(InputError, match="most_runs"):
        crossover(loaded, "two", "four", AREAS, RATES, runs=8, most_runs=4)
    with pytest.raises(InputError, match="no equipment set"):
        crossover(loaded, "two", "fuor", AREAS, RATES)


def test_the_command_writes_its_folder(tmp_path):
    from simulator.command.crossover import command

    file = tmp_path / "short.toml"
    file.write_text(toml_document(table()), encoding="utf-8")
    options = ["--sizes", "79..80 acre", "--rates", "2 gal/acre", "--runs", "3", "--most-runs", "3"]
    arguments = [str(file), "four", "two", *options, "--out", str(tmp_path / "out"), "--json", str(tmp_path / "a.json")]
    result = CliRunner().invoke(command, arguments, standalone_mode=False)
    assert result.exception is None
    assert "person-hour" in result.output
    assert "Every cell was looked at once" in result.output
    assert {"79.0", "80.0"} <= set(result.output.split())
    assert {"study.json", "cells.csv", "crossover.svg"} <= {path.name for path in (tmp_path / "out").iterdir()}
    assert (tmp_path / "a.json").is_file()
