"""Money worked by hand: annuities, present value, payback, yearly cost, the season of given days."""

from __future__ import annotations

import math

import numpy as np
import pytest
from short_days import rows_of, short

from simulator.errors import InputError
from simulator.experiment.estimates import mean_interval
from simulator.scenario.loading import vary
from simulator.scenario.schema_costs import Costs, Item
from simulator.study.change import Case, make_case
from simulator.study.day_money import LEDGER, jackknife, ledger_of, resampler, season_draws, season_money
from simulator.study.money import (
    Pieces,
    annuity_factor,
    change_words,
    life_years,
    need_prices,
    payback_years,
    pieces_of,
    yearly_cost,
)


def test_annuity_factor():
    """(P/A, 8 %, 5) = 3.9927 and (P/A, 10 %, 10) = 6.1446: compound interest tables; from memory."""
    assert annuity_factor(0.08, 5.0) == pytest.approx(3.9927, abs=5e-5)
    assert annuity_factor(0.10, 10.0) == pytest.approx(6.1446, abs=5e-5)
    assert annuity_factor(0.0, 7.0) == 7.0
    assert annuity_factor(0.08, 0.0) == 0.0
    with pytest.raises(ValueError, match="allowed is at least 0"):
        annuity_factor(-0.1, 3.0)


def net_present_value(flows: list[float], interest: float) -> float:
    """The first flow is paid today, the others at year ends: elementary."""
    return sum(flow * (1.0 + interest) ** -year for year, flow in enumerate(flows))


def test_annuity_is_the_worth_of_equal_flows():
    """The factor against the sum it stands for: elementary."""
    assert annuity_factor(0.07, 12.0) == pytest.approx(net_present_value([0.0] + [1.0] * 12, 0.07))


@pytest.mark.parametrize(
    ("price", "yearly", "years"),
    [
        (1000, [400, 400, 400, 400], 2.5),
        (1000, [200, 400, 800, 0], 2.5),
        (1000, [100, 100], 10.0),  # the mean of 100 goes on after the second year
        (1000, [-5, 5], math.inf),
        (1000, [-50, -5], math.inf),
        (0, [-50, -5], 0.0),
    ],
)
def test_payback(price, yearly, years):
    """Payback by adding up: elementary."""
    assert payback_years(price, yearly) == pytest.approx(years)


def test_payback_of_many_futures_at_once():
    """Rows of futures give what each gives alone."""
    table = np.array([[400.0, 400.0, 400.0], [100.0, 100.0, 100.0], [-1.0, -1.0, -1.0]])
    assert payback_years(1000, table).tolist() == pytest.approx([2.5, 10.0, math.inf])


def test_yearly_cost_by_hand():
    """P 2000, resale 20 % after 4 years, upkeep 5 %, 8 %: 1600/3.312127 + 400 x 0.08 + 100 = 615.07; elementary."""
    item = Item(purchase=2000, life_years=4, resale_share=0.2, upkeep_share=0.05)
    assert yearly_cost(item, 4.0, 0.08) == pytest.approx(615.073, abs=1e-3)
    assert yearly_cost(item, 4.0, 0.0) == pytest.approx(1600 / 4 + 100)


def test_yearly_cost_is_the_cash_it_stands_for():
    """Over its life, price out, upkeep yearly and resale at the end are worth what the yearly cost is: elementary."""
    item = Item(purchase=3500, life_years=5, resale_share=0.3, upkeep_share=0.04)
    cash = [-3500.0, *[-140.0] * 4, -140.0 + 1050.0]
    assert -annuity_factor(0.09, 5.0) * yearly_cost(item, 5.0, 0.09) == pytest.approx(net_present_value(cash, 0.09))


def test_life_is_what_ends_first():
    """1500 cycles at 500 a year are 3 years; 1000 h at 100 h a year are 10 years and do not matter."""
    item = Item(purchase=1, life_years=4, life_cycles=1500, life_hours=1000)
    assert life_years(item, 500, 100) == 3.0
    assert life_years(item, 100, 100) == 4.0
    assert life_years(item, 0, 500) == 2.0
    assert life_years(item, [0, 750], 0).tolist() == [4.0, 2.0]


NONE = Pieces()


def packs(number: int) -> Pieces:
    return Pieces({("pack", "big"): number})


def _day(**values: float) -> np.ndarray:
    return np.array([values.get(name, 0.0) for name in LEDGER])


COSTS = Costs(
    price_per_acre=10.0,
    wage_per_hour=20.0,
    fuel_per_litre=2.0,
    drive_per_km=1.0,
    other_per_day=5.0,
    season_days=40,
    interest=0.0,
)


