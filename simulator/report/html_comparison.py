"""Several results side by side: spreads, differences from the first, and what changed in the inputs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from simulator.errors import InputError
from simulator.experiment.estimates import independent_interval, paired_interval
from simulator.report.cautions import CAUTIONS, SIMULATION_NOTE
from simulator.report.day_output import day_spread, day_values, legend_text
from simulator.report.html_charts import SPREAD_WORDS, interval_drawing, spread_drawing
from simulator.report.html_inputs import differing
from simulator.report.html_page import clean, render, write
from simulator.report.html_parts import Cell, DataTable, PageFigure, text_row
from simulator.report.numbers import NOTHING, ReportUnits, count_text, quantile_text, range_text, units_of
from simulator.report.writing import plain

if TYPE_CHECKING:
    from simulator.report.stored import StoredResult


class _Column:
    """One equipment set of one result."""

    def __init__(
        self, heading: str, document: Mapping[str, Any], entry: Mapping[str, Any], stored: StoredResult
    ) -> None:
        self.heading, self.entry = heading, clean(entry)
        self.seed = document["seed"]
        self.runs = stored.runs[stored.runs["equipment_set"] == entry["name"]].set_index("run")
        self._stored = stored, entry
        self.resolved = clean((stored.manifest.get("resolved") or {}).get(entry["name"], {}))

    def days(self, units: ReportUnits) -> NDArray[np.float64]:
        """Return the output of the days that percentiles are of."""
        stored, entry = self._stored
        return day_values(stored.runs, entry, units)


def write_comparison(results: Sequence[StoredResult], out_html: Path) -> None:
    """Write a page that sets several results side by side: what changed in the inputs and in the output.

    Parameters
    ----------
    results : sequence of StoredResult
        At least two.
    out_html : Path
        File to write; replaced whole or not at all.

    Raises
    ------
    InputError
        Fewer than two results, or the file cannot be written.
    """
    write(out_html, comparison_page(results))


def comparison_page(results: Sequence[StoredResult]) -> str:
    """Return the page of several results as HTML text; see :func:`write_comparison`."""
    if len(results) < 2:
        raise InputError.single(f"got {len(results)} result; allowed is two or more to set side by side", "compare")
    return render("comparison.html.j2", **comparison_context(results))


def comparison_context(results: Sequence[StoredResult]) -> dict[str, Any]:
    """Return what the page of several results shows.

    Parameters
    ----------
    results : sequence of StoredResult
        At least two; the units are the first one's.
    """
    units = units_of(results[0].document)
    columns = _columns(results)
    rows = [(column.heading, day_spread(column.entry, units), column.days(units)) for column in columns]
    spread_table = DataTable(
        f"{units.area} per day",
        ("result and set", "runs", "mean (95 % interval)", "P10", "P50", "P90", "bottleneck"),
        tuple(_row(column, units) for column in columns),
    )
    spread = PageFigure(
        "spread",
        f"{units.area.capitalize()} per day side by side",
        f"{SPREAD_WORDS} {legend_text([{**column.entry, 'name': column.heading} for column in columns])}",
        spread_drawing(rows, units.area),
        spread_table,
    )
    changed = differing({column.heading: column.resolved for column in columns})
    inputs = DataTable(
        "Settings that are not the same in all",
        ("setting", *(column.heading for column in columns)),
        tuple(text_row(key, *values) for key, values in changed),
        numbers=False,
    )
    return {
        "title": "Results side by side",
        "answers": [(column.heading, column.entry["bottleneck"]["sentence"]) for column in columns],
        "spread": spread,
        "difference": _differences(columns, units),
        "inputs": inputs if changed else None,
        "per_day": _per_day(columns, units),
        "cautions": CAUTIONS,
        "simulation_note": SIMULATION_NOTE,
    }


def _columns(results: Sequence[StoredResult]) -> list[_Column]:
    names = [plain(stored.document["scenario"]) for stored in results]
    columns = []
    for place, stored in enumerate(results):
        name = names[place] if names.count(names[place]) == 1 else f"{names[place]} ({place + 1})"
        for entry in stored.document["equipment_sets"]:
            columns.append(_Column(f"{name}: {plain(entry['name'])}", stored.document, entry, stored))
    return columns


def _row(column: _Column, units: ReportUnits) -> tuple[Cell, ...]:
    spread = day_spread(column.entry, units)
    return (
        Cell(column.heading),
        Cell(str(column.entry["runs"]), column.entry["runs"]),
        Cell(range_text(spread["mean"], spread["ci95"]), spread["mean"]),
        *(Cell(quantile_text(spread, name), spread[name]) for name in ("p10", "p50", "p90")),
        Cell(column.entry["bottleneck"]["resource"]),
    )


def _differences(columns: Sequence[_Column], units: ReportUnits) -> PageFigure:
    """Return every column less the first; run by run where both used the same seed."""
    first = columns[0]
    name = "acres" if units.name == "us" else "hectares"
    rows: list[tuple[str, float, list[float]]] = []
    cells = []
    for column in columns[1:]:
        shared = np.intersect1d(first.runs.index, column.runs.index)
        if column.seed == first.seed and len(shared) >= 2:
            pair = paired_interval(column.runs.loc[shared, name], first.runs.loc[shared, name])
            low, high, how = pair.low, pair.high, f"same draws, {len(shared)} runs"
            mean = pair.mean
        else:
            apart = independent_interval(column.runs[name], first.runs[name])
            low, high, how = apart.low, apart.high, "independent runs"
            mean = apart.mean
        limits = [mean if low is None else low, mean if high is None else high]
        rows.append((column.heading, mean, limits))
        cells.append((Cell(column.heading), Cell(range_text(mean, limits, sign=True), mean), Cell(how)))
    title = f"Output compared with {first.heading}"
    return PageFigure(
        "difference",
        title,
        f"Difference in {units.area} a day with its 95 % interval.",
        interval_drawing(rows, f"{units.area} per day", title),
        DataTable(title, ("result and set", f"{units.area} per day more (95 % interval)", "compared by"), tuple(cells)),
    )


def _per_day(columns: Sequence[_Column], units: ReportUnits) -> DataTable:
    words = {
        "sorties": ("sorties", 1.0),
        "pack_swaps": ("pack swaps", 1.0),
        "charge_cycles": ("charges", 1.0),
        "moves": ("drives (the yard's too)", 1.0),
        "generator_fuel_l": (f"generator fuel ({units.volume})", units.per_litre),
        "energy_kwh": ("energy from the supply (kWh)", 1.0),
        "paid_hours": ("paid hours of the rigs", 1.0),
    }
    rows = []
    for key, (label, scale) in words.items():
        values = [column.entry["per_day"].get(key) for column in columns]
        texts = [NOTHING if value is None else count_text(value * scale) for value in values]
        rows.append((Cell(label), *(Cell(text, value) for text, value in zip(texts, values, strict=True))))
    return DataTable("An average day", ("per day", *(column.heading for column in columns)), tuple(rows))
