"""What the whole job costs: wages, fuel, driving and the wear of the equipment, for each acre."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from simulator.errors import InputError
from simulator.experiment.document import as_json
from simulator.experiment.estimates import Interval
from simulator.experiment.result import Result
from simulator.experiment.set_result import SetResult
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_costs import Costs
from simulator.study.day_money import jackknife, ledger_of, season_money
from simulator.study.money import FloatArray, demand_acres, need_prices, pieces_of


def job_cost_per_acre(equipment: EquipmentSet, result: SetResult) -> Interval | None:
    """Return what an acre of the job costs, in the scenario's currency, with its interval; None without prices.

    Wages, fuel, energy, driving and daily costs are those of the job's own days; upkeep and capital of the equipment
    are shared out over ``costs.season_days`` such days, or fewer where the season's demand is met before.
    """
    scenario = equipment.scenario
    costs = scenario.costs
    if costs is None or result.runs < 2:
        return None
    try:
        need_prices(pieces_of(scenario), costs, "the cost of the job")
    except InputError:
        return None
    ledger = np.vstack([ledger_of(rows, scenario, costs) for _, rows in result.parts()])
    return jackknife(cost_of_an_acre(scenario, costs), ledger) if ledger[:, 0].any() else None


def cost_of_an_acre(scenario: Scenario, costs: Costs) -> Callable[[FloatArray], FloatArray]:
    """Return the function from a mean day of a set's jobs to what an acre of them costs."""
    pieces, days, demand = pieces_of(scenario), costs.season_days, demand_acres(costs)
    return lambda means: season_money(means, costs, pieces, days, demand).cost_per_acre


def put_costs(document: dict[str, Any], loaded: LoadedScenario, result: Result) -> None:
    """Put the cost of the job into every set of a result document (``job.cost_per_acre``)."""
    for table, entry in zip(document["equipment_sets"], result.sets, strict=True):
        equipment = loaded.equipment_set(entry.name)
        cost = job_cost_per_acre(equipment, entry)
        if cost is not None and equipment.scenario.costs is not None:
            table["job"]["cost_per_acre"] = as_json(cost)
            table["job"]["currency"] = equipment.scenario.costs.currency