def test_season_by_hand():
    """100 acres, 8 crew hours, 10 L, 15 km a day: 1000 earned, 160 + 20 + 15 + 5 = 200 spent; 40 days."""
    day = _day(acres=100, rig_hours=4, crew_hours=8, fuel_l=10, drive_km=15)
    money = season_money(day, COSTS, NONE, 40)
    assert (float(money.days), float(money.acres)) == (40, 4000)
    assert (float(money.revenue), float(money.running), float(money.margin)) == (40_000, 8_000, 32_000)


def test_season_stops_at_the_demand():
    """2500 acres at 100 a day take 25 days; running costs are those of 25 days."""
    day = _day(acres=100, crew_hours=8)
    money = season_money(day, COSTS, NONE, 40, demand=2500)
    assert (float(money.days), float(money.acres), float(money.capacity_acres)) == (25, 2500, 4000)
    assert float(money.running) == 25 * 165


def test_paid_by_the_hour():
    """4 rig hours at 300 an hour, whatever the acres."""
    costs = COSTS.model_copy(update={"price_per_acre": None, "price_per_hour": 300.0})
    assert float(season_money(_day(acres=1, rig_hours=4), costs, NONE, 10).revenue) == 12_000
    with pytest.raises(ValueError, match="both price_per_acre and price_per_hour"):
        Costs(price_per_acre=1.0, price_per_hour=1.0)


def test_cycles_wear_packs_out_sooner():
    """60 cycles a day over 2 packs on 50 days are 1500 a pack: life 1 year of 3; at interest 0, 1000 a year each."""
    costs = COSTS.model_copy(
        update={
            "pack": {"big": Item(purchase=1000, life_years=3, life_cycles=1500, resale_share=0.0, upkeep_share=0.0)}
        }
    )
    money = season_money(_day(acres=1, charge_cycles=60), costs, packs(2), 50)
    assert float(money.cycles_per_pack) == 1500
    assert float(money.capital) == pytest.approx(2000)
    three = season_money(_day(acres=1, charge_cycles=60), costs, packs(3), 50)
    assert float(three.capital) == pytest.approx(2000)  # three packs share the cycles and last 1.5 years each


def test_jackknife_of_a_linear_function_is_the_t_interval():
    """Leaving one out of a mean gives back the classical interval (Efron & Tibshirani; from memory)."""
    table = np.random.Generator(np.random.Philox(5)).normal(10, 2, size=(25, 3))
    direct, jack = mean_interval(3 * table[:, 0] - table[:, 2]), jackknife(lambda m: 3 * m[..., 0] - m[..., 2], table)
    assert (jack.mean, jack.low, jack.high) == pytest.approx((direct.mean, direct.low, direct.high))


def test_jackknife_of_a_ratio_covers_its_truth():
    """400 small studies of a ratio of means; 95 % less 4 standard errors (binomial), small samples cover a bit less."""
    rng = np.random.Generator(np.random.Philox(6))
    hits = 0
    for _ in range(400):
        x = rng.gamma(20.0, 1.0, size=(20, 1))
        table = np.hstack([x, 5.0 + 0.5 * x + rng.normal(0, 1, size=(20, 1))])
        found = jackknife(lambda m: m[..., 1] / m[..., 0], table)
        hits += found.low <= 15.0 / 20.0 <= found.high
    assert 0.95 - 4 * math.sqrt(0.95 * 0.05 / 400) <= hits / 400 <= 0.985


def test_value_of_a_purchase_is_that_of_its_cash_flows():
    """A pack that lasts the horizon: net present value of price, yearly gain and resale, by hand; elementary."""
    item = Item(purchase=2000, life_years=5, resale_share=0.1, upkeep_share=0.02)
    costs = COSTS.model_copy(update={"interest": 0.08, "horizon_years": 5.0, "pack": {"big": item}})
    before, after = packs(2), packs(3)
    case = Case(costs, before, after, 2000.0, 0.0, 40)
    joint = np.concatenate([_day(acres=100, crew_hours=8), _day(acres=120, crew_hours=9)])
    # 20 acres at 10 less one crew hour at 20 is 180 a day, 7200 a season of 40 days
    cash = [-2000.0, *[7200.0 - 40.0] * 4, 7200.0 - 40.0 + 200.0]
    assert case.value(joint) == pytest.approx(net_present_value(cash, 0.08))


