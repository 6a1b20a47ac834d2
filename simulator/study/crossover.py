"""Which of two equipment sets wins where: field size against application rate, per day, person-hour and dollar."""

from __future__ import annotations

import math
from collections.abc import Callable, Hashable, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import numpy as np

from simulator.analysis.digits import format_estimate
from simulator.errors import InputError, Problems
from simulator.experiment.estimates import Interval, paired_interval
from simulator.plan.day_plan import DayPlan, make_plan
from simulator.scenario.field_list import FieldList, FieldSite
from simulator.scenario.loading import LoadedScenario
from simulator.scenario.schema_costs import Costs
from simulator.scenario.units import area_unit
from simulator.study.answer import Answer, shown
from simulator.study.cases import CaseRuns, FloatArray, Report, Trials, changed_set, check_runs
from simulator.study.day_money import cost_of_an_acre, jackknife, ledger_of
from simulator.study.money import item_table, pieces_of
from simulator.study.reading import parse_rates
from simulator.study.splits import MOST_FIELDS
from simulator.study.words import never_done, number_text, size_text

if TYPE_CHECKING:
    import pandas as pd

MEASURES = ("day", "person_hour", "cost")
"""What sets are compared by: acres a day, acres a person-hour, and cost an acre (the cheaper wins)."""
MEASURE_WORDS = {"day": "per day", "person_hour": "per person-hour", "cost": "per dollar"}


@dataclass(frozen=True)
class Crossover(Answer):
    """Map of winners, a row a cell and measure: differences above 0 are always in favour of set a."""

    study = "crossover"
    files = ("cells.csv=cells",)
    document = (
        "sentence", "a", "b", "measures", "level_of_each_interval=level", "looks", "unpriced", "stopped", "cells",
    )  # fmt: skip

    a: str
    b: str
    cells: pd.DataFrame
    rates: tuple[str, ...]
    areas_m2: tuple[float, ...]
    measures: tuple[str, ...]
    level: float
    looks: int
    unpriced: tuple[str, ...]
    job_m2: float

    def _sentences(self) -> list[str]:
        unit, said = self.unit, []
        for measure, own in self.cells.groupby("measure", sort=False):
            won = {name: own[own["winner"] == name] for name in (self.a, self.b, "")}
            parts = [
                f"{name} wins {len(part)} of {len(own)} cells ({self._where(part)})" if len(part) < len(own)
                else f"{name} wins everywhere on this map"
                for name, part in won.items()
                if name and len(part)
            ]  # fmt: skip
            if len(won[""]):
                parts.append(f"{len(won[''])} {'is' if len(won['']) == 1 else 'are'} too close to call")
            said.append(f"{MEASURE_WORDS[str(measure)]} {', '.join(parts)}")
        best = self.cells[self.cells["measure"] == "day"]
        row = best.iloc[int(np.argmax(np.abs(best["difference"].to_numpy())))]
        gap, low, high = (float(row[name]) / unit.acres for name in ("difference", "low", "high"))
        tail = ""
        if low * high > 0:
            size = f"{unit.of_m2(float(row['field_area_m2'])):.3g} {unit.name}"
            lead = f"{size_text(gap, low, high)} {self.per_day} for {self.a if gap > 0 else self.b}"
            tail = f" The widest gap is {lead}, at {row['rate']} on fields of {size}."
        return [f"On a job of about {unit.of_m2(self.job_m2):,.0f} {unit.name}, {'; '.join(said)}.{tail}"]

    def _where(self, cells: pd.DataFrame) -> str:
        unit = self.unit
        sizes = [f"{unit.of_m2(area):.3g}" for area in (cells["field_area_m2"].min(), cells["field_area_m2"].max())]
        rates = cells.sort_values("rate_si")["rate"].iloc[[0, -1]]
        size, rate = (" to ".join(dict.fromkeys(ends)) for ends in (sizes, rates))
        return f"fields of {size} {unit.name}, {rate}"

    def _rows(self) -> list[list[str]]:
        unit = self.unit
        cheaper = f"{self.currency}/{unit.one} (the cheaper wins)"
        labels = {"day": f"{unit.name}/day", "person_hour": f"{unit.name}/person-hour", "cost": cheaper}

        def per(row: dict[Hashable, Any]) -> float:
            return unit.acres if row["measure"] == "cost" else 1.0 / unit.acres

        return shown(self.cells.to_dict(orient="records"), {
            f"fields, {unit.name}": lambda row: f"{row['fields']} x {number_text(unit.of_m2(row['field_area_m2']), 1)}",
            "rate": lambda row: row["rate"],
            "measure": lambda row: labels[row["measure"]],
            self.a: lambda row: f"{row['a_value'] * per(row):.4g}",
            self.b: lambda row: f"{row['b_value'] * per(row):.4g}",
            f"in favour of {self.a}":
                lambda row: format_estimate(*(float(row[key]) * per(row) for key in ("difference", "low", "high"))),
            "winner": lambda row: row["winner"] or "open",
            "work days": lambda row: f"{row['a_work_days']:.3g}, {row['b_work_days']:.3g}",
            "runs": lambda row: number_text(row["runs"]),
        })  # fmt: skip

    def _remarks(self) -> list[str]:
        often = "once" if self.looks == 1 else f"up to {self.looks} times"
        said = [
            f"Every cell was looked at {often}; each interval holds at {100 * self.level:.3g} %, "
            "so that a border holds at 95 %."
        ]
        one_a_cell = self.cells[self.cells["measure"] == "day"]
        for side, name in (("a", self.a), ("b", self.b)):
            said += never_done(name, one_a_cell[f"{side}_done_share"], "cell")
        if "cost" not in self.measures:
            said.append("Per dollar is left out: the scenario has no [costs].")
        if self.unpriced:
            said.append(f"Costs leave out what has no price: {', '.join(self.unpriced)}.")
        return said


