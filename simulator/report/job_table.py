"""The whole job as a table: work days, when it is done, what it costs, and the chance to be done by day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from simulator.report.html_parts import Cell, DataTable
from simulator.report.job_text import finish_text, job_area
from simulator.report.numbers import NOTHING, mean_text, share_text, units_of
from simulator.report.writing import plain

_MOST_DAYS = 6
"""Columns of days, at most."""


def job_table(document: Mapping[str, Any], chances: bool = True) -> DataTable | None:
    """Return how long the sets take for the job, what it costs and the chance to be done by day; None without a job.

    Parameters
    ----------
    document : mapping
        ``result.json``.
    chances : bool, optional
        Whether columns of the share of runs that are done by the evening of a work day follow.
    """
    sets, area = document["equipment_sets"], job_area(document)
    jobs = [entry.get("job") or {} for entry in sets]
    if not area:
        return None
    days = _days_shown([job.get("done_by_work_day") or [] for job in jobs]) if chances else []
    priced = any(job.get("cost_per_acre") for job in jobs)
    rows = []
    for place, (entry, job) in enumerate(zip(sets, jobs, strict=True)):
        cells = [Cell(NOTHING)] * (3 + priced + len(days))
        if job.get("work") == "once":
            cells = _cells(document, job, f"equipment_sets.{place}.job", priced, days)
        rows.append((Cell(entry["name"]), *cells))
    cost = [f"cost/{units_of(document).area_one}"] if priced else []
    columns = ("set", "work days", "half done", "9 in 10 done", *cost, *(f"by day {day}" for day in days))
    title = f"The job of {area}: work days, when half and nine in ten of the runs are done, and how many are by day"
    return DataTable(title, columns, tuple(rows))


def _cells(
    document: Mapping[str, Any], job: Mapping[str, Any], path: str, priced: bool, days: Sequence[int]
) -> list[Cell]:
    spread, each, per_acre = job["work_days"], job.get("cost_per_acre"), units_of(document).per_acre
    cells = [Cell(mean_text(spread["mean"], spread["ci95"]), spread["mean"], f"{path}.work_days.mean")]
    for finish in (job["finish"][name] for name in ("p50", "p90")):
        cells.append(Cell("not done" if finish is None else finish_text(document, finish, "day {day} {time}")))
    if priced and each:
        limits = [None if limit is None else limit / per_acre for limit in each["ci95"]]
        text = f"{plain(job['currency'], 5)} {mean_text(each['mean'] / per_acre, limits)}"
        cells.append(Cell(text, each["mean"], f"{path}.cost_per_acre.mean"))
    elif priced:
        cells.append(Cell(NOTHING))
    reached = job.get("done_by_work_day") or [0.0]
    return cells + [Cell(share_text(reached[min(day, len(reached)) - 1])) for day in days]


def _days_shown(reached: Sequence[Sequence[float]]) -> list[int]:
    """Return the work days from the last on which no run is done to that on which all are that ever will be."""
    longest = max(map(len, reached), default=0)
    before = min((sum(share == 0.0 for share in one) for one in reached if one), default=0)
    days = range(max(1, before), longest + 1)
    # every day, or every second one, third one ... counted from the last
    return sorted(days[:: len(days) // -_MOST_DAYS]) if days else []