def test_selling_what_is_no_longer_needed():
    """A generator replaced by a dearer one: its yearly cost is saved, its resale lowers the cash needed."""
    old = Item(purchase=1000, life_years=5, resale_share=0.5, upkeep_share=0.0)
    new = Item(purchase=3000, life_years=5, resale_share=0.5, upkeep_share=0.0)
    costs = COSTS.model_copy(update={"generator": {"old": old, "new": new}, "horizon_years": 5.0})
    case = Case(costs, Pieces({("generator", "old"): 1}), Pieces({("generator", "new"): 1}), 3000.0, 500.0, 40)
    same = np.concatenate([_day(acres=100), _day(acres=100)])
    # interest 0: the new one costs 300 a year, the old one 100
    assert case.margin(same) == pytest.approx(-200.0)


def test_what_a_change_buys_in_words():
    """Numbers of pieces and people that differ are named."""
    loaded = short()
    base = loaded.sets[0]
    changed = vary(base, ["rig.main.packs.large_pack=4", "rig.main.crew.helpers=2"], loaded.folder)
    assert change_words(base.scenario, changed.scenario) == "two more 1,800 Wh packs and one more person"
    assert change_words(changed.scenario, base.scenario) == "two fewer 1,800 Wh packs and one fewer person"
    costs = base.scenario.costs
    bought, sold = (make_case(*sets, costs, None, "payoff")[0] for sets in ((base, changed), (changed, base)))
    assert (bought.price, bought.resale) == (4000, 0)
    assert (sold.price, sold.resale) == (0, pytest.approx(200))  # two packs at a resale of 5 % of 2000
    assert pieces_of(base.scenario).total() == 6  # aircraft, 2 packs, charger, generator, rig


def test_missing_prices_are_all_named():
    """Every class without a price is a problem with its key."""
    with pytest.raises(InputError) as caught:
        need_prices(
            [("pack", "bigg"), ("charger", "fast")],
            COSTS.model_copy(update={"pack": {"big": Item(purchase=1)}}),
            "payoff",
        )
    assert [problem.where for problem in caught.value.problems] == ["costs.pack.bigg", "costs.charger.fast"]
    assert "'big'" in caught.value.problems[0].message


def test_grid_energy_is_split_by_power():
    """Half of the power from the grid: half of the energy is paid for."""
    loaded = short()
    entry = vary(
        loaded.sets[0], ['rig.main.power.house={ grid_power = "12 kW", chargers = { fast = 1 } }'], loaded.folder
    )
    ledger = ledger_of(rows_of(2, 0.0, energy_kwh=50.0), entry.scenario, COSTS)
    assert ledger[:, LEDGER.index("grid_kwh")].tolist() == [25.0, 25.0]


def test_drawn_seasons_keep_the_mean_and_the_pairing():
    """Means of drawn seasons: within 4 standard errors; columns side by side are drawn together."""
    rng = resampler(3, "test")
    days = np.random.Generator(np.random.Philox(9)).normal(100, 10, size=(50, 1))
    drawn = season_draws(np.hstack([days, days + 7.0]), 30, 4, 300, rng)
    assert drawn.shape == (300, 4, 2)
    assert np.allclose(drawn[..., 1] - drawn[..., 0], 7.0)
    spread = drawn[..., 0].mean(axis=1).std(ddof=1) / math.sqrt(300)
    assert abs(drawn[..., 0].mean() - days.mean()) <= 4 * spread
    again = season_draws(days, 30, 4, 5, resampler(3, "test"))
    assert np.array_equal(again, season_draws(days, 30, 4, 5, resampler(3, "test")))
    assert not np.array_equal(again, season_draws(days, 30, 4, 5, resampler(4, "test")))


def test_a_price_of_its_own_comes_on_top_or_instead():
    """A pack of 2000 and a pump of 500, interest 0, 5 years, no resale or upkeep: 500 a year; the price alone: 100."""
    pack = Item(purchase=2000, life_years=5, resale_share=0.0, upkeep_share=0.0)
    pump = Item(purchase=500, life_years=5, resale_share=0.0, upkeep_share=0.0)
    costs = COSTS.model_copy(update={"pack": {"big": pack}})
    before, after = packs(2), packs(3)
    same = np.concatenate([_day(acres=100), _day(acres=100)])
    on_top = Case(costs, before, after, 2500.0, 0.0, 40, None, (pump,))
    assert on_top.margin(same) == pytest.approx(-500.0)
    instead = Case(costs, before, after, 500.0, 0.0, 40, None, (pump,), only_own=True)
    assert instead.margin(same) == pytest.approx(-100.0)
