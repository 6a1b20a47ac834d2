"""The whole job in words: how long it takes, how sure that is, and what it costs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from simulator.report.numbers import (
    clock_text,
    count_text,
    day_start_s,
    mean_text,
    range_text,
    share_text,
    units_of,
)
from simulator.report.writing import plain

_LEAST_ACRES = 0.05
"""Less than this out of reach is rounding."""
_FIELDS_NAMED = 5


def job_text(document: Mapping[str, Any], entry: Mapping[str, Any]) -> str:
    """Return how long a set takes for the whole list of fields; empty where the list repeats.

    Parameters
    ----------
    document, entry : mapping
        ``result.json`` and one of its equipment sets.
    """
    job, shown = entry.get("job"), units_of(document)
    if not job or job.get("work") != "once":
        return ""
    area = f"{count_text(job['list_acres'] * shown.per_acre)} {shown.area}"
    done, most = float(job["done_share"]), job["most_work_days"]
    reach = _out_of_reach(document, job)
    if done == 0.0:
        why = f" {reach}" if reach else f" None of {entry['runs']} runs was done within {most} work days."
        return f"CANNOT DO THE JOB of {area}.{why}"
    days = job["work_days"]
    text = f"The job of {area} takes {mean_text(days['mean'], days['ci95'])} work days"
    finish = job["finish"]
    said = [
        f"{words} by {_when(document, finish[name])}"
        for name, words in (("p50", "half of the runs are done"), ("p90", "nine in ten"))
        if finish[name] is not None
    ]
    text += f"; {', '.join(said)}." if said else "."
    if done < 1.0:
        text += f" Only {share_text(done)} of the runs were done within {most} work days."
    return " ".join(part for part in (text, reach, cost_text(document, entry)) if part)


def warning_text(document: Mapping[str, Any], entry: Mapping[str, Any]) -> str:
    """Return what must be said first of a set: that it cannot do the job, or what it cannot reach; else nothing."""
    job = entry.get("job")
    if not job or job.get("work") != "once":
        return ""
    return job_text(document, entry) if job["done_share"] == 0.0 else _out_of_reach(document, job)


def cost_text(document: Mapping[str, Any], entry: Mapping[str, Any]) -> str:
    """Return what the job and an acre of it cost, in a sentence; empty without prices."""
    job, shown = entry["job"], units_of(document)
    each = job.get("cost_per_acre")
    if not each:
        return ""
    limits = [None if limit is None else limit / shown.per_acre for limit in each["ci95"]]
    amount = range_text(each["mean"] / shown.per_acre, limits)
    whole = each["mean"] * job["list_acres"]
    sign = job["currency"]
    return f"It costs {sign} {amount} per {shown.area_one}, about {sign} {float(f'{whole:.2g}'):,.0f} in all."


def _when(document: Mapping[str, Any], finish: Mapping[str, Any]) -> str:
    """Return a work day and the time of day; without the day's start, hours after it."""
    start_s, hour = day_start_s(document), float(finish["hour_of_day"])
    time = f"{hour:.1f} h after the start" if start_s is None else clock_text(start_s + hour * 3600.0)
    return f"{time} on work day {finish['work_day']}"


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
