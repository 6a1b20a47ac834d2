"""Payoff: the paired difference, its money, its break-evens, and what it says plainly."""

from __future__ import annotations

import json
import math
import tomllib
from dataclasses import replace

import numpy as np
import pytest
from short_days import PRICED, SHORT, THIRD_PACK, calm, rows_of, short

from simulator.analysis.bottleneck import Bottleneck
from simulator.analysis.summary import place_of
from simulator.analysis.variations import Variation
from simulator.experiment.estimates import Interval, mean_interval
from simulator.experiment.set_result import SetResult
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import load_scenario, vary
from simulator.scenario.units import area_unit
from simulator.study.cases import ACRES, Look, Trials
from simulator.study.change import JobChange, joint_ledger, make_case
from simulator.study.day_money import jackknife, job_cost_per_acre
from simulator.study.payoff import constraint_words, noise_reduction, payoff, small_sample_note
from simulator.study.payoff_answer import Pair, best_pair, pair_note

DAYS = 24


def simulated(loaded, sets, runs):
    return Trials(loaded, loaded.base.seed).simulate([make_plan(entry) for entry in sets], runs)


@pytest.fixture(scope="module")
def answer():
    return payoff(short(), changes=[THIRD_PACK], runs=DAYS, one_more_runs=10)


def test_it_is_the_paired_difference(answer):
    """Against two plain simulations of the same replications."""
    loaded = short()
    sets = [loaded.sets[0], vary(loaded.sets[0], [THIRD_PACK], loaded.folder)]
    rows = simulated(loaded, sets, DAYS)
    by_hand = mean_interval(rows[1][:, ACRES] - rows[0][:, ACRES])
    extra = answer.extra_acres_per_day
    assert (extra.mean, extra.low, extra.high) == pytest.approx((by_hand.mean, by_hand.low, by_hand.high))
    assert answer.acres_per_day.after - answer.acres_per_day.before == pytest.approx(by_hand.mean)
    # no demand is met: a season of 30 days sells 30 times as much, and its interval is 30 times as wide
    season = answer.extra_acres_per_season
    assert (season.mean, season.low) == pytest.approx((30 * by_hand.mean, 30 * by_hand.low))


def test_it_hangs_together(answer):
    """Worth is the annuity of the margin; the drawn futures lie about it; the sentence says what the numbers say."""
    factor = (1 - 1.08**-5) / 0.08
    assert answer.net_present_value.mean == pytest.approx(factor * answer.extra_margin_per_season.mean)
    worth = answer.futures["net_present_value"]
    spread = answer.net_present_value.half_width
    assert abs(worth.mean() - answer.net_present_value.mean) < spread
    assert answer.chance == pytest.approx((worth > 0).mean())
    assert answer.cash["p50"].iloc[0] == -2000
    assert answer.sentence.startswith("With one more 1,800 Wh pack this set does")
    assert f"{DAYS} runs" in answer.sentence
    assert answer.pays is (answer.net_present_value.low > 0)
    assert list(answer.tables["payoff.csv"]["quantity"])[:3] == ["output before", "output after", "extra output"]
    text = json.dumps(answer.to_json(), allow_nan=False)
    assert json.loads(text)["bottleneck"]["before"] == answer.bottleneck.before


