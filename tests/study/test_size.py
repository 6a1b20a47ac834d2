"""Size: choices, targets, the guarantee, and the choice against looking at every set."""

from __future__ import annotations

import dataclasses
import json
import math

import numpy as np
import pytest
from short_days import THIRD_PACK, calm, rows_of, short

from simulator.errors import InputError
from simulator.experiment.selection import Selection
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import vary
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import area_unit
from simulator.study.cases import ACRES, Trials
from simulator.study.day_money import LEDGER
from simulator.study.size import size
from simulator.study.target import DailyTarget, JobTarget, SeasonTarget, share_limits

CHOICES = ("rig.main.packs.large_pack=2..4", "rig.main.power.trailer.chargers.fast=1,2")


def test_share_limits():
    """Clopper & Pearson 1934: n hits of n give the lower limit error^(1/n), none the upper 1 - error^(1/n)."""
    assert share_limits(20, 20, 0.05) == pytest.approx((0.05 ** (1 / 20), 1.0))
    assert share_limits(0, 20, 0.05) == pytest.approx((0.0, 1 - 0.05 ** (1 / 20)))
    low, high = share_limits(7, 10, 0.025)
    # tables of exact binomial limits, 7 of 10, 95 %: 0.348 to 0.933; from memory
    assert (low, high) == pytest.approx((0.348, 0.933), abs=6e-4)


def test_daily_verdict_is_wrong_no_more_often_than_it_says():
    """A true share at the tolerated limit is called good at most 5 % of times, plus 4 standard errors."""
    rng = np.random.Generator(np.random.Philox(2))
    target = DailyTarget(100.0, 0.9, 0.05)
    acres = np.where(rng.random((1000, 100)) < 0.85, 120.0, 80.0)
    wrong = np.mean([target.verdict(row, 0.05).sure for row in acres])
    assert wrong <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / 1000)
    good = np.where(rng.random((1000, 100)) < 0.9, 120.0, 80.0)
    assert np.mean([target.verdict(row, 0.05).hopeless for row in good]) <= 0.05 + 4 * math.sqrt(0.05 * 0.95 / 1000)


def test_season_verdict_is_wrong_no_more_often_than_it_says():
    """Normal days that just miss by the tolerance are called good at most 5 % of times, plus 4 standard errors."""
    rng = np.random.Generator(np.random.Philox(3))
    mean, sd, days = 150.0, 15.0, 30.0
    exact = days * mean - 1.2815515655446004 * sd * math.sqrt(days)  # the true tenth percentile of a season
    samples = rng.normal(mean, sd, size=(1000, 40))
    slack = 4 * math.sqrt(0.05 * 0.95 / 1000)
    missed = SeasonTarget(exact / (1 - 0.02), days=days)
    assert np.mean([missed.verdict(row, 0.05).sure for row in samples]) <= 0.05 + slack
    met = SeasonTarget(exact, days=days)
    assert np.mean([met.verdict(row, 0.05).hopeless for row in samples]) <= 0.05 + slack
    assert met.verdict(np.full(20, mean), 0.05).chance == 1.0


def test_cost_of_a_target():
    """Days that stop when the target is done; a season's cost is linear about the ratio: worked by hand."""
    costs = Costs(wage_per_hour=10.0, season_days=20, drive_per_km=0.0)
    table = np.zeros((2, len(LEDGER)))
    table[:, LEDGER.index("acres")] = [100.0, 50.0]
    table[:, LEDGER.index("crew_hours")] = 8.0
    # 80 a day on 20 days: the first day stops at 80 %, the second runs to its end
    assert DailyTarget(80.0).cost(table, costs, 500.0).tolist() == [500 + 20 * 64, 500 + 20 * 80]
    # 600 acres at 75 a day are 8 days of 80; the mean of the linearised values is the ratio estimate itself
    values = SeasonTarget(600.0, days=20).cost(table, costs, 500.0)
    assert values.mean() == pytest.approx(500 + 8 * 80)


def test_a_job_target_counts_runs_done_in_time():
    """8 of 10 runs are done within 4 days, one is given up; a run of 4.5 days at 100 a day and a share of ownership."""
    rows = rows_of(10, job_done=[1.0] * 9 + [0.0], days_out=[3.0] * 5 + [4.0] * 3 + [5.0, 60.0])
    target = JobTarget(760.0, 0.8, days=4)
    verdict = target.judge(rows, 0.05)
    assert (verdict.reached, verdict.chance, verdict.sure, verdict.hopeless) == (4.0, 0.8, False, False)
    assert JobTarget(760.0, 0.95, days=4).judge(rows, 0.05).reached == math.inf
    assert "never done" in target.shown(math.inf, area_unit("us"))
    table = np.zeros((1, len(LEDGER)))
    table[:, LEDGER.index("crew_hours")], table[:, LEDGER.index("work_days")] = 10.0, 4.5
    costs = Costs(wage_per_hour=10.0, drive_per_km=0.0)
    assert target.cost(table, costs, 50.0).tolist() == [50.0 + 4.5 * 100.0]
    assert target.words(area_unit("us")) == "do the job of 760 acres within 4 work days in 80 % of runs"


