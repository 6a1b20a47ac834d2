"""The money of a change: two sets side by side, what is bought and sold, where it pays, what it does to the job."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from simulator.analysis.summary import place_of
from simulator.errors import InputError
from simulator.experiment.estimates import Interval, paired_interval
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.schema_costs import Costs, Item
from simulator.scenario.units import AreaUnit
from simulator.study.day_money import LEDGER, SeasonMoney, jackknife, ledger_of, season_money
from simulator.study.money import (
    FloatArray,
    Pieces,
    annuity_factor,
    change_words,
    demand_acres,
    item_table,
    life_years,
    need_prices,
    pieces_of,
    yearly_cost,
)
from simulator.study.words import direction, interval_text, money_range, scaled

_K = len(LEDGER)


@dataclass(frozen=True)
class Case:
    """The money of a change over seasons of so many work days in which so many acres can be sold.

    ``own_items`` are what is no number of pieces, or with ``only_own`` the change as a whole, whatever pieces cost. All
    functions take ledgers of both sets side by side, of shape (..., 2 len(LEDGER)).
    """

    costs: Costs
    before: Pieces
    after: Pieces
    price: float
    resale: float
    days: float
    demand: float | None = None
    own_items: tuple[Item, ...] = ()
    only_own: bool = False

    @property
    def bought(self) -> Pieces:
        """Pieces whose price counts."""
        return Pieces() if self.only_own else self.after - self.before

    def seasons(self, joint: FloatArray) -> tuple[SeasonMoney, SeasonMoney, FloatArray, FloatArray, FloatArray]:
        """Return both sets' seasons, and by season: gain before the purchase, upkeep and capital of what is bought."""
        kept = self.before & self.after
        one, two = self._money(joint, False, kept), self._money(joint, True, kept)
        gone, new = self._money(joint, False, self.before - self.after), self._money(joint, True, self.bought)
        gain = two.margin - one.margin + gone.upkeep + gone.capital
        upkeep, capital = new.upkeep, new.capital
        for item in self.own_items:
            kept_up = item.upkeep_share * item.purchase
            upkeep = upkeep + kept_up
            capital = capital + float(yearly_cost(item, item.life_years, self.costs.interest)) - kept_up
        return one, two, gain, upkeep, capital

    def _money(self, joint: FloatArray, after: bool, charged: Pieces | None = None) -> SeasonMoney:
        means, pieces = (joint[..., _K:], self.after) if after else (joint[..., :_K], self.before)
        return season_money(means, self.costs, pieces, self.days, self.demand, charged)

    def extra_sold(self, joint: FloatArray) -> FloatArray:
        """Return the acres a season that the change adds and that are sold."""
        one, two, _, _, _ = self.seasons(joint)
        return two.acres - one.acres

    def extra_cost_per_acre(self, joint: FloatArray) -> FloatArray:
        """Return what an acre costs with the change, everything counted, less what it costs without."""
        one = self._money(joint, False)
        _, two, _, upkeep, capital = self.seasons(joint)
        return np.asarray(two.cost_per_acre + (upkeep + capital) / two.acres - one.cost_per_acre)

    def margin(self, joint: FloatArray) -> FloatArray:
        """Return the extra margin of a season after everything."""
        _, _, gain, upkeep, capital = self.seasons(joint)
        return gain - upkeep - capital

    def value(self, joint: FloatArray) -> FloatArray:
        """Return the net present value of equal seasons over the horizon, at yearly equivalent cost of equipment."""
        return float(annuity_factor(self.costs.interest, self.costs.horizon_years)) * self.margin(joint)

    def life(self, joint: FloatArray) -> float:
        """Return how long the shortest-lived piece bought lasts, in years; infinity when nothing is bought."""
        items = item_table(self.costs)
        cycles = float(self._money(joint, True).cycles_per_pack)
        lives = [float(life_years(items[one], cycles if one[0] == "pack" else 0.0)) for one in self.bought]
        return min([*lives, *(item.life_years for item in self.own_items)], default=math.inf)


