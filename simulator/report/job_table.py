"""The whole job as a table: work days, when it is done, what it costs, and the chance to be done by day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from simulator.report.job_text import cost_text, days_text, finish_text, job_area
from simulator.report.numbers import NOTHING, share_text, shown_name, units_of
from simulator.report.ranking import best_first
from simulator.report.table import Cell, DataTable, text_row

_MOST_DAYS = 6
"""Columns of days, at most."""


def job_table(document: Mapping[str, Any], chances: bool = True) -> DataTable | None:
    """Return work days for the job, best sets first, its cost and the chance to be done by day; None without any.

    Without ``chances``, the columns of the share of runs done by the evening of each work day are left out.
    """
    area = job_area(document)
    sets = [(place, entry, entry.get("job") or {}) for place, entry in best_first(document)]
    priced = any(job.get("cost_per_acre") for _, _, job in sets)
    if not area and not priced:
        return None
    days = _days_shown([job.get("done_by_work_day") or [] for _, _, job in sets]) if chances and area else []
    rows = []
    for place, entry, job in sets:
        cells, path = [Cell(shown_name(entry))], f"equipment_sets.{place}.job"
        if area:
            cells += _finish_cells(document, entry, path) if job.get("work") == "once" else text_row(*[NOTHING] * 3)
        if priced:
            cost = job.get("cost_per_acre")
            text = cost_text(document, entry)
            cells.append(Cell(text, cost["mean"], f"{path}.cost_per_acre.mean") if cost else Cell(NOTHING))
        reached = job.get("done_by_work_day") or [0.0]
        cells += [Cell(share_text(reached[min(day, len(reached)) - 1])) for day in days]
        rows.append(tuple(cells))
    columns = ["set", *(["work days", "half done", "9 in 10 done"] if area else [])]
    columns += [f"cost/{units_of(document).area_one}"] if priced else []
    title = f"The job of {area}: work days, when half and nine in ten of the runs are done, and how many are by day"
    return DataTable(title if area else "Cost", (*columns, *(f"by day {day}" for day in days)), tuple(rows))


def _finish_cells(document: Mapping[str, Any], entry: Mapping[str, Any], path: str) -> list[Cell]:
    cells = [Cell(days_text(document, entry), entry["job"]["work_days"]["mean"], f"{path}.work_days.mean")]
    for finish in (entry["job"]["finish"][name] for name in ("p50", "p90")):
        cells.append(Cell("not done" if finish is None else finish_text(document, finish, "day {day} {time}")))
    return cells


def _days_shown(reached: Sequence[Sequence[float]]) -> list[int]:
    """Return the work days from the last on which no run is done to that on which all are that ever will be."""
    longest = max(map(len, reached), default=0)
    before = min((sum(share == 0.0 for share in one) for one in reached if one), default=0)
    days = range(max(1, before), longest + 1)
    # every day, or every second one, third one ... counted from the last
    return sorted(days[:: len(days) // -_MOST_DAYS]) if days else []
