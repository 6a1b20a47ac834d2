"""What is said of days: single full work days where a list is gone through again, else whole runs of the job.

A bad day is of the same thing as the mean beside it: the part days of a short job lower both.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.digits import fixed
from simulator.report.numbers import ReportUnits, mean_text, shared_decimals, shown_name

if TYPE_CHECKING:
    import pandas as pd

PERCENTILES = ("p10", "p50", "p90")


def has_days(entry: Mapping[str, Any]) -> bool:
    """Tell whether the percentiles of a set are of full work days; those of a list worked off once are of runs."""
    return entry.get("full_work_day_acres") is not None and (entry.get("job") or {}).get("work") != "once"


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


def output_texts(entries: Sequence[Mapping[str, Any]], shown: ReportUnits) -> list[dict[str, str]]:
    """Return mean with interval, mean alone, and percentiles of each set, in digits that all these sets support."""
    spreads, finest = [day_spread(entry, shown) for entry in entries], finest_decimals(entries, shown)
    means = [spread["ci95"] for spread in spreads]
    decimals = shared_decimals(means, finest)
    texts = [
        {"interval": mean_text(spread["mean"], spread["ci95"], decimals), "mean": fixed(spread["mean"], decimals)}
        for spread in spreads
    ]
    for name in PERCENTILES:
        decimals = shared_decimals([*means, *(spread.get(f"{name}_ci95") for spread in spreads)], finest)
        for text, spread in zip(texts, spreads, strict=True):
            text[name] = fixed(spread[name], decimals)
    return texts


def finest_decimals(entries: Sequence[Mapping[str, Any]], shown: ReportUnits) -> int:
    """Return the decimals that areas a day have at most: none, but where all sets do less than ten."""
    return 0 if max(entry[shown.spread_key]["mean"] for entry in entries) >= 10.0 else 1


def days_word(entry: Mapping[str, Any]) -> str:
    """Return what the percentiles are of."""
    return "full work day" if has_days(entry) else "run of the job"


def bad_text(entry: Mapping[str, Any], texts: Mapping[str, str]) -> str:
    """Return what nine days in ten reach, or nine runs in ten of the job."""
    return f"9 {'days' if has_days(entry) else 'times'} in 10 at least {texts['p10']}"


def legend_text(sets: Sequence[Mapping[str, Any]]) -> str:
    """Return what mean and percentiles are of, for a legend."""
    without = [shown_name(entry) for entry in sets if not has_days(entry)]
    if len(without) == len(sets):
        return "Mean, P10, P50 and P90 are of runs; a run is the whole job."
    text = "The mean is that of whole runs, part days too; P10, P50 and P90 are of full work days, one of each run"
    return f"{text} (of runs for {', '.join(without)})." if without else f"{text}."
