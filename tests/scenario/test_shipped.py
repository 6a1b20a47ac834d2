"""Every shipped scenario loads, is sound, keeps the conservation laws on simulated days, and says it is invented."""

import json
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest
from small_day import days_of

from simulator.analysis.resources import time_labels
from simulator.analysis.summary import columns, place_of, summarise
from simulator.experiment.runs import simulate_replication
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario
from simulator.scenario.streams import StreamBank

FOLDER = Path(__file__).parents[2] / "scenarios"
FILES = sorted(FOLDER.glob("*.toml"))
DAYS = 3
SHIPPED = {"two_sizes", "third_pack", "granules", "two_rigs", "small_fields", "willow_basin", "light_and_heavy_pack"}
SETS = [
    (path.stem, name)
    for path in FILES
    for name in tomllib.loads(path.read_text("utf-8")).get("equipment_set", {path.stem: {}})
]


def _acres(path, set_name, days, settings=()):
    """Acres of each day of one set, on the scenario's own seed."""
    loaded = load_scenario(path, settings)
    plan, bank = make_plan(loaded.equipment_set(set_name)), StreamBank(loaded.base.seed)
    place = place_of("acres")
    return np.array([summarise(plan, simulate_replication(plan, bank, day), False)[place] for day in range(days)])


def test_the_promised_scenarios_are_there():
    assert {path.stem for path in FILES} >= SHIPPED


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_name_and_invention_are_stated(path):
    text = path.read_text("utf-8")
    loaded = load_scenario(path)
    assert loaded.name == path.stem
    assert all(entry.scenario.invented for entry in loaded.sets)
    assert "invented" in "".join(line for line in text.splitlines() if line.startswith("#"))
    assert "invented" in loaded.base.notes.lower()
    # a class is told by its size; whatever a rig is made of starts from the project's own invented catalogue
    for table in ("aircraft", "pack", "charger", "generator"):
        for entry in tomllib.loads(text).get(table, {}).values():
            assert "like" in entry


def test_the_drawn_fields_say_that_they_are_invented():
    document = json.loads((FOLDER / "fields_willow_basin.geojson").read_text("utf-8"))
    assert "invented" in document["note"]
    assert all(feature["properties"]["note"] == "invented" for feature in document["features"])


@pytest.mark.parametrize(("stem", "set_name"), SETS)
def test_days_of_every_set_keep_the_conservation_laws_and_stay_below_what_the_passes_alone_allow(stem, set_name):
    """Field capacity without any loss, width times speed (ASABE EP496.3, from memory), bounds every simulated rate."""
    loaded = load_scenario(FOLDER / f"{stem}.toml")
    plan = make_plan(loaded.equipment_set(set_name))
    # durations of a flight are stretched by its own factor, whose least value is the fastest flight
    most = sum(
        number * max(plan.profiles[kind.name, index].speed_m_per_s for index in range(len(plan.fields))) * kind.swath_m
        / kind.flight_time_factor.lower()
        for rig in plan.rigs
        for kind, number in rig.aircraft
    )  # fmt: skip
    for day in days_of(plan, seed=loaded.base.seed, count=DAYS):
        row = dict(zip(columns(), summarise(plan, day, False), strict=True))
        hours = row["field_hours"] / len(plan.rigs)
        assert 0.1 * most * hours * 3600 < row["area_m2"] < most * hours * 3600
        # every aircraft second stands under exactly one label
        total_s = math.fsum(row[f"time_s/{label}"] for label in time_labels())
        units = sum(number for rig in plan.rigs for _, number in rig.aircraft)
        assert total_s <= units * day.log.paid_until_s * (1 + 1e-9)
        if len(plan.rigs) == 1:
            assert total_s == pytest.approx(units * day.log.paid_until_s, rel=1e-9)


def test_two_trailers_finish_the_list_and_one_is_slower():
    loaded = load_scenario(FOLDER / "two_rigs.toml")
    hours = {}
    for name in ("one_rig", "two_rigs"):
        plan, bank = make_plan(loaded.equipment_set(name)), StreamBank(loaded.base.seed)
        ends = [simulate_replication(plan, bank, day).log.list_finished_s for day in range(8)]
        hours[name] = [math.inf if end is None else end / 3600 for end in ends]
    assert np.isfinite(hours["two_rigs"]).all()
    assert all(two < one for one, two in zip(hours["one_rig"], hours["two_rigs"], strict=True))


def test_a_larger_tank_gains_where_more_is_applied():
    """Large tanks win at 3 gal/acre and up (common practice, no source): the ratio of areas rises with the rate."""
    path = FOLDER / "two_sizes.toml"
    low = np.log(_acres(path, "large", 12) / _acres(path, "small", 12))
    rate = ['product.rate="5 gal/acre"']
    high = np.log(_acres(path, "large", 12, rate) / _acres(path, "small", 12, rate))
    gain = high - low
    assert gain.mean() > 3 * gain.std(ddof=1) / math.sqrt(len(gain))


def test_a_light_rig_gains_on_small_fields_far_apart():
    """Small rigs gain on 10-30 acre fields with many moves (common practice, no source), against the mixed list."""
    mixed, small = FOLDER / "two_sizes.toml", FOLDER / "small_fields.toml"
    there = np.log(_acres(mixed, "small", 12) / _acres(mixed, "large", 12))
    here = np.log(_acres(small, "small", 12) / _acres(small, "large", 12))
    error = math.sqrt((there.var(ddof=1) + here.var(ddof=1)) / len(here))
    assert here.mean() - there.mean() > 3 * error


def test_the_light_pack_leads_at_the_common_rate_and_the_heavy_one_where_little_is_applied():
    """Weight against watt-hours: what the README says of this scenario."""
    path = FOLDER / "light_and_heavy_pack.toml"
    for settings, ahead, behind in (((), "light", "heavy"), (['product.rate="0.5 gal/acre"'], "heavy", "light")):
        gain = _acres(path, ahead, 8, settings) - _acres(path, behind, 8, settings)
        assert gain.mean() > 3 * gain.std(ddof=1) / math.sqrt(len(gain))
