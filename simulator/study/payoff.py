"""Whether a change pays off: a third pack, a larger generator, a helper, a second rig.

The set and the changed set are simulated on the same random days. Their paired difference gives extra acres; costs
turn it into extra margin; seasons drawn from the simulated days give how sure it is.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.errors import InputError
from simulator.experiment.estimates import Interval, PairedInterval, paired_interval
from simulator.operation.plan import make_plan
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.schema_costs import Costs, Item
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.day_money import SeasonMoney, jackknife, ledger_of, resampler, season_draws
from simulator.study.documents import clean, interval_json
from simulator.study.money import (
    FloatArray,
    annuity_factor,
    need_costs,
    payback_years,
)
from simulator.study.payoff_case import BreakEven, Case, break_even, extra_sold, make_case
from simulator.study.trial import (
    ACRES,
    AreaUnit,
    Report,
    area_unit,
    changed_set,
    check_days,
    check_workers,
    judged,
    offered,
    one_more,
    one_set,
    simulate_sets,
)
from simulator.study.words import held_words, interval_text, money_range, money_text, seasons_words

if TYPE_CHECKING:
    import pandas as pd

WORLDS = 1000
"""Futures drawn to say how sure the answer is."""


@dataclass(frozen=True)
class Spread:
    """A quantity over drawn futures: median, and the range of eight in ten."""

    p10: float
    p50: float
    p90: float


def spread_of(values: FloatArray) -> Spread:
    """Return the 10th, 50th and 90th percentile; infinity is allowed."""
    # "inverted_cdf" picks a value that occurs, so that infinity does not turn into NaN by interpolation
    low, middle, high = np.quantile(values, [0.1, 0.5, 0.9], method="inverted_cdf")
    return Spread(float(low), float(middle), float(high))


@dataclass(frozen=True)
class Payoff:
    """Whether a change pays.

    Parameters
    ----------
    set_name, change : str
        Set, and the change in plain words.
    settings : tuple of str
        The change as ``KEY=VALUE``; empty when it is another set.
    days : int
        Simulated days of each.
    acres_before, acres_after : float
        Mean acres per day.
    extra_acres_per_day : PairedInterval
        Paired difference.
    noise_reduction : float
        How many times smaller the variance of the difference is than with independent days; NaN when it is 0.
    extra_acres_per_season : Interval
        Sold acres; a met demand caps them.
    saved_days_per_season : float
        Work days that are no longer needed because the demand is met sooner.
    extra_margin_per_season : Interval
        After running costs, upkeep and equipment (interest and wear).
    purchase : float
        Cash needed today.
    net_present_value : Interval
        Over the horizon.
    payback_seasons, payback_days : Spread
        Over drawn futures; infinity is never (or not before it is worn out).
    value_spread : Spread
        Net present value over drawn futures.
    chance : float
        Share of drawn futures in which the net present value is positive.
    break_even : BreakEven
        Where it turns.
    bottleneck_before, bottleneck_after : str
        Resource that holds the set back.
    sentence_before, sentence_after : str
        What holds each back, in a sentence.
    notes : tuple of str
        What a buyer must know: demand met, constraint moved on, list ran out, paid by the hour.
    costs : Costs
        Money used.
    unit : AreaUnit
        Area unit of the sentence.
    futures : pandas.DataFrame
        One row a drawn future.
    cash : pandas.DataFrame
        Cash added up by season: 10th, 50th and 90th percentile.
    """

    set_name: str
    change: str
    settings: tuple[str, ...]
    days: int
    acres_before: float
    acres_after: float
    extra_acres_per_day: PairedInterval
    noise_reduction: float
    extra_acres_per_season: Interval
    saved_days_per_season: float
    extra_margin_per_season: Interval
    purchase: float
    net_present_value: Interval
    payback_seasons: Spread
    payback_days: Spread
    value_spread: Spread
    chance: float
    break_even: BreakEven
    bottleneck_before: str
    bottleneck_after: str
    sentence_before: str
    sentence_after: str
    notes: tuple[str, ...]
    costs: Costs
    unit: AreaUnit
    futures: pd.DataFrame = field(repr=False)
    cash: pd.DataFrame = field(repr=False)

    @property
    def pays(self) -> bool | None:
        """Whether it pays; None when the days simulated cannot tell."""
        value = self.net_present_value
        if value.low is None or value.high is None:
            return value.mean > 0
        return True if value.low > 0 else (False if value.high <= 0 else None)

    @property
    def sentence(self) -> str:
        """The answer, as one would tell it."""
        unit, money = self.unit, self.costs.currency
        gain = interval_text(self.extra_acres_per_day, unit.acres, f"{unit.name} a day")
        verb = "adds" if self.extra_acres_per_day.mean >= 0 else "changes the day by"
        start = f"{self.change[:1].upper()}{self.change[1:]} {verb} {gain}, {self.days} days simulated, and "
        value = money_range(self.net_present_value, money)
        years = f"{self.costs.horizon_years:g} years"
        payback = self.payback_seasons.p50
        if self.pays is None:
            return f"{start}whether it pays cannot be told yet: over {years} it is worth {value}."
        if not self.pays:
            return f"{start}does not pay: over {years} it is worth {value}, so leave it."
        if self.purchase <= 0:
            return f"{start}pays without a purchase: over {years} it is worth {value}."
        if math.isinf(payback):
            return f"{start}is worth {value} over {years}, though it wears out before its price is back."
        when = f"pays back its {money_text(self.purchase, money)} in {seasons_words(payback)}"
        return f"{start}{when} (about {self.payback_days.p50:.0f} work days); over {years} it is worth {value}."

    @property
    def table(self) -> pd.DataFrame:
        """Every answer as a row: quantity, value, low, high, unit, what low and high are."""
        import pandas as pd

        area, money, extra = self.unit, self.costs.currency, self.extra_acres_per_day
        ci, eight = "95 % interval", "8 in 10 futures"
        rows: list[tuple[str, float | None, float | None, float | None, str, str]] = []

        def add(name: str, value: Interval, unit: str, scale: float = 1.0) -> None:
            limits = [None if limit is None else limit / scale for limit in (value.low, value.high)]
            rows.append((name, value.mean / scale, limits[0], limits[1], unit, ci))

        rows.append(("output before", self.acres_before / area.acres, None, None, f"{area.name}/day", ""))
        rows.append(("output after", self.acres_after / area.acres, None, None, f"{area.name}/day", ""))
        add("extra output", extra, f"{area.name}/day", area.acres)
        add("extra output sold", self.extra_acres_per_season, f"{area.name}/season", area.acres)
        rows.append(("work days saved", self.saved_days_per_season, None, None, "days/season", ""))
        add("extra margin", self.extra_margin_per_season, f"{money}/season")
        rows.append(("purchase", self.purchase, None, None, money, ""))
        add(f"net present value, {self.costs.horizon_years:g} years", self.net_present_value, money)
        for name, spread, unit in (
            ("net present value of a future", self.value_spread, money),
            ("payback", self.payback_seasons, "seasons"),
            ("payback", self.payback_days, "work days"),
        ):
            rows.append((name, spread.p50, spread.p10, spread.p90, unit, eight))
        rows.append(("chance that it pays", self.chance, None, None, "share", ""))
        even = self.break_even
        if even.purchase_price is not None:
            add("break-even purchase price", even.purchase_price, money)
        per = area.acres
        price = None if even.price_per_acre is None else even.price_per_acre * per
        demand = None if even.season_demand_acres is None else even.season_demand_acres / per
        rows.append(("break-even price of the work", price, None, None, f"{money}/{area.one}", ""))
        rows.append(("break-even season", even.season_days, None, None, "work days", ""))
        rows.append(("break-even demand", demand, None, None, f"{area.name}/season", ""))
        frame = pd.DataFrame(rows, columns=["quantity", "value", "low", "high", "unit", "limits"])
        return frame.astype({"value": float, "low": float, "high": float})

    def to_json(self) -> dict[str, Any]:
        """Return the answer as a document; infinity (never) and missing are null."""
        even = self.break_even
        return clean(
            {
                "study": "payoff",
                "equipment_set": self.set_name,
                "change": self.change,
                "settings": list(self.settings),
                "days": self.days,
                "sentence": self.sentence,
                "notes": list(self.notes),
                "pays": self.pays,
                "acres_per_day": {"before": self.acres_before, "after": self.acres_after},
                "extra_acres_per_day": interval_json(self.extra_acres_per_day),
                "extra_acres_per_season": interval_json(self.extra_acres_per_season),
                "saved_days_per_season": self.saved_days_per_season,
                "extra_margin_per_season": interval_json(self.extra_margin_per_season),
                "purchase": self.purchase,
                "currency": self.costs.currency,
                "net_present_value": interval_json(self.net_present_value),
                "payback_seasons": vars(self.payback_seasons),
                "payback_days": vars(self.payback_days),
                "net_present_value_futures": vars(self.value_spread),
                "chance_that_it_pays": self.chance,
                "break_even": {
                    "purchase_price": None if even.purchase_price is None else interval_json(even.purchase_price),
                    "price_per_acre": even.price_per_acre,
                    "season_days": even.season_days,
                    "season_demand_acres": even.season_demand_acres,
                },
                "bottleneck": {"before": self.bottleneck_before, "after": self.bottleneck_after},
                "bottleneck_sentence": {"before": self.sentence_before, "after": self.sentence_after},
                "variance_reduction_by_common_days": self.noise_reduction,
            }
        )


def payoff(
    loaded: LoadedScenario,
    set_name: str | None = None,
    changes: Sequence[str] = (),
    other: str | None = None,
    price: Item | float | None = None,
    days: int | None = None,
    seed: int | None = None,
    workers: int = 1,
    one_more_days: int = 30,
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
    days : int, optional
        Simulated days of each; the scenario's by default.
    seed : int, optional
        Seed; the scenario's by default.
    workers : int
        Processes.
    one_more_days : int
        Days to simulate of one more of each, before and after, to name the bottlenecks; 0 leaves it to the
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
    wanted = loaded.base.days if days is None else days
    check_days(wanted)
    check_workers(workers)
    costs = need_costs(base, "payoff")
    changed = changed_set(loaded, base, changes, other, "changed")
    item = price if isinstance(price, Item) or price is None else _whole_price(price, costs)
    case, words = make_case(base, changed, costs, item, "payoff")
    used_seed = loaded.base.seed if seed is None else seed
    plans = [make_plan(base), make_plan(changed)]
    rows = simulate_sets(plans, used_seed, wanted, workers, report)
    joint = np.hstack([ledger_of(rows[0], base.scenario, costs), ledger_of(rows[1], changed.scenario, costs)])
    demand = None if costs.season_demand is None else costs.season_demand / M2_PER_ACRE
    n_days = costs.season_days
    means = joint.mean(axis=0)
    one, two, _, _, _ = case.seasons(means, n_days, demand)
    futures, cash, drawn = _futures(case, joint, n_days, demand, worlds, used_seed)
    hold = _bottlenecks(loaded, (base, changed), rows, used_seed, workers, one_more_days, report)
    pair = paired_interval(rows[1][:, ACRES], rows[0][:, ACRES])
    change = words or ", ".join(changes) or f"changing to {changed.name}"
    return Payoff(
        set_name=base.name,
        change=change,
        settings=tuple(changes),
        days=len(joint),
        acres_before=float(rows[0][:, ACRES].mean()),
        acres_after=float(rows[1][:, ACRES].mean()),
        extra_acres_per_day=pair,
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
        bottleneck_before=hold[0][0],
        bottleneck_after=hold[1][0],
        sentence_before=hold[0][1],
        sentence_after=hold[1][1],
        notes=_notes(base, costs, one, two, demand, rows, (hold[0][0], hold[1][0])),
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
    """Return a caution where few, skewed days make a t interval too narrow; else an empty text.

    The interval of a mean is right for many days; with a skewness beyond 1 it needs about fifty (measured on days of
    this model: 92 % instead of 95 % at 12 days, 94.5 % at 50).

    Parameters
    ----------
    extra : ndarray, shape (days,)
        Paired differences.
    """
    spread = float(extra.std())
    if len(extra) >= 50 or spread <= 0:
        return ""
    skewness = float(np.mean(((extra - extra.mean()) / spread) ** 3))
    if abs(skewness) <= 1.0:
        return ""
    return f"Only {len(extra)} days, and a few differ much from the rest: intervals may be a little too narrow."


def _futures(
    case: Case, joint: FloatArray, days: float, demand: float | None, worlds: int, seed: int
) -> tuple[pd.DataFrame, pd.DataFrame, dict[str, FloatArray]]:
    """Draw futures: by world the value, the payback and the extra margin, and cash by season."""
    import pandas as pd

    costs = case.costs
    years = max(1, math.ceil(costs.horizon_years - 1e-9))
    seasons = season_draws(joint, days, years, worlds, resampler(seed, "payoff"))
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
    days: int,
    report: Report | None,
) -> list[tuple[str, str]]:
    """Name what holds each set back."""
    tried = [offered(loaded, entry) if days >= 10 else [] for entry in sets]
    plans = [plan for entries in tried for _, _, plan in entries]
    count = min(days, len(rows[0]))
    tables = simulate_sets(plans, seed, count, workers, report, "one more of each") if plans else []
    result, place = [], 0
    for entry, own, entries in zip(sets, rows, tried, strict=True):
        mine = tables[place : place + len(entries)]
        place += len(entries)
        changes = one_more([variation for variation, _, _ in entries], mine, own)
        hold = judged(entry, own, changes)
        result.append((hold.resource, hold.sentence))
    return result


def _notes(
    base: EquipmentSet,
    costs: Costs,
    one: SeasonMoney,
    two: SeasonMoney,
    demand: float | None,
    rows: Sequence[FloatArray],
    hold: tuple[str, str],
) -> tuple[str, ...]:
    """Say what a buyer must know beside the numbers."""
    from simulator.analysis.summary import COLUMNS

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
    before, after = hold
    if before != after:
        said.append(
            f"The constraint moves on: first {held_words(before)} the set back, after the change {held_words(after)}."
        )
    else:
        said.append(f"Before and after the change {held_words(before)} the set back.")
    finished = int(np.isfinite(rows[1][:, COLUMNS.index("finish_hour")]).sum())
    few = small_sample_note(rows[1][:, ACRES] - rows[0][:, ACRES])
    if few:
        said.append(few)
    if base.scenario.work == "once" and finished:
        said.append(f'The field list ran out on {finished} of {len(rows[1])} days; work = "repeat" measures capacity.')
    return tuple(said)