def test_runs_of_several_days_vary_less_than_days():
    """A season of 40 days is 10 runs of 4: its standard deviation is 4 sqrt(10) of a run's mean, by hand."""
    acres = np.array([90.0, 110.0] * 10)
    sd = acres.std(ddof=1)
    reached = SeasonTarget(1.0, days=40.0).verdict(acres, 0.05, 4).reached
    assert reached == pytest.approx(4000.0 - 1.2815515655446004 * 4.0 * math.sqrt(10.0) * sd)


def test_a_day_target_is_of_single_full_days():
    """Not of the runs' means, where runs have full days."""
    full = rows_of(60, acres=100.0, full_day_acres=[80.0, 120.0] * 30)
    assert DailyTarget(100.0).judge(full, 0.05).chance == 0.5
    assert DailyTarget(100.0).judge(rows_of(60, acres=100.0), 0.05).chance == 1.0


def test_the_list_within_days():
    """The third pack is what it takes; every set has the same list."""
    loaded = calm("work=once", "field.0.area=40 acre", "field.1.area=40 acre")
    found = size(loaded, CHOICES[:1], within_days=2, runs=50)
    assert found.target.acres == pytest.approx(80.0)
    assert all(one.verdict.reached >= 1 for one in found.candidates)
    assert "the job of 80 acres within 2 work days in 90 % of runs" in found.sentence
    with pytest.raises(InputError, match="needs a job that ends"):
        size(calm(), CHOICES[:1], within_days=2)
    with pytest.raises(InputError, match="most_work_days"):
        size(loaded, CHOICES[:1], within_days=61)


@pytest.fixture(scope="module")
def target():
    """Return acres a season half way between what two packs and three packs do."""
    loaded = calm()
    three = vary(loaded.sets[0], [THIRD_PACK], loaded.folder)
    rows = Trials(loaded, 5).simulate([make_plan(loaded.sets[0]), make_plan(three)], 20)
    return round(30 * (rows[0][:, ACRES].mean() + rows[1][:, ACRES].mean()) / 2)


@pytest.fixture(scope="module")
def answer(target):
    return size(calm(), CHOICES, season_acres=target, runs=50)


def test_the_choice_is_right(answer):
    """Against every set simulated as long: of those that reach the target, none is cheaper than the indifference."""
    assert answer.best is not None
    good = [one for one in answer.candidates if one.status == "good"]
    assert answer.best in good
    assert answer.best.cost.mean <= min(one.cost.mean for one in good) + answer.indifference
    assert {one.status for one in answer.candidates if "large_pack=2" in one.label} == {"misses"}
    assert all(one.status != "" for one in answer.candidates)
    assert len(answer.candidates) == 6
    assert answer.sentence.startswith("The cheapest set shown to reach ")
    assert "acres in 30 work days in 90 % of seasons is large_pack=" in answer.sentence
    assert "95 % confidence" in answer.guarantee


def test_costs_and_marks_are_explained(answer):
    """The cost is that of a season's work; only marks that stand in the table are explained."""
    assert answer.legend.startswith("Cost a season: wages, fuel, driving, upkeep, interest and wear")
    for mark in ("good", "misses", "undecided", "dearer"):
        assert (f"{mark}: " in answer.legend) == (mark in {one.status for one in answer.candidates})
    assert answer.to_json()["legend"] == answer.legend


def test_costs_too_nearly_the_same_are_said_to_be(answer):
    """When the selection gives up, the guarantee says of how many, after how many days, and what helps."""
    picked = Selection(0, False, (0, 2), (1.0, 1.1, 1.0), (4000, 60, 4000))
    text = dataclasses.replace(answer, selection=picked, indifference=300.0).guarantee
    assert "the cost of 2 of them is too nearly the same to tell which is cheapest in 4,000 runs each" in text
    assert "the choice has the lowest mean, and a --indifference above $300 decides sooner" in text
    sure = dataclasses.replace(answer, selection=dataclasses.replace(picked, decided=True)).guarantee
    assert "too nearly" not in sure


def test_the_frontier_is_not_beaten(answer):
    """No set has both a lower cost and a higher output than one of the frontier."""
    for front in answer.frontier:
        assert not any(
            one.cost.mean < front.cost.mean and one.verdict.reached > front.verdict.reached for one in answer.candidates
        )
    table = answer.table
    assert list(table["status"]).count("chosen") == 1
    assert table["cost"].is_monotonic_increasing
    assert json.loads(json.dumps(answer.to_json(), allow_nan=False))["best"]["status"] == "good"
    assert answer.best not in answer.near_misses
    assert len(answer.near_misses) >= 2


def test_what_nobody_reaches():
    """A target out of reach is refused with the nearest set; nothing is guaranteed."""
    none = size(short(), CHOICES[:1], acres_per_day=500, runs=50)
    assert none.best is None
    assert none.sentence.startswith("None of the 3 sets")
    assert "nearest is" in none.sentence
    assert "nothing is guaranteed" in none.guarantee
    # hopeless after the screen: nobody is simulated longer
    assert {len(one.rows) for one in none.candidates} == {20}


def test_sets_that_cannot_be_are_listed():
    """A combination that is no valid set is left out with the reason; when all are, that is an error."""
    found = size(short(), ["rig.main.packs.large_pack=0,2"], acres_per_day=10, runs=50)
    assert len(found.candidates) == len(found.refused) == 1
    assert "large_pack=0" in found.refused[0][0]
    with pytest.raises(InputError, match="no combination is a valid"):
        size(short(), ["rig.main.packs.large_pack=0"], acres_per_day=10)
