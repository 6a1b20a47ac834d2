"""Whether a change pays off: both sets on the same random runs, their difference in money, and how sure it is."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from simulator.analysis.bottleneck import Bottleneck
from simulator.errors import InputError
from simulator.experiment.estimates import paired_interval
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.schema_costs import Costs, Item
from simulator.scenario.units import AreaUnit, area_unit
from simulator.study.answer import spread_of
from simulator.study.cases import (
    ACRES,
    FloatArray,
    Look,
    Report,
    Trials,
    changed_set,
    check_runs,
    one_set,
)
from simulator.study.change import Case, break_even, job_change, joint_ledger, make_case
from simulator.study.day_money import LEDGER, SeasonMoney, days_of_run, jackknife, resampler, season_draws
from simulator.study.money import annuity_factor, demand_acres, need_costs, payback_years
from simulator.study.payoff_answer import BeforeAfter, Payoff, best_pair, pair_note
from simulator.study.words import held_words, money_text

if TYPE_CHECKING:
    import pandas as pd

WORLDS = 1000
"""Futures drawn to say how sure the answer is."""


def payoff(
    loaded: LoadedScenario, set_name: str | None = None, changes: Sequence[str] = (), other: str | None = None,
    price: Item | float | None = None, runs: int | None = None, seed: int | None = None, workers: int = 1,
    one_more_runs: int = 30, worlds: int = WORLDS, report: Report | None = None,
) -> Payoff:  # fmt: skip
    """Ask whether a change to an equipment set pays off.

    Parameters
    ----------
    loaded : LoadedScenario
        Scenario with costs.
    set_name : str, optional
        Set to change; the first by default.
    changes : sequence of str
        ``KEY=VALUE`` changes, such as ``rig.main.packs.big=3``.
    other : str, optional
        Another set of the scenario to change to, instead of ``changes``.
    price : Item or float, optional
        What the change as a whole costs, instead of the prices in the scenario; a bare number lasts the horizon, with
        the usual resale and upkeep shares.
    runs : int, optional
        Simulated runs of each; the scenario's by default.
    one_more_runs : int
        Runs to simulate of one more of each, before and after, to name the bottlenecks; 0 leaves it to the
        active-period method.
    worlds : int
        Futures drawn.
    seed, workers, report : optional
        Seed (the scenario's by default), number of processes, and what is told of progress.

    Raises
    ------
    InputError
        Costs are missing, a price is, or the change is not valid.
    """
    base = one_set(loaded, set_name)
    wanted = loaded.base.runs if runs is None else runs
    check_runs(wanted, 2)
    trials = Trials.of(loaded, seed, workers, report)
    costs = need_costs(base, "payoff")
    if bool(changes) == (other is not None):
        raise InputError.single("allowed is either changes (KEY=VALUE) or another equipment set to change to", "change")
    changed = changed_set(base, changes, loaded.folder, "changed") if other is None else loaded.equipment_set(other)
    item = price if isinstance(price, Item) or price is None else _whole_price(price, costs)
    case, words = make_case(base, changed, costs, item, "payoff")
    sets = (base, changed)
    before, after = tables = trials.simulate([make_plan(entry) for entry in sets], wanted)
    acres = before[:, ACRES], after[:, ACRES]
    joint = joint_ledger(tables, sets, costs)
    futures, cash = _futures(case, joint, worlds, trials.seed)
    cut = len(joint) < wanted
    alone, both = _looks(trials, sets, tables, 0 if cut else one_more_runs)
    hold, pair = BeforeAfter(alone.hold, both.hold), best_pair(alone, both, after, before)
    tried = min((len(table) for table in (*alone.tables, *both.tables)), default=0)
    one, two, _, _, _ = case.seasons(joint.mean(axis=0))
    unit = area_unit(base.scenario.units)
    notes = (
        *([f"Interrupted: {len(joint)} of {wanted} runs."] if cut else []), *_demand_notes(costs, unit, one, two),
        *_resale_notes(case), constraint_words(hold.before, hold.after), *small_sample_note(acres[1] - acres[0]),
        pair_note(pair, tried, changes),
    )  # fmt: skip
    spreads = {name: spread_of(futures[name].to_numpy(), "inverted_cdf") for name in futures.columns}
    return Payoff(
        set_name=base.name,
        change=words or ", ".join(changes) or f"changing to {changed.name}",
        settings=tuple(changes),
        runs=len(joint),
        acres_per_day=BeforeAfter(float(acres[0].mean()), float(acres[1].mean())),
        extra_acres_per_day=paired_interval(acres[1], acres[0]),
        noise_reduction=noise_reduction(acres[1], acres[0]),
        extra_acres_per_season=jackknife(case.extra_sold, joint),
        saved_days_per_season=float(one.days - two.days),
        extra_margin_per_season=jackknife(case.margin, joint),
        purchase=case.price - case.resale,
        net_present_value=jackknife(case.value, joint),
        payback_seasons=spreads["payback_seasons"],
        payback_days=spreads["payback_days"],
        value_spread=spreads["net_present_value"],
        chance=float(np.mean(futures["net_present_value"] > 0)),
        break_even=break_even(case, joint),
        bottleneck=BeforeAfter(hold.before.resource, hold.after.resource),
        bottleneck_sentence=BeforeAfter(hold.before.sentence, hold.after.sentence),
        notes=notes,
        pair=pair,
        job=job_change(sets, tables, case),
        futures=futures,
        cash=cash,
        costs=costs,
        unit=unit,
        simulated={"before": len(joint), "after": len(joint)},
    )


def _whole_price(price: float, costs: Costs) -> Item:
    if not (math.isfinite(price) and 0 <= price <= 1e9):
        raise InputError.single(f"got {price!r}; allowed is an amount from 0 to 1e9", "price")
    return Item.model_validate({"purchase": price, "life_years": costs.horizon_years})


def noise_reduction(a: FloatArray, b: FloatArray) -> float:
    """Return (Var a + Var b) / Var(a - b): how much common random numbers shrink the variance of a difference."""
    shared = float(np.var(a - b, ddof=1))
    apart = float(np.var(a, ddof=1) + np.var(b, ddof=1))
    return apart / shared if shared > 0 else math.nan


def small_sample_note(extra: FloatArray) -> list[str]:
    """Return a caution where few, skewed runs make a t interval too narrow (measured: 92 % for 95 % at 12 runs)."""
    spread = float(extra.std())
    if len(extra) >= 50 or spread <= 0:
        return []
    if abs(float(np.mean(((extra - extra.mean()) / spread) ** 3))) <= 1.0:
        return []
    return [f"Only {len(extra)} runs, and a few differ much from the rest: intervals may be a little too narrow."]


def _futures(case: Case, joint: FloatArray, worlds: int, seed: int) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Draw futures: by world the value, the payback and the extra margin, and cash by season."""
    import pandas as pd

    costs = case.costs
    years = max(1, math.ceil(costs.horizon_years - 1e-9))
    run_days = days_of_run(joint[:, LEDGER.index("work_days")])
    seasons = season_draws(joint, case.days, years, worlds, resampler(seed, "payoff"), run_days)
    _, two, gain, upkeep, capital = case.seasons(seasons)
    margin = gain - upkeep - capital
    steps = annuity_factor(costs.interest, np.minimum(np.arange(1, years + 1), costs.horizon_years))
    weights = np.diff(np.concatenate([[0.0], steps]))  # adds up to the annuity factor of the horizon
    price, yearly = case.price - case.resale, gain - upkeep
    back = payback_years(max(0.0, price), yearly)
    back = np.where(back <= case.life(joint.mean(axis=0)), back, np.inf)
    futures = pd.DataFrame(
        {
            "future": np.arange(worlds),
            "net_present_value": margin @ weights,
            "payback_seasons": back,
            "payback_days": back * two.days.mean(axis=1),
            "extra_margin_per_season": margin.mean(axis=1),
        }
    )
    added = np.concatenate([np.full((worlds, 1), -price), np.cumsum(yearly, axis=1) - price], axis=1)
    bands = np.quantile(added, [0.1, 0.5, 0.9], axis=0)
    return futures, pd.DataFrame({"season": np.arange(years + 1), "p10": bands[0], "p50": bands[1], "p90": bands[2]})


def _looks(trials: Trials, sets: Sequence[EquipmentSet], tables: Sequence[FloatArray], runs: int) -> list[Look]:
    """Name what holds each set back; the answer itself is known, so Ctrl-C leaves out what would be tried."""
    try:
        return [trials.look(entry, rows, runs) for entry, rows in zip(sets, tables, strict=True)]
    except KeyboardInterrupt:
        return [trials.look(entry, rows, 0) for entry, rows in zip(sets, tables, strict=True)]


def constraint_words(before: Bottleneck, after: Bottleneck) -> str:
    """Say whether the constraint moves on."""
    first, then = before.resources, after.resources
    if set(first) == set(then):
        return f"Before and after the change {held_words(*first)} the set back."
    if set(first) & set(then):
        return f"Before the change {held_words(*first)} the set back; after it {held_words(*then)} it back."
    return f"The constraint moves on: first {held_words(*first)} the set back, then {held_words(*then)} it back."


def _demand_notes(costs: Costs, unit: AreaUnit, one: SeasonMoney, two: SeasonMoney) -> list[str]:
    """Say how much of the extra output can be sold."""
    said, demand = [], demand_acres(costs)
    if demand is not None and two.capacity_acres > demand:
        sold = f"sold: the demand is {demand / unit.acres:,.0f} {unit.name} a season"
        if one.capacity_acres >= demand:
            text = f"The extra output cannot be {sold} and the set without the change already does that"
            said.append(f"{text}; all that is gained is {float(one.days - two.days):.1f} fewer work days.")
        else:
            reached = f"reached after {float(two.days):.0f} of {costs.season_days:g} work days"
            said.append(f"Only part of the extra output can be {sold}, {reached}.")
    if costs.price_per_acre is None:
        said.append("The work is paid by the hour, so more acres an hour earn nothing more.")
    return said


def _resale_notes(case: Case) -> list[str]:
    """Tell an upgrade from a new purchase."""
    if case.resale <= 0:
        return []
    price, resale = (money_text(value, case.costs.currency) for value in (case.price, case.resale))
    return [f"This is an upgrade: new equipment of {price}, with {resale} got for what it replaces."]
