"""What is said of days: single full work days, or whole runs where part days tell more.

A bad day is of the same thing as the mean beside it, and of the same thing for all sets of an answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.analysis.digits import fixed
from simulator.report.numbers import ReportUnits, mean_text, shared_decimals

if TYPE_CHECKING:
    import pandas as pd

PERCENTILES = ("p10", "p50", "p90")


Entry = Mapping[str, Any]
Entries = Sequence[Mapping[str, Any]]


def told_by_day(sets: Entries) -> bool:
    """Tell whether the percentiles of an answer's sets are of full work days, and not of whole runs.

    Runs tell of a list that is worked off once, and where part days pull a set's mean below its bad full day.
    """
    return all(
        one.get("full_work_day_acres") is not None
        and (one.get("job") or {}).get("work") != "once"
        and one["full_work_day_acres"]["p10"] <= one["acres_per_day"]["mean"]
        for one in sets
    )


def days_key(sets: Entries, shown: ReportUnits) -> str:
    """Return the key of a set of ``result.json`` under which the percentiles of days stand."""
    return shown.full_day_key if told_by_day(sets) else shown.spread_key


def day_spread(entry: Entry, sets: Entries, shown: ReportUnits) -> dict[str, Any]:
    """Return the mean of a set's runs with its interval, and the percentiles that are told of it among its sets."""
    runs = entry[shown.spread_key]
    return {**entry[days_key(sets, shown)], "mean": runs["mean"], "ci95": runs["ci95"]}


def day_values(runs: pd.DataFrame, entry: Entry, sets: Entries, shown: ReportUnits) -> NDArray[np.float64]:
    """Return the output of each day or run that the percentiles are of, in the report's unit."""
    column = "full_day_acres" if told_by_day(sets) else "acres"
    acres = runs.loc[runs["equipment_set"] == entry["name"], column].to_numpy(dtype=float)
    values: NDArray[np.float64] = acres[np.isfinite(acres)] * shown.per_acre
    return values


def output_texts(sets: Entries, shown: ReportUnits) -> list[dict[str, str]]:
    """Return mean with interval, mean alone, and percentiles of each set, in digits that all these sets support."""
    spreads, finest = [day_spread(entry, sets, shown) for entry in sets], finest_decimals(sets, shown)
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


def finest_decimals(sets: Entries, shown: ReportUnits) -> int:
    """Return the decimals that areas a day have at most: none, but where all sets do less than ten."""
    return 0 if max(entry[shown.spread_key]["mean"] for entry in sets) >= 10.0 else 1


def days_word(sets: Entries) -> str:
    """Return what the percentiles are of."""
    return "full work day" if told_by_day(sets) else "run"


def bad_text(sets: Entries, texts: Mapping[str, str]) -> str:
    """Return what nine days in ten reach, or nine runs."""
    return f"9 {'days' if told_by_day(sets) else 'runs'} in 10 at least {texts['p10']}"


def legend_text(sets: Entries) -> str:
    """Return what mean and percentiles are of, for a legend."""
    if told_by_day(sets):
        return "The mean is that of whole runs, part days too; percentiles (P) are of full work days, one of each run."
    return "Mean and percentiles (P) are of whole runs, part days too."
