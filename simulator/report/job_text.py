"""The whole job in words: how long it takes, and how sure that is."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simulator.analysis.digits import fixed
from simulator.report.numbers import (
    NOTHING,
    clock_text,
    count_text,
    day_start_s,
    hours_text,
    mean_text,
    share_text,
    shared_decimals,
    units_of,
)
from simulator.report.writing import plain
from simulator.scenario.power_balance import power_words
from simulator.study.words import leading

_LEAST_ACRES = 0.05
"""Less than this out of reach is rounding."""
_FIELDS_NAMED = 5


def job_text(document: Mapping[str, Any], entry: Mapping[str, Any]) -> str:
    """Return how long a set takes for the whole list of fields; empty where the list repeats."""
    job = entry.get("job")
    if not job or job.get("work") != "once":
        return ""
    area = job_area({**document, "equipment_sets": [entry]})
    reach = _out_of_reach(document, job)
    if job["done_share"] == 0.0:
        why = (
            f" {reach}"
            if reach
            else f" None of {entry['runs']} runs was done within {job['most_work_days']} work days."
        )
        return f"CANNOT DO THE JOB of {area}.{why}"
    text = f"The job of {area} takes {days_text(document, entry)} work days"
    finish = job["finish"]
    said = [
        f"{words} by {finish_text(document, finish[name], '{time} on work day {day}')}"
        for name, words in (("p50", "half of the runs are done"), ("p90", "nine in ten"))
        if finish[name] is not None
    ]
    text += f"; {', '.join(said)}." if said else "."
    return " ".join(part for part in (text, _seldom(job), reach) if part)


def warning_text(document: Mapping[str, Any], entry: Mapping[str, Any]) -> str:
    """Return what must be said first of a set: that it cannot do the job, or not always, or not all of it."""
    job = entry.get("job")
    if not job or job.get("work") != "once":
        return ""
    if job["done_share"] == 0.0:
        return job_text(document, entry)
    return " ".join(part for part in (_seldom(job), _out_of_reach(document, job)) if part)


def job_area(document: Mapping[str, Any]) -> str:
    """Return the area of the list of fields; empty where no set works it off once."""
    shown = units_of(document)
    for entry in document["equipment_sets"]:
        job = entry.get("job") or {}
        if job.get("work") == "once":
            return f"{count_text(job['list_acres'] * shown.per_acre)} {shown.area}"
    return ""


def days_text(document: Mapping[str, Any], entry: Mapping[str, Any], interval: bool = True) -> str:
    """Return the work days that a set takes for its job, in the digits of all sets: tenths, or coarser."""
    days, spreads = entry["job"]["work_days"], [job["work_days"] for job in _jobs(document)]
    finest = 1 if max(spread["mean"] for spread in spreads) >= 1.0 else 2
    decimals = shared_decimals([spread["ci95"] for spread in spreads], finest)
    return mean_text(days["mean"], days["ci95"], decimals) if interval else fixed(days["mean"], decimals)


def cost_text(document: Mapping[str, Any], entry: Mapping[str, Any], interval: bool = True) -> str:
    """Return the cost per acre or hectare of a set's job, in the digits of all sets; a dash without prices."""
    shown, job = units_of(document), entry.get("job") or {}
    cost = job.get("cost_per_acre")
    if not cost:
        return NOTHING

    def limits(cost: Mapping[str, Any]) -> list[float | None]:
        return [None if limit is None else limit / shown.per_acre for limit in cost["ci95"]]

    decimals = shared_decimals([limits(one["cost_per_acre"]) for one in _jobs(document) if one.get("cost_per_acre")], 2)
    amount = cost["mean"] / shown.per_acre
    text = mean_text(amount, limits(cost), decimals) if interval else fixed(amount, decimals)
    return f"{leading(plain(job.get('currency', '$'), 5))}{text}"


def _jobs(document: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    return [one["job"] for one in document.get("all_sets") or document["equipment_sets"] if one.get("job")]


def hold_text(entry: Mapping[str, Any]) -> str:
    """Return what holds a set back, and what is asked of and given by its power."""
    hold = entry["bottleneck"]
    power = "" if entry.get("practice") else power_words(entry.get("power") or [])
    parts = (hold["sentence"], power)
    return " ".join(part for part in parts if part)


def limit_text(entry: Mapping[str, Any]) -> str:
    """Return in a few words what the sentence of what holds a set back names."""
    hold = entry["bottleneck"]
    return f"Limited by: {plain(hold.get('short') or hold['resource'], 120)}."


def _seldom(job: Mapping[str, Any]) -> str:
    share, most = float(job["done_share"]), job["most_work_days"]
    return "" if share >= 1.0 else f"Only {share_text(share)} of the runs were done within {most} work days."


def finish_text(document: Mapping[str, Any], finish: Mapping[str, Any], words: str) -> str:
    """Fill in a work day and the time of day; without the day's start, hours after it."""
    start_s, hour = day_start_s(document), float(finish["hour_of_day"])
    time = f"{hours_text(hour)} h after the start" if start_s is None else clock_text(start_s + hour * 3600.0)
    return words.format(day=finish["work_day"], time=time)


def _out_of_reach(document: Mapping[str, Any], job: Mapping[str, Any]) -> str:
    acres, shown = float(job.get("out_of_reach_acres") or 0.0), units_of(document)
    fields = [plain(name, 80) for name in job.get("unreached_fields") or []]
    if acres < _LEAST_ACRES and not fields:
        return ""
    named = ", ".join(fields[:_FIELDS_NAMED]) + (
        f" and {more} more" if (more := len(fields) - _FIELDS_NAMED) > 0 else ""
    )
    where = f" (in {named})" if named else ""
    return f"{count_text(acres * shown.per_acre)} {shown.area} of it{where} are out of reach of every charge."
