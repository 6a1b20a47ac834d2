"""What is said of days: single full work days, one drawn from each run; runs' own means where no run has a full day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.report.numbers import ReportUnits

if TYPE_CHECKING:
    import pandas as pd


def has_days(entry: Mapping[str, Any]) -> bool:
    """Tell whether the runs of a set have full work days."""
    return entry.get("full_work_day_acres") is not None


def days_key(entry: Mapping[str, Any], shown: ReportUnits) -> str:
    """Return the key of a set of ``result.json`` under which the percentiles of days stand."""
    return shown.full_day_key if has_days(entry) else shown.spread_key


def day_spread(entry: Mapping[str, Any], shown: ReportUnits) -> dict[str, Any]:
    """Return the mean of a set's runs with its interval, and percentiles of its single full work days."""
    runs = entry[shown.spread_key]
    return {**entry[days_key(entry, shown)], "mean": runs["mean"], "ci95": runs["ci95"]}


def day_values(runs: pd.DataFrame, entry: Mapping[str, Any], shown: ReportUnits) -> NDArray[np.float64]:
    """Return the output of each day that the percentiles are of, in the report's unit."""
    column = "full_day_acres" if has_days(entry) else "acres"
    acres = runs.loc[runs["equipment_set"] == entry["name"], column].to_numpy(dtype=float)
    values: NDArray[np.float64] = acres[np.isfinite(acres)] * shown.per_acre
    return values


def days_words(entry: Mapping[str, Any]) -> str:
    """Return what the percentiles are of, in the plural."""
    return "full work days" if has_days(entry) else "runs"


def legend_text(sets: Sequence[Mapping[str, Any]]) -> str:
    """Return what mean and percentiles are of, for a legend."""
    text = "The mean is that of whole runs, part days too; P10, P50 and P90 are of full work days, one of each run"
    without = [entry["name"] for entry in sets if not has_days(entry)]
    if len(without) == len(sets):
        return "Mean, P10, P50 and P90 are of runs: no run has a full work day."
    return f"{text} (of runs for {', '.join(without)}, which has none)." if without else f"{text}."
