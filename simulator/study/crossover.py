"""Which of two equipment sets wins where: field size against application rate, per day, person-hour and dollar."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError, Problem
from simulator.experiment.estimates import Interval, format_estimate, paired_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario import units
from simulator.scenario.field_list import FieldList, FieldSite
from simulator.scenario.loading import LoadedScenario
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.cases import CaseRuns, changed_set, check_size
from simulator.study.day_money import jackknife, ledger_of
from simulator.study.documents import clean
from simulator.study.job_cost import cost_of_an_acre
from simulator.study.money import item_table, pieces_of
from simulator.study.splits import MOST_FIELDS, above_zero, read_each
from simulator.study.trial import Report, area_unit, check_workers

if TYPE_CHECKING:
    import pandas as pd

FloatArray = NDArray[np.float64]
MEASURES = ("day", "person_hour", "cost")
"""What sets are compared by: acres a day, acres a person-hour, and cost an acre (lower wins)."""
MEASURE_WORDS = {"day": "per day", "person_hour": "per person-hour", "cost": "per dollar"}


@dataclass(frozen=True)
class Crossover:
    """Map of winners."""

    a: str
    b: str
    cells: pd.DataFrame
    rates: tuple[str, ...]
    areas_m2: tuple[float, ...]
    measures: tuple[str, ...]
    level: float
    looks: int
    unpriced: tuple[str, ...]
    units: str
    sentence: str
    stopped: str = ""

    def to_json(self) -> dict[str, Any]:
        """Return the study as a JSON-able document."""
        document = {
            "study": "crossover", "sentence": self.sentence, "a": self.a, "b": self.b, "measures": self.measures,
            "level_of_each_interval": self.level, "looks": self.looks, "unpriced": self.unpriced,
            "stopped": self.stopped,
            "cells": self.cells.to_dict(orient="records"),
        }  # fmt: skip
        return clean(document)


def parse_rates(loaded: LoadedScenario, texts: Sequence[str]) -> tuple[str, list[float]]:
    """Return the key of the application rate and the rates in its inner unit."""
    liquid = loaded.base.product.kind == "liquid"
    dimension = units.LIQUID_RATE if liquid else units.DRY_RATE
    if not texts:
        raise InputError.single(f"got none; allowed is at least one, such as {dimension.example!r}", "--rates")
    values = read_each(texts, "--rates", lambda text: above_zero(units.parse(text, dimension)), "is above 0")
    return ("product.rate" if liquid else "product.dry_rate"), values


def crossover(
    loaded: LoadedScenario,
    a: str,
    b: str,
    areas_m2: Sequence[float],
    rates: Sequence[str],
    runs: int = 16,
    most_runs: int = 256,
    distance_m: float | None = None,
    length_to_width: float = 2.0,
    job_m2: float | None = None,
    seed: int | None = None,
    workers: int = 1,
    report: Report | None = None,
) -> Crossover:
    """Map which of two equipment sets wins over field size and application rate.

    Every cell begins with ``runs`` runs; cells where a measure's interval straddles zero are given twice as many again
    and again, up to ``most_runs``. What still straddles zero then is the undecided band.

    Parameters
    ----------
    loaded : LoadedScenario
        The equipment sets. Each cell is a job of like fields, as many as come nearest to the area of the job.
    a, b : str
        Sets to compare.
    areas_m2 : sequence of float
        Field sizes, m2.
    rates : sequence of str
        Application rates with unit.
    runs, most_runs : int, optional
        Runs of each cell and set: at first, and at most.
    distance_m : float, optional
        Road distance between fields, m; the scenario's ``route.between_field_distance`` by default.
    length_to_width : float, optional
        Shape of the fields.
    job_m2 : float, optional
        Area of the job, m2; that of the scenario's fields by default.
    seed : int, optional
        Seed; the scenario's by default.
    workers : int, optional
        Processes.
    report : callable, optional
        Progress.

    Returns
    -------
    Crossover
        When interrupted, of the cells that have at least three runs.

    Raises
    ------
    InputError
        Something given cannot be used; with all problems of all cells.
    """
    import pandas as pd

    if a == b:
        raise InputError.single(f"got {a!r} twice; allowed are two different equipment sets")
    if not areas_m2 or not all(math.isfinite(area) and area > 0 for area in areas_m2):
        raise InputError.single("got no field size above 0; allowed is at least one, such as 40 acre", "--sizes")
    key, values = parse_rates(loaded, rates)
    first_set, second_set = loaded.equipment_set(a), loaded.equipment_set(b)
    grid = [(area, text, value) for text, value in zip(rates, values, strict=True) for area in areas_m2]
    check_size(runs, 2 * len(grid), least=3)
    check_size(most_runs, 2 * len(grid), "most_runs", least=runs)
    check_workers(workers)
    plans: list[DayPlan] = []
    problems: list[Problem] = []
    total_m2 = sum(site.area_m2 for site in first_set.fields.sites) if job_m2 is None else job_m2
    numbers = {area: max(1, round(total_m2 / area)) for area in areas_m2}
    if max(numbers.values()) > MOST_FIELDS:
        message = f"got a job of {max(numbers.values())} fields; allowed is at most {MOST_FIELDS}"
        raise InputError.single(message, "--sizes")
    for entry in (first_set, second_set):
        between = entry.scenario.route.between_field_distance if distance_m is None else distance_m
        for text in rates:
            changed = changed_set(entry, ['work="once"', f'{key}="{text}"'], loaded.folder)
            for area in areas_m2:
                sites = tuple(
                    FieldSite(f"field {place + 1}", area, length_to_width, drive_distance_m=between)
                    for place in range(numbers[area])
                )
                try:
                    plans.append(make_plan(replace(changed, fields=FieldList(sites))))
                except InputError as error:
                    problems += [Problem(f"{entry.name}, {text}: {one.where}", one.message) for one in error.problems]
    if problems:
        raise InputError(list(dict.fromkeys(problems)))
    measures = MEASURES if all(one.scenario.costs is not None for one in (first_set, second_set)) else MEASURES[:2]
    looks = max(1, math.ceil(math.log2(most_runs / runs)) + 1)
    level = 1.0 - 0.05 / looks
    simulated = CaseRuns(plans, loaded.base.seed if seed is None else seed, workers, report)
    cells = list(range(len(grid)))
    stopped, last = "", runs
    open_cells = cells
    try:
        while open_cells:
            simulated.extend(last, [case for cell in open_cells for case in (cell, cell + len(grid))])
            if last >= most_runs:
                break
            open_cells = [cell for cell in open_cells if not _decided(simulated, cell, len(grid), measures, level)]
            last = min(2 * last, most_runs)
    except KeyboardInterrupt:
        stopped = "interrupted; only the cells that had finished are in the table"
    rows = []
    for cell in cells:
        count = min(simulated.runs(cell), simulated.runs(cell + len(grid)))
        if count < 3:
            continue
        area, text, value = grid[cell]
        known = {"field_area_m2": area, "fields": numbers[area], "rate": text, "rate_si": value}
        for side, case in (("a", cell), ("b", cell + len(grid))):
            for key, name in (("work_days", "work_days"), ("done_share", "job_done")):
                known[f"{side}_{key}"] = float(simulated.column(case, name)[:count].mean())
        for measure in measures:
            difference, value_a, value_b = _compare(simulated, cell, cell + len(grid), measure, level)
            if difference is None:
                difference = Interval(math.nan, None, None, count, None)
            winner = a if (difference.low or 0.0) > 0 else b if (difference.high or 0.0) < 0 else ""
            rows.append(
                {
                    **known,
                    "measure": measure,
                    "difference": difference.mean,
                    "low": difference.low,
                    "high": difference.high,
                    "winner": winner,
                    "runs": count,
                    "a_value": value_a,
                    "b_value": value_b,
                }
            )
    if not rows:
        raise KeyboardInterrupt
    missing = (
        tuple(dict.fromkeys(key for plan in plans[:: len(grid)] for key in _unpriced(plan)))
        if "cost" in measures
        else ()
    )
    table = pd.DataFrame(rows)
    sentence = _sentence(table, a, b, total_m2, loaded.base.units)
    return Crossover(
        a,
        b,
        table,
        tuple(rates),
        tuple(areas_m2),
        measures,
        level,
        looks,
        missing,
        loaded.base.units,
        sentence,
        stopped,
    )


def _compare(
    simulated: CaseRuns, first: int, second: int, measure: str, level: float
) -> tuple[Interval | None, float, float]:
    """Return the difference in favour of the first, and the two values."""
    count = min(simulated.runs(first), simulated.runs(second))
    acres = [simulated.column(case, "acres")[:count] for case in (first, second)]
    if measure == "day":
        return paired_interval(acres[0], acres[1], level), float(acres[0].mean()), float(acres[1].mean())
    if min(acres[0].sum(), acres[1].sum()) <= 0:
        return None, math.nan, math.nan
    if measure == "person_hour":
        tables = [
            np.column_stack([acres[n], simulated.column(case, "crew_hours")[:count]])
            for n, case in enumerate((first, second))
        ]
        values: list[Callable[[FloatArray], FloatArray]] = [_per_hour, _per_hour]
    else:
        plans = [simulated.plans[case] for case in (first, second)]
        tables = [
            ledger_of(simulated.rows(case)[:count], plan.scenario, _costs(plan))
            for case, plan in zip((first, second), plans, strict=True)
        ]
        values = [cost_of_an_acre(plan.scenario, _costs(plan)) for plan in plans]
    width = tables[0].shape[1]
    # a lower cost wins, so its order is turned round
    sign = -1.0 if measure == "cost" else 1.0

    def difference(means: FloatArray) -> FloatArray:
        return sign * (values[0](means[..., :width]) - values[1](means[..., width:]))

    found = jackknife(difference, np.hstack(tables), level)
    one, two = (float(value(table.mean(axis=0))) for value, table in zip(values, tables, strict=True))
    return found, one, two


def _per_hour(means: FloatArray) -> FloatArray:
    return np.asarray(means[..., 0] / means[..., 1])


def _costs(plan: DayPlan) -> Costs:
    if plan.scenario.costs is None:
        raise ValueError(f"got the set {plan.name!r} without costs; allowed is one with costs")
    return plan.scenario.costs


def _unpriced(plan: DayPlan) -> list[str]:
    priced = item_table(_costs(plan))
    return [
        f"costs.{piece.kind}.{piece.name}"
        for piece in pieces_of(plan.scenario)
        if (piece.kind, piece.name) not in priced
    ]


def _decided(simulated: CaseRuns, cell: int, shift: int, measures: Sequence[str], level: float) -> bool:
    for measure in measures:
        difference, _, _ = _compare(simulated, cell, cell + shift, measure, level)
        if difference is None or difference.low is None or difference.high is None:
            return False
        # two sets that never differ are as decided as they will ever be
        if difference.low <= 0 <= difference.high and difference.high > difference.low:
            return False
    return True


def _sentence(cells: pd.DataFrame, a: str, b: str, total_m2: float, units_name: str) -> str:
    unit = area_unit(units_name)
    said = []
    for measure in dict.fromkeys(cells["measure"]):
        own = cells[cells["measure"] == measure]
        won = {name: own[own["winner"] == name] for name in (a, b, "")}
        words = MEASURE_WORDS[measure]
        if len(won[a]) == len(own) or len(won[b]) == len(own):
            said.append(f"{words} {a if len(won[a]) else b} wins everywhere on this map")
            continue
        parts = [
            f"{name} wins {len(won[name])} of {len(own)} cells ({_where(won[name], unit.name, unit.acres)})"
            for name in (a, b)
            if len(won[name])
        ]
        if len(won[""]):
            parts.append(f"{len(won[''])} {'is' if len(won['']) == 1 else 'are'} too close to call")
        said.append(f"{words} " + ", ".join(parts))
    text = "; ".join(said)
    best = cells[cells["measure"] == "day"]
    row = best.iloc[int(np.argmax(np.abs(best["difference"].to_numpy())))]
    low, high, gap = (float(row[name]) / unit.acres for name in ("low", "high", "difference"))
    leader = a if gap > 0 else b
    amount = format_estimate(abs(gap), *sorted((abs(low), abs(high)))) if low * high > 0 else ""
    tail = ""
    if amount:
        size = float(row["field_area_m2"]) / M2_PER_ACRE / unit.acres
        tail = (
            f" The widest gap is {amount} {unit.name} a day for {leader}, "
            f"at {row['rate']} on fields of {size:.3g} {unit.name}."
        )
    return f"On a job of about {total_m2 / M2_PER_ACRE / unit.acres:,.0f} {unit.name}, {text}.{tail}"


def _where(cells: pd.DataFrame, unit: str, per_unit: float) -> str:
    sizes = cells["field_area_m2"] / M2_PER_ACRE / per_unit
    rates = cells.sort_values("rate_si")["rate"]
    size = (
        f"{sizes.min():.3g} to {sizes.max():.3g} {unit}" if sizes.min() < sizes.max() else f"{sizes.min():.3g} {unit}"
    )
    rate = f"{rates.iloc[0]} to {rates.iloc[-1]}" if rates.iloc[0] != rates.iloc[-1] else rates.iloc[0]
    return f"fields of {size}, {rate}"