def test_break_evens_turn_where_they_say():
    """Put each break-even back in: the margin is nothing there, negative below and positive above."""
    loaded = short()
    answer = payoff(loaded, changes=[THIRD_PACK], runs=DAYS, one_more_runs=0, worlds=50)
    base = loaded.sets[0]
    changed = vary(base, [THIRD_PACK], loaded.folder)
    rows = simulated(loaded, [base, changed], DAYS)
    costs = base.scenario.costs
    means = joint_ledger(rows, (base, changed), costs).mean(axis=0)
    case, _ = make_case(base, changed, costs, None, "payoff")
    even = answer.break_even
    scale = abs(float(case.margin(means)))

    def margin(case=case, **changes):
        return float(replace(case, **changes).margin(means))

    def priced(**update):
        return make_case(base, changed, costs.model_copy(update=update), None, "payoff")[0]

    assert margin(days=even.season_days) == pytest.approx(0.0, abs=1e-3 * scale)
    assert margin(days=0.9 * even.season_days) < 0
    assert margin(demand=even.season_demand_acres) == pytest.approx(0.0, abs=1e-3 * scale)
    assert margin(priced(price_per_acre=even.price_per_acre)) == pytest.approx(0.0, abs=1e-3 * scale)
    dearer = costs.pack["large_pack"].model_copy(update={"purchase": even.purchase_price.mean})
    assert even.purchase_price.mean > 2000
    # the packs there are cost the new price too, but their use-limited life keeps the sign near the turning point
    assert margin(priced(pack={"large_pack": dearer})) == pytest.approx(0.0, abs=0.25 * scale)


def test_a_met_demand_is_said(answer):
    """Demand below what the set does already: nothing more is sold, days are saved, and the notes say so."""
    met = payoff(short("costs.season_demand=500 acre"), changes=[THIRD_PACK], runs=DAYS, one_more_runs=0, worlds=100)
    assert met.extra_acres_per_season.mean == pytest.approx(0.0, abs=1e-9)
    assert met.saved_days_per_season > 0
    assert "cannot be sold" in met.notes[0]
    assert met.net_present_value.mean < answer.net_present_value.mean
    assert not any("cannot be sold" in note for note in answer.notes)
    between = 30 * (met.acres_per_day.before + met.acres_per_day.after) / 2
    part = payoff(
        short(f"costs.season_demand={between} acre"), changes=[THIRD_PACK], runs=DAYS, one_more_runs=0, worlds=50
    )
    assert "Only part" in part.notes[0]
    assert 0 < part.extra_acres_per_season.mean < answer.extra_acres_per_season.mean


def test_hour_pay_and_a_bad_deal_are_said():
    """Paid by the hour, more acres earn nothing, so a pack that only wears costs money."""
    text = PRICED.read_text(encoding="utf-8").replace("price_per_acre = 14.0", "price_per_hour = 150.0")
    loaded = load_scenario(tomllib.loads(text), SHORT)
    poor = payoff(loaded, changes=[THIRD_PACK], price=50_000.0, runs=DAYS, one_more_runs=0, worlds=50)
    assert any("paid by the hour" in note for note in poor.notes)
    assert poor.pays is False
    assert "before tax, so leave it" in poor.sentence
    assert ["chance that it pays", "0 %"] in [row[:2] for row in poor.rows]
    assert "does not pay" in poor.sentence
    assert poor.chance == 0.0
    assert poor.break_even.price_per_acre is None
    assert math.isinf(poor.payback_seasons.p50)


def test_no_change_is_worth_nothing_and_cannot_be_told():
    """The same set twice, for free: exactly nothing, and never 'pays'."""
    same = payoff(short(), changes=["rig.main.packs.large_pack=2"], price=0.0, runs=12, one_more_runs=0, worlds=20)
    assert same.extra_acres_per_day.mean == 0
    assert same.net_present_value.mean == pytest.approx(0.0, abs=1e-9)
    assert same.pays is False
    assert math.isnan(same.noise_reduction)


