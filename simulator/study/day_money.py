"""From simulated runs to money: what a work day used and earned, and what a season of such days leaves."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from simulator.analysis.summary import place_of
from simulator.errors import InputError
from simulator.experiment.document import as_json
from simulator.experiment.estimates import Interval, mean_interval
from simulator.experiment.result import Result
from simulator.experiment.set_result import SetResult
from simulator.operation.log import FLIGHT_STATES
from simulator.scenario.loading import EquipmentSet, LoadedScenario
from simulator.scenario.references import used_rigs
from simulator.scenario.schema import Scenario
from simulator.scenario.schema_costs import Costs
from simulator.study.money import (
    FloatArray,
    Pieces,
    demand_acres,
    item_table,
    life_years,
    need_prices,
    pieces_of,
    yearly_cost,
)

LEDGER = (
    "acres", "rig_hours", "crew_hours", "fuel_l", "grid_kwh", "drive_km", "charge_cycles", "airborne_hours",
    "charger_hours", "generator_hours", "work_days",
)  # fmt: skip
"""What a work day's money depends on: columns of a ledger. Hours of a charger and a generator are those of one piece;
``work_days`` are those of the run that the day is the mean of.
"""
_AT = {name: place for place, name in enumerate(LEDGER)}


def ledger_of(rows: NDArray[np.float64], scenario: Scenario, costs: Costs) -> FloatArray:
    """Return what a work day of each run used."""

    def column(name: str) -> FloatArray:
        values: FloatArray = rows[:, place_of(name)]
        return values

    rigs = used_rigs(scenario)
    points = [point for name in rigs for point in scenario.rig[name].power.values()]
    # assumptions: energy of grid and engines is as their power, and generators run while their rig is at a field
    grid = sum(point.grid_power or 0.0 for point in points)
    engine = sum(scenario.generator[point.generator].rated_power for point in points if point.generator is not None)
    rig_hours, field_hours, crew_hours = column("paid_hours"), column("field_hours"), column("crew_hours")
    if costs.pay == "field hours":
        crew_hours = crew_hours * field_hours / np.where(rig_hours > 0, rig_hours, 1.0)
    airborne_s = sum((column(f"time_s/{state.value}") for state in FLIGHT_STATES), np.zeros(len(rows)))
    used = {
        "acres": column("acres"), "rig_hours": rig_hours, "crew_hours": crew_hours,
        "fuel_l": column("generator_fuel_l"), "grid_kwh": column("energy_kwh") * (grid / (grid + engine)),
        "drive_km": column("drive_km"), "charge_cycles": column("charge_cycles"), "airborne_hours": airborne_s / 3600.0,
        "charger_hours": column("utilisation/chargers") * rig_hours / len(rigs),
        "generator_hours": field_hours / len(rigs), "work_days": column("work_days"),
    }  # fmt: skip
    return np.column_stack([used[name] for name in LEDGER])


@dataclass(frozen=True)
class SeasonMoney:
    """Money of seasons, one value for each row of day means."""

    days: FloatArray
    acres: FloatArray
    capacity_acres: FloatArray
    revenue: FloatArray
    running: FloatArray
    upkeep: FloatArray
    capital: FloatArray
    cycles_per_pack: FloatArray

    @property
    def cost_per_acre(self) -> FloatArray:
        """Everything that is spent, running, upkeep and capital, over the acres done."""
        return np.asarray((self.running + self.upkeep + self.capital) / self.acres)

    @property
    def margin(self) -> FloatArray:
        """Revenue less everything: running, upkeep and capital."""
        return np.asarray(self.revenue - self.running - self.upkeep - self.capital)


def running_per_day(means: FloatArray, costs: Costs) -> FloatArray:
    """Return wages, fuel, energy, driving and other costs of a day."""
    prices = {
        "crew_hours": costs.wage_per_hour, "fuel_l": costs.fuel_per_litre, "grid_kwh": costs.grid_per_kwh,
        "drive_km": costs.drive_per_km,
    }  # fmt: skip
    return np.asarray(sum(means[..., _AT[name]] * price for name, price in prices.items()) + costs.other_per_day)


def revenue_per_day(means: FloatArray, costs: Costs) -> FloatArray:
    """Return what a day earns, by the acre or by the paid rig hour."""
    if costs.price_per_acre is not None:
        return np.asarray(means[..., _AT["acres"]] * costs.price_per_acre)
    return np.asarray(means[..., _AT["rig_hours"]] * (costs.price_per_hour or 0.0))


def season_money(
    means: FloatArray, costs: Costs, pieces: Pieces, days: ArrayLike, demand: float | None = None,
    charged: Pieces | None = None,
) -> SeasonMoney:  # fmt: skip
    """Return the money of a season of such days, until the demand (acres) is met; the last day counts as far as needed.

    Upkeep and capital are those of the pieces that are charged, all by default.
    """
    acres_day = means[..., _AT["acres"]]
    most = np.broadcast_to(np.asarray(days, dtype=np.float64), acres_day.shape)
    worked = most
    if demand is not None:
        worked = np.where(acres_day * most > demand, demand / np.where(acres_day > 0, acres_day, 1.0), most)
    owned = {kind: sum(n for (one, _), n in pieces.items() if one == kind) for kind in ("aircraft", "pack", "rig")}
    cycles = means[..., _AT["charge_cycles"]] * worked / max(1, owned["pack"])
    hours = {
        "aircraft": means[..., _AT["airborne_hours"]] * worked / max(1, owned["aircraft"]),
        "pack": np.zeros_like(worked),
        "charger": means[..., _AT["charger_hours"]] * worked,
        "generator": means[..., _AT["generator_hours"]] * worked,
        "rig": means[..., _AT["rig_hours"]] * worked / max(1, owned["rig"]),
    }
    items = item_table(costs)
    upkeep, capital = np.zeros_like(worked), np.zeros_like(worked)
    for (kind, name), number in (pieces if charged is None else charged).items():
        item = items.get((kind, name))
        if item is None:
            continue
        life = life_years(item, cycles if kind == "pack" else 0.0, hours[kind])
        kept = item.upkeep_share * item.purchase
        upkeep = upkeep + number * kept
        capital = capital + number * (yearly_cost(item, life, costs.interest) - kept)
    revenue, running = (each(means, costs) * worked for each in (revenue_per_day, running_per_day))
    return SeasonMoney(worked, acres_day * worked, acres_day * most, revenue, running, upkeep, capital, cycles)


def jackknife(function: Callable[[FloatArray], FloatArray], ledger: FloatArray, level: float = 0.95) -> Interval:
    """Return a smooth function of mean days with its interval, by leaving out one run after another.

    Source: Efron & Tibshirani, *An Introduction to the Bootstrap*, chapter 11; from memory. Runs of several sets that
    share random numbers go in as columns side by side.
    """
    n = len(ledger)
    total = ledger.sum(axis=0)
    whole = float(function(total / n))
    without = function((total - ledger) / (n - 1))
    spread = mean_interval(n * whole - (n - 1) * without, level)
    half = spread.half_width
    if half is None or not np.isfinite(half):
        return Interval(whole, None, None, n, None)
    return Interval(whole, whole - half, whole + half, n, half)


def season_draws(
    ledger: FloatArray, season_days: float, years: int, worlds: int, rng: np.random.Generator, run_days: int = 1
) -> FloatArray:
    """Return mean days of made-up seasons, drawn from the simulated runs, of shape (worlds, years, columns).

    A row of the ledger stands for ``run_days`` days in a row, whose mean varies less than a day does.
    """
    # each world first draws its own set of runs (what is not known for want of more of them), then the runs of each of
    # its seasons out of them (chance from season to season)
    n, draws = len(ledger), max(1, int(np.ceil(season_days - 1e-9)))
    runs = -(-draws // run_days)
    weights = np.array([run_days] * (runs - 1) + [draws - run_days * (runs - 1)], dtype=np.float64)
    result = np.empty((worlds, years, ledger.shape[1]))
    for world in range(worlds):
        own = rng.integers(n, size=n)
        counts = np.zeros((years, n))
        chosen = own[rng.integers(n, size=(years, runs))]
        for year in range(years):
            counts[year] = np.bincount(chosen[year], weights, minlength=n)
        result[world] = counts @ ledger / draws
    return result


def days_of_run(work_days: FloatArray) -> int:
    """Return the work days of a run, on average and at least one."""
    return max(1, round(float(work_days.mean())))


def resampler(seed: int, purpose: str) -> np.random.Generator:
    """Return a generator for drawing from simulated runs: fixed by seed and purpose, apart from every stream."""
    from hashlib import blake2b

    key = int.from_bytes(blake2b(f"resample/{purpose}/{seed}".encode(), digest_size=16).digest(), "little")
    return np.random.Generator(np.random.Philox(key=key))


def job_cost_per_acre(equipment: EquipmentSet, result: SetResult) -> Interval | None:
    """Return what an acre of the job costs, upkeep and capital by its days of the season; None without prices."""
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
