"""Running: the same tables from any number of workers, any order, after interruption and resumption."""

import numpy as np
import pytest
from run_store_support import same

from simulator.analysis.resources import time_labels
from simulator.analysis.summary import place_of
from simulator.errors import InputError
from simulator.experiment.run import run, simulate_day


def test_runs_hang_on_the_seed_and_not_on_how_many_are_run(loaded, reference):
    few, other = (run(loaded, runs=5, seed=seed, one_more_runs=0).sets[0].rows for seed in (1, 2))
    assert np.array_equal(few, reference.sets[0].rows[:5], equal_nan=True)
    assert not np.array_equal(other, few, equal_nan=True)


def test_precision_stops_when_it_is_reached(loaded):
    result = run(loaded, runs=10, precision=0.02, one_more_runs=0)
    for entry in result.sets:
        interval = entry.acres()
        assert interval.half_width is not None
        assert interval.half_width <= 0.02 * interval.mean
    assert same(run(loaded, runs=10, precision=0.02, one_more_runs=0, workers=2), result)


@pytest.mark.parametrize("precise", ["p10", "difference"])
def test_precision_of_other_measures(loaded, precise):
    result = run(loaded, runs=10, precision=0.06, precise=precise, one_more_runs=0, workers=2)
    assert not result.stopped


def test_budget_says_what_it_reached(loaded):
    result = run(loaded, budget_s=1.5, one_more_runs=0)
    assert "the time was over after" in result.stopped
    assert "known to ±" in result.stopped


@pytest.mark.parametrize(
    ("name", "value", "says"),
    [
        ("runs", 1, "2 to"),
        ("workers", 0, "1 to 1024"),
        ("precision", 1.5, "a share"),
        ("budget_s", 0.1, "at least 1 s"),
        ("seed", -3, "0 to"),
    ],
)
def test_bad_numbers(loaded, name, value, says):
    with pytest.raises(InputError, match=says):
        run(loaded, **{name: value})


def test_time_share_sums_to_one(reference):
    for entry in reference.sets:
        assert sum(entry.time_share().values()) == pytest.approx(1.0, abs=1e-12)
        assert set(entry.time_share()) <= set(time_labels())


def test_result_document_has_the_published_shape(reference):
    document = reference.to_json()
    assert set(document) >= {"scenario", "seed", "equipment_sets", "paired"}
    for entry in document["equipment_sets"]:
        assert set(entry["acres_per_day"]) >= {"mean", "ci95", "p10", "p50", "p90"}
        assert set(entry["bottleneck"]) >= {"resource", "sentence", "active_period_share", "one_more"}
        assert set(entry["per_day"]) >= {
            "sorties", "loads", "pack_swaps", "charge_cycles", "generator_fuel_l", "energy_kwh", "paid_hours"
        }  # fmt: skip
        assert entry["hectares_per_day"]["mean"] == pytest.approx(entry["acres_per_day"]["mean"] / 2.4710538, rel=1e-6)
    pair = document["paired"][0]
    assert set(pair) >= {"a", "b", "difference", "ci95", "a_wins_share"}
    mean = [entry["acres_per_day"]["mean"] for entry in document["equipment_sets"]]
    assert pair["difference"] == pytest.approx(mean[0] - mean[1], abs=1e-9)


def test_frames_have_one_row_a_run(reference):
    assert len(reference.runs) == 140
    assert set(reference.runs["equipment_set"]) == {"three_packs", "four_packs"}
    assert (reference.runs["mixed"] - reference.runs["applied"] - reference.runs["left_over"]).abs().max() < 1e-6


def test_one_more_is_the_paired_difference_of_a_set_with_one_more(loaded):
    result = run(loaded, runs=12, one_more_runs=12)
    three, four = result.sets
    found = next(change for change in three.one_more if change.setting == "rig.main.packs.large_pack=4")
    assert found.acres_per_day == pytest.approx(float((four.column("acres") - three.column("acres")).mean()), abs=1e-9)
    assert found.runs == 12


def test_one_day_is_that_replication(loaded, reference):
    days = int(reference.sets[1].rows[3][place_of("days_out")])
    area = 0.0
    for work_day in range(1, days + 1):
        day = simulate_day(loaded, "four_packs", run=3, work_day=work_day)
        area += sum(sortie.area_to_m2 - sortie.area_from_m2 for sortie in day.log.sorties)
    row = reference.sets[1].rows[3]
    assert area == pytest.approx(row[place_of("area_m2")] * row[place_of("work_days")], abs=1e-6)
    with pytest.raises(InputError, match=f"has {days} work days"):
        simulate_day(loaded, "four_packs", run=3, work_day=days + 1)
