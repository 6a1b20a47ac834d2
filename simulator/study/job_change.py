"""What a change does to the whole job: work days, and the cost of an acre."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import place_of
from simulator.errors import InputError
from simulator.experiment.estimates import Interval, paired_interval
from simulator.scenario.loading import EquipmentSet
from simulator.scenario.units import M2_PER_ACRE
from simulator.study.day_money import jackknife, ledger_of
from simulator.study.documents import interval_json
from simulator.study.money import need_prices
from simulator.study.payoff_case import Case
from simulator.study.trial import AreaUnit
from simulator.study.words import interval_text, money_range

Rows = NDArray[np.float64]


@dataclass(frozen=True)
class JobChange:
    """The job with a change less the job without it."""

    work_days: Interval
    cost_per_acre: Interval | None = None

    def sentence(self, unit: AreaUnit, currency: str) -> str:
        """Return both in a sentence."""
        days, cost = self.work_days, self.cost_per_acre
        text = "The job takes " + _more(
            days, interval_text(_size(days)), "more work days", "fewer work days", "as long"
        )
        if cost is not None:
            each = _size(cost, 1.0 / unit.acres)
            one = f"an {unit.one}" if unit.one == "acre" else f"a {unit.one}"
            text += f", and {one} costs {_more(cost, money_range(each, currency), 'more', 'less', 'the same')}"
        return f"{text}."

    def to_json(self) -> dict[str, Any]:
        """Return both as a document."""
        cost = self.cost_per_acre
        return {
            "work_days": interval_json(self.work_days),
            "cost_per_acre": None if cost is None else interval_json(cost),
        }


def job_change(
    before: EquipmentSet, after: EquipmentSet, tables: tuple[Rows, Rows], case: Case | None, level: float = 0.95
) -> JobChange | None:
    """Return what a change does to the job; None where the list repeats or some run has not done it."""
    done = all((rows[:, place_of("job_done")] > 0.0).all() for rows in tables)
    if not done or any(entry.scenario.work != "once" for entry in (before, after)):
        return None
    days = [rows[:, place_of("work_days")] for rows in tables]
    return JobChange(paired_interval(days[1], days[0], level), _cost(before, after, tables, case, level))


def _cost(
    before: EquipmentSet, after: EquipmentSet, tables: tuple[Rows, Rows], case: Case | None, level: float
) -> Interval | None:
    if case is None:
        return None
    costs = case.costs
    try:
        need_prices([*case.before, *([] if case.only_own else case.after)], costs, "the cost of the job")
    except InputError:
        return None
    joint = np.hstack([ledger_of(rows, one.scenario, costs) for rows, one in zip(tables, (before, after), strict=True)])
    demand = None if costs.season_demand is None else costs.season_demand / M2_PER_ACRE
    return jackknife(lambda means: case.extra_cost_per_acre(means, costs.season_days, demand), joint, level)


def _size(change: Interval, scale: float = 1.0) -> Interval:
    """Return how large a change is, whichever way it goes, times a scale."""
    sign = scale if change.mean >= 0 else -scale
    limits = sorted(sign * limit for limit in (change.low, change.high) if limit is not None)
    low, high = (limits[0], limits[1]) if len(limits) == 2 else (None, None)
    half = None if change.half_width is None else scale * change.half_width
    return Interval(sign * change.mean, low, high, change.n, half)


def _more(change: Interval, size: str, more: str, less: str, alike: str) -> str:
    low, high = (change.mean if limit is None else limit for limit in (change.low, change.high))
    if low <= 0.0 <= high:
        return f"{alike} as far as the runs can tell"
    return f"{size} {more if change.mean > 0 else less}"
