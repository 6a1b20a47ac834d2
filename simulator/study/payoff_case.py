"""The money of a change: two sets side by side, what is bought and sold, and where it just pays."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from simulator.errors import InputError
from simulator.experiment.estimates import Interval
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.schema_costs import Costs, Item
from simulator.study.day_money import LEDGER, SeasonMoney, jackknife, season_money
from simulator.study.money import (
    FloatArray,
    Piece,
    annuity_factor,
    change_words,
    item_table,
    life_years,
    pieces_of,
    purchase_of,
    yearly_cost,
)

_K = len(LEDGER)


@dataclass(frozen=True)
class BreakEven:
    """Where the change just pays over the horizon, all else as it is; None where it never turns."""

    purchase_price: Interval | None
    price_per_acre: float | None
    season_days: float | None
    season_demand_acres: float | None


@dataclass(frozen=True)
class Case:
    """The money of a change: two sets, what is bought and sold, and the season they work in."""

    costs: Costs
    before: tuple[Piece, ...]
    after: tuple[Piece, ...]
    price: float
    resale: float
    own_items: tuple[Item, ...] = ()
    only_own: bool = False

    def _shared(self) -> tuple[list[Piece], list[Piece], list[Piece]]:
        old = {(piece.kind, piece.name): piece.number for piece in self.before}
        new = {(piece.kind, piece.name): piece.number for piece in self.after}
        keys = sorted(set(old) | set(new))
        kept = [Piece(*key, min(old.get(key, 0), new.get(key, 0))) for key in keys]
        bought = [Piece(*key, max(0, new.get(key, 0) - old.get(key, 0))) for key in keys]
        sold = [Piece(*key, max(0, old.get(key, 0) - new.get(key, 0))) for key in keys]
        return kept, ([] if self.only_own else bought), sold

    def seasons(
        self, joint: FloatArray, days: float, demand: float | None
    ) -> tuple[SeasonMoney, SeasonMoney, FloatArray, FloatArray, FloatArray]:
        """Return both sets' seasons, and by season: gain before the purchase, upkeep and capital of what is bought."""
        kept, bought, sold = self._shared()
        one = season_money(joint[..., :_K], self.costs, self.before, days, demand, kept)
        two = season_money(joint[..., _K:], self.costs, self.after, days, demand, kept)
        gone = season_money(joint[..., :_K], self.costs, self.before, days, demand, sold)
        new = season_money(joint[..., _K:], self.costs, self.after, days, demand, bought)
        gain = two.margin - one.margin + gone.upkeep + gone.capital
        upkeep, capital = new.upkeep, new.capital
        for item in self.own_items:
            kept_up = item.upkeep_share * item.purchase
            upkeep = upkeep + kept_up
            capital = capital + float(yearly_cost(item, item.life_years, self.costs.interest)) - kept_up
        return one, two, gain, upkeep, capital

    def extra_cost_per_acre(self, joint: FloatArray, days: float, demand: float | None) -> FloatArray:
        """Return what an acre costs with the change, everything counted, less what it costs without."""
        one = season_money(joint[..., :_K], self.costs, self.before, days, demand)
        _, two, _, upkeep, capital = self.seasons(joint, days, demand)
        return np.asarray(two.cost_per_acre + (upkeep + capital) / two.acres - one.cost_per_acre)

    def margin(self, joint: FloatArray, days: float, demand: float | None) -> FloatArray:
        """Return the extra margin of a season after everything."""
        _, _, gain, upkeep, capital = self.seasons(joint, days, demand)
        return gain - upkeep - capital

    def value(self, joint: FloatArray, days: float, demand: float | None) -> FloatArray:
        """Return the net present value of equal seasons over the horizon.

        Equipment is counted at its yearly equivalent cost, so what outlives the horizon, or is replaced within it, is
        counted for the years used.
        """
        factor = float(annuity_factor(self.costs.interest, self.costs.horizon_years))
        return factor * self.margin(joint, days, demand)

    def life(self, joint: FloatArray, days: float, demand: float | None) -> float:
        """Return how long the shortest-lived piece bought lasts, in years; infinity when nothing is bought."""
        _, bought, _ = self._shared()
        items = item_table(self.costs)
        two = season_money(joint[..., _K:], self.costs, self.after, days, demand)
        lives = [
            float(
                life_years(items[piece.kind, piece.name], float(two.cycles_per_pack) if piece.kind == "pack" else 0.0)
            )
            for piece in bought
            if piece.number
        ]
        return min([*lives, *(item.life_years for item in self.own_items)], default=math.inf)


def make_case(
    base: EquipmentSet,
    changed: EquipmentSet,
    costs: Costs,
    price: Item | None,
    question: str,
    extra: Sequence[Item] = (),
) -> tuple[Case, str]:
    """Return the money of a change and its name in plain words (empty when no number of pieces or people changes)."""
    before, after = pieces_of(base.scenario), pieces_of(changed.scenario)
    words = change_words(base.scenario, changed.scenario)
    if price is not None:
        return Case(costs, before, after, price.purchase, 0.0, (price,), only_own=True), words
    if not words and not extra:
        message = "missing; the change alters no number of pieces or people, so say what it costs (0 when nothing)"
        raise InputError.single(message, "price")
    purchase = purchase_of(base.scenario, changed.scenario, costs, question)
    spent = sum(piece.number * item.purchase for piece, item in purchase.bought)
    own = tuple(extra)
    case = Case(costs, before, after, spent + sum(item.purchase for item in own), spent - purchase.price, own)
    return case, words


def extra_sold(case: Case, joint: FloatArray, days: float, demand: float | None) -> FloatArray:
    """Return the acres a season that the change adds and that are sold."""
    one, two, _, _, _ = case.seasons(joint, days, demand)
    return two.acres - one.acres


def break_even(case: Case, joint: FloatArray, days: float, demand: float | None) -> BreakEven:
    """Return where a change just pays, all else as it is."""
    means = joint.mean(axis=0)

    def highest(m: FloatArray) -> FloatArray:
        _, _, gain, upkeep, capital = case.seasons(m, days, demand)
        return case.price * gain / np.where(upkeep + capital > 0, upkeep + capital, np.nan)

    price = None if case.price <= 0 else jackknife(highest, joint)
    margin = float(case.margin(means, days, demand))
    acres = float(extra_sold(case, means, days, demand))
    lowest = None
    if case.costs.price_per_acre is not None and acres > 1e-9:
        lowest = max(0.0, case.costs.price_per_acre - margin / acres)
    most = float(max(means[0], means[_K]) * 366.0)
    return BreakEven(
        price,
        lowest,
        _least(lambda x: float(case.margin(means, x, demand)), 366.0),
        _least(lambda x: float(case.margin(means, days, x)), min(most, float(max(means[0], means[_K])) * days)),
    )


def _least(margin: Callable[[float], float], most: float) -> float | None:
    """Return the least x above which the margin stays positive up to ``most``; None when it is not positive there."""
    grid = np.linspace(most / 400.0, most, 400)
    good = np.array([margin(float(x)) > 0 for x in grid])
    if not good[-1]:
        return None
    bad = np.flatnonzero(~good)
    if not len(bad):
        return 0.0
    low, high = float(grid[bad[-1]]), float(grid[bad[-1] + 1])
    for _ in range(40):
        middle = 0.5 * (low + high)
        low, high = (low, middle) if margin(middle) > 0 else (middle, high)
    return high