def make_case(
    base: EquipmentSet, changed: EquipmentSet, costs: Costs, price: Item | None, question: str,
    extra: Sequence[Item] = (),
) -> tuple[Case, str]:  # fmt: skip
    """Return the money of a change and its name in plain words (empty when no number of pieces or people changes)."""
    before, after = pieces_of(base.scenario), pieces_of(changed.scenario)
    words = change_words(base.scenario, changed.scenario)
    days, demand = costs.season_days, demand_acres(costs)
    if price is not None:
        return Case(costs, before, after, price.purchase, 0.0, days, demand, (price,), only_own=True), words
    if not words and not extra:
        message = "missing; the change alters no number of pieces or people, so say what it costs (0 when nothing)"
        raise InputError.single(message, "price")
    bought, sold, items = after - before, before - after, item_table(costs)
    need_prices(sorted([*bought, *sold]), costs, question)
    spent = sum(number * items[one].purchase for one, number in bought.items())
    resale = sum(number * items[one].purchase * items[one].resale_share for one, number in sold.items())
    total = spent + sum(item.purchase for item in extra)
    return Case(costs, before, after, total, resale, days, demand, tuple(extra)), words


@dataclass(frozen=True)
class BreakEven:
    """Highest price and least rest of what makes the change just pay over the horizon; None where it never turns."""

    purchase_price: Interval | None
    price_per_acre: float | None
    season_days: float | None
    season_demand_acres: float | None


def break_even(case: Case, joint: FloatArray) -> BreakEven:
    """Return where a change just pays, all else as it is."""
    means = joint.mean(axis=0)

    def highest(m: FloatArray) -> FloatArray:
        _, _, gain, upkeep, capital = case.seasons(m)
        return case.price * gain / np.where(upkeep + capital > 0, upkeep + capital, np.nan)

    price = None if case.price <= 0 else jackknife(highest, joint)
    acres = float(case.extra_sold(means))
    lowest = None
    if case.costs.price_per_acre is not None and acres > 1e-9:
        lowest = max(0.0, case.costs.price_per_acre - float(case.margin(means)) / acres)
    most = float(max(means[0], means[_K]))
    season = _least(lambda x: float(replace(case, days=x).margin(means)), 366.0)
    demand = _least(lambda x: float(replace(case, demand=x).margin(means)), most * min(366.0, case.days))
    return BreakEven(price, lowest, season, demand)


def _least(margin: Callable[[float], float], most: float) -> float | None:
    """Return the least x above which the margin stays positive up to ``most``; None when it is not positive there."""
    grid = np.linspace(most / 400.0, most, 400)
    good = np.array([margin(float(x)) > 0 for x in grid])
    if not good[-1]:
        return None
    bad = np.flatnonzero(~good)
    if not len(bad):
        return 0.0
    return turning(lambda x: margin(x) > 0, float(grid[bad[-1]]), float(grid[bad[-1] + 1]), 40)


def turning(good: Callable[[float], bool], low: float, high: float, halvings: int = 60) -> float:
    """Return where a statement that is false at ``low`` and true at ``high`` becomes true."""
    for _ in range(halvings):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if good(middle) else (middle, high)
    return high


@dataclass(frozen=True)
class JobChange:
    """The job with a change over the job without it: more work days, and more cost of an acre where all has a price."""

    work_days: Interval
    cost_per_acre: Interval | None = None

    def sentence(self, unit: AreaUnit, currency: str) -> str:
        """Return both in a sentence."""
        way = direction(self.work_days)
        days = interval_text(scaled(self.work_days, way or 1.0), unit=f"{'more' if way > 0 else 'fewer'} work days")
        text = f"The job takes {days if way else 'as long as far as the runs can tell'}"
        if self.cost_per_acre is not None:
            way = direction(self.cost_per_acre)
            size = money_range(scaled(self.cost_per_acre, (way or 1.0) / unit.acres), currency)
            more = f"{size} {'more' if way > 0 else 'less'}" if way else "the same as far as the runs can tell"
            text += f", and {unit.an} costs {more}"
        return f"{text}."


def job_change(
    sets: Sequence[EquipmentSet], tables: Sequence[FloatArray], case: Case | None, level: float = 0.95
) -> JobChange | None:
    """Return what a change does to the job; None where the list repeats or some run has not done it."""
    done = all((rows[:, place_of("job_done")] > 0.0).all() for rows in tables)
    if not done or any(entry.scenario.work != "once" for entry in sets):
        return None
    before, after = (rows[:, place_of("work_days")] for rows in tables)
    cost = None
    if case is not None:
        needed = case.before if case.only_own else case.before + case.after
        if needed.keys() <= item_table(case.costs).keys():
            cost = jackknife(case.extra_cost_per_acre, joint_ledger(tables, sets, case.costs), level)
    return JobChange(paired_interval(after, before, level), cost)


def joint_ledger(tables: Sequence[FloatArray], sets: Sequence[EquipmentSet], costs: Costs) -> FloatArray:
    """Return the ledgers of sets that saw the same runs, side by side."""
    return np.hstack([ledger_of(rows, entry.scenario, costs) for rows, entry in zip(tables, sets, strict=True)])