def test_the_best_pair_is_what_both_add_together():
    """Made-up days: a charger adds nothing alone, nor does the change, but both together add ten acres."""
    noise = np.random.default_rng(5).normal(0.0, 1.0, (4, 30))
    base, changed = rows_of(30, 0.0, acres=100 + noise[0]), rows_of(30, 0.0, acres=100 + noise[1])
    charger, helper = (
        Variation("one more charger", "chargers", ("c=2",)),
        Variation("one more helper", "crew", ("h=2",)),
    )
    both = [rows_of(30, 0.0, acres=110 + noise[2]), rows_of(30, 0.0, acres=100 + noise[3])]

    def looked(variations, tables):
        return Look(tuple((one, None, None) for one in variations), tables, None)

    tried, none = looked([charger, helper], both), looked([], [])
    pair = best_pair(looked([charger], [rows_of(30, 0.0, acres=100 + noise[3])]), tried, changed, base)
    assert pair is not None
    assert pair.change == "one more charger"
    by_hand = both[0][:, ACRES] - base[:, ACRES]
    assert pair.extra_acres_per_day.mean == pytest.approx(by_hand.mean())
    assert pair.only_together
    text = pair.sentence(area_unit("us"))
    assert text.startswith("Together with one more charger it adds 1")
    assert "neither is shown to add any alone" in text
    # where one of the two helps alone, or was not tried alone, that is not claimed
    for alone in (looked([charger], [rows_of(30, 0.0, acres=108 + noise[3])]), none):
        other = best_pair(alone, tried, changed, base)
        assert other is not None
        assert not other.only_together
        assert "alone" not in other.sentence(area_unit("us"))
    assert best_pair(none, looked([helper], both[1:]), changed, base) is None
    assert best_pair(none, none, changed, base) is None


def test_pairs_that_were_tried_stand_in_the_headline(answer):
    """Against the same two sets simulated here; otherwise a note says how to ask."""
    if answer.pair is None:
        assert any(note.startswith("Tried together with one more of each (10 runs)") for note in answer.notes)
    else:
        assert answer.pair.sentence(answer.unit) in answer.sentence
        loaded = short()
        both = vary(loaded.sets[0], [THIRD_PACK, *answer.pair.setting.split(" ")], loaded.folder)
        rows = simulated(loaded, [loaded.sets[0], both], 10)
        by_hand = rows[1][:, ACRES] - rows[0][:, ACRES]
        assert answer.pair.extra_acres_per_day.mean == pytest.approx(by_hand.mean())
    untried = payoff(short(), changes=[THIRD_PACK], runs=12, one_more_runs=0, worlds=20)
    assert untried.pair is None
    assert "Pairs of changes were not tried" in untried.notes[-1]
    assert "--to" in untried.notes[-1]
    assert untried.to_json()["pair"] is None


def test_the_note_tells_how_to_price_a_pair():
    """A later value of the same key stands instead of the earlier one."""
    interval = mean_interval(np.array([1.0, 2.0, 3.0]))
    pair = Pair("one more charger", "a.chargers.fast=2", interval, interval, False)
    assert "give packs.big=3 a.chargers.fast=2." in pair_note(pair, 30, ["packs.big=3"])
    assert "give a.chargers.fast=2." in pair_note(pair, 30, ["a.chargers.fast=3"])
    assert "name it with --to" in pair_note(pair, 30, [])
    assert "(30 runs), nothing is shown to add more" in pair_note(None, 30, ["x=1"])


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        (("packs",), ("chargers",), "The constraint moves on: first the packs hold the set back, then the chargers"),
        (("packs",), ("packs",), "Before and after the change the packs hold the set back."),
        (("packs", "crew"), ("crew", "packs"), "Before and after the change the packs or the crew holds"),
        (("packs",), ("chargers", "packs"), "after it the chargers or the packs hold it back."),
    ],
)
def test_constraints_about_equal_are_named_together(before, after, words):
    """Held back by several alike: no claim that the constraint moved while one of them stays."""
    hold = tuple(Bottleneck(names[0], "", names[1:]) for names in (before, after))
    assert words in constraint_words(*hold)


