"""Ladder: steps that pay beyond doubt, the bottleneck of each rung, and where it ends."""

from __future__ import annotations

import json

import numpy as np
import pytest
from short_days import SCENARIOS, SHORT, rows_of, short

from simulator.analysis.variations import LARGER
from simulator.errors import InputError
from simulator.scenario.loading import load_scenario, vary
from simulator.study.ladder import capped, ladder
from simulator.study.words import held_words

DAYS = 12


@pytest.fixture(scope="module")
def answer():
    return ladder(short(), runs=DAYS)


def test_the_first_step_is_the_third_pack(answer):
    """Common practice, no source: the 40 L class is kept flying by three packs; from two, that is the step to take."""
    first = answer.rungs[0]
    assert first.taken is not None
    assert first.taken.settings == ("rig.main.packs.large_pack=3",)
    assert first.bottleneck.resource == "packs"
    assert first.taken.price == 2000
    assert answer.sentence.startswith("Buy: one more 1,800 Wh pack")
    assert "Not yet: " in answer.sentence


def test_each_step_is_the_best_that_pays_beyond_doubt(answer):
    """On every rung but the last the step taken has the largest worth, above 0 at the shared confidence."""
    for rung in answer.rungs[:-1]:
        assert rung.taken is rung.steps[0]
        assert rung.taken.net_present_value.low > 0
    last = answer.rungs[-1]
    assert last.taken is None
    assert answer.ended == "money"
    assert all(step.net_present_value is None or step.net_present_value.low <= 0 for step in last.steps)


def test_rungs_stand_on_each_other(answer):
    """Output of a rung is that of the one below and what its step added; the settings make the set at the top."""
    for below, above in zip(answer.rungs, answer.rungs[1:], strict=False):
        added = above.acres_per_day - below.acres_per_day
        assert added == pytest.approx(below.taken.extra_acres_per_day.mean)
    loaded = short()
    top = vary(loaded.sets[0], answer.settings, loaded.folder)
    assert top.scenario.rig["main"].packs["large_pack"] == 2 + sum("packs" in text for text in answer.settings)
    assert json.loads(json.dumps(answer.to_json(), allow_nan=False))["rungs"][0]["bottleneck"] == "packs"
    assert len(answer.tables["tried.csv"]) == sum(len(rung.steps) for rung in answer.rungs)


def test_larger_equipment_is_priced_in_proportion(answer):
    """A generator 25 % larger costs a quarter of the price; the pump has its own."""
    prices = {step.change: step.price for step in answer.rungs[0].steps}
    assert prices["a 15 kW generator instead of the 12 kW generator"] == pytest.approx((LARGER - 1) * 3500)
    assert prices["a fill pump 1.5 times as fast"] == 700
    assert prices["one more helper"] == 0


def test_without_costs_acres_decide():
    """No table [costs]: steps that add at least 1 % beyond doubt, and the notes say so."""
    loaded = load_scenario(SCENARIOS / "third_pack.toml", SHORT)
    by_acres = ladder(loaded, "two_packs", runs=10, most_rungs=1)
    assert by_acres.costs is None
    assert by_acres.rungs[0].taken.extra_acres_per_day.low > 0
    assert "acres alone" in by_acres.notes[0]
    assert np.isnan(by_acres.tables["ladder.csv"]["price"].iloc[0])
    with pytest.raises(InputError, match="needs the table"):
        ladder(loaded, by="money")


def test_dear_packs_are_not_bought_and_pairs_are_tried():
    """When nothing single pays, pairs are looked at; a lone unpriced change is left out and named."""
    dear = ladder(short("costs.pack.large_pack.purchase=900000"), runs=10, most_rungs=1, pairs=True)
    assert all("large_pack" not in text for text in dear.settings)
    assert any(" with " in step.change for step in dear.rungs[-1].steps)
    unpriced = ladder(short("costs.charger={}"), runs=10, most_rungs=1)
    assert any("one more 8 kW charger" in note for note in unpriced.notes)


def test_work_that_runs_out_is_said_to_cap_the_output():
    """By hand: 2000 acres at 100 a day are 20 of 30 days, at 125 a day 16."""
    rows, more = rows_of(4, acres=100.0), rows_of(4, acres=125.0)
    entry = short("work=repeat", "costs.season_demand=2000 acre").sets[0]
    (said,) = capped(entry, entry.scenario.costs, rows, more)
    assert "The demand of 2,000 acres a season caps what is sold" in said
    assert "of 30 work days it is reached after 20 days at the foot and after 16 days at the top" in said
    entry = short("work=repeat", "costs.season_demand=3500 acre").sets[0]
    (said,) = capped(entry, entry.scenario.costs, rows, more)
    assert "reached never at the foot and after 28 days at the top" in said
    entry = short("work=repeat", "costs.season_demand=9000 acre").sets[0]
    assert capped(entry, entry.scenario.costs, rows, more) == ()


def test_a_rung_says_what_it_does_to_the_job(answer):
    """Where the list is worked off once: fewer work days and a lower cost of an acre; else nothing."""
    climbed = ladder(short("work=once"), runs=10, most_rungs=1)
    step = climbed.taken[0]
    assert step.job.work_days.mean < 0
    assert step.job.cost_per_acre.mean < 0
    said = climbed.rung_sentence(climbed.rungs[0])
    assert "The job takes" in said
    assert "fewer work days, and an acre costs $" in said
    assert all(step.job is None for step in answer.rungs[0].steps)


def test_what_holds_alike_is_named_together():
    """In the sentence of the ladder and of its rungs."""
    assert held_words("packs") == "the packs hold"
    assert held_words("packs", "crew") == "the packs or the crew holds"
    assert held_words("mix supply", "crew", "chargers") == "mixing and filling, the crew or the chargers hold"
