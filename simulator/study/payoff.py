"""Whether a change pays off: a third pack, a larger generator, a helper, a second rig.

The set and the changed set are simulated on the same random runs. Their paired difference gives extra acres; costs
turn it into extra margin; seasons drawn from the simulated runs give how sure it is.
"""

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
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.cases import simulate_sets
from simulator.study.day_money import LEDGER, SeasonMoney, days_of_run, jackknife, ledger_of, resampler, season_draws
from simulator.study.job_change import job_change
from simulator.study.money import (
    FloatArray,
    annuity_factor,
    need_costs,
    payback_years,
)
from simulator.study.payoff_case import Case, break_even, extra_sold, make_case
from simulator.study.payoff_pair import Pair, best_pair, pair_note
from simulator.study.payoff_result import Payoff, spread_of
from simulator.study.trial import (
    ACRES,
    Report,
    area_unit,
    changed_set,
    check_runs,
    check_workers,
    checked_seed,
    judged,
    offered,
    one_more,
    one_set,
)
from simulator.study.words import held_words

if TYPE_CHECKING:
    import pandas as pd

WORLDS = 1000
"""Futures drawn to say how sure the answer is."""


def payoff(
    loaded: LoadedScenario,
    set_name: str | None = None,
    changes: Sequence[str] = (),
    other: str | None = None,
    price: Item | float | None = None,
    runs: int | None = None,
    seed: int | None = None,
    workers: int = 1,
    one_more_runs: int = 30,
    worlds: int = WORLDS,
    report: Report | None = None,
) -> Payoff:
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
    seed : int, optional
        Seed; the scenario's by default.
    workers : int
        Processes.
    one_more_runs : int
        Runs to simulate of one more of each, before and after, to name the bottlenecks; 0 leaves it to the
        active-period method.
    worlds : int
        Futures drawn.
    report : callable, optional
        Progress.

    Returns
    -------
    Payoff
        The answer.

    Raises
    ------
    InputError
        Costs are missing, a price is, or the change is not valid.
    """
    base = one_set(loaded, set_name)
    wanted = loaded.base.runs if runs is None else runs
    check_runs(wanted)
    check_workers(workers)
    costs = need_costs(base, "payoff")
    changed = changed_set(loaded, base, changes, other, "changed")
    item = price if isinstance(price, Item) or price is None else _whole_price(price, costs)
    case, words = make_case(base, changed, costs, item, "payoff")
    used_seed = checked_seed(loaded, seed)
    plans = [make_plan(base), make_plan(changed)]
    rows = simulate_sets(plans, used_seed, wanted, workers, report)
    joint = np.hstack([ledger_of(rows[0], base.scenario, costs), ledger_of(rows[1], changed.scenario, costs)])
    demand = None if costs.season_demand is None else costs.season_demand / M2_PER_ACRE
    n_days = costs.season_days
    means = joint.mean(axis=0)
    one, two, _, _, _ = case.seasons(means, n_days, demand)
    futures, cash, drawn = _futures(case, joint, n_days, demand, worlds, used_seed)
    cut = len(joint) < wanted
    hold, pair, tried = _bottlenecks(
        loaded, (base, changed), rows, used_seed, workers, 0 if cut else one_more_runs, report
    )
    interrupted = (f"Interrupted: {len(joint)} of {wanted} runs.",) if cut else ()
    extra = paired_interval(rows[1][:, ACRES], rows[0][:, ACRES])
    change = words or ", ".join(changes) or f"changing to {changed.name}"
    return Payoff(
        set_name=base.name,
        change=change,
        settings=tuple(changes),
        runs=len(joint),
        acres_before=float(rows[0][:, ACRES].mean()),
        acres_after=float(rows[1][:, ACRES].mean()),
        extra_acres_per_day=extra,
        noise_reduction=noise_reduction(rows[1][:, ACRES], rows[0][:, ACRES]),
        extra_acres_per_season=jackknife(lambda m: extra_sold(case, m, n_days, demand), joint),
        saved_days_per_season=float(one.days - two.days),
        extra_margin_per_season=jackknife(lambda m: case.margin(m, n_days, demand), joint),
        purchase=case.price - case.resale,
        net_present_value=jackknife(lambda m: case.value(m, n_days, demand), joint),
        payback_seasons=spread_of(drawn["seasons"]),
        payback_days=spread_of(drawn["days"]),
        value_spread=spread_of(drawn["value"]),
        chance=float(np.mean(drawn["value"] > 0)),
        break_even=break_even(case, joint, n_days, demand),
        bottleneck_before=hold[0].resource,
        bottleneck_after=hold[1].resource,
        sentence_before=hold[0].sentence,
        sentence_after=hold[1].sentence,
        notes=(*interrupted, *_notes(base, costs, one, two, demand, rows, hold), pair_note(pair, tried, changes)),
        pair=pair,
        job=job_change(base, changed, (rows[0], rows[1]), case),
        costs=costs,
        unit=area_unit(base.scenario.units),
        futures=futures,
        cash=cash,
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


def small_sample_note(extra: FloatArray) -> str:
    """Return a caution where few, skewed runs make a t interval too narrow; else an empty text.

    The interval of a mean is right for many runs; with a skewness beyond 1 it needs about fifty (measured on runs of
    this model: 92 % instead of 95 % at 12 runs, 94.5 % at 50).
    """
    spread = float(extra.std())
    if len(extra) >= 50 or spread <= 0:
        return ""
    skewness = float(np.mean(((extra - extra.mean()) / spread) ** 3))
    if abs(skewness) <= 1.0:
        return ""
    return f"Only {len(extra)} runs, and a few differ much from the rest: intervals may be a little too narrow."


def _futures(
    case: Case, joint: FloatArray, days: float, demand: float | None, worlds: int, seed: int
) -> tuple[pd.DataFrame, pd.DataFrame, dict[str, FloatArray]]:
    """Draw futures: by world the value, the payback and the extra margin, and cash by season."""
    import pandas as pd

    costs = case.costs
    years = max(1, math.ceil(costs.horizon_years - 1e-9))
    seasons = season_draws(
        joint, days, years, worlds, resampler(seed, "payoff"), days_of_run(joint[:, LEDGER.index("work_days")])
    )
    _, two, gain, upkeep, capital = case.seasons(seasons, days, demand)
    margin = gain - upkeep - capital
    ends = np.minimum(np.arange(1, years + 1), costs.horizon_years)
    steps = annuity_factor(costs.interest, ends)
    weights = np.diff(np.concatenate([[0.0], steps]))  # adds up to the annuity factor of the horizon
    value = margin @ weights
    price = case.price - case.resale
    yearly = gain - upkeep
    back = payback_years(max(0.0, price), yearly)
    life = case.life(joint.mean(axis=0), days, demand)
    back = np.where(back <= life, back, np.inf)
    worked = np.where(np.isfinite(back), back, np.inf) * two.days.mean(axis=1)
    futures = pd.DataFrame(
        {
            "future": np.arange(worlds),
            "net_present_value": value,
            "payback_seasons": back,
            "payback_days": worked,
            "extra_margin_per_season": margin.mean(axis=1),
        }
    )
    added = np.cumsum(yearly, axis=1) - price
    bands = np.quantile(np.concatenate([np.full((worlds, 1), -price), added], axis=1), [0.1, 0.5, 0.9], axis=0)
    cash = pd.DataFrame({"season": np.arange(years + 1), "p10": bands[0], "p50": bands[1], "p90": bands[2]})
    return futures, cash, {"value": value, "seasons": back, "days": worked}


def _bottlenecks(
    loaded: LoadedScenario,
    sets: tuple[EquipmentSet, EquipmentSet],
    rows: Sequence[FloatArray],
    seed: int,
    workers: int,
    runs: int,
    report: Report | None,
) -> tuple[tuple[Bottleneck, Bottleneck], Pair | None, int]:
    """Name what holds each set back, and the best thing to add to the change; with the runs of these trials."""
    tried = [offered(loaded, entry) if runs >= 10 else [] for entry in sets]
    plans = [plan for entries in tried for _, _, plan in entries]
    count = min(runs, len(rows[0]))
    tables: list[FloatArray] = []
    try:
        tables = simulate_sets(plans, seed, count, workers, report, "one more of each") if plans else []
    except KeyboardInterrupt:
        tried = [[] for _ in sets]  # the answer itself is known; bottlenecks are then named without these
    variations = [[variation for variation, _, _ in entries] for entries in tried]
    first = len(variations[0])
    split = (tables[:first], tables[first:])
    holds = [
        judged(entry, own, one_more(mine, found, own))
        for entry, own, mine, found in zip(sets, rows, variations, split, strict=True)
    ]
    alone = {variation.change: table for variation, table in zip(variations[0], split[0], strict=True)}
    pair = best_pair(variations[1], split[1], rows[1], rows[0], alone)
    return (holds[0], holds[1]), pair, len(tables[0]) if tables else 0


def constraint_words(before: Bottleneck, after: Bottleneck) -> str:
    """Say whether the constraint moves on."""
    first, then = before.resources, after.resources
    if set(first) == set(then):
        return f"Before and after the change {held_words(*first)} the set back."
    if set(first) & set(then):
        return f"Before the change {held_words(*first)} the set back; after it {held_words(*then)} it back."
    return f"The constraint moves on: first {held_words(*first)} the set back, then {held_words(*then)} it back."


def _notes(
    base: EquipmentSet,
    costs: Costs,
    one: SeasonMoney,
    two: SeasonMoney,
    demand: float | None,
    rows: Sequence[FloatArray],
    hold: tuple[Bottleneck, Bottleneck],
) -> tuple[str, ...]:
    """Say what a buyer must know beside the numbers."""
    unit = area_unit(base.scenario.units)
    said = []
    if demand is not None and two.capacity_acres > demand:
        can, sold = float(one.capacity_acres), demand / unit.acres
        saved = float(one.days - two.days)
        if can >= demand:
            text = f"The extra output cannot be sold: the demand is {sold:,.0f} {unit.name} a season and the set"
            said.append(
                f"{text} without the change already does that; all that is gained is {saved:.1f} fewer work days."
            )
        else:
            text = f"Only part of the extra output can be sold: the demand is {sold:,.0f} {unit.name} a season"
            said.append(f"{text}, reached after {float(two.days):.0f} of {costs.season_days:g} work days.")
    if costs.price_per_acre is None:
        said.append("The work is paid by the hour, so more acres an hour earn nothing more.")
    said.append(constraint_words(*hold))
    few = small_sample_note(rows[1][:, ACRES] - rows[0][:, ACRES])
    if few:
        said.append(few)
    return tuple(said)