def test_common_days_cut_the_variance_fivefold():
    """Common random numbers on the third pack, whole days with weather stoppages: (Var a + Var b) / Var(a - b) >= 5.

    Measured at the time of writing: about 13 over 60 days.
    """
    loaded = load_scenario(PRICED)
    sets = [loaded.sets[0], vary(loaded.sets[0], [THIRD_PACK], loaded.folder)]
    rows = simulated(loaded, sets, 60)
    reduction = noise_reduction(rows[1][:, ACRES], rows[0][:, ACRES])
    assert reduction >= 5.0
    # the same days paired wrongly are as good as independent: the streams, not the sets, make the difference
    shifted = noise_reduction(np.roll(rows[1][:, ACRES], 1), rows[0][:, ACRES])
    assert shifted < 3.0


@pytest.mark.slow
def test_intervals_cover_the_long_run(monkeypatch):
    """400 studies of 12 runs each: 95 % intervals of acres and margin hold the mean of all runs 93-97 % of times.

    Days without weather stoppages. Where stoppages make days of three hours strongly skewed (skewness -1.2) the t
    interval of so few days holds its truth less often, measured 92.4 % at 12 days, 93.9 % at 30, 94.5 % at 50: payoff
    then says so. Whole days with stoppages (skewness -0.4): 94.5 % at 12.
    """
    monkeypatch.delenv("ACREDAY_VERIFY", raising=False)  # 9600 days; each kind of day is verified in other tests
    loaded = calm()
    sets = (loaded.sets[0], vary(loaded.sets[0], [THIRD_PACK], loaded.folder))
    rows = Trials(loaded, 77, workers=2).simulate([make_plan(entry) for entry in sets], 4800)
    costs = loaded.base.costs
    joint = joint_ledger(rows, sets, costs)
    case, _ = make_case(sets[0], sets[1], costs, None, "payoff")
    truth = float(case.margin(joint.mean(axis=0)))
    acres = rows[1][:, ACRES] - rows[0][:, ACRES]
    hits = np.zeros(2)
    for study in range(400):
        part = slice(12 * study, 12 * study + 12)
        found = mean_interval(acres[part]), jackknife(case.margin, joint[part])
        for place, (interval, true) in enumerate(zip(found, (float(acres.mean()), truth), strict=True)):
            hits[place] += interval.low <= true <= interval.high
    assert (hits / 400 >= 0.93).all(), hits / 400
    assert (hits / 400 <= 0.97).all(), hits / 400


def test_few_skewed_days_are_said():
    """Many like days and a few lost ones: intervals of few days are then too narrow, and the notes say so."""
    skewed = np.array([8.0] * 18 + [0.0, 1.0])
    assert "too narrow" in small_sample_note(skewed)[0]
    assert small_sample_note(np.tile(skewed, 4)) == []
    assert small_sample_note(np.linspace(0, 1, 20)) == []


def test_what_a_change_does_to_the_job():
    """With the list worked off once: its cost of an acre is that of each set's own job; the words by hand."""
    loaded = short("work=once")
    answer = payoff(loaded, changes=[THIRD_PACK], runs=12, one_more_runs=0, worlds=20)
    after = vary(loaded.sets[0], [THIRD_PACK], loaded.folder)
    entries = (loaded.sets[0], after)
    rows = simulated(loaded, entries, 12)
    costs = [
        job_cost_per_acre(entry, SetResult(entry.name, np.arange(12), table, entry.scenario)).mean
        for entry, table in zip(entries, rows, strict=True)
    ]
    assert answer.job.cost_per_acre.mean == pytest.approx(costs[1] - costs[0], abs=1e-9)
    days = [table[:, place_of("work_days")].mean() for table in rows]
    assert answer.job.work_days.mean == pytest.approx(days[1] - days[0], abs=1e-12)
    assert "The job takes" in answer.sentence
    assert payoff(short(), changes=[THIRD_PACK], runs=12, one_more_runs=0, worlds=20).job is None
    change = JobChange(Interval(-0.25, -0.3, -0.2, 9, 0.05), Interval(0.1, -0.3, 0.5, 9, 0.4))
    said = "The job takes 0.25 (0.20 to 0.30) fewer work days, and an acre costs the same as far as the runs can tell."
    assert change.sentence(area_unit("us"), "$") == said
