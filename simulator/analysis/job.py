"""One run of a job as one row of numbers: its work days summed up, per work day, and how far it came."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.summary import columns, place_of
from simulator.operation.job import WorkDay
from simulator.operation.log import Reason, State
from simulator.plan.day_plan import DayPlan
from simulator.scenario.units import M2_PER_ACRE

_MEANS = ("loads_per_charge", "landing_charge_share", "last_landing_hour")
"""Measures that are averaged over work days with their flights, not summed;"""
_SHARES = ("utilisation/", "active_share/")
"""and beginnings of those that are averaged with their paid time."""


def summarise_run(
    plan: DayPlan, days: Sequence[WorkDay], rows: NDArray[np.float64], pick: float
) -> NDArray[np.float64]:
    """Return one run as a row of numbers, in the order of `columns`, from the rows of its work days.

    Amounts and times are per work day: their sums over the run, divided by ``work_days``. The last day of a list that
    is done counts by the share of a full day that it took; any other day is one. The acres of a single full
    work day are those of one drawn from the run (``pick`` in (0, 1)), so that runs give independent work days.
    """
    last = days[-1]
    share = _share_of_last(plan, last)
    work_days = len(days) - 1 + share
    sums = np.nansum(rows, axis=0)
    row: NDArray[np.float64] = sums / work_days
    for place, name in enumerate(columns()):
        if name in _MEANS or name.startswith(_SHARES):
            values, weight = rows[:, place], rows[:, place_of("sorties" if name in _MEANS else "paid_hours")]
            there = np.isfinite(values)
            whole = weight[there].sum()
            row[place] = float((values[there] * weight[there]).sum() / whole) if whole > 0 else math.nan
    acres = rows[:, place_of("acres")]
    nights = [night for one in days for night in one.nights]
    done = last.done and rows[:, place_of("out_of_reach_acres")].sum() * M2_PER_ACRE < 1e-3 * plan.list_m2
    full = acres[:-1] if share < 1.0 else acres
    drawn = int(pick * len(full))
    finish_s = last.day.log.list_finished_s
    left_over = sums[place_of("left_over")] - _kept(plan, days)
    own = {
        # what is kept overnight is neither mixed nor left over twice
        "left_over": left_over / work_days,
        "mixed": (sums[place_of("applied")] + left_over) / work_days,
        "generator_fuel_l": (sums[place_of("generator_fuel_l")] + sum(one.fuel_l for one in nights)) / work_days,
        "energy_kwh": (sums[place_of("energy_kwh")] + sum(one.bus_wh for one in nights) / 1000.0) / work_days,
        "finish_hour": math.nan if finish_s is None else finish_s / 3600.0,
        "work_days": work_days,
        "days_out": float(len(days)),
        "job_done": float(done),
        "job_acres": float(acres.sum()),
        "full_day": drawn + 1.0 if len(full) else math.nan,
        "full_day_acres": float(full[drawn]) if len(full) else math.nan,
    }
    for name, value in own.items():
        row[place_of(name)] = value
    return row


def _kept(plan: DayPlan, days: Sequence[WorkDay]) -> float:
    """Return the product (L or kg) that was left over in an evening and used on."""
    kept = 0.0
    for one in days[:-1]:
        for rig, end, morning in zip(plan.rigs, one.day.ends, one.mornings, strict=True):
            if plan.scenario.product.kind != "liquid" or rig.rig.supply.leftover == "kept":
                kept += min(end.product_in_tank + end.product_on_aircraft, morning.product)
    return kept


def _share_of_last(plan: DayPlan, last: WorkDay) -> float:
    """Return the time of the last day over that of a day flown to its end; 1 unless the list was done before.

    It is the paid time of a job; of capacity it is the time at work, for the way to it belongs to a whole day.
    """
    log = last.day.log
    if log.list_finished_s is None or not last.done:
        return 1.0
    if plan.scenario.work == "repeat":
        set_up = [row.end_s for row in log.rows if row.state == State.MOVE and row.reason == Reason.SET_UP]
        ready_s = min(set_up, default=0.0)
        return min(1.0, (log.list_finished_s - ready_s) / (plan.last_landing_s - ready_s))
    after_s = log.paid_until_s - log.list_finished_s
    return min(1.0, log.paid_until_s / (plan.last_landing_s + after_s))
