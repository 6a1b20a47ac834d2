"""Cost and pace of larger aircraft beside what extension services report."""

from __future__ import annotations

import math
from typing import Any

import numpy as np

from simulator.experiment.run_store import Rows
from simulator.experiment.runs import row_of_run
from simulator.plan.day_plan import make_plan
from simulator.scenario.loading import EquipmentSet, load_scenario
from simulator.scenario.streams import StreamBank
from simulator.study.day_money import ledger_of
from simulator.study.money import need_costs
from simulator.study.season import size_cost
from simulator.study.validation_check import CaseDays, Check, End, ratio

_PRICES: dict[End, dict[str, float]] = {
    "low": {
        "aircraft": 22_000,
        "pack": 1_500,
        "charger": 1_200,
        "generator": 2_500,
        "rig": 6_000,
        "wage": 18,
        "day": 40,
    },
    "high": {
        "aircraft": 34_000,
        "pack": 2_600,
        "charger": 2_200,
        "generator": 5_000,
        "rig": 18_000,
        "wage": 32,
        "day": 200,
    },
}
"""Dollars; assumptions, for the guide's own were not readable: both ends of what such equipment may cost."""


def _table(rate: str, prices: dict[str, float]) -> dict[str, Any]:
    """Return a job of five quarter sections for a 40 L class aircraft with three packs on a trailer."""
    return {
        "name": "larger",
        "work": "once",
        "product": {"rate": rate},
        "field": [
            {"name": f"quarter {number}", "area": "150 acre", "length_to_width": "1", "drive_distance": "3 mi"}
            for number in range(1, 6)
        ],
        "yard": {"drive_distance": "10 mi"},
        "aircraft": {"tank_40_l": {"like": "tank_40_l"}},
        "pack": {"pack_1800_wh": {"like": "pack_1800_wh"}},
        "charger": {"charger_8_kw": {"like": "charger_8_kw"}},
        "generator": {"generator_12_kw": {"like": "generator_12_kw"}},
        "rig": {
            "main": {
                "aircraft": {"tank_40_l": 1},
                "packs": {"pack_1800_wh": 3},
                "power": {"trailer": {"generator": "generator_12_kw", "chargers": {"charger_8_kw": 1}}},
                "crew": {"pilots": 1, "helpers": 1},
            }
        },
        "costs": {
            "wage_per_hour": prices["wage"],
            "other_per_day": prices["day"],
            "aircraft": {"tank_40_l": {"purchase": prices["aircraft"], "life_hours": 2000}},
            "pack": {"pack_1800_wh": {"purchase": prices["pack"], "life_cycles": 1200, "upkeep_share": "0 %"}},
            "charger": {"charger_8_kw": {"purchase": prices["charger"]}},
            "generator": {"generator_12_kw": {"purchase": prices["generator"]}},
            "rig": {"main": {"purchase": prices["rig"], "life_years": 10}},
        },
    }  # fmt: skip


def larger_aircraft_checks(days: int, seed: int) -> list[Check]:
    """Return cost per acre by acres a year, acres an hour in the field, and minutes between changes of the pack."""
    checks = []
    for end, prices in _PRICES.items():
        entry = load_scenario(_table("2 gal/acre", prices)).sets[0]
        rows = _runs(entry, days, seed)
        costs = need_costs(entry, "the cost per acre", income=False)
        ledger = ledger_of(rows, entry.scenario, costs)
        for acres, published in ((1000.0, 12.27), (4000.0, 7.39)):
            cost = size_cost(ledger, entry, costs, acres, math.inf).cost_per_acre
            error = 0.0 if cost.half_width is None else cost.half_width / 2.0
            what = f"40 L class, {acres:,.0f} acres a year, {end} prices"
            checks.append(
                Check(f"18 cost {acres:.0f} {end}", what, "$/acre", published, published, cost.mean, error, end=end)
            )
    paces: tuple[tuple[End, str], ...] = (("low", "5 gal/acre"), ("high", "2 gal/acre"))
    for end, rate in paces:
        case = CaseDays(_runs(load_scenario(_table(rate, _PRICES["low"])).sets[0], days, seed))
        pace = ratio(case.column("acres"), case.column("field_hours"))
        checks.append(
            Check(f"20 pace {end}", f"40 L class at {rate}, in the field", "acres/h", 20.0, 40.0, *pace, end=end)
        )
        minutes = ratio(60.0 * case.column("field_hours"), case.column("pack_swaps"))
        what = f"40 L class at {rate}: from one change of pack and tank to the next"
        checks.append(Check(f"21 minutes {end}", what, "min", 8.0, 15.0, *minutes, end=end))
    return checks


def _runs(entry: EquipmentSet, runs: int, seed: int) -> Rows:
    plan, bank = make_plan(entry), StreamBank(seed)
    return np.array([row_of_run(plan, bank, run) for run in range(runs)])