def crossover(
    loaded: LoadedScenario, a: str, b: str, areas_m2: Sequence[float], rates: Sequence[str], runs: int = 16,
    most_runs: int = 256, distance_m: float | None = None, length_to_width: float = 2.0, job_m2: float | None = None,
    seed: int | None = None, workers: int = 1, report: Report | None = None,
) -> Crossover:  # fmt: skip
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
    seed, workers, report : optional
        Seed (the scenario's by default), number of processes, and what is told of progress.

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
    sets = [loaded.equipment_set(name) for name in (a, b)]
    grid = [(area, text, value) for text, value in zip(rates, values, strict=True) for area in areas_m2]
    count = len(grid)
    check_runs(runs, 2 * count, least=3)
    check_runs(most_runs, 2 * count, "most_runs", least=runs)
    trials = Trials.of(loaded, seed, workers, report)
    total_m2 = sum(site.area_m2 for site in sets[0].fields.sites) if job_m2 is None else job_m2
    numbers = {area: max(1, round(total_m2 / area)) for area in areas_m2}
    if max(numbers.values()) > MOST_FIELDS:
        message = f"got a job of {max(numbers.values())} fields; allowed is at most {MOST_FIELDS}"
        raise InputError.single(message, "--sizes")
    plans: list[DayPlan] = []
    problems = Problems()
    for entry in sets:
        between = entry.scenario.route.between_field_distance if distance_m is None else distance_m
        for text in rates:
            changed = changed_set(entry, ['work="once"', f'{key}="{text}"'], loaded.folder)
            for area in areas_m2:
                sites = tuple(
                    FieldSite(f"field {place + 1}", area, length_to_width, drive_distance_m=between)
                    for place in range(numbers[area])
                )
                with problems.of(f"{entry.name}, {text}"):
                    plans.append(make_plan(replace(changed, fields=FieldList(sites))))
    problems.refuse()
    measures = MEASURES if all(entry.scenario.costs is not None for entry in sets) else MEASURES[:2]
    looks = max(1, math.ceil(math.log2(most_runs / runs)) + 1)
    level = 1.0 - 0.05 / looks
    simulated = trials.cases(plans)
    stopped, last, open_cells = "", runs, list(range(count))
    try:
        while open_cells:
            simulated.extend(last, [case for cell in open_cells for case in (cell, cell + count)])
            if last >= most_runs:
                break
            open_cells = [cell for cell in open_cells if not _decided(simulated, (cell, cell + count), measures, level)]
            last = min(2 * last, most_runs)
    except KeyboardInterrupt:
        stopped = "interrupted; only the cells that had finished are in the table"
    rows = []
    for cell, (area, text, value) in enumerate(grid):
        pair = (cell, cell + count)
        n = min(map(simulated.runs, pair))
        if n < 3:
            continue
        known = {"field_area_m2": area, "fields": numbers[area], "rate": text, "rate_si": value}
        for side, case in zip("ab", pair, strict=True):
            for short, name in (("work_days", "work_days"), ("done_share", "job_done")):
                known[f"{side}_{short}"] = float(simulated.column(case, name)[:n].mean())
        for measure in measures:
            found, *values = _compare(simulated, pair, measure, level)
            winner = a if (found.low or 0.0) > 0 else b if (found.high or 0.0) < 0 else ""
            told = {"difference": found.mean, "low": found.low, "high": found.high, "winner": winner, "runs": n}
            rows.append({**known, "measure": measure, **told, "a_value": values[0], "b_value": values[1]})
    if not rows:
        raise KeyboardInterrupt
    cells = pd.DataFrame(rows)
    return Crossover(
        a, b, cells, tuple(rates), tuple(areas_m2), measures, level, looks,
        _unpriced(plans[::count]) if "cost" in measures else (), total_m2, costs=loaded.base.costs, stopped=stopped,
        unit=area_unit(loaded.base.units), simulated=dict.fromkeys((a, b), int(cells["runs"].max())),
    )  # fmt: skip


def _compare(simulated: CaseRuns, pair: Sequence[int], measure: str, level: float) -> tuple[Interval, float, float]:
    """Return the difference in favour of the first, and the two values."""
    count = min(map(simulated.runs, pair))
    acres = [simulated.column(case, "acres")[:count] for case in pair]
    if measure == "day":
        return paired_interval(acres[0], acres[1], level), float(acres[0].mean()), float(acres[1].mean())
    if min(acres[0].sum(), acres[1].sum()) <= 0:
        return Interval(math.nan, None, None, count, None), math.nan, math.nan
    values: list[Callable[[FloatArray], FloatArray]]
    if measure == "person_hour":
        hours = [simulated.column(case, "crew_hours")[:count] for case in pair]
        tables = [np.column_stack(both) for both in zip(acres, hours, strict=True)]
        values = [lambda means: np.asarray(means[..., 0] / means[..., 1])] * 2
    else:
        scenarios = [(simulated.plans[case].scenario, _costs(simulated.plans[case])) for case in pair]
        rows = (simulated.rows(case)[:count] for case in pair)
        tables = [ledger_of(table, *scenario) for table, scenario in zip(rows, scenarios, strict=True)]
        values = [cost_of_an_acre(*scenario) for scenario in scenarios]
    width = tables[0].shape[1]
    # a lower cost wins, so its order is turned round
    sign = -1.0 if measure == "cost" else 1.0

    def difference(means: FloatArray) -> FloatArray:
        return sign * (values[0](means[..., :width]) - values[1](means[..., width:]))

    one, two = (float(value(table.mean(axis=0))) for value, table in zip(values, tables, strict=True))
    return jackknife(difference, np.hstack(tables), level), one, two


def _costs(plan: DayPlan) -> Costs:
    if plan.scenario.costs is None:
        raise ValueError(f"got the set {plan.name!r} without costs; allowed is one with costs")
    return plan.scenario.costs


def _unpriced(plans: Sequence[DayPlan]) -> tuple[str, ...]:
    missing = (one for plan in plans for one in pieces_of(plan.scenario) if one not in item_table(_costs(plan)))
    return tuple(dict.fromkeys(f"costs.{kind}.{name}" for kind, name in missing))


def _decided(simulated: CaseRuns, pair: Sequence[int], measures: Sequence[str], level: float) -> bool:
    for found, _, _ in (_compare(simulated, pair, measure, level) for measure in measures):
        if found.low is None or found.high is None:
            return False
        # two sets that never differ are as decided as they will ever be
        if found.low <= 0 <= found.high and found.high > found.low:
            return False
    return True
